/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Dropping by record: what goes, what is spared, that nothing else can be deleted, that a forged or
 * half-done record shows, and that a failing disk leaves whole acts only.
 */
#include "andamento/store/retention.h"
#include "faulty_vfs.h"
#include "store/handle.h"
#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct an_retention_act keeper = {
    .author = "A. Keeper", .reason = "two years are over", .now_us = INT64_MAX / 2};

/* Everything taken up to now is due. */
static const struct an_keep_rule all_due[] = {{NULL, INT64_MAX, INT64_MAX}};

static const char *store_of(int files, struct an_store **store)
{
    struct an_error err;
    struct filled filled;
    const char *path = scratch_path("line.store");
    scratch_remove();
    scratch_make();
    OK(an_store_open(path, AN_STORE_CREATE, store, &err));
    for (int k = 1; k <= files; k++) {
        OK(fill_committed(*store, k, &filled, &err));
    }
    return path;
}

static void count_finding(void *context, const char *text)
{
    ck_assert(text && text[0]);
    ++*(int *)context;
}

/* Ledger, records and every file are as they were recorded; returns the findings. */
static int findings(struct an_store *store, struct an_retention_counts *counts)
{
    struct an_error err;
    bool sound = false;
    int found = 0;
    int64_t next = 0;
    OK(an_ledger_check(store, &sound, &err));
    found += !sound;
    OK(an_store_retention_check(store, count_finding, &found, counts, &err));
    OK(an_store_peek_id(store, AN_COUNT_FILE, &next, &err));
    for (int64_t id = 1; id < next; id++) {
        OK(an_store_file_check(store, id, &sound, &err));
        found += !sound;
    }
    return found;
}

static int no_sink(void *context, const void *at, size_t length)
{
    (void)context;
    (void)at;
    (void)length;
    return 0;
}

START_TEST(drops_by_record)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum due;
    struct an_retention_sum sum;
    struct an_retention_counts counts;
    struct an_dropped dropped;
    struct an_file file;
    bool found = false;
    struct an_arena *arena = an_arena_open();
    const char *path = store_of(3, &store);
    const int64_t samples = ask(path, "SELECT count(*) FROM sample");
    const int64_t held = ask(path, "SELECT count(*) FROM held");
    const int64_t bytes = ask(path, "SELECT sum(length(packed)) FROM block");
    OK(an_store_retention_due(store, all_due, 1, keeper.now_us, &due, &err));
    OK(an_store_retain(store, all_due, 1, &keeper, &sum, &err));
    ck_assert_int_eq(due.files, 3);
    ck_assert_int_eq(due.reading_bytes, bytes);
    ck_assert_int_eq(sum.files, due.files);
    ck_assert_int_eq(sum.readings, 3);
    ck_assert_int_eq(sum.originals, 3);
    ck_assert_int_eq(sum.reading_bytes, due.reading_bytes);
    ck_assert_int_eq(sum.original_bytes, due.original_bytes);
    ck_assert_int_eq(sum.acts, 1);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM block"), 0);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM original"), 0);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM original_piece"), 0);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM sample"), samples);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM held"), held);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM ledger WHERE kind = 'retention'"), 1);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM view_kept_no_longer WHERE author = 'A. Keeper'"
                               " AND reason = 'two years are over'"),
                     6);
    ck_assert_int_eq(findings(store, &counts), 0);
    ck_assert_int_eq(counts.acts, 1);
    ck_assert_int_eq(counts.readings, 3);
    ck_assert_int_eq(counts.originals, 3);
    /* told by file and by hash; the file is still known by its hash */
    OK(an_store_file(store, 2, arena, &file, &err));
    FAILS(an_store_original_read(store, &file.hash, no_sink, NULL, &err), AN_NOT_FOUND);
    ck_assert_ptr_nonnull(strstr(err.text, "kept no longer (since "));
    OK(an_store_original_dropped(store, &file.hash, arena, &dropped, &found, &err));
    ck_assert(found);
    ck_assert(memcmp(&dropped.hash, &file.hash, sizeof file.hash) == 0);
    OK(an_store_dropped(store, 2, AN_KEPT_READINGS, arena, &dropped, &found, &err));
    ck_assert(found);
    ck_assert_ptr_nonnull(strstr(an_dropped_text(&dropped, arena), "by A. Keeper: two years"));
    OK(an_store_find_file(store, &file.hash, &found, &(int64_t){0}, &err));
    ck_assert(found);
    /* once more: nothing */
    OK(an_store_retain(store, all_due, 1, &keeper, &sum, &err));
    ck_assert_int_eq(sum.files + sum.acts, 0);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM retention"), 1);
    an_store_close(store);
    an_arena_close(arena);
}
END_TEST

