/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What intake asks of the store besides putting rows: what a station's files were like, what is
 * known of an item, what was held and let in later.
 *
 * A handle belongs to one thread. Statuses as in store.h; putting calls run inside a transaction.
 */
#ifndef ANDAMENTO_STORE_INTAKE_H
#define ANDAMENTO_STORE_INTAKE_H

#include "andamento/store/store.h"

/* ---- a file besides its rows ------------------------------------------------------------------ */
struct an_file_trait {
    int64_t file_id;
    const char *station;
    const char *names;    /* of the header, one a line; NULL: told by an earlier file */
    const char *identity; /* of the machine; NULL: not asked for */
    bool has_number;
    int64_t number; /* the file's running number */
};
AN_CHECKED enum an_status
an_store_put_trait(struct an_store *store, const struct an_file_trait *trait, struct an_error *err);
/* Of the newest taken file of the station that has a header; *names NULL: none. */
AN_CHECKED enum an_status an_store_newest_header(struct an_store *store, const char *station,
                                                 struct an_arena *arena, const char **names,
                                                 struct an_error *err);
/* Did a taken file of the station come from that machine; and from any that told itself? *usual
 * is the newest one's, or NULL. */
AN_CHECKED enum an_status an_store_identity(struct an_store *store, const char *station,
                                            const char *identity, struct an_arena *arena,
                                            bool *known, const char **usual, struct an_error *err);
/* The greatest running number so far, of taken and held files; have other bytes had this one? */
AN_CHECKED enum an_status an_store_file_numbers(struct an_store *store, const char *station,
                                                int64_t number, const struct an_sha256 *hash,
                                                bool *any, int64_t *greatest, bool *came,
                                                struct an_error *err);
/* The newest event time of the station's taken files; AN_NO_INSTANT if none. */
AN_CHECKED enum an_status an_store_station_until(struct an_store *store, const char *station,
                                                 int64_t *at_us, struct an_error *err);

struct an_missing_file {
    const char *station;
    int64_t number;
    int64_t noticed_by; /* file_id */
    int64_t known_us;   /* when it was noticed; reading only */
};
AN_CHECKED enum an_status an_store_put_missing_file(struct an_store *store, const char *station,
                                                    int64_t number, int64_t file_id,
                                                    struct an_error *err);
/* Those that have not come since; of one station, or of all (NULL). */
AN_CHECKED enum an_status an_store_missing_files(struct an_store *store, const char *station,
                                                 struct an_arena *arena,
                                                 struct an_missing_file **files, size_t *count,
                                                 struct an_error *err);

/* ---- what is known of an item ------------------------------------------------------------------ */
/* Was the item itself seen at a station? Being named by a link is not enough. */
AN_CHECKED enum an_status an_store_item_seen(struct an_store *store, const char *kind,
                                             struct an_bytes serial, bool *seen, int64_t *item_id,
                                             struct an_error *err);
/* The item's first event at that station; AN_NO_INSTANT if none. */
AN_CHECKED enum an_status an_store_item_first_at(struct an_store *store, int64_t item_id,
                                                 const char *station, int64_t *at_us,
                                                 struct an_error *err);
/* Was the item, or one of that kind that it went into, at the station before this file? */
AN_CHECKED enum an_status an_store_item_closed(struct an_store *store, int64_t item_id,
                                               const char *kind, const char *station,
                                               int64_t file_id, struct an_arena *arena,
                                               const char **serial, int64_t *at_us,
                                               struct an_error *err);
/* Visits of the item to the station in taken files that touch [from_us, until_us]. */
struct an_earlier_visit {
    int64_t visit_id, file_id, rows;
    struct an_sha256 rows_digest;
};
AN_CHECKED enum an_status an_store_item_visits(struct an_store *store, const char *station,
                                               int64_t item_id, int64_t from_us, int64_t until_us,
                                               struct an_arena *arena,
                                               struct an_earlier_visit **visits, size_t *count,
                                               struct an_error *err);

/* ---- samples ------------------------------------------------------------------------------------ */
/* Marks all samples of the visit; those put from now on for file_id stand for them. */
AN_CHECKED enum an_status an_store_supersede(struct an_store *store,
                                             const struct an_earlier_visit *visit, int64_t file_id,
                                             struct an_error *err);
