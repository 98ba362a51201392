/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The store: one SQLite file that is only ever added to. The only place that knows SQL.
 *
 * A handle belongs to one thread at a time. Arrays that reading calls hand out live in the caller's arena.
 * Statuses everywhere: AN_IO (disk full included), AN_NO_MEMORY, AN_BUSY, AN_NO_STORE; after an
 * error inside a transaction the caller rolls back. docs/store.md describes tables and views.
 */
#ifndef ANDAMENTO_STORE_STORE_H
#define ANDAMENTO_STORE_STORE_H

#include "andamento/base/bytes.h"
#include "andamento/base/digest.h"
#include "andamento/base/memory.h"
#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_store;

enum an_store_mode { AN_STORE_READ, AN_STORE_WRITE, AN_STORE_CREATE /* must not exist yet */ };

/*
 * Opens, checks (application id, format version, quick check of the header), migrates an older
 * store in write mode after a backup beside it (PATH.before-N), refuses a newer one.
 * AN_NOT_FOUND no such file; AN_NO_STORE not a store, newer, or damaged; AN_CANNOT_CREATE;
 * AN_BUSY another writer holds the lock (text names its process and host).
 */
AN_CHECKED enum an_status an_store_open(const char *path, enum an_store_mode mode,
                                        struct an_store **store, struct an_error *err);
void an_store_close(struct an_store *store); /* rolls back what is open; NULL is fine */
const char *an_store_path(const struct an_store *store);
int an_store_format_version(void); /* the newest this program writes */
const char *an_store_sqlite_version(void);

AN_CHECKED enum an_status an_store_begin(struct an_store *store, struct an_error *err);
AN_CHECKED enum an_status an_store_commit(struct an_store *store, struct an_error *err);
void an_store_rollback(struct an_store *store);
/* Within a transaction: what is put from here on can be undone by itself, once. Either keep or back
 * ends it; so do commit and rollback. */
AN_CHECKED enum an_status an_store_mark(struct an_store *store, struct an_error *err);
AN_CHECKED enum an_status an_store_keep(struct an_store *store, struct an_error *err);
AN_CHECKED enum an_status an_store_back(struct an_store *store, struct an_error *err);

/* ---- the ledger -----------------------------------------------------------------------------
 * One entry an act; entry k is leaf k of a Merkle tree (RFC 9162, 2.1: SHA-256, prefixes 00 and
 * 01). The payload is canonical JSON (json_out without pretty). Inside a transaction. */
struct an_ledger_head {
    uint64_t size;
    struct an_sha256 root; /* of the empty tree: SHA-256 of nothing */
};
AN_CHECKED enum an_status an_ledger_append(struct an_store *store, const char *kind,
                                           const char *payload, uint64_t *entry,
                                           struct an_error *err);
AN_CHECKED enum an_status an_ledger_head(struct an_store *store, struct an_ledger_head *head,
                                         struct an_error *err);
struct an_ledger_entry {
    uint64_t entry;
    int64_t at_us; /* when it became known */
    const char *kind, *payload;
    struct an_sha256 leaf;
};
/* Entries [from, from + most). */
AN_CHECKED enum an_status an_ledger_read(struct an_store *store, uint64_t from, size_t most,
                                         struct an_arena *arena, struct an_ledger_entry **entries,
                                         size_t *count, struct an_error *err);
/* Recomputes every leaf and the root from the payloads. *sound tells; text of err says what is
 * wrong first when it is not (status stays AN_OK). */
AN_CHECKED enum an_status an_ledger_check(struct an_store *store, bool *sound,
                                          struct an_error *err);

/* ---- line description revisions -------------------------------------------------------------- */
struct an_line_revision {
    int64_t revision; /* from 1 */
    int64_t known_us;
    struct an_bytes yaml;
    struct an_sha256 hash;
    const char *folder;
};
/* The same bytes again add nothing: *revision is then the one in force. Own transaction. */
AN_CHECKED enum an_status an_store_put_line(struct an_store *store, struct an_bytes yaml,
                                            const char *folder, int64_t *revision, bool *is_new,
                                            struct an_error *err);
