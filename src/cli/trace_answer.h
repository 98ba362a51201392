/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How a trace is told: as a tree, a table, JSON, or a graph for Graphviz. */
#ifndef AN_CLI_TRACE_ANSWER_H
#define AN_CLI_TRACE_ANSWER_H

#include "cli/cli.h"
#include "trace/trace.h"

struct an_trace_answer { /* one direction */
    struct an_trace trace;
    struct an_trace_missing *missing;
    size_t missing_count;
    bool *asked; /* a step: is of a kind and role that was asked for */
    bool *shown; /* a step: asked, or leads to one that is */
    bool *reached_asked;
};

/* What is told of the item itself. */
struct an_trace_subject {
    struct an_known_as *known; /* other serials of it */
    size_t known_count;
    struct an_known_as *ends[2]; /* told of links that nobody told; by way */
    size_t end_count[2];
    struct an_trace_grid *grids; /* one a kind of parts of which each place holds one */
    const char **grid_kinds;
    size_t grid_count;
};

/* Marks what was asked for by --kind and --role. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_trace_answer_mark(struct an_cli *cli, struct an_trace_answer *answer);

void an_trace_tree(struct an_cli *cli, const struct an_trace_subject *subject,
                   const struct an_trace_answer *answers, size_t count);
/* A row a link walked, or with sums a row an item reached. */
void an_trace_table(struct an_cli *cli, const struct an_trace_answer *answers, size_t count,
                    bool sums);
void an_trace_json(struct an_cli *cli, const struct an_trace_subject *subject,
                   const struct an_trace_answer *answers, size_t count);
void an_trace_dot(struct an_cli *cli, const struct an_trace_answer *answers, size_t count);
/* "25 %", "" if not known; 32 bytes. */
const char *an_trace_share(double share, char buffer[32]);

#endif
