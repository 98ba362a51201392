/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Then and now: runs a command as of a moment and again as of now, both as CSV into memory, sorts
 * the rows of both by what names a row, and tells what came, went or is another, with the act behind
 * it. Must never know what a command prints beyond the titles of its columns.
 *
 * Both answers are held in memory, so a long export is best asked for by stream or period.
 */
#include "cli/then_now.h"

#include "andamento/base/instant.h"

#include <stdlib.h>
#include <string.h>

static const char *const keys[][5] = {
    [AN_ROWS_SAMPLES] = {"stream", "at_utc", "file_sha256", "first_line", NULL},
    [AN_ROWS_SIGNALS] = {"signal", NULL},
    [AN_ROWS_LIMITS] = {"stream", NULL},
};
static const char *const names[][4] = {
    [AN_ROWS_SAMPLES] = {"stream", "at_utc", "item", NULL},
    [AN_ROWS_SIGNALS] = {"signal", "code", "stream", NULL},
    [AN_ROWS_LIMITS] = {"stream", NULL},
};
static const char *const titles[] = {"change", "row", "then -> now", "cause", "who", "when"};

struct telling {
    struct an_cli *cli;
    struct an_then_now_causes causes;
    enum an_format format;
    struct an_cli_table table;
    struct an_json json;
    size_t told;
};

/* ---- rows in order -------------------------------------------------------------------------------- */
static int compare_cells(const char *a, const char *b)
{
    const size_t digits_a = strspn(a, "0123456789");
    const size_t digits_b = strspn(b, "0123456789");

    if (!a[digits_a] && !b[digits_b] && digits_a != digits_b) { /* whole numbers */
        return digits_a < digits_b ? -1 : 1;
    }
    return strcmp(a, b);
}

static int compare_keys(const struct an_then_now_row *a, const struct an_then_now_row *b)
{
    int order = 0;

    for (const size_t *k = a->key; !order && *k != AN_NONE; k++) {
        order = compare_cells(a->cells[*k], b->cells[*k]);
    }
    return order;
}

static int by_key(const void *left, const void *right)
{
    const struct an_then_now_row *a = left;
    const struct an_then_now_row *b = right;
    const int order = compare_keys(a, b);

    return order ? order : (a->order > b->order) - (a->order < b->order);
}

/* The key's columns of this table; both answers come from one command, so they are the same. */
static enum an_status sort_rows(struct an_cli *cli, enum an_rows_of what,
                                struct an_then_now_table *table)
{
    size_t *key = an_arena_alloc(cli->arena, 5, sizeof *key);
    size_t used = 0;

    if (!key) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory while comparing then and now");
    }
    for (size_t k = 0; keys[what][k]; k++) {
        for (size_t c = 0; c < table->columns; c++) {
            if (strcmp(table->titles[c], keys[what][k]) == 0) {
                key[used++] = c;
            }
        }
    }
    key[used] = AN_NONE;
    for (size_t i = 0; i < table->count; i++) {
        table->rows[i].key = key;
    }
    if (table->count) {
        qsort(table->rows, table->count, sizeof *table->rows, by_key);
    }
    return AN_OK;
}

/* ---- telling -------------------------------------------------------------------------------------- */
static void tell_json(struct telling *t, const char *change, const struct an_then_now_table *table,
                      const struct an_then_now_row *then, const struct an_then_now_row *now,
                      const bool *differ, const struct an_act *act)
{
    struct an_json *json = &t->json;
    const struct an_then_now_row *row = now ? now : then;

    an_json_object(json);
    an_json_put_string(json, "change", change);
    an_json_key(json, "row");
    an_json_object(json);
    for (const size_t *k = row->key; *k != AN_NONE; k++) {
        an_json_put_string(json, table->titles[*k], row->cells[*k]);
    }
    an_json_end(json, '}');
    an_json_key(json, "columns");
    an_json_array(json);
    for (size_t c = 0; then && now && c < table->columns; c++) {
        if (differ[c]) {
            an_json_object(json);
            an_json_put_string(json, "column", table->titles[c]);
            an_json_put_string(json, "then", then->cells[c]);
            an_json_put_string(json, "now", now->cells[c]);
            an_json_end(json, '}');
        }
    }
    an_json_end(json, ']');
    an_json_put_string(json, "cause_kind", act->kind);
    an_json_put_string(json, "cause", act->what);
    an_json_put_string(json, "who", act->who);
    an_cli_json_time(t->cli, json, "known_at", act->at_us);
    an_json_end(json, '}');
}

