/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Packed columns: whatever goes in comes out, the bytes are those that packed.h describes, and no
 * bytes from outside do harm. Facts here follow from packed.h; random inputs from one seed.
 */
#include "store/packed.h"
#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zstd.h>

static struct an_packer *packer;
static struct an_arena *arena;

static void set_up(void)
{
    packer = an_packer_open();
    arena = an_arena_open();
    ck_assert_ptr_nonnull(packer);
    ck_assert_ptr_nonnull(arena);
}

static void tear_down(void)
{
    an_packer_close(packer);
    an_arena_close(arena);
}

struct packed_head {
    unsigned char at[24];
    size_t length; /* of the whole block */
};

/* Packs, copies, unpacks, compares; returns how the packed bytes begin. */
static struct packed_head numbers_return(const int64_t *scaled, size_t rows, int decimals)
{
    const struct an_number_block in = {rows, decimals, scaled};
    struct an_number_block out = {0};
    struct an_bytes packed;
    struct an_arena *own = an_arena_open();
    ck_assert_int_eq(an_pack_numbers(packer, &in, &packed), AN_OK);
    unsigned char *copy = an_alloc(packed.length, 1);
    memcpy(copy, packed.at, packed.length);
    packed.at = copy;
    ck_assert_int_eq(an_unpack_numbers(packer, packed, own, &out), AN_OK);
    ck_assert_uint_eq(out.rows, rows);
    ck_assert_int_eq(out.decimals, decimals);
    for (size_t i = 0; i < rows; i++) {
        ck_assert_msg(out.scaled[i] == scaled[i], "row %zu: %lld became %lld", i,
                      (long long)scaled[i], (long long)out.scaled[i]);
    }
    struct packed_head head = {.length = packed.length};
    memcpy(head.at, copy, sizeof head.at);
    an_free(copy);
    an_arena_close(own);
    return head;
}

#define M AN_CELL_MISSING
static const struct {
    size_t rows;
    int64_t at[8];
    int width, steps, map; /* as bytes 1, 2 and 13 must say */
} number_rows[] = {
    {0, {0}, 0, 0, 0},
    {1, {0}, 0, 0, 0},
    {1, {M}, 0, 0, 1},
    {3, {M, M, M}, 0, 0, 1},
    {3, {7, 7, 7}, 0, 0, 0},
    {3, {7, M, 7}, 0, 0, 1},
    {2, {0, 255}, 1, 0, 0},
    {2, {0, 256}, 2, 0, 0},
    {2, {0, 65535}, 2, 0, 0},
    {2, {0, 65536}, 4, 0, 0},
    {2, {0, UINT32_MAX}, 4, 0, 0},
    {2, {0, INT64_C(1) << 32}, 8, 0, 0},
    {2, {-128, 127}, 1, 0, 0},
    {2, {-129, 127}, 2, 0, 0},
    {2, {INT64_MAX, INT64_MIN + 1}, 1, 1, 0}, /* steps go round: -2^64 + 2 is a step of 2 */
    {3, {INT64_MAX, 0, INT64_MIN + 1}, 8, 0, 0},
    {1, {INT64_MAX}, 0, 0, 0},
    {1, {INT64_MIN + 1}, 0, 0, 0},
    {4, {M, INT64_MIN + 1, M, INT64_MIN + 2}, 1, 0, 1},
    {4, {1000, 1001, 1100, 1300}, 2, 0, 0}, /* a step of 200 is 400 in zigzag */
    {4, {1000, 1100, 1200, 1300}, 1, 1, 0},
    {5, {1000, 1100, M, 1200, 1300}, 1, 1, 1},
    {8, {-5, -4, -3, -2, -1, 0, 1, 2}, 1, 0, 0},
};
#undef M