/* ---- age ---------------------------------------------------------------------------------------------- */

/* fill_file's files have events of 1970 and are taken now: their age is that of their taking. */
static const struct {
    const char *station;
    int64_t readings_after, originals_after; /* the limit minus known_us of file 2 of 3 */
    bool readings_go, originals_go;
    int readings, originals;
} age_rows[] = {
    {"transfer", 0, 0, true, true, 1, 1},   /* before, not at */
    {"transfer", 1, 1, true, true, 2, 2},   /* one microsecond more takes file 2 */
    {"transfer", 1, 0, true, true, 2, 1},   /* each kind by its own */
    {"transfer", 1, 0, true, false, 2, 0},  /* originals for good */
    {"transfer", 0, 0, false, false, 0, 0}, /* all for good */
    {"edge", 1, 1, true, true, 0, 0},       /* of another station */
    {NULL, 1, 1, true, true, 2, 2},         /* of every other file */
};

START_TEST(age_decides)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum sum;
    (void)setenv("ANDAMENTO_CLOCK", "2026-01-01T00:00:00Z", 1);
    const char *path = store_of(1, &store);
    struct filled filled;
    (void)setenv("ANDAMENTO_CLOCK", "2026-01-02T00:00:00Z", 1);
    OK(fill_committed(store, 2, &filled, &err));
    (void)setenv("ANDAMENTO_CLOCK", "2026-01-03T00:00:00Z", 1);
    OK(fill_committed(store, 3, &filled, &err));
    const int64_t known = ask(path, "SELECT known_us FROM file WHERE file_id = 2");
    const struct an_keep_rule rule = {
        age_rows[_i].station,
        age_rows[_i].readings_go ? known + age_rows[_i].readings_after : AN_NO_INSTANT,
        age_rows[_i].originals_go ? known + age_rows[_i].originals_after : AN_NO_INSTANT};
    OK(an_store_retain(store, &rule, 1, &keeper, &sum, &err));
    ck_assert_int_eq(sum.readings, age_rows[_i].readings);
    ck_assert_int_eq(sum.originals, age_rows[_i].originals);
    ck_assert_int_eq(ask(path, "SELECT count(DISTINCT file_id) FROM block"),
                     3 - age_rows[_i].readings);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM original"), 3 - age_rows[_i].originals);
    an_store_close(store);
    (void)unsetenv("ANDAMENTO_CLOCK");
}
END_TEST

/* A station's rule goes before that of the others, wherever it stands. */
START_TEST(station_before_others)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum sum;
    const struct an_keep_rule rules[] = {{NULL, INT64_MAX, INT64_MAX},
                                         {"transfer", AN_NO_INSTANT, AN_NO_INSTANT}};
    (void)store_of(2, &store);
    OK(an_store_retention_due(store, rules, 2, keeper.now_us, &sum, &err));
    ck_assert_int_eq(sum.files, 0);
    OK(an_store_retention_due(store, rules, 1, keeper.now_us, &sum, &err));
    ck_assert_int_eq(sum.files, 2);
    an_store_close(store);
}
END_TEST

/* ---- what is spared ------------------------------------------------------------------------------------ */

