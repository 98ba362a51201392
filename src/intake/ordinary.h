/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rows that say nothing new, column by column: plain lines of the visit of the row before, whose
 * words, splits and links are known and whose numbers are in order. One thread.
 *
 * What is not certain is left to the row path (record.c), which is the meaning of every row: this
 * one may only be faster. It takes rows from where the row path stopped, and stops before the first
 * row of which it is not sure.
 */
#ifndef AN_INTAKE_ORDINARY_H
#define AN_INTAKE_ORDINARY_H

#include "andamento/base/status.h"

#include <stdbool.h>

struct an_ordinary;
struct an_reading;

/* Once the header (and the row of units) is read. *out stays NULL if the plan has something that
 * only the row path knows. */
AN_CHECKED enum an_status an_ordinary_open(const struct an_reading *reading,
                                           struct an_ordinary **out, struct an_error *err);
void an_ordinary_close(struct an_ordinary *ordinary); /* NULL is fine */
/* The row path has taken a row: what is in it is known from now on. */
void an_ordinary_learn(struct an_ordinary *ordinary, struct an_reading *reading);
/* The text in the reading's lines has moved. */
void an_ordinary_moved(struct an_ordinary *ordinary);
/* The block of the columns was handed over: codes of words begin anew. */
void an_ordinary_new_block(struct an_ordinary *ordinary);
/* Takes as many rows as it can from the start of the reading's lines. */
AN_CHECKED enum an_status an_ordinary_take(struct an_ordinary *ordinary, struct an_reading *reading,
                                           struct an_error *err);

#endif
