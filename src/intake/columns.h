/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The cells of taken rows, column by column, until a block of them is full. One thread.
 *
 * Names of the stored columns: a column of readings, counts or shares is stored as numbers under
 * its own name; texts it is used as, and cells that the numbers cannot hold (codes of missing
 * readings, numbers out of the block's scale), under NAME@text. A column of places in a grid is
 * stored as numbers, and if it is also used as text, as texts under its own name and as numbers
 * under NAME@number. All others are texts. The time column is seconds with six decimals.
 */
#ifndef AN_INTAKE_COLUMNS_H
#define AN_INTAKE_COLUMNS_H

#include "andamento/base/names.h"
#include "intake/outbox.h"
#include "intake/row.h"

#include <stddef.h>
#include <stdint.h>

struct an_mirror;

struct an_block_column {
    const char *number_name, *text_name; /* NULL: not stored so */
    const char *odd_name; /* of cells the numbers cannot hold; NULL if texts are kept */
    int64_t *scaled;
    signed char *decimals;
    uint32_t *codes;
    struct an_names *words;
    bool has_odd;
};

struct an_columns {
    const struct an_plan *plan;
    struct an_block_column *at; /* one a plan column */
    int64_t *lines;
    size_t rows, capacity, most; /* in the block at hand; most: when it is full */
    size_t block;                /* its number */
    struct an_mirror *mirror;    /* of the original; NULL: kept in another way */
    struct an_bytes *texts;      /* scratch for handing over */
    size_t texts_capacity;
    struct an_arena *arena;
};

AN_CHECKED enum an_status an_columns_open(struct an_columns *columns, const struct an_plan *plan,
                                          size_t block_rows, struct an_error *err);
void an_columns_close(struct an_columns *columns); /* all zeroes is fine */
/* Frees what no more rows will need; names live on. */
void an_columns_empty(struct an_columns *columns);
/* Adds a taken row; there is room if rows < most. */
AN_CHECKED enum an_status an_columns_add(struct an_columns *columns, struct an_row *row,
                                         struct an_error *err);
/* Makes room for rows to be written by the caller; for how many of them there is (0: no memory). */
size_t an_columns_room(struct an_columns *columns, size_t rows);
/* Gives the block at hand away, if it has rows, and begins the next. */
AN_CHECKED enum an_status an_columns_flush(struct an_columns *columns, struct an_outbox *outbox,
                                           struct an_error *err);

#endif
