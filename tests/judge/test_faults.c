/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the judge does when memory runs out at any allocation, and when limits in the store are not
 * what this program writes: a status and a sentence, nothing half done.
 */
#include "andamento/base/text.h"
#include "judge/limits_json.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char stations[] = "  lumen:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: tile, column: tile}\n"
                               "    links:\n"
                               "      - {column: carrier, kind: carrier, role_column: colour}\n"
                               "    characteristics:\n"
                               "      light:\n"
                               "        column: v\n"
                               "        unit: cd/m2\n"
                               "        split: colour\n"
                               "        position_column: site\n"
                               "        ribbon: {kind: carrier}\n"
                               "        spec: {lower: 400, upper: 600}\n";

static void put_tiles(void)
{
    static const char *const sites[3] = {"a", "b", "c"};
    struct scene_random random = {9};

    scene_file("lumen");
    for (int i = 0; i < 50; i++) {
        double values[3];
        char serial[16];
        const double level = 500 + scene_normal(&random) + (i >= 40 ? 6 : 0);
        for (int k = 0; k < 3; k++) {
            values[k] = level + 2 * k + scene_normal(&random);
        }
        (void)snprintf(serial, sizeof serial, "T-%03d", i);
        const struct scene_reading r = {.characteristic = "light",
                                        .split = "colour=R",
                                        .serial = serial,
                                        .at_us = SCENE_START + i * AN_HOUR_US,
                                        .sites = sites,
                                        .values = values,
                                        .n = 3,
                                        .decimals = 1};
        (void)scene_measure(&r);
        scene_link("tile", serial, "carrier", i < 40 ? "C-1" : "C-2", "R");
    }
    scene_file_end();
}

static void setup(void)
{
    scene_open(stations);
    put_tiles();
}

enum act { PROPOSE, LOCK, ALL, VIEW, CHECK, SIGNALS, CAPABILITY, ACTS };

static enum an_status act(enum act which, const struct an_stream *stream, struct an_arena *arena)
{
    const struct an_baseline_choice choice = {
        .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .samples = 40};
    union {
        struct an_limits limits;
        struct an_stream_view view;
        struct an_check_result check;
        struct an_stream_capability capability;
    } out;
    struct an_limits *all = NULL;
    struct an_signal *signals = NULL;
    size_t count = 0;

    switch (which) {
    case PROPOSE:
        return an_limits_propose(scene.store, scene.line, stream->stream_id, &choice, arena,
                                 &out.limits, &scene.err);
    case LOCK:
        return an_limits_lock(scene.store, stream->stream_id, AN_NO_INSTANT, "E. Rossi", "why",
                              &scene.err);
    case ALL:
        return an_limits_all(scene.store, stream->stream_id, arena, &all, &count, &scene.err);
    case VIEW:
        return an_judge_view(scene.store, scene.line, stream, AN_NO_INSTANT, AN_NO_INSTANT, 0,
                             arena, &out.view, &scene.err);
    case CHECK:
        return an_check_all(scene.store, scene.line, false, &out.check, &scene.err);
    case SIGNALS:
        return an_signals(scene.store, scene.line, 0, AN_NO_INSTANT, AN_NO_INSTANT, arena, &signals,
                          &count, &scene.err);
    case CAPABILITY:
        return an_stream_capability_of(scene.store, scene.line, stream, AN_NO_INSTANT,
                                       AN_NO_INSTANT, arena, &out.capability, &scene.err);
    case ACTS:
        break;
    }
    return AN_BUG;
}

