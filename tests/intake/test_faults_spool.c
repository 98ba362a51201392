/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A spool that changes under the collector's hands. Whatever happens to a file while it is read,
 * what is stored are the bytes that are kept as its original, all of their rows and no others; or
 * nothing, and the file is taken when it is looked at again.
 */
#define _GNU_SOURCE /* RTLD_NEXT */
#include "support.h"

#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char stations[] = "  shots:\n"
                               "    folder: shots\n"
                               "    time: {column: at}\n"
                               "    item: {kind: free, column: tile}\n"
                               "    characteristics: {dx: {column: dx, unit: um}}\n";

enum { ROWS = 4000 };

/* ---- a file that is changed while it is read ------------------------------------------------------ */
enum change {
    CUT_OFF, /* truncated to half of it */
    EMPTIED, /* truncated to nothing */
    GROWN,   /* more rows at its end */
    OVERWRITTEN /* the same size, other readings */,
    REPLACED, /* another file under its name */
    REMOVED,
    LOCKED_AWAY, /* its folder may no longer be entered */
    CHANGES
};

static struct {
    enum change change;
    const char *path;
    uint64_t at; /* when so many bytes were read; 0: before the first */
    bool done;
} meddler;

static const char *rows_of(int version, size_t *length)
{
    struct an_text text = {0};

    an_text_add(&text, "tile,at,dx\n");
    for (int i = 0; i < ROWS; i++) {
        an_text_addf(&text, "P%04d,2026-03-04T%02d:%02d:00Z,%d.%03d\n", i, 8 + i / 600, i / 10 % 60,
                     version, i * 7919 % 1000);
    }
    ck_assert(!text.failed);
    const char *copy = an_arena_copy(bench.arena, an_text_of(&text), text.length);
    *length = text.length;
    an_text_free(&text);
    return copy;
}

static void write_at_end(const char *path, const char *text)
{
    const int file = open(path, O_WRONLY | O_APPEND);
    ck_assert_int_ge(file, 0);
    ck_assert_int_eq(write(file, text, strlen(text)), (ssize_t)strlen(text));
    ck_assert_int_eq(close(file), 0);
}

static void overwrite(const char *path)
{
    size_t length = 0;
    const char *other = rows_of(2, &length);
    const int file = open(path, O_WRONLY);

    ck_assert_int_ge(file, 0);
    ck_assert_int_eq(pwrite(file, other, length, 0), (ssize_t)length);
    ck_assert_int_eq(close(file), 0);
}

static void meddle(void)
{
    size_t length = 0;
    struct stat state;

    ck_assert_int_eq(stat(meddler.path, &state), 0);
    switch (meddler.change) {
    case CUT_OFF:
        ck_assert_int_eq(truncate(meddler.path, state.st_size / 2), 0);
        break;
    case EMPTIED:
        ck_assert_int_eq(truncate(meddler.path, 0), 0);
        break;
    case GROWN:
        write_at_end(meddler.path, "Q1,2026-03-04T15:00:00Z,7.5\nQ2,2026-03-04T15:01:00Z,7.25\n");
        break;
    case OVERWRITTEN:
        overwrite(meddler.path);
        break;
    case REPLACED: {
        const char *other = rows_of(3, &length);
        const char *path = bench_write("shots/new.tmp", other, length);
        ck_assert_int_eq(rename(path, meddler.path), 0);
        break;
    }
    case REMOVED:
        ck_assert_int_eq(unlink(meddler.path), 0);
        break;
    case LOCKED_AWAY:
        ck_assert_int_eq(chmod(an_arena_printf(bench.arena, "%s/shots", bench.folder), 0), 0);
        break;
    case CHANGES:
        break;
    }
    meddler.done = true;
}

static void on_progress(void *context, uint64_t done, uint64_t total)
{
    (void)context;
    (void)total;
    if (!meddler.done && done >= meddler.at) {
        meddle();
    }
}

static int add_bytes(void *context, const void *at, size_t length)
{
    an_text_add_bytes(context, (struct an_bytes){at, length});
    return 0;
}

/* The newest file's original, taken into a store of its own, gives the same rows. */
static void check_by_original(const char *when)
{
    struct an_text original = {0};
    const char *sums =
        "SELECT count(*) || ' ' || total(mean) || ' ' || total(n) || ' ' || min(at_us)"
        " || ' ' || max(at_us) FROM sample";
    struct an_sha256 hash;

    OK(an_sha256_parse(bench_word("SELECT lower(hex(hash)) FROM file"), &hash));
    OK(an_store_original_read(bench.store, &hash, add_bytes, &original, &bench.err));
    const struct an_sha256 again = an_sha256_of(an_text_of(&original), original.length);
    ck_assert_msg(memcmp(&again, &hash, sizeof hash) == 0, "%s: another original", when);
    const char *stored = bench_word(sums);
    bench_new_store();
    meddler.done = true;
    (void)bench_take(bench_write("shots/again.csv", an_text_of(&original), original.length));
    ck_assert_msg(strcmp(stored, bench_word(sums)) == 0, "%s: stored %s, in the original %s", when,
                  stored, bench_word(sums));
    an_text_free(&original);
}