AN_CHECKED enum an_status an_store_put_suspect(struct an_store *store, int64_t sample_id,
                                               const char *code, int64_t file_id,
                                               struct an_error *err);
struct an_suspect {
    int64_t sample_id, at_us;
    const char *code, *serial;
};
/* Suspect samples of a stream in a period, by time. */
AN_CHECKED enum an_status an_store_suspects(struct an_store *store, int64_t stream_id,
                                            int64_t from_us, int64_t until_us,
                                            struct an_arena *arena, struct an_suspect **suspects,
                                            size_t *count, struct an_error *err);

/* The last `most` means of the stream, newest first, those of this file left out. */
AN_CHECKED enum an_status an_store_means_before(struct an_store *store, int64_t stream_id,
                                                int64_t file_id, size_t most, double *means,
                                                size_t *count, struct an_error *err);

/* ---- held, waiting, released -------------------------------------------------------------------- */
AN_CHECKED enum an_status an_store_put_waiting(struct an_store *store, int64_t held_id,
                                               const char *kind, struct an_bytes serial,
                                               int64_t file_id, struct an_error *err);
/* Rows of the file in hand that were put as held for this reason: numbers and lines, in order. */
AN_CHECKED enum an_status an_store_held_lines(struct an_store *store, int64_t file_id,
                                              const char *code, struct an_arena *arena,
                                              struct an_held **rows, size_t *count,
                                              struct an_error *err);
/* Does any held row wait, or did one ever? Cheap. */
AN_CHECKED enum an_status an_store_any_waiting(struct an_store *store, bool *any,
                                               struct an_error *err);

struct an_held_filter {
    const char *station, *code; /* NULL: any */
    int64_t file_id, held_id;   /* 0: any */
    int64_t from_us, until_us;  /* when its file was taken; AN_NO_INSTANT: open */
    enum an_held_state { AN_HELD_OPEN, AN_HELD_RELEASED, AN_HELD_ANY } state;
};
/* Rows, by file and line; the first `most` (0: all). */
AN_CHECKED enum an_status an_store_held_rows(struct an_store *store,
                                             const struct an_held_filter *filter, size_t most,
                                             struct an_arena *arena, struct an_held **rows,
                                             size_t *count, struct an_error *err);
/* Files held whole, the newest record of each; released: the same bytes were taken since. */
struct an_held_file {
    struct an_file file;
    int64_t released_as; /* the file_id under which they were taken; 0: still held */
};
AN_CHECKED enum an_status an_store_held_files(struct an_store *store,
                                              const struct an_held_filter *filter,
                                              struct an_arena *arena, struct an_held_file **files,
                                              size_t *count, struct an_error *err);
/* Open held rows that wait for an item of this file: their numbers, by file and line. */
AN_CHECKED enum an_status an_store_waited_for(struct an_store *store, int64_t file_id,
                                              struct an_arena *arena, struct an_held **rows,
                                              size_t *count, struct an_error *err);
/* The next free round of the file with these bytes. */
AN_CHECKED enum an_status an_store_next_round(struct an_store *store, const struct an_sha256 *hash,
                                              int64_t *round, struct an_error *err);

enum an_release_cause { AN_RELEASE_PERSON = 1, AN_RELEASE_ITEM_CAME, AN_RELEASE_DESCRIPTION };
struct an_release_act {
    int64_t act_id, known_us; /* reading only */
    enum an_release_cause cause;
    bool as_is; /* let in against a doubt about the file */
    int64_t line_revision, file_id;
    const char *author, *reason;
    const char *signed_key; /* reading only: with which it is signed; NULL: with none */
    int64_t rows, files;    /* reading only: let in by it */
    const char *file_name, *station;
};
/* held_ids: the rows; none: the file held_file_id as a whole. Fills act_id. AN_BAD_USAGE without
 * author and reason. */
AN_CHECKED enum an_status an_store_put_release(struct an_store *store, struct an_release_act *act,
                                               int64_t held_file_id, const int64_t *held_ids,
                                               size_t count, struct an_error *err);
AN_CHECKED enum an_status an_store_releases(struct an_store *store, struct an_arena *arena,
                                            struct an_release_act **acts, size_t *count,
                                            struct an_error *err);
/* Are the acts and what they list as their ledger entries say? err's text tells the first that is
 * not. */
AN_CHECKED enum an_status an_store_releases_check(struct an_store *store, bool *sound,
                                                  struct an_error *err);

#endif
