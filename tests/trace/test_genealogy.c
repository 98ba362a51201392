/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Times of links, places in a wall, other serials, shared ancestors, missing links, and names that
 * are nearly right. A wall of n rows and m columns has n(m-1) + m(n-1) seams and a square one a
 * diagonal n times its tile's (common practice, no source): used here for the grid's extent.
 */
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct an_trace walk_in(const char *name, enum an_trace_way way, int64_t from_us,
                               int64_t until_us)
{
    const struct an_trace_ask ask = {
        .item_id = id_of(name), .way = way, .from_us = from_us, .until_us = until_us};
    struct an_trace trace;

    OK(an_trace_run(store, &ask, &trace, &err));
    return trace;
}

/* "W1 10-20, W2 30-": what was reached, by time of the link */
static const char *reached_text(struct an_trace *trace)
{
    struct an_text text = {0};

    for (size_t k = 0; k < trace->step_count; k++) {
        const struct an_trace_step *s = &trace->steps[k];

        an_text_addf(&text, "%s%s ", k ? ", " : "", s->item.serial);
        if (s->from_us != AN_NO_INSTANT) {
            an_text_addf(&text, "%lld", (long long)s->from_us);
        }
        an_text_add(&text, "-");
        if (s->until_us != AN_NO_INSTANT) {
            an_text_addf(&text, "%lld", (long long)s->until_us);
        }
    }
    const char *copy = an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    an_trace_close(trace);
    return copy;
}

/* ---- intervals -------------------------------------------------------------------------------------- */
static const struct told moves[] = {{"tile:T > wall:W1", NULL, UNTOLD, 1, 1, 10},
                                    {"tile:T > wall:W2", NULL, UNTOLD, 1, 1, 30},
                                    {"tile:T > wall:W1", NULL, UNTOLD, 1, 1, 50}};

static void move_about(void)
{
    put_links(moves, 3);
    put_end("tile:T > wall:W1", 20);
    put_end("tile:T > wall:W2", 40);
}

static const struct {
    int64_t from_us, until_us;
    const char *reached;
} interval_rows[] = {
    {AN_NO_INSTANT, AN_NO_INSTANT, "W1 10-20, W1 50-, W2 30-40"},
    {AN_NO_INSTANT, 10, ""}, /* before the first begins */
    {AN_NO_INSTANT, 11, "W1 10-20"},
    {20, 30, ""}, /* in none */
    {19, 30, "W1 10-20"},
    {15, 31, "W1 10-20, W2 30-40"},
    {60, 70, "W1 50-"},            /* what has no end still holds */
    {40, AN_NO_INSTANT, "W1 50-"}, /* an end is no time within */
};

START_TEST(intervals)
{
    move_about();
    struct an_trace trace =
        walk_in("T", AN_TRACE_DOWN, interval_rows[_i].from_us, interval_rows[_i].until_us);
    ck_assert_str_eq(reached_text(&trace), interval_rows[_i].reached);
}
END_TEST

START_TEST(what_has_ended_is_said)
{
    move_about();
    put_links(&(struct told){"donor:D > tile:T", "R", 0.5, 0, 0, 5}, 1);
    struct an_trace trace = walk_in("D", AN_TRACE_DOWN, AN_NO_INSTANT, AN_NO_INSTANT);
    for (size_t i = 0; i < trace.reached_count; i++) {
        const struct an_trace_reached *r = &trace.reached[i];
        ck_assert(r->holds == (strcmp(r->item.serial, "W2") != 0));
    }
    ck_assert_uint_eq(trace.reached_count, 3);
    an_trace_close(&trace);
}
END_TEST

/* ---- places ------------------------------------------------------------------------------------------ */
static const struct {
    int64_t at_us;
    size_t places, holes, doubled;
    int64_t hole_row, hole_column;
} place_rows[] = {
    {AN_NO_INSTANT, 3, 1, 0, 1, 2}, /* T12 was taken out and nothing came for it */
    {15, 4, 0, 0, 0, 0},
    {5, 0, 4, 0, 1, 1},
    {25, 3, 1, 0, 1, 2},
};

