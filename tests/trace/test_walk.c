/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Walks and their sums. Shares are worked out by hand beside each graph: products along a path,
 * sums over paths (the number of paths of a chain of diamonds doubles with each: 2^n).
 */
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct an_trace walk(const char *name, enum an_trace_way way, uint32_t most_depth)
{
    const struct an_trace_ask ask = {.item_id = id_of(name),
                                     .way = way,
                                     .most_depth = most_depth,
                                     .from_us = AN_NO_INSTANT,
                                     .until_us = AN_NO_INSTANT};
    struct an_trace trace;

    OK(an_trace_run(store, &ask, &trace, &err));
    return trace;
}

static const struct an_trace_reached *reached(const struct an_trace *trace, const char *serial,
                                              const char *role)
{
    for (size_t i = 0; i < trace->reached_count; i++) {
        const struct an_trace_reached *r = &trace->reached[i];
        if (strcmp(r->item.serial, serial) == 0 && strcmp(r->role ? r->role : "", role) == 0) {
            return r;
        }
    }
    ck_abort_msg("%s as '%s' was not reached", serial, role);
    return NULL;
}

/* ---- sums over paths ------------------------------------------------------------------------------ */
enum { MOST_LINKS = 8 };
static const struct {
    const char *name;
    struct told links[MOST_LINKS];
    const char *from;
    enum an_trace_way way;
    const char *to, *role;
    double share; /* UNTOLD: unknown */
    bool whole;
    uint32_t depth;
} sum_rows[] = {
    {"one link",
     {{"donor:D > tile:T", "R", 0.25, 0, 0, 0}},
     "T",
     AN_TRACE_UP,
     "D",
     "R",
     0.25,
     true,
     1},
    {"one link down",
     {{"donor:D > tile:T", "R", 0.25, 0, 0, 0}},
     "D",
     AN_TRACE_DOWN,
     "T",
     "R",
     0.25,
     true,
     1},
    {"a chain carries its role",
     {{"wafer:W > donor:D", NULL, 1, 0, 0, 0}, {"donor:D > tile:T", "R", 0.25, 0, 0, 0}},
     "T",
     AN_TRACE_UP,
     "W",
     "R",
     0.25,
     true,
     2},
    {"a diamond adds up: 1/2 * 1/4 + 1/4 * 1/2",
     {{"wafer:W > donor:A", NULL, 0.5, 0, 0, 0},
      {"wafer:W > donor:B", NULL, 0.25, 0, 0, 0},
      {"donor:A > tile:T", "R", 0.25, 0, 0, 0},
      {"donor:B > tile:T", "R", 0.5, 0, 0, 0}},
     "T",
     AN_TRACE_UP,
     "W",
     "R",
     0.25,
     true,
     2},
    {"and the same downwards",
     {{"wafer:W > donor:A", NULL, 0.5, 0, 0, 0},
      {"wafer:W > donor:B", NULL, 0.25, 0, 0, 0},
      {"donor:A > tile:T", "R", 0.25, 0, 0, 0},
      {"donor:B > tile:T", "R", 0.5, 0, 0, 0}},
     "W",
     AN_TRACE_DOWN,
     "T",
     "R",
     0.25,
     true,
     2},
    {"roles are summed apart",
     {{"wafer:W > donor:A", NULL, 1, 0, 0, 0},
      {"wafer:W > donor:B", NULL, 1, 0, 0, 0},
      {"donor:A > tile:T", "R", 0.25, 0, 0, 0},
      {"donor:B > tile:T", "G", 0.5, 0, 0, 0}},
     "T",
     AN_TRACE_UP,
     "W",
     "G",
     0.5,
     true,
     2},
    {"two links between the same items, 1/8 + 1/8",
     {{"donor:D > tile:T", "R", 0.125, 1, 1, 0}, {"donor:D > tile:T", "R", 0.125, 1, 2, 0}},
     "T",
     AN_TRACE_UP,
     "D",
     "R",
     0.25,
     true,
     1},
    {"a share that is not told is not one",
     {{"wafer:W > donor:D", NULL, UNTOLD, 0, 0, 0}, {"donor:D > tile:T", "R", 0.25, 0, 0, 0}},
     "T",
     AN_TRACE_UP,
     "W",
     "R",
     UNTOLD,
     false,
     2},
    {"one of two paths tells it: a least",
     {{"wafer:W > donor:A", NULL, 0.5, 0, 0, 0},
      {"wafer:W > donor:B", NULL, UNTOLD, 0, 0, 0},
      {"donor:A > tile:T", "R", 0.5, 0, 0, 0},
      {"donor:B > tile:T", "R", 0.5, 0, 0, 0}},
     "T",
     AN_TRACE_UP,
     "W",
     "R",
     0.25,
     false,
     2},
    {"paths of unequal length, 1/2 + 1/2 * 1/2",
     {{"wafer:W > tile:T", NULL, 0.5, 0, 0, 0},
      {"wafer:W > donor:A", NULL, 0.5, 0, 0, 0},
      {"donor:A > tile:T", NULL, 0.5, 0, 0, 0}},
     "T",
     AN_TRACE_UP,
     "W",
     "",
     0.75,
     true,
     1},
};

