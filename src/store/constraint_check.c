/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rows against the CHECK constraints of their tables. SQLite's own integrity check leaves these out
 * on a connection that only reads: it does not even keep them then. So they are asked one by one, as
 * the program's format has them, whatever the store's own schema says. Must never change the store.
 */
#include "store/constraint_check.h"

#include "andamento/base/text.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

static const char doing[] = "checking rows against their constraints";

enum { MOST_CONSTRAINTS = 24, TEXT_MOST = 120 };

struct constraint {
    const char *at; /* the parenthesis that opens */
    int length;     /* with both of them */
};

static bool is_of_word(char c)
{
    return isalnum((unsigned char)c) || c == '_';
}

/* What follows a comment or a quoted text that begins here; `at` if none does. */
static const char *after_aside(const char *at)
{
    const char *end = at;

    if (strncmp(at, "--", 2) == 0) {
        return at + strcspn(at, "\n");
    }
    if (strncmp(at, "/*", 2) == 0) {
        end = strstr(at + 2, "*/");
        return end ? end + 2 : at + strlen(at);
    }
    if (*at == '\'' || *at == '"' || *at == '`' || *at == '[') {
        end = strchr(at + 1, *at == '[' ? ']' : *at);
        return end ? end + 1 : at + strlen(at);
    }
    return at;
}

/* From an opening parenthesis to what follows its partner. */
static const char *after_partner(const char *at)
{
    int depth = 0;

    while (*at) {
        const char *next = after_aside(at);
        if (next != at) {
            at = next;
            continue;
        }
        depth += (*at == '(') - (*at == ')');
        at++;
        if (depth == 0) {
            return at;
        }
    }
    return at;
}

static size_t constraints_of(const char *sql, struct constraint found[MOST_CONSTRAINTS])
{
    size_t count = 0;
    const char *at = sql;

    while (*at && count < MOST_CONSTRAINTS) {
        const char *next = after_aside(at);
        if (next != at) {
            at = next;
        } else if (!is_of_word(*at)) {
            at++;
        } else {
            const char *word = at;
            while (is_of_word(*at)) {
                at++;
            }
            const bool is_check = at - word == 5 && strncasecmp(word, "check", 5) == 0;
            const char *open = is_check ? at + strspn(at, " \t\r\n") : at;
            if (is_check && *open == '(') {
                at = after_partner(open);
                found[count++] = (struct constraint){open, (int)(at - open)};
            }
        }
    }
    return count;
}

/* The constraint as text, in one line. */
static const char *words_of(const struct constraint *c, char text[TEXT_MOST])
{
    int length = 0;

    for (int i = 0; i < c->length && length < TEXT_MOST - 1; i++) {
        const char letter = c->at[i] == '\n' || c->at[i] == '\t' ? ' ' : c->at[i];
        if (letter != ' ' || (length > 0 && text[length - 1] != ' ')) {
            text[length++] = letter;
        }
    }
    text[length] = '\0';
    return text;
}

static void tell(sqlite3_stmt *stmt, int k, const char *table, const struct constraint *c,
                 an_finding *finding, void *context)
{
    const long long rows = sqlite3_column_int64(stmt, 2 * k);
    char words[TEXT_MOST];
    char text[400];

    if (rows > 0) {
        (void)snprintf(text, sizeof text,
                       "table %s: %lld row%s break%s the constraint %s, the first is %lld", table,
                       rows, rows == 1 ? "" : "s", rows == 1 ? "s" : "", words_of(c, words),
                       (long long)sqlite3_column_int64(stmt, 2 * k + 1));
        finding(context, text);
    }
}

enum an_status an_table_constraints_check(struct an_store *store, const char *table,
                                          const char *sql, an_finding *finding, void *context,
                                          struct an_error *err)
{
    struct constraint found[MOST_CONSTRAINTS];
    const size_t count = constraints_of(sql, found);
    const char *number = strstr(sql, "WITHOUT ROWID") ? "file_id" : "rowid";
    struct an_text ask = {0};
    sqlite3_stmt *stmt = NULL;

    if (!count) {
        return AN_OK;
    }
    an_text_add(&ask, "SELECT ");
    for (size_t k = 0; k < count; k++) {
        an_text_addf(&ask, "%scount(CASE WHEN NOT %.*s THEN 1 END)", k ? ", " : "", found[k].length,
                     found[k].at);
        an_text_addf(&ask, ", min(CASE WHEN NOT %.*s THEN %s END)", found[k].length, found[k].at,
                     number);
    }
    an_text_addf(&ask, " FROM main.\"%s\"", table);
    int rc = ask.failed ? SQLITE_NOMEM
                        : sqlite3_prepare_v2(store->db, an_text_of(&ask), -1, &stmt, NULL);
    rc = rc == SQLITE_OK ? sqlite3_step(stmt) : rc;
    for (size_t k = 0; rc == SQLITE_ROW && k < count; k++) {
        tell(stmt, (int)k, table, &found[k], finding, context);
    }
    (void)sqlite3_finalize(stmt);
    an_text_free(&ask);
    if (rc == SQLITE_ERROR || (rc & 0xff) == SQLITE_CORRUPT || (rc & 0xff) == SQLITE_NOTADB) {
        return AN_OK; /* a table that is missing, has other columns or is damaged is told as that */
    }
    return rc == SQLITE_ROW ? AN_OK : an_sql_fail(store, rc, doing, err);
}