START_TEST(places)
{
    static const struct told wall[] = {{"tile:T11 > wall:W", NULL, UNTOLD, 1, 1, 10},
                                       {"tile:T12 > wall:W", NULL, UNTOLD, 1, 2, 10},
                                       {"tile:T21 > wall:W", NULL, UNTOLD, 2, 1, 10},
                                       {"tile:T22 > wall:W", NULL, UNTOLD, 2, 2, 10},
                                       {"frame:F > wall:W", NULL, UNTOLD, 0, 0, 10}};
    struct an_trace_grid grid;

    put_links(wall, 5);
    put_end("tile:T12 > wall:W", 20);
    OK(an_trace_places(store, id_of("W"), _i % 2 ? "tile" : NULL, place_rows[_i].at_us, &grid,
                       &err));
    ck_assert_uint_eq(grid.place_count, place_rows[_i].places);
    ck_assert_uint_eq(grid.hole_count, place_rows[_i].holes);
    ck_assert(grid.first_row == 1 && grid.last_row == 2 && grid.first_column == 1 &&
              grid.last_column == 2);
    if (grid.hole_count) {
        ck_assert(grid.holes[0].row == place_rows[_i].hole_row &&
                  grid.holes[0].column == place_rows[_i].hole_column);
    }
    for (size_t i = 1; i < grid.place_count; i++) {
        ck_assert(grid.places[i - 1].link.row * 2 + grid.places[i - 1].link.column <
                  grid.places[i].link.row * 2 + grid.places[i].link.column);
    }
    an_trace_grid_close(&grid);
}
END_TEST

START_TEST(doubled_places)
{
    static const struct told wall[] = {{"tile:A > wall:W", NULL, UNTOLD, 1, 1, 10},
                                       {"tile:B > wall:W", NULL, UNTOLD, 1, 1, 11},
                                       {"tile:C > wall:W", NULL, UNTOLD, 1, 2, 10}};
    struct an_trace_grid grid;

    put_links(wall, 3);
    OK(an_trace_places(store, id_of("W"), "tile", AN_NO_INSTANT, &grid, &err));
    ck_assert(grid.places[0].doubled && grid.places[1].doubled && !grid.places[2].doubled);
    an_trace_grid_close(&grid);
}
END_TEST

/* ---- other serials ------------------------------------------------------------------------------------ */
static void put_alias(const char *item, const char *other, int64_t from_us, int64_t until_us)
{
    struct an_alias alias = {.item_id = own_id(item),
                             .other_id = own_id(other),
                             .from_us = from_us,
                             .until_us = until_us};

    begin_file(&alias.file_id);
    alias.line = 2;
    OK(an_store_put_alias(store, &alias, &err));
    OK(an_store_put_alias(store, &alias, &err)); /* again: nothing more */
    end_file(alias.file_id);
}

START_TEST(other_serials)
{
    static const struct told links[] = {
        {"donor:D > tile:TMP", "R", 0.5, 0, 0, 5},  /* while it had a temporary serial */
        {"donor:E > tile:TMP", "R", 0.5, 0, 0, 50}, /* the serial names another one by then */
        {"tile:T > wall:W", NULL, 0.25, 1, 1, 20},
        {"tile:U > wall:W", NULL, 0.25, 1, 2, 60}};
    put_links(links, 4);
    put_alias("tile:T", "tile:TMP", AN_NO_INSTANT, 10);
    struct an_trace trace = walk_in("W", AN_TRACE_UP, AN_NO_INSTANT, AN_NO_INSTANT);
    ck_assert_str_eq(reached_text(&trace), "T 20-, U 60-, D 5-");
    trace = walk_in("D", AN_TRACE_DOWN, AN_NO_INSTANT, AN_NO_INSTANT);
    ck_assert_str_eq(reached_text(&trace), "T 5-, W 20-");
    /* the serial alone leads to its item; once it named two, it is asked which */
    ck_assert_int_eq(id_of("TMP"), own_id("tile:T"));
    put_alias("tile:U", "tile:TMP", 40, 55);
    trace = walk_in("U", AN_TRACE_UP, AN_NO_INSTANT, AN_NO_INSTANT);
    ck_assert_str_eq(reached_text(&trace), "E 50-");
    struct an_item found;
    FAILS(an_trace_find(store, NULL, "TMP", arena, &found, &err), AN_BAD_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "tile:U (until 1970-01-01T00:00:00.000055Z), tile:T"));
}
END_TEST