/* The newest; AN_NOT_FOUND if none. */
AN_CHECKED enum an_status an_store_line(struct an_store *store, struct an_arena *arena,
                                        struct an_line_revision *revision, struct an_error *err);
/* One by its number; AN_NOT_FOUND if there is none such. */
AN_CHECKED enum an_status an_store_line_of(struct an_store *store, int64_t number,
                                           struct an_arena *arena,
                                           struct an_line_revision *revision, struct an_error *err);

/* ---- taking files: all inside one transaction ------------------------------------------------- */
enum an_file_state { AN_FILE_TAKEN = 0, AN_FILE_HELD = 1 };

struct an_file {
    int64_t file_id;
    struct an_sha256 hash; /* of the original bytes */
    int64_t bytes;
    const char *name;    /* base name, made safe */
    const char *path;    /* as it was given */
    const char *station; /* NULL when no station fits */
    int64_t modified_us; /* of the file; AN_NO_INSTANT unknown */
    int64_t known_us;    /* when it was taken */
    int64_t line_revision;
    enum an_file_state state;
    const char *code, *why; /* of a held file; NULL otherwise */
    uint64_t why_line, why_column;
    const char *notes; /* JSON array of notes {code, text, line}, or NULL */
    int64_t rows, taken, duplicate, held, blank; /* rows = taken + duplicate + held + blank */
    int64_t first_us, last_us;                   /* event times; AN_NO_INSTANT if no row */
    int64_t round; /* 0: as it came; k: the k-th record of rows that were held in it at first */
};

/* Has a file with these bytes been seen (taken or held)? Logs nothing. */
AN_CHECKED enum an_status an_store_find_file(struct an_store *store, const struct an_sha256 *hash,
                                             bool *found, int64_t *file_id, struct an_error *err);
/* The same bytes came again: kept as a sighting (path, time), with a ledger entry. */
AN_CHECKED enum an_status an_store_put_sighting(struct an_store *store, int64_t file_id,
                                                const char *path, struct an_error *err);
/* The id the next file will have. Children may be written before the file's own row is. */
AN_CHECKED enum an_status an_store_next_file(struct an_store *store, int64_t *file_id,
                                             struct an_error *err);
/* The original's bytes, streamed in pieces, kept zstd-compressed under their hash. */
AN_CHECKED enum an_status an_store_original_open(struct an_store *store, struct an_error *err);
AN_CHECKED enum an_status an_store_original_add(struct an_store *store, const void *at,
                                                size_t length, struct an_error *err);
AN_CHECKED enum an_status an_store_original_close(struct an_store *store, int64_t file_id,
                                                  const struct an_sha256 *hash,
                                                  struct an_error *err);
/* The same by hand: pieces that an original_writer (src/store/original.h) or src/store/layout.h
 * made, from 0, then the head that says how many there are and in which form. */
AN_CHECKED enum an_status an_store_put_original_piece(struct an_store *store, int64_t file_id,
                                                      int64_t piece, struct an_bytes packed,
                                                      struct an_error *err);
AN_CHECKED enum an_status an_store_put_original(struct an_store *store, int64_t file_id,
                                                const struct an_sha256 *hash, int64_t bytes,
                                                int64_t pieces, int form, struct an_error *err);
/* Calls `sink` with the original's bytes in order; a non-zero return of it stops (AN_IO). */
AN_CHECKED enum an_status
an_store_original_read(struct an_store *store, const struct an_sha256 *hash,
                       int (*sink)(void *context, const void *at, size_t length), void *context,
                       struct an_error *err);
/* The one kept for this file, where several have the same bytes. AN_NOT_FOUND: none is. */
AN_CHECKED enum an_status an_store_original_read_of(struct an_store *store, int64_t file_id,
                                                    int (*sink)(void *context, const void *at,
                                                                size_t length),
                                                    void *context, struct an_error *err);
/* Writes the file's own row and its ledger entry, whose payload holds hash, counts and the digest
 * of everything put for this file since next_file (a running SHA-256 inside the store). Checks the
 * balance of rows: AN_BUG if it does not hold. */
