/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gathers mistakes. Responsible for their order and for texts that are fit to print (words of the
 * file may hold anything); must never print, nor stop the reading.
 */
#include "line/mistakes.h"

#include "andamento/base/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define KEPT_MOST 1000 /* nobody reads further, and a hostile file could hold a million */

void an_mistakes_add(struct an_mistakes *mistakes, uint64_t line, uint64_t column,
                     const char *format, ...)
{
    if (mistakes->count >= KEPT_MOST) {
        mistakes->more = true;
        return;
    }
    char raw[512];
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(raw, sizeof raw, format, arguments);
    va_end(arguments);
    struct an_text text = {0};
    an_text_add_visible(&text, an_bytes_of(raw), 440);
    const char *kept =
        text.failed ? NULL : an_arena_copy(mistakes->arena, an_text_of(&text), text.length);
    an_text_free(&text);
    void *list = mistakes->at;
    if (!kept || !an_grow(&list, mistakes->count, &mistakes->capacity, sizeof *mistakes->at)) {
        mistakes->failed = true;
        return;
    }
    mistakes->at = list;
    mistakes->at[mistakes->count] =
        (struct an_mistake){.line = line, .column = column, .text = kept, .order = mistakes->count};
    mistakes->count++;
}

static int by_place(const void *a, const void *b)
{
    const struct an_mistake *first = a;
    const struct an_mistake *second = b;
    if (first->line != second->line) {
        return first->line < second->line ? -1 : 1;
    }
    if (first->column != second->column) {
        return first->column < second->column ? -1 : 1;
    }
    return first->order < second->order ? -1 : first->order > second->order;
}

void an_mistakes_sort(struct an_mistakes *mistakes)
{
    if (mistakes->count == 0) {
        return;
    }
    qsort(mistakes->at, mistakes->count, sizeof *mistakes->at, by_place);
    size_t kept = 1;
    for (size_t i = 1; i < mistakes->count; i++) {
        const struct an_mistake *one = &mistakes->at[i];
        bool again = false;
        for (size_t j = kept; j > 0 && !again; j--) {
            const struct an_mistake *other = &mistakes->at[j - 1];
            if (other->line != one->line || other->column != one->column) {
                break;
            }
            again = strcmp(other->text, one->text) == 0;
        }
        if (!again) {
            mistakes->at[kept++] = *one;
        }
    }
    mistakes->count = kept;
}

void an_mistakes_free(struct an_mistakes *mistakes)
{
    an_free(mistakes->at);
    mistakes->at = NULL;
    mistakes->count = 0;
    mistakes->capacity = 0;
}
