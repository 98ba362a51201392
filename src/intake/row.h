/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One row of a file, column by column of the plan. Cells are read when somebody needs them. */
#ifndef AN_INTAKE_ROW_H
#define AN_INTAKE_ROW_H

#include "andamento/base/bytes.h"
#include "andamento/base/number.h"
#include "intake/hold.h"
#include "intake/plan.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum an_cell_state {
    AN_CELL_UNREAD,
    AN_CELL_NUMBER,
    AN_CELL_GAP, /* empty, or a code for a missing reading */
    AN_CELL_WORD /* neither */
};

struct an_cell {
    struct an_bytes text;
    size_t field; /* from 0; AN_NONE: from the preamble */
    enum an_cell_state state;
    struct an_decimal number;
};

struct an_row {
    struct an_cell *cells; /* one a plan column */
    uint64_t line;
    int64_t at_us;
    struct an_bytes serial;  /* as it is stored */
    struct an_bytes purpose; /* no bytes: production */
};

/* Reads the cell as a number of the station's dialect, once. */
enum an_cell_state an_row_number(struct an_row *row, const struct an_plan *plan, size_t column);
/* Complains about a cell. Returns false. */
bool an_row_complain(const struct an_row *row, const struct an_plan *plan, size_t column,
                     enum an_hold_reason reason, struct an_complaint *complaint, const char *format,
                     ...) AN_PRINTF(6, 7);
bool an_row_passes(const struct an_row *row, const struct an_plan_filter *filter);
bool an_row_passes_all(const struct an_row *row, const struct an_plan_leaf *leaf);
bool an_word_in(struct an_bytes text, const struct an_word_list *words);

/* Does the row tell that this link ended? */
bool an_row_ends(const struct an_row *row, const struct an_plan_link *link);
/* Checks every number, word and place the row's characteristics, links and lists need. */
bool an_row_check(struct an_row *row, const struct an_plan *plan, struct an_complaint *complaint);

#endif
