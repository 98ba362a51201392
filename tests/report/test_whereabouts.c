/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What carries a batch, told by place: whoever reads the rows back has every item once, where it is, as
 * sure and in the role it was given, and no other. (No source: the list is our own.)
 */
#include "report/item_pages.h"
#include "support.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct an_arena *arena;

static void set_up(void)
{
    arena = an_arena_open();
    ck_assert_ptr_nonnull(arena);
}

static void tear_down(void)
{
    an_arena_close(arena);
}

static const char *copy(const char *text)
{
    return an_arena_copy(arena, text, strlen(text));
}

static uint64_t state = 7;
static unsigned draw(unsigned below)
{
    state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (unsigned)((state >> 33) % below);
}

static const char *draw_serial(unsigned i)
{
    switch (i / 16 %
            6) { /* numbers that follow, that do not, that change their width, and others */
    case 0:
        return an_arena_printf(arena, "T-%04u", i);
    case 1:
        return an_arena_printf(arena, "T-%u", i);
    case 2:
        return an_arena_printf(arena, "%u", i);
    case 3:
        return an_arena_printf(arena, "A%uB", i);
    case 4:
        return an_arena_printf(arena, "T%05u.1", i);
    default:
        return an_arena_printf(arena, "9999999999999%06u", i);
    }
}

static int by_kind_and_serial(const void *a, const void *b)
{
    const struct an_item_carrier *x = a;
    const struct an_item_carrier *y = b;
    const int kind = strcmp(x->item.kind, y->item.kind);
    if (x->product != y->product) {
        return x->product ? -1 : 1;
    }
    return kind ? kind : strcmp(x->item.serial, y->item.serial);
}

/* One more, digit by digit; the serials of a run have as many digits at both ends. */
static void step(char *serial)
{
    size_t at = strlen(serial) - 1;
    while (serial[at] == '9') {
        serial[at--] = '0';
    }
    serial[at]++;
}

struct reading {
    const struct an_item_carrier *const *order;
    size_t count;
    bool *seen;
    size_t found;
};

static void meet(struct reading *r, const char *const row[], const char *serial)
{
    for (size_t i = 0; i < r->count; i++) {
        const struct an_item_carrier *one = r->order[i];
        const char *state_word = !one->holds ? "taken out" : one->certain ? "certain" : "possible";
        if (r->seen[i] || strcmp(one->item.serial, serial) != 0) {
            continue;
        }
        const char *where = one->whole.item_id  ? one->whole.serial
                            : one->last_station ? one->last_station
                                                : "no station";
        ck_assert_ptr_nonnull(strstr(row[0], where));
        ck_assert_str_eq(row[1], state_word);
        ck_assert_str_eq(row[2], *one->roles ? one->roles : "-");
        r->seen[i] = true;
        r->found++;
        return;
    }
    ck_abort_msg("%s was not given, or is told twice", serial);
}

/* The items of a cell "A, B to E, F". */
static size_t read_cell(struct reading *r, const char *const row[], const char *which)
{
    char text[600];
    size_t n = 0;
    ck_assert_uint_lt(strlen(which), sizeof text);
    strcpy(text, which);
    char *rest = text;
    for (char *part = strtok_r(text, ",", &rest); part; part = strtok_r(NULL, ",", &rest)) {
        part += *part == ' ';
        char *to = strstr(part, " to ");
        if (to) {
            *to = '\0';
            to += 4;
        }
        meet(r, row, part);
        n++;
        for (unsigned i = 0; to && strcmp(part, to) != 0; i++) {
            ck_assert_uint_lt(i, 5000);
            step(part);
            meet(r, row, part);
            n++;
        }
    }
    return n;
}

static void check_kind(struct an_book *book, const struct an_item_carrier *const *order,
                       size_t count, size_t *rows)
{
    struct an_place_rows told;
    struct reading r = {order, count, calloc(count, sizeof(bool)), 0};
    const char *row[3] = {NULL};
    size_t promised = 0;
    an_place_rows_of(book, order, count, &told);
    ck_assert(!book->failed);
    ck_assert_ptr_nonnull(r.seen);
    for (size_t i = 0; i < told.rows; i++) {
        const char *const *cells = told.cells + i * AN_PLACE_COLUMNS;
        if (*cells[3]) { /* a new place; else the row goes on */
            ck_assert_uint_eq(promised, r.found);
            memcpy(row, cells, sizeof row);
            char digits[20] = "";
            for (const char *p = cells[3]; *p; p++) {
                if (*p != ',') {
                    strncat(digits, p, 1);
                }
            }
            promised += strtoul(digits, NULL, 10);
        } else {
            ck_assert_str_eq(cells[0], row[0]);
        }
        ck_assert_uint_gt(read_cell(&r, row, cells[4]), 0);
        ck_assert_uint_le(strlen(cells[4]), told.longest);
    }
    ck_assert_uint_eq(r.found, count);
    ck_assert_uint_eq(promised, count);
    *rows += told.rows;
    free(r.seen);
}

