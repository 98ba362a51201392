/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Many files by several threads: each reads files, the caller's thread settles them in the order
 * given. Must never let two threads use the store at once, nor report what is not yet safe.
 *
 * The hard idea: a file that outgrows memory has to go into the store while it is read. Its thread
 * then asks, and when the file's turn has come the caller's thread lends it the store and waits
 * until it is read. A few files more than there are threads may be under way, so that none waits
 * for the others' turns and memory stays bounded.
 */
#define _GNU_SOURCE /* sched_getaffinity */
#include "andamento/store/collector.h"
#include "intake/release.h"
#include "intake/taking.h"

#include <errno.h>
#include <sched.h>
#include <signal.h>
#include <stdatomic.h>
#include <string.h>
#include <time.h>

enum { MOST_THREADS = 64, LOOK_MS = 100 };

enum state { NOBODY, READING, ASKS, MAY, READ };

struct slot {
    struct an_taking *taking;
    enum state state;
};

struct crew {
    struct an_collect *collect;
    const char *const *paths;
    size_t count;
    an_collect_report *report;
    void *context;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    size_t begun;   /* paths given to threads */
    size_t settled; /* of them settled */
    size_t ahead;   /* so many more may be begun than are settled */
    struct slot *slots;
    atomic_bool halt;
    /* of the caller's thread: settled, not yet committed */
    struct an_taking **pending;
    size_t pending_count;
    uint64_t pending_bytes;
};

static size_t processors(void)
{
    cpu_set_t set;

    CPU_ZERO(&set);
    if (sched_getaffinity(0, sizeof set, &set)) {
        return 1;
    }
    const int count = CPU_COUNT(&set);
    return count < 1 ? 1 : (size_t)count;
}

/* ---- a reading thread ------------------------------------------------------------------------- */
static struct slot *slot_of(struct crew *crew, size_t file)
{
    return &crew->slots[file % crew->ahead];
}

struct asking {
    struct crew *crew;
    size_t file;
};

/* Called by the reading: it goes on with the store in hand. */
static enum an_status wait_for_turn(void *context, struct an_error *err)
{
    const struct asking *asking = context;
    struct crew *crew = asking->crew;
    struct slot *slot = slot_of(crew, asking->file);

    (void)pthread_mutex_lock(&crew->lock);
    slot->state = ASKS;
    (void)pthread_cond_broadcast(&crew->changed);
    while (slot->state != MAY && !atomic_load(&crew->halt)) {
        (void)pthread_cond_wait(&crew->changed, &crew->lock);
    }
    const bool may = slot->state == MAY;
    (void)pthread_mutex_unlock(&crew->lock);
    return may ? AN_OK : an_fail(err, AN_BUSY, "stopped; nothing of it was taken");
}

static struct an_taking *read_one(struct crew *crew, size_t file, struct an_tools *tools)
{
    struct an_taking *taking = an_taking_open(crew->collect, crew->paths[file]);
    struct asking asking = {crew, file};

    if (taking) {
        taking->wait = wait_for_turn;
        taking->context = &asking;
        taking->halt = &crew->halt;
        taking->tools = tools;
        taking->options.progress = NULL; /* the caller's thread shows it, and looks at `stop` */
        taking->options.stop = NULL;
        an_taking_read(taking);
        taking->wait = NULL; /* from here on it is with the one who has the store */
    }
    return taking;
}

static void *work(void *context)
{
    struct crew *crew = context;
    struct an_tools tools = {NULL, NULL};

    (void)pthread_mutex_lock(&crew->lock);
    for (;;) {
        while (!atomic_load(&crew->halt) && crew->begun < crew->count &&
               crew->begun - crew->settled >= crew->ahead) {
            (void)pthread_cond_wait(&crew->changed, &crew->lock);
        }
        if (atomic_load(&crew->halt) || crew->begun == crew->count) {
            break;
        }
        const size_t file = crew->begun++;
        slot_of(crew, file)->state = READING;
        (void)pthread_mutex_unlock(&crew->lock);
        struct an_taking *taking = read_one(crew, file, &tools);
        (void)pthread_mutex_lock(&crew->lock);
        slot_of(crew, file)->taking = taking;
        slot_of(crew, file)->state = READ;
        (void)pthread_cond_broadcast(&crew->changed);
    }
    (void)pthread_mutex_unlock(&crew->lock);
    an_tools_close(&tools);
    return NULL;
}

