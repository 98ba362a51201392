/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a station's description means for its files: which columns are needed for what, worked out
 * once a station. Read-only after an_plan_open(), except for nothing: any number of files may use
 * it one after the other. One thread.
 */
#ifndef AN_INTAKE_PLAN_H
#define AN_INTAKE_PLAN_H

#include "andamento/base/memory.h"
#include "andamento/base/status.h"
#include "line/line.h"

#include <regex.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* What a column is needed for. */
enum {
    AN_USE_VALUE = 1,  /* a reading, count, opportunity, part, whole or share: a number */
    AN_USE_GRID = 2,   /* a place in a grid: a number */
    AN_USE_TEXT = 4,   /* as it is written */
    AN_USE_TIME = 8,   /* an instant */
    AN_USE_COUNTS = 16 /* among the numbers: whole, 0 or more */
};

struct an_plan_column {
    const char *name;
    unsigned uses;
    bool from_preamble;
    size_t preamble;                      /* its index in the station's list, if from_preamble */
    const struct an_missing_code **codes; /* of all characteristics that read it */
    size_t code_count;
    unsigned char code_starts[32]; /* bit per first byte of a code: most fields need no look */
    const char *unit;              /* as the file should have it, or NULL */
};

/* One text column and the words that let a row through. */
struct an_plan_filter {
    size_t column;
    const struct an_word_list *words;
};

/* A measured characteristic that something is made of, with every filter on the way to it. */
struct an_plan_leaf {
    const struct an_characteristic *of;
    size_t column, row_column, column_column; /* AN_NONE where there is none */
    bool wants_cells;                         /* a neighbour step is made of it */
    struct an_plan_filter *filters;
    size_t filter_count;
};

/* The columns whose values part the streams of some characteristics. */
struct an_plan_split {
    size_t *columns;
    size_t count;
};

/* A characteristic of the station. Measured and counted ones have one leaf, derived ones one for
 * each measured characteristic at the ends of what they are made of, in order of reading. */
struct an_quantity {
    const struct an_characteristic *of;
    size_t index; /* in the line's list */
    size_t split; /* index into the plan's splits */
    struct an_plan_leaf *leaves;
    size_t leaf_count;
    size_t *sum_columns; /* counted: all of them */
    size_t sum_count;
    size_t event_column, opportunities_column;
    size_t ribbon_column;
};

struct an_plan_link {
    const struct an_link_rule *rule;
    size_t column, role, share, row, column_place, region, ends, confidence;
    bool may_end;  /* some rule of the line ends such links */
    bool may_loop; /* the kinds allow that the whole went into the part */
    bool checked;  /* looked at in the store before it is put */
};

struct an_plan_list { /* allowed words of a column */
    size_t column;
    const struct an_word_list *words;
};

struct an_pattern { /* a compiled regular expression, or none */
    regex_t regex;
    bool is_set;
};

struct an_plan {
    const struct an_line *line;
    const struct an_station *station;
    struct an_plan_column *columns;
    size_t column_count;
    size_t item, time, sequence, purpose, gauge, tool, who, attempt; /* columns or AN_NONE */
    size_t reason;                                                   /* why a row was corrected */
    size_t *key; /* columns that tell an item's rows apart */
    size_t key_count;
    bool key_declared;       /* else it is the usual one, and may not be enough */
    size_t identity, number; /* preamble fields that name the machine and count the files */
    bool identity_is_tool;
    size_t *makers; /* stations that make items of this one's kind; not this one */
    size_t maker_count;
    bool any_closed; /* some kind of item is closed by a station */
    struct an_quantity *quantities;
    size_t quantity_count;
    struct an_plan_split *splits;
    size_t split_count;
    struct an_plan_link *links;
    size_t link_count;
    bool any_ends;    /* some rule of the station ends links */
    bool any_checked; /* some link is looked at before it is put */
    struct an_plan_list *allowed;
    size_t allowed_count;
    size_t (*part_whole)[2]; /* part, whole */
    size_t part_whole_count;
    struct an_zone *zone;             /* of times without offset */
    struct an_zone *own_zone;         /* to be closed, or NULL */
    struct an_pattern *kind_patterns; /* one a kind */
    struct an_pattern reference, footer, file_number;
    char footer_start[64]; /* what a footer line begins with for certain; "" unknown */
    struct an_pattern *preamble;
    size_t preamble_count;
    struct an_arena *arena;
};

AN_CHECKED enum an_status an_plan_open(const struct an_line *line, size_t station,
                                       struct an_plan **plan, struct an_error *err);
void an_plan_close(struct an_plan *plan); /* NULL is fine */

bool an_pattern_fits(const struct an_pattern *pattern, const char *text);
/* Group 1 of the first match; false if there is no match or no such group. */
bool an_pattern_group(const struct an_pattern *pattern, const char *text, struct an_bytes *group);

/* plan_links.c: does some rule of the line end links such as this rule's? */
bool an_plan_may_end(const struct an_plan *plan, const struct an_link_rule *rule);
/* Do the line's rules lead from the kind of the whole, link by link, to that of the part? */
bool an_plan_may_loop(const struct an_plan *plan, const struct an_link_rule *rule);

#endif
