/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Sizes that bound what intake keeps in memory. Results do not depend on them: tests set them low
 * and compare.
 */
#ifndef AN_INTAKE_TUNING_H
#define AN_INTAKE_TUNING_H

#include <stdbool.h>
#include <stddef.h>

struct an_collect;

struct an_collect_tuning {
    size_t piece_bytes; /* read at a time */
    size_t open_visits; /* beyond so many, or so many bytes, open visits are written away */
    size_t open_bytes;
    size_t block_rows;   /* rows of a block of packed columns */
    bool ordinary_rows;  /* take what ordinary.h can take that way */
    size_t outbox_bytes; /* beyond so many, a file goes into the store while it is read */
    size_t keep_bytes;   /* originals from so many on are kept as columns */
    size_t batch_files, batch_bytes; /* that share a transaction */
};

struct an_collect_tuning an_collect_usual_tuning(void);
/* Before the first file. */
void an_collect_tune(struct an_collect *collect, const struct an_collect_tuning *tuning);

#endif
