/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether limits of a chart with memory suit the counts it gathers. Must never change limits that were
 * declared: it says what they do, and which would do what was meant.
 */
#include "andamento/stat/design.h"
#include "andamento/stat/run_length.h"
#include "judge/baseline.h"

#include <math.h>

/* Alarms more often than one and a half times as meant are worth a word. */
#define TOO_OFTEN (1.0 / 1.5)
#define LIMITS_MOST 6.0 /* that a line description takes */

static bool has_law(const struct an_chart_model *m, struct an_count_law *law)
{
    const bool plain_count = m->family == AN_NP || m->family == AN_C;

    law->proportion = m->family == AN_P || m->family == AN_NP;
    law->n = law->proportion ? round(m->mean_opportunities) : m->mean_opportunities;
    law->rate = plain_count ? m->centre / m->mean_opportunities : m->centre;
    return m->weighting.kind == AN_EWMA && !m->weighting.variables &&
           (law->proportion || m->family == AN_C || m->family == AN_U);
}

static enum an_status look(const struct an_chart_model *m, const struct an_count_law *law,
                           struct an_arena *scratch, double *mean, double *meant, double *wanted)
{
    const struct an_point_law normal = {0.0, 1.0};
    struct an_run_length run;
    enum an_status st = an_run_length_weighted(&m->weighting, normal, true, scratch, &run);

    *wanted = (double)NAN;
    st = st ? st : an_run_length_counts(&m->weighting, law, scratch, mean);
    *meant = run.mean;
    if (!st && *mean < TOO_OFTEN * *meant) {
        st = an_limits_of_counts(&m->weighting, law, *meant, scratch, wanted);
    }
    return st;
}

enum an_status an_baseline_counts(const struct an_limits *limits, struct an_arena *arena,
                                  const char **warning)
{
    const struct an_chart_model *m = &limits->model;
    struct an_count_law law;
    double mean = 0, meant = 0, wanted = 0;

    *warning = NULL;
    if (!has_law(m, &law)) {
        return AN_OK;
    }
    struct an_arena *scratch = an_arena_open();
    if (!scratch) {
        return AN_NO_MEMORY;
    }
    const enum an_status st = look(m, &law, scratch, &mean, &meant, &wanted);
    an_arena_close(scratch);
    if (st == AN_NO_MEMORY) {
        return st;
    }
    if (st || !(mean < TOO_OFTEN * meant)) {
        return AN_OK; /* beyond what is solved, or as it should be */
    }
    const char *advice =
        wanted <= LIMITS_MOST
            ? an_arena_printf(arena, "; 'weighted: {ewma: %g, limits: %.2f}' would give those too",
                              m->weighting.lambda, wanted)
            : "; no limits of such a chart would: count more in a sample, or chart the gaps between "
              "events (family g)";
    if (!advice) {
        return AN_NO_MEMORY;
    }
    *warning = an_arena_printf(
        arena,
        "with %.3g counts in a usual sample this %s alarms by luck once in about %.0f samples, where "
        "these limits give %.0f for normal points%s",
        law.rate * law.n, an_weighted_name(m->weighting.kind), mean, meant, advice);
    return *warning ? AN_OK : AN_NO_MEMORY;
}
