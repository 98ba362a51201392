/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Samples against the readings that they were made of. One thread a call. */
#ifndef AN_JUDGE_SAMPLES_CHECK_H
#define AN_JUDGE_SAMPLES_CHECK_H

#include "andamento/store/verify.h"
#include "judge/judge.h"

struct an_samples_check {
    int64_t again;   /* made again from readings, and compared */
    int64_t counted; /* counts: kept with the sample, without single readings */
    int64_t derived; /* made of other characteristics' samples */
    int64_t dropped; /* their readings are kept no longer */
    int64_t earlier; /* of files whose line description is not there, or cannot be read any more */
};

/*
 * n exactly; mean, smallest and largest to 1e-12 of the largest reading, the sum of squared
 * deviations to what that leaves of it: statistics are made of decimals at intake, here of doubles.
 * Each sample is made by the line description that read its file.
 */
AN_CHECKED enum an_status an_samples_check(struct an_store *store, an_finding *finding,
                                           void *context, struct an_samples_check *counts,
                                           struct an_error *err);

#endif
