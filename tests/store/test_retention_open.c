/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is kept behind open items: of a small line whose genealogy is told below, a signal that nobody
 * has answered spares exactly the files that are named, readings and originals. (No source: what is
 * spared is our own rule, docs/retention.md.)
 */
#include "andamento/base/instant.h"
#include "andamento/store/genealogy.h"
#include "andamento/store/retention.h"
#include "support_hand.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MANY = 11 };

/* Each has a file of its own, with its visit, its links, its readings and its sample. */
static const struct {
    const char *serial, *made_of[4], *also;
} items[MANY] = {
    {"WF1", {NULL}, NULL},
    {"WF2", {NULL}, NULL},
    {"WF3", {NULL}, NULL},
    {"WF4", {NULL}, NULL},
    {"T1", {"WF1"}, NULL},
    {"T2", {"WF2"}, NULL},
    {"OLD", {"WF4"}, NULL}, /* was in the wall, and was taken out */
    {"WALL", {"T1", "T2", "OLD"}, NULL},
    {"T5", {"WF1"}, NULL}, /* of the same wafer, in no wall */
    {"T6", {"WF3"}, NULL},
    {"WF2-B", {NULL}, "WF2"}, /* another name of the wafer */
};

static int64_t ids[MANY];
static int64_t stream_id;

static size_t index_of(const char *serial)
{
    for (size_t i = 0; i < MANY; i++) {
        if (!strcmp(items[i].serial, serial)) {
            return i;
        }
    }
    ck_abort_msg("no item %s", serial);
    return 0;
}

static void put_readings(int64_t file_id)
{
    const int64_t scaled[1] = {1000};
    const struct an_number_block cells = {.rows = 1, .decimals = 2, .scaled = scaled};
    const struct an_sha256 hash = an_sha256_of(&file_id, sizeof file_id);
    OK(an_store_put_numbers(store, file_id, "dx", 0, &cells, &err));
    OK(an_store_original_open(store, &err));
    OK(an_store_original_add(store, "x", 1, &err));
    OK(an_store_original_close(store, file_id, &hash, &err));
}

static int64_t sample_ids[MANY];

static void put_items(void)
{
    for (size_t i = 0; i < MANY; i++) {
        const struct in_hand hand = begin_file(items[i].serial);
        ids[i] = hand.item_id;
        ck_assert_int_eq(hand.file_id, (int64_t)i + 1);
        if (i == 0) {
            OK(an_store_stream(store, "s", "c", "", &stream_id, &err));
        }
        sample_ids[i] = put_sample(&hand, stream_id, 1000 * ((int64_t)i + 1), 1);
        for (size_t k = 0; k < 4 && items[i].made_of[k]; k++) {
            const size_t parent = index_of(items[i].made_of[k]);
            const struct an_link link = {.child_id = hand.item_id,
                                         .parent_id = ids[parent],
                                         .share = (double)NAN,
                                         .row = -1,
                                         .column = -1,
                                         .at_us = 5,
                                         .file_id = hand.file_id,
                                         .line = k + 2};
            OK(an_store_put_link(store, &link, &err));
            if (!strcmp(items[parent].serial, "OLD")) {
                struct an_link end = link;
                end.at_us = 9;
                OK(an_store_put_link_end(store, &end, &err));
            }
        }
        if (items[i].also) {
            const struct an_alias alias = {.item_id = ids[index_of(items[i].also)],
                                           .other_id = hand.item_id,
                                           .from_us = AN_NO_INSTANT,
                                           .until_us = AN_NO_INSTANT,
                                           .file_id = hand.file_id,
                                           .line = 2};
            OK(an_store_put_alias(store, &alias, &err));
        }
        put_readings(hand.file_id);
        end_file(&hand, 0);
    }
}

static int64_t put_open_signal(size_t of)
{
    const int64_t at_us = 1000 * ((int64_t)of + 1);
    struct an_signal_record signal = {.stream_id = stream_id,
                                      .first_sample_id = sample_ids[of],
                                      .first_us = at_us,
                                      .signal_sample_id = sample_ids[of],
                                      .signal_us = at_us,
                                      .side = 1};
    OK(an_store_begin(store, &err));
    OK(an_store_put_signal(store, &signal, &err));
    struct an_hit_record hit = {.signal_id = signal.signal_id,
                                .sample_id = sample_ids[of],
                                .at_us = at_us,
                                .window_first_sample_id = sample_ids[of],
                                .side = 1};
    OK(an_store_put_hit(store, &hit, &err));
    OK(an_store_commit(store, &err));
    return signal.signal_id;
}

