/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Corrections: what is read is what holds, what was recorded stays, and whatever was corrected comes
 * back when the correction is undone.
 */
#include "andamento/base/instant.h"
#include "andamento/store/as_of.h"
#include "andamento/store/correction.h"
#include "andamento/store/genealogy.h"
#include "andamento/store/intake.h"
#include "store/correction.h"
#include "store/handle.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char path[300];
static struct filled filled[3];
static struct an_store *store;
static struct an_arena *arena;
static struct an_error err;

static void open_again(enum an_store_mode mode)
{
    an_store_close(store);
    OK(an_store_open(path, mode, &store, &err));
}

/* Three tiles in one wall, a file each. */
static void make(void)
{
    scratch_make();
    (void)snprintf(path, sizeof path, "%s", scratch_path("a.store"));
    store = NULL;
    arena = an_arena_open();
    OK(an_store_open(path, AN_STORE_CREATE, &store, &err));
    for (int k = 0; k < 3; k++) {
        OK(fill_committed(store, k + 1, &filled[k], &err));
    }
}

static void remove_all(void)
{
    an_store_close(store);
    an_arena_close(arena);
    scratch_remove();
}

static struct an_correction by_person(enum an_correction_kind kind)
{
    return (struct an_correction){
        .kind = kind, .factor = NAN, .author = "A. Person", .reason = "seen on the part"};
}

static void undo(int64_t correction_id)
{
    struct an_correction c = by_person(AN_CORRECT_UNDO);
    c.undoes = correction_id;
    OK(an_store_put_correction(store, &c, arena, &err));
}

static size_t parts_of(int64_t wall_id, struct an_lineage **lineage)
{
    size_t count = 0;
    OK(an_store_lineage(store, wall_id, true, arena, lineage, &count, &err));
    return count;
}

static size_t samples_of(struct an_sample **samples)
{
    size_t count = 0;
    OK(an_store_samples(store, filled[0].stream_id, INT64_MIN, INT64_MAX, 0, arena, samples, &count,
                        &err));
    return count;
}

static void digests_hold(void)
{
    for (int k = 0; k < 3; k++) {
        struct an_sha256 digest;
        char hex[65];
        char told[65];
        OK(an_store_file_digest(store, filled[k].file_id, &digest, &err));
        digest_in_ledger(store, filled[k].file_id, told);
        ck_assert_str_eq(an_sha256_hex(&digest, hex), told);
    }
}

START_TEST(serial_of_no_other_item)
{
    struct an_correction c = by_person(AN_CORRECT_SERIAL);
    struct an_item item;
    struct an_item *items = NULL;
    size_t count = 0;
    c.item_id = filled[0].tile_id;
    c.serial = "OT-001";
    OK(an_store_put_correction(store, &c, arena, &err));
    ck_assert_str_eq(c.before, "tile 0T-001");
    ck_assert_str_eq(c.after, "tile OT-001");
    OK(an_store_item_by_id(store, filled[0].tile_id, arena, &item, &err));
    ck_assert_str_eq(item.serial, "OT-001");
    static const char *const names[] = {"0T-001", "OT-001"}; /* both are found */
    for (size_t i = 0; i < 2; i++) {
        for (size_t with_kind = 0; with_kind < 2; with_kind++) {
            OK(an_store_items_named(store, with_kind ? "tile" : NULL, an_bytes_of(names[i]), arena,
                                    &items, &count, &err));
            ck_assert_uint_eq(count, 1);
            ck_assert_int_eq(items[0].item_id, filled[0].tile_id);
        }
    }
    struct an_lineage *lineage = NULL;
    ck_assert_uint_eq(parts_of(filled[0].wall_id, &lineage), 3);
    bool seen = false;
    for (size_t i = 0; i < 3; i++) {
        seen = seen || strcmp(lineage[i].item.serial, "OT-001") == 0;
        ck_assert_str_ne(lineage[i].item.serial, "0T-001");
    }
    ck_assert(seen);
    struct an_known_as *known = NULL;
    OK(an_store_aliases(store, filled[0].tile_id, arena, &known, &count, &err));
    ck_assert_uint_eq(count, 1);
    ck_assert_str_eq(known[0].item.serial, "0T-001");
    OK(an_store_lineage(store, filled[0].tile_id, false, arena, &lineage, &count, &err));
    ck_assert_uint_eq(count, 1); /* not twice */
    struct an_sample *samples = NULL;
    ck_assert_uint_eq(samples_of(&samples), 3);
    ck_assert_str_eq(samples[0].serial, "OT-001");
    FAILS(an_store_put_correction(store, &c, arena, &err), AN_BAD_USAGE); /* it holds already */
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM view_links WHERE parent = 'OT-001'"), 1);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM view_samples WHERE serial = 'OT-001'"), 2);
    undo(c.correction_id);
    OK(an_store_item_by_id(store, filled[0].tile_id, arena, &item, &err));
    ck_assert_str_eq(item.serial, "0T-001");
    digests_hold();
}
END_TEST

