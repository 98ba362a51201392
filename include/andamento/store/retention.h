/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is kept no longer: dropping readings and originals by record, and telling later what went,
 * when and by whom. Statistics, links, limits, signals, held rows and the ledger are never dropped.
 *
 * A handle belongs to one thread. Statuses as in store.h. docs/retention.md says what is spared.
 */
#ifndef ANDAMENTO_STORE_RETENTION_H
#define ANDAMENTO_STORE_RETENTION_H

#include "andamento/store/store.h"

enum an_kept { AN_KEPT_READINGS = 1, AN_KEPT_ORIGINAL = 2 };

/* What is due at a station: files whose newest event and whose taking both lie before. */
struct an_keep_rule {
    const char *station;        /* NULL: of every other file */
    int64_t readings_before_us; /* AN_NO_INSTANT: kept for good */
    int64_t originals_before_us;
};

struct an_retention_sum {
    int64_t files;                         /* of which something goes */
    int64_t readings, originals;           /* of so many files */
    int64_t reading_bytes, original_bytes; /* packed */
    int64_t oldest_us, newest_us;          /* ages of these files; AN_NO_INSTANT: none */
    /* due and spared, in files */
    int64_t spared_baseline; /* readings that limits in force were learnt from */
    int64_t spared_signal;   /* readings under a signal nobody has answered */
    int64_t spared_open;     /* readings or originals behind items that such a signal touches */
    int64_t spared_held;     /* originals of files held whole: nothing else is kept of them */
    int64_t acts;            /* transactions made */
};

/* What would go; changes nothing. now_us decides which limits are in force. */
AN_CHECKED enum an_status an_store_retention_due(struct an_store *store,
                                                 const struct an_keep_rule *rules, size_t count,
                                                 int64_t now_us, struct an_retention_sum *sum,
                                                 struct an_error *err);
struct an_retention_act {
    const char *author, *reason; /* never empty */
    int64_t now_us;
    size_t batch;                /* most files a transaction; 0: the usual */
    bool (*stop)(void *context); /* asked between transactions; NULL: never */
    void *context;
};
/* Drops it, in as many transactions as it takes; *sum holds what was committed, also on failure.
 * AN_BAD_USAGE: no author, no reason, or a transaction is open. */
AN_CHECKED enum an_status an_store_retain(struct an_store *store, const struct an_keep_rule *rules,
                                          size_t count, const struct an_retention_act *act,
                                          struct an_retention_sum *sum, struct an_error *err);

/* By whom and when something of a file was dropped. */
struct an_dropped {
    int64_t retention_id, known_us;
    int64_t rows, bytes;
    struct an_sha256 hash; /* readings: of their rows, as in the file's digest; original: its own */
    const char *author, *reason;
};
AN_CHECKED enum an_status an_store_dropped(struct an_store *store, int64_t file_id,
                                           enum an_kept kind, struct an_arena *arena,
                                           struct an_dropped *dropped, bool *found,
                                           struct an_error *err);
/* The same of an original, by its hash. */
AN_CHECKED enum an_status an_store_original_dropped(struct an_store *store,
                                                    const struct an_sha256 *hash,
                                                    struct an_arena *arena,
                                                    struct an_dropped *dropped, bool *found,
                                                    struct an_error *err);
/* "kept no longer (since 2028-03-04, by A. Person: space)"; in the arena, NULL without memory. */
const char *an_dropped_text(const struct an_dropped *dropped, struct an_arena *arena);

/* Are the records of what was dropped whole, as the ledger has them, and is it gone? finding is
 * called once for each thing that is not so. */
struct an_retention_counts {
    int64_t acts, readings, originals; /* files whose readings, whose original were dropped */
};
AN_CHECKED enum an_status
an_store_retention_check(struct an_store *store, void (*finding)(void *context, const char *text),
                         void *context, struct an_retention_counts *counts, struct an_error *err);
/* Is everything stored for a file as its ledger entry says? *sound tells; err's text says what is
 * wrong if it is not (status stays AN_OK). Readings dropped by record count by their hash. */
AN_CHECKED enum an_status an_store_file_check(struct an_store *store, int64_t file_id, bool *sound,
                                              struct an_error *err);

struct an_store_space {
    int64_t bytes, free_bytes; /* of the store's file; of it: pages without content */
};
AN_CHECKED enum an_status an_store_space(struct an_store *store, struct an_store_space *space,
                                         struct an_error *err);
/* Rewrites the file without its free pages. AN_IO, with nothing done, if the disk has less room
 * than that can take. */
AN_CHECKED enum an_status an_store_shrink(struct an_store *store, struct an_error *err);

#endif
