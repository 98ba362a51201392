/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Transactions, and what the handle remembers within one: ids, the ledger's tree, the tally of the
 * file in hand.
 *
 * Checkpoints are made here and not by SQLite itself, which passes over their failures: a page
 * that could not be synced would then be believed safe, and the log that still holds it reused.
 */
#include "andamento/store/genealogy.h"
#include "store/correction.h"
#include "store/handle.h"

#include <string.h>

enum { CHECKPOINT_PAGES = 1000 };

void an_store_forget(struct an_store *store)
{
    memset(store->next_id, 0, sizeof store->next_id);
    store->tree_known = false;
    if (store->stream_samples) {
        memset(store->stream_samples, 0, store->stream_capacity * sizeof *store->stream_samples);
    }
    store->scratch_arrivals = -1;
    an_tally_drop(store);
}

enum an_status an_store_begin(struct an_store *store, struct an_error *err)
{
    static const char doing[] = "beginning a transaction";
    if (store->in_transaction) {
        return an_fail(err, AN_BUG, "%s: one is open already", doing);
    }
    enum an_status st = an_store_may_write(store, doing, err);
    if (!st && store->rollback_due) {
        st = an_store_end_rollback(store, doing, err);
    }
    st = st ? st : an_corrections_show(store, err);
    if (!st) {
        st = an_sql_run(store, "BEGIN IMMEDIATE", doing, err);
        store->in_transaction = true;
        an_store_forget(store);
        if (st) { /* it may have begun and failed then, for lack of memory */
            an_store_rollback(store);
        }
    }
    return st;
}

/* The commit is durable already: a failure here concerns what comes later. */
static void checkpoint(struct an_store *store)
{
    if (store->wal_pages < CHECKPOINT_PAGES) {
        return;
    }
    const int rc =
        sqlite3_wal_checkpoint_v2(store->db, NULL, SQLITE_CHECKPOINT_PASSIVE, NULL, NULL);
    if (rc != SQLITE_OK && (rc & 0xff) != SQLITE_BUSY) {
        (void)an_sql_fail(store, rc, "moving the log into the store", NULL);
    }
}

enum an_status an_store_commit(struct an_store *store, struct an_error *err)
{
    static const char doing[] = "committing";
    enum an_status st = an_store_may_put(store, doing, err);
    for (int part = 0; !st && store->tally.file_id && part < AN_PARTS; part++) {
        if (store->tally.rows[part]) {
            st = an_fail(err, AN_BUG, "%s: rows were put for file %lld, but not the file itself",
                         doing, (long long)store->tally.file_id);
        }
    }
    if (!st) {
        st = an_sql_run(store, "COMMIT", doing, err);
    }
    if (st) {
        return st;
    }
    store->in_transaction = false;
    an_store_forget(store);
    checkpoint(store);
    return AN_OK;
}

enum an_status an_store_end_rollback(struct an_store *store, const char *doing,
                                     struct an_error *err)
{
    int rc = SQLITE_OK;
    for (size_t k = 0; k < AN_STATEMENTS; k++) { /* a query half read would hold the rollback up */
        (void)sqlite3_reset(store->statements[k].stmt);
    }
    if (!sqlite3_get_autocommit(store->db)) { /* SQLite may have rolled back by itself */
        rc = sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
    }
    store->rollback_due = rc != SQLITE_OK;
    return an_sql_fail(store, rc, doing, err);
}

/* Rolling back needs a little memory. Without it, it is made up for before the next statement: until
 * then nothing may be read, as it would show what was taken back. */
void an_store_rollback(struct an_store *store)
{
    if (!store || !store->in_transaction) {
        return;
    }
    (void)an_store_end_rollback(store, "rolling back", NULL);
    store->in_transaction = false;
    an_store_forget(store);
}

/* ---- reading only ------------------------------------------------------------------------------ */
enum an_status an_store_hold_view(struct an_store *store, bool *own, struct an_error *err)
{
    static const char doing[] = "beginning to read";
    const enum an_status st =
        store->rollback_due ? an_store_end_rollback(store, doing, err) : AN_OK;

    *own = !st && sqlite3_get_autocommit(store->db);
    if (*own) {
        store->view_held = true;
        store->view_aliases = 0;
    }
    return *own ? an_sql_run(store, "BEGIN", doing, err) : st;
}

/* Nothing was written, so there is nothing that could be lost. */
void an_store_let_view_go(struct an_store *store, bool own)
{
    store->view_held = store->view_held && !own;
    if (own && !store->in_transaction) {
        (void)an_store_end_rollback(store, "ending to read", NULL);
    }
}

/* ---- undoing a part --------------------------------------------------------------------------- */
static void reset_statements(struct an_store *store)
{
    for (size_t k = 0; k < AN_STATEMENTS; k++) { /* a query half read would hold the rollback up */
        (void)sqlite3_reset(store->statements[k].stmt);
    }
}

enum an_status an_store_mark(struct an_store *store, struct an_error *err)
{
    const enum an_status st = an_store_may_put(store, "marking a part", err);

