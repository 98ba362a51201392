/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The digest of everything put for a file: kept while it is put, and made again from stored rows.
 *
 * Each table has a running SHA-256 of its own over its rows in order of their ids (coding.h has a
 * row's bytes), so it does not matter how the tables' rows were mixed when they came. The digest
 * of the file is SHA-256 over a line that names this scheme and, for each table in the order of
 * enum an_part, the number of rows in 8 bytes, big end first, and the table's hash. Tables that
 * later formats brought are told only where the file has rows in them, after a byte that holds
 * their place in that order: so the digests of older files stay what they were.
 *
 * Trap: the columns of each query below and their order are those of the INSERT that puts the row.
 */
#include "store/coding.h"
#include "store/handle.h"
#include "store/retention.h"

#include <string.h>

static const char scheme[] = "andamento file digest 1\n";

void an_tally_drop(struct an_store *store)
{
    for (int part = 0; part < AN_PARTS; part++) {
        if (store->tally.digest[part]) {
            (void)an_digest_close(store->tally.digest[part]);
        }
    }
    store->tally = (struct an_tally){0};
}

enum an_status an_tally_check(struct an_store *store, int64_t file_id, const char *doing,
                              struct an_error *err)
{
    const enum an_status st = an_store_may_put(store, doing, err);
    if (!st && (store->tally.file_id != file_id || file_id == 0)) {
        return an_fail(err, AN_BUG, "%s: file %lld is not the one in hand (%lld)", doing,
                       (long long)file_id, (long long)store->tally.file_id);
    }
    return st;
}

static enum an_status add_row(struct an_digest **digest, struct an_bytes row, struct an_error *err)
{
    if (!*digest) {
        *digest = an_digest_open();
        if (!*digest) {
            return an_fail(err, AN_NO_MEMORY, "hashing what was stored: memory ran out");
        }
    }
    an_digest_add(*digest, row.at, row.length);
    return AN_OK;
}

enum an_status an_tally_add(struct an_store *store, enum an_part part, struct an_bytes row,
                            struct an_error *err)
{
    const enum an_status st = add_row(&store->tally.digest[part], row, err);
    if (!st) {
        store->tally.rows[part]++;
    }
    return st;
}

/* ---- from stored rows -------------------------------------------------------------------------- */

static const char *query_of(enum an_part part)
{
    switch (part) {
    case AN_PART_FILE:
        return "SELECT file_id, hash, bytes, name, path, station, modified_us, known_us,"
               " line_revision, state, code, why, why_line, why_column, notes, rows_in, taken,"
               " duplicate, held, blank, first_us, last_us, about_first_us, about_last_us, entry"
               " FROM file WHERE file_id = $1";
    case AN_PART_ITEM:
        return "SELECT item_id, kind, serial, file_id FROM item WHERE file_id = $1"
               " ORDER BY item_id";
    case AN_PART_STREAM:
        return "SELECT stream_id, station, characteristic, split, name, file_id, entry"
               " FROM stream WHERE file_id = $1 ORDER BY stream_id";
    case AN_PART_LINK:
        return "SELECT link_id, child_id, parent_id, role, region, share, row_no, column_no,"
               " at_us, file_id, line_no FROM main.link WHERE file_id = $1 ORDER BY link_id";
    case AN_PART_VISIT:
        return "SELECT visit_id, file_id, item_id, first_us, last_us, shift_from_us, shift,"
               " first_line, last_line, rows_taken, rows_digest, purpose, gauge, tool, who, attempt"
               " FROM visit WHERE file_id = $1 ORDER BY visit_id";
    case AN_PART_SAMPLE:
        return "SELECT sample_id, stream_id, ordinal, visit_id, item_id, file_id, at_us,"
               " shift_from_us, n, missing, mean, ssd, min_value, max_value, counted,"
               " opportunities, decimals, first_line, last_line, ribbon"
               " FROM sample WHERE file_id = $1 ORDER BY sample_id";
    case AN_PART_BLOCK:
        return "SELECT block_id, file_id, column_name, block_no, kind, row_count, packed"
               " FROM block WHERE file_id = $1 ORDER BY block_id";
    case AN_PART_HELD:
        return "SELECT held_id, file_id, line_no, column_no, column_name, code, why, raw"
               " FROM held WHERE file_id = $1 ORDER BY held_id";
    case AN_PART_HEADER:
        return "SELECT header_id, station, names, file_id FROM header WHERE file_id = $1"
               " ORDER BY header_id";
    case AN_PART_TRAIT:
        return "SELECT file_id, station, header_id, identity, file_number FROM file_trait"
               " WHERE file_id = $1";
    case AN_PART_MISSING_FILE:
        return "SELECT missing_id, station, file_number, file_id FROM missing_file"
               " WHERE file_id = $1 ORDER BY missing_id";
    case AN_PART_WAITING:
        return "SELECT held_id, kind, serial, file_id FROM waiting WHERE file_id = $1"
               " ORDER BY held_id";
    case AN_PART_SUPERSEDED:
        return "SELECT superseded_id, sample_id, stream_id, at_us, by_sample_id, file_id"
               " FROM superseded WHERE file_id = $1 ORDER BY superseded_id";
    case AN_PART_SUSPECT:
        return "SELECT suspect_id, sample_id, code, file_id FROM suspect WHERE file_id = $1"
               " ORDER BY suspect_id";
    case AN_PART_LINK_TRAIT:
        return "SELECT link_id, confidence, file_id FROM link_trait WHERE file_id = $1"
               " ORDER BY link_id";
    case AN_PART_LINK_END:
        return "SELECT end_id, child_id, parent_id, role, region, row_no, column_no, at_us,"
               " file_id, line_no FROM link_end WHERE file_id = $1 ORDER BY end_id";
    case AN_PART_ALIAS:
        return "SELECT alias_id, item_id, other_id, from_us, until_us, file_id, line_no"
               " FROM alias WHERE file_id = $1 ORDER BY alias_id";
    case AN_PARTS:
    default:
        return NULL;
    }
}

static enum an_status code_row(struct an_query *query, struct an_text *row, struct an_error *err)
{
    an_text_clear(row);
    for (int column = 0; column < sqlite3_column_count(query->stmt); column++) {
        const int type = sqlite3_column_type(query->stmt, column);
        if (type == SQLITE_NULL) {
            an_code_null(row);
        } else if (type == SQLITE_INTEGER) {
            an_code_int(row, sqlite3_column_int64(query->stmt, column));
        } else if (type == SQLITE_FLOAT) {
            an_code_real(row, sqlite3_column_double(query->stmt, column));
        } else {
            const void *at = sqlite3_column_blob(query->stmt, column);
            const size_t length = (size_t)sqlite3_column_bytes(query->stmt, column);
            if (!at && length) {
                return an_fail(err, AN_NO_MEMORY, "hashing what is stored: memory ran out");
            }
            (type == SQLITE_TEXT ? an_code_text : an_code_blob)(row, (struct an_bytes){at, length});
        }
    }
    return row->failed ? an_fail(err, AN_NO_MEMORY, "hashing what is stored: memory ran out")
                       : AN_OK;
}

enum an_status an_part_derive(struct an_store *store, int64_t file_id, enum an_part part,
                              uint64_t *rows, struct an_sha256 *hash, struct an_error *err)
{
    struct an_query query;
    struct an_digest *digest = NULL;
    bool more = false;
    *rows = 0;
    enum an_status st =
        an_query_start(&query, store, query_of(part), "hashing what is stored", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    while (!(st = an_query_row(&query, &more, err)) && more) {
        st = code_row(&query, &store->coding, err);
        if (!st) {
            st = add_row(&digest,
                         (struct an_bytes){(const unsigned char *)an_text_of(&store->coding),
                                           store->coding.length},
                         err);
        }
        if (st) {
            break;
        }
        ++*rows;
    }
    an_query_end(&query);
    *hash = digest ? an_digest_close(digest) : an_sha256_of("", 0);
    return st;
}

/* ---- joining the parts ------------------------------------------------------------------------- */

static void add_part(struct an_text *whole, int part, uint64_t rows, const struct an_sha256 *hash)
{
    unsigned char count[8];
    if (part >= AN_PART_HEADER) {
        if (!rows) {
            return;
        }
        an_text_add_char(whole, (char)part);
    }
    for (int k = 0; k < 8; k++) {
        count[k] = (unsigned char)(rows >> (8 * (7 - k)));
    }
    an_text_add_bytes(whole, (struct an_bytes){count, sizeof count});
    an_text_add_bytes(whole, (struct an_bytes){hash->at, sizeof hash->at});
}

static enum an_status close_whole(struct an_text *whole, enum an_status st,
                                  struct an_sha256 *digest, struct an_error *err)
{
    if (!st && whole->failed) {
        st = an_fail(err, AN_NO_MEMORY, "hashing what is stored: memory ran out");
    }
    if (!st) {
        *digest = an_sha256_of(an_text_of(whole), whole->length);
    }
    an_text_free(whole);
    return st;
}

enum an_status an_tally_close(struct an_store *store, struct an_sha256 *digest,
                              struct an_error *err)
{
    struct an_tally *tally = &store->tally;
    struct an_text whole = {0};
    an_text_add(&whole, scheme);
    for (int part = 0; part < AN_PARTS; part++) {
        struct an_sha256 hash = an_sha256_of("", 0);
        if (tally->digest[part]) {
            hash = an_digest_close(tally->digest[part]);
            tally->digest[part] = NULL;
        }
        add_part(&whole, part, tally->rows[part], &hash);
    }
    return close_whole(&whole, AN_OK, digest, err);
}

enum an_status an_store_file_digest(struct an_store *store, int64_t file_id,
                                    struct an_sha256 *digest, struct an_error *err)
{
    struct an_text whole = {0};
    enum an_status st = AN_OK;
    an_text_add(&whole, scheme);
    for (int part = 0; !st && part < AN_PARTS; part++) {
        uint64_t rows = 0;
        struct an_sha256 hash;
        st = an_part_derive(store, file_id, (enum an_part)part, &rows, &hash, err);
        if (!st && part == AN_PART_BLOCK && rows == 0) {
            st = an_part_recorded(store, file_id, &rows, &hash, err);
        }
        if (!st && part == AN_PART_FILE && rows != 1) {
            st = an_fail(err, AN_NOT_FOUND, "there is no file %lld in '%s'", (long long)file_id,
                         store->path);
        }
        if (!st) {
            add_part(&whole, part, rows, &hash);
        }
    }
    return close_whole(&whole, st, digest, err);
}
