/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One turn with the writer's lock: files taken for about half a second, then judged. The only place
 * that calls the collector of files. A source that cannot be read is put off; a store that cannot
 * be written ends everything.
 */
#include "andamento/base/process.h"
#include "cli/follow.h"
#include "judge/judge.h"

#define TURN_US (AN_SECOND_US / 2)

/* A batch is not broken off by the end of a turn: what it may hold is read in about a tenth of a
 * second. */
enum { BATCH_FILES = 32, BATCH_BYTES = 8 << 20, THREADS_FROM_BYTES = 1 << 20 };

static void progress(void *context, uint64_t done, uint64_t total)
{
    (void)done;
    (void)total;
    an_follow_alive(context);
}

enum an_status an_follow_open_collect(struct an_follow *f)
{
    const struct an_collect_options options = {
        .progress = progress, .context = f, .stop = &an_follow_now};
    an_collect_close(f->collect);
    f->collect = NULL;
    return an_collect_open(f->cli->store, f->cli->line, &options, &f->collect, &f->cli->err);
}

static void count(struct an_follow *f, const struct an_spool_file *file,
                  const struct an_take_result *result)
{
    f->taken += result->how == AN_TAKEN;
    f->held += result->how == AN_HELD_WHOLE;
    f->seen += result->how == AN_SEEN_BEFORE;
    if (result->how == AN_TAKEN || result->how == AN_HELD_WHOLE) {
        f->rows += result->file.rows;
        f->rows_held += (size_t)result->file.held;
        f->check_due = f->check_due || result->how == AN_TAKEN;
        an_follow_heard(f, file->station);
    }
}

/* Files taken together: their transactions are shared, and none is reported before it is safe. */
struct batch {
    struct an_follow *f;
    struct an_spool_file files[BATCH_FILES];
    const char *paths[BATCH_FILES];
    bool answered[BATCH_FILES];
    size_t count;
    int64_t bytes;
};

/* As many as are at hand, as long as they are not too much for one turn. */
static void gather(struct an_follow *f, struct batch *batch)
{
    const int64_t now_us = an_clock_monotonic_us();
    *batch = (struct batch){.f = f};
    while (batch->count < BATCH_FILES && batch->bytes < BATCH_BYTES &&
           an_spool_next(f->spool, now_us, &batch->files[batch->count])) {
        batch->paths[batch->count] = batch->files[batch->count].path;
        batch->bytes += batch->files[batch->count].bytes;
        batch->count++;
    }
}

static void answer(void *context, size_t at, enum an_status st, const struct an_take_result *result,
                   const struct an_error *err)
{
    struct batch *batch = context;
    struct an_follow *f = batch->f;
    const struct an_spool_file *file = &batch->files[at];
    const int64_t now_us = an_clock_monotonic_us();
    f->active_us = now_us;
    f->last_scan = false;
    batch->answered[at] = true;
    if (!st) {
        count(f, file, result);
        an_follow_say_file(f, file->path, result);
        an_spool_took(f->spool, file, now_us);
    } else if (st == AN_BAD_INPUT) {
        an_log_say(&f->log, AN_LOG_FILE_REFUSED, "%s", err->text);
        f->refused++;
        an_spool_took(f->spool, file, now_us);
    } else if (st == AN_NOT_FOUND) {
        an_spool_gone(f->spool, file);
    } else if (st == AN_DENIED || (st == AN_IO && !an_store_failed(f->cli->store))) {
        an_spool_failed(f->spool, file, now_us, err->text);
    } else { /* what ends the batch */
        batch->answered[at] = false;
    }
    an_follow_alive(f);
}

/* *go_on false: not now. */
static enum an_status take_batch(struct batch *batch, bool *go_on)
{
    struct an_follow *f = batch->f;
    struct an_cli *cli = f->cli;
    /* threads pay for a backlog; what comes by and by is taken without their memory */
    an_collect_use_threads(f->collect, batch->bytes < THREADS_FROM_BYTES ? 1 : 0);
    const enum an_status st =
        an_collect_files(f->collect, batch->paths, batch->count, answer, batch, &cli->err);
    for (size_t k = 0; k < batch->count; k++) {
        if (!batch->answered[k]) {
            an_spool_put_back(f->spool, &batch->files[k]);
        }
    }
    *go_on = *go_on && !st;
    if (st == AN_BUSY) { /* asked to end at once, or another program's transaction */
        if (!an_follow_now) {
            (void)an_follow_pass_busy(f, st);
        }
        cli->err = (struct an_error){0};
        return AN_OK;
    }
    if (!st) { /* what was said of a file is said */
        cli->err = (struct an_error){0};
    }
    return st;
}

static enum an_status take_turn(struct an_follow *f)
{
    const int64_t until_us = an_clock_monotonic_us() + TURN_US;
    const size_t before = f->taken;
    const int64_t rows_before = f->rows;
    enum an_status st = AN_OK;
    bool go_on = true;
    while (!st && go_on && !an_follow_stop && !an_follow_reload && !f->disk_low &&
           an_clock_monotonic_us() < until_us) {
        struct batch batch;
        gather(f, &batch);
        if (batch.count == 0) {
            break;
        }
        st = take_batch(&batch, &go_on);
        an_follow_alive(f);
    }
    const size_t taken = f->taken - before;
    if (taken) {
        an_log_say(&f->log, AN_LOG_FILES_TAKEN, "%zu file%s, %lld rows", taken,
                   an_plural(taken, "", "s"), (long long)(f->rows - rows_before));
    }
    return st;
}

static enum an_status check(struct an_follow *f)
{
    struct an_cli *cli = f->cli;
    struct an_check_result result = {0};
    const enum an_status st = an_check_all(cli->store, cli->line, false, &result, &cli->err);
    f->check_due = st != AN_OK;
    an_follow_alive(f);
    return an_follow_pass_busy(f, st);
}

enum an_status an_follow_take(struct an_follow *f)
{
    bool got = false;
    const bool files = an_spool_counts(f->spool).whole > 0 && !f->disk_low;
    if (an_clock_monotonic_us() < f->resume_us) {
        return AN_OK;
    }
    enum an_status st = an_follow_look_at_store(f);
    if (st || (!files && !f->check_due)) {
        return st;
    }
    st = an_follow_resume(f, 2000, &got);
    if (st || !got) {
        return st;
    }
    st = an_follow_look_at_store(f); /* what was written just before our turn */
    st = st ? st : take_turn(f);
    if (!st && f->check_due && !an_follow_now) {
        st = check(f);
    }
    an_store_yield(f->cli->store);
    return st;
}