/* What was recorded of the mistyped serial is the other item's. */
START_TEST(serial_of_another_item)
{
    struct an_correction c = by_person(AN_CORRECT_SERIAL);
    struct an_lineage *lineage = NULL;
    struct an_known_as *known = NULL;
    size_t count = 0;
    c.item_id = filled[0].tile_id;
    c.serial = "0T-002";
    OK(an_store_put_correction(store, &c, arena, &err));
    ck_assert_int_eq(c.is_id, filled[1].tile_id);
    ck_assert_uint_eq(parts_of(filled[0].wall_id, &lineage), 3); /* at two places now */
    for (size_t i = 0; i < 3; i++) {
        ck_assert_int_ne(lineage[i].item.item_id, filled[0].tile_id);
    }
    OK(an_store_lineage(store, filled[1].tile_id, false, arena, &lineage, &count, &err));
    ck_assert_uint_eq(count, 2);
    OK(an_store_aliases(store, filled[1].tile_id, arena, &known, &count, &err));
    ck_assert_uint_eq(count, 1);
    ck_assert_str_eq(known[0].item.serial, "0T-001");
    ck_assert_str_eq(known[0].file, "correction 1");
    struct an_correction back = by_person(AN_CORRECT_SERIAL); /* would be a loop */
    back.item_id = filled[1].tile_id;
    back.serial = "0T-001";
    FAILS(an_store_put_correction(store, &back, arena, &err), AN_BAD_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "correction 1"));
    undo(c.correction_id);
    OK(an_store_lineage(store, filled[1].tile_id, false, arena, &lineage, &count, &err));
    ck_assert_uint_eq(count, 1);
    digests_hold();
}
END_TEST

static bool has_part(const struct an_lineage *lineage, size_t count, int64_t item_id)
{
    for (size_t i = 0; i < count; i++) {
        if (lineage[i].item.item_id == item_id) {
            return true;
        }
    }
    return false;
}

START_TEST(parent)
{
    struct an_correction c = by_person(AN_CORRECT_PARENT);
    struct an_lineage *lineage = NULL;
    bool made = false;
    size_t in = 0;
    c.item_id = filled[0].wall_id;
    c.was_id = filled[0].tile_id;
    OK(an_store_put_correction(store, &c, arena, &err)); /* no part at all */
    ck_assert_str_eq(c.after, "no part in wall W-1");
    for (int mode = 0; mode < 2; mode++) {
        open_again(mode ? AN_STORE_WRITE : AN_STORE_READ);
        size_t count = parts_of(filled[0].wall_id, &lineage);
        ck_assert_uint_eq(count, 2);
        ck_assert(!has_part(lineage, count, filled[0].tile_id));
        OK(an_store_is_made_of(store, filled[0].wall_id, filled[0].tile_id, &made, &err));
        ck_assert(!made);
        OK(an_store_count_in(store, &filled[0].tile_id, 1, "wall", &in, &err));
        ck_assert_uint_eq(in, 0);
    }
    FAILS(an_store_put_correction(store, &c, arena, &err), AN_BAD_USAGE); /* it holds already */
    undo(c.correction_id);
    ck_assert_uint_eq(parts_of(filled[0].wall_id, &lineage), 3);
    struct an_correction d = by_person(AN_CORRECT_PARENT); /* what was read as 1 was 2 */
    d.item_id = filled[0].wall_id;
    d.was_id = filled[0].tile_id;
    d.is_id = filled[1].tile_id;
    OK(an_store_put_correction(store, &d, arena, &err));
    const size_t count = parts_of(filled[0].wall_id, &lineage);
    ck_assert_uint_eq(count, 3);
    ck_assert(!has_part(lineage, count, filled[0].tile_id));
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_eq(lineage[i].link.corrected_by, lineage[i].link.row == 1 ? 3 : 0);
    }
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM view_links WHERE parent = '0T-002'"
                               " AND corrected_by = 3"),
                     1);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM view_links WHERE parent = '0T-001'"), 0);
    /* files go on coming in beside it, and none of their digests is touched */
    struct filled more;
    OK(fill_committed(store, 4, &more, &err));
    ck_assert_uint_eq(parts_of(filled[0].wall_id, &lineage), 4);
    digests_hold();
}
END_TEST

