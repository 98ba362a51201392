/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which files are due, and what is spared. Must never change anything, nor hold more than a page of
 * files besides one byte a file for what is spared.
 *
 * A file's age counts from the later of its newest event and its taking: neither an old backlog
 * taken today nor a station whose clock is behind goes early.
 */
#include "store/retention.h"

#include <string.h>

enum { PAGE = 256, SPARED_BASELINE = 1, SPARED_SIGNAL = 2, SPARED_OPEN = 4 };

struct row {
    int64_t file_id, age_us;
    size_t rule; /* AN_RULE_NONE: none */
    bool held_whole;
};

struct an_due {
    struct an_store *store;
    const struct an_keep_rule *rules;
    size_t rule_count;
    unsigned char *spared; /* by file_id */
    int64_t newest_id;
    int64_t last_id; /* of the pages read so far */
    struct row page[PAGE];
    size_t page_count, page_at;
};

/* ---- what is spared ---------------------------------------------------------------------------- */

static enum an_status spare(struct an_due *due, struct an_query *query, unsigned char why,
                            struct an_error *err)
{
    bool more = false;
    enum an_status st = AN_OK;
    while (!(st = an_query_row(query, &more, err)) && more) {
        const int64_t file_id = an_column_int(query, 0);
        if (file_id > 0 && file_id <= due->newest_id) {
            due->spared[file_id] |= why;
        }
    }
    an_query_end(query);
    return st;
}

/* Limits are in force until others of the stream are, so those that are to come count too. A
 * baseline was of the files that were there when the limits were proposed. */
static enum an_status spare_baselines(struct an_due *due, int64_t now_us, struct an_error *err)
{
    static const char sql[] =
        "SELECT s.file_id FROM limits_lock k JOIN limits l ON l.limits_id = k.limits_id"
        " JOIN sample s ON s.stream_id = l.stream_id"
        " AND s.at_us >= coalesce(l.baseline_from_us, -9223372036854775807)"
        " AND s.at_us < coalesce(l.baseline_until_us, 9223372036854775807)"
        " JOIN file f ON f.file_id = s.file_id AND f.known_us <= l.known_us"
        " WHERE k.decision = 1 AND NOT EXISTS (SELECT 1 FROM limits l2"
        " JOIN limits_lock k2 ON k2.limits_id = l2.limits_id WHERE l2.stream_id = l.stream_id"
        " AND k2.decision = 1 AND k2.in_force_us <= $1"
        " AND (k2.in_force_us, k2.limits_id) > (k.in_force_us, k.limits_id))";
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, due->store, sql, "looking for baselines of limits in force", err);
    if (st) {
        return st;
    }
    an_query_int(&query, now_us);
    return spare(due, &query, SPARED_BASELINE, err);
}

/* Samples under a signal without an answer, some hit of which holds. */
#define UNDER_OPEN_SIGNALS                                                                         \
    " FROM signal g JOIN sample s ON s.stream_id = g.stream_id AND s.at_us >= g.first_us"          \
    " AND s.at_us <= (SELECT max(h.at_us) FROM hit h WHERE h.signal_id = g.signal_id)"             \
    " WHERE NOT EXISTS (SELECT 1 FROM answer a WHERE a.signal_id = g.signal_id)"                   \
    " AND EXISTS (SELECT 1 FROM hit h WHERE h.signal_id = g.signal_id AND NOT EXISTS"              \
    " (SELECT 1 FROM hit_withdrawal w WHERE w.hit_id = h.hit_id))"

static enum an_status spare_signals(struct an_due *due, struct an_error *err)
{
    static const char sql[] = "SELECT s.file_id" UNDER_OPEN_SIGNALS;
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, due->store, sql, "looking for signals without an answer", err);
    return st ? st : spare(due, &query, SPARED_SIGNAL, err);
}

/*
 * The files behind what is open: from the items under those signals down to all that they went into,
 * and from there up to all that it is made of. Links that have ended count, too (it was made of it
 * then), and a second name is the same item. A set each way, so shared batches are met once.
 */
