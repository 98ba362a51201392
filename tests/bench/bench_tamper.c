/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tampers with copies of a store at random and asks `verify` of each, without a head and with one from
 * paper. Prints what was found, kind by kind; exits 1 if something escaped a verify with a head.
 *   bench_tamper PROGRAM STORE [RUNS [SEED]]
 *
 * An edited byte that changes no row and no object of the schema (free space, counters of SQLite's
 * own) is no change: such runs are counted apart.
 */
#include "andamento/base/digest.h"
#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "store/tree.h"

#include <fcntl.h>
#include <inttypes.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

enum kind { BYTE, SWAP, DELETE_ROW, DROP_TRIGGER, CHANGE, REWRITE, CUT, KINDS };
static const char *const names[KINDS] = {
    "a byte edited",
    "two rows swapped",
    "a row deleted",
    "a trigger dropped",
    "a value changed, triggers put back",
    "an act changed and the ledger rewritten from it on",
    "the tail cut off, rows and ledger",
};

static unsigned char *pristine;
static long pristine_bytes;
static char path[300];
static uint64_t state;

static void die(const char *what)
{
    (void)fprintf(stderr, "bench_tamper: %s\n", what);
    exit(2);
}

static uint64_t draw(uint64_t below)
{
    state ^= state >> 12;
    state ^= state << 25;
    state ^= state >> 27;
    return state * UINT64_C(0x2545F4914F6CDD1D) % (below ? below : 1);
}

static void put_back(void)
{
    char side[320];
    static const char *const ends[] = {"-wal", "-shm", "-journal"};
    for (int k = 0; k < 3; k++) {
        (void)snprintf(side, sizeof side, "%s%s", path, ends[k]);
        (void)unlink(side);
    }
    FILE *file = fopen(path, "wb");
    if (!file || fwrite(pristine, 1, (size_t)pristine_bytes, file) != (size_t)pristine_bytes ||
        fclose(file)) {
        die("could not write the copy");
    }
}

/* Exit status of verify on the copy. */
static int verify(const char *program, const char *head)
{
    const pid_t child = fork();
    int status = 0;
    if (child == 0) {
        const int nowhere = open("/dev/null", O_WRONLY);
        (void)dup2(nowhere, 1);
        (void)dup2(nowhere, 2);
        if (head) {
            (void)execl(program, program, "verify", "--store", path, "--head", head, (char *)NULL);
        } else {
            (void)execl(program, program, "verify", "--store", path, (char *)NULL);
        }
        _exit(127);
    }
    if (child < 0 || waitpid(child, &status, 0) < 0 || !WIFEXITED(status) ||
        WEXITSTATUS(status) == 127) {
        die("verify did not end by itself");
    }
    return WEXITSTATUS(status);
}

static sqlite3 *open_copy(void)
{
    sqlite3 *db = NULL;
    if (sqlite3_open(path, &db) != SQLITE_OK ||
        sqlite3_exec(db,
                     "PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON;"
                     "PRAGMA journal_mode = DELETE; PRAGMA synchronous = OFF",
                     NULL, NULL, NULL) != SQLITE_OK) {
        die("could not open the copy");
    }
    return db;
}

/* All rows and objects as one hash; false if SQLite cannot read them. */
static bool content_of(struct an_sha256 *hash)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *tables = NULL;
    struct an_digest *digest = an_digest_open();
    bool good = digest && sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL) == SQLITE_OK &&
                sqlite3_prepare_v2(db,
                                   "SELECT 'sqlite_schema' UNION ALL SELECT name FROM"
                                   " sqlite_schema WHERE type = 'table'",
                                   -1, &tables, NULL) == SQLITE_OK;
    int rc = SQLITE_ROW;
    while (good && (rc = sqlite3_step(tables)) == SQLITE_ROW) {
        char sql[300];
        sqlite3_stmt *rows = NULL;
        /* where an object stands, and in which order, is no content */
        const char *table = (const char *)sqlite3_column_text(tables, 0);
        (void)snprintf(sql, sizeof sql,
                       strcmp(table, "sqlite_schema") == 0
                           ? "SELECT type, name, tbl_name, sql FROM %s ORDER BY 1, 2"
                           : "SELECT * FROM \"%s\"",
                       table);
        good = sqlite3_prepare_v2(db, sql, -1, &rows, NULL) == SQLITE_OK;
        int step = SQLITE_DONE;
        while (good && (step = sqlite3_step(rows)) == SQLITE_ROW) {
            for (int c = 0; c < sqlite3_column_count(rows); c++) {
                const int length = sqlite3_column_bytes(rows, c);
                const int type = sqlite3_column_type(rows, c);
                an_digest_add(digest, &type, sizeof type);
                an_digest_add(digest, &length, sizeof length);
                an_digest_add(digest, sqlite3_column_blob(rows, c), (size_t)length);
            }
        }
        good = good && step == SQLITE_DONE;
        (void)sqlite3_finalize(rows);
    }
    (void)sqlite3_finalize(tables);
    (void)sqlite3_close(db);
    *hash = an_digest_close(digest);
    return good && rc == SQLITE_DONE;
}

