/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Many files at once. What must come out is the program's own promise: the same store for any number
 * of threads and any bounds, each file reported once, in order, when it is safe; and originals to the
 * byte, in whichever form they are kept.
 */
#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char stations[] =
    "  shots:\n"
    "    files: \"s*.csv\"\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: tile}\n"
    "    tool_column: head\n"
    "    links: [{column: donor, kind: carrier, role_column: colour}]\n"
    "    characteristics:\n"
    "      dx: {column: dx, unit: um, split: [colour, head], possible: {min: -9, max: 9},\n"
    "           missing: [E1]}\n"
    "      dy: {column: dy, unit: um, split: colour, grid: {row: r, column: k}}\n"
    "      range: {derived: {how: range, of: dx}, unit: um}\n"
    "      step: {derived: {how: neighbour_step, of: dy}, unit: um, split: colour}\n";

enum { FILES = 24, ODD = 9, PATHS = FILES + ODD };

static const char *paths[PATHS];

static void add_row(struct an_text *text, int file, int i)
{
    static const char *const odd[] = {"E1",   "x", "+0.50", "\"0.5\"", "007",
                                      "-0.0", "",  "12",    "1e1"};
    const int tile = file * 3 + i / 70; /* the last one goes on in the next file */
    char dx[32];

    (void)snprintf(dx, sizeof dx, "%s0.%03d", i % 2 ? "-" : "", (file * 37 + i * 53) % 1000);
    an_text_addf(text, "P%03d,2026-03-04T%02d:%02d:%02dZ,%c,H%d,D%d,%d,%d,%s,%d.%d,note %d\n", tile,
                 6 + tile / 60, tile % 60, i % 60, "RGB"[i % 3], 1 + i / 100, tile % 5, i / 8 % 9,
                 i % 8, i % 41 == 7 ? odd[i / 41 % 9] : dx, i % 7, i * i % 10, i % 13);
}

static const char *write_rows(const char *name, int file, bool crlf)
{
    struct an_text text = {0};

    an_text_add(&text, "tile,at,colour,head,donor,r,k,dx,dy,note\n");
    for (int i = 0; i < 230 && file % 5 != 4; i++) {
        add_row(&text, file, i);
    }
    for (int i = 0; i < 20 && file % 5 == 4; i++) {
        add_row(&text, file, i);
    }
    for (size_t i = 0; crlf && i < text.length; i++) {
        if (text.at[i] == '\n' && i % 3) { /* some of them: the file's line ends are mixed */
            text.at[i] = '\r';
        }
    }
    const char *path = bench_text(name, an_text_of(&text));
    an_text_free(&text);
    return path;
}

static void make_files(void)
{
    char name[40];

    for (int f = 0; f < FILES; f++) {
        (void)snprintf(name, sizeof name, "shots/s%02d.csv", f);
        paths[f] = write_rows(name, f, f % 11 == 10);
    }
    paths[FILES] = bench_text("shots/s90.csv", "");
    paths[FILES + 1] = bench_text("shots/s91.csv", "tile,at\nP1,2026-03-04T10:00:00Z\n");
    paths[FILES + 2] = write_rows("shots/s92.csv", 3, false); /* the bytes of another one */
    paths[FILES + 3] = bench_text("shots/other.txt", "no station\n");
    paths[FILES + 4] = an_arena_printf(bench.arena, "%s/shots/gone.csv", bench.folder);
    paths[FILES + 5] = an_arena_printf(bench.arena, "%s/shots", bench.folder);
    paths[FILES + 6] =
        bench_text("shots/s93.csv", "\xEF\xBB\xBFtile,at,colour,head,donor,r,k,dx,dy\n"
                                    "P900,2026-03-04T10:00:00Z,R,H1,D1,1,1,0.5,3\n"
                                    "P900,2026-03-04T10:00:00Z,R,H1,D1,1,2,0.25,3.5\n"
                                    "P900,2026-03-04T10:00:00Z,R,H1,D1,1,3,0.5,1");
    paths[FILES + 7] = write_rows("shots/s94.csv", 40, true);
    paths[FILES + 8] = write_rows("shots/s95.csv", 41, false);
}

struct seen {
    size_t next, taken, held, seen, unknown, refused;
    enum an_status last;
    bool early; /* reported before a reader could see it */
};

static void report(void *context, size_t file, enum an_status st,
                   const struct an_take_result *result, const struct an_error *err)
{
    struct seen *seen = context;
    char sql[200];

    ck_assert_uint_eq(file, seen->next++);
    ck_assert(!st || err->text[0]);
    seen->last = st;
    seen->refused += st != AN_OK;
    if (st) {
        return;
    }
    seen->taken += result->how == AN_TAKEN;
    seen->held += result->how == AN_HELD_WHOLE;
    seen->seen += result->how == AN_SEEN_BEFORE;
    seen->unknown += result->how == AN_NO_STATION_FITS;
    if (result->how == AN_TAKEN || result->how == AN_HELD_WHOLE) {
        (void)snprintf(sql, sizeof sql, "SELECT count(*) FROM file WHERE file_id = %lld",
                       (long long)result->file.file_id);
        seen->early = seen->early || bench_number(sql) != 1;
    }
}

static int add_to_text(void *context, const void *at, size_t length)
{
    an_text_add_bytes(context, (struct an_bytes){at, length});
    return 0;
}

