/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A whole collect, run again and again; see support_faults.h. */
#include "support_faults.h"

#include "faulty_vfs.h"

#include <glob.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char stations[] =
    "  shots:\n"
    "    folder: shots\n"
    "    preamble: {run: \"run ([0-9]+)\"}\n"
    "    format: {preamble_lines: 1}\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: tile}\n"
    "    links: [{column: donor, kind: carrier, role_column: run}]\n"
    "    characteristics:\n"
    "      dx: {column: dx, unit: um, split: head, ribbon: {kind: carrier}, grid: {row: r, column: "
    "r}}\n"
    "      step: {derived: {how: neighbour_step, of: dx}, split: head}\n"
    "      three: {column: dx, unit: um, subgroup: {every: 3}}\n"
    "  oven:\n"
    "    folder: oven\n"
    "    time: {column: at, pattern: \"%Y-%m-%d %H:%M\"}\n"
    "    item: {kind: free, column: tile}\n"
    "    characteristics: {heat: {column: heat, unit: degC}}\n";

#define HEADER "run 7\ntile,at,head,donor,r,dx\n"

enum { MOST_FILES = 16 };
static struct {
    const char *files[MOST_FILES];
    size_t count;
    char *fresh; /* the store before the first file */
    size_t fresh_length;
    char *wanted; /* what an undisturbed run leaves */
    char path[96];
} sweep;

/* ---- the files ----------------------------------------------------------------------------------- */
static void add(const char *name, const char *text)
{
    ck_assert_uint_lt(sweep.count, MOST_FILES);
    sweep.files[sweep.count++] = bench_text(name, text);
}

static void small_files(void)
{
    static const char first[] = HEADER "A,2026-03-04T10:00:00Z,H1,D1,1,0.5\n"
                                       "B,2026-03-04T10:00:00Z,H2,D2,2,0.25\n"
                                       "A,2026-03-04T10:00:00Z,H1,D2,2,-0.5\n"
                                       "C,2026-03-04T10:00:00Z,H1,D2,2,x\n"
                                       "C,2026-03-04T10:00:00Z,H1,D2,2,1.5\n";

    add("shots/a.csv", first);
    add("shots/b.csv", "run 7\ntile,at,head,donor\nA,2026-03-04T10:00:00Z,H1,D1\n"); /* no dx */
    add("shots/c.csv", first);                                                       /* a copy */
    add("shots/d.csv", HEADER "B,2026-03-04T10:00:00Z,H2,D2,2,0.250\n" /* rows of a, and more */
                              "E,2026-03-04T11:00:00Z,H1,D3,1,0.75\n"
                              "A,2026-03-04T10:00:00Z,H1,D2,2,-0.5\n"
                              "A,2026-03-04T10:00:00Z,H1,D1,1,0.50\n"
                              "F,2026-03-04T11:00:00Z,H2,D3,2,\n");
    add("oven/e.csv", "tile,at,heat\n" /* read twice: an hour that comes twice */
                      "A,2026-10-25 02:50,180.5\n"
                      "A,2026-10-25 02:10,181.0\n"
                      "B,2026-10-25 03:10,181.5\n");
    add("oven/f.csv", "tile,at,heat\nG,2026-03-04 12:00,nan\n");
    bench.tuning.piece_bytes = 7;
    bench.tuning.open_visits = 2;
    bench.tuning.block_rows = 2;
    bench.tuning.batch_files = 3;
    bench.tuning.outbox_bytes = 256; /* some files go into the store while they are read */
}

static void large_files(void)
{
    for (int f = 0; f < 4; f++) {
        struct an_text text = {0};
        char name[32];

        an_text_add(&text, HEADER);
        for (int i = 0; i < 4000; i++) {
            const int row = f * 3200 + i; /* a fifth of each file is in the next one too */
            an_text_addf(&text, "P%04d,2026-03-04T%02d:%02d:00Z,H%d,D%02d,%d,%d.%03d\n", row / 5,
                         10 + row / 3600, row / 60 % 60, row % 2 + 1, row / 50 % 100, row % 7,
                         row % 13 - 6, row * 7919 % 1000);
        }
        ck_assert(!text.failed);
        (void)snprintf(name, sizeof name, "shots/%d.csv", f);
        add(name, an_text_of(&text));
        an_text_free(&text);
    }
    bench.tuning.open_visits = 300;
    bench.tuning.block_rows = 512;
    bench.tuning.piece_bytes = 16384;
}

/* ---- what a store holds ---------------------------------------------------------------------------- */
static void add_value(sqlite3_stmt *row, int i, struct an_text *out)
{
    char hex[65];

    switch (sqlite3_column_type(row, i)) {
    case SQLITE_NULL:
        an_text_add(out, "-");
        break;
    case SQLITE_FLOAT:
        an_text_addf(out, "%a", sqlite3_column_double(row, i));
        break;
    case SQLITE_BLOB: {
        const void *at = sqlite3_column_blob(row, i);
        const size_t length = (size_t)sqlite3_column_bytes(row, i);
        const struct an_sha256 hash = an_sha256_of(at ? at : "", length);
        an_text_add(out, an_sha256_hex(&hash, hex));
        break;
    }
    default:
        an_text_add(out, (const char *)sqlite3_column_text(row, i));
    }
    an_text_add_char(out, '|');
}

