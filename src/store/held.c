/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows that were not taken, with their reasons. Nothing here may cut or change a row's text. */
#include "store/handle.h"

enum an_status an_store_put_held(struct an_store *store, struct an_held *held, struct an_error *err)
{
    static const char sql[] = "INSERT INTO held"
                              " (held_id, file_id, line_no, column_no, column_name, code, why, raw)"
                              " VALUES ($1, $2, $3, $4, $5, $6, $7, $8)";
    static const char doing[] = "storing a held row";
    struct an_query query;
    enum an_status st = an_tally_check(store, held->file_id, doing, err);
    if (!st) {
        st = an_store_take_id(store, AN_COUNT_HELD, &held->held_id, err);
    }
    if (!st) {
        st = an_query_start_put(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, held->held_id);
    an_query_int(&query, held->file_id);
    an_query_int(&query, (int64_t)held->line);
    an_query_int(&query, (int64_t)held->column);
    an_query_text(&query, held->column_name);
    an_query_text(&query, held->code);
    an_query_text(&query, held->why);
    an_query_blob(&query, held->text.at, held->text.length);
    return an_query_run_put(&query, AN_PART_HELD, err);
}

static void read_held(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_held *held = row;
    held->held_id = an_column_int(query, 0);
    held->file_id = an_column_int(query, 1);
    held->line = (uint64_t)an_column_int(query, 2);
    held->column = (uint64_t)an_column_int(query, 3);
    held->column_name = an_column_text(query, 4, arena);
    held->code = an_column_text(query, 5, arena);
    held->why = an_column_text(query, 6, arena);
    held->text = an_column_bytes(query, 7, arena);
    held->file_name = an_column_text(query, 8, arena);
    held->station = an_column_text(query, 9, arena);
}

/* One query for each filter that has an index of its own: each stops at LIMIT without reading
 * rows that do not fit. */
enum an_status an_store_held(struct an_store *store, const char *station, const char *code,
                             int64_t file_id, size_t most, struct an_arena *arena,
                             struct an_held **rows, size_t *count, struct an_error *err)
{
#define HELD_COLUMNS                                                                               \
    "SELECT h.held_id, h.file_id, h.line_no, h.column_no, h.column_name, h.code, h.why, h.raw,"    \
    " f.name, f.station FROM "
    static const char of_file[] =
        HELD_COLUMNS "held h JOIN file f ON f.file_id = h.file_id WHERE h.file_id = $1"
                     " AND ($2 IS NULL OR h.code = $2) AND ($3 IS NULL OR f.station = $3)"
                     " ORDER BY h.held_id LIMIT $4";
    static const char of_station[] =
        HELD_COLUMNS "file f JOIN held h ON h.file_id = f.file_id WHERE f.station = $3"
                     " AND ($2 IS NULL OR h.code = $2) AND $1 = 0 ORDER BY h.held_id LIMIT $4";
    static const char of_code[] =
        HELD_COLUMNS "held h JOIN file f ON f.file_id = h.file_id WHERE h.code = $2 AND $1 = 0"
                     " AND $3 IS NULL ORDER BY h.held_id LIMIT $4";
    static const char all[] =
        HELD_COLUMNS "held h JOIN file f ON f.file_id = h.file_id WHERE h.held_id > $1"
                     " AND $2 IS NULL AND $3 IS NULL ORDER BY h.held_id LIMIT $4";
#undef HELD_COLUMNS
    struct an_query query;
    void *read = NULL;
    const char *sql = file_id ? of_file : station ? of_station : code ? of_code : all;
    enum an_status st = an_query_start(&query, store, sql, "listing held rows", err);
    if (st) {
        return st;
    }
    const int file_parameter = sqlite3_bind_parameter_index(query.stmt, "$1");
    const int code_parameter = sqlite3_bind_parameter_index(query.stmt, "$2");
    const int station_parameter = sqlite3_bind_parameter_index(query.stmt, "$3");
    const int most_parameter = sqlite3_bind_parameter_index(query.stmt, "$4");
    query.parameters = file_parameter - 1;
    an_query_int(&query, file_id);
    query.parameters = code_parameter - 1;
    an_query_text(&query, code);
    query.parameters = station_parameter - 1;
    an_query_text(&query, station);
    query.parameters = most_parameter - 1;
    an_query_int(&query, most == 0 || most > INT64_MAX ? INT64_MAX : (int64_t)most);
    st = an_query_collect(&query, sizeof **rows, read_held, arena, &read, count, err);
    if (!st) {
        *rows = read;
    }
    return st;
}

static void read_held_count(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_held_count *count = row;
    count->station = an_column_text(query, 0, arena);
    count->code = an_column_text(query, 1, arena);
    count->rows = an_column_int(query, 2);
    count->files = an_column_int(query, 3);
}

/* Rows held one by one, and files held whole: of these `rows` counts all their rows. What was
 * released since is not counted. */
enum an_status an_store_held_counts(struct an_store *store, int64_t from_us, int64_t until_us,
                                    struct an_arena *arena, struct an_held_count **counts,
                                    size_t *count, struct an_error *err)
{
    static const char sql[] =
        "WITH period (file_id, station, state, code) AS ("
        " SELECT file_id, station, state, code FROM file"
        " WHERE about_last_us >= $1 AND about_first_us < $2 AND (state = 0 OR NOT EXISTS"
        " (SELECT 1 FROM file t WHERE t.hash = file.hash"
        " AND (t.state = 0 OR t.file_id > file.file_id)))),"
        " reason (station, code, file_id, row_count) AS ("
        " SELECT p.station, h.code, p.file_id, count(*) FROM period p"
        " JOIN held h ON h.file_id = p.file_id WHERE NOT EXISTS"
        " (SELECT 1 FROM release r WHERE r.held_id = h.held_id)"
        " GROUP BY p.file_id, p.station, h.code"
        " UNION ALL SELECT p.station, p.code, p.file_id, 0 FROM period p"
        " WHERE p.state = 1 AND NOT EXISTS"
        " (SELECT 1 FROM held h WHERE h.file_id = p.file_id AND h.code = p.code))"
        " SELECT station, code, sum(row_count), count(*) FROM reason"
        " GROUP BY station, code ORDER BY station, code";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "counting held rows", err);
    if (st) {
        return st;
    }
    an_query_int(&query, from_us);
    an_query_int(&query, an_until(until_us));
    st = an_query_collect(&query, sizeof **counts, read_held_count, arena, &rows, count, err);
    if (!st) {
        *counts = rows;
    }
    return st;
}