AN_CHECKED enum an_status an_store_put_file(struct an_store *store, const struct an_file *file,
                                            struct an_error *err);
/* That digest, made again from the rows stored now: equal unless they were changed since. It is
 * defined in docs/store.md. AN_NOT_FOUND: no such file. */
AN_CHECKED enum an_status an_store_file_digest(struct an_store *store, int64_t file_id,
                                               struct an_sha256 *digest, struct an_error *err);

AN_CHECKED enum an_status an_store_item(struct an_store *store, const char *kind,
                                        struct an_bytes serial, int64_t file_id, int64_t *item_id,
                                        struct an_error *err); /* finds or adds */
AN_CHECKED enum an_status an_store_stream(struct an_store *store, const char *station,
                                          const char *characteristic, const char *split,
                                          int64_t *stream_id, struct an_error *err);
/* split: "colour=R,head=H2", "" for none; finds or adds */

struct an_link {
    int64_t child_id, parent_id; /* parent went into child */
    const char *role, *region;   /* or NULL */
    double share;                /* NAN unknown */
    int64_t row, column;         /* -1 unknown */
    int64_t at_us;
    int64_t file_id;
    uint64_t line;
    int sure;             /* enum an_link_sure (genealogy.h); 0: not told */
    int64_t corrected_by; /* reading only: the correction that named this part (correction.h); 0 */
    bool may_end; /* it may be ended and begin again: told at another time it is kept again */
};
/* A link that is there already (same child, parent, role, place; of one that may end, also time) is
 * not doubled. */
AN_CHECKED enum an_status an_store_put_link(struct an_store *store, const struct an_link *link,
                                            struct an_error *err);

/* One item's stay at a station as one file tells it. */
struct an_visit {
    int64_t visit_id;
    int64_t file_id, item_id;
    int64_t first_us, last_us; /* event times of its rows */
    int64_t shift_from_us;     /* start of the shift it belongs to, fixed now */
    const char *shift;         /* label "2026-03-04 night" */
    uint64_t first_line, last_line;
    int64_t rows;
    struct an_sha256 rows_digest; /* of its rows' fields, whatever their order */
    const char *purpose;          /* NULL production; else "reference", "engineering", ... */
    const char *gauge, *tool, *who, *attempt; /* or NULL */
};
/* Was a visit of this item at this station with this digest taken before? */
AN_CHECKED enum an_status an_store_find_visit(struct an_store *store, const char *station,
                                              int64_t item_id, const struct an_sha256 *digest,
                                              bool *found, struct an_error *err);
AN_CHECKED enum an_status an_store_put_visit(struct an_store *store, struct an_visit *visit,
                                             struct an_error *err); /* fills visit_id */

/* One rational subgroup. Statistics are in the characteristic's unit. */
struct an_sample {
    int64_t sample_id;
    int64_t stream_id, visit_id, item_id, file_id;
    int64_t at_us; /* event time: of its last row */
    int64_t shift_from_us;
    int64_t n;                   /* readings used */
    int64_t missing;             /* readings that were codes or empty */
    double mean, ssd, min, max;  /* ssd: sum of squared deviations from the mean */
    double count, opportunities; /* counted characteristics; NAN otherwise */
    int decimals;                /* most decimals among its readings, in the unit of the column */
    uint64_t first_line, last_line;
    const char *ribbon;   /* upstream batch, several joined by " + ", or NULL */
    const char *serial;   /* reading only: the item's serial */
    int64_t known_us;     /* reading only: when its file was taken */
    double factor;        /* reading only: of its unit's correction, in the values; 1 if none */
    int64_t corrected_by; /* reading only: that correction (correction.h); 0: none */
};
AN_CHECKED enum an_status an_store_put_sample(struct an_store *store, struct an_sample *sample,
                                              struct an_error *err); /* fills sample_id */

/*
 * The readings themselves, by column and block of rows, in the order of the taken rows of a file.
 * A number column holds scaled integers with one number of decimals for the block, with missing
 * cells marked; a text column holds numbers into a list of texts. Coded by column, zstd level 1.
 */