/* ---- by SQL ---------------------------------------------------------------------------------------- */
static void run(sqlite3 *db, const char *sql)
{
    char *why = NULL;
    if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK) {
        (void)fprintf(stderr, "%s: %s\n", sql, why ? why : "");
        die("a change could not be made");
    }
}

/* The first column of the row-th row, in static memory of its own turn. */
static const char *pick(sqlite3 *db, const char *sql)
{
    static char texts[8][4000];
    static int turn;
    sqlite3_stmt *stmt = NULL;
    char *text = texts[turn++ % 8];
    int count = 0;
    if (sqlite3_prepare_v2(db, sql, -1, &stmt, NULL) != SQLITE_OK) {
        die(sqlite3_errmsg(db));
    }
    while (sqlite3_step(stmt) == SQLITE_ROW) {
        count++;
    }
    (void)sqlite3_reset(stmt);
    const int row = (int)draw((uint64_t)count);
    text[0] = '\0';
    for (int k = 0; count && k <= row && sqlite3_step(stmt) == SQLITE_ROW; k++) {
        if (k == row) {
            (void)snprintf(text, 4000, "%s", (const char *)sqlite3_column_text(stmt, 0));
        }
    }
    (void)sqlite3_finalize(stmt);
    return text;
}

static const char *a_table(sqlite3 *db, int least)
{
    for (;;) {
        char sql[300];
        const char *table = pick(db, "SELECT name FROM sqlite_schema WHERE type = 'table' AND name"
                                     " NOT LIKE 'sqlite%'");
        (void)snprintf(sql, sizeof sql, "SELECT count(*) FROM \"%s\"", table);
        if (atoi(pick(db, sql)) >= least) {
            return table;
        }
    }
}

/* Triggers out of the way; their texts are put back by put_triggers(). */
static char kept_triggers[20000];
static void drop_triggers(sqlite3 *db, const char *table)
{
    sqlite3_stmt *stmt = NULL;
    char sql[300];
    size_t used = 0;
    char drops[2000] = "";
    (void)snprintf(sql, sizeof sql,
                   "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = '%s'",
                   table);
    kept_triggers[0] = '\0';
    (void)sqlite3_prepare_v2(db, sql, -1, &stmt, NULL);
    while (sqlite3_step(stmt) == SQLITE_ROW) {
        used += (size_t)snprintf(kept_triggers + used, sizeof kept_triggers - used, "%s;\n",
                                 (const char *)sqlite3_column_text(stmt, 1));
        (void)snprintf(drops + strlen(drops), sizeof drops - strlen(drops), "DROP TRIGGER %s;",
                       (const char *)sqlite3_column_text(stmt, 0));
    }
    (void)sqlite3_finalize(stmt);
    run(db, drops);
}