START_TEST(baseline_and_open_signal_are_spared)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum sum;
    struct filled filled;
    const char *path = scratch_path("line.store");
    OK(an_store_open(path, AN_STORE_CREATE, &store, &err));
    OK(fill_committed(store, 1, &filled, &err));
    OK(decide_all(store, &filled, &err));
    /* decide_all locks limits whose baseline is open at both ends, and leaves a signal open */
    OK(an_store_retention_due(store, all_due, 1, keeper.now_us, &sum, &err));
    ck_assert_int_eq(sum.spared_signal, 1);
    struct an_answer first = {.signal_id = 1, .author = "A. Person", .cause = "looked at"};
    OK(an_store_put_answer(store, &first, &err));
    OK(an_store_retain(store, all_due, 1, &keeper, &sum, &err));
    ck_assert_int_eq(sum.spared_baseline, 1);
    ck_assert_int_eq(sum.readings, 0);
    ck_assert_int_eq(sum.originals, 1);
    ck_assert_int_gt(ask(path, "SELECT count(*) FROM block"), 0);
    /* others in force since: the baseline of the old ones is not spared any more */
    struct an_limits_record later = {.stream_id = filled.stream_id,
                                     .baseline_from_us = 5000000,
                                     .baseline_until_us = 6000000,
                                     .baseline_samples = 1,
                                     .model = "{}"};
    OK(an_store_put_limits(store, &later, &err));
    OK(an_store_lock_limits(store, later.limits_id, 5000000, "A. Person", "new stamp", &err));
    OK(an_store_retention_due(store, all_due, 1, 4000000, &sum, &err));
    ck_assert_int_eq(sum.spared_baseline, 1); /* not yet in force */
    OK(an_store_retention_due(store, all_due, 1, keeper.now_us, &sum, &err));
    ck_assert_int_eq(sum.spared_baseline, 0);
    ck_assert_int_eq(sum.readings, 1);
    /* a signal that nobody answers spares the samples from its window to its last hit */
    struct an_signal_record signal = {.stream_id = filled.stream_id,
                                      .limits_id = later.limits_id,
                                      .first_sample_id = filled.sample_id,
                                      .first_us = 2000,
                                      .signal_sample_id = filled.sample_id,
                                      .signal_us = 2001};
    OK(an_store_begin(store, &err));
    OK(an_store_put_signal(store, &signal, &err));
    struct an_hit_record hit = {.signal_id = signal.signal_id,
                                .sample_id = filled.sample_id,
                                .at_us = 2001,
                                .window_first_sample_id = filled.sample_id};
    OK(an_store_put_hit(store, &hit, &err));
    OK(an_store_commit(store, &err));
    OK(an_store_retention_due(store, all_due, 1, keeper.now_us, &sum, &err));
    ck_assert_int_eq(sum.spared_signal, 1);
    ck_assert_int_eq(sum.readings, 0);
    struct an_answer answer = {
        .signal_id = signal.signal_id, .author = "A. Person", .cause = "stamp worn"};
    OK(an_store_put_answer(store, &answer, &err));
    OK(an_store_retention_due(store, all_due, 1, keeper.now_us, &sum, &err));
    ck_assert_int_eq(sum.spared_signal, 0);
    ck_assert_int_eq(sum.readings, 1);
    an_store_close(store);
}
END_TEST

START_TEST(file_held_whole_keeps_its_original)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum sum;
    const char *path = scratch_path("line.store");
    struct an_file file = {.hash = an_sha256_of("x", 1),
                           .bytes = 1,
                           .name = "x.csv",
                           .path = "x.csv",
                           .modified_us = 5,
                           .state = AN_FILE_HELD,
                           .code = "file.encoding",
                           .why = "not text"};
    OK(an_store_open(path, AN_STORE_CREATE, &store, &err));
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file.file_id, &err));
    OK(an_store_original_open(store, &err));
    OK(an_store_original_add(store, "x", 1, &err));
    OK(an_store_original_close(store, file.file_id, &file.hash, &err));
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
    OK(an_store_retain(store, all_due, 1, &keeper, &sum, &err));
    ck_assert_int_eq(sum.files, 0);
    ck_assert_int_eq(sum.spared_held, 1);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM original"), 1);
    an_store_close(store);
}
END_TEST

/* ---- refusals -------------------------------------------------------------------------------------------- */

