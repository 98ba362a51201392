/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The database itself: whole by SQLite's own checks, references that lead somewhere, and tables,
 * indexes, triggers and views as its format has them. Must never change it.
 */
#include "andamento/store/verify.h"
#include "store/constraint_check.h"
#include "store/handle.h"
#include "store/migrate.h"

#include <stdio.h>
#include <string.h>

static const char doing[] = "checking the database";

/* A finding for each row of the pragma, in words of ours. */
static enum an_status each_row(struct an_store *store, const char *sql, const char *good,
                               const char *words, an_finding *finding, void *context,
                               struct an_error *err)
{
    sqlite3_stmt *stmt = NULL;
    int rc = sqlite3_prepare_v2(store->db, sql, -1, &stmt, NULL);

    while (rc == SQLITE_OK || rc == SQLITE_ROW) {
        rc = sqlite3_step(stmt);
        const char *said = rc == SQLITE_ROW ? (const char *)sqlite3_column_text(stmt, 0) : NULL;
        if (rc == SQLITE_ROW && !(good && said && strcmp(said, good) == 0)) {
            char text[400];
            const long long row = /* a table without rowid has none */
                sqlite3_column_count(stmt) > 1 ? sqlite3_column_int64(stmt, 1) : 0;
            (void)snprintf(text, sizeof text, "%s: %s%s%.0lld", words, said ? said : "?",
                           row ? ", row " : "", row);
            finding(context, text);
        }
    }
    (void)sqlite3_finalize(stmt);
    if ((rc & 0xff) == SQLITE_CORRUPT || (rc & 0xff) == SQLITE_NOTADB) {
        finding(context, "the database file is damaged: SQLite cannot read all of it");
        return AN_OK;
    }
    return rc == SQLITE_DONE ? AN_OK : an_sql_fail(store, rc, doing, err);
}

/* Every object of the schema as text, in order. */
static int schema_of(sqlite3 *db, struct an_text *out)
{
    static const char sql[] =
        "SELECT type, name, tbl_name, coalesce(sql, '') FROM main.sqlite_schema"
        " WHERE name NOT LIKE 'sqlite_stat%' ORDER BY type, name";
    sqlite3_stmt *stmt = NULL;
    int rc = sqlite3_prepare_v2(db, sql, -1, &stmt, NULL);

    while (rc == SQLITE_OK || rc == SQLITE_ROW) {
        rc = sqlite3_step(stmt);
        for (int c = 0; rc == SQLITE_ROW && c < 4; c++) {
            an_text_add_bytes(out, (struct an_bytes){sqlite3_column_text(stmt, c),
                                                     (size_t)sqlite3_column_bytes(stmt, c)});
            an_text_add_char(out, c < 3 ? '\t' : '\0');
        }
    }
    (void)sqlite3_finalize(stmt);
    return rc == SQLITE_DONE && out->failed ? SQLITE_NOMEM : rc == SQLITE_DONE ? SQLITE_OK : rc;
}

/* The schema that the program's own migrations make. */
static enum an_status wanted_schema(struct an_text *out, struct an_error *err)
{
    size_t count = 0;
    const struct an_migration *list = an_migrations(&count);
    sqlite3 *db = NULL;
    int rc = sqlite3_open_v2(":memory:", &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL);

    for (size_t i = 0; rc == SQLITE_OK && i < count; i++) {
        rc = sqlite3_exec(db, list[i].sql, NULL, NULL, NULL);
    }
    rc = rc == SQLITE_OK ? schema_of(db, out) : rc;
    (void)sqlite3_close(db);
    return rc == SQLITE_OK ? AN_OK
                           : an_fail(err, rc == SQLITE_NOMEM ? AN_NO_MEMORY : AN_BUG,
                                     "%s: the schema of its format could not be made", doing);
}

/* The object that begins at `at`: its type and name, and its length with the end. */
static size_t object_at(const char *at, char name[200])
{
    const char *tab = strchr(at, '\t');
    const char *end = tab ? strchr(tab + 1, '\t') : NULL;

    (void)snprintf(name, 200, "%.*s", end ? (int)(end - at) : 0, at);
    for (char *c = name; *c; c++) {
        *c = *c == '\t' ? ' ' : *c;
    }
    return strlen(at) + 1;
}