START_TEST(unit)
{
    struct an_correction c = by_person(AN_CORRECT_UNIT);
    struct an_sample *samples = NULL;
    c.file_id = filled[1].file_id;
    c.stream = "transfer.dx";
    c.factor = 1000;
    OK(an_store_put_correction(store, &c, arena, &err));
    ck_assert_int_eq(c.effects, 1);
    ck_assert_uint_eq(samples_of(&samples), 3);
    for (size_t i = 0; i < 3; i++) {
        const double factor = i == 1 ? 1000 : 1;
        ck_assert_double_eq(samples[i].factor, factor);
        ck_assert_double_eq(samples[i].max, 1.5 * factor);
        ck_assert_double_eq(samples[i].min, -1.5 * factor);
        ck_assert_double_eq(samples[i].ssd, 0.1 * (double)(i + 1) * factor * factor);
        ck_assert_int_eq(samples[i].corrected_by, i == 1 ? c.correction_id : 0);
    }
    ck_assert_int_eq(ask(path, "SELECT max(max_value) FROM view_samples"), 1500);
    size_t count = 0;
    double means[4];
    OK(an_store_means_before(store, filled[0].stream_id, 0, 4, means, &count, &err));
    ck_assert_uint_eq(count, 3);
    c.factor = 2; /* not one upon the other */
    FAILS(an_store_put_correction(store, &c, arena, &err), AN_BAD_USAGE);
    undo(1);
    ck_assert_uint_eq(samples_of(&samples), 3);
    ck_assert_double_eq(samples[1].max, 1.5);
    digests_hold();
}
END_TEST

static const struct {
    const char *what, *stream;
    bool whole_file, of_item;
    int left; /* samples of dx */
} withdrawals[] = {
    {"one sample", NULL, false, false, 2},
    {"a file", NULL, true, false, 2},
    {"a file's characteristic", "transfer.dx", true, false, 2},
    {"another characteristic of it", "transfer.defects", true, false, 3},
    {"an item's of a file", NULL, true, true, 2},
};

START_TEST(withdrawn)
{
    struct an_correction c = by_person(AN_CORRECT_WITHDRAW);
    struct an_sample *samples = NULL;
    c.stream = withdrawals[_i].stream;
    c.file_id = withdrawals[_i].whole_file ? filled[1].file_id : 0;
    c.sample_id = withdrawals[_i].whole_file ? 0 : filled[1].sample_id;
    c.item_id = withdrawals[_i].of_item ? filled[1].tile_id : 0;
    OK(an_store_put_correction(store, &c, arena, &err));
    ck_assert_uint_eq(samples_of(&samples), (size_t)withdrawals[_i].left);
    size_t count = 0;
    OK(an_store_samples_before(store, filled[0].stream_id, INT64_MAX, 2, arena, &samples, &count,
                               &err)); /* the newest two of those that hold */
    ck_assert_uint_eq(count, 2);
    ck_assert_int_eq(samples[0].sample_id == filled[0].sample_id, withdrawals[_i].left == 2);
    undo(c.correction_id);
    ck_assert_uint_eq(samples_of(&samples), 3);
    digests_hold();
}
END_TEST