START_TEST(serials_that_name_each_other)
{
    static const struct told links[] = {{"donor:D > tile:A", NULL, 1, 0, 0, 5},
                                        {"tile:B > wall:W", NULL, 1, 0, 0, 5}};
    put_links(links, 2);
    put_alias("tile:A", "tile:B", AN_NO_INSTANT, AN_NO_INSTANT);
    put_alias("tile:B", "tile:A", AN_NO_INSTANT, AN_NO_INSTANT);
    struct an_trace trace = walk_in("D", AN_TRACE_DOWN, AN_NO_INSTANT, AN_NO_INSTANT);
    ck_assert_uint_ge(trace.step_count, 2); /* it ends, and the wall is found */
    an_trace_close(&trace);
}
END_TEST

/* ---- shared ancestors ---------------------------------------------------------------------------------- */
START_TEST(shared_ancestors)
{
    static const struct told links[] = {
        {"wafer:W > donor:D1", NULL, 1, 0, 0, 0}, {"wafer:W > donor:D2", NULL, 1, 0, 0, 0},
        {"donor:D1 > tile:A", "R", 0.5, 0, 0, 0}, {"donor:D2 > tile:A", "R", 0.25, 0, 0, 0},
        {"donor:D2 > tile:B", "R", 0.5, 0, 0, 0}, {"lot:P > tile:B", NULL, UNTOLD, 0, 0, 0},
        {"lot:P > tile:C", NULL, UNTOLD, 0, 0, 0}};
    static const struct {
        const char *serial;
        size_t of;
        double share[3];
    } wanted[] = {{"D2", 2, {0.25, 0.5, -1}}, {"P", 2, {-1, -1, -1}}, {"W", 2, {0.75, 0.5, -1}}};
    put_links(links, 7);
    const int64_t ids[] = {id_of("A"), id_of("B"), id_of("C")};
    struct an_trace_common common;
    OK(an_trace_common(store, ids, 3, 2, &common, &err));
    ck_assert_uint_eq(common.shared_count, 3);
    for (size_t i = 0; i < 3; i++) {
        ck_assert_str_eq(common.shared[i].item.serial, wanted[i].serial);
        ck_assert_uint_eq(common.shared[i].of, wanted[i].of);
        for (size_t k = 0; k < 3; k++) {
            const double share = common.shared[i].share[k];
            ck_assert(wanted[i].share[k] < 0 ? isnan(share) : share == wanted[i].share[k]);
        }
    }
    an_trace_common_close(&common);
    OK(an_trace_common(store, ids, 3, 3, &common, &err));
    ck_assert_uint_eq(common.shared_count, 0);
    an_trace_common_close(&common);
    /* an item among its own: the parent beside its child */
    const int64_t two[] = {id_of("D1"), id_of("A")};
    OK(an_trace_common(store, two, 2, 2, &common, &err));
    ck_assert_uint_eq(common.shared_count, 2); /* D1 and its wafer */
    an_trace_common_close(&common);
}
END_TEST

