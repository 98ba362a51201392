/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support.h"

#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct bench bench;

static const char head[] = "line: grecale\n"
                           "zone: Europe/Rome\n"
                           "shifts: {early: 06:00, late: 14:00, night: 22:00}\n"
                           "kinds:\n"
                           "  lot: {title: lot}\n"
                           "  wafer: {id: \"W[0-9]{4}\", fold_case: yes}\n"
                           "  carrier: {}\n"
                           "  tile: {id: \"T-[0-9]{3}\", product: yes}\n"
                           "  free: {title: item}\n"
                           "  wall: {product: yes}\n"
                           "stations:\n";

static void tell_mistake(void *context, const char *path, uint64_t line, uint64_t column,
                         const char *text)
{
    (void)context;
    (void)fprintf(stderr, "%s:%llu:%llu: %s\n", path, (unsigned long long)line,
                  (unsigned long long)column, text);
}

static void read_line(const char *stations)
{
    struct an_text yaml = {0};

    an_text_add(&yaml, head);
    an_text_add(&yaml, stations);
    an_line_close(bench.line);
    OK(an_line_read(an_bytes_of(an_text_of(&yaml)), "bench.yaml", bench.folder, tell_mistake, NULL,
                    &bench.line, &bench.err));
    an_text_free(&yaml);
}

static void store_path(char path[96])
{
    (void)snprintf(path, 96, "%s/line.store", bench.folder);
}

static void put_line(void)
{
    int64_t revision = 0;
    bool is_new = false;

    OK(an_store_put_line(bench.store, bench.line->source, ".", &revision, &is_new, &bench.err));
}

void bench_open(const char *stations)
{
    char path[96];

    memset(&bench, 0, sizeof bench);
    bench.arena = an_arena_open();
    bench.tuning = an_collect_usual_tuning();
    (void)snprintf(bench.folder, sizeof bench.folder, "/tmp/an-intake-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(bench.folder));
    ck_assert_int_eq(setenv("ANDAMENTO_CLOCK", "2026-12-20T12:00:00Z", 1), 0);
    read_line(stations);
    store_path(path);
    OK(an_store_open(path, AN_STORE_CREATE, &bench.store, &bench.err));
    put_line();
    bench_collector();
}

void bench_collector(void)
{
    an_collect_close(bench.collect);
    OK(an_collect_open(bench.store, bench.line, &bench.options, &bench.collect, &bench.err));
    an_collect_tune(bench.collect, &bench.tuning);
}

void bench_describe(const char *stations)
{
    an_collect_close(bench.collect);
    bench.collect = NULL;
    read_line(stations);
    put_line();
    bench_collector();
}

static void remove_store(void)
{
    static const char *const ends[] = {"", "-wal", "-shm", ".lock", ".write-lock"};
    char path[96];

    store_path(path);
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        char file[128];

        (void)snprintf(file, sizeof file, "%s%s", path, ends[i]);
        (void)unlink(file);
    }
}

void bench_new_store(void)
{
    char path[96];

    an_collect_close(bench.collect);
    bench.collect = NULL;
    an_store_close(bench.store);
    bench.store = NULL;
    remove_store();
    store_path(path);
    OK(an_store_open(path, AN_STORE_CREATE, &bench.store, &bench.err));
    put_line();
    bench_collector();
}

void bench_close(void)
{
    char command[96];

    an_collect_close(bench.collect);
    an_store_close(bench.store);
    an_line_close(bench.line);
    an_arena_close(bench.arena);
    (void)snprintf(command, sizeof command, "rm -rf '%s'", bench.folder);
    ck_assert_int_eq(system(command), 0);
    memset(&bench, 0, sizeof bench);
}

const char *bench_write(const char *name, const void *bytes, size_t length)
{
    char *path = an_arena_printf(bench.arena, "%s/%s", bench.folder, name);

    for (char *at = path + strlen(bench.folder) + 1; (at = strchr(at, '/')) != NULL; at++) {
        *at = '\0';
        ck_assert(mkdir(path, 0700) == 0 || errno == EEXIST);
        *at = '/';
    }
    FILE *file = fopen(path, "wb");
    ck_assert_ptr_nonnull(file);
    ck_assert_uint_eq(fwrite(bytes, 1, length, file), length);
    ck_assert_int_eq(fclose(file), 0);
    return path;
}

const char *bench_text(const char *name, const char *text)
{
    return bench_write(name, text, strlen(text));
}