static void halt(struct crew *crew)
{
    (void)pthread_mutex_lock(&crew->lock);
    atomic_store(&crew->halt, true);
    (void)pthread_cond_broadcast(&crew->changed);
    (void)pthread_mutex_unlock(&crew->lock);
}

/* ---- batches ---------------------------------------------------------------------------------- */
/* Commits what is pending and reports it. */
static enum an_status close_batch(struct crew *crew, struct an_error *err)
{
    struct an_error lost = {.status = AN_OK};
    enum an_status st = AN_OK;
    const size_t first = crew->settled - crew->pending_count;

    if (!crew->pending_count) {
        return AN_OK;
    }
    if (crew->collect->in_batch) {
        st = an_collect_commit(crew->collect, &lost);
    }
    for (size_t i = 0; i < crew->pending_count; i++) {
        struct an_taking *taking = crew->pending[i];
        const bool good = !taking->st || taking->was_seen;

        crew->report(crew->context, first + i,
                     st && good ? st
                     : good     ? AN_OK
                                : taking->st,
                     &taking->result, st && good ? &lost : &taking->err);
        an_taking_close(taking);
    }
    crew->pending_count = 0;
    crew->pending_bytes = 0;
    if (st && err->status == AN_OK) {
        *err = lost;
    }
    return st;
}

/* About this file only: what cannot be read, or changes while it is read, stops no other. */
static bool is_refusal(const struct crew *crew, enum an_status st)
{
    return st == AN_BAD_INPUT || st == AN_NOT_FOUND || st == AN_DENIED ||
           (st == AN_IO && !an_store_failed(crew->collect->store));
}

/* Settles the next file. A refusal is a result; another failure ends it all. */
static enum an_status settle_next(struct crew *crew, struct an_taking *taking, struct an_error *err)
{
    const struct an_collect_tuning *tuning = &crew->collect->tuning;
    const bool was_open = crew->collect->in_batch;
    struct an_error failure = {.status = AN_OK};
    const enum an_status st = an_taking_settle(taking, &failure);

    an_taking_free_reading(taking);
    taking->st = st;
    taking->was_seen = false;
    taking->err = failure;
    if (st && was_open && !crew->collect->in_batch) { /* it could not be undone by itself */
        for (size_t i = 0; i < crew->pending_count; i++) {
            crew->pending[i]->st = crew->pending[i]->st ? crew->pending[i]->st : st;
            crew->pending[i]->err = failure;
        }
    }
    (void)pthread_mutex_lock(&crew->lock);
    crew->settled++;
    (void)pthread_cond_broadcast(&crew->changed);
    (void)pthread_mutex_unlock(&crew->lock);
    crew->pending[crew->pending_count++] = taking;
    crew->pending_bytes += st ? 0 : (uint64_t)taking->result.file.bytes;
    if (st && !is_refusal(crew, st)) {
        *err = failure;
        const enum an_status closed = close_batch(crew, err);
        return closed ? closed : st;
    }
    if (!st && taking->is_awaited && !crew->collect->options.dry_run) {
        const int64_t file_id = taking->result.file.file_id;
        const enum an_status closed = close_batch(crew, err);

        return closed
                   ? closed
                   : an_release_waited_for(crew->collect->store, crew->collect->line, file_id, err);
    }
    return crew->pending_count >= tuning->batch_files || crew->pending_bytes >= tuning->batch_bytes
               ? close_batch(crew, err)
               : AN_OK;
}

/* ---- the caller's thread ---------------------------------------------------------------------- */
static bool is_stopped(const struct crew *crew)
{
    const struct an_collect_options *options = &crew->collect->options;

    return options->stop && *options->stop;
}

static void show(const struct crew *crew)
{
    const struct an_collect_options *options = &crew->collect->options;

    if (options->progress) {
        options->progress(options->context, 0, 0);
    }
}

/* Waits a moment for the lock's condition. */
static void wait_a_moment(struct crew *crew)
{
    struct timespec until;

    (void)clock_gettime(CLOCK_REALTIME, &until);
    until.tv_nsec += LOOK_MS * 1000000L;
    until.tv_sec += until.tv_nsec / 1000000000L;
    until.tv_nsec %= 1000000000L;
    (void)pthread_cond_timedwait(&crew->changed, &crew->lock, &until);
}

/* The next file, read; lends it the store on the way if it asks. While there is none, what is
 * pending is committed. */
static enum an_status await(struct crew *crew, struct an_taking **taking, struct an_error *err)
{
    struct slot *slot = slot_of(crew, crew->settled);
    enum an_status st = AN_OK;