/* Serials of the files that have `what` (a table) still, in order. */
static void left_of(const char *what, char text[200])
{
    text[0] = '\0';
    for (size_t i = 0; i < MANY; i++) {
        char sql[100];
        (void)snprintf(sql, sizeof sql, "SELECT count(*) FROM %s WHERE file_id = %zu", what, i + 1);
        if (ask(scratch_path("line.store"), sql)) {
            (void)snprintf(text + strlen(text), 200 - strlen(text), "%s%s", *text ? " " : "",
                           items[i].serial);
        }
    }
}

static const char whole_wall[] = "WF1 WF2 WF4 T1 T2 OLD WALL WF2-B";
static const struct {
    const char *covered, *spared;
    int64_t files;
} cases[] = {
    {"T1", whole_wall, 8},  {"WALL", whole_wall, 8},
    {"OLD", whole_wall, 8}, {"WF2-B", whole_wall, 8},
    {"T6", "WF3 T6", 2},    {"WF1", "WF1 WF2 WF4 T1 T2 OLD WALL T5 WF2-B", 9},
    {"T5", "WF1 T5", 2},    {"WF3", "WF3 T6", 2},
};

static const struct an_keep_rule all_due[] = {{NULL, INT64_MAX, INT64_MAX}};
static const struct an_retention_act keeper = {
    .author = "A. Keeper", .reason = "two years are over", .now_us = INT64_MAX / 2};

START_TEST(what_is_behind_open_items_is_kept)
{
    struct an_retention_sum sum;
    char left[200];
    put_items();
    (void)put_open_signal(index_of(cases[_i].covered));
    OK(an_store_retain(store, all_due, 1, &keeper, &sum, &err));
    ck_assert_int_eq(sum.readings, MANY - cases[_i].files);
    ck_assert_int_eq(sum.originals, MANY - cases[_i].files);
    OK(an_store_retention_due(store, all_due, 1, keeper.now_us, &sum, &err));
    ck_assert_int_eq(sum.spared_open, cases[_i].files);
    ck_assert_int_eq(sum.files, 0);
    left_of("block", left);
    ck_assert_str_eq(left, cases[_i].spared);
    left_of("original", left);
    ck_assert_str_eq(left, cases[_i].spared);
}
END_TEST

/* Answered, or all its hits withdrawn, a signal holds nothing back. */
START_TEST(what_is_closed_goes)
{
    struct an_retention_sum sum;
    put_items();
    const int64_t first = put_open_signal(index_of("T1"));
    const int64_t second = put_open_signal(index_of("T6"));
    OK(an_store_retention_due(store, all_due, 1, keeper.now_us, &sum, &err));
    ck_assert_int_eq(sum.spared_open, 10);
    struct an_answer answer = {.signal_id = first, .author = "A. Person", .cause = "stamp worn"};
    OK(an_store_put_answer(store, &answer, &err));
    OK(an_store_retention_due(store, all_due, 1, keeper.now_us, &sum, &err));
    ck_assert_int_eq(sum.spared_open, 2);
    OK(an_store_begin(store, &err));
    OK(an_store_withdraw_hit(store, second, "late samples", &err)); /* one hit a signal */
    OK(an_store_commit(store, &err));
    OK(an_store_retention_due(store, all_due, 1, keeper.now_us, &sum, &err));
    ck_assert_int_eq(sum.spared_open, 0);
    ck_assert_int_eq(sum.readings, MANY);
    ck_assert_int_eq(sum.originals, MANY);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("store.retention_open");
    TCase *tests = tcase_create("open");
    tcase_add_checked_fixture(tests, fixture_set_up, fixture_tear_down);
    tcase_add_loop_test(tests, what_is_behind_open_items_is_kept, 0, sizeof cases / sizeof *cases);
    tcase_add_test(tests, what_is_closed_goes);
    suite_add_tcase(suite, tests);
    return hand_run(suite);
}