START_TEST(wants_author_and_reason)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum sum;
    struct an_retention_act act = keeper;
    (void)store_of(1, &store);
    act.author = "";
    FAILS(an_store_retain(store, all_due, 1, &act, &sum, &err), AN_BAD_USAGE);
    act = keeper;
    act.reason = NULL;
    FAILS(an_store_retain(store, all_due, 1, &act, &sum, &err), AN_BAD_USAGE);
    OK(an_store_begin(store, &err));
    FAILS(an_store_retain(store, all_due, 1, &keeper, &sum, &err), AN_BAD_USAGE);
    an_store_close(store);
}
END_TEST

/* With records for other files and the other kind, nothing but what they name can be deleted. */
START_TEST(nothing_else_can_be_deleted)
{
    static const char *const deletes[] = {
        "DELETE FROM block WHERE file_id = 1",
        "DELETE FROM block WHERE file_id = 2",
        "DELETE FROM original WHERE file_id = 2",
        "DELETE FROM original_piece WHERE file_id = 2",
        "DELETE FROM sample WHERE file_id = 1",
        "DELETE FROM retention",
        "DELETE FROM retention_file",
        "UPDATE retention SET author = 'x'",
        "UPDATE retention_file SET bytes = 0",
    };
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum sum;
    struct filled filled;
    (void)setenv("ANDAMENTO_CLOCK", "2026-01-01T00:00:00Z", 1);
    const char *path = store_of(1, &store);
    (void)setenv("ANDAMENTO_CLOCK", "2026-01-02T00:00:00Z", 1);
    OK(fill_committed(store, 2, &filled, &err));
    (void)unsetenv("ANDAMENTO_CLOCK");
    const struct an_keep_rule rule = {NULL, AN_NO_INSTANT,
                                      ask(path, "SELECT known_us FROM file WHERE file_id = 2")};
    OK(an_store_retain(store, &rule, 1, &keeper, &sum, &err));
    ck_assert_int_eq(sum.originals, 1); /* of file 1; its readings stand */
    an_store_close(store);
    for (size_t k = 0; k < sizeof deletes / sizeof *deletes; k++) {
        char text[200];
        ck_assert_msg(run_sql(path, deletes[k], text) == SQLITE_CONSTRAINT, "%s: %s", deletes[k],
                      text);
        ck_assert_msg(strstr(text, "only added"), "%s: %s", deletes[k], text);
    }
}
END_TEST

/* A deletion with a record that somebody made beside the program shows. */
START_TEST(forged_records_show)
{
    static const char *const forgeries[] = {
        /* an act of one's own, without a ledger entry of its own */
        "INSERT INTO retention_file VALUES (2, 1, 9, 1, 1, zeroblob(32));"
        "INSERT INTO retention VALUES (9, 1, 1, 1, zeroblob(32), 'x', 'x', NULL, 'x', 'x', 0);"
        "DELETE FROM block WHERE file_id = 2",
        /* slipped into an act that was */
        "INSERT INTO retention_file VALUES (2, 1, 1, 1, 1, zeroblob(32));"
        "DELETE FROM block WHERE file_id = 2",
        "INSERT INTO retention_file VALUES (2, 2, 1, 1, 1, (SELECT hash FROM file"
        " WHERE file_id = 2)); DELETE FROM original WHERE file_id = 2",
        /* came back after they were dropped */
        "INSERT INTO block VALUES (77, 1, 'dx', 0, 1, 1, x'00')",
        "INSERT INTO original_piece VALUES (1, 0, x'00')",
    };
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum sum;
    struct an_retention_counts counts;
    struct filled filled;
    (void)setenv("ANDAMENTO_CLOCK", "2026-01-01T00:00:00Z", 1);
    const char *path = store_of(1, &store);
    (void)setenv("ANDAMENTO_CLOCK", "2026-01-02T00:00:00Z", 1);
    OK(fill_committed(store, 2, &filled, &err));
    (void)unsetenv("ANDAMENTO_CLOCK");
    const int64_t known = ask(path, "SELECT known_us FROM file WHERE file_id = 2");
    const struct an_keep_rule rule = {NULL, known, known};
    OK(an_store_retain(store, &rule, 1, &keeper, &sum, &err));
    ck_assert_int_eq(sum.files, 1);
    ck_assert_int_eq(findings(store, &counts), 0);
    an_store_close(store);
    ck_assert_int_eq(run_sql(path, forgeries[_i], NULL), SQLITE_OK);
    OK(an_store_open(path, AN_STORE_READ, &store, &err));
    ck_assert_int_ge(findings(store, &counts), 1);
    an_store_close(store);
}
END_TEST