    *taking = NULL;
    (void)pthread_mutex_lock(&crew->lock);
    while (!st && slot->state != READ) {
        if (slot->state == ASKS) {
            slot->state = MAY;
            (void)pthread_cond_broadcast(&crew->changed);
        }
        if (slot->state != MAY && crew->pending_count) {
            (void)pthread_mutex_unlock(&crew->lock);
            st = close_batch(crew, err);
            (void)pthread_mutex_lock(&crew->lock);
            continue;
        }
        wait_a_moment(crew);
        if (is_stopped(crew)) {
            atomic_store(&crew->halt, true);
            (void)pthread_cond_broadcast(&crew->changed);
            if (slot->state == NOBODY || slot->state == ASKS) {
                st = an_fail(err, AN_BUSY, "stopped; what was not reported was not taken");
            }
        }
        (void)pthread_mutex_unlock(&crew->lock);
        show(crew);
        (void)pthread_mutex_lock(&crew->lock);
    }
    if (!st) {
        *taking = slot->taking;
        *slot = (struct slot){NULL, NOBODY};
    }
    (void)pthread_mutex_unlock(&crew->lock);
    return st;
}

static enum an_status settle_all(struct crew *crew, bool alone, struct an_error *err)
{
    enum an_status st = AN_OK;

    while (!st && crew->settled < crew->count) {
        struct an_taking *taking = NULL;

        if (is_stopped(crew)) {
            st = an_fail(err, AN_BUSY, "stopped; what was not reported was not taken");
            break;
        }
        if (alone) {
            taking = an_taking_open(crew->collect, crew->paths[crew->settled]);
            if (taking) {
                an_taking_read(taking);
            }
        } else {
            st = await(crew, &taking, err);
        }
        if (!st && !taking) {
            st = an_fail(err, AN_NO_MEMORY, "out of memory");
        }
        st = st ? st : settle_next(crew, taking, err);
        show(crew);
    }
    const enum an_status closed = close_batch(crew, err);
    return st ? st : closed;
}

static void clear(struct crew *crew)
{
    for (size_t i = 0; crew->slots && i < crew->ahead; i++) {
        an_taking_close(crew->slots[i].taking);
    }
    an_collect_rollback(crew->collect);
    an_free(crew->slots);
    an_free(crew->pending);
    (void)pthread_cond_destroy(&crew->changed);
    (void)pthread_mutex_destroy(&crew->lock);
}

/* How many could be started. They take no signals: those are the caller's. */
static size_t start(struct crew *crew, pthread_t *threads, size_t wanted)
{
    sigset_t all;
    sigset_t before;
    size_t started = 0;

    (void)sigfillset(&all);
    (void)pthread_sigmask(SIG_SETMASK, &all, &before);
    while (started < wanted && pthread_create(&threads[started], NULL, work, crew) == 0) {
        started++;
    }
    (void)pthread_sigmask(SIG_SETMASK, &before, NULL);
    return started;
}

enum an_status an_crew_take(struct an_collect *collect, const char *const *paths, size_t count,
                            an_collect_report *report, void *context, struct an_error *err)
{
    size_t wanted = collect->options.threads ? collect->options.threads : processors();
    struct an_error none = {.status = AN_OK};
    pthread_t threads[MOST_THREADS];

    err = err ? err : &none;
    err->status = AN_OK;
    wanted = wanted > MOST_THREADS ? MOST_THREADS : wanted;
    wanted = wanted > count ? count : wanted;
    struct crew crew = {.collect = collect,
                        .paths = paths,
                        .count = count,
                        .report = report,
                        .context = context,
                        .ahead = 2 * wanted + 1};
    (void)pthread_mutex_init(&crew.lock, NULL);
    (void)pthread_cond_init(&crew.changed, NULL);
    crew.slots = an_alloc(crew.ahead, sizeof *crew.slots);
    crew.pending = an_alloc(collect->tuning.batch_files + 1, sizeof(struct an_taking *));
    if (!crew.slots || !crew.pending) {
        clear(&crew);
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    const size_t started = wanted > 1 ? start(&crew, threads, wanted) : 0;
    const enum an_status st = settle_all(&crew, started == 0, err);
    if (started) {
        halt(&crew);
    }
    for (size_t i = 0; i < started; i++) {
        (void)pthread_join(threads[i], NULL);
    }
    clear(&crew);
    return st;
}
