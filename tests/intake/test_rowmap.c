/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The way from rows to visits: what is put in comes out, in any pattern. */
#include "intake/rowmap.h"
#include "support.h"

#include <string.h>

/* Patterns of numbers: one visit, a visit a row, runs, falling, at random. */
static uint32_t number_at(int pattern, uint32_t i)
{
    switch (pattern) {
    case 0:
        return 7;
    case 1:
        return i;
    case 2:
        return i / 324;
    case 3:
        return 200000 - i;
    case 4:
        return i % 2 ? i : i + 1;
    default:
        return i * 2654435761U >> 12;
    }
}

enum { PATTERNS = 6, COUNT = 150000 };

START_TEST(packed_numbers_come_back)
{
    struct an_rowmap map = {0};
    struct an_text bytes = {0};

    for (uint32_t i = 0; i < COUNT; i++) {
        ck_assert(an_rowmap_add(&map, number_at(_i, i)));
    }
    an_rowmap_pack(&map, &bytes);
    ck_assert_uint_eq(map.rows, 0);
    ck_assert(an_rowmap_unpack(
        &map, (struct an_bytes){(const unsigned char *)an_text_of(&bytes), bytes.length}));
    ck_assert_uint_eq(map.rows, COUNT);
    for (uint32_t i = 0; i < COUNT; i++) {
        ck_assert_uint_eq(map.locals[i], number_at(_i, i));
    }
    ck_assert(!an_rowmap_unpack(
        &map, (struct an_bytes){(const unsigned char *)an_text_of(&bytes), bytes.length - 1}));
    an_text_free(&bytes);
    an_rowmap_close(&map);
}
END_TEST

START_TEST(fates_come_back)
{
    struct an_rowmap map = {0};

    for (uint32_t i = 0; i < COUNT; i++) {
        ck_assert(an_rowmap_set_fate(&map, i, number_at(_i, i)));
    }
    for (uint32_t i = 0; i < COUNT; i++) {
        ck_assert_uint_eq(an_rowmap_fate(&map, i), number_at(_i, i));
    }
    ck_assert_uint_eq(an_rowmap_fate(&map, COUNT), 0);
    ck_assert_uint_eq(an_rowmap_fate(&map, 10 * COUNT), 0);
    an_rowmap_begin(&map);
    for (uint32_t i = COUNT; i-- > 0;) { /* backwards: nothing follows */
        ck_assert(an_rowmap_set_fate(&map, i, number_at(_i, i) + 1));
    }
    for (uint32_t i = 0; i < COUNT; i++) {
        ck_assert_uint_eq(an_rowmap_fate(&map, i), number_at(_i, i) + 1);
    }
    an_rowmap_close(&map);
}
END_TEST

START_TEST(marks_stay)
{
    struct an_rowmap map = {0};

    for (uint64_t row = 0; row < 5000; row += 7) {
        ck_assert(an_rowmap_mark_before(&map, row));
    }
    an_rowmap_begin(&map);
    for (uint64_t row = 0; row < 6000; row++) {
        ck_assert(an_rowmap_is_before(&map, row) == (row < 5000 && row % 7 == 0));
    }
    ck_assert_uint_eq(map.before_rows, 715);
    an_rowmap_close(&map);
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("rowmap");
    TCase *group = tcase_create("rowmap");

    tcase_add_loop_test(group, packed_numbers_come_back, 0, PATTERNS);
    tcase_add_loop_test(group, fates_come_back, 0, PATTERNS);
    tcase_add_test(group, marks_stay);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