/* ---- acts, a failing disk, room ----------------------------------------------------------------------- */

static bool stop_after_two(void *context)
{
    return ++*(int *)context > 2;
}

START_TEST(stops_between_acts)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum sum;
    struct an_retention_counts counts;
    struct an_retention_act act = keeper;
    int asked = 0;
    const char *path = store_of(7, &store);
    act.batch = 2;
    act.stop = stop_after_two;
    act.context = &asked;
    OK(an_store_retain(store, all_due, 1, &act, &sum, &err));
    ck_assert_int_eq(sum.acts, 2);
    ck_assert_int_eq(sum.files, 4);
    ck_assert_int_eq(findings(store, &counts), 0);
    act.stop = NULL;
    OK(an_store_retain(store, all_due, 1, &act, &sum, &err));
    ck_assert_int_eq(sum.acts, 2);
    ck_assert_int_eq(sum.files, 3);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM ledger WHERE kind = 'retention'"), 4);
    ck_assert_int_eq(findings(store, &counts), 0);
    an_store_close(store);
}
END_TEST

static const struct {
    enum fault fault;
    bool for_ever;
} disk_rows[] = {
    {FAULT_WRITE, false}, {FAULT_WRITE, true}, {FAULT_SYNC, false}, {FAULT_SYNC, true},
    {FAULT_FULL, false},  {FAULT_FULL, true},  {FAULT_OPEN, false}, {FAULT_TRUNCATE, true},
    {FAULT_DELETE, true}, {FAULT_READ, false}, {FAULT_READ, true},
};

/* Three files in acts of two, with the k-th write or sync failing: afterwards whole acts stand, all
 * is as recorded, and a second run finishes the rest. */
START_TEST(failing_disk)
{
    bool struck = true;
    for (int k = 1; struck; k++) {
        struct an_error err;
        struct an_store *store = NULL;
        struct an_retention_sum sum;
        struct an_retention_counts counts;
        struct an_retention_act act = keeper;
        const char *path = store_of(3, &store);
        act.batch = 2;
        faulty_set(disk_rows[_i].fault, k, disk_rows[_i].for_ever);
        const enum an_status st = an_store_retain(store, all_due, 1, &act, &sum, &err);
        ck_assert_msg(st == AN_OK || faulty_struck(), "%s", err.text);
        ck_assert_msg(st == AN_OK || st == AN_IO || disk_rows[_i].fault == FAULT_READ, "%s",
                      err.text);
        an_store_close(store);
        struck = faulty_struck();
        faulty_set(disk_rows[_i].fault, 0, false);
        OK(an_store_open(path, AN_STORE_WRITE, &store, &err));
        ck_assert_int_eq(findings(store, &counts), 0);
        ck_assert(counts.readings == 0 || counts.readings == 2 || counts.readings == 3);
        ck_assert_int_ge(counts.readings, sum.readings);
        ck_assert_int_eq(counts.originals, counts.readings);
        ck_assert_int_eq(ask(path, "SELECT count(*) FROM original"), 3 - counts.originals);
        ck_assert_int_eq(ask(path, "SELECT count(DISTINCT file_id) FROM block"),
                         3 - counts.readings);
        const int64_t before = counts.readings;
        OK(an_store_retain(store, all_due, 1, &keeper, &sum, &err));
        ck_assert_int_eq(sum.readings, 3 - before);
        ck_assert_int_eq(findings(store, &counts), 0);
        an_store_close(store);
        ck_assert_int_eq(ask(path, "SELECT count(*) FROM pragma_integrity_check"
                                   " WHERE integrity_check <> 'ok'"),
                         0);
        ck_assert_int_eq(ask(path, "SELECT count(*) FROM pragma_foreign_key_check"), 0);
        ck_assert_int_lt(k, 1000);
    }
}
END_TEST

