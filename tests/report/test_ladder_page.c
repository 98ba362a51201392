/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pages of variance ladders from a store: a page a stream that says what was put, the gauge's rung
 * where a study is known, the reason in place of the numbers; the same store gives the same bytes; when
 * memory runs out at any point there is no file and no crash.
 */
#include "report/ladder_page.h"
#include "support.h"
#include "support_store.h"

#include <check.h>
#include <math.h>
#include <string.h>
#include <unistd.h>

static struct mill mill;
static struct an_stream *streams;
static size_t stream_count;

#define OK(call) ck_assert_msg((call) == AN_OK, "%s: %s", #call, mill.err.text)

static void set_up(void)
{
    mill_open(&mill, 150);
    OK(an_store_streams(mill.store, mill.arena, &streams, &stream_count, &mill.err));
    ck_assert_uint_ge(stream_count, 2);
}

static void tear_down(void)
{
    mill_close(&mill);
}

static enum an_status make(const char *path, size_t count, int64_t from_us)
{
    struct an_ladder_report report = {.path = path,
                                      .paper = &an_paper_a4,
                                      .program_version = "0",
                                      .store_name = "line.store",
                                      .from_us = from_us,
                                      .until_us = INT64_MAX};
    const enum an_status st = an_ledger_head(mill.store, &report.head, &mill.err);
    return st ? st
              : an_ladder_report_write(mill.store, mill.line, streams, count, &report, &mill.err);
}

static void has(const char *text, const char *wanted)
{
    ck_assert_msg(strstr(text, wanted) != NULL, "no '%s' in:\n%s", wanted, text);
}

/* Whether a text stands on a page, white space aside. */
static const char *page_text(const char *path, int page)
{
    char *text = pdf_text(mill.arena, path, page);
    if (text) {
        char *to = text;
        for (const char *at = text; *at; at++) {
            if (!strchr(" \n\f", *at)) {
                *to++ = *at;
            } else if (to > text && to[-1] != ' ') {
                *to++ = ' ';
            }
        }
        *to = '\0';
    }
    return text;
}

static void put_study(void)
{
    static const char data[] = "part,who,x\na,A,1.80\na,A,1.81\na,B,1.81\na,B,1.82\nb,A,2.20\n"
                               "b,A,2.21\nb,B,2.21\nb,B,2.22\n";
    struct an_gauge_record record = {.gauge = "ohmmeter 7",
                                     .kind = AN_GAUGE_CROSSED,
                                     .stream = "edge.resistance",
                                     .part = "part",
                                     .person = "who",
                                     .reading = "x",
                                     .reference_value = (double)NAN,
                                     .tolerance = 1.0,
                                     .pool_above = 0.25,
                                     .file = "s.csv",
                                     .data = an_bytes_of(data),
                                     .grade = AN_GRADE_FIT,
                                     .verdict = "takes little",
                                     .author = "Q. Lead",
                                     .reason = "new"};
    OK(an_store_put_gauge_study(mill.store, &record, &mill.err));
}

static size_t edge(void)
{
    size_t i = 0;
    while (strcmp(streams[i].station, "edge") != 0) {
        ck_assert_uint_lt(++i, stream_count);
    }
    return i;
}

START_TEST(a_page_a_stream)
{
    char *path = fresh_path(mill.arena, "ladder.pdf");
    const struct an_stream first = streams[edge()];
    streams[edge()] = streams[0];
    streams[0] = first;
    OK(make(path, 2, INT64_MIN));
    const int pages = pdf_pages(path);
    ck_assert_msg(pages == 2 || pages == -1, "%d pages", pages);
    const char *text = page_text(path, 1);
    if (text) { /* poppler is there */
        has(text, "components of variance");
        has(text, "edge.resistance");
        has(text, "216 readings of 216 samples");
        /* one reading a tile, so tiles are the lowest level, within their shift; the step at tile 150
         * lies between shifts */
        has(text, "from shift to shift");
        has(text, "one reading in each tile: its spread cannot be told from");
        has(text, "the whole");
        has(text, "restricted maximum likelihood");
        has(text, "Were the assumptions met?");
        has(text, "normal shape (shift)");
        has(text, "of the tolerance; without shift");
        has(text, "Gauge: ohmmeter 7: no study known");
        has(text, "page 1 of 2");
        has(page_text(path, 2), "page 2 of 2");
    }
    put_study();
    OK(make(path, 1, INT64_MIN));
    text = page_text(path, 0);
    if (text) {
        has(text, "of this, the gauge");
        has(text, "Gauge ohmmeter 7 takes");
        has(text, "Its variance is a part of the levels above");
    }
    remove_folder(path);
}
END_TEST

