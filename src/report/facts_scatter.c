/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a page says of the scatter of counts. Responsible for telling a scatter that changed from a
 * level that did; never judges a point.
 */
#include "andamento/stat/attribute_limits.h"
#include "report/facts.h"
#include "report/wording.h"

#include <math.h>

enum { SCATTER_LEAST = 10, SCATTER_MOST = 50 };

/*
 * Do counts scatter otherwise than when the limits were learned? The newest samples about their own
 * mean, so that a moved level is no scatter; news below one in a hundred. NULL for other families.
 */
const char *an_say_scatter(const struct an_facts *of)
{
    struct an_arena *arena = of->gather->arena;
    const struct an_limits *limits = of->limits;
    const struct an_stream_view *view = of->view;
    const struct an_chart_model *m = &limits->model;
    const bool prime = m->family == AN_P_PRIME || m->family == AN_U_PRIME;
    const bool plain =
        m->family == AN_P || m->family == AN_NP || m->family == AN_C || m->family == AN_U;
    const size_t phase = view->count ? view->points[view->count - 1].phase : AN_NONE;
    struct an_scatter_change change;
    double n = 0, mean = 0, squares = 0;

    if ((!prime && !plain) || m->weighting.kind != AN_UNWEIGHTED) {
        return NULL;
    }
    for (size_t i = view->count; i > 0 && n < SCATTER_MOST; i--) {
        const struct an_judged_point *point = &view->points[i - 1];
        const struct an_panel_point *level = &point->point.level;
        /* z in plain sigmas: exact limits hold z within k, so it is reckoned from the rate */
        const double half = (level->ucl - level->centre) / m->k / m->dispersion;
        const double z =
            m->probability ? point->point.level.z : (level->value - level->centre) / half;
        if (point->phase != phase || point->excluded || !isfinite(z)) {
            continue;
        }
        n++;
        const double off = z - mean;
        mean += off / n;
        squares += off * (z - mean);
    }
    /* moving ranges are worth 0.62 degrees of freedom each; a plain chart's 1 is no estimate */
    const struct an_scatter before = {m->dispersion * m->dispersion,
                                      prime ? fmax(1.0, 0.62 * ((double)m->samples - 1.0)) : 1e6};
    if (n < SCATTER_LEAST ||
        an_scatter_change_of(before, (struct an_scatter){squares / (n - 1.0), n - 1.0}, 0.95,
                             &change)) {
        return NULL;
    }
    const double now = sqrt(squares / (n - 1.0));
    const char *both =
        an_arena_printf(arena, "dispersion factor %s in the limits, %s in the newest %s",
                        an_say_number(arena, m->dispersion, 2), an_say_number(arena, now, 2),
                        an_say_many(arena, (int64_t)n, "sample"));
    if (!both || change.p >= 0.01) {
        return both;
    }
    return an_arena_printf(
        arena,
        "%s: it has %s (%s to %s times, 95 %%); limits that were right "
        "signal too %s now",
        both, change.ratio > 1.0 ? "grown" : "shrunk", an_say_number(arena, sqrt(change.lower), 1),
        an_say_number(arena, sqrt(change.upper), 1), change.ratio > 1.0 ? "often" : "late");
}
