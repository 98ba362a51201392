/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Scatter of counts by blocks. Must never take a moved level, or one wild count, for scatter: both have
 * rules of their own.
 */
#include "andamento/stat/scatter_watch.h"

#include <math.h>

#define FURTHEST 4.0

enum an_status an_scatter_look(const double z[], const double means[], size_t n, double dispersion,
                               struct an_scatter *reference, struct an_scatter_news *news)
{
    const double d2 = dispersion * dispersion;
    double m = 0, squares = 0, excess = 0, last = NAN;

    if (!(dispersion > 0.0) || !isfinite(dispersion)) {
        return AN_DOMAIN;
    }
    *news = (struct an_scatter_news){.p = 1.0};
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(z[i]) || !(means[i] > 0.0)) {
            continue;
        }
        const double here = fmax(-FURTHEST, fmin(FURTHEST, z[i]));
        squares += m > 0.0 ? (here - last) * (here - last) : 0.0;
        excess += (1.0 / d2 + 6.0 * fmax(0.0, d2 - 1.0)) / means[i];
        last = here;
        m += 1.0;
    }
    if (m < AN_SCATTER_LEAST) {
        return AN_TOO_FEW;
    }
    news->points = m;
    news->variance = squares / (2.0 * (m - 1.0));
    news->df = 2.0 * (m - 1.0) * (m - 1.0) / (3.0 * m - 4.0 + excess / m * (m - 1.5));
    struct an_scatter_change change;
    const enum an_status st = an_scatter_change_of(
        *reference, (struct an_scatter){news->variance, news->df}, 0.95, &change);
    if (st) {
        return st;
    }
    news->ratio = change.ratio;
    news->p = change.p;
    news->changed = change.p < AN_SCATTER_CHANCE;
    if (news->changed) {
        *reference = (struct an_scatter){news->variance, news->df};
    }
    return AN_OK;
}
