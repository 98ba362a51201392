/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The single readings behind samples, out of the blocks of a file. One thread a call. */
#ifndef AN_JUDGE_READINGS_H
#define AN_JUDGE_READINGS_H

#include "judge/judge.h"

struct an_site_readings {
    size_t *first;      /* of sample i: readings first[i] up to, not including, first[i + 1] */
    double *value;      /* in the characteristic's unit, in the order of the file's rows; NAN where
                           it is counted */
    uint64_t *line;     /* in the file */
    int64_t *visit_id;  /* that the row is of */
    size_t *site;       /* index into sites; AN_NONE: the cell was empty, or no position column */
    const char **sites; /* texts of the position column, each once */
    size_t site_count;
    bool *dropped;            /* of sample i: its readings are kept no longer; it has none here */
    const char *dropped_text; /* of one of them, who dropped them and when; NULL: all are kept */
};

/* The readings of these samples, which are of one measured or counted stream, in any order of
 * time: of a counted one the rows alone. Every file is walked once, block by block. wanted[i] false: sample i is passed over (NULL: none is).
 * AN_NOT_FOUND if a file has no such column. */
AN_CHECKED enum an_status an_site_readings_of(struct an_store *store,
                                              const struct an_stream *stream,
                                              const struct an_characteristic *characteristic,
                                              const struct an_sample samples[], size_t count,
                                              const bool wanted[], struct an_arena *arena,
                                              struct an_site_readings *readings,
                                              struct an_error *err);

#endif
