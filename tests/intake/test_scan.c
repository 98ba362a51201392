/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The scanner against the CSV library and against a plain byte by byte reading of its promise, in
 * every way this processor can. What a plain line is, is the program's own rule (intake/scan.h).
 */
#include "andamento/base/memory.h"
#include "intake/fields.h"
#include "intake/scan.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const enum an_scan_how ways[] = {AN_SCAN_WORDS, AN_SCAN_SSE2, AN_SCAN_AVX2, AN_SCAN_BEST};

static bool is_plain(unsigned char c, char delimiter)
{
    return c == (unsigned char)delimiter || (c >= 0x20 && c < 0x7F && c != '"');
}

/* Byte by byte: plain lines at the beginning; *stuck: what follows is none. */
static size_t read_slowly(const unsigned char *text, size_t length, char delimiter, size_t fields,
                          size_t most, uint32_t *at, bool *stuck)
{
    size_t rows = 0;
    size_t places = 0;

    *stuck = false;
    at[0] = UINT32_MAX;
    for (size_t i = 0; i < length && rows < most; i++) {
        const unsigned char c = text[i];

        if (c == '\n' || c == (unsigned char)delimiter) {
            at[1 + places++] = (uint32_t)i;
            if ((places - rows * fields == fields) != (c == '\n')) {
                *stuck = true;
                return rows;
            }
            rows += c == '\n';
        } else if (!is_plain(c, delimiter) &&
                   !(c == '\r' && i + 1 < length && text[i + 1] == '\n')) {
            *stuck = true;
            return rows;
        }
    }
    return rows;
}

static void check_text(const unsigned char *text, size_t length, char delimiter, size_t fields,
                       size_t most)
{
    const size_t room = 2 + length + most * fields + AN_SCAN_ROOM;
    uint32_t *wanted = an_alloc(room, sizeof *wanted);
    uint32_t *at = an_alloc(room, sizeof *at);
    unsigned char *copy = an_alloc(length ? length : 1, 1); /* its end is the end of the memory */
    bool stuck = false;

    ck_assert(wanted && at && copy);
    memcpy(copy, text, length);
    const size_t rows = read_slowly(copy, length, delimiter, fields, most, wanted, &stuck);
    for (size_t w = 0; w < sizeof ways / sizeof ways[0]; w++) {
        struct an_scan scan = {0, false};

        if (!an_scan_lines_by(ways[w], copy, length, delimiter, fields, most, at, &scan)) {
            continue;
        }
        ck_assert_msg(scan.rows == rows, "way %zu: %zu lines, not %zu, of \"%.*s\"", w, scan.rows,
                      rows, (int)length, (const char *)text);
        ck_assert_mem_eq(at, wanted, (1 + rows * fields) * sizeof *at);
        ck_assert(rows == most || scan.is_stuck == stuck);
    }
    an_free(wanted);
    an_free(at);
    an_free(copy);
}

static const struct {
    const char *text;
    char delimiter;
    size_t fields, most, rows;
} cases[] = {
    {"", ',', 2, 9, 0},
    {"a,b", ',', 2, 9, 0}, /* no line end: not whole */
    {"a,b\n", ',', 2, 9, 1},
    {"a,b\r\n", ',', 2, 9, 1},
    {"a,b\nc,d\n", ',', 2, 9, 2},
    {"a,b\nc,d\n", ',', 2, 1, 1},
    {"a,b\nc\nd,e\n", ',', 2, 9, 1},
    {"a,b\nc,d,e\nf\n", ',', 2, 9, 1},
    {"a,b,c\nd\n", ',', 2, 9, 0}, /* as many places as two lines have */
    {",\n,\n", ',', 2, 9, 2},
    {"\n\n", ',', 1, 9, 2},
    {"a,\"b\"\n", ',', 2, 9, 0},
    {"a,b\nc,\xC3\xA4\n", ',', 2, 9, 1},
    {"a,b\nc\rd,e\n", ',', 2, 9, 1},
    {"a,b\nc,d\r", ',', 2, 9, 1},
    {"a\tb\nc,\td\n", '\t', 2, 9, 2},
    {"a;b\tc\n", ';', 2, 9, 0},
    {"a|b\x7F\n", '|', 2, 9, 0},
};