/* A stream is to be judged again from where it was corrected, and when that is undone. */
START_TEST(to_be_judged_again)
{
    struct an_judged judged = {.stream_id = filled[0].stream_id, .samples = 3};
    int64_t earliest_us = 0;
    struct an_correction c = by_person(AN_CORRECT_WITHDRAW);
    c.sample_id = filled[1].sample_id;
    for (int turn = 0; turn < 2; turn++) {
        OK(an_store_begin(store, &err));
        OK(an_store_put_judged(store, &judged, &err));
        OK(an_store_commit(store, &err));
        OK(an_store_corrected_since(store, filled[0].stream_id, &earliest_us, &err));
        ck_assert_int_eq(earliest_us, AN_NO_INSTANT);
        if (turn) {
            undo(c.correction_id);
        } else {
            OK(an_store_put_correction(store, &c, arena, &err));
        }
        OK(an_store_corrected_since(store, filled[0].stream_id, &earliest_us, &err));
        ck_assert_int_eq(earliest_us, 2002);
        OK(an_store_corrected_since(store, filled[0].spread_id, &earliest_us, &err));
        ck_assert_int_eq(earliest_us, AN_NO_INSTANT);
    }
}
END_TEST

/* A moment before a correction does not know of it, one before its undoing does. */
START_TEST(as_of_a_moment)
{
    struct an_lineage *lineage = NULL;
    struct an_sample *samples = NULL;
    struct an_known known;
    const int64_t entries = ask(path, "SELECT count(*) FROM ledger");
    struct an_correction link = by_person(AN_CORRECT_PARENT);
    link.item_id = filled[0].wall_id;
    link.was_id = filled[0].tile_id;
    OK(an_store_put_correction(store, &link, arena, &err));
    struct an_correction sample = by_person(AN_CORRECT_WITHDRAW);
    sample.sample_id = filled[1].sample_id;
    OK(an_store_put_correction(store, &sample, arena, &err));
    undo(link.correction_id);
    undo(sample.correction_id);
    static const struct {
        int64_t later;
        size_t parts, samples;
    } moments[] = {{0, 3, 3}, {1, 2, 3}, {2, 2, 2}, {3, 3, 2}, {4, 3, 3}};
    for (size_t i = 0; i < sizeof moments / sizeof *moments; i++) {
        open_again(AN_STORE_READ);
        OK(an_store_as_of_size(store, entries + moments[i].later, &known, &err));
        ck_assert_uint_eq(parts_of(filled[0].wall_id, &lineage), moments[i].parts);
        ck_assert_uint_eq(samples_of(&samples), moments[i].samples);
    }
}
END_TEST

START_TEST(listed)
{
    struct an_correction c = by_person(AN_CORRECT_WITHDRAW);
    struct an_correction *all = NULL;
    size_t count = 0;
    c.sample_id = filled[1].sample_id;
    OK(an_store_put_correction(store, &c, arena, &err));
    undo(c.correction_id);
    OK(an_store_corrections(store, arena, &all, &count, &err));
    ck_assert_uint_eq(count, 2);
    ck_assert_int_eq(all[0].undone_by, 2);
    ck_assert_int_eq(all[1].undoes, 1);
    ck_assert_str_eq(all[0].author, "A. Person");
    ck_assert(all[0].system_user[0] && all[0].host[0]);
    bool sound = false;
    OK(an_ledger_check(store, &sound, &err));
    ck_assert(sound);
}
END_TEST