static void change_row(sqlite3 *db, enum kind kind)
{
    const char *table = a_table(db, kind == SWAP ? 2 : 1);
    char sql[3000];
    char by[80] = "rowid";
    (void)snprintf(sql, sizeof sql, "SELECT rowid FROM \"%s\" LIMIT 1", table);
    sqlite3_stmt *probe = NULL;
    if (sqlite3_prepare_v2(db, sql, -1, &probe, NULL) != SQLITE_OK) { /* WITHOUT ROWID */
        (void)snprintf(sql, sizeof sql, "SELECT name FROM pragma_table_info('%s') WHERE pk = 1",
                       table);
        (void)snprintf(by, sizeof by, "%s", pick(db, sql));
    }
    (void)sqlite3_finalize(probe);
    (void)snprintf(sql, sizeof sql, "SELECT %s FROM \"%s\"", by, table);
    const char *one = pick(db, sql);
    drop_triggers(db, table);
    if (kind == DELETE_ROW) {
        (void)snprintf(sql, sizeof sql, "DELETE FROM \"%s\" WHERE %s = %s", table, by, one);
        run(db, sql);
    } else {
        (void)snprintf(sql, sizeof sql, "SELECT name FROM pragma_table_info('%s')%s", table,
                       kind == SWAP ? " WHERE pk = 0" : "");
        const char *column = pick(db, sql);
        if (kind == CHANGE) {
            (void)snprintf(sql, sizeof sql,
                           "UPDATE OR REPLACE \"%s\" SET %s = CASE typeof(%s) WHEN 'integer' THEN"
                           " %s + %d WHEN 'real' THEN %s * 1.001 + 1 WHEN 'text' THEN %s || 'x'"
                           " WHEN 'blob' THEN CAST(substr(%s, 1, length(%s) - 1) || x'5A' AS BLOB)"
                           " ELSE 1 END WHERE %s = %s",
                           table, column, column, column, 1 + (int)draw(1000), column, column,
                           column, column, by, one);
            run(db, sql);
        } else {
            (void)snprintf(sql, sizeof sql, "SELECT %s FROM \"%s\" WHERE %s <> %s", by, table, by,
                           one);
            const char *other = pick(db, sql);
            (void)snprintf(sql, sizeof sql,
                           "CREATE TEMP TABLE was AS SELECT %s AS k, %s AS v FROM \"%s\" WHERE %s"
                           " IN (%s, %s); UPDATE OR REPLACE \"%s\" SET %s = (SELECT v FROM was"
                           " WHERE k <> \"%s\".%s) WHERE %s IN (%s, %s) AND"
                           " (SELECT count(*) FROM was) = 2",
                           by, column, table, by, one, other, table, column, table, by, by, one,
                           other);
            (void)sqlite3_exec(db, sql, NULL, NULL, NULL); /* a unique column cannot be swapped */
        }
    }
    run(db, kept_triggers);
}

/* ---- whoever holds the store --------------------------------------------------------------------- */
/* Leaves and peaks of all entries from their payloads. */
static void right_tree(sqlite3 *db)
{
    sqlite3_stmt *all = NULL;
    sqlite3_stmt *put = NULL;
    struct an_tree tree = {0};
    (void)sqlite3_prepare_v2(db, "SELECT entry, at_us, kind, payload FROM ledger ORDER BY entry",
                             -1, &all, NULL);
    (void)sqlite3_prepare_v2(db, "UPDATE ledger SET leaf = $1, peaks = $2 WHERE entry = $3", -1,
                             &put, NULL);
    run(db, "BEGIN");
    while (sqlite3_step(all) == SQLITE_ROW) {
        struct an_sha256 leaf;
        struct an_text data = {0};
        an_text_addf(&data, "%lld\n%s\n%s", (long long)sqlite3_column_int64(all, 1),
                     (const char *)sqlite3_column_text(all, 2),
                     (const char *)sqlite3_column_text(all, 3));
        if (an_tree_leaf(an_bytes_of(an_text_of(&data)), &leaf)) {
            die("memory");
        }
        an_text_free(&data);
        an_tree_append(&tree, &leaf);
        (void)sqlite3_bind_blob(put, 1, leaf.at, sizeof leaf.at, SQLITE_TRANSIENT);
        (void)sqlite3_bind_blob(put, 2, tree.peaks,
                                (int)(an_tree_peak_count(tree.size) * sizeof tree.peaks[0]),
                                SQLITE_TRANSIENT);
        (void)sqlite3_bind_int64(put, 3, sqlite3_column_int64(all, 0));
        (void)sqlite3_step(put);
        (void)sqlite3_reset(put);
    }
    run(db, "COMMIT");
    (void)sqlite3_finalize(all);
    (void)sqlite3_finalize(put);
}

