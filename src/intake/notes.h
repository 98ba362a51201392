/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What was noticed about a file that was taken all the same, one note a code. One thread. */
#ifndef AN_INTAKE_NOTES_H
#define AN_INTAKE_NOTES_H

#include "andamento/base/status.h"
#include "andamento/base/text.h"

#include <stddef.h>
#include <stdint.h>

enum { AN_MOST_NOTES = 24 };

struct an_note {
    const char *code; /* "mark", "line_ends", ... see docs/held.md */
    uint64_t line;    /* of the first time; 0: the whole file */
    uint64_t times;
    char text[300];
};
struct an_notes {
    struct an_note at[AN_MOST_NOTES];
    size_t count;
};

/* The first time of a code keeps its text, later ones are counted. */
void an_note(struct an_notes *notes, const char *code, uint64_t line, const char *format, ...)
    AN_PRINTF(4, 5);
/* JSON array of {code, text, line}, in order of the codes' first times; nothing if there are none. */
void an_notes_write(const struct an_notes *notes, struct an_text *json);

#endif