START_TEST(plain_lines)
{
    const size_t length = strlen(cases[_i].text);
    uint32_t at[64 + AN_SCAN_ROOM];
    const unsigned char *text = (const unsigned char *)cases[_i].text;
    const struct an_scan scan =
        an_scan_lines(text, length, cases[_i].delimiter, cases[_i].fields, cases[_i].most, at);

    ck_assert_uint_eq(scan.rows, cases[_i].rows);
    check_text(text, length, cases[_i].delimiter, cases[_i].fields, cases[_i].most);
}
END_TEST

/* Every length around the 64 bytes that are looked at together, every place of an odd byte. */
START_TEST(odd_bytes_at_every_place)
{
    static const char odd[] = {'"', '\r', '\0', '\x80', '\x7F', '\t', '\n', ','};
    unsigned char text[200];

    for (size_t length = 1; length <= sizeof text; length += length < 140 ? 1 : 13) {
        for (size_t place = 0; place < length; place++) {
            for (size_t i = 0; i < length; i++) {
                text[i] = i % 9 == 8 ? '\n' : i % 3 == 2 ? ',' : (unsigned char)('a' + i % 20);
            }
            text[place] = (unsigned char)odd[(place + length) % sizeof odd];
            check_text(text, length, ',', 3, 40);
        }
    }
}
END_TEST

START_TEST(random_texts)
{
    static const char letters[] = "aab0.-,,,;;\n\n\n\r\"\t \x80";
    unsigned char text[400];
    unsigned state = 1;

    for (int round = 0; round < 20000; round++) {
        size_t length = 0;

        state = state * 1103515245U + 12345U;
        length = state / 65536U % sizeof text;
        for (size_t i = 0; i < length; i++) {
            state = state * 1103515245U + 12345U;
            text[i] =
                (unsigned char)letters[state / 65536U % (round % 2 ? 13 : sizeof letters - 1)];
        }
        check_text(text, length, round % 3 ? ',' : ';', 1 + (size_t)round % 4,
                   1 + (size_t)round % 50);
    }
}
END_TEST

/* Fields of plain lines are those of the CSV library. */
START_TEST(fields_as_the_library_has_them)
{
    static const char text[] = "T-01,H1,  x ,-0.5,\r\n,,,,\nlong field 1234567890,'q',#,\\,;\n";
    uint32_t at[64 + AN_SCAN_ROOM];
    struct an_fields fields;
    struct an_error err;
    const struct an_scan scan =
        an_scan_lines((const unsigned char *)text, sizeof text - 1, ',', 5, 9, at);

    ck_assert_uint_eq(scan.rows, 3);
    ck_assert_int_eq(an_fields_open(&fields, &err), AN_OK);
    ck_assert_int_eq(an_fields_begin(&fields, ',', false, &err), AN_OK);
    for (size_t r = 0; r < scan.rows; r++) {
        const uint32_t from = at[5 * r] + 1;
        uint32_t end = at[5 * r + 5];

        end -= end > from && text[end - 1] == '\r';
        ck_assert_int_eq(
            an_fields_part(&fields,
                           (struct an_bytes){(const unsigned char *)text + from, end - from}, &err),
            AN_OK);
        ck_assert_uint_eq(fields.count, 5);
        for (size_t f = 0; f < 5; f++) {
            const uint32_t begin = at[5 * r + f] + 1;
            const uint32_t stop = f == 4 ? end : at[5 * r + f + 1];

            ck_assert_uint_eq(fields.at[f].length, stop - begin);
            ck_assert(stop == begin || memcmp(fields.at[f].at, text + begin, stop - begin) == 0);
        }
    }
    an_fields_close(&fields);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("scan");
    TCase *group = tcase_create("scan");

    tcase_add_loop_test(group, plain_lines, 0, (int)(sizeof cases / sizeof cases[0]));
    tcase_add_test(group, odd_bytes_at_every_place);
    tcase_add_test(group, random_texts);
    tcase_add_test(group, fields_as_the_library_has_them);
    suite_add_tcase(suite, group);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
