/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Acts since an entry of the ledger, asked row by row. Must never guess: where no record since then
 * bears on a row, there is no act.
 *
 * Every query gives kind, words, who and when; of several the newest entry is told, except that what
 * a person did goes before what a file brought.
 */
#include "andamento/store/change.h"

#include "store/handle.h"

static const char doing[] = "looking for what changed";

static void read_act(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_act *act = row;

    act->kind = an_column_text(query, 0, arena);
    act->what = an_column_text(query, 1, arena);
    act->who = an_column_text(query, 2, arena);
    act->at_us = an_column_instant(query, 3);
}

/* The first row of a query whose parameters are bound. */
static enum an_status first_act(struct an_query *query, struct an_arena *arena, struct an_act *act,
                                struct an_error *err)
{
    void *rows = NULL;
    size_t count = 0;
    const enum an_status st =
        an_query_collect(query, sizeof *act, read_act, arena, &rows, &count, err);

    *act = (struct an_act){.at_us = AN_NO_INSTANT};
    if (!st && count) {
        *act = *(struct an_act *)rows;
    }
    return st;
}

/* The sample that export names: x (sample_id, item_id, file_id). */
#define NAMED_SAMPLE                                                                               \
    "WITH x (sample_id, item_id, file_id) AS MATERIALIZED (SELECT s.sample_id, s.item_id,"         \
    " s.file_id FROM file f JOIN sample s ON s.file_id = f.file_id JOIN stream t ON"               \
    " t.stream_id = s.stream_id WHERE f.hash = $1 AND t.name = $2 AND s.first_line = $3"           \
    " ORDER BY s.sample_id DESC LIMIT 1) "

static enum an_status about_sample(struct an_store *store, const char *sql,
                                   const struct an_sha256 *file, const char *stream,
                                   int64_t first_line, int64_t since, struct an_arena *arena,
                                   struct an_act *act, struct an_error *err)
{
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, doing, err);

    if (st) {
        return st;
    }
    an_query_hash(&query, file);
    an_query_text(&query, stream);
    an_query_int(&query, first_line);
    an_query_int(&query, since);
    return first_act(&query, arena, act, err);
}

enum an_status an_store_sample_act(struct an_store *store, const struct an_sha256 *file,
                                   const char *stream, int64_t first_line, int64_t since,
                                   struct an_arena *arena, struct an_act *act, struct an_error *err)
{
    static const char sql[] = NAMED_SAMPLE
        "SELECT 'correction', 'correction ' || c.correction_id || ': ' || c.after || ' (' ||"
        " c.reason || ')', c.author, c.known_us, 1, c.entry FROM x"
        " JOIN corrected_sample k ON k.sample_id = x.sample_id"
        " JOIN correction c ON c.correction_id = k.correction_id WHERE c.entry >= $4"
        " UNION ALL SELECT 'correction', 'correction ' || k.correction_id || ' undone (' ||"
        " c.reason || ')', c.author, c.known_us, 1, c.entry FROM x"
        " JOIN corrected_sample k ON k.sample_id = x.sample_id"
        " JOIN correction c ON c.undoes = k.correction_id WHERE c.entry >= $4"
        " UNION ALL SELECT 'released rows', 'rows of ' || f.name || ' released (' || a.reason ||"
        " ')', a.author, a.known_us, 2, a.entry FROM x JOIN release_act a ON a.file_id = x.file_id"
        " JOIN file f ON f.file_id = a.file_id WHERE a.entry >= $4"
        " UNION ALL SELECT 'late file', 'late file ' || f.name || ', which measured it again',"
        " NULL, f.known_us, 3, f.entry FROM x JOIN superseded u ON u.sample_id = x.sample_id"
        " JOIN file f ON f.file_id = u.file_id WHERE f.entry >= $4"
        " UNION ALL SELECT 'late file', 'late file ' || f.name, NULL, f.known_us, 4, f.entry"
        " FROM x JOIN file f ON f.file_id = x.file_id WHERE f.entry >= $4"
        " ORDER BY 5, 6 DESC LIMIT 1";

    return about_sample(store, sql, file, stream, first_line, since, arena, act, err);
}

enum an_status an_store_serial_act(struct an_store *store, const struct an_sha256 *file,
                                   const char *stream, int64_t first_line, int64_t since,
                                   struct an_arena *arena, struct an_act *act, struct an_error *err)
{
    static const char sql[] = NAMED_SAMPLE
        "SELECT 'correction', 'correction ' || c.correction_id || ': ' || c.before || ' is ' ||"
        " c.after || ' (' || c.reason || ')', c.author, c.known_us, c.entry FROM x"
        " JOIN correction c ON c.item_id = x.item_id AND c.kind = 1 WHERE c.entry >= $4"
        " UNION ALL SELECT 'correction', 'correction ' || c.correction_id || ' undone (' ||"
        " u.reason || ')', u.author, u.known_us, u.entry FROM x"
        " JOIN correction c ON c.item_id = x.item_id AND c.kind = 1"
        " JOIN correction u ON u.undoes = c.correction_id WHERE u.entry >= $4"
        " ORDER BY 5 DESC LIMIT 1";

