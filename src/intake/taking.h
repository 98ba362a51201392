/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One file on its way into the store: read without it, then settled with it. Reading may be done by
 * any thread; settling, and what reading needs of the store before, only while the store is that
 * thread's to use.
 */
#ifndef AN_INTAKE_TAKING_H
#define AN_INTAKE_TAKING_H

#include "intake/collect.h"
#include "intake/reading.h"
#include "intake/tuning.h"

#include <pthread.h>
#include <stdatomic.h>

struct an_collect {
    struct an_store *store;
    const struct an_line *line;
    struct an_collect_options options;
    struct an_collect_tuning tuning;
    pthread_mutex_t plans_lock;
    struct an_plan **plans;  /* one a station, made when first needed */
    size_t station;          /* that of options.station, or AN_NONE */
    int64_t line_revision;   /* in force; 0: none */
    bool in_batch;           /* a transaction is open */
    struct an_recent recent; /* means of streams, of files settled; nothing after an undone batch */
    struct an_tools tools;   /* of the caller's thread */
    struct an_taking *last;  /* of an_collect_file(): its texts are the result's */
};

struct an_taking {
    struct an_collect *collect;
    const char *path;
    struct an_arena *arena; /* of the result's texts */
    struct an_source source;
    struct an_take_result result;
    bool renamed;    /* its name had to be made safe */
    bool entered;    /* the store is this file's: a part of the transaction is marked */
    bool was_seen;   /* found so while it was read */
    int64_t retried; /* the record of it as held whole by an earlier description; 0: none */
    bool is_awaited; /* held rows wait for its items: let them in once it is committed */
    struct an_reading *reading;
    enum an_status st; /* of reading it */
    struct an_error err;
    /* of the one that reads it, when the store is another thread's: waits for its turn */
    enum an_status (*wait)(void *context, struct an_error *err);
    void *context;
    struct an_tools *tools;            /* of the one that reads it; NULL: the collector's */
    const atomic_bool *halt;           /* true: stop reading; NULL: never */
    struct an_collect_options options; /* of the reading */
};

/* NULL when memory is out. The path is copied. */
struct an_taking *an_taking_open(struct an_collect *collect, const char *path);
void an_taking_close(struct an_taking *taking); /* NULL is fine; gives up what was not settled */
/* Reads it; what came of that is in taking->st. */
void an_taking_read(struct an_taking *taking);
/* Puts it into the open transaction, or begins one. On failure nothing of it is in there. */
AN_CHECKED enum an_status an_taking_settle(struct an_taking *taking, struct an_error *err);
/* Memory that is no longer needed once it is settled. */
void an_taking_free_reading(struct an_taking *taking);

/* The transaction of the files settled since the last one. */
AN_CHECKED enum an_status an_collect_commit(struct an_collect *collect, struct an_error *err);
void an_collect_rollback(struct an_collect *collect);

/* crew.c */
AN_CHECKED enum an_status an_crew_take(struct an_collect *collect, const char *const *paths,
                                       size_t count, an_collect_report *report, void *context,
                                       struct an_error *err);

#endif
