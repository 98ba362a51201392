/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Worked examples of control charts: learned, judged, and asked which points are out. */
#ifndef AN_TESTS_STAT_SUPPORT_EXAMPLE_H
#define AN_TESTS_STAT_SUPPORT_EXAMPLE_H

#include "andamento/stat/chart.h"
#include "andamento/stat/moments.h"

enum { MOST = 40 };

/* An example worked through: its samples, up to three models, and their points. */
struct example {
    struct an_chart_sample samples[MOST];
    size_t m;
    struct an_chart_model model[3];
    struct an_chart_point points[3][MOST];
    struct an_moments all; /* of all single readings */
};

struct an_chart_sample sample_of(const double x[], size_t n);
/* Learns model `which` of this family and judges every sample by it. */
void work(struct example *e, int which, enum an_family family);
/* Beyond its limits, seen through the rule itself: the at-th such point, counted from 1; 0: none. */
double beyond(const struct example *e, int which, size_t at);
double or_zero(double limit); /* the tables write 0 where there is no lower limit */
/* From a table with the column "count"; opportunities NULL: one each. */
void read_counts(struct example *e, const char *file, const char *opportunities);
bool is(const char *a, const char *b);

#endif