START_TEST(numbers_and_their_bytes)
{
    const struct packed_head packed =
        numbers_return(number_rows[_i].at, number_rows[_i].rows, _i % 2 ? -2 : 17);
    ck_assert_int_eq(packed.at[0], 1);
    ck_assert_int_eq(packed.at[1], number_rows[_i].width);
    ck_assert_int_eq(packed.at[2], number_rows[_i].steps);
    ck_assert_int_eq(packed.at[13], number_rows[_i].map);
}
END_TEST

/* One block written by hand from packed.h, so that the layout cannot change unseen. */
START_TEST(layout)
{
    static const unsigned char expected[] = {
        1,    1,    0,    0,    3,    0,    0,    0,
        4,    0,    0,    0,    0xFE, 1,    0,    0,    /* map byte + 3 cells, 10^2 */
        0xF6, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, /* base -10 */
        0x02, 0,    0,    30,                           /* second missing; 0 and 30 above */
    };
    static const unsigned char expected_texts[] = {
        2, 1, 0, 0, 3, 0, 0, 0,   13, 0, 0, 0, 0, 0, 0, 0, /* 3 cells, 4 + 2 + 4 + 0 bytes */
        2, 0, 0, 0, 0, 0, 0, 0,                            /* two texts */
        2, 0, 1, 2, 0, 0, 0, 'a', 0,  0, 0, 0, 0,          /* text 1, empty, text 0 */
    };
    const int64_t scaled[3] = {-10, AN_CELL_MISSING, 20};
    const struct an_number_block in = {3, -2, scaled};
    struct an_bytes packed;
    ck_assert_int_eq(an_pack_numbers(packer, &in, &packed), AN_OK);
    ck_assert_uint_eq(packed.length, sizeof expected);
    ck_assert_mem_eq(packed.at, expected, sizeof expected);
    const uint32_t codes[3] = {1, UINT32_MAX, 0};
    const struct an_bytes texts[2] = {{(const unsigned char *)"a", 2}, {NULL, 0}};
    ck_assert_int_eq(an_pack_texts(packer, 3, codes, texts, 2, &packed), AN_OK);
    ck_assert_uint_eq(packed.length, sizeof expected_texts);
    ck_assert_mem_eq(packed.at, expected_texts, sizeof expected_texts);
}
END_TEST

START_TEST(random_numbers_return)
{
    uint64_t state = random_seed();
    static int64_t scaled[70000];
    static const size_t sizes[] = {2, 7, 8, 9, 63, 1000, 65536, 70000};
    for (int round = 0; round < 120; round++) {
        const size_t rows = sizes[random_next(&state) % (round < 100 ? 6 : 8)];
        const int bits = (int)(random_next(&state) % 64) + 1;
        const uint64_t missing_in = random_next(&state) % 5; /* 0: none */
        const bool walk = random_next(&state) % 2;
        int64_t last = 0;
        for (size_t i = 0; i < rows; i++) {
            const uint64_t noise = random_next(&state) >> (64 - bits);
            int64_t value = 0;
            memcpy(&value, &noise, sizeof value);
            if (walk) {
                value = (int64_t)((uint64_t)last + noise % 200 - 100);
                last = value;
            }
            scaled[i] =
                missing_in && random_next(&state) % (missing_in * 3) == 0 ? AN_CELL_MISSING : value;
        }
        (void)numbers_return(scaled, rows, (int)(round % 20) - 10);
    }
}
END_TEST

START_TEST(line_numbers_are_small)
{
    static int64_t lines[65536];
    for (size_t i = 0; i < 65536; i++) {
        lines[i] = (int64_t)i + 2;
    }
    const struct packed_head packed = numbers_return(lines, 65536, 0);
    ck_assert_uint_lt(packed.length, 200); /* steps of one, which zstd folds up */
}
END_TEST

