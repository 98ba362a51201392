/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What each station wrote in a period. A file belongs to a period that the event times of its
 * rows touch; one without rows by its own time, or else by when it was taken.
 */
#include "store/handle.h"

static void read_traffic(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_station_traffic *station = row;
    station->station = an_column_text(query, 0, arena);
    station->files = an_column_int(query, 1);
    station->files_held = an_column_int(query, 2);
    station->rows = an_column_int(query, 3);
    station->taken = an_column_int(query, 4);
    station->duplicate = an_column_int(query, 5);
    station->held = an_column_int(query, 6);
    station->blank = an_column_int(query, 7);
    station->sightings = an_column_int(query, 8);
    station->last_us = an_column_instant(query, 9);
}

/* A row counts once, in the bin in which it lies by now: what was released is no longer held, and a
 * file that was held whole and taken later counts as taken. */
/* Every station that ever wrote, with zeroes if not in the period: the names are found by hopping
 * along the index from one to the next. Files of no station come last, if there are any. */
enum an_status an_store_traffic(struct an_store *store, int64_t from_us, int64_t until_us,
                                struct an_arena *arena, struct an_station_traffic **stations,
                                size_t *count, struct an_error *err)
{
    static const char sql[] =
        "WITH RECURSIVE name (station) AS ("
        " SELECT min(station) FROM file"
        " UNION ALL SELECT (SELECT min(f.station) FROM file f WHERE f.station > n.station)"
        " FROM name n WHERE n.station IS NOT NULL),"
        " period_file AS MATERIALIZED (" /* found by time first, grouped after */
        " SELECT file_id, station, state, round, CASE round WHEN 0 THEN rows_in ELSE 0 END AS rows_in,"
        " taken, duplicate, held - (SELECT count(*) FROM release r"
        " WHERE r.held_file_id = file.file_id AND r.held_id IS NOT NULL) AS held, blank FROM file"
        " WHERE about_last_us >= $1 AND about_first_us < $2 AND (state = 0 OR NOT EXISTS"
        " (SELECT 1 FROM file t WHERE t.hash = file.hash"
        " AND (t.state = 0 OR t.file_id > file.file_id)))),"
        " period AS ("
        " SELECT station, sum(round = 0) AS files, sum(state) AS files_held, sum(rows_in) AS rows_in,"
        " sum(taken) AS taken, sum(duplicate) AS duplicate, sum(held) AS held,"
        " sum(blank) AS blank,"
        " sum((SELECT count(*) FROM file_sighting g WHERE g.file_id = d.file_id)) AS sightings"
        " FROM period_file d GROUP BY station)"
        " SELECT n.station, coalesce(p.files, 0), coalesce(p.files_held, 0),"
        " coalesce(p.rows_in, 0), coalesce(p.taken, 0), coalesce(p.duplicate, 0),"
        " coalesce(p.held, 0), coalesce(p.blank, 0), coalesce(p.sightings, 0),"
        " (SELECT max(f.last_us) FROM file f WHERE f.station = n.station), 0 AS rank"
        " FROM name n LEFT JOIN period p ON p.station = n.station WHERE n.station IS NOT NULL"
        " UNION ALL SELECT NULL, files, files_held, rows_in, taken, duplicate, held, blank,"
        " sightings, NULL, 1 FROM period WHERE station IS NULL"
        " ORDER BY 11, 1";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "counting what stations wrote", err);
    if (st) {
        return st;
    }
    an_query_int(&query, from_us);
    an_query_int(&query, an_until(until_us));
    st = an_query_collect(&query, sizeof **stations, read_traffic, arena, &rows, count, err);
    if (!st) {
        *stations = rows;
    }
    return st;
}

static void read_stay(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_station_stay *stay = row;
    (void)arena;
    stay->item_id = an_column_int(query, 0);
    stay->first_us = an_column_int(query, 1);
    stay->last_us = an_column_int(query, 2);
}

enum an_status an_store_station_stays(struct an_store *store, const char *station, int64_t from_us,
                                      int64_t until_us, struct an_arena *arena,
                                      struct an_station_stay **stays, size_t *count,
                                      struct an_error *err)
{
    static const char sql[] =
        "SELECT v.item_id, min(v.first_us), max(v.last_us) FROM file f"
        " JOIN visit v ON v.file_id = f.file_id"
        " WHERE f.station = $1 AND f.last_us >= $2 AND f.first_us < $3 AND v.purpose IS NULL"
        " AND v.last_us >= $2 AND v.first_us < $3 GROUP BY v.item_id ORDER BY v.item_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "reading who was at a station", err);
    if (st) {
        return st;
    }
    an_query_text(&query, station);
    an_query_int(&query, from_us);
    an_query_int(&query, an_until(until_us));
    st = an_query_collect(&query, sizeof **stays, read_stay, arena, &rows, count, err);
    if (!st) {
        *stays = rows;
    }
    return st;
}

static void read_gauge(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_gauge_use *use = row;
    use->station = an_column_text(query, 0, arena);
    use->gauge = an_column_text(query, 1, arena);
    use->visits = an_column_int(query, 2);
    use->last_us = an_column_int(query, 3);
}

enum an_status an_store_gauges(struct an_store *store, int64_t from_us, int64_t until_us,
                               struct an_arena *arena, struct an_gauge_use **uses, size_t *count,
                               struct an_error *err)
{
    static const char sql[] =
        "SELECT f.station, v.gauge, count(*), max(v.last_us) FROM file f"
        " JOIN visit v ON v.file_id = f.file_id"
        " WHERE f.about_last_us >= $1 AND f.about_first_us < $2 AND v.gauge IS NOT NULL"
        " AND v.last_us >= $1 AND v.first_us < $2 AND f.station IS NOT NULL"
        " GROUP BY f.station, v.gauge ORDER BY f.station, v.gauge";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "reading which gauges were used", err);
    if (st) {
        return st;
    }
    an_query_int(&query, from_us);
    an_query_int(&query, an_until(until_us));
    st = an_query_collect(&query, sizeof **uses, read_gauge, arena, &rows, count, err);
    if (!st) {
        *uses = rows;
    }
    return st;
}