/* The acts in the order of a stream's life; each fails at allocation 1, 2, ... until it passes. */
START_TEST(memory_runs_out)
{
    const struct an_stream stream = scene_find("lumen.light@colour=R");

    for (int which = PROPOSE; which < ACTS; which++) {
        size_t failures = 0;
        for (size_t k = 1;; k++) {
            struct an_ledger_head before;
            struct an_ledger_head after;
            struct an_arena *arena = an_arena_open();
            ck_assert_uint_lt(k, 100000);
            OK(an_ledger_head(scene.store, &before, &scene.err));
            (void)an_alloc_fail_at(k, true);
            const enum an_status st = act((enum act)which, &stream, arena);
            (void)an_alloc_fail_at(0, false);
            an_arena_close(arena);
            if (st == AN_OK) {
                break;
            }
            ck_assert_msg(st == AN_NO_MEMORY, "act %d, allocation %zu: %s: %s", which, k,
                          an_status_name(st), scene.err.text);
            OK(an_ledger_head(scene.store, &after, &scene.err));
            ck_assert_uint_eq(before.size, after.size);
            failures++;
        }
        ck_assert_msg(failures > 0, "act %d never failed", which);
    }
    struct an_signal *signals = NULL;
    size_t count = 0;
    OK(an_signals(scene.store, scene.line, 0, AN_NO_INSTANT, AN_NO_INSTANT, scene.arena, &signals,
                  &count, &scene.err));
    ck_assert_uint_ge(count, 1); /* and in the end all was done */
    ck_assert_str_eq(signals[0].ribbon_note, "began with carrier C-2");
    ck_assert_int_eq(signals[0].onset_us, SCENE_START + 40 * AN_HOUR_US);
}
END_TEST

/* ---- limits that something else wrote ---------------------------------------------------------------- */
static const char *const broken[] = {
    "",
    "null",
    "[]",
    "{",
    "{}",
    "{\"family\":\"xbar_q\"}",
    "{\"family\":3}",
    "{\"family\":\"u\",\"k\":\"three\"}",
};

START_TEST(broken_model)
{
    const struct an_stream stream = scene_find("lumen.light@colour=R");
    struct an_limits *all = NULL;
    size_t count = 0;
    struct an_limits limits;
    struct an_limits_record record = {
        .stream_id = stream.stream_id, .limits_id = 17, .model = broken[_i], .exclusions = "[]"};

    ck_assert_int_eq(an_limits_of_record(&record, scene.arena, &limits, &scene.err), AN_NO_STORE);
    ck_assert_ptr_nonnull(strstr(scene.err.text, "limits 17 cannot be read"));
    OK(an_limits_all(scene.store, stream.stream_id, scene.arena, &all, &count, &scene.err));
    ck_assert_uint_eq(count, 0);
}
END_TEST

/* Every key of a written model is needed: none may be lost without being noticed. */
START_TEST(every_key_is_needed)
{
    struct an_text text = {0};
    struct an_limits limits = scene_limits("lumen.light@colour=R", 40);
    struct an_limits back;
    size_t keys = 0;

    an_limits_model_json(&limits, &text);
    struct an_limits_record record = {
        .limits_id = 1, .model = an_text_of(&text), .exclusions = "[]"};
    OK(an_limits_of_record(&record, scene.arena, &back, &scene.err));
    for (char *at = strstr(text.at, "\":"); at; at = strstr(at + 2, "\":")) {
        const char kept = at[-1]; /* last letter of a key */
        at[-1] = '~';
        ck_assert_msg(an_limits_of_record(&record, scene.arena, &back, &scene.err) == AN_NO_STORE,
                      "a model without a key was taken: %.40s", at - 12);
        at[-1] = kept;
        keys++;
    }
    ck_assert_uint_ge(keys, 25);
    static const char *const bad_exclusions[] = {"{}", "[3]", "[{\"sample_id\":0}]", "["};
    for (size_t i = 0; i < sizeof bad_exclusions / sizeof *bad_exclusions; i++) {
        record.exclusions = bad_exclusions[i];
        ck_assert_int_eq(an_limits_of_record(&record, scene.arena, &back, &scene.err), AN_NO_STORE);
    }
    an_text_free(&text);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("faults");
    TCase *tc = tcase_create("faults");

    tcase_set_timeout(tc, 120);
    tcase_add_checked_fixture(tc, setup, scene_close);
    tcase_add_test(tc, memory_runs_out);
    tcase_add_loop_test(tc, broken_model, 0, (int)(sizeof broken / sizeof *broken));
    tcase_add_test(tc, every_key_is_needed);
    suite_add_tcase(suite, tc);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