static enum an_status spare_open(struct an_due *due, struct an_error *err)
{
    static const char sql[] =
        "WITH RECURSIVE down(item_id) AS (SELECT s.item_id" UNDER_OPEN_SIGNALS
        " UNION SELECT l.child_id FROM down d JOIN link l ON l.parent_id = d.item_id"
        " UNION SELECT a.other_id FROM down d JOIN alias a ON a.item_id = d.item_id"
        " UNION SELECT a.item_id FROM down d JOIN alias a ON a.other_id = d.item_id),"
        " up(item_id) AS (SELECT item_id FROM down"
        " UNION SELECT l.parent_id FROM up u JOIN link l ON l.child_id = u.item_id"
        " UNION SELECT a.other_id FROM up u JOIN alias a ON a.item_id = u.item_id"
        " UNION SELECT a.item_id FROM up u JOIN alias a ON a.other_id = u.item_id)"
        " SELECT v.file_id FROM up u JOIN visit v ON v.item_id = u.item_id"
        " UNION SELECT l.file_id FROM up u JOIN link l ON l.child_id = u.item_id";
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, due->store, sql, "looking for what is behind open items", err);
    return st ? st : spare(due, &query, SPARED_OPEN, err);
}

enum an_status an_due_open(struct an_store *store, const struct an_keep_rule *rules, size_t count,
                           int64_t now_us, struct an_due **due, struct an_error *err)
{
    int64_t next_id = 0;
    enum an_status st = an_store_peek_id(store, AN_COUNT_FILE, &next_id, err);
    *due = NULL;
    if (st) {
        return st;
    }
    struct an_due *made = an_alloc(1, sizeof *made);
    if (made) {
        *made = (struct an_due){.store = store,
                                .rules = rules,
                                .rule_count = count,
                                .newest_id = next_id - 1,
                                .spared = an_alloc((size_t)next_id + 1, 1)};
    }
    if (!made || !made->spared) {
        st = an_fail(err, AN_NO_MEMORY, "looking for what is due: memory ran out");
    }
    st = st ? st : spare_baselines(made, now_us, err);
    st = st ? st : spare_signals(made, err);
    st = st ? st : spare_open(made, err);
    if (st) {
        an_due_close(made);
        return st;
    }
    *due = made;
    return AN_OK;
}

void an_due_close(struct an_due *due)
{
    if (due) {
        an_free(due->spared);
        an_free(due);
    }
}

/* ---- files -------------------------------------------------------------------------------------- */

static size_t rule_of(const struct an_due *due, const char *station)
{
    size_t others = due->rule_count;
    for (size_t i = 0; i < due->rule_count; i++) {
        if (!due->rules[i].station) {
            others = i;
        } else if (station && strcmp(station, due->rules[i].station) == 0) {
            return i;
        }
    }
    return others;
}

static enum an_status read_page(struct an_due *due, struct an_error *err)
{
    static const char sql[] = "SELECT file_id, station, max(about_last_us, known_us), state"
                              " FROM file WHERE file_id > $1 ORDER BY file_id LIMIT $2";
    struct an_query query;
    bool more = false;
    enum an_status st = an_query_start(&query, due->store, sql, "looking for what is due", err);
    due->page_count = 0;
    due->page_at = 0;
    if (st) {
        return st;
    }
    an_query_int(&query, due->last_id);
    an_query_int(&query, PAGE);
    while (!(st = an_query_row(&query, &more, err)) && more && due->page_count < PAGE) {
        struct row *row = &due->page[due->page_count++];
        row->file_id = an_column_int(&query, 0);
        row->rule = rule_of(due, (const char *)sqlite3_column_text(query.stmt, 1));
        row->age_us = an_column_int(&query, 2);
        row->held_whole = an_column_int(&query, 3) != 0;
        due->last_id = row->file_id;
    }
    an_query_end(&query);
    return st;
}

static enum an_status measure(struct an_store *store, const char *sql, int64_t file_id,
                              int64_t *rows, int64_t *bytes, struct an_error *err)
{
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "measuring what is due", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *rows = an_column_int(&query, 0);
        *bytes = an_column_int_or(&query, 1, 0);
    }
    an_query_end(&query);
    return st;
}