START_TEST(changed_while_it_is_read)
{
    static const uint64_t moments[] = {1, 50000, 100000};
    const enum change change = (enum change)(_i / 3);
    struct an_take_result result;
    size_t length = 0;
    char when[64];

    (void)snprintf(when, sizeof when, "change %d after %llu bytes", change,
                   (unsigned long long)moments[_i % 3]);
    bench_open(stations);
    bench.options.progress = on_progress;
    bench.tuning.piece_bytes = 4096;
    bench_collector();
    const char *text = rows_of(1, &length);
    meddler.change = change;
    meddler.at = moments[_i % 3];
    meddler.done = false;
    meddler.path = bench_write("shots/s.csv", text, length);
    const enum an_status st = an_collect_file(bench.collect, meddler.path, &result, &bench.err);
    ck_assert_msg(meddler.done, "%s: it was never touched", when);
    ck_assert_int_eq(chmod(an_arena_printf(bench.arena, "%s/shots", bench.folder), 0700), 0);
    if (st) {
        ck_assert_msg(st == AN_IO && strstr(bench.err.text, "changed while"), "%s: %s: %s", when,
                      an_status_name(st), bench.err.text);
        ck_assert(bench_number("SELECT count(*) FROM file") == 0);
        ck_assert(bench_number("SELECT count(*) FROM item") == 0);
        (void)bench_take(meddler.path); /* it lies still now */
    } else {
        ck_assert_int_ne(result.how, AN_NO_STATION_FITS);
    }
    ck_assert(bench_number("SELECT count(*) FROM file") == 1);
    check_by_original(when);
    bench_close();
}
END_TEST

static void told(void *context, size_t file, enum an_status st, const struct an_take_result *result,
                 const struct an_error *err)
{
    enum an_status *statuses = context;

    (void)result;
    (void)err;
    statuses[file] = st;
}

/* One of several changes while it is read: it is told, and the others are taken. */
START_TEST(others_go_on)
{
    enum an_status statuses[3] = {AN_BUG, AN_BUG, AN_BUG};
    const char *paths[3];
    size_t length = 0;

    bench_open(stations);
    bench.options.progress = on_progress;
    bench.options.threads = (size_t)_i + 1;
    bench.tuning.piece_bytes = 4096;
    bench_collector();
    const char *text = rows_of(1, &length);
    paths[0] = bench_text("shots/a.csv", "tile,at,dx\nA,2026-03-04T06:00:00Z,0.5\n");
    paths[1] = bench_write("shots/b.csv", text, length);
    paths[2] = bench_text("shots/c.csv", "tile,at,dx\nC,2026-03-04T06:00:00Z,0.25\n");
    meddler.change = OVERWRITTEN;
    meddler.at = 50000;
    meddler.done = false;
    meddler.path = paths[1];
    OK(an_collect_files(bench.collect, paths, 3, told, statuses, &bench.err));
    ck_assert_int_eq(statuses[0], AN_OK);
    ck_assert_int_eq(statuses[2], AN_OK);
    if (meddler.done) { /* after the bytes were read nothing is there to change */
        ck_assert(statuses[1] == AN_OK || statuses[1] == AN_IO);
        ck_assert(bench_number("SELECT count(*) FROM file") == 3 - (statuses[1] == AN_IO));
        OK(an_collect_files(bench.collect, paths, 3, told, statuses, &bench.err));
    }
    ck_assert(bench_number("SELECT count(*) FROM file") == 3);
    ck_assert(bench_number("SELECT count(*) FROM item") == ROWS + 2);
    bench_close();
}
END_TEST

/* ---- folders that go ------------------------------------------------------------------------------- */
static const char *vanishing; /* removed when it is about to be opened */

DIR *opendir(const char *path);
DIR *opendir(const char *path)
{
    DIR *(*real)(const char *) = NULL;
    void *found = dlsym(RTLD_NEXT, "opendir");

    memcpy(&real, &found, sizeof real);
    if (vanishing && strcmp(path, vanishing) == 0) {
        ck_assert_int_eq(rmdir(path), 0);
    }
    return real(path);
}

START_TEST(folder_vanishes)
{
    const char **files = NULL;
    size_t count = 0;

    bench_open(stations);
    (void)bench_text("spool/a/1.csv", "x");
    (void)bench_text("spool/b/2.csv", "x");
    (void)bench_text("spool/c/3.csv", "x");
    const char *spool = an_arena_printf(bench.arena, "%s/spool", bench.folder);
    const char *gone = an_arena_printf(bench.arena, "%s/b", spool);
    ck_assert_int_eq(unlink(an_arena_printf(bench.arena, "%s/2.csv", gone)), 0);
    vanishing = gone;
    OK(an_collect_list(&spool, 1, bench.arena, &files, &count, &bench.err));
    ck_assert_uint_eq(count, 2); /* the others are listed */
    ck_assert_int_ne(access(gone, F_OK), 0);
    ck_assert_str_eq(files[1] + strlen(spool), "/c/3.csv");
    vanishing = gone; /* named by the user itself: that is told */
    ck_assert_int_eq(mkdir(gone, 0700), 0);
    ck_assert_int_eq(an_collect_list(&gone, 1, bench.arena, &files, &count, &bench.err), AN_IO);
    ck_assert_ptr_nonnull(strstr(bench.err.text, gone));
    vanishing = NULL;
    bench_close();
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("faults of the spool");
    TCase *group = tcase_create("spool");

    tcase_set_timeout(group, 300);
    tcase_add_loop_test(group, changed_while_it_is_read, 0, 3 * CHANGES);
    tcase_add_loop_test(group, others_go_on, 0, 2);
    tcase_add_test(group, folder_vanishes);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
