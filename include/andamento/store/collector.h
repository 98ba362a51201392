/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a collector needs of the store besides putting files: being the only one, letting others
 * write in between, and its own diary of starts, stops, clock steps and signals told.
 *
 * A handle belongs to one thread. Statuses as in store.h.
 */
#ifndef ANDAMENTO_STORE_COLLECTOR_H
#define ANDAMENTO_STORE_COLLECTOR_H

#include "andamento/store/store.h"

enum an_collecting {
    AN_COLLECT_ONCE,   /* writes until it ends */
    AN_COLLECT_FOLLOWS /* lives on, and lets the writer's lock go between files */
};

/* Opens an existing store for writing as its collector. AN_BUSY at once if it has one already
 * (text names process and host). One that follows waits some seconds for a writer to end; other
 * writers wait as long for it. */
AN_CHECKED enum an_status an_store_open_collector(const char *path, enum an_collecting collecting,
                                                  struct an_store **store, struct an_error *err);

/* Lets others write; nothing can be begun until resume. Reading goes on. */
void an_store_yield(struct an_store *store);
/* AN_BUSY: another writer did not end within wait_ms. Fine when it was not let go. */
AN_CHECKED enum an_status an_store_resume(struct an_store *store, int64_t wait_ms,
                                          struct an_error *err);
/* An I/O error was met: the handle stores nothing more. Tells a failing disk from a source file
 * that could not be read. */
bool an_store_failed(const struct an_store *store);
/* Another number than before: somebody else has written since. */
AN_CHECKED enum an_status an_store_data_version(struct an_store *store, int64_t *version,
                                                struct an_error *err);

/* ---- looking cheaply -------------------------------------------------------------------------- */
AN_CHECKED enum an_status an_store_newest_revision(struct an_store *store, int64_t *revision,
                                                   struct an_error *err); /* 0: none */
AN_CHECKED enum an_status an_store_newest_signal(struct an_store *store, int64_t *signal_id,
                                                 struct an_error *err); /* 0: none */
/* When the newest file of a station was taken or held; AN_NO_INSTANT if never. */
AN_CHECKED enum an_status an_store_station_heard(struct an_store *store, const char *station,
                                                 int64_t *known_us, struct an_error *err);
/* Signals newer than this one, the first `most`, oldest first. */
struct an_new_signal {
    int64_t signal_id, stream_id, signal_us;
};
AN_CHECKED enum an_status an_store_signals_after(struct an_store *store, int64_t signal_id,
                                                 size_t most, struct an_arena *arena,
                                                 struct an_new_signal **signals, size_t *count,
                                                 struct an_error *err);

/* ---- the diary -------------------------------------------------------------------------------- */
enum an_collector_act {
    AN_COLLECTOR_START = 1,
    AN_COLLECTOR_STOP,
    AN_COLLECTOR_CLOCK, /* the wall clock was set */
    AN_COLLECTOR_SIGNAL /* a signal was told to people */
};

struct an_collector_event {
    enum an_collector_act act;
    int64_t monotonic_us; /* by the clock that is never set, since the machine started */
    const char *boot;     /* the kernel's id of that start; "" not known */
    int64_t step_us;      /* of the wall clock; 0: none */
    int64_t signal_id;    /* told; of a start: newest that needs no telling; 0: none */
    const char *detail;   /* one sentence */
};
/* With ledger entry. Own transaction, unless one is open. */
AN_CHECKED enum an_status an_store_put_collector_event(struct an_store *store,
                                                       const struct an_collector_event *event,
                                                       struct an_error *err);
/* The newest signal that was told or was there when the first collector that follows started;
 * *found false: none did yet. */
AN_CHECKED enum an_status an_store_told_signal(struct an_store *store, int64_t *signal_id,
                                               bool *found, struct an_error *err);

#endif
