/* SPDX-License-Identifier: GPL-3.0-or-later */
/* --then-and-now: an answer as of a moment against the same answer now, row by row, with causes. */
#ifndef AN_CLI_THEN_NOW_H
#define AN_CLI_THEN_NOW_H

#include "andamento/store/change.h"
#include "cli/cli.h"

/* Runs the command twice and tells the differences instead of its answer. */
enum an_exit an_then_now_run(struct an_cli *cli, const struct an_command *command);

/* ---- inside ----------------------------------------------------------------------------------- */
struct an_then_now_row {
    char **cells;
    size_t order;      /* in the answer */
    const size_t *key; /* columns of the key, AN_NONE at the end */
};
struct an_then_now_table {
    char **titles;
    size_t columns;
    struct an_then_now_row *rows;
    size_t count;
};
/* Reads an answer in CSV, in place. AN_BUG if it is none. */
AN_CHECKED enum an_status an_then_now_read(struct an_cli *cli, char *text,
                                           struct an_then_now_table *table);

/* Columns of a row that one act explains together. */
enum an_then_now_group {
    AN_GROUP_ROW,    /* the whole row came or went */
    AN_GROUP_VALUES, /* what was measured */
    AN_GROUP_ITEM,
    AN_GROUP_LIMITS,
    AN_GROUP_JUDGED, /* what is made of values, limits and the samples before */
    AN_GROUP_ANSWER,
    AN_GROUP_KEPT,
    AN_GROUP_LINE,
    AN_GROUPS
};
enum an_then_now_group an_then_now_group_of(enum an_rows_of what, const char *title);
/* The act behind a group's difference; act->kind NULL: no record explains it. Rows of a table are
 * asked in order. */
struct an_then_now_causes {
    struct an_cli *cli;
    enum an_rows_of what;
    int64_t since;
    struct an_act nearest;      /* newest change of samples so far in the stream in hand */
    const char *nearest_stream; /* that stream; NULL: none */
};
AN_CHECKED enum an_status an_then_now_cause(struct an_then_now_causes *causes,
                                            enum an_then_now_group group,
                                            const struct an_then_now_table *table,
                                            const struct an_then_now_row *row, struct an_act *act);
const char *an_then_now_cell(const struct an_then_now_table *table,
                             const struct an_then_now_row *row, const char *title);

#endif