    return about_sample(store, sql, file, stream, first_line, since, arena, act, err);
}

enum an_status an_store_dropped_act(struct an_store *store, const struct an_sha256 *file,
                                    int64_t since, struct an_arena *arena, struct an_act *act,
                                    struct an_error *err)
{
    static const char sql[] =
        "SELECT 'dropped', 'readings dropped by retention ' || r.retention_id || ' (' || r.reason"
        " || ')', r.author, r.known_us FROM file f JOIN retention_file d ON d.file_id = f.file_id"
        " AND d.kind = 1 JOIN retention r ON r.retention_id = d.retention_id"
        " WHERE f.hash = $1 AND r.entry >= $2 ORDER BY r.entry DESC LIMIT 1";
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, doing, err);

    if (st) {
        return st;
    }
    an_query_hash(&query, file);
    an_query_int(&query, since);
    return first_act(&query, arena, act, err);
}

static enum an_status about_stream(struct an_store *store, const char *sql, const char *stream,
                                   int64_t since, struct an_arena *arena, struct an_act *act,
                                   struct an_error *err)
{
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, doing, err);

    if (st) {
        return st;
    }
    an_query_text(&query, stream);
    an_query_int(&query, since);
    return first_act(&query, arena, act, err);
}

enum an_status an_store_limits_act(struct an_store *store, const char *stream, int64_t since,
                                   struct an_arena *arena, struct an_act *act, struct an_error *err)
{
    static const char sql[] =
        "SELECT 'new limits', 'limits ' || l.limits_id || ' ' || CASE k.decision WHEN 1 THEN"
        " 'locked' ELSE 'refused' END || ' (' || k.reason || ')', k.author, k.known_us, k.entry"
        " FROM stream t JOIN limits l ON l.stream_id = t.stream_id"
        " JOIN limits_lock k ON k.limits_id = l.limits_id WHERE t.name = $1 AND k.entry >= $2"
        " UNION ALL SELECT 'new limits', 'limits ' || l.limits_id || ' proposed', l.system_user,"
        " l.known_us, l.entry FROM stream t JOIN limits l ON l.stream_id = t.stream_id"
        " WHERE t.name = $1 AND l.entry >= $2 ORDER BY 5 DESC LIMIT 1";

    return about_stream(store, sql, stream, since, arena, act, err);
}

enum an_status an_store_stream_act(struct an_store *store, const char *stream, int64_t since,
                                   struct an_arena *arena, struct an_act *act, struct an_error *err)
{
    static const char sql[] =
        "SELECT 'correction', 'correction ' || c.correction_id || ': ' || c.after || ' (' ||"
        " c.reason || ')', c.author, c.known_us, c.entry FROM stream t"
        " JOIN corrected_sample x ON x.stream_id = t.stream_id"
        " JOIN correction c ON c.correction_id = x.correction_id"
        " WHERE t.name = $1 AND c.entry >= $2"
        " UNION ALL SELECT 'correction', 'correction ' || u.undoes || ' undone (' || u.reason ||"
        " ')', u.author, u.known_us, u.entry FROM stream t"
        " JOIN corrected_sample x ON x.stream_id = t.stream_id"
        " JOIN correction u ON u.undoes = x.correction_id WHERE t.name = $1 AND u.entry >= $2"
        " UNION ALL SELECT 'late file', 'late file ' || f.name || ', which measured again', NULL,"
        " f.known_us, f.entry FROM stream t JOIN superseded x ON x.stream_id = t.stream_id"
        " JOIN file f ON f.file_id = x.file_id WHERE t.name = $1 AND f.entry >= $2"
        " ORDER BY 5 DESC LIMIT 1";

    return about_stream(store, sql, stream, since, arena, act, err);
}

static enum an_status about_signal(struct an_store *store, const char *sql, int64_t signal_id,
                                   int64_t since, struct an_arena *arena, struct an_act *act,
                                   struct an_error *err)
{
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, doing, err);

    if (st) {
        return st;
    }
    an_query_int(&query, signal_id);
    an_query_int(&query, since);
    return first_act(&query, arena, act, err);
}