/* Every original that is kept has the bytes of the file it came from. */
static void check_originals(void)
{
    struct an_arena *arena = an_arena_open();
    struct an_file *files = NULL;
    size_t count = 0;

    OK(an_store_files(bench.store, AN_NO_INSTANT, AN_NO_INSTANT, arena, &files, &count,
                      &bench.err));
    ck_assert(count > FILES);
    for (size_t i = 0; i < count; i++) {
        struct an_text text = {0};

        OK(an_store_original_read(bench.store, &files[i].hash, add_to_text, &text, &bench.err));
        const struct an_sha256 hash = an_sha256_of(an_text_of(&text), text.length);
        ck_assert_msg(memcmp(hash.at, files[i].hash.at, sizeof hash.at) == 0, "%s", files[i].path);
        an_text_free(&text);
    }
    an_arena_close(arena);
}

static char *take_all(size_t threads, struct seen *seen)
{
    bench.options.threads = threads;
    bench_new_store();
    memset(seen, 0, sizeof *seen);
    OK(an_collect_files(bench.collect, paths, PATHS, report, seen, &bench.err));
    ck_assert_uint_eq(seen->next, PATHS);
    ck_assert(!seen->early);
    ck_assert_uint_eq(seen->refused, 2);
    ck_assert_uint_eq(seen->held, 2);
    ck_assert_uint_eq(seen->seen, 1);
    ck_assert_uint_eq(seen->unknown, 1);
    ck_assert_uint_eq(seen->taken, PATHS - 6);
    check_originals();
    return bench_dump();
}

/* What the ledger says, of which only the times could differ, and they stand still. */
static const char *ledger(void)
{
    return bench_word("SELECT group_concat(kind || payload, char(10)) FROM"
                      " (SELECT kind, payload FROM ledger ORDER BY entry)");
}

START_TEST(any_number_of_threads)
{
    static const size_t threads[] = {2, 5, 1, 3};
    struct seen seen;

    bench_open(stations);
    make_files();
    bench.tuning.keep_bytes = 4096;
    const char *usual = take_all(1, &seen);
    const char *told = ledger();
    ck_assert(bench_number("SELECT count(*) FROM original WHERE form = 2") > 10);
    ck_assert(bench_number("SELECT count(*) FROM original WHERE form = 1") > 3);
    ck_assert(bench_number("SELECT count(*) FROM held") > 15);
    for (size_t i = 0; i < sizeof threads / sizeof threads[0]; i++) {
        bench.tuning = an_collect_usual_tuning();
        bench.tuning.keep_bytes = 4096;
        bench.tuning.batch_files = i == 1 ? 1 : i == 2 ? 7 : 64;
        bench.tuning.outbox_bytes = i == 3 ? 1 : bench.tuning.outbox_bytes;
        const char *now = take_all(threads[i], &seen);
        ck_assert_msg(strcmp(now, usual) == 0, "%zu threads", threads[i]);
        ck_assert_msg(strcmp(ledger(), told) == 0, "%zu threads: the ledger", threads[i]);
    }
    bench_close();
}
END_TEST

/* Without the fast path, with other forms of originals, in small blocks, with little memory. */
START_TEST(the_row_path_alone)
{
    struct seen seen;

    bench_open(stations);
    make_files();
    for (int i = 0; i < 5; i++) {
        bench.tuning = an_collect_usual_tuning();
        bench.tuning.block_rows = i == 1 ? 64 : i == 2 ? 1 : 65536;
        bench.tuning.open_visits = i == 3 ? 1 : 20000;
        bench.tuning.keep_bytes = i == 4 ? (size_t)1 << 30 : 1;
        const char *fast = take_all(2, &seen);
        bench.tuning.ordinary_rows = false;
        const char *slow = take_all(2, &seen);
        ck_assert_msg(strcmp(fast, slow) == 0, "tuning %d", i);
    }
    bench_close();
}
END_TEST

/* Memory that is out ends it; what was reported is there, and nothing else. */
START_TEST(what_was_reported_is_kept)
{
    struct seen seen;
    size_t kept = 0;

    bench_open(stations);
    make_files();
    bench.tuning.batch_files = 4;
    (void)an_alloc_fail_at(0, false);
    (void)take_all(1, &seen);
    const size_t made = an_alloc_fail_at(0, false);
    for (size_t k = 1; k <= made; k += 1 + k / 5) {
        bench_new_store();
        memset(&seen, 0, sizeof seen);
        (void)an_alloc_fail_at(k, false);
        const enum an_status st =
            an_collect_files(bench.collect, paths, PATHS, report, &seen, &bench.err);
        (void)an_alloc_fail_at(0, false);
        ck_assert(!st || st == AN_NO_MEMORY);
        ck_assert(!seen.early);
        ck_assert_msg(bench_number("SELECT count(*) FROM file") == (double)(seen.taken + seen.held),
                      "allocation %zu", k);
        kept += seen.taken;
    }
    ck_assert(kept > PATHS); /* it did not fail at once each time */
    bench_close();
}
END_TEST

START_TEST(stopped_at_once)
{
    static const volatile int stop = 1;
    struct seen seen = {0};

    bench_open(stations);
    make_files();
    bench.options.stop = &stop;
    for (size_t threads = 1; threads < 4; threads++) {
        bench.options.threads = threads;
        bench_new_store();
        ck_assert_int_eq(an_collect_files(bench.collect, paths, PATHS, report, &seen, &bench.err),
                         AN_BUSY);
        ck_assert_uint_eq(seen.taken, 0);
        ck_assert(bench_number("SELECT count(*) FROM file") == 0);
    }
    bench_close();
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("crew");
    TCase *group = tcase_create("crew");

    tcase_set_timeout(group, 600);
    tcase_add_test(group, any_number_of_threads);
    tcase_add_test(group, the_row_path_alone);
    tcase_add_test(group, what_was_reported_is_kept);
    tcase_add_test(group, stopped_at_once);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