static enum an_status find_original(struct an_store *store, struct an_due_file *file, bool *found,
                                    struct an_error *err)
{
    static const char sql[] = "SELECT hash FROM original WHERE file_id = $1";
    static const char pieces[] =
        "SELECT count(*), sum(length(packed)) FROM original_piece WHERE file_id = $1";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "measuring what is due", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file->file_id);
    st = an_query_row(&query, found, err);
    if (!st && *found) {
        (void)an_column_hash(&query, 0, &file->original_hash); /* its length: the table's check */
    }
    an_query_end(&query);
    return st || !*found ? st
                         : measure(store, pieces, file->file_id, &file->original_rows,
                                   &file->original_bytes, err);
}

/* The one place that decides what goes of a file. An original needs no readings to come back: also
 * one kept as columns has them in its own pieces. */
static void decide(const struct an_due *due, const struct row *row, bool has_original,
                   struct an_due_file *file, struct an_retention_sum *sum)
{
    const struct an_keep_rule *rule = &due->rules[row->rule];
    const unsigned char spared = due->spared[row->file_id];
    bool readings = file->reading_rows > 0 && row->age_us < rule->readings_before_us;
    bool original = has_original && row->age_us < rule->originals_before_us;
    if ((readings || original) && (spared & SPARED_OPEN)) {
        sum->spared_open++;
        original = false;
    }
    if (readings && spared) {
        sum->spared_baseline += (spared & SPARED_BASELINE) != 0;
        sum->spared_signal += (spared & SPARED_SIGNAL) != 0;
        readings = false;
    }
    if (original && row->held_whole) {
        sum->spared_held++;
        original = false;
    }
    file->readings = readings;
    file->original = original;
}

static enum an_status look_at(const struct an_due *due, const struct row *row,
                              struct an_due_file *file, struct an_retention_sum *sum,
                              struct an_error *err)
{
    static const char blocks[] =
        "SELECT count(*), sum(length(packed)) FROM block WHERE file_id = $1";
    bool has_original = false;
    *file = (struct an_due_file){.file_id = row->file_id, .age_us = row->age_us};
    enum an_status st =
        measure(due->store, blocks, row->file_id, &file->reading_rows, &file->reading_bytes, err);
    st = st ? st : find_original(due->store, file, &has_original, err);
    if (!st) {
        decide(due, row, has_original, file, sum);
    }
    return st;
}

static void add_up(const struct an_due_file *file, struct an_retention_sum *sum)
{
    sum->files++;
    sum->readings += file->readings;
    sum->originals += file->original;
    sum->reading_bytes += file->readings ? file->reading_bytes : 0;
    sum->original_bytes += file->original ? file->original_bytes : 0;
    if (sum->oldest_us == AN_NO_INSTANT || file->age_us < sum->oldest_us) {
        sum->oldest_us = file->age_us;
    }
    if (sum->newest_us == AN_NO_INSTANT || file->age_us > sum->newest_us) {
        sum->newest_us = file->age_us;
    }
}

enum an_status an_due_next(struct an_due *due, struct an_due_file *files, size_t most,
                           size_t *count, struct an_retention_sum *sum, struct an_error *err)
{
    enum an_status st = AN_OK;
    *count = 0;
    while (!st && *count < most) {
        if (due->page_at == due->page_count) {
            st = read_page(due, err);
            if (st || due->page_count == 0) {
                return st;
            }
        }
        const struct row *row = &due->page[due->page_at++];
        if (row->rule == due->rule_count || row->file_id > due->newest_id ||
            (row->age_us >= due->rules[row->rule].readings_before_us &&
             row->age_us >= due->rules[row->rule].originals_before_us)) {
            continue;
        }
        st = look_at(due, row, &files[*count], sum, err);
        if (!st && (files[*count].readings || files[*count].original)) {
            add_up(&files[*count], sum);
            ++*count;
        }
    }
    return st;
}