/* ---- missing links -------------------------------------------------------------------------------------- */
static const char description[] =
    "line: a\nzone: UTC\nshifts: {d: 06:00}\n"
    "kinds: {wafer: , donor: {fold_case: yes}, tile: , wall: , plate: }\nstations:\n"
    "  transfer:\n    time: file\n    item: {kind: tile, column: t}\n    links:\n"
    "      - {column: d, kind: donor, role_column: c, roles: [R, G]}\n"
    "      - {column: p, kind: plate, role: back}\n"
    "      - {column: o, kind: tile, other_is: same}\n"
    "    characteristics: {x: {column: x, unit: um}}\n"
    "  assembly:\n    time: file\n    item: {kind: tile, column: t}\n    links:\n"
    "      - {column: w, kind: wall, other_is: child}\n"
    "    characteristics: {x: {column: x, unit: um}}\n"
    "  rework:\n    time: file\n    item: {kind: wall, column: w}\n    links:\n"
    "      - {column: f, kind: wafer, ends: yes}\n"
    "    characteristics: {x: {column: x, unit: um}}\n";

static struct an_line *read_line(void)
{
    struct an_line *line = NULL;
    const struct an_bytes yaml = {(const unsigned char *)description, sizeof description - 1};

    OK(an_line_read(yaml, "line.yaml", ".", NULL, NULL, &line, &err));
    return line;
}

START_TEST(missing_links)
{
    static const struct told links[] = {
        {"tile:A > wall:W", NULL, 1, 0, 0, 0}, {"tile:B > wall:W", NULL, 1, 0, 0, 0},
        {"donor:D > tile:A", "R", 1, 0, 0, 0}, {"donor:D > tile:B", "R", 1, 0, 0, 0},
        {"donor:D > tile:B", "G", 1, 0, 0, 0}, {"plate:P > tile:B", "back", 1, 0, 0, 0}};
    struct an_trace_missing *missing = NULL;
    size_t count = 0;
    struct an_line *line = read_line();

    put_links(links, 6);
    struct an_trace trace = walk_in("W", AN_TRACE_UP, AN_NO_INSTANT, AN_NO_INSTANT);
    OK(an_trace_missing(line, &trace, &missing, &count, &err));
    ck_assert_uint_eq(count, 2);
    ck_assert_str_eq(missing[0].item.serial, "A");
    ck_assert_str_eq(missing[0].kind, "donor");
    ck_assert_str_eq(missing[0].role, "G");
    ck_assert_str_eq(missing[0].station, "transfer");
    ck_assert_str_eq(missing[1].kind, "plate");
    ck_assert_str_eq(missing[1].role, "back");
    an_trace_close(&trace);
    /* downwards nothing is missing: a donor on the shelf went into nothing yet */
    trace = walk_in("D", AN_TRACE_DOWN, AN_NO_INSTANT, AN_NO_INSTANT);
    OK(an_trace_missing(line, &trace, &missing, &count, &err));
    ck_assert_uint_eq(count, 0);
    an_trace_close(&trace);
    an_line_close(line);
}
END_TEST