/* What stands in one of the two lists and not, or not so, in the other. Both are in order. */
static void compare(const struct an_text *is, const struct an_text *wanted, an_finding *finding,
                    void *context)
{
    const char *a = an_text_of(is);
    const char *b = an_text_of(wanted);
    const char *a_end = a + is->length;
    const char *b_end = b + wanted->length;

    while (a < a_end || b < b_end) {
        char name_a[200] = "";
        char name_b[200] = "";
        char text[300];
        const size_t step_a = a < a_end ? object_at(a, name_a) : 0;
        const size_t step_b = b < b_end ? object_at(b, name_b) : 0;
        const int order = !step_a ? 1 : !step_b ? -1 : strcmp(name_a, name_b);

        if (order < 0) {
            (void)snprintf(text, sizeof text, "the store has a %s that its format does not have",
                           name_a);
            finding(context, text);
        } else if (order > 0) {
            (void)snprintf(text, sizeof text, "the store has no %s, which its format has", name_b);
            finding(context, text);
        } else if (strcmp(a, b) != 0) {
            (void)snprintf(text, sizeof text, "%s is not as the store's format has it", name_a);
            finding(context, text);
        }
        a += order <= 0 ? step_a : 0;
        b += order >= 0 ? step_b : 0;
    }
}

/* Rows against the constraints that the wanted tables have. */
static enum an_status check_constraints(struct an_store *store, const struct an_text *wanted,
                                        an_finding *finding, void *context, struct an_error *err)
{
    const char *at = an_text_of(wanted);
    const char *end = at + wanted->length;
    enum an_status st = AN_OK;

    while (!st && at < end) {
        char name[200];
        const size_t step = object_at(at, name);
        const char *tab = strchr(at, '\t');
        tab = tab ? strchr(tab + 1, '\t') : NULL;
        const char *sql = tab ? strchr(tab + 1, '\t') : NULL; /* type, name, table, sql */

        if (sql && strncmp(name, "table ", 6) == 0) {
            st = an_table_constraints_check(store, name + 6, sql + 1, finding, context, err);
        }
        at += step;
    }
    return st;
}

/* What neither a file's digest nor an original's hash tells. */
static const struct {
    const char *sql, *words;
} counts[] = {
    /* their bytes alone do not tell: one piece reads the same under any number */
    {"SELECT file_id FROM original_piece GROUP BY file_id"
     " HAVING min(piece) <> 0 OR max(piece) <> count(*) - 1",
     "the pieces of an original are not numbered from 0 on, of file"},
    {"SELECT file_id FROM original WHERE form NOT IN (1, 2) OR pieces <>"
     " (SELECT count(*) FROM original_piece p WHERE p.file_id = original.file_id)",
     "an original has not the pieces, or the form, that its record tells, of file"},
    {"SELECT p.file_id FROM original_piece p WHERE NOT EXISTS"
     " (SELECT 1 FROM original o WHERE o.file_id = p.file_id) GROUP BY p.file_id",
     "pieces of an original stand without its record, of file"},
    {"SELECT o.file_id FROM original o JOIN file f ON f.file_id = o.file_id"
     " WHERE o.hash <> f.hash OR o.bytes <> f.bytes",
     "the record of an original has not the hash and length of its file, of file"},
    /* bytes that another file has, too, read the same from there */
    {"SELECT f.file_id FROM file f WHERE f.round = 0 AND EXISTS"
     " (SELECT 1 FROM original o WHERE o.hash = f.hash) AND NOT EXISTS"
     " (SELECT 1 FROM original o WHERE o.file_id = f.file_id) AND NOT EXISTS"
     " (SELECT 1 FROM retention_file d WHERE d.file_id = f.file_id AND d.kind = 2)",
     "an original is missing and no record says that it was dropped, of file"},
    {"SELECT max(release_id) FROM release HAVING max(release_id) <> count(*)",
     "the numbers of releases have a gap; the greatest is"},
    {"SELECT f.file_id FROM file f JOIN ledger l ON l.entry = f.entry"
     " WHERE json_valid(l.payload) AND f.round <> coalesce(json_extract(l.payload, '$.round'), 0)",
     "the round is not the one that the ledger tells, of file"},
};

enum an_status an_store_shape_check(struct an_store *store, an_finding *finding, void *context,
                                    struct an_error *err)
{
    struct an_text is = {0};
    struct an_text wanted = {0};
    enum an_status st = each_row(store, "PRAGMA main.integrity_check(20)", "ok", "SQLite's check",
                                 finding, context, err);

    st = st ? st
            : each_row(store, "PRAGMA foreign_key_check", NULL,
                       "a reference leads nowhere, of table", finding, context, err);
    if (!st && schema_of(store->db, &is) != SQLITE_OK) {
        st = an_fail(err, AN_NO_STORE, "%s: its schema cannot be read", doing);
    }
    st = st ? st : wanted_schema(&wanted, err);
    if (!st) {
        compare(&is, &wanted, finding, context);
        st = check_constraints(store, &wanted, finding, context, err);
    }
    for (size_t i = 0; !st && i < sizeof counts / sizeof *counts; i++) {
        st = each_row(store, counts[i].sql, NULL, counts[i].words, finding, context, err);
    }
    an_text_free(&is);
    an_text_free(&wanted);
    return st;
}
