/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which act stands behind which columns of which answer. Must never name an act that no record has. */
#include "cli/then_now.h"

#include <stdlib.h>
#include <string.h>

static const struct {
    enum an_rows_of what;
    enum an_then_now_group group;
    const char *titles; /* with a blank before and after each */
} groups[] = {
    {AN_ROWS_SAMPLES, AN_GROUP_VALUES,
     " readings missing mean sd min max count opportunities batch corrected "},
    {AN_ROWS_SAMPLES, AN_GROUP_ITEM, " item "},
    {AN_ROWS_SAMPLES, AN_GROUP_LIMITS, " limits family excluded "},
    {AN_ROWS_SAMPLES, AN_GROUP_KEPT, " readings_kept "},
    {AN_ROWS_SAMPLES, AN_GROUP_LINE, " at_local shift unit "},
    {AN_ROWS_LIMITS, AN_GROUP_VALUES, " doubtful "},
    {AN_ROWS_SIGNALS, AN_GROUP_ANSWER, " cause containment action answered_by "},
};

enum an_then_now_group an_then_now_group_of(enum an_rows_of what, const char *title)
{
    char word[64] = " ";
    size_t length = 1;

    for (const char *c = title; *c && length + 2 < sizeof word; c++) {
        word[length++] = *c == ' ' ? '_' : *c;
    }
    word[length++] = ' ';
    word[length] = '\0';
    for (size_t i = 0; i < sizeof groups / sizeof *groups; i++) {
        if (groups[i].what == what && strstr(groups[i].titles, word)) {
            return groups[i].group;
        }
    }
    return what == AN_ROWS_LIMITS ? AN_GROUP_LIMITS : AN_GROUP_JUDGED;
}

const char *an_then_now_cell(const struct an_then_now_table *table,
                             const struct an_then_now_row *row, const char *title)
{
    for (size_t c = 0; c < table->columns; c++) {
        if (strcmp(table->titles[c], title) == 0) {
            return row->cells[c];
        }
    }
    return "";
}

static enum an_status sample_cause(struct an_then_now_causes *causes, enum an_then_now_group group,
                                   const struct an_then_now_table *table,
                                   const struct an_then_now_row *row, struct an_act *act)
{
    struct an_cli *cli = causes->cli;
    const char *stream = an_then_now_cell(table, row, "stream");
    const int64_t line = strtoll(an_then_now_cell(table, row, "first_line"), NULL, 10);
    struct an_sha256 hash;
    enum an_status st = AN_OK;

    if (an_sha256_parse(an_then_now_cell(table, row, "file_sha256"), &hash)) {
        return an_fail(&cli->err, AN_BUG, "an exported row has no file");
    }
    if (causes->nearest_stream && strcmp(causes->nearest_stream, stream) != 0) {
        causes->nearest_stream = NULL;
    }
    switch (group) {
    case AN_GROUP_ITEM:
        return an_store_serial_act(cli->store, &hash, stream, line, causes->since, cli->arena, act,
                                   &cli->err);
    case AN_GROUP_KEPT:
        return an_store_dropped_act(cli->store, &hash, causes->since, cli->arena, act, &cli->err);
    case AN_GROUP_LIMITS:
        return an_store_limits_act(cli->store, stream, causes->since, cli->arena, act, &cli->err);
    case AN_GROUP_ROW:
    case AN_GROUP_VALUES:
        st = an_store_sample_act(cli->store, &hash, stream, line, causes->since, cli->arena, act,
                                 &cli->err);
        if (!st && act->kind) {
            causes->nearest = *act;
            causes->nearest_stream = stream;
        }
        return st;
    default:
        break;
    }
    st = an_store_sample_act(cli->store, &hash, stream, line, causes->since, cli->arena, act,
                             &cli->err);
    if (!st && !act->kind && causes->nearest_stream) {
        const char *what =
            an_arena_printf(cli->arena, "%s, earlier in the stream", causes->nearest.what);
        *act = causes->nearest;
        act->what = what;
        st = what ? AN_OK : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    return st;
}

static enum an_status signal_cause(struct an_then_now_causes *causes, enum an_then_now_group group,
                                   const struct an_then_now_table *table,
                                   const struct an_then_now_row *row, struct an_act *act)
{
    struct an_cli *cli = causes->cli;
    const int64_t id = strtoll(an_then_now_cell(table, row, "signal"), NULL, 10);
    enum an_status st = AN_OK;

    if (group != AN_GROUP_ANSWER) {
        st = an_store_signal_act(cli->store, id, causes->since, cli->arena, act, &cli->err);
        if (st || act->kind || group != AN_GROUP_ROW) {
            return st;
        }
    } /* a row may also come or go by --open and --answered */
    return an_store_answer_act(cli->store, id, causes->since, cli->arena, act, &cli->err);
}

enum an_status an_then_now_cause(struct an_then_now_causes *causes, enum an_then_now_group group,
                                 const struct an_then_now_table *table,
                                 const struct an_then_now_row *row, struct an_act *act)
{
    struct an_cli *cli = causes->cli;
    enum an_status st = AN_OK;

    *act = (struct an_act){.at_us = AN_NO_INSTANT};
    if (causes->what == AN_ROWS_SAMPLES) {
        st = group == AN_GROUP_LINE ? AN_OK : sample_cause(causes, group, table, row, act);
    } else if (causes->what == AN_ROWS_SIGNALS) {
        st = signal_cause(causes, group, table, row, act);
    } else if (group == AN_GROUP_VALUES) {
        st = an_store_stream_act(cli->store, an_then_now_cell(table, row, "stream"), causes->since,
                                 cli->arena, act, &cli->err);
    } else {
        st = an_store_limits_act(cli->store, an_then_now_cell(table, row, "stream"), causes->since,
                                 cli->arena, act, &cli->err);
    }
    if (!st && !act->kind) { /* what is shown may come from the description alone */
        st = an_store_line_act(cli->store, causes->since, cli->arena, act, &cli->err);
    }
    return st;
}