/* ---- names ------------------------------------------------------------------------------------------------ */
static const struct {
    const char *name;
    enum an_status st;
    const char *says; /* the error, or the serial found */
} name_rows[] = {
    {"T-26-00417-K", AN_OK, "T-26-00417-K"},
    {"tile:T-26-00417-K", AN_OK, "T-26-00417-K"},
    {"db-0045", AN_OK, "DB-0045"}, /* donors are read in upper case */
    {"donor:db-0045", AN_OK, "DB-0045"},
    {"t-26-00417-k", AN_NOT_FOUND, "the nearest is 'T-26-00417-K'"}, /* tiles are not */
    {"T-26-O0417-K", AN_NOT_FOUND, "the nearest is 'T-26-00417-K'"},
    {"X-26-00417-K", AN_NOT_FOUND, "the nearest is 'T-26-00417-K'"}, /* first letter */
    {"-26-00417-K", AN_NOT_FOUND, "the nearest is 'T-26-00417-K'"},
    {"T-26-0417-K", AN_NOT_FOUND, "the nearest is 'T-26-00417-K'"},
    {"T-26-004177-K", AN_NOT_FOUND, "the nearest is 'T-26-00417-K'"},
    {"T-62-00417-K", AN_NOT_FOUND, "the nearest is 'T-26-00417-K'"}, /* swapped */
    {"T-26-00417", AN_NOT_FOUND, "the nearest is 'T-26-00417-K'"},   /* by its neighbours */
    {"wall:T-26-00417-K", AN_NOT_FOUND, "the nearest is 'T-26-00417-K'"},
    {"17", AN_BAD_USAGE, "say which: plate:17, wafer:17"},
    {"wafer:17", AN_OK, "17"},
    {"a:b", AN_OK, "a:b"}, /* a serial may hold a colon */
    {"", AN_NOT_FOUND, "no item ''"},
    {":", AN_NOT_FOUND, "no item ':'"},
    {"nothing at all like these", AN_NOT_FOUND, "SERIAL or KIND:SERIAL"},
};

START_TEST(names)
{
    static const struct told links[] = {{"donor:DB-0045 > tile:T-26-00417-K", "R", 1, 0, 0, 0},
                                        {"wafer:17 > plate:17", NULL, 1, 0, 0, 0},
                                        {"lot:a:b > plate:18", NULL, 1, 0, 0, 0}};
    struct an_line *line = read_line();
    struct an_item item = {0};

    put_links(links, 3);
    err = (struct an_error){0};
    const enum an_status st = an_trace_find(store, line, name_rows[_i].name, arena, &item, &err);
    ck_assert_msg(st == name_rows[_i].st, "%s: %s %s", name_rows[_i].name, an_status_name(st),
                  err.text);
    if (st) {
        ck_assert_msg(strstr(err.text, name_rows[_i].says) != NULL, "%s: %s", name_rows[_i].name,
                      err.text);
    } else {
        ck_assert_str_eq(item.serial, name_rows[_i].says);
    }
    an_line_close(line);
}
END_TEST

/* ---- memory ------------------------------------------------------------------------------------------------- */
/* Every allocation of a trace fails once: a status each time, and nothing is left open. */
START_TEST(memory_runs_out)
{
    size_t k = 1;

    move_about();
    put_alias("tile:T", "tile:TMP", AN_NO_INSTANT, 10);
    for (; k < 5000; k++) {
        struct an_trace trace;
        const struct an_trace_ask ask = {.item_id = own_id("tile:T"),
                                         .way = AN_TRACE_DOWN,
                                         .from_us = AN_NO_INSTANT,
                                         .until_us = AN_NO_INSTANT};
        (void)an_alloc_fail_at(k, false);
        const enum an_status st = an_trace_run(store, &ask, &trace, &err);
        (void)an_alloc_fail_at(0, false);
        if (!st) {
            ck_assert_uint_eq(trace.step_count, 3);
            an_trace_close(&trace);
            break;
        }
        ck_assert_int_eq(st, AN_NO_MEMORY);
    }
    ck_assert(k > 5 && k < 5000);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("genealogy");
    TCase *tcase = tcase_create("genealogy");

    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, intervals, 0, sizeof interval_rows / sizeof *interval_rows);
    tcase_add_test(tcase, what_has_ended_is_said);
    tcase_add_loop_test(tcase, places, 0, sizeof place_rows / sizeof *place_rows);
    tcase_add_test(tcase, doubled_places);
    tcase_add_test(tcase, other_serials);
    tcase_add_test(tcase, serials_that_name_each_other);
    tcase_add_test(tcase, shared_ancestors);
    tcase_add_test(tcase, missing_links);
    tcase_add_loop_test(tcase, names, 0, sizeof name_rows / sizeof *name_rows);
    tcase_add_test(tcase, memory_runs_out);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