static size_t read_back(struct an_item_data *data)
{
    struct an_book book = {.arena = arena};
    size_t rows = 0;
    const struct an_item_carrier **order =
        an_arena_alloc(arena, data->carrier_count, sizeof(struct an_item_carrier *));
    an_carriers_by_place(data, order);
    for (size_t from = 0, until = 0; from < data->carrier_count; from = until) {
        while (until < data->carrier_count &&
               !strcmp(order[from]->item.kind, order[until]->item.kind)) {
            until++;
        }
        check_kind(&book, order + from, until - from, &rows);
    }
    return rows;
}

START_TEST(every_item_is_named_once)
{
    static const char *const kinds[] = {"tile", "wall", "wafer"};
    static const char *const roles[] = {"", "R", "G, R"};
    static const char *const stations[] = {NULL, "assembly", "edge"};
    static struct an_item_carrier carriers[1500];
    struct an_item_data data = {.carriers = carriers, .carrier_count = 1500};
    for (unsigned i = 0; i < 1500; i++) {
        struct an_item_carrier *one = &carriers[i];
        const unsigned kind = draw(10) < 8 ? 0 : 1 + draw(2);
        *one = (struct an_item_carrier){
            .item = {i + 1, kinds[kind], draw_serial(i)},
            .kind_title = kinds[kind],
            .product = kind < 2,
            .roles = draw(4) ? "" : roles[draw(3)],
            .certain = draw(8) != 0,
            .holds = draw(8) != 0,
            .last_station = stations[draw(3)],
        };
        if (kind == 0 && draw(4)) {
            one->whole =
                (struct an_item){5000 + i / 64, "wall", an_arena_printf(arena, "W-%u", i / 64)};
        }
    }
    qsort(carriers, 1500, sizeof *carriers, by_kind_and_serial);
    ck_assert_uint_gt(read_back(&data), 30);
}
END_TEST

/* What all follows is one row; a number that is missing, another width and another stem part it. */
START_TEST(runs_are_told_as_runs)
{
    static const struct {
        const char *serials[8], *which;
    } cases[] = {
        {{"T-07", "T-08", "T-09", "T-10"}, "T-07 to T-10"},
        {{"T-1", "T-2"}, "T-1, T-2"},
        {{"T-1", "T-2", "T-4", "T-5", "T-6"}, "T-1, T-2, T-4 to T-6"},
        {{"T-8", "T-9", "T-10"}, "T-8, T-9, T-10"},
        {{"A-1", "B-2", "B-3"}, "A-1, B-2, B-3"},
        {{"007", "008", "009"}, "007 to 009"},
        {{"X", "Y", "Z"}, "X, Y, Z"},
        {{"T-198", "T-199", "T-200"}, "T-198 to T-200"},
        /* more digits than a number of ours may have: the last 18 count */
        {{"1999999999999999999", "2000000000000000000", "2000000000000000001"},
         "1999999999999999999, 2000000000000000000, 2000000000000000001"},
    };
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        struct an_item_carrier carriers[8];
        struct an_item_data data = {.carriers = carriers};
        for (size_t i = 0; i < 8 && cases[c].serials[i]; i++) {
            carriers[data.carrier_count++] = (struct an_item_carrier){
                .item = {(int64_t)i + 1, "tile", copy(cases[c].serials[i])},
                .kind_title = "tile",
                .product = true,
                .roles = "",
                .holds = true,
                .certain = true};
        }
        const struct an_item_carrier *order[8];
        struct an_book book = {.arena = arena};
        struct an_place_rows rows;
        an_carriers_by_place(&data, order);
        an_place_rows_of(&book, order, data.carrier_count, &rows);
        ck_assert(!book.failed);
        ck_assert_uint_eq(rows.rows, 1);
        ck_assert_str_eq(rows.cells[4], cases[c].which);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("report.whereabouts");
    TCase *tests = tcase_create("all");
    tcase_add_checked_fixture(tests, set_up, tear_down);
    tcase_add_test(tests, every_item_is_named_once);
    tcase_add_test(tests, runs_are_told_as_runs);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