static const struct {
    const char *what;
    struct an_correction correction;
    enum an_status status;
    const char *says;
} bad[] = {
    {"no author",
     {.kind = AN_CORRECT_WITHDRAW, .reason = "r", .sample_id = 1},
     AN_BAD_USAGE,
     "author"},
    {"blank reason",
     {.kind = AN_CORRECT_WITHDRAW, .author = "a", .reason = " ", .sample_id = 1},
     AN_BAD_USAGE,
     "reason"},
    {"no such sample",
     {.kind = AN_CORRECT_WITHDRAW, .author = "a", .reason = "r", .sample_id = 99},
     AN_NOT_FOUND,
     "no such sample"},
    {"nothing chosen",
     {.kind = AN_CORRECT_WITHDRAW, .author = "a", .reason = "r"},
     AN_BAD_USAGE,
     "which"},
    {"no characteristic",
     {.kind = AN_CORRECT_UNIT, .author = "a", .reason = "r", .file_id = 1, .factor = 2},
     AN_BAD_USAGE,
     "characteristic"},
    {"a factor of nothing",
     {.kind = AN_CORRECT_UNIT,
      .author = "a",
      .reason = "r",
      .file_id = 1,
      .stream = "transfer.dx",
      .factor = 0},
     AN_BAD_USAGE,
     "factor"},
    {"infinite",
     {.kind = AN_CORRECT_UNIT,
      .author = "a",
      .reason = "r",
      .file_id = 1,
      .stream = "transfer.dx",
      .factor = (double)INFINITY},
     AN_BAD_USAGE,
     "factor"},
    {"no such characteristic",
     {.kind = AN_CORRECT_UNIT,
      .author = "a",
      .reason = "r",
      .file_id = 1,
      .stream = "transfer.dz",
      .factor = 2},
     AN_NOT_FOUND,
     "no such sample"},
    {"no such item",
     {.kind = AN_CORRECT_SERIAL, .author = "a", .reason = "r", .item_id = 99, .serial = "x"},
     AN_NOT_FOUND,
     "no such item"},
    {"its own serial",
     {.kind = AN_CORRECT_SERIAL, .author = "a", .reason = "r", .item_id = 1, .serial = "0T-001"},
     AN_BAD_USAGE,
     "already"},
    {"no serial",
     {.kind = AN_CORRECT_SERIAL, .author = "a", .reason = "r", .item_id = 1},
     AN_BAD_USAGE,
     "right one"},
    {"no such link",
     {.kind = AN_CORRECT_PARENT, .author = "a", .reason = "r", .item_id = 1, .was_id = 2},
     AN_NOT_FOUND,
     "no link says"},
    {"part of itself",
     {.kind = AN_CORRECT_PARENT,
      .author = "a",
      .reason = "r",
      .item_id = 2,
      .was_id = 1,
      .is_id = 2},
     AN_BAD_USAGE,
     "cannot be its part"},
    {"the same part",
     {.kind = AN_CORRECT_PARENT,
      .author = "a",
      .reason = "r",
      .item_id = 2,
      .was_id = 1,
      .is_id = 1},
     AN_BAD_USAGE,
     "was recorded"},
    {"no such correction",
     {.kind = AN_CORRECT_UNDO, .author = "a", .reason = "r", .undoes = 7},
     AN_NOT_FOUND,
     "no correction 7"},
};

START_TEST(bad_corrections)
{
    struct an_correction c = bad[_i].correction;
    const int64_t entries = ask(path, "SELECT count(*) FROM ledger");
    ck_assert_int_eq(an_store_put_correction(store, &c, arena, &err), bad[_i].status);
    ck_assert_msg(strstr(err.text, bad[_i].says), "%s: %s", bad[_i].what, err.text);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM ledger"), entries); /* nothing half written */
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM correction"), 0);
}
END_TEST

START_TEST(undone_once)
{
    struct an_correction c = by_person(AN_CORRECT_WITHDRAW);
    c.sample_id = filled[1].sample_id;
    OK(an_store_put_correction(store, &c, arena, &err));
    undo(1);
    struct an_correction again = by_person(AN_CORRECT_UNDO);
    again.undoes = 1;
    FAILS(an_store_put_correction(store, &again, arena, &err), AN_BAD_USAGE);
    again.undoes = 2;
    FAILS(an_store_put_correction(store, &again, arena, &err), AN_BAD_USAGE);
    OK(an_store_put_correction(store, &c, arena, &err)); /* it may be made again */
    struct an_sample *samples = NULL;
    ck_assert_uint_eq(samples_of(&samples), 2);
}
END_TEST

/* Corrected links are found by the same indexes. */
START_TEST(by_index)
{
    struct an_correction c = by_person(AN_CORRECT_PARENT);
    sqlite3_stmt *stmt = NULL;
    c.item_id = filled[0].wall_id;
    c.was_id = filled[0].tile_id;
    c.is_id = filled[1].tile_id;
    OK(an_store_put_correction(store, &c, arena, &err));
    open_again(AN_STORE_READ);
    static const char *const asked[] = {
        "EXPLAIN QUERY PLAN SELECT k.child_id FROM link k WHERE k.parent_id = 1",
        "EXPLAIN QUERY PLAN SELECT k.parent_id FROM link k JOIN item i ON i.item_id = k.parent_id"
        " WHERE k.child_id = 1 ORDER BY coalesce(k.role, ''), i.serial",
        "EXPLAIN QUERY PLAN WITH RECURSIVE n (item_id) AS (SELECT 1 UNION " AN_STEP_UP
        ") SELECT 1 FROM n",
        "EXPLAIN QUERY PLAN WITH RECURSIVE n (item_id) AS (SELECT 1 UNION " AN_STEP_DOWN
        ") SELECT 1 FROM n"};
    for (size_t i = 0; i < sizeof asked / sizeof *asked; i++) {
        bool searched = false;
        ck_assert_int_eq(sqlite3_prepare_v2(store->db, asked[i], -1, &stmt, NULL), SQLITE_OK);
        while (sqlite3_step(stmt) == SQLITE_ROW) {
            const char *step = (const char *)sqlite3_column_text(stmt, 3);
            ck_assert_msg(!strstr(step, "SCAN main.link"), "%s: %s", asked[i], step);
            searched = searched || strstr(step, "SEARCH main.link");
        }
        ck_assert(searched);
        (void)sqlite3_finalize(stmt);
    }
}
END_TEST