static bool mark_acts(void *context)
{
    record_mark((*(int *)context)++); /* asked before each act: so many are reported */
    return false;
}

/* The machine stops at any write: before or after an act, and none that was reported is undone. */
START_TEST(power_fails_at_any_change)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum sum;
    struct an_retention_act act = keeper;
    int asked = 0;
    const char *path = store_of(3, &store);
    an_store_close(store);
    act.batch = 2;
    act.stop = mark_acts;
    act.context = &asked;
    record_start();
    OK(an_store_open(path, AN_STORE_WRITE, &store, &err));
    OK(an_store_retain(store, all_due, 1, &act, &sum, &err));
    ck_assert_int_eq(sum.acts, 2);
    an_store_close(store);
    record_stop();
    ck_assert_uint_gt(record_length(), 20);
    for (size_t at = 0; at <= record_length(); at++) {
        struct an_retention_counts counts;
        const int acts = crash_at(at, (enum loss)_i, (unsigned)at + 1, NULL);
        OK(an_store_open(path, AN_STORE_WRITE, &store, &err));
        ck_assert_int_eq(findings(store, &counts), 0);
        ck_assert_msg(counts.acts >= acts && counts.acts <= 2, "change %zu: %d acts of %d", at,
                      (int)counts.acts, acts);
        ck_assert_int_eq(counts.readings, counts.acts == 2 ? 3 : 2 * counts.acts);
        ck_assert_int_eq(ask(path, "SELECT count(*) FROM original"), 3 - counts.originals);
        OK(an_store_retain(store, all_due, 1, &keeper, &sum, &err));
        ck_assert_int_eq(sum.readings, 3 - counts.readings);
        ck_assert_int_eq(findings(store, &counts), 0);
        an_store_close(store);
    }
    record_free();
}
END_TEST

START_TEST(shrinking_gives_room_back)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_retention_sum sum;
    struct an_retention_counts counts;
    struct an_store_space space[3];
    (void)store_of(200, &store);
    OK(an_store_space(store, &space[0], &err));
    OK(an_store_retain(store, all_due, 1, &keeper, &sum, &err));
    OK(an_store_space(store, &space[1], &err));
    ck_assert_int_gt(space[1].free_bytes, space[0].free_bytes);
    OK(an_store_shrink(store, &err));
    OK(an_store_space(store, &space[2], &err));
    ck_assert_int_eq(space[2].free_bytes, 0);
    ck_assert_int_lt(space[2].bytes, space[1].bytes);
    ck_assert_int_eq(findings(store, &counts), 0);
    ck_assert_int_eq(counts.readings, 200);
    struct filled filled;
    OK(fill_committed(store, 201, &filled, &err)); /* and life goes on */
    an_store_close(store);
}
END_TEST

static void set_up(void)
{
    faulty_install();
    faulty_skip_syncs(true);
    scratch_make();
}

int main(void)
{
    Suite *suite = suite_create("store retention");
    TCase *tests = tcase_create("retention");
    tcase_add_checked_fixture(tests, set_up, scratch_remove);
    tcase_set_timeout(tests, 300);
    tcase_add_test(tests, drops_by_record);
    tcase_add_loop_test(tests, age_decides, 0, sizeof age_rows / sizeof *age_rows);
    tcase_add_test(tests, station_before_others);
    tcase_add_test(tests, baseline_and_open_signal_are_spared);
    tcase_add_test(tests, file_held_whole_keeps_its_original);
    tcase_add_test(tests, wants_author_and_reason);
    tcase_add_test(tests, nothing_else_can_be_deleted);
    tcase_add_loop_test(tests, forged_records_show, 0, 5);
    tcase_add_test(tests, stops_between_acts);
    tcase_add_loop_test(tests, failing_disk, 0, sizeof disk_rows / sizeof *disk_rows);
    tcase_add_loop_test(tests, power_fails_at_any_change, 0, LOSSES);
    tcase_add_test(tests, shrinking_gives_room_back);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
