/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pages of gauge studies, every kind: one page that says what the study says, with nothing drawn over
 * the foot; the same study gives the same bytes; when memory runs out there is no file and no crash.
 */
#include "report/gauge_page.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct an_arena *arena;
static struct an_line *line;
static struct an_error err;

#define OK(call) ck_assert_msg((call) == AN_OK, "%s: %s", #call, err.text)

/* A month and a half of fives that wander upwards, one occasion far off. */
static const char *drifting(void)
{
    static char data[8000];
    size_t length = (size_t)snprintf(data, sizeof data, "at,x\n");
    for (int i = 0; i < 24; i++) {
        for (int k = 0; k < 5; k++) {
            length += (size_t)snprintf(data + length, sizeof data - length, "2026-%02d-%02d,%.2f\n",
                                       2 + i / 12, 1 + i % 12 * 2,
                                       2.0 + 0.02 * i + 0.05 * ((i * 7 + k * 3) % 5 - 2) +
                                           (i == 11 ? 1.5 : 0.0));
        }
    }
    return data;
}

static const struct {
    enum an_gauge_kind kind;
    const char *data; /* NULL: drifting() */
    const char *says[5];
} studies[] = {
    {AN_GAUGE_STABILITY,
     NULL,
     {"G1: not stable: signals at", "mean of 5 readings; target: the reference",
      "range of 5 readings", "reading less reference over time", "Signals: "}},
    {AN_GAUGE_STABILITY,
     "at,x\n2026-03-01,2.1\n2026-03-02,1.9\n2026-03-03,2.2\n2026-03-04,1.8\n2026-03-05,2.0\n"
     "2026-03-06,2.1\n2026-03-07,1.9\n2026-03-08,2.0\n2026-03-09,1.9\n2026-03-10,2.1\n",
     {"G1: stable over 10 occasions in 9 days; no drift shown", "moving range", "no bias shown",
      "10 occasions are few", "Chart individuals of 10 occasions"}},
    {AN_GAUGE_BIAS, "x\n2.1\n2.2\n1.9\n2.3\n", {"no bias shown", "reference"}},
    {AN_GAUGE_LINEARITY,
     "x,ref\n2.1,2\n2.2,2\n4.1,4\n4.0,4\n5.8,6\n5.9,6\n",
     {"slope", "lack of fit"}},
    {AN_GAUGE_CROSSED,
     "part,who,x\na,A,1\na,A,2\na,B,2\na,B,3\nb,A,5\nb,A,6\nb,B,6\nb,B,7\n",
     {"of the study variation", "whole gauge"}},
    {AN_GAUGE_SORTING,
     "part,who,x\n1,A,ok\n1,B,ok\n2,A,no\n2,B,no\n3,A,ok\n3,B,no\n4,A,ok\n4,B,ok\n",
     {"least kappa", "everybody agrees"}},
};
enum { STUDIES = sizeof studies / sizeof *studies };

static struct an_gauge_record record_of(int i)
{
    const enum an_gauge_kind kind = studies[i].kind;
    const bool people = kind == AN_GAUGE_CROSSED || kind == AN_GAUGE_SORTING;
    const bool timed = kind == AN_GAUGE_STABILITY;
    return (struct an_gauge_record){
        .study_id = 7,
        .known_us = INT64_C(1772427600000000),
        .gauge = "G1",
        .kind = kind,
        .part = people ? "part" : NULL,
        .person = people  ? "who"
                  : timed ? "at"
                          : NULL,
        .reading = "x",
        .reference = kind == AN_GAUGE_LINEARITY ? "ref" : NULL,
        .reference_value = timed || kind == AN_GAUGE_BIAS ? 2.0 : (double)NAN,
        .tolerance = i == 0 ? 12.0 : (double)NAN,
        .pool_above = 0.25,
        .file = "s.csv",
        .data = an_bytes_of(studies[i].data ? studies[i].data : drifting()),
        .author = "Q. Lead",
        .reason = "monthly"};
}