static void add_name(struct telling *t, struct an_text *text, const struct an_then_now_table *table,
                     const struct an_then_now_row *row)
{
    for (size_t k = 0; names[t->causes.what][k]; k++) {
        an_text_addf(text, "%s%s", k ? " " : "",
                     an_then_now_cell(table, row, names[t->causes.what][k]));
    }
}

/* Numbers with six figures in a table for people, as they are in CSV. */
static void add_value(const struct telling *t, struct an_text *text, const char *cell)
{
    struct an_decimal number;

    if (t->format == AN_FORMAT_TABLE && cell[0] &&
        !an_decimal_parse(an_bytes_of(cell), '.', '\0', &number)) {
        an_text_addf(text, "%.6g", number.value);
    } else {
        an_text_add(text, cell[0] ? cell : "nothing");
    }
}

static void tell_row(struct telling *t, const char *change, const struct an_then_now_table *table,
                     const struct an_then_now_row *then, const struct an_then_now_row *now,
                     const bool *differ, const struct an_act *act)
{
    struct an_text texts[2] = {{0}}; /* row, differences */
    const char *none = t->format == AN_FORMAT_CSV ? "" : "-";
    char at[64];

    add_name(t, &texts[0], table, now ? now : then);
    for (size_t c = 0; then && now && c < table->columns; c++) {
        if (differ[c]) {
            an_text_addf(&texts[1], "%s%s ", texts[1].length ? "; " : "", table->titles[c]);
            add_value(t, &texts[1], then->cells[c]);
            an_text_add(&texts[1], " -> ");
            add_value(t, &texts[1], now->cells[c]);
        }
    }
    an_cli_cell(&t->table, change);
    for (size_t i = 0; i < 2; i++) {
        an_cli_cell(&t->table, an_text_of(&texts[i]));
        t->table.cells.failed = t->table.cells.failed || texts[i].failed;
        an_text_free(&texts[i]);
    }
    an_cli_cell(&t->table, act->what ? act->what : "no record tells why");
    an_cli_cell(&t->table, act->who ? act->who : none);
    an_cli_cell(&t->table, act->at_us == AN_NO_INSTANT
                               ? none
                               : an_instant_rfc3339_in(t->cli->line ? t->cli->line->zone : NULL,
                                                       act->at_us, at));
}

static enum an_status tell(struct telling *t, const char *change, enum an_then_now_group group,
                           const struct an_then_now_table *table,
                           const struct an_then_now_row *then, const struct an_then_now_row *now,
                           const bool *differ)
{
    struct an_act act;
    const enum an_status st = an_then_now_cause(&t->causes, group, table, now ? now : then, &act);

    if (st) {
        return st;
    }
    t->told++;
    if (t->format == AN_FORMAT_JSON) {
        tell_json(t, change, table, then, now, differ, &act);
    } else {
        tell_row(t, change, table, then, now, differ, &act);
    }
    return AN_OK;
}

/* A row of both answers: what differs, one telling for each group of columns. */
static enum an_status tell_changed(struct telling *t, const struct an_then_now_table *table,
                                   const struct an_then_now_row *then,
                                   const struct an_then_now_row *now)
{
    enum an_then_now_group *group_of =
        an_arena_alloc(t->cli->arena, table->columns + 1, sizeof *group_of);
    bool any[AN_GROUPS] = {false};
    bool *differ = an_arena_alloc(t->cli->arena, table->columns + 1, sizeof *differ);
    enum an_status st = AN_OK;

    if (!differ || !group_of) {
        return an_fail(&t->cli->err, AN_NO_MEMORY, "out of memory while comparing then and now");
    }
    for (size_t c = 0; c < table->columns; c++) {
        group_of[c] = an_then_now_group_of(t->causes.what, table->titles[c]);
        any[group_of[c]] = any[group_of[c]] || strcmp(then->cells[c], now->cells[c]) != 0;
    }
    if (any[AN_GROUP_LIMITS] && any[AN_GROUP_JUDGED]) { /* what is judged follows the limits */
        any[AN_GROUP_JUDGED] = false;
        for (size_t c = 0; c < table->columns; c++) {
            group_of[c] = group_of[c] == AN_GROUP_JUDGED ? AN_GROUP_LIMITS : group_of[c];
        }
    }
    for (int group = 0; !st && group < AN_GROUPS; group++) {
        for (size_t c = 0; any[group] && c < table->columns; c++) {
            differ[c] = (int)group_of[c] == group && strcmp(then->cells[c], now->cells[c]) != 0;
        }
        if (any[group]) {
            st = tell(t, "changed", (enum an_then_now_group)group, table, then, now, differ);
        }
    }
    return st;
}

