/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The handle, and how every file of this layer runs its SQL: statements found by the address of
 * their text and kept prepared, parameters bound in order, results mapped to statuses.
 *
 * Writing into a table that a file's digest covers encodes each bound value on the way (see
 * coding.h), so that what is hashed and what is stored cannot differ. One thread a handle.
 */
#ifndef AN_STORE_HANDLE_H
#define AN_STORE_HANDLE_H

#include "andamento/base/bytes.h"
#include "andamento/base/digest.h"
#include "andamento/base/instant.h"
#include "andamento/base/json_out.h"
#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "andamento/store/store.h"
#include "store/tree.h"

#include <sqlite3.h>

struct an_writer_lock;
struct an_packer;
struct an_original_put;
struct an_signer;

/* The tables that a file's digest covers, in the order of the digest. */
enum an_part {
    AN_PART_FILE,
    AN_PART_ITEM,
    AN_PART_STREAM,
    AN_PART_LINK,
    AN_PART_VISIT,
    AN_PART_SAMPLE,
    AN_PART_BLOCK,
    AN_PART_HELD,
    AN_PART_HEADER, /* from here on: told in a digest only where there are rows */
    AN_PART_TRAIT,
    AN_PART_MISSING_FILE,
    AN_PART_WAITING,
    AN_PART_SUPERSEDED,
    AN_PART_SUSPECT,
    AN_PART_LINK_TRAIT,
    AN_PART_LINK_END,
    AN_PART_ALIAS,
    AN_PARTS
};

/* What was put for the file in hand. */
struct an_tally {
    int64_t file_id; /* 0: no file in hand */
    uint64_t rows[AN_PARTS];
    struct an_digest *digest[AN_PARTS]; /* NULL while there is no row */
};

/* Tables whose ids the store gives. */
enum an_counter {
    AN_COUNT_LINE_REVISION,
    AN_COUNT_FILE,
    AN_COUNT_SIGHTING,
    AN_COUNT_ITEM,
    AN_COUNT_STREAM,
    AN_COUNT_LINK,
    AN_COUNT_VISIT,
    AN_COUNT_SAMPLE,
    AN_COUNT_BLOCK,
    AN_COUNT_HELD,
    AN_COUNT_LIMITS,
    AN_COUNT_SIGNAL,
    AN_COUNT_HIT,
    AN_COUNT_JUDGED,
    AN_COUNT_ANSWER,
    AN_COUNT_HEADER,
    AN_COUNT_MISSING_FILE,
    AN_COUNT_SUPERSEDED,
    AN_COUNT_SUSPECT,
    AN_COUNT_RELEASE_ACT,
    AN_COUNT_RELEASE,
    AN_COUNT_LINK_END,
    AN_COUNT_ALIAS,
    AN_COUNT_CORRECTION,
    AN_COUNT_SIGNING_KEY,
    AN_COUNT_KEY_RETIREMENT,
    AN_COUNT_ACT_SIGNATURE,
    AN_COUNT_SIGNED_HEAD,
    AN_COUNTERS
};

enum { AN_STATEMENTS = 512 }; /* a power of two, more than twice the queries there are */

struct an_store {
    sqlite3 *db;
    char *path;
    bool can_write;
    struct an_writer_lock *lock;
    struct an_writer_lock *collector_lock; /* NULL: not a collector's handle */
    bool in_transaction;
    bool failed;       /* an I/O error was met: nothing more is acknowledged */
    bool rollback_due; /* the last rollback had no memory: see an_store_end_rollback */
    int wal_pages;
    struct {
        const char *sql;
        sqlite3_stmt *stmt;
    } statements[AN_STATEMENTS];
    int64_t next_id[AN_COUNTERS]; /* 0: to be asked for */
    struct an_tree tree;          /* of the ledger, while tree_known */
    bool tree_known;
    struct an_tally tally;
    int64_t *stream_samples; /* by stream_id: samples so far; 0: to be asked for */
    size_t stream_capacity;
    int64_t scratch_arrivals; /* -1: the table is not there yet */
    struct an_packer *packer;
    struct an_original_put *original;
    struct an_signer *signer; /* NULL: acts are not signed */
    struct an_text coding;    /* one row's encoding */
    bool view_held;           /* what is read does not change until it is let go */
    int view_aliases;     /* while it is: 1 there are aliases, 2 there are none, 0 not asked yet */
    bool links_corrected; /* a view stands before the links (correction_view.c) */
};

/* The status of an SQLite result, told with what was being done ("storing a sample"). An I/O
 * error on a writing handle is remembered. */
enum an_status an_sql_fail(struct an_store *store, int rc, const char *doing, struct an_error *err);
/* Runs SQL that is no query and has no parameters. */
AN_CHECKED enum an_status an_sql_run(struct an_store *store, const char *sql, const char *doing,
                                     struct an_error *err);
/* AN_OK if the handle may write: the lock is held, no failure before. */
AN_CHECKED enum an_status an_store_may_write(struct an_store *store, const char *doing,
                                             struct an_error *err);
/* AN_OK if it may write now: in a transaction that SQLite has not taken back by itself. */
AN_CHECKED enum an_status an_store_may_put(struct an_store *store, const char *doing,
                                           struct an_error *err);

/* Begins a transaction unless one is open; *own tells which. */
AN_CHECKED enum an_status an_store_enter(struct an_store *store, bool *own, struct an_error *err);
/* Commits or rolls back what enter began; hands st on, or the commit's own failure. */
enum an_status an_store_leave(struct an_store *store, bool own, enum an_status st,
                              struct an_error *err);