struct an_number_block {
    size_t rows;
    int decimals;          /* value = scaled * 10^-decimals, unit of the column */
    const int64_t *scaled; /* AN_CELL_MISSING where the cell held no number */
};
#define AN_CELL_MISSING INT64_MIN
AN_CHECKED enum an_status an_store_put_numbers(struct an_store *store, int64_t file_id,
                                               const char *column, size_t block,
                                               const struct an_number_block *cells,
                                               struct an_error *err);
/* codes[i] < text_count, or UINT32_MAX for an empty cell */
AN_CHECKED enum an_status an_store_put_texts(struct an_store *store, int64_t file_id,
                                             const char *column, size_t block, size_t rows,
                                             const uint32_t *codes, const struct an_bytes *texts,
                                             size_t text_count, struct an_error *err);
/* A column that was packed before (src/store/packed.h), of numbers or of texts. */
AN_CHECKED enum an_status an_store_put_packed(struct an_store *store, int64_t file_id,
                                              const char *column, size_t block, size_t rows,
                                              struct an_bytes packed, struct an_error *err);
/* Blocks that every file has: "line" (line number of each row) and "visit" (visit_id). */
#define AN_COLUMN_LINE "@line"
#define AN_COLUMN_VISIT "@visit"

AN_CHECKED enum an_status an_store_block_count(struct an_store *store, int64_t file_id,
                                               size_t *blocks, struct an_error *err);
/* Whether the column has such a block, of numbers or of texts; nothing is unpacked. */
AN_CHECKED enum an_status an_store_has_block(struct an_store *store, int64_t file_id,
                                             const char *column, size_t block, bool *has,
                                             struct an_error *err);
/* AN_NOT_FOUND if there is no such column. Arrays are in the arena. */
AN_CHECKED enum an_status an_store_numbers(struct an_store *store, int64_t file_id,
                                           const char *column, size_t block, struct an_arena *arena,
                                           struct an_number_block *cells, struct an_error *err);
AN_CHECKED enum an_status an_store_texts(struct an_store *store, int64_t file_id,
                                         const char *column, size_t block, struct an_arena *arena,
                                         uint32_t **codes, size_t *rows, struct an_bytes **texts,
                                         size_t *text_count, struct an_error *err);

struct an_held {
    int64_t held_id, file_id;
    uint64_t line;           /* 1 is the first line of the file */
    uint64_t column;         /* field number from 1; 0 when about the whole row */
    const char *column_name; /* or NULL */
    const char *code;        /* "row.fields", "number.bad", ... see docs/held.md */
    const char *why;         /* sentence for a person */
    struct an_bytes text;    /* the row as it stood, at most 64 KiB */
    const char *file_name;   /* reading only */
    const char *station;     /* reading only */
    int64_t released_by;     /* reading only: the act that let it in; 0: still held */
};
AN_CHECKED enum an_status an_store_put_held(struct an_store *store, struct an_held *held,
                                            struct an_error *err); /* fills held_id */

/* Scratch for intake when a file has more open subgroups than memory should hold: a temporary
 * key/value table outside the ledger, emptied by clear. add appends; each calls back for every
 * value, grouped by key, in order of key then of arrival. */
AN_CHECKED enum an_status an_store_scratch_add(struct an_store *store, struct an_bytes key,
                                               struct an_bytes value, struct an_error *err);
AN_CHECKED enum an_status an_store_scratch_each(struct an_store *store,
                                                enum an_status (*each)(void *context,
                                                                       struct an_bytes key,
                                                                       struct an_bytes value),
                                                void *context, struct an_error *err);
AN_CHECKED enum an_status an_store_scratch_clear(struct an_store *store, struct an_error *err);

/* ---- reading ---------------------------------------------------------------------------------- */
struct an_stream {
    int64_t stream_id;
    const char *station, *characteristic, *split; /* split "" for none */
    const char *name;                             /* "transfer.dx@colour=R,head=H2" */
    int64_t samples;
    int64_t first_us, last_us;
};
AN_CHECKED enum an_status an_store_streams(struct an_store *store, struct an_arena *arena,
                                           struct an_stream **streams, size_t *count,
                                           struct an_error *err); /* by station, name */