static void add_table(sqlite3 *db, const char *table, struct an_text *out)
{
    sqlite3_stmt *rows = NULL;
    char sql[128];

    (void)snprintf(sql, sizeof sql, "SELECT * FROM \"%s\" ORDER BY 1, 2", table);
    ck_assert_msg(sqlite3_prepare_v2(db, sql, -1, &rows, NULL) == SQLITE_OK, "%s: %s", sql,
                  sqlite3_errmsg(db));
    an_text_addf(out, "== %s\n", table);
    while (sqlite3_step(rows) == SQLITE_ROW) {
        for (int i = 0; i < sqlite3_column_count(rows); i++) {
            add_value(rows, i, out);
        }
        an_text_add_char(out, '\n');
    }
    ck_assert_int_eq(sqlite3_finalize(rows), SQLITE_OK);
}

/* Every row of every table, the ledger's too: the clock stands still in these tests. */
static char *content(void)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *tables = NULL;
    struct an_text out = {0};

    ck_assert_int_eq(sqlite3_open_v2(sweep.path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_prepare_v2(db,
                                        "SELECT name FROM sqlite_schema WHERE type = 'table'"
                                        " AND name NOT LIKE 'sqlite!_%' ESCAPE '!' ORDER BY name",
                                        -1, &tables, NULL),
                     SQLITE_OK);
    while (sqlite3_step(tables) == SQLITE_ROW) {
        add_table(db, (const char *)sqlite3_column_text(tables, 0), &out);
    }
    ck_assert_int_eq(sqlite3_finalize(tables), SQLITE_OK);
    ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
    ck_assert(!out.failed);
    char *copy = malloc(out.length + 1);
    ck_assert_ptr_nonnull(copy);
    memcpy(copy, an_text_of(&out), out.length + 1);
    an_text_free(&out);
    return copy;
}

static int add_to_digest(void *context, const void *at, size_t length)
{
    an_digest_add(context, at, length);
    return 0;
}

static void check_file(struct an_store *store, const struct an_file *file,
                       const struct an_ledger_entry *entries, size_t count, const char *when)
{
    struct an_sha256 digest;
    struct an_error err = {0};
    struct an_digest *original = an_digest_open();
    char hex[65];
    bool told = false;

    ck_assert(file->rows == file->taken + file->duplicate + file->held + file->blank);
    ck_assert_msg(an_store_file_digest(store, file->file_id, &digest, &err) == AN_OK, "%s",
                  err.text);
    (void)an_sha256_hex(&digest, hex);
    for (size_t i = 0; i < count; i++) {
        told = told || strstr(entries[i].payload, hex);
    }
    ck_assert_msg(told, "%s: rows of file %lld are not as digested", when,
                  (long long)file->file_id);
    ck_assert_ptr_nonnull(original);
    ck_assert_msg(an_store_original_read(store, &file->hash, add_to_digest, original, &err) ==
                      AN_OK,
                  "%s: %s", when, err.text);
    digest = an_digest_close(original);
    ck_assert_mem_eq(digest.at, file->hash.at, sizeof digest.at);
}

/* The ledger, every file's rows and original, SQLite's own checks; returns how many files. */
static size_t check_sound(const char *when)
{
    struct an_store *store = NULL;
    struct an_error err = {0};
    struct an_arena *arena = an_arena_open();
    struct an_ledger_entry *entries = NULL;
    struct an_file *files = NULL;
    size_t entry_count = 0;
    size_t count = 0;
    bool sound = false;

    ck_assert_msg(an_store_open(sweep.path, AN_STORE_WRITE, &store, &err) == AN_OK, "%s: %s", when,
                  err.text);
    ck_assert_msg(an_ledger_check(store, &sound, &err) == AN_OK && sound, "%s: %s", when, err.text);
    ck_assert_int_eq(an_ledger_read(store, 0, 10000, arena, &entries, &entry_count, &err), AN_OK);
    ck_assert_int_eq(
        an_store_files(store, AN_NO_INSTANT, AN_NO_INSTANT, arena, &files, &count, &err), AN_OK);
    for (size_t i = 0; i < count; i++) {
        check_file(store, &files[i], entries, entry_count, when);
    }
    an_store_close(store);
    an_arena_close(arena);
    ck_assert_msg(bench_number("SELECT count(*) FROM pragma_integrity_check"
                               " WHERE integrity_check <> 'ok'") == 0 &&
                      bench_number("SELECT count(*) FROM pragma_foreign_key_check") == 0,
                  "%s: SQLite finds the store damaged", when);
    return count;
}

/* ---- runs ------------------------------------------------------------------------------------------ */
static void remove_store(void)
{
    glob_t found;
    char pattern[112];

    (void)snprintf(pattern, sizeof pattern, "%s*", sweep.path);
    if (glob(pattern, 0, NULL, &found) == 0) {
        for (size_t i = 0; i < found.gl_pathc; i++) {
            (void)unlink(found.gl_pathv[i]);
        }
    }
    globfree(&found);
}