/* Rolls back what an_store_rollback could not. */
enum an_status an_store_end_rollback(struct an_store *store, const char *doing,
                                     struct an_error *err);

AN_CHECKED enum an_status an_store_take_id(struct an_store *store, enum an_counter counter,
                                           int64_t *id, struct an_error *err);
AN_CHECKED enum an_status an_store_peek_id(struct an_store *store, enum an_counter counter,
                                           int64_t *id, struct an_error *err);
/* Forgets what was cached about the store's content. */
void an_store_forget(struct an_store *store);

/* ---- one run of a statement ------------------------------------------------------------------ */
struct an_query {
    struct an_store *store;
    sqlite3_stmt *stmt;
    const char *doing;
    int parameters;      /* bound so far */
    int rc;              /* first failure of binding */
    struct an_text *row; /* encoding of what is bound; NULL: none */
    bool no_memory;      /* a text could not be copied */
};

/* sql must be a static text: it is known by its address. End with run, with row until it tells
 * that there is no more, or with end. */
AN_CHECKED enum an_status an_query_start(struct an_query *query, struct an_store *store,
                                         const char *sql, const char *doing, struct an_error *err);
/* The same, and what is bound is encoded for the file's digest. */
AN_CHECKED enum an_status an_query_start_put(struct an_query *query, struct an_store *store,
                                             const char *sql, const char *doing,
                                             struct an_error *err);
void an_query_int(struct an_query *query, int64_t value);
void an_query_instant(struct an_query *query, int64_t at_us);           /* AN_NO_INSTANT: NULL */
void an_query_int_or_null(struct an_query *query, int64_t value, bool); /* true: NULL */
void an_query_real(struct an_query *query, double value);               /* NAN: NULL */
void an_query_text(struct an_query *query, const char *value);          /* NULL: NULL */
void an_query_bytes_as_text(struct an_query *query, struct an_bytes value);
void an_query_blob(struct an_query *query, const void *at, size_t length);
void an_query_hash(struct an_query *query, const struct an_sha256 *hash);
/* To the end, without rows. */
AN_CHECKED enum an_status an_query_run(struct an_query *query, struct an_error *err);
/* To the end, then adds the encoded row to a part of the file's digest. */
AN_CHECKED enum an_status an_query_run_put(struct an_query *query, enum an_part part,
                                           struct an_error *err);
AN_CHECKED enum an_status an_query_row(struct an_query *query, bool *more, struct an_error *err);
void an_query_end(struct an_query *query);

/* Columns of the row at hand, from 0. */
int64_t an_column_int(const struct an_query *query, int column);
int64_t an_column_int_or(const struct an_query *query, int column, int64_t if_null);
int64_t an_column_instant(const struct an_query *query, int column);
double an_column_real(const struct an_query *query, int column); /* NAN for NULL */
const char *an_column_text(struct an_query *query, int column, struct an_arena *arena);
struct an_bytes an_column_bytes(struct an_query *query, int column, struct an_arena *arena);
/* false: not 32 bytes */
bool an_column_hash(const struct an_query *query, int column, struct an_sha256 *hash);

/* Every row through `read` into an array in the arena. read may set query->no_memory. */
typedef void an_read_row(struct an_query *query, struct an_arena *arena, void *row);
AN_CHECKED enum an_status an_query_collect(struct an_query *query, size_t size, an_read_row *read,
                                           struct an_arena *arena, void **rows, size_t *count,
                                           struct an_error *err);
/* The one row there should be; AN_NOT_FOUND with `missing` as text if there is none. */
AN_CHECKED enum an_status an_query_one(struct an_query *query, an_read_row *read,
                                       struct an_arena *arena, void *row, const char *missing,
                                       struct an_error *err);

/* ---- shared by the records ------------------------------------------------------------------- */
/* AN_BUG unless file_id is the file in hand. */
AN_CHECKED enum an_status an_tally_check(struct an_store *store, int64_t file_id, const char *doing,
                                         struct an_error *err);
AN_CHECKED enum an_status an_tally_add(struct an_store *store, enum an_part part,
                                       struct an_bytes row, struct an_error *err);
void an_tally_drop(struct an_store *store);
/* Closes the tally: digest of everything. */
AN_CHECKED enum an_status an_tally_close(struct an_store *store, struct an_sha256 *digest,
                                         struct an_error *err);

/* Appends a ledger entry whose payload is the text; failed texts are AN_NO_MEMORY. Frees it. */
AN_CHECKED enum an_status an_ledger_append_text(struct an_store *store, const char *kind,
                                                struct an_text *payload, uint64_t *entry,
                                                struct an_error *err);

/* The stream a signal is of; AN_NOT_FOUND if there is no such signal. */
AN_CHECKED enum an_status an_signal_stream(struct an_store *store, int64_t signal_id,
                                           int64_t *stream_id, struct an_error *err);

struct an_doer {
    char user[64], host[256];
};
struct an_doer an_doer_now(void);

static inline int64_t an_known(int64_t known_us)
{
    return known_us == 0 || known_us == AN_NO_INSTANT ? an_clock_now_us() : known_us;
}
static inline int64_t an_until(int64_t until_us) /* AN_NO_INSTANT: open end */
{
    return until_us == AN_NO_INSTANT ? INT64_MAX : until_us;
}

void an_json_put_hash(struct an_json *json, const char *key, const struct an_sha256 *hash);
void an_json_put_instant(struct an_json *json, const char *key, int64_t at_us); /* integer, null */
struct an_sha256 an_sha256_of_text(const char *text);                           /* NULL: of "" */

#endif