AN_CHECKED enum an_status an_store_find_stream(struct an_store *store, const char *name,
                                               struct an_arena *arena, struct an_stream *stream,
                                               struct an_error *err); /* AN_NOT_FOUND */
/* Samples of a stream with from_us <= at_us < until_us, by at_us then sample_id. The last
 * `most` of them if most > 0. */
AN_CHECKED enum an_status an_store_samples(struct an_store *store, int64_t stream_id,
                                           int64_t from_us, int64_t until_us, size_t most,
                                           struct an_arena *arena, struct an_sample **samples,
                                           size_t *count, struct an_error *err);
/* The last `most` samples before at_us, oldest first. */
AN_CHECKED enum an_status an_store_samples_before(struct an_store *store, int64_t stream_id,
                                                  int64_t at_us, size_t most,
                                                  struct an_arena *arena,
                                                  struct an_sample **samples, size_t *count,
                                                  struct an_error *err);
/* When the `events`th last sample before at_us that counts anything was taken; INT64_MIN if there are
 * fewer. */
AN_CHECKED enum an_status an_store_events_before(struct an_store *store, int64_t stream_id,
                                                 int64_t at_us, size_t events, int64_t *first_us,
                                                 struct an_error *err);
/* Newest sample_id in the store (0 if none), and earliest at_us of samples newer than since_id. */
AN_CHECKED enum an_status an_store_newest_sample(struct an_store *store, int64_t stream_id,
                                                 int64_t since_id, int64_t *newest_id,
                                                 int64_t *earliest_us, struct an_error *err);
AN_CHECKED enum an_status an_store_files(struct an_store *store, int64_t known_from_us,
                                         int64_t known_until_us, struct an_arena *arena,
                                         struct an_file **files, size_t *count,
                                         struct an_error *err); /* all when both AN_NO_INSTANT */
AN_CHECKED enum an_status an_store_file(struct an_store *store, int64_t file_id,
                                        struct an_arena *arena, struct an_file *file,
                                        struct an_error *err);
/* What stations wrote in a period of event time: files, rows, held by reason, last seen. */
struct an_station_traffic {
    const char *station;
    int64_t files, files_held, rows, taken, duplicate, held, blank, sightings;
    int64_t last_us; /* newest event time ever */
};
AN_CHECKED enum an_status an_store_traffic(struct an_store *store, int64_t from_us,
                                           int64_t until_us, struct an_arena *arena,
                                           struct an_station_traffic **stations, size_t *count,
                                           struct an_error *err);
/* Items at a station in a period, production only; by item. */
struct an_station_stay {
    int64_t item_id;
    int64_t first_us, last_us; /* over all its visits in the period */
};
AN_CHECKED enum an_status an_store_station_stays(struct an_store *store, const char *station,
                                                 int64_t from_us, int64_t until_us,
                                                 struct an_arena *arena,
                                                 struct an_station_stay **stays, size_t *count,
                                                 struct an_error *err);
/* Gauges that stations named in a period; by station, gauge. */
struct an_gauge_use {
    const char *station, *gauge;
    int64_t visits, last_us;
};
AN_CHECKED enum an_status an_store_gauges(struct an_store *store, int64_t from_us, int64_t until_us,
                                          struct an_arena *arena, struct an_gauge_use **uses,
                                          size_t *count, struct an_error *err);
struct an_held_count {
    const char *station, *code;
    int64_t rows, files;
};
AN_CHECKED enum an_status an_store_held_counts(struct an_store *store, int64_t from_us,
                                               int64_t until_us, struct an_arena *arena,
                                               struct an_held_count **counts, size_t *count,
                                               struct an_error *err);
AN_CHECKED enum an_status an_store_held(struct an_store *store, const char *station,
                                        const char *code, int64_t file_id, size_t most,
                                        struct an_arena *arena, struct an_held **rows,
                                        size_t *count, struct an_error *err);
/* NULL, NULL, 0: no filter */
AN_CHECKED enum an_status an_store_visit(struct an_store *store, int64_t visit_id,
                                         struct an_arena *arena, struct an_visit *visit,
                                         struct an_error *err);