static void texts_return(size_t rows, const uint32_t *codes, const struct an_bytes *texts,
                         size_t count)
{
    struct an_bytes packed;
    uint32_t *got = NULL;
    size_t got_rows = 0;
    struct an_bytes *got_texts = NULL;
    size_t got_count = 0;
    struct an_arena *own = an_arena_open();
    ck_assert_int_eq(an_pack_texts(packer, rows, codes, texts, count, &packed), AN_OK);
    ck_assert_int_eq(an_unpack_texts(packer, packed, own, &got, &got_rows, &got_texts, &got_count),
                     AN_OK);
    ck_assert_uint_eq(got_rows, rows);
    ck_assert_uint_eq(got_count, count);
    for (size_t i = 0; i < rows; i++) {
        ck_assert_uint_eq(got[i], codes[i]);
    }
    for (size_t k = 0; k < count; k++) {
        ck_assert(an_bytes_equal(got_texts[k], texts[k]));
    }
    an_arena_close(own);
}

START_TEST(texts_and_their_edges)
{
    /* counts of texts on both sides of each change of width: codes reach the count itself */
    static const size_t counts[] = {0, 1, 2, 254, 255, 256, 65534, 65535, 65536, 70000};
    static uint32_t codes[70001];
    static struct an_bytes texts[70001];
    static char room[70001][8];
    for (size_t c = 0; c < sizeof counts / sizeof *counts; c++) {
        for (size_t k = 0; k < counts[c]; k++) {
            const int length = snprintf(room[k], sizeof room[k], "%zu", k);
            texts[k] = (struct an_bytes){(const unsigned char *)room[k], (size_t)length};
            codes[k] = (uint32_t)k;
        }
        codes[counts[c]] = UINT32_MAX;
        texts_return(counts[c] + 1, codes, texts, counts[c]);
        texts_return(0, codes, texts, counts[c]);
    }
    const struct an_bytes odd[3] = {
        {NULL, 0}, {(const unsigned char *)"a\0b", 3}, {(const unsigned char *)"\xff\xfe", 2}};
    const uint32_t odd_codes[4] = {2, 1, 0, UINT32_MAX};
    texts_return(4, odd_codes, odd, 3);
}
END_TEST

START_TEST(what_cannot_be_packed)
{
    static int64_t many[AN_PACKED_MOST_ROWS + 1];
    const int64_t one = 1;
    const uint32_t code = 1;
    const struct an_bytes text = {(const unsigned char *)"x", 1};
    struct an_bytes packed;
    ck_assert_int_eq(an_pack_numbers(packer, &(struct an_number_block){1, 128, &one}, &packed),
                     AN_DOMAIN);
    ck_assert_int_eq(an_pack_numbers(packer, &(struct an_number_block){1, -129, &one}, &packed),
                     AN_DOMAIN);
    ck_assert_int_eq(an_pack_numbers(packer,
                                     &(struct an_number_block){AN_PACKED_MOST_ROWS + 1, 0, many},
                                     &packed),
                     AN_DOMAIN);
    ck_assert_int_eq(an_pack_texts(packer, 1, &code, &text, 1, &packed), AN_DOMAIN);
}
END_TEST

/* ---- bytes from outside ----------------------------------------------------------------------------- */

/* Either it is refused, or what it yields packs and unpacks to itself. */
static void feed_numbers(struct an_bytes bytes)
{
    struct an_arena *own = an_arena_open();
    struct an_number_block out = {0};
    const enum an_status st = an_unpack_numbers(packer, bytes, own, &out);
    ck_assert_msg(st == AN_OK || st == AN_DOMAIN, "%s", an_status_name(st));
    if (st == AN_OK) {
        (void)numbers_return(out.scaled, out.rows, out.decimals);
    }
    an_arena_close(own);
}

static void feed_texts(struct an_bytes bytes)
{
    struct an_arena *own = an_arena_open();
    uint32_t *codes = NULL;
    struct an_bytes *texts = NULL;
    size_t rows = 0;
    size_t count = 0;
    const enum an_status st = an_unpack_texts(packer, bytes, own, &codes, &rows, &texts, &count);
    ck_assert_msg(st == AN_OK || st == AN_DOMAIN, "%s", an_status_name(st));
    for (size_t i = 0; st == AN_OK && i < rows; i++) {
        ck_assert(codes[i] == UINT32_MAX || codes[i] < count);
    }
    an_arena_close(own);
}

