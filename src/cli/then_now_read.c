/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reads back an answer of our own in CSV. Must never be used for what others wrote. */
#include "cli/then_now.h"

#include <string.h>

/* The field at *at, unquoted in place; *at is then behind its separator. False at the row's end. */
static bool take_field(char **at, char **field)
{
    char *read = *at;
    char *write = read;
    bool more = false;

    *field = read;
    if (*read == '"') {
        for (read++; *read && !(*read == '"' && read[1] != '"'); read++) {
            read += *read == '"';
            *write++ = *read;
        }
        read += *read == '"';
    } else {
        while (*read && *read != ',' && *read != '\n') {
            read++;
        }
        write = read;
    }
    more = *read == ',';
    *at = *read ? read + 1 : read;
    *write = '\0';
    return more;
}

static size_t count_of(const char *text, char c)
{
    size_t count = 0;

    for (const char *at = strchr(text, c); at; at = strchr(at + 1, c)) {
        count++;
    }
    return count;
}

enum an_status an_then_now_read(struct an_cli *cli, char *text, struct an_then_now_table *table)
{
    const size_t lines = count_of(text, '\n');
    char **cells = an_arena_alloc(cli->arena, lines + count_of(text, ',') + 1, sizeof *cells);
    char *at = text;
    size_t used = 0;

    *table = (struct an_then_now_table){.titles = cells};
    table->rows = an_arena_alloc(cli->arena, lines + 1, sizeof *table->rows);
    if (!cells || !table->rows) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory while comparing then and now");
    }
    while (*at) {
        const size_t first = used;

        while (take_field(&at, &cells[used++])) {
        }
        if (!table->columns) {
            table->columns = used;
        } else if (used - first != table->columns) {
            return an_fail(&cli->err, AN_BUG, "row %zu of the answer has %zu cells instead of %zu",
                           table->count + 1, used - first, table->columns);
        } else {
            table->rows[table->count].cells = cells + first;
            table->rows[table->count].order = table->count;
            table->count++;
        }
    }
    return AN_OK;
}
