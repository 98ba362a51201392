/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rows in doubt, and those of the earlier visits that they may repeat, read out of the store's
 * blocks for conflict.c: so a row is compared with what was kept of it, whatever its file looked
 * like. One thread.
 */
#ifndef AN_INTAKE_CONFLICT_ROWS_H
#define AN_INTAKE_CONFLICT_ROWS_H

#include "intake/finish.h"

struct an_known_row {
    struct an_row_print print, key;   /* of the columns that all files have; of the key's */
    uint32_t doubt, visit;            /* visit: index among the doubt's earlier ones */
    uint64_t row, line;               /* line: in its own file */
    const struct an_unknown *unknown; /* the first unknown item it speaks of */
    int64_t file_id;
    double attempt; /* NAN: none, or no number */
    bool has_reason, matched;
    const struct an_known_row *twin; /* the earlier row that it repeats or changes */
    bool changed;
};

struct an_known_rows {
    struct an_known_row *at;
    size_t count, capacity;
};

/* old: of the earlier visits, without those whose readings were dropped; now: of this file. Both
 * begin empty; at is the caller's to free, also after a failure. */
AN_CHECKED enum an_status an_conflict_rows(struct an_finish *finish, struct an_known_rows *old,
                                           struct an_known_rows *now, struct an_error *err);

#endif