START_TEST(sums)
{
    const char *name = sum_rows[_i].name;
    size_t count = 0;

    while (count < MOST_LINKS && sum_rows[_i].links[count].what) {
        count++;
    }
    put_links(sum_rows[_i].links, count);
    struct an_trace trace = walk(sum_rows[_i].from, sum_rows[_i].way, 0);
    const struct an_trace_reached *r = reached(&trace, sum_rows[_i].to, sum_rows[_i].role);

    if (sum_rows[_i].share < 0) {
        ck_assert_msg(isnan(r->share), "%s: %g", name, r->share);
    } else {
        ck_assert_msg(fabs(r->share - sum_rows[_i].share) < 1e-15, "%s: %g", name, r->share);
    }
    ck_assert_msg(r->share_whole == sum_rows[_i].whole, "%s", name);
    ck_assert_msg(r->depth == sum_rows[_i].depth, "%s: %u", name, r->depth);
    ck_assert_msg(r->holds, "%s", name);
    an_trace_close(&trace);
}
END_TEST

/* Forty diamonds in a row: 2^40 paths, each of share 2^-40; the sum is 1 and the steps are 160. */
START_TEST(paths_are_not_walked)
{
    enum { DIAMONDS = 40 };
    static char names[4 * DIAMONDS][40];
    struct told links[4 * DIAMONDS];

    for (int k = 0; k < DIAMONDS; k++) {
        for (int side = 0; side < 2; side++) {
            const size_t at = (size_t)(4 * k + 2 * side);

            (void)snprintf(names[at], sizeof names[at], "lot:N%d > lot:M%d-%d", k, k, side);
            links[at] = (struct told){names[at], NULL, 1, 0, 0, 0};
            (void)snprintf(names[at + 1], sizeof names[at], "lot:M%d-%d > lot:N%d", k, side, k + 1);
            links[at + 1] = (struct told){names[at + 1], NULL, 0.5, 0, 0, 0};
        }
    }
    put_links(links, 4 * DIAMONDS);
    struct an_trace trace = walk("N0", AN_TRACE_DOWN, 0);
    const struct an_trace_reached *last = reached(&trace, "N40", "");

    ck_assert_uint_eq(trace.step_count, 4 * DIAMONDS);
    ck_assert_uint_eq(trace.reached_count, 3 * DIAMONDS);
    ck_assert_double_eq_tol(last->share, 1, 1e-15);
    ck_assert_uint_eq(last->depth, 2 * DIAMONDS);
    ck_assert(last->open_end);
    an_trace_close(&trace);
}
END_TEST