void sweep_reset(void)
{
    remove_store();
    FILE *file = fopen(sweep.path, "wb");
    ck_assert_ptr_nonnull(file);
    ck_assert_uint_eq(fwrite(sweep.fresh, 1, sweep.fresh_length, file), sweep.fresh_length);
    ck_assert_int_eq(fclose(file), 0);
}

static void keep_fresh(void)
{
    FILE *file = fopen(sweep.path, "rb");
    const size_t most = (size_t)8 << 20;

    sweep.fresh = malloc(most);
    ck_assert_ptr_nonnull(file);
    ck_assert_ptr_nonnull(sweep.fresh);
    sweep.fresh_length = fread(sweep.fresh, 1, most, file);
    ck_assert_int_eq(fclose(file), 0);
    ck_assert(sweep.fresh_length > 0 && sweep.fresh_length < most);
}

void sweep_open(enum sweep_size size)
{
    size_t taken = 0;

    memset(&sweep, 0, sizeof sweep);
    faulty_install();
    faulty_skip_syncs(true);
    bench_open(stations);
    an_collect_close(bench.collect);
    an_store_close(bench.store);
    bench.collect = NULL;
    bench.store = NULL;
    (void)snprintf(sweep.path, sizeof sweep.path, "%s/line.store", bench.folder);
    bench.options.threads = 2;
    keep_fresh();
    if (size == SWEEP_SMALL) {
        small_files();
    } else {
        large_files();
    }
    sweep_reset();
    ck_assert_msg(sweep_run(&taken, false, &bench.err) == AN_OK, "%s", bench.err.text);
    ck_assert_uint_eq(taken, sweep.count);
    sweep.wanted = content();
    (void)check_sound("undisturbed");
}

void sweep_close(void)
{
    free(sweep.fresh);
    free(sweep.wanted);
    bench_close();
}

size_t sweep_files(void)
{
    return sweep.count;
}

/* As the program takes them: several in one transaction, each told once it is safe. */
static void told(void *context, size_t file, enum an_status st, const struct an_take_result *result,
                 const struct an_error *err)
{
    size_t *taken = context;

    (void)result;
    (void)err;
    if (!st) {
        ck_assert_uint_eq(file, *taken);
        record_mark((int)++*taken);
    }
}

/* One by one, as a spool is followed; one without memory is tried again at once. */
static enum an_status take_each(struct an_collect *collect, size_t *taken, struct an_error *err)
{
    struct an_take_result result;
    enum an_status st = AN_OK;

    for (size_t i = 0; i < sweep.count && !st; i++) {
        st = an_collect_file(collect, sweep.files[i], &result, err);
        if (st == AN_NO_MEMORY) {
            st = an_collect_file(collect, sweep.files[i], &result, err);
        }
        if (!st) {
            record_mark((int)++*taken);
        }
    }
    return st;
}

enum an_status sweep_run(size_t *taken, bool each, struct an_error *err)
{
    struct an_store *store = NULL;
    struct an_collect *collect = NULL;
    enum an_status st = an_store_open(sweep.path, AN_STORE_WRITE, &store, err);

    *taken = 0;
    if (!st) {
        st = an_collect_open(store, bench.line, &bench.options, &collect, err);
    }
    if (!st) {
        an_collect_tune(collect, &bench.tuning);
        st = each ? take_each(collect, taken, err)
                  : an_collect_files(collect, sweep.files, sweep.count, told, taken, err);
    }
    an_collect_close(collect);
    an_store_close(store);
    return st;
}

/* Two texts differ: the lines that do. */
static void show_difference(const char *wanted, const char *got, const char *when)
{
    const size_t length = strlen(wanted);
    size_t at = 0;

    while (at < length && wanted[at] == got[at]) {
        at++;
    }
    while (at > 0 && wanted[at - 1] != '\n') {
        at--;
    }
    ck_abort_msg("%s: the store holds \"%.*s\" where an undisturbed one holds \"%.*s\"", when,
                 (int)strcspn(got + at, "\n"), got + at, (int)strcspn(wanted + at, "\n"),
                 wanted + at);
}

void sweep_restart(size_t taken, const char *when)
{
    struct an_error err = {0};
    size_t all = 0;
    const size_t before = check_sound(when);

    /* copies are reported too, but add no file */
    ck_assert_msg(before + 1 >= taken, "%s: %zu files reported, %zu in the store", when, taken,
                  before);
    ck_assert_msg(sweep_run(&all, false, &err) == AN_OK, "%s: %s", when, err.text);
    ck_assert_uint_eq(all, sweep.count);
    (void)check_sound(when);
    char *got = content();
    if (strcmp(got, sweep.wanted) != 0) {
        show_difference(sweep.wanted, got, when);
    }
    free(got);
}

size_t sweep_step(size_t count, size_t most)
{
    const char *given = getenv("AN_SWEEP");
    const size_t wanted = given ? strtoull(given, NULL, 10) : 0;

    most = wanted ? wanted : most;
    return count <= most ? 1 : (count + most - 1) / most;
}
