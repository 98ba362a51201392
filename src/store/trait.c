/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a file is like besides its rows: its header, the machine it tells, its running number; and
 * the numbers that never came. Each question is answered from the end of an index.
 */
#include "andamento/store/intake.h"
#include "store/handle.h"

/* ---- headers ------------------------------------------------------------------------------------ */

static enum an_status find_header(struct an_store *store, const struct an_file_trait *trait,
                                  int64_t *header_id, struct an_error *err)
{
    static const char find[] = "SELECT header_id FROM header WHERE station = $1 AND names = $2";
    static const char add[] = "INSERT INTO header (header_id, station, names, file_id)"
                              " VALUES ($1, $2, $3, $4)";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, find, "looking for a header", err);
    if (st) {
        return st;
    }
    an_query_text(&query, trait->station);
    an_query_text(&query, trait->names);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *header_id = an_column_int(&query, 0);
        an_query_end(&query);
    }
    if (st || found) {
        return st;
    }
    st = an_store_take_id(store, AN_COUNT_HEADER, header_id, err);
    if (!st) {
        st = an_query_start_put(&query, store, add, "keeping a header", err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, *header_id);
    an_query_text(&query, trait->station);
    an_query_text(&query, trait->names);
    an_query_int(&query, trait->file_id);
    return an_query_run_put(&query, AN_PART_HEADER, err);
}

enum an_status an_store_put_trait(struct an_store *store, const struct an_file_trait *trait,
                                  struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO file_trait (file_id, station, header_id, identity, file_number)"
        " VALUES ($1, $2, $3, $4, $5)";
    static const char doing[] = "keeping what a file is like";
    struct an_query query;
    int64_t header_id = 0;
    enum an_status st = an_tally_check(store, trait->file_id, doing, err);
    if (!st && trait->names) {
        st = find_header(store, trait, &header_id, err);
    }
    if (!st) {
        st = an_query_start_put(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, trait->file_id);
    an_query_text(&query, trait->station);
    an_query_int_or_null(&query, header_id, header_id == 0);
    an_query_text(&query, trait->identity);
    an_query_int_or_null(&query, trait->number, !trait->has_number);
    return an_query_run_put(&query, AN_PART_TRAIT, err);
}

/* One text of the first row; NULL if there is no row. */
static enum an_status one_text(struct an_query *query, struct an_arena *arena, const char **text,
                               struct an_error *err)
{
    bool found = false;
    enum an_status st = an_query_row(query, &found, err);
    *text = NULL;
    if (!st && found) {
        *text = an_column_text(query, 0, arena);
        if (query->no_memory) {
            st = an_fail(err, AN_NO_MEMORY, "%s: memory ran out", query->doing);
        }
        an_query_end(query);
    }
    return st;
}

enum an_status an_store_newest_header(struct an_store *store, const char *station,
                                      struct an_arena *arena, const char **names,
                                      struct an_error *err)
{
    static const char sql[] =
        "SELECT h.names FROM file_trait t JOIN file f ON f.file_id = t.file_id"
        " JOIN header h ON h.header_id = t.header_id"
        " WHERE t.station = $1 AND f.state = 0"
        " ORDER BY t.file_id DESC LIMIT 1";
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, store, sql, "looking for a station's newest header", err);
    if (st) {
        return st;
    }
    an_query_text(&query, station);
    return one_text(&query, arena, names, err);
}

/* ---- the machine -------------------------------------------------------------------------------- */

enum an_status an_store_identity(struct an_store *store, const char *station, const char *identity,
                                 struct an_arena *arena, bool *known, const char **usual,
                                 struct an_error *err)
{
    static const char same[] = "SELECT 1 FROM file_trait t JOIN file f ON f.file_id = t.file_id"
                               " WHERE t.station = $1 AND t.identity = $2 AND f.state = 0 LIMIT 1";
    static const char newest[] =
        "SELECT t.identity FROM file_trait t JOIN file f ON f.file_id = t.file_id"
        " WHERE t.station = $1 AND f.state = 0 AND t.identity IS NOT NULL"
        " ORDER BY t.file_id DESC LIMIT 1";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, same, "looking for a machine", err);
    *usual = NULL;
    if (st) {
        return st;
    }
    an_query_text(&query, station);
    an_query_text(&query, identity);
    st = an_query_row(&query, known, err);
    an_query_end(&query);
    if (st || *known) {
        return st;
    }
    st = an_query_start(&query, store, newest, "looking for a machine", err);
    if (st) {
        return st;
    }
    an_query_text(&query, station);
    return one_text(&query, arena, usual, err);
}

