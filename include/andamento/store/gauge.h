/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Studies of gauges as records: the file, how it was read, what came out, who answers for it.
 * Statuses, arenas and threads as in store.h.
 */
#ifndef ANDAMENTO_STORE_GAUGE_H
#define ANDAMENTO_STORE_GAUGE_H

#include "andamento/store/store.h"

#define AN_GAUGE_DATA_MOST (4U << 20) /* bytes of a study's file */

enum an_gauge_kind {
    AN_GAUGE_CROSSED = 1,
    AN_GAUGE_BIAS,
    AN_GAUGE_LINEARITY,
    AN_GAUGE_SORTING, /* into categories */
    AN_GAUGE_STABILITY
};
enum an_gauge_grade { AN_GRADE_FIT = 1, AN_GRADE_LOOK, AN_GRADE_UNFIT };

struct an_gauge_record {
    int64_t study_id, known_us;
    const char *gauge;
    enum an_gauge_kind kind;
    const char *stream;                              /* or NULL */
    const char *part, *person, *reading, *reference; /* columns; NULL: not used. Of a stability
                                                        study `person` is the column of the time */
    double reference_value, tolerance;               /* NAN: none */
    double pool_above;
    const char *file;
    struct an_bytes data; /* empty in lists */
    struct an_sha256 hash;
    enum an_gauge_grade grade;
    const char *verdict;
    const char *author, *reason, *system_user, *host;
    const char *signed_key; /* reading only: with which it is signed; NULL: with none */
    uint64_t entry;
};

/* With ledger entry; fills study_id, known_us, hash. Own transaction, unless one is open.
 * AN_BAD_USAGE without author or reason; AN_BAD_INPUT if data is empty or too much. */
AN_CHECKED enum an_status an_store_put_gauge_study(struct an_store *store,
                                                   struct an_gauge_record *record,
                                                   struct an_error *err);
/* Of a gauge (NULL: of all), newest first, without their data. */
AN_CHECKED enum an_status an_store_gauge_studies(struct an_store *store, const char *gauge,
                                                 struct an_arena *arena,
                                                 struct an_gauge_record **records, size_t *count,
                                                 struct an_error *err);
/* With its data; AN_NOT_FOUND. AN_NO_STORE if the data are not what their hash says. */
AN_CHECKED enum an_status an_store_gauge_study(struct an_store *store, int64_t study_id,
                                               struct an_arena *arena,
                                               struct an_gauge_record *record,
                                               struct an_error *err);

#endif
