/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Takes the split part of a stream's name apart. Must never guess: a text that does not begin with
 * the columns the description names is parted at its commas instead.
 */
#include "judge/stream_split.h"

#include <string.h>

static const char purpose_key[] = "purpose=";

/* Where the part that begins at `text` ends: before ",KEY=" of the column that comes next. */
static const char *part_end(const char *text, const char *next_column)
{
    const size_t length = next_column ? strlen(next_column) : 0;

    for (const char *comma = strchr(text, ','); comma; comma = strchr(comma + 1, ',')) {
        if (strncmp(comma + 1, purpose_key, sizeof purpose_key - 1) == 0) {
            return comma;
        }
        if (next_column && strncmp(comma + 1, next_column, length) == 0 &&
            comma[1 + length] == '=') {
            return comma;
        }
    }
    return text + strlen(text);
}

static enum an_status add_part(const char *from, const char *until, struct an_arena *arena,
                               struct an_split *split)
{
    const char *equals = memchr(from, '=', (size_t)(until - from));
    const char *value = equals ? equals + 1 : until;
    struct an_split_part *part = &split->parts[split->count];

    part->column = an_arena_copy(arena, from, (size_t)((equals ? equals : until) - from));
    part->value = an_arena_copy(arena, value, (size_t)(until - value));
    if (!part->column || !part->value) {
        return AN_NO_MEMORY;
    }
    split->count++;
    return AN_OK;
}

static size_t count_commas(const char *text)
{
    size_t commas = 0;

    for (; *text; text++) {
        commas += *text == ',';
    }
    return commas;
}

enum an_status an_split_of(const char *text, const struct an_characteristic *characteristic,
                           struct an_arena *arena, struct an_split *split)
{
    const char *at = text ? text : "";

    memset(split, 0, sizeof *split);
    split->parts = an_arena_alloc(arena, count_commas(at) + 1, sizeof *split->parts);
    if (!split->parts) {
        return AN_NO_MEMORY;
    }
    while (*at) {
        const size_t next = split->count + 1;
        const bool known = characteristic && split->count < characteristic->splits.count;
        const char *end;

        if (strncmp(at, purpose_key, sizeof purpose_key - 1) == 0 && !known) {
            split->purpose = an_arena_printf(arena, "%s", at + sizeof purpose_key - 1);
            return split->purpose ? AN_OK : AN_NO_MEMORY;
        }
        if (known) {
            end = part_end(at, next < characteristic->splits.count ? characteristic->splits.at[next]
                                                                   : NULL);
        } else {
            end = strchr(at, ',');
            end = end ? end : at + strlen(at);
        }
        const enum an_status st = add_part(at, end, arena, split);
        if (st) {
            return st;
        }
        at = *end ? end + 1 : end;
    }
    return AN_OK;
}

const char *an_split_value(const struct an_split *split, const char *column)
{
    for (size_t i = 0; i < split->count; i++) {
        if (strcmp(split->parts[i].column, column) == 0) {
            return split->parts[i].value;
        }
    }
    return NULL;
}
