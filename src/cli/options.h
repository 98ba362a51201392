/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Options of a command, from one table: parsing, help, and completion come from the same rows.
 *
 * Long options match exactly (no abbreviations, so that a new option never breaks a script); short
 * ones may be grouped; "--" ends options; "-" alone is an operand. Options and operands may mix.
 */
#ifndef AN_CLI_OPTIONS_H
#define AN_CLI_OPTIONS_H

#include "andamento/base/memory.h"
#include "andamento/base/status.h"
#include "andamento/base/text.h"

#include <stdbool.h>
#include <stddef.h>

struct an_option {
    const char *name;  /* long name without dashes */
    char letter;       /* or 0 */
    const char *value; /* name of its value for help, "FILE"; NULL: a switch */
    const char *help;
};

struct an_given { /* one option as it was given */
    const struct an_option *option;
    const char *value;
};

struct an_options {
    const struct an_given *given; /* in order */
    size_t given_count;
    const char **operands;
    size_t operand_count;
};

/* tables: NULL-terminated list of tables, each ended by a row whose name is NULL. The arrays are
 * the arena's. AN_BAD_USAGE with a text that names the argument and, where one is near, the option
 * that was perhaps meant. */
AN_CHECKED enum an_status an_options_parse(int argc, char *const argv[],
                                           const struct an_option *const *tables,
                                           struct an_arena *arena, struct an_options *options,
                                           struct an_error *err);
bool an_option_on(const struct an_options *options, const char *name);
/* The last value given, NULL if none. */
const char *an_option_value(const struct an_options *options, const char *name);
/* The k-th value given (from 0), NULL if there are fewer. */
const char *an_option_value_at(const struct an_options *options, const char *name, size_t k);
/* "  -o, --output FILE   where to write" lines. */
void an_options_help(const struct an_option *table, struct an_text *out);
/* Edit distance of two short names, for "did you mean"; at most 99. */
size_t an_name_distance(const char *a, const char *b);

#endif