/* ---- loops ------------------------------------------------------------------------------------------ */
static const struct {
    const char *name;
    struct told links[MOST_LINKS];
    const char *from;
    size_t steps, circles;
    const char *behind; /* reached through the loop, with a share of its own */
    double share;
} loop_rows[] = {
    {"in itself",
     {{"lot:A > lot:A", NULL, 0.5, 0, 0, 0}, {"lot:A > lot:B", NULL, 0.5, 0, 0, 0}},
     "A",
     2,
     1,
     "B",
     0.5},
    {"two",
     {{"lot:A > lot:B", NULL, 0.5, 0, 0, 0},
      {"lot:B > lot:A", NULL, 0.5, 0, 0, 0},
      {"lot:A > lot:C", NULL, 0.25, 0, 0, 0}},
     "A",
     3,
     2,
     "C",
     0.25},
    {"off the way that is walked first",
     {{"lot:S > lot:A", NULL, 1, 0, 0, 0},
      {"lot:S > lot:B", NULL, 1, 0, 0, 0},
      {"lot:A > lot:B", NULL, 1, 0, 0, 0},
      {"lot:B > lot:A", NULL, 1, 0, 0, 0},
      {"lot:A > lot:C", NULL, 0.5, 0, 0, 0}},
     "S",
     5,
     2,
     "C",
     0.5},
    {"behind its only entry",
     {{"lot:S > lot:A", NULL, 0.5, 0, 0, 0},
      {"lot:A > lot:B", NULL, 1, 0, 0, 0},
      {"lot:B > lot:C", NULL, 1, 0, 0, 0},
      {"lot:C > lot:A", NULL, 1, 0, 0, 0},
      {"lot:B > lot:D", NULL, 1, 0, 0, 0}},
     "S",
     5,
     3,
     "D",
     UNTOLD},
};

START_TEST(loops_end)
{
    size_t count = 0;
    size_t circles = 0;

    while (count < MOST_LINKS && loop_rows[_i].links[count].what) {
        count++;
    }
    put_links(loop_rows[_i].links, count);
    struct an_trace trace = walk(loop_rows[_i].from, AN_TRACE_DOWN, 0);
    const struct an_trace_reached *r = reached(&trace, loop_rows[_i].behind, "");

    for (size_t k = 0; k < trace.step_count; k++) {
        circles += trace.steps[k].circle ? 1 : 0;
    }
    ck_assert_msg(trace.step_count == loop_rows[_i].steps, "%s", loop_rows[_i].name);
    ck_assert_msg(circles == loop_rows[_i].circles, "%s: %zu", loop_rows[_i].name, circles);
    if (loop_rows[_i].share < 0) {
        ck_assert_msg(isnan(r->share), "%s: %g", loop_rows[_i].name, r->share);
    } else {
        ck_assert_double_eq_tol(r->share, loop_rows[_i].share, 1e-15);
    }
    an_trace_close(&trace);
}
END_TEST

/* ---- limits ----------------------------------------------------------------------------------------- */
START_TEST(depth_and_number)
{
    static const struct told links[] = {{"lot:A > lot:B", NULL, 1, 0, 0, 0},
                                        {"lot:B > lot:C", NULL, 1, 0, 0, 0},
                                        {"lot:C > lot:D", NULL, 1, 0, 0, 0}};
    put_links(links, 3);
    struct an_trace trace = walk("A", AN_TRACE_DOWN, 2);
    ck_assert_uint_eq(trace.step_count, 2);
    ck_assert(!trace.steps[0].more && trace.steps[1].more);
    ck_assert(!reached(&trace, "C", "")->open_end); /* not looked at, so not said */
    an_trace_close(&trace);

    const struct an_trace_ask ask = {.item_id = id_of("A"),
                                     .way = AN_TRACE_DOWN,
                                     .from_us = AN_NO_INSTANT,
                                     .until_us = AN_NO_INSTANT,
                                     .most_steps = 2};
    OK(an_trace_run(store, &ask, &trace, &err));
    ck_assert(trace.cut);
    ck_assert_uint_eq(trace.step_count, 2);
    an_trace_close(&trace);
    FAILS(an_trace_run(store, &(struct an_trace_ask){.item_id = 99}, &trace, &err), AN_NOT_FOUND);
    an_trace_close(&trace);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("walk");
    TCase *tcase = tcase_create("walk");

    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, sums, 0, sizeof sum_rows / sizeof *sum_rows);
    tcase_add_test(tcase, paths_are_not_walked);
    tcase_add_loop_test(tcase, loops_end, 0, sizeof loop_rows / sizeof *loop_rows);
    tcase_add_test(tcase, depth_and_number);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
