/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How fast a large genealogy is traced.
 *
 *     bench_genealogy make STORE [TILES]     a store with so many tiles (1000000) and 12 links a tile
 *     bench_genealogy measure STORE          times of traces over it, and the most memory
 *
 * A tile is made of three carriers of each colour (of 300 tiles each), a bond lot of 100,000 tiles
 * and a paste lot of 20,000; 64 tiles make a wall, 96 tiles in 100 are in one. A carrier comes from
 * a wafer of four, a wafer from a run of 30. The rows are written by SQL, beside the store's door,
 * with the indexes made at the end: so the file's digest does not fit, and verify says so.
 */
#include "andamento/base/memory.h"
#include "andamento/store/genealogy.h"
#include "trace/trace.h"

#include <sqlite3.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

enum { CARRIER_TILES = 300, BOND_TILES = 100000, PASTE_TILES = 20000, WALL_TILES = 64 };

static struct an_error err;

static void die(const char *what, const char *why)
{
    (void)fprintf(stderr, "bench_genealogy: %s: %s\n", what, why);
    exit(1);
}

static void check(enum an_status st, const char *what)
{
    if (st) {
        die(what, err.text);
    }
}

static double now(void)
{
    struct timespec t;

    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

/* ---- making --------------------------------------------------------------------------------------- */
static const char description[] =
    "line: bench\nzone: UTC\nshifts: {day: 06:00, night: 18:00}\n"
    "kinds: {run: {}, wafer: {}, carrier: {}, bond_lot: {}, paste_lot: {}, tile: {product: yes},"
    " wall: {product: yes}}\n"
    "stations:\n"
    "  transfer:\n    time: {column: at}\n    item: {kind: tile, column: tile}\n"
    "    links:\n      - {column: carrier, kind: carrier, role_column: colour}\n"
    "      - {column: bond, kind: bond_lot}\n      - {column: paste, kind: paste_lot}\n"
    "    characteristics: {x: {column: x, unit: um}}\n"
    "  assembly:\n    time: {column: at}\n    item: {kind: wall, column: wall}\n"
    "    links: [{column: tile, kind: tile, row_column: r, column_column: c}]\n"
    "    characteristics: {x: {column: x, unit: um}}\n";

static sqlite3 *db;
static sqlite3_stmt *put_item, *put_link;
static int64_t links;

static void run(const char *sql)
{
    char *text = NULL;

    if (sqlite3_exec(db, sql, NULL, NULL, &text) != SQLITE_OK) {
        die(sql, text ? text : "?");
    }
}

static void step(sqlite3_stmt *statement)
{
    if (sqlite3_step(statement) != SQLITE_DONE) {
        die("writing", sqlite3_errmsg(db));
    }
    (void)sqlite3_reset(statement);
}

static void item(int64_t id, const char *kind, const char *prefix, int digits, int64_t number)
{
    char serial[40];

    (void)snprintf(serial, sizeof serial, "%s-%0*lld", prefix, digits, (long long)number);
    (void)sqlite3_bind_int64(put_item, 1, id);
    (void)sqlite3_bind_text(put_item, 2, kind, -1, SQLITE_STATIC);
    (void)sqlite3_bind_text(put_item, 3, serial, -1, SQLITE_TRANSIENT);
    step(put_item);
}

static void link(int64_t parent, int64_t child, const char *role, double share, int row, int column)
{
    (void)sqlite3_bind_int64(put_link, 1, ++links);
    (void)sqlite3_bind_int64(put_link, 2, child);
    (void)sqlite3_bind_int64(put_link, 3, parent);
    (void)sqlite3_bind_text(put_link, 4, role, -1, SQLITE_STATIC);
    (void)sqlite3_bind_double(put_link, 5, share);
    (void)(row ? sqlite3_bind_int(put_link, 6, row) : sqlite3_bind_null(put_link, 6));
    (void)(row ? sqlite3_bind_int(put_link, 7, column) : sqlite3_bind_null(put_link, 7));
    (void)sqlite3_bind_int64(put_link, 8, INT64_C(1772430000000000) + links * 100000);
    step(put_link);
}

/* The tables' own file, through the store's door. */
static void make_file(const char *path)
{
    struct an_store *store = NULL;
    const struct an_bytes yaml = {(const unsigned char *)description, sizeof description - 1};
    struct an_file file = {.name = "bench.csv",
                           .path = "bench.csv",
                           .station = "transfer",
                           .modified_us = 1,
                           .first_us = 1,
                           .last_us = 2};
    int64_t revision = 0;
    bool is_new = false;

    check(an_store_open(path, AN_STORE_CREATE, &store, &err), "making the store");
    check(an_store_put_line(store, yaml, ".", &revision, &is_new, &err), "storing the description");
    check(an_store_begin(store, &err), "beginning");
    check(an_store_next_file(store, &file.file_id, &err), "numbering the file");
    file.hash = an_sha256_of(path, strlen(path));
    check(an_store_put_file(store, &file, &err), "storing the file");
    check(an_store_commit(store, &err), "committing");
    an_store_close(store);
}

/* How many there are of each, and where their ids begin. */
struct plan {
    int64_t tiles, carriers, bonds, pastes, walls; /* carriers: of one colour and slot */
    int64_t run, wafer, carrier, bond, paste, tile, wall, end; /* first ids */
};

static struct plan make_plan(int64_t tiles)
{
    struct plan p = {.tiles = tiles};

    p.carriers = (tiles + CARRIER_TILES - 1) / CARRIER_TILES * 9;
    p.bonds = (tiles + BOND_TILES - 1) / BOND_TILES;
    p.pastes = (tiles + PASTE_TILES - 1) / PASTE_TILES;
    p.walls = tiles * 96 / 100 / WALL_TILES;
    p.run = 1;
    p.wafer = p.run + p.carriers / 4 / 30 + 1;
    p.carrier = p.wafer + p.carriers / 4 + 1;
    p.bond = p.carrier + p.carriers;
    p.paste = p.bond + p.bonds;
    p.tile = p.paste + p.pastes;
    p.wall = p.tile + tiles;
    p.end = p.wall + p.walls;
    return p;
}

static void make_batches(const struct plan *p)
{
    for (int64_t i = p->run; i < p->wafer; i++) {
        item(i, "run", "ER", 5, i);
    }
    for (int64_t i = p->wafer; i < p->carrier; i++) {
        item(i, "wafer", "WB", 6, i - p->wafer);
        link(p->run + (i - p->wafer) / 30, i, NULL, 1, 0, 0);
    }
    for (int64_t i = p->carrier; i < p->bond; i++) {
        item(i, "carrier", "DB", 6, i - p->carrier);
        link(p->wafer + (i - p->carrier) / 4, i, NULL, 1, 0, 0);
    }
    for (int64_t i = p->bond; i < p->paste; i++) {
        item(i, "bond_lot", "BM", 4, i - p->bond);
    }
    for (int64_t i = p->paste; i < p->tile; i++) {
        item(i, "paste_lot", "PL", 4, i - p->paste);
    }
}

static void make_tiles(const struct plan *p)
{
    static const char *const colours[] = {"R", "G", "B"};

    for (int64_t k = 0; k < p->tiles; k++) {
        const int64_t id = p->tile + k;

        item(id, "tile", "T", 8, k);
        for (int slot = 0; slot < 9; slot++) {
            link(p->carrier + k / CARRIER_TILES * 9 + slot, id, colours[slot / 3],
                 slot % 3 == 0 ? 0.5 : 0.25, 0, 0);
        }
        link(p->bond + k / BOND_TILES, id, NULL, 1, 0, 0);
        link(p->paste + k / PASTE_TILES, id, NULL, 1, 0, 0);
    }
    for (int64_t w = 0; w < p->walls; w++) {
        item(p->wall + w, "wall", "W", 6, w);
        for (int at = 0; at < WALL_TILES; at++) {
            link(p->tile + w * WALL_TILES + at, p->wall + w, NULL, 1.0 / WALL_TILES, at / 8 + 1,
                 at % 8 + 1);
        }
    }
}

/* The statements that make the indexes of item and link, which are dropped meanwhile. */
static char *take_indexes(void)
{
    sqlite3_stmt *list = NULL;
    char *again = NULL;
    size_t length = 0;
    char names[20][64];
    int count = 0;

    (void)sqlite3_prepare_v2(db,
                             "SELECT name, sql FROM sqlite_master WHERE type = 'index'"
                             " AND tbl_name IN ('item', 'link') AND sql IS NOT NULL",
                             -1, &list, NULL);
    while (sqlite3_step(list) == SQLITE_ROW && count < 20) {
        const char *sql = (const char *)sqlite3_column_text(list, 1);

        (void)snprintf(names[count++], sizeof names[0], "%s",
                       (const char *)sqlite3_column_text(list, 0));
        again = realloc(again, length + strlen(sql) + 3);
        if (!again) {
            die("indexes", "out of memory");
        }
        length += (size_t)sprintf(again + length, "%s;\n", sql);
    }
    (void)sqlite3_finalize(list);
    for (int i = 0; i < count; i++) {
        char drop[100];

        (void)snprintf(drop, sizeof drop, "DROP INDEX %.60s", names[i]);
        run(drop);
    }
    return again;
}

static void make(const char *path, int64_t tiles)
{
    const double begun = now();
    const struct plan p = make_plan(tiles);

    make_file(path);
    if (sqlite3_open(path, &db) != SQLITE_OK) {
        die(path, sqlite3_errmsg(db));
    }
    run("PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -500000");
    char *indexes = take_indexes();
    (void)sqlite3_prepare_v2(db, "INSERT INTO item VALUES ($1, $2, $3, 1)", -1, &put_item, NULL);
    (void)sqlite3_prepare_v2(db,
                             "INSERT INTO link VALUES ($1, $2, $3, $4, NULL, $5, $6, $7, $8, 1,"
                             " $1 + 1)",
                             -1, &put_link, NULL);
    run("BEGIN");
    make_batches(&p);
    make_tiles(&p);
    run("COMMIT");
    (void)sqlite3_finalize(put_item);
    (void)sqlite3_finalize(put_link);
    run(indexes);
    free(indexes);
    run("PRAGMA journal_mode = WAL");
    (void)sqlite3_close(db);
    (void)printf("%lld tiles, %lld walls, %lld items, %lld links in %.1f s\n", (long long)p.tiles,
                 (long long)p.walls, (long long)(p.end - 1), (long long)links, now() - begun);
}

/* ---- measuring -------------------------------------------------------------------------------------- */
static void trace(struct an_store *store, const char *name, enum an_trace_way way, uint32_t depth)
{
    struct an_arena *arena = an_arena_open();
    struct an_item found;
    struct an_trace trace;
    double best = 1e9;
    double first = 0;

    check(an_trace_find(store, NULL, name, arena, &found, &err), name);
    for (int i = 0; i < 5; i++) {
        const struct an_trace_ask ask = {.item_id = found.item_id,
                                         .way = way,
                                         .most_depth = depth,
                                         .from_us = AN_NO_INSTANT,
                                         .until_us = AN_NO_INSTANT};
        const double begun = now();

        check(an_trace_run(store, &ask, &trace, &err), name);
        const double took = now() - begun;
        first = i ? first : took;
        best = took < best ? took : best;
        if (i < 4) {
            an_trace_close(&trace);
        }
    }
    struct rusage usage;
    (void)getrusage(RUSAGE_SELF, &usage);
    (void)printf("%-12s %-4s depth %u: %7zu links, %7zu items; first %.4f s, best of 5 %.4f s;"
                 " %ld MB so far\n",
                 name, way == AN_TRACE_UP ? "up" : "down", depth, trace.step_count,
                 trace.reached_count, first, best, usage.ru_maxrss / 1024);
    an_trace_close(&trace);
    an_arena_close(arena);
}

static void measure(const char *path)
{
    struct an_store *store = NULL;

    check(an_store_open(path, AN_STORE_READ, &store, &err), "opening the store");
    trace(store, "W-000700", AN_TRACE_UP, 1);
    trace(store, "W-000700", AN_TRACE_DOWN, 1);
    trace(store, "T-00044800", AN_TRACE_UP, 1);
    trace(store, "W-000700", AN_TRACE_UP, 0);
    trace(store, "DB-000500", AN_TRACE_DOWN, 0);
    trace(store, "PL-0002", AN_TRACE_DOWN, 0);
    trace(store, "BM-0000", AN_TRACE_DOWN, 0);
    trace(store, "ER-00010", AN_TRACE_DOWN, 0);
    an_store_close(store);
}

int main(int argc, char **argv)
{
    if (argc >= 3 && strcmp(argv[1], "make") == 0) {
        make(argv[2], argc > 3 ? strtoll(argv[3], NULL, 10) : 1000000);
    } else if (argc == 3 && strcmp(argv[1], "measure") == 0) {
        measure(argv[2]);
    } else {
        die("usage", "make STORE [TILES], or measure STORE");
    }
    return 0;
}
