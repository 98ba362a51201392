/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A file's header: which field holds which column of the plan. Columns are found by name. */
#ifndef AN_INTAKE_HEADER_H
#define AN_INTAKE_HEADER_H

#include "intake/fields.h"
#include "intake/hold.h"
#include "intake/notes.h"
#include "intake/plan.h"

#include <stdbool.h>
#include <stddef.h>

struct an_header {
    bool is_read;
    uint64_t line;
    size_t field_count;
    size_t *field_of;       /* per plan column; AN_NONE for those of the preamble */
    struct an_bytes *names; /* per field */
    struct an_bytes text;   /* the header line as it stood */
    struct an_bytes units;  /* the units row as it stood; no bytes if there is none */
    struct an_arena *arena;
};

void an_header_close(struct an_header *header); /* all zeroes is fine */
/* Reads it from the parted header record. False with a complaint about the whole file; AN_NO_MEMORY
 * through *st. */
bool an_header_read(struct an_header *header, const struct an_plan *plan,
                    const struct an_fields *fields, struct an_bytes record, uint64_t line,
                    struct an_complaint *complaint, enum an_status *st);
/* Notes the columns that the plan has no use for. */
void an_header_note_unused(const struct an_header *header, const struct an_plan *plan,
                           struct an_notes *notes);
/* Checks the row of units against the plan. */
bool an_header_units(struct an_header *header, const struct an_plan *plan,
                     const struct an_fields *fields, struct an_bytes record, uint64_t line,
                     struct an_complaint *complaint, enum an_status *st);
/* The same line as the header or the row of units (a byte-order mark before it does not count). */
bool an_header_repeats(const struct an_header *header, struct an_bytes record);

enum an_header_like { AN_NOT_A_HEADER, AN_SAME_HEADER, AN_OTHER_HEADER };
/* What a row that could not be read is, told by the column names in it. */
enum an_header_like an_header_like(const struct an_header *header, const struct an_plan *plan,
                                   const struct an_fields *fields);

#endif