static enum an_status write_page(const struct an_gauge_result *result, const char *path)
{
    const struct an_gauge_page page = {
        .path = path, .paper = &an_paper_a4, .program_version = "0", .store_name = "line.store"};
    return an_gauge_page_write(line, result, &page, &err);
}

static void set_up(void)
{
    arena = an_arena_open();
    line = invented_line();
}

static void tear_down(void)
{
    an_line_close(line);
    an_arena_close(arena);
}

/* White space of any kind as one blank. */
static char *packed(char *text)
{
    char *to = text;
    for (const char *at = text; *at; at++) {
        if (!strchr(" \n\f", *at)) {
            *to++ = *at;
        } else if (to > text && to[-1] != ' ') {
            *to++ = ' ';
        }
    }
    *to = '\0';
    return text;
}

START_TEST(one_page_says_it)
{
    const struct an_gauge_record record = record_of(_i);
    struct an_gauge_result result;
    char *path = fresh_path(arena, "study.pdf");
    size_t one = 0;
    size_t two = 0;
    OK(an_gauge_evaluate(&record, arena, &result, &err));
    OK(write_page(&result, path));
    const char *a = whole_file(arena, path, &one);
    const int pages = pdf_pages(path);
    ck_assert_msg(pages == 1 || pages == -1, "%d pages", pages);
    char *text = pdf_text(arena, path, 1);
    if (text) { /* poppler is there */
        (void)packed(text);
        for (size_t i = 0; i < 5 && studies[_i].says[i]; i++) {
            ck_assert_msg(strstr(text, studies[_i].says[i]) != NULL, "no '%s' in: %s",
                          studies[_i].says[i], text);
        }
        /* what stands last on the page still stands above its foot */
        const char *last = strstr(text, "remain with those authorised for them");
        const char *foot = strstr(text, "store line.store");
        ck_assert(last && foot && last < foot);
    }
    OK(write_page(&result, path));
    const char *b = whole_file(arena, path, &two);
    ck_assert(one > 2000 && one == two && memcmp(a, b, one) == 0);
    remove_folder(path);
}
END_TEST

START_TEST(memory_may_run_out_anywhere)
{
    enum { TRIED = 60 };
    const struct an_gauge_record record = record_of(_i);
    struct an_gauge_result result;
    char *path = fresh_path(arena, "never.pdf");
    OK(an_gauge_evaluate(&record, arena, &result, &err));
    (void)an_alloc_fail_at(0, false);
    OK(write_page(&result, path));
    const size_t all = an_alloc_fail_at(0, false);
    size_t length = 0;
    const char *good = whole_file(arena, path, &length);
    ck_assert_int_eq(unlink(path), 0);
    ck_assert_uint_gt(all, 3);
    size_t failed = 0;
    const size_t tried = all < TRIED ? all : TRIED;
    for (size_t t = 0; t < tried; t++) {
        (void)an_alloc_fail_at(1 + t * all / tried, t % 2);
        const enum an_status st = write_page(&result, path);
        (void)an_alloc_fail_at(0, false);
        ck_assert_msg(st == AN_OK || st == AN_NO_MEMORY, "status %d: %s", (int)st, err.text);
        ck_assert((access(path, F_OK) == 0) == (st == AN_OK));
        failed += st != AN_OK;
        if (!st) { /* then nothing is missing on it */
            size_t now = 0;
            const char *page = whole_file(arena, path, &now);
            ck_assert(now == length && memcmp(page, good, length) == 0);
            ck_assert_int_eq(unlink(path), 0);
        }
    }
    ck_assert_uint_gt(failed, 0);
    remove_folder(path);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("pages of gauge studies");
    TCase *pages = tcase_create("pages");
    tcase_add_checked_fixture(pages, set_up, tear_down);
    tcase_set_timeout(pages, 300);
    tcase_add_loop_test(pages, one_page_says_it, 0, STUDIES);
    tcase_add_loop_test(pages, memory_may_run_out_anywhere, 0, STUDIES);
    suite_add_tcase(suite, pages);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