enum an_status an_store_signal_act(struct an_store *store, int64_t signal_id, int64_t since,
                                   struct an_arena *arena, struct an_act *act, struct an_error *err)
{
    /* What made the judging see it: limits, a file; else that it was judged at all. A hit that went was
     * withdrawn by a check: what was recorded of its stream between that check and the one before. */
    static const char sql[] =
        "WITH gone (stream_id, at_us, reason, known_us, entry, before) AS (SELECT h.stream_id,"
        " h.at_us, w.reason, w.known_us, w.entry, max(h.entry, (SELECT coalesce(max(j.entry), -1)"
        " FROM judged j WHERE j.stream_id = h.stream_id AND j.entry < w.entry)) FROM hit h"
        " JOIN hit_withdrawal w ON w.hit_id = h.hit_id WHERE h.signal_id = $1 AND w.entry >= $2) "
        "SELECT 'new limits', 'withdrawn by limits ' || l.limits_id || ' locked (' || k.reason ||"
        " ')', k.author, g.known_us, 1, k.entry FROM gone g JOIN limits l ON l.stream_id ="
        " g.stream_id JOIN limits_lock k ON k.limits_id = l.limits_id AND k.decision = 1"
        " WHERE k.entry > g.before AND k.entry < g.entry"
        " UNION ALL SELECT 'correction', 'withdrawn by correction ' || c.correction_id || ': ' ||"
        " c.after || ' (' || c.reason || ')', c.author, g.known_us, 2, c.entry FROM gone g"
        " JOIN corrected_sample x ON x.stream_id = g.stream_id"
        " JOIN correction c ON c.correction_id = x.correction_id"
        " WHERE c.entry > g.before AND c.entry < g.entry"
        " UNION ALL SELECT 'correction', 'withdrawn as correction ' || c.undoes || ' was undone ('"
        " || c.reason || ')', c.author, g.known_us, 2, c.entry FROM gone g"
        " JOIN corrected_sample x ON x.stream_id = g.stream_id"
        " JOIN correction c ON c.undoes = x.correction_id"
        " WHERE c.entry > g.before AND c.entry < g.entry"
        " UNION ALL SELECT 'late file', 'withdrawn by late file ' || f.name, NULL, g.known_us, 3,"
        " f.entry FROM gone g JOIN sample s ON s.stream_id = g.stream_id AND s.at_us <= g.at_us"
        " JOIN file f ON f.file_id = s.file_id WHERE f.entry > g.before AND f.entry < g.entry"
        " UNION ALL SELECT 'judged', 'withdrawn: ' || g.reason, NULL, g.known_us, 4, g.entry"
        " FROM gone g"
        " UNION ALL SELECT 'new limits', 'limits ' || g.limits_id || ' locked (' || k.reason ||"
        " ')', k.author, k.known_us, 5, k.entry FROM signal g"
        " JOIN limits_lock k ON k.limits_id = g.limits_id"
        " WHERE g.signal_id = $1 AND k.entry >= $2 AND k.decision = 1"
        " UNION ALL SELECT 'released rows', 'rows of ' || f.name || ' released (' || a.reason ||"
        " ')', a.author, a.known_us, 6, a.entry FROM hit h"
        " JOIN sample s ON s.sample_id = h.sample_id JOIN release_act a ON a.file_id = s.file_id"
        " JOIN file f ON f.file_id = a.file_id WHERE h.signal_id = $1 AND a.entry >= $2"
        " UNION ALL SELECT 'late file', 'late file ' || f.name, NULL, f.known_us, 7, f.entry"
        " FROM hit h JOIN sample s ON s.sample_id = h.sample_id JOIN file f"
        " ON f.file_id = s.file_id WHERE h.signal_id = $1 AND f.entry >= $2"
        " UNION ALL SELECT 'judged', 'judged later', NULL, h.known_us, 8, h.entry FROM hit h"
        " WHERE h.signal_id = $1 AND h.entry >= $2 ORDER BY 5, 6 DESC LIMIT 1";

    return about_signal(store, sql, signal_id, since, arena, act, err);
}

enum an_status an_store_answer_act(struct an_store *store, int64_t signal_id, int64_t since,
                                   struct an_arena *arena, struct an_act *act, struct an_error *err)
{
    static const char sql[] =
        "SELECT 'answered', 'answered', author, known_us FROM answer"
        " WHERE signal_id = $1 AND entry >= $2 ORDER BY answer_id DESC LIMIT 1";

    return about_signal(store, sql, signal_id, since, arena, act, err);
}

enum an_status an_store_line_act(struct an_store *store, int64_t since, struct an_arena *arena,
                                 struct an_act *act, struct an_error *err)
{
    static const char sql[] =
        "SELECT 'line description', 'line description, revision ' || revision, system_user,"
        " known_us FROM line_revision WHERE entry >= $1 ORDER BY revision DESC LIMIT 1";
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, doing, err);

    if (st) {
        return st;
    }
    an_query_int(&query, since);
    return first_act(&query, arena, act, err);
}