static void rewrite(sqlite3 *db)
{
    static const char *const ways[] = {
        "limits_lock author",    "limits_lock reason", "limits host",       "signal rule",
        "hit_withdrawal reason", "judged samples",     "answer cause",      "correction reason",
        "gauge_study author",    "running from_us",    "release_act author"};
    char table[40];
    char column[40];
    char sql[1500];
    const char *entry = "";
    for (int tries = 0; !entry[0] && tries < 100; tries++) { /* not every store has them all */
        (void)sscanf(ways[draw(sizeof ways / sizeof *ways)], "%39s %39s", table, column);
        (void)snprintf(sql, sizeof sql, "SELECT entry FROM %s", table);
        entry = pick(db, sql);
    }
    if (!entry[0]) {
        die("the store has no acts: propose and lock limits, check it");
    }
    drop_triggers(db, table);
    (void)snprintf(sql, sizeof sql,
                   "UPDATE %s SET %s = CASE typeof(%s) WHEN 'integer' THEN %s + 1 ELSE %s || 'x'"
                   " END WHERE entry = %s",
                   table, column, column, column, column, entry);
    run(db, sql);
    run(db, kept_triggers);
    drop_triggers(db, "ledger");
    (void)snprintf(sql, sizeof sql,
                   "UPDATE ledger SET payload = replace(payload,"
                   " '\"%s\":' || CASE WHEN json_type(payload, '$.%s') = 'text' THEN"
                   " '\"' || json_extract(payload, '$.%s') || '\"' ELSE"
                   " json_extract(payload, '$.%s') END,"
                   " '\"%s\":' || CASE WHEN json_type(payload, '$.%s') = 'text' THEN"
                   " '\"' || json_extract(payload, '$.%s') || 'x\"' ELSE"
                   " json_extract(payload, '$.%s') + 1 END) WHERE entry = %s",
                   column, column, column, column, column, column, column, column, entry);
    run(db, sql);
    right_tree(db);
    run(db, kept_triggers);
}

/* Rows that have neither an entry nor a file, and belong to something that is gone. */
static void cut_orphans(sqlite3 *db)
{
    int found = 1;
    while (found) {
        sqlite3_stmt *stmt = NULL;
        char cuts[20000] = "";
        found = 0;
        (void)sqlite3_prepare_v2(db,
                                 "SELECT DISTINCT \"table\", rowid FROM pragma_foreign_key_check"
                                 " WHERE rowid IS NOT NULL LIMIT 200",
                                 -1, &stmt, NULL);
        while (sqlite3_step(stmt) == SQLITE_ROW) {
            (void)snprintf(cuts + strlen(cuts), sizeof cuts - strlen(cuts),
                           "DELETE FROM %s WHERE rowid = %lld;",
                           (const char *)sqlite3_column_text(stmt, 0),
                           (long long)sqlite3_column_int64(stmt, 1));
            found = 1;
        }
        (void)sqlite3_finalize(stmt);
        run(db, cuts);
    }
}

/* Everything from an entry on is gone, as if it had never been. */
static void cut(sqlite3 *db)
{
    sqlite3_stmt *stmt = NULL;
    const char *entry = pick(db, "SELECT entry FROM ledger WHERE entry > 3");
    char cuts[20000] = "";
    char sql[400];
    (void)sqlite3_prepare_v2(
        db,
        "SELECT s.name, max(c.name = 'entry'), max(c.name = 'file_id') FROM sqlite_schema s,"
        " pragma_table_info(s.name) c WHERE s.type = 'table' AND s.name NOT LIKE 'sqlite%'"
        " GROUP BY 1",
        -1, &stmt, NULL);
    while (sqlite3_step(stmt) == SQLITE_ROW) {
        const char *table = (const char *)sqlite3_column_text(stmt, 0);
        if (sqlite3_column_int(stmt, 1)) {
            (void)snprintf(cuts + strlen(cuts), sizeof cuts - strlen(cuts),
                           "DELETE FROM %s WHERE entry >= %s;", table, entry);
        }
        if (sqlite3_column_int(stmt, 2)) {
            (void)snprintf(cuts + strlen(cuts), sizeof cuts - strlen(cuts),
                           "DELETE FROM %s WHERE file_id > (SELECT coalesce(max(file_id), 0) FROM"
                           " temp.last);",
                           table);
        }
    }
    (void)sqlite3_finalize(stmt);
    (void)snprintf(sql, sizeof sql,
                   "CREATE TEMP TABLE last AS SELECT max(file_id) AS file_id FROM file WHERE entry"
                   " < %s",
                   entry);
    run(db, sql);
    /* all triggers */
    char drops[20000] = "";
    char *texts = malloc(200000);
    size_t used = 0;
    texts[0] = '\0';
    (void)sqlite3_prepare_v2(db, "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'", -1,
                             &stmt, NULL);
    while (sqlite3_step(stmt) == SQLITE_ROW) {
        (void)snprintf(drops + strlen(drops), sizeof drops - strlen(drops), "DROP TRIGGER %s;",
                       (const char *)sqlite3_column_text(stmt, 0));
        used += (size_t)snprintf(texts + used, 200000 - used, "%s;\n",
                                 (const char *)sqlite3_column_text(stmt, 1));
    }
    (void)sqlite3_finalize(stmt);
    run(db, drops);
    run(db, cuts);
    cut_orphans(db);
    run(db, texts);
    free(texts);
}