static const struct {
    const char *sql; /* with triggers off */
} tamperings[] = {
    {"DELETE FROM corrected_sample WHERE sample_id = 3"},
    {"UPDATE corrected_sample SET factor = 2 WHERE sample_id = 3"},
    {"UPDATE corrected_sample SET sample_id = 1, at_us = 2001 WHERE sample_id = 3"},
    {"UPDATE corrected_sample SET at_us = 5 WHERE sample_id = 3"},
    {"INSERT INTO corrected_sample VALUES (2, 5, 1, 2003, 1000.0)"},
    {"INSERT INTO corrected_sample VALUES (1, 5, 1, 2003, NULL)"},
    {"INSERT INTO corrected_sample VALUES (9, 5, 1, 2003, NULL)"},
    {"DELETE FROM corrected_link"},
    {"UPDATE corrected_link SET parent_id = 4"},
    {"UPDATE corrected_link SET link_id = 2"},
    {"INSERT INTO corrected_link VALUES (1, 2, 3)"},
};

START_TEST(tampering_is_found)
{
    struct an_correction link = by_person(AN_CORRECT_PARENT);
    link.item_id = filled[0].wall_id;
    link.was_id = filled[0].tile_id;
    link.is_id = filled[1].tile_id;
    OK(an_store_put_correction(store, &link, arena, &err));
    struct an_correction c = by_person(AN_CORRECT_UNIT);
    c.file_id = filled[1].file_id;
    c.stream = "transfer.dx";
    c.factor = 1000;
    OK(an_store_put_correction(store, &c, arena, &err));
    bool sound = false;
    OK(an_store_corrections_check(store, &sound, &err));
    ck_assert(sound);
    an_store_close(store);
    store = NULL;
    ck_assert_int_eq(run_sql(path,
                             "DROP TRIGGER corrected_sample_no_update;"
                             "DROP TRIGGER corrected_sample_no_delete;"
                             "DROP TRIGGER corrected_link_no_update;"
                             "DROP TRIGGER corrected_link_no_delete",
                             NULL),
                     SQLITE_OK);
    ck_assert_int_eq(run_sql(path, tamperings[_i].sql, NULL), SQLITE_OK);
    open_again(AN_STORE_READ);
    OK(an_store_corrections_check(store, &sound, &err));
    ck_assert_msg(!sound, "%s", tamperings[_i].sql);
    ck_assert_ptr_nonnull(strstr(err.text, "correction "));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("correction");
    TCase *group = tcase_create("correction");
    tcase_add_checked_fixture(group, make, remove_all);
    tcase_add_test(group, serial_of_no_other_item);
    tcase_add_test(group, serial_of_another_item);
    tcase_add_test(group, parent);
    tcase_add_test(group, unit);
    tcase_add_loop_test(group, withdrawn, 0, (int)(sizeof withdrawals / sizeof *withdrawals));
    tcase_add_test(group, to_be_judged_again);
    tcase_add_test(group, as_of_a_moment);
    tcase_add_test(group, listed);
    tcase_add_loop_test(group, bad_corrections, 0, (int)(sizeof bad / sizeof *bad));
    tcase_add_test(group, undone_once);
    tcase_add_test(group, by_index);
    tcase_add_loop_test(group, tampering_is_found, 0,
                        (int)(sizeof tamperings / sizeof *tamperings));
    suite_add_tcase(suite, group);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