struct an_item {
    int64_t item_id;
    const char *kind, *serial;
};
AN_CHECKED enum an_status an_store_item_by_id(struct an_store *store, int64_t item_id,
                                              struct an_arena *arena, struct an_item *item,
                                              struct an_error *err);
/* Parents (up) or children of an item, of one kind if kind is given; by role then serial. */
struct an_linked {
    struct an_item item;
    struct an_link link;
};
AN_CHECKED enum an_status an_store_linked(struct an_store *store, int64_t item_id, bool parents,
                                          const char *kind, struct an_arena *arena,
                                          struct an_linked **linked, size_t *count,
                                          struct an_error *err);
/* Of these items, how many are linked upward into an item of that kind (tiles in walls). */
AN_CHECKED enum an_status an_store_count_in(struct an_store *store, const int64_t *item_ids,
                                            size_t count, const char *into_kind, size_t *in,
                                            struct an_error *err);

/* ---- what people and rules decided ------------------------------------------------------------ */
enum an_limits_state { AN_LIMITS_PROPOSED = 0, AN_LIMITS_LOCKED = 1, AN_LIMITS_REFUSED = 2 };

struct an_limits_record {
    int64_t limits_id;
    int64_t stream_id;
    int64_t known_us; /* of the proposal */
    int64_t baseline_from_us, baseline_until_us;
    int64_t baseline_samples;
    const char *model;      /* JSON: family, centre, sigmas, positions, diagnostics ... */
    const char *exclusions; /* JSON array of {sample_id, reason} */
    enum an_limits_state state;
    int64_t locked_us;           /* AN_NO_INSTANT while proposed */
    int64_t in_force_us;         /* event time from which it judges; AN_NO_INSTANT: proposed */
    const char *author, *reason; /* of the lock; NULL while proposed */
    const char *signed_key;      /* reading only: with which the lock is signed; NULL: with none */
    const char *system_user, *host;
};
/* Own transaction, with ledger entry; fills limits_id. */
AN_CHECKED enum an_status
an_store_put_limits(struct an_store *store, struct an_limits_record *limits, struct an_error *err);
/* A lock is a record of its own beside the proposal. Own transaction, unless one is open. */
AN_CHECKED enum an_status an_store_lock_limits(struct an_store *store, int64_t limits_id,
                                               int64_t in_force_us, const char *author,
                                               const char *reason, struct an_error *err);
/* The other decision: kept, never in force. AN_BAD_USAGE from both if author or reason is empty or
 * the limits were decided before. */
AN_CHECKED enum an_status an_store_refuse_limits(struct an_store *store, int64_t limits_id,
                                                 const char *author, const char *reason,
                                                 struct an_error *err);
/* All of a stream (all streams if stream_id is 0), oldest first. */
AN_CHECKED enum an_status an_store_limits(struct an_store *store, int64_t stream_id,
                                          struct an_arena *arena, struct an_limits_record **limits,
                                          size_t *count, struct an_error *err);

/* A signal is an episode: points of one stream that met a rule, none further than the rules'
 * memory from the one before. It is opened by its first hit; later hits are added. */
struct an_signal_record {
    int64_t signal_id;
    int64_t stream_id, limits_id;
    int64_t known_us;
    int64_t first_sample_id;  /* start of the window of its first hit */
    int64_t first_us;         /* event time of that sample */
    int64_t signal_sample_id; /* the point at which it was first met */
    int64_t signal_us;
    int panel;       /* 0 level, 1 spread */
    int side;        /* +1 above, -1 below, 0 neither */
    int rule;        /* enum an_rule of the first hit */
    bool withdrawn;  /* reading only: every hit was withdrawn after late samples */
    int64_t answers; /* reading only */
};
struct an_hit_record {
    int64_t hit_id, signal_id;
    int64_t sample_id, at_us;
    int64_t window_first_sample_id;
    int rule, panel, side;
    double value, z; /* plotted statistic and its distance in sigmas */
    bool withdrawn;  /* reading only */
};
AN_CHECKED enum an_status an_store_put_signal(struct an_store *store,
                                              struct an_signal_record *signal,
                                              struct an_error *err); /* in a transaction */