/* ---- running numbers ---------------------------------------------------------------------------- */

enum an_status an_store_file_numbers(struct an_store *store, const char *station, int64_t number,
                                     const struct an_sha256 *hash, bool *any, int64_t *greatest,
                                     bool *came, struct an_error *err)
{
    static const char sql[] =
        "SELECT (SELECT max(file_number) FROM file_trait WHERE station = $1),"
        " EXISTS (SELECT 1 FROM file_trait t JOIN file f ON f.file_id = t.file_id"
        " WHERE t.station = $1 AND t.file_number = $2 AND f.hash <> $3)";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking at running numbers", err);
    if (st) {
        return st;
    }
    an_query_text(&query, station);
    an_query_int(&query, number);
    an_query_hash(&query, hash);
    st = an_query_row(&query, &found, err);
    if (!st) {
        *greatest = an_column_int_or(&query, 0, INT64_MIN);
        *any = *greatest != INT64_MIN;
        *came = an_column_int(&query, 1) != 0;
        an_query_end(&query);
    }
    return st;
}

enum an_status an_store_station_until(struct an_store *store, const char *station, int64_t *at_us,
                                      struct an_error *err)
{
    static const char sql[] = "SELECT max(last_us) FROM file WHERE station = $1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking how far a station is", err);
    *at_us = AN_NO_INSTANT;
    if (st) {
        return st;
    }
    an_query_text(&query, station);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *at_us = an_column_instant(&query, 0);
        an_query_end(&query);
    }
    return st;
}

enum an_status an_store_put_missing_file(struct an_store *store, const char *station,
                                         int64_t number, int64_t file_id, struct an_error *err)
{
    static const char find[] = "SELECT 1 FROM missing_file WHERE station = $1 AND file_number = $2";
    static const char add[] = "INSERT INTO missing_file (missing_id, station, file_number, file_id)"
                              " VALUES ($1, $2, $3, $4)";
    static const char doing[] = "noting that a file is missing";
    struct an_query query;
    bool found = false;
    int64_t id = 0;
    enum an_status st = an_tally_check(store, file_id, doing, err);
    if (!st) {
        st = an_query_start(&query, store, find, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_text(&query, station);
    an_query_int(&query, number);
    st = an_query_row(&query, &found, err);
    an_query_end(&query);
    if (st || found) {
        return st;
    }
    st = an_store_take_id(store, AN_COUNT_MISSING_FILE, &id, err);
    if (!st) {
        st = an_query_start_put(&query, store, add, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, id);
    an_query_text(&query, station);
    an_query_int(&query, number);
    an_query_int(&query, file_id);
    return an_query_run_put(&query, AN_PART_MISSING_FILE, err);
}

static void read_missing(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_missing_file *missing = row;
    missing->station = an_column_text(query, 0, arena);
    missing->number = an_column_int(query, 1);
    missing->noticed_by = an_column_int(query, 2);
    missing->known_us = an_column_int(query, 3);
}

enum an_status an_store_missing_files(struct an_store *store, const char *station,
                                      struct an_arena *arena, struct an_missing_file **files,
                                      size_t *count, struct an_error *err)
{
    static const char sql[] =
        "SELECT m.station, m.file_number, m.file_id, f.known_us FROM missing_file m"
        " JOIN file f ON f.file_id = m.file_id"
        " WHERE m.missing_id > 0 AND ($1 IS NULL OR m.station = $1)"
        " AND NOT EXISTS (SELECT 1 FROM file_trait t"
        " WHERE t.station = m.station AND t.file_number = m.file_number)"
        " ORDER BY m.station, m.file_number";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "listing missing files", err);
    if (st) {
        return st;
    }
    an_query_text(&query, station);
    st = an_query_collect(&query, sizeof **files, read_missing, arena, &rows, count, err);
    if (!st) {
        *files = rows;
    }
    return st;
}
