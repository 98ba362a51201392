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
        " SELECT file_id, station, state, rows_in, taken, duplicate, held, blank FROM file"
        " WHERE about_last_us >= $1 AND about_first_us < $2),"
        " period AS ("
        " SELECT station, count(*) AS files, sum(state) AS files_held, sum(rows_in) AS rows_in,"
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