AN_CHECKED enum an_status an_store_put_hit(struct an_store *store, struct an_hit_record *hit,
                                           struct an_error *err);
/* Several at once, which share ledger entries where they are of one stream; fills their hit_id. */
AN_CHECKED enum an_status an_store_put_hits(struct an_store *store, struct an_hit_record *hits,
                                            size_t count, struct an_error *err);
AN_CHECKED enum an_status an_store_withdraw_hit(struct an_store *store, int64_t hit_id,
                                                const char *reason, struct an_error *err);
/* Episodes of a stream (0: all) with a hit at from_us <= at_us < until_us; by signal_us. */
AN_CHECKED enum an_status an_store_signals(struct an_store *store, int64_t stream_id,
                                           int64_t from_us, int64_t until_us,
                                           struct an_arena *arena,
                                           struct an_signal_record **signals, size_t *count,
                                           struct an_error *err);
AN_CHECKED enum an_status an_store_hits(struct an_store *store, int64_t signal_id,
                                        struct an_arena *arena, struct an_hit_record **hits,
                                        size_t *count, struct an_error *err);
/* Hits of a stream from at_us on, those of withdrawn ones left out; by at_us, rule. */
AN_CHECKED enum an_status an_store_stream_hits(struct an_store *store, int64_t stream_id,
                                               int64_t from_us, struct an_arena *arena,
                                               struct an_hit_record **hits, size_t *count,
                                               struct an_error *err);
/* How far a stream was judged: added after each check, in its transaction. */
struct an_judged {
    int64_t stream_id, limits_id;
    int64_t newest_sample_id; /* of the stream when judged */
    int64_t until_us;         /* newest event time judged */
    int64_t samples;          /* judged in that check */
};
AN_CHECKED enum an_status an_store_put_judged(struct an_store *store,
                                              const struct an_judged *judged, struct an_error *err);
AN_CHECKED enum an_status an_store_judged(struct an_store *store, int64_t stream_id,
                                          struct an_judged *judged, bool *found,
                                          struct an_error *err); /* the newest */

/* What a chart with memory has gathered after a sample; see schema/006-judging.sql. */
struct an_running {
    int64_t stream_id, limits_id;
    int64_t from_us;   /* event time of the first sample judged for this row */
    int64_t at_us;     /* of the last one */
    int64_t sample_id; /* the last one */
    const char *state; /* JSON array of numbers */
};
/* In the check's transaction. */
AN_CHECKED enum an_status an_store_put_running(struct an_store *store,
                                               const struct an_running *running,
                                               struct an_error *err);
/* The latest state before before_us under these limits that no later judging has made wrong. */
AN_CHECKED enum an_status an_store_running(struct an_store *store, int64_t stream_id,
                                           int64_t limits_id, int64_t before_us,
                                           struct an_arena *arena, struct an_running *running,
                                           bool *found, struct an_error *err);

/* What people found and did about a signal. A later answer does not undo an earlier one: both stay,
 * and the newest is what is shown first. */
struct an_answer {
    int64_t answer_id, signal_id;
    int64_t known_us;
    const char *author;             /* who answers; never empty */
    const char *cause, *action;     /* what was found, what was done; NULL: not told */
    const char *containment;        /* what was done with the items; NULL: not told */
    const char *reason;             /* remark; NULL: none */
    const char *system_user, *host; /* reading only */
    const char *signed_key;         /* likewise: with which it is signed; NULL: with none */
};
/* Own transaction, unless one is open. AN_NOT_FOUND: no such signal; AN_BAD_USAGE: no author, or
 * neither cause nor action, containment or reason. */
AN_CHECKED enum an_status an_store_put_answer(struct an_store *store, struct an_answer *answer,
                                              struct an_error *err);
/* Of a signal (0: all), oldest first. */
AN_CHECKED enum an_status an_store_answers(struct an_store *store, int64_t signal_id,
                                           struct an_arena *arena, struct an_answer **answers,
                                           size_t *count, struct an_error *err);

#endif
