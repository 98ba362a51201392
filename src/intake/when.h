/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * When a row's event was: the field read by the station's pattern and zone.
 *
 * A local time in the hour that comes twice in autumn is settled by the order of the rows, which is
 * known only when the whole file was read: the first reading notes where the hours lie, and the
 * file is read again with what was found. One thread.
 */
#ifndef AN_INTAKE_WHEN_H
#define AN_INTAKE_WHEN_H

#include "intake/row.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { AN_MOST_TWICE = 64 };

struct an_twice {        /* neighbouring rows in an hour that comes twice */
    uint64_t first_line; /* of its first row */
    uint64_t last_line;
    uint64_t step_line; /* of the row at which the time goes back; 0: none */
    unsigned steps;     /* how often it does */
    int64_t last_naive_us;
};

struct an_when {
    struct an_twice at[AN_MOST_TWICE];
    size_t count;
    bool overflow;   /* more of them than fit: none is settled */
    bool settled;    /* `at` was found by an earlier reading */
    bool in_twice;   /* the last row lay in one */
    bool disordered; /* times go back outside of such an hour, or the running number does */
    int64_t last_naive_us;
    int64_t last_sequence;
    bool has_last, has_sequence;
    struct an_bytes cached; /* the last field text and what it meant */
    unsigned char cache[80];
    int64_t cached_us;
};

void an_when_begin(struct an_when *when);
/* Sets row->at_us; false with a complaint. */
bool an_when_read(struct an_when *when, struct an_row *row, const struct an_plan *plan,
                  struct an_complaint *complaint);
/* After a reading: did it find hours that can be settled? Then `when` is ready for the next one. */
bool an_when_settle(struct an_when *when);

#endif