static void tamper(enum kind kind)
{
    if (kind == BYTE) {
        const long at = (long)draw((uint64_t)pristine_bytes);
        const unsigned char byte = (unsigned char)(pristine[at] ^ (1 + draw(255)));
        const int file = open(path, O_WRONLY);
        if (file < 0 || pwrite(file, &byte, 1, at) != 1 || close(file)) {
            die("could not edit the copy");
        }
        return;
    }
    sqlite3 *db = open_copy();
    if (kind == DROP_TRIGGER) {
        char sql[200];
        (void)snprintf(sql, sizeof sql, "DROP TRIGGER %s",
                       pick(db, "SELECT name FROM sqlite_schema WHERE type = 'trigger'"));
        run(db, sql);
    } else if (kind == REWRITE) {
        rewrite(db);
    } else if (kind == CUT) {
        cut(db);
    } else {
        change_row(db, kind);
    }
    (void)sqlite3_close(db);
}

/* "3047:cf77..." of the whole copy, as a page prints it. */
static void head_of(char head[120])
{
    sqlite3 *db = open_copy();
    sqlite3_stmt *stmt = NULL;
    struct an_tree tree = {0};
    char hex[65];
    (void)sqlite3_prepare_v2(db, "SELECT leaf FROM ledger ORDER BY entry", -1, &stmt, NULL);
    while (sqlite3_step(stmt) == SQLITE_ROW) {
        struct an_sha256 leaf;
        memcpy(leaf.at, sqlite3_column_blob(stmt, 0), sizeof leaf.at);
        an_tree_append(&tree, &leaf);
    }
    (void)sqlite3_finalize(stmt);
    (void)sqlite3_close(db);
    const struct an_sha256 root = an_tree_root(&tree);
    (void)snprintf(head, 120, "%" PRIu64 ":%s", tree.size, an_sha256_hex(&root, hex));
}

static void read_pristine(const char *name)
{
    FILE *file = fopen(name, "rb");
    if (!file || fseek(file, 0, SEEK_END) || (pristine_bytes = ftell(file)) <= 0 ||
        fseek(file, 0, SEEK_SET)) {
        die("could not read the store");
    }
    pristine = malloc((size_t)pristine_bytes);
    if (!pristine || fread(pristine, 1, (size_t)pristine_bytes, file) != (size_t)pristine_bytes) {
        die("could not read the store");
    }
    (void)fclose(file);
}

int main(int argc, char **argv)
{
    struct {
        long runs, same, without, with;
    } sums[KINDS] = {{0, 0, 0, 0}};
    char head[120];
    struct an_sha256 whole;
    struct an_sha256 now;
    int escaped = 0;
    if (argc < 3) {
        die("bench_tamper PROGRAM STORE [RUNS [SEED]]");
    }
    const long runs = argc > 3 ? atol(argv[3]) : 10000;
    state = argc > 4 ? strtoull(argv[4], NULL, 10) : 20260302;
    (void)snprintf(path, sizeof path, "/dev/shm/an-tampered-%ld", (long)getpid());
    read_pristine(argv[2]);
    put_back();
    head_of(head);
    put_back();
    if (verify(argv[1], head) != 0 || !content_of(&whole)) {
        die("the store is not whole to begin with");
    }
    for (long k = 0; k < runs; k++) {
        const enum kind kind = (enum kind)(k % KINDS);
        put_back();
        tamper(kind);
        sums[kind].runs++;
        const bool readable = content_of(&now);
        if (readable && memcmp(&whole, &now, sizeof now) == 0) {
            sums[kind].same++;
            continue;
        }
        const bool without = verify(argv[1], NULL) != 0;
        const bool with = without || verify(argv[1], head) != 0;
        sums[kind].without += without;
        sums[kind].with += with;
        if (!with) {
            char keep[340];
            (void)snprintf(keep, sizeof keep, "%s.%ld", path, k);
            (void)rename(path, keep);
            (void)printf("run %ld, %s: not found; kept as %s\n", k, names[kind], keep);
            escaped = 1;
        }
    }
    (void)printf("%-52s %6s %9s %13s %11s\n", "what was done", "runs", "no change", "found without",
                 "with a head");
    for (int kind = 0; kind < KINDS; kind++) {
        (void)printf("%-52s %6ld %9ld %13ld %11ld\n", names[kind], sums[kind].runs, sums[kind].same,
                     sums[kind].without, sums[kind].with);
    }
    put_back();
    (void)unlink(path);
    return escaped;
}