START_TEST(a_reason_in_place_of_numbers)
{
    char *path = fresh_path(mill.arena, "ladder.pdf");
    OK(make(path, 1, INT64_MAX - 1)); /* nothing lies there */
    const char *text = page_text(path, 0);
    if (text) {
        has(text, "No components of");
        has(text, "no two levels with replicates");
        ck_assert_ptr_null(strstr(text, "The ladder"));
    }
    ck_assert_int_eq(unlink(path), 0);
    ck_assert_int_eq(make(path, 0, INT64_MIN), AN_TOO_FEW);
    ck_assert_int_ne(access(path, F_OK), 0);
    ck_assert_int_eq(make("no such folder/ladder.pdf", 1, INT64_MIN), AN_CANNOT_CREATE);
    remove_folder(path);
}
END_TEST

START_TEST(the_same_store_gives_the_same_bytes)
{
    char *path = fresh_path(mill.arena, "ladder.pdf");
    size_t one = 0;
    size_t two = 0;
    put_study();
    OK(make(path, stream_count, INT64_MIN));
    const char *a = whole_file(mill.arena, path, &one);
    OK(make(path, stream_count, INT64_MIN));
    const char *b = whole_file(mill.arena, path, &two);
    ck_assert_uint_gt(one, 5000);
    ck_assert(one == two && memcmp(a, b, one) == 0);
    remove_folder(path);
}
END_TEST

START_TEST(memory_may_run_out_anywhere)
{
    enum { TRIED = 120 };
    char *path = fresh_path(mill.arena, "never.pdf");
    put_study();
    (void)an_alloc_fail_at(0, false);
    OK(make(path, 2, INT64_MIN));
    const size_t all = an_alloc_fail_at(0, false);
    size_t length = 0;
    const char *good = whole_file(mill.arena, path, &length);
    ck_assert_uint_gt(all, 60);
    ck_assert_int_eq(unlink(path), 0);
    size_t failed = 0;
    for (size_t t = 0; t < TRIED; t++) {
        const size_t k = t < 60 ? t + 1 : 60 + (t - 59) * (all - 60) / (TRIED - 59);
        (void)an_alloc_fail_at(k, t % 2);
        const enum an_status st = make(path, 2, INT64_MIN);
        (void)an_alloc_fail_at(0, false);
        ck_assert_msg(st == AN_OK || st == AN_NO_MEMORY, "allocation %zu: status %d, %s", k,
                      (int)st, mill.err.text);
        failed += st != AN_OK;
        ck_assert_msg((access(path, F_OK) == 0) == (st == AN_OK), "allocation %zu", k);
        if (!st) { /* then nothing is missing on it */
            size_t now = 0;
            const char *page = whole_file(mill.arena, path, &now);
            ck_assert(now == length && memcmp(page, good, length) == 0);
            ck_assert_int_eq(unlink(path), 0);
        }
    }
    ck_assert_uint_gt(failed, TRIED / 4);
    OK(make(path, 2, INT64_MIN)); /* and all is well again */
    remove_folder(path);
}
END_TEST

START_TEST(three_digits)
{
    static const struct {
        double value;
        const char *text;
    } cases[] = {{0.0, "0.00"},       {1.0, "1.00"},      {-0.98473, "-0.985"},
                 {123.46, "123"},     {12345.0, "12345"}, {0.000123456, "0.000123"},
                 {1.5e-9, "1.5e-09"}, {2.5e9, "2.5e+09"}, {(double)NAN, "-"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        ck_assert_str_eq(an_ladder_digits(mill.arena, cases[i].value), cases[i].text);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("pages of variance ladders");
    TCase *pages = tcase_create("pages");
    tcase_add_checked_fixture(pages, set_up, tear_down);
    tcase_set_timeout(pages, 300);
    tcase_add_test(pages, a_page_a_stream);
    tcase_add_test(pages, a_reason_in_place_of_numbers);
    tcase_add_test(pages, the_same_store_gives_the_same_bytes);
    tcase_add_test(pages, memory_may_run_out_anywhere);
    tcase_add_test(pages, three_digits);
    suite_add_tcase(suite, pages);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