const struct an_take_result *bench_take(const char *path)
{
    OK(an_collect_file(bench.collect, path, &bench.last, &bench.err));
    return &bench.last;
}

const struct an_take_result *bench_give(const char *name, const char *text)
{
    return bench_take(bench_text(name, text));
}

/* ---- looking into the store ------------------------------------------------------------------- */
static sqlite3 *open_reader(void)
{
    sqlite3 *db = NULL;
    char path[96];

    store_path(path);
    ck_assert_int_eq(sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    return db;
}

double bench_number(const char *sql)
{
    sqlite3 *db = open_reader();
    sqlite3_stmt *statement = NULL;

    ck_assert_msg(sqlite3_prepare_v2(db, sql, -1, &statement, NULL) == SQLITE_OK, "%s: %s", sql,
                  sqlite3_errmsg(db));
    ck_assert_msg(sqlite3_step(statement) == SQLITE_ROW, "no row: %s", sql);
    const double value = sqlite3_column_double(statement, 0);
    sqlite3_finalize(statement);
    sqlite3_close(db);
    return value;
}

const char *bench_word(const char *sql)
{
    sqlite3 *db = open_reader();
    sqlite3_stmt *statement = NULL;

    ck_assert_msg(sqlite3_prepare_v2(db, sql, -1, &statement, NULL) == SQLITE_OK, "%s: %s", sql,
                  sqlite3_errmsg(db));
    ck_assert_msg(sqlite3_step(statement) == SQLITE_ROW, "no row: %s", sql);
    const char *text = (const char *)sqlite3_column_text(statement, 0);
    char *copy = an_arena_copy(bench.arena, text ? text : "", text ? strlen(text) : 0);
    sqlite3_finalize(statement);
    sqlite3_close(db);
    return copy;
}

static void dump(sqlite3 *db, const char *sql, struct an_text *out)
{
    sqlite3_stmt *statement = NULL;

    ck_assert_msg(sqlite3_prepare_v2(db, sql, -1, &statement, NULL) == SQLITE_OK, "%s: %s", sql,
                  sqlite3_errmsg(db));
    while (sqlite3_step(statement) == SQLITE_ROW) {
        for (int i = 0; i < sqlite3_column_count(statement); i++) {
            const struct an_bytes value = {sqlite3_column_blob(statement, i),
                                           (size_t)sqlite3_column_bytes(statement, i)};

            if (sqlite3_column_type(statement, i) == SQLITE_FLOAT) {
                an_text_addf(out, "%.17g", sqlite3_column_double(statement, i));
            } else if (sqlite3_column_type(statement, i) == SQLITE_BLOB) {
                an_text_addf(out, "%zu:%016llx", value.length,
                             (unsigned long long)an_bytes_hash(value));
            } else {
                an_text_add_bytes(out,
                                  (struct an_bytes){sqlite3_column_text(statement, i),
                                                    (size_t)sqlite3_column_bytes(statement, i)});
            }
            an_text_add_char(out, '|');
        }
        an_text_add_char(out, '\n');
    }
    sqlite3_finalize(statement);
}

char *bench_dump(void)
{
    static const char *const queries[] = {
        "SELECT * FROM item ORDER BY 1",
        "SELECT stream_id, station, characteristic, split, name FROM stream ORDER BY 1",
        "SELECT * FROM link ORDER BY 1",
        "SELECT * FROM visit ORDER BY 1",
        "SELECT * FROM sample ORDER BY 1",
        "SELECT file_id, column_name, block_no, kind, row_count, packed FROM block"
        " ORDER BY column_name, block_no",
        "SELECT * FROM held ORDER BY 1",
        "SELECT file_id, bytes, hash, state, code, why, why_line, why_column, notes, rows_in, taken,"
        " duplicate, held, blank, first_us, last_us FROM file ORDER BY 1",
    };
    sqlite3 *db = open_reader();
    struct an_text out = {0};

    for (size_t i = 0; i < sizeof queries / sizeof queries[0]; i++) {
        dump(db, queries[i], &out);
    }
    sqlite3_close(db);
    ck_assert(!out.failed);
    char *copy = an_arena_copy(bench.arena, an_text_of(&out), out.length);
    an_text_free(&out);
    return copy;
}

int bench_main(Suite *suite, int argc, char **argv)
{
    SRunner *runner = srunner_create(suite);

    (void)argc;
    (void)argv;
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