START_TEST(hostile_bytes)
{
    uint64_t state = random_seed();
    static int64_t scaled[500];
    static uint32_t codes[500];
    const struct an_bytes texts[3] = {an_bytes_of("H1"), an_bytes_of("H2"), an_bytes_of("")};
    for (size_t i = 0; i < 500; i++) {
        scaled[i] = i % 7 ? (int64_t)(random_next(&state) % 3000) : AN_CELL_MISSING;
        codes[i] = i % 5 ? (uint32_t)(i % 3) : UINT32_MAX;
    }
    for (int round = 0; round < 3000; round++) {
        const bool numbers = round % 2;
        const size_t rows = round % 3 ? 500 : 9; /* packed by zstd, and small enough to be plain */
        struct an_bytes packed;
        ck_assert_int_eq(
            numbers ? an_pack_numbers(packer, &(struct an_number_block){rows, 2, scaled}, &packed)
                    : an_pack_texts(packer, rows, codes, texts, 3, &packed),
            AN_OK);
        unsigned char *copy = an_alloc(packed.length, 1); /* exactly so long: overreads are seen */
        memcpy(copy, packed.at, packed.length);
        size_t length = packed.length;
        const int changes = (int)(random_next(&state) % 3) + 1;
        for (int c = 0; c < changes; c++) {
            const size_t reach = random_next(&state) % 2 ? 24 : length; /* often the header */
            copy[random_next(&state) % (reach < length ? reach : length)] =
                (unsigned char)random_next(&state);
        }
        if (random_next(&state) % 4 == 0) {
            length = random_next(&state) % (length + 1);
            unsigned char *shorter = an_alloc(length, 1);
            memcpy(shorter, copy, length);
            an_free(copy);
            copy = shorter;
        }
        feed_numbers((struct an_bytes){copy, length});
        feed_texts((struct an_bytes){copy, length});
        an_free(copy);
    }
}
END_TEST

/* A few bytes that claim to become very many. */
START_TEST(bombs)
{
    unsigned char block[4096] = {1, 8, 0, 1};
    static unsigned char zeroes[1 << 20];
    const size_t packed = ZSTD_compress(block + 24, sizeof block - 24, zeroes, sizeof zeroes, 1);
    ck_assert(!ZSTD_isError(packed));
    const struct {
        uint32_t rows, body;
    } claims[] = {
        {UINT32_MAX, UINT32_MAX}, {1 << 20, 8 << 20}, {(1 << 20) + 1, (8 << 20) + 8},
        {1 << 17, (1 << 20) - 8}, {0, 1 << 20},
    };
    for (size_t k = 0; k < sizeof claims / sizeof *claims; k++) {
        for (int i = 0; i < 4; i++) {
            block[4 + i] = (unsigned char)(claims[k].rows >> (8 * i));
            block[8 + i] = (unsigned char)(claims[k].body >> (8 * i));
        }
        struct an_number_block out = {0};
        ck_assert_int_eq(
            an_unpack_numbers(packer, (struct an_bytes){block, 24 + packed}, arena, &out),
            AN_DOMAIN);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("packed");
    TCase *packing = tcase_create("packing");
    tcase_add_checked_fixture(packing, set_up, tear_down);
    tcase_add_loop_test(packing, numbers_and_their_bytes, 0,
                        sizeof number_rows / sizeof *number_rows);
    tcase_add_test(packing, layout);
    tcase_add_test(packing, random_numbers_return);
    tcase_add_test(packing, line_numbers_are_small);
    tcase_add_test(packing, texts_and_their_edges);
    tcase_add_test(packing, what_cannot_be_packed);
    suite_add_tcase(suite, packing);
    TCase *outside = tcase_create("bytes from outside");
    tcase_add_checked_fixture(outside, set_up, tear_down);
    tcase_add_test(outside, hostile_bytes);
    tcase_add_test(outside, bombs);
    suite_add_tcase(suite, outside);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