    return st ? st : an_sql_run(store, "SAVEPOINT part", "marking a part", err);
}

enum an_status an_store_keep(struct an_store *store, struct an_error *err)
{
    const enum an_status st = an_store_may_put(store, "keeping a part", err);

    return st ? st : an_sql_run(store, "RELEASE part", "keeping a part", err);
}

enum an_status an_store_back(struct an_store *store, struct an_error *err)
{
    static const char doing[] = "undoing a part";

    if (!store->in_transaction) {
        return an_fail(err, AN_BUG, "%s: no transaction is open", doing);
    }
    if (sqlite3_get_autocommit(store->db)) {
        return an_fail(err, AN_NO_MEMORY,
                       "%s: memory ran out, and SQLite took the transaction back", doing);
    }
    reset_statements(store);
    an_store_forget(store);
    const enum an_status st = an_sql_run(store, "ROLLBACK TO part", doing, err);
    return st ? st : an_sql_run(store, "RELEASE part", doing, err);
}

enum an_status an_store_enter(struct an_store *store, bool *own, struct an_error *err)
{
    *own = !store->in_transaction;
    return *own ? an_store_begin(store, err) : AN_OK;
}

enum an_status an_store_leave(struct an_store *store, bool own, enum an_status st,
                              struct an_error *err)
{
    if (!own) {
        return st;
    }
    if (!st) {
        st = an_store_commit(store, err);
    }
    if (st) {
        an_store_rollback(store);
    }
    return st;
}

/* ---- ids ------------------------------------------------------------------------------------- */

enum an_status an_store_peek_id(struct an_store *store, enum an_counter counter, int64_t *id,
                                struct an_error *err)
{
    static const char *const newest[AN_COUNTERS] = {
        [AN_COUNT_LINE_REVISION] = "SELECT max(revision) FROM line_revision",
        [AN_COUNT_FILE] = "SELECT max(file_id) FROM file",
        [AN_COUNT_SIGHTING] = "SELECT max(sighting_id) FROM file_sighting",
        [AN_COUNT_ITEM] = "SELECT max(item_id) FROM item",
        [AN_COUNT_STREAM] = "SELECT max(stream_id) FROM stream",
        [AN_COUNT_LINK] = "SELECT max(link_id) FROM main.link",
        [AN_COUNT_VISIT] = "SELECT max(visit_id) FROM visit",
        [AN_COUNT_SAMPLE] = "SELECT max(sample_id) FROM sample",
        [AN_COUNT_BLOCK] = "SELECT max(block_id) FROM block",
        [AN_COUNT_HELD] = "SELECT max(held_id) FROM held",
        [AN_COUNT_LIMITS] = "SELECT max(limits_id) FROM limits",
        [AN_COUNT_SIGNAL] = "SELECT max(signal_id) FROM signal",
        [AN_COUNT_HIT] = "SELECT max(hit_id) FROM hit",
        [AN_COUNT_JUDGED] = "SELECT max(judged_id) FROM judged",
        [AN_COUNT_ANSWER] = "SELECT max(answer_id) FROM answer",
        [AN_COUNT_HEADER] = "SELECT max(header_id) FROM header",
        [AN_COUNT_MISSING_FILE] = "SELECT max(missing_id) FROM missing_file",
        [AN_COUNT_SUPERSEDED] = "SELECT max(superseded_id) FROM superseded",
        [AN_COUNT_SUSPECT] = "SELECT max(suspect_id) FROM suspect",
        [AN_COUNT_RELEASE_ACT] = "SELECT max(act_id) FROM release_act",
        [AN_COUNT_RELEASE] = "SELECT max(release_id) FROM release",
        [AN_COUNT_LINK_END] = "SELECT max(end_id) FROM link_end",
        [AN_COUNT_ALIAS] = "SELECT max(alias_id) FROM alias",
        [AN_COUNT_CORRECTION] = "SELECT max(correction_id) FROM correction",
        [AN_COUNT_SIGNING_KEY] = "SELECT max(key_no) FROM signing_key",
        [AN_COUNT_KEY_RETIREMENT] = "SELECT max(retirement_id) FROM key_retirement",
        [AN_COUNT_ACT_SIGNATURE] = "SELECT max(signature_id) FROM act_signature",
        [AN_COUNT_SIGNED_HEAD] = "SELECT max(head_id) FROM signed_head",
    };
    enum an_status st = AN_OK;
    if (store->next_id[counter] == 0) {
        struct an_query query;
        bool found = false;
        st = an_query_start(&query, store, newest[counter], "finding the next number", err);
        if (!st) {
            st = an_query_row(&query, &found, err);
        }
        if (!st) {
            store->next_id[counter] = an_column_int_or(&query, 0, 0) + 1;
            an_query_end(&query);
        }
    }
    *id = store->next_id[counter];
    return st;
}

enum an_status an_store_take_id(struct an_store *store, enum an_counter counter, int64_t *id,
                                struct an_error *err)
{
    const enum an_status st = an_store_peek_id(store, counter, id, err);
    if (!st) {
        store->next_id[counter]++;
    }
    return st;
}