static bool same_rows(const struct an_then_now_table *table, const struct an_then_now_row *a,
                      const struct an_then_now_row *b)
{
    for (size_t c = 0; c < table->columns; c++) {
        if (strcmp(a->cells[c], b->cells[c]) != 0) {
            return false;
        }
    }
    return true;
}

static enum an_status tell_all(struct telling *t, const struct an_then_now_table *then,
                               const struct an_then_now_table *now)
{
    enum an_status st = AN_OK;
    size_t i = 0;
    size_t k = 0;

    while (!st && (i < then->count || k < now->count)) {
        const struct an_then_now_row *a = i < then->count ? &then->rows[i] : NULL;
        const struct an_then_now_row *b = k < now->count ? &now->rows[k] : NULL;
        const int order = !a ? 1 : !b ? -1 : compare_keys(a, b);

        if (order < 0) {
            st = tell(t, "gone", AN_GROUP_ROW, then, a, NULL, NULL);
        } else if (order > 0) {
            st = tell(t, "new", AN_GROUP_ROW, now, NULL, b, NULL);
        } else if (!same_rows(now, a, b)) {
            st = tell_changed(t, now, a, b);
        }
        i += order <= 0;
        k += order >= 0;
    }
    return st;
}

/* ---- both answers --------------------------------------------------------------------------------- */
/* The command's answer in CSV; the store and the line stay open after it. */
static enum an_exit answer(struct an_cli *cli, const struct an_command *command, bool now,
                           struct an_text *text)
{
    an_store_close(cli->store);
    an_line_close(cli->line);
    cli->store = NULL;
    cli->line = NULL;
    cli->is_now = now;
    cli->as_of_us = AN_NO_INSTANT;
    cli->format = AN_FORMAT_CSV;
    cli->kept = text;
    const enum an_exit status = command->run(cli);
    an_cli_flush(cli);
    cli->kept = NULL;
    return status;
}

static enum an_status compare(struct an_cli *cli, const struct an_command *command,
                              struct an_text *then, struct an_text *now, enum an_format format,
                              size_t *told)
{
    struct an_then_now_table before;
    struct an_then_now_table after;
    struct telling t = {.cli = cli,
                        .format = format,
                        .causes = {.cli = cli,
                                   .what = command->rows_of,
                                   .since = cli->as_of_entries,
                                   .nearest = {.at_us = AN_NO_INSTANT}},
                        .table = {.titles = titles, .columns = sizeof titles / sizeof *titles}};
    enum an_status st = then->failed || now->failed
                            ? an_fail(&cli->err, AN_NO_MEMORY,
                                      "out of memory while comparing then and now: ask for fewer "
                                      "streams or a shorter period")
                            : AN_OK;

    an_text_add(then, "");
    an_text_add(now, "");
    st = st ? st : an_then_now_read(cli, then->at, &before);
    st = st ? st : an_then_now_read(cli, now->at, &after);
    st = st ? st : sort_rows(cli, command->rows_of, &before);
    st = st ? st : sort_rows(cli, command->rows_of, &after);
    if (st) {
        return st;
    }
    cli->format = format;
    if (format == AN_FORMAT_JSON) {
        t.json = an_cli_json_begin(cli, "andamento.then-and-now.1");
        an_json_array(&t.json);
    }
    st = tell_all(&t, &before, &after);
    *told = t.told;
    if (st) {
        an_text_clear(&cli->out);
        an_text_free(&t.table.cells);
    } else if (format == AN_FORMAT_JSON) {
        an_json_end(&t.json, ']');
        an_cli_json_end(cli, &t.json);
    } else if (t.told || format == AN_FORMAT_CSV) {
        an_cli_table_print(cli, &t.table);
    } else {
        an_text_add(&cli->out, "the same then and now\n");
    }
    return st;
}

enum an_exit an_then_now_run(struct an_cli *cli, const struct an_command *command)
{
    const enum an_format format = cli->format;
    struct an_text then = {0};
    struct an_text now = {0};
    size_t told = 0;
    enum an_status st = AN_OK;

    if (!an_option_value(&cli->options, "as-of")) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "--then-and-now wants --as-of TIME: the moment to compare with");
    } else if (an_option_value(&cli->options, "output")) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "--then-and-now writes to standard output; leave --output out");
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    enum an_exit status = answer(cli, command, false, &then);
    if (status <= AN_EXIT_FINDING) {
        status = answer(cli, command, true, &now);
    }
    if (status <= AN_EXIT_FINDING) {
        st = compare(cli, command, &then, &now, format, &told);
        status = st ? an_cli_failed(cli, st) : told ? AN_EXIT_FINDING : AN_EXIT_DONE;
    }
    an_text_free(&then);
    an_text_free(&now);
    return status;
}
