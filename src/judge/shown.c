/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Unit, scale and digits of plotted values. Must never change a stored number. */
#include "judge/shown.h"

#include "andamento/base/number.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static bool is_rate(enum an_family family)
{
    return family == AN_P || family == AN_U || family == AN_P_PRIME || family == AN_U_PRIME;
}

double an_shown_scale(const struct an_characteristic *characteristic)
{
    const bool scaled = characteristic->kind == AN_COUNTED && is_rate(characteristic->family) &&
                        isfinite(characteristic->per) && characteristic->per > 0;

    return scaled ? characteristic->per : 1.0;
}

const char *an_shown_unit(const struct an_characteristic *characteristic, struct an_arena *arena)
{
    const double scale = an_shown_scale(characteristic);
    const bool proportion = characteristic->family == AN_P || characteristic->family == AN_P_PRIME;
    char number[32];

    if (characteristic->family == AN_SHORT_RUN || characteristic->family == AN_GROUP) {
        return "sigma";
    }
    if (characteristic->family == AN_T) {
        return "h";
    }
    if (characteristic->kind != AN_COUNTED) {
        const char *unit = characteristic->unit;
        return unit && strcmp(unit, "1") != 0 ? unit : "";
    }
    if (!is_rate(characteristic->family)) {
        return "";
    }
    if (scale == 1.0) {
        return proportion ? "" : "per opportunity";
    }
    if (scale == 100.0) {
        return proportion ? "%" : "per hundred";
    }
    if (scale == 1e3) {
        return "per thousand";
    }
    if (scale == 1e6) {
        return "per million";
    }
    if (scale == 1e9) {
        return "per billion";
    }
    return an_arena_printf(arena, "per %s", an_number_shortest(scale, number));
}

/* Decimals with which one unit of the second significant digit of `size` shows. */
static int decimals_for(double size)
{
    if (!isfinite(size) || size <= 0) {
        return 0;
    }
    const double decimals = 1.0 - floor(log10(size));
    return decimals < 0                        ? 0
           : decimals > AN_SHOWN_MOST_DECIMALS ? AN_SHOWN_MOST_DECIMALS
                                               : (int)decimals;
}

/* Decimals in the characteristic's unit that the stations wrote; one more where means are plotted. */
static int written_decimals(const struct an_stream_view *view)
{
    const double factor = view->characteristic->factor;
    double decimals = 0;
    bool means = false;

    for (size_t i = 0; i < view->count; i++) {
        decimals = fmax(decimals, (double)view->points[i].sample.decimals);
        means = means || view->points[i].sample.n > 1;
    }
    if (isfinite(factor) && factor != 0) {
        decimals -= round(log10(fabs(factor)));
    }
    decimals += means ? 1 : 0;
    return decimals < 0                        ? 0
           : decimals > AN_SHOWN_MOST_DECIMALS ? AN_SHOWN_MOST_DECIMALS
                                               : (int)decimals;
}

/* Sigma of the newest limits, or the spread of what is in view. */
static double view_sigma(const struct an_stream_view *view)
{
    double lo = (double)INFINITY;
    double hi = -(double)INFINITY;

    if (view->limits_count) {
        return view->limits[view->limits_count - 1].model.sigma_level;
    }
    for (size_t i = 0; i < view->count; i++) {
        if (isfinite(view->points[i].point.level.value)) {
            lo = fmin(lo, view->points[i].point.level.value);
            hi = fmax(hi, view->points[i].point.level.value);
        }
    }
    return hi > lo ? (hi - lo) / 6 : (double)NAN;
}

void an_shown_fill(struct an_stream_view *view)
{
    const struct an_characteristic *c = view->characteristic;

    view->scale = an_shown_scale(c);
    const int by_sigma = decimals_for(view_sigma(view) * view->scale);
    if (view->on_scale) { /* decimals of the unit say nothing about it */
        view->decimals = by_sigma;
    } else if (c->decimals >= 0) {
        view->decimals =
            c->decimals < AN_SHOWN_MOST_DECIMALS ? c->decimals : AN_SHOWN_MOST_DECIMALS;
    } else if (c->kind == AN_MEASURED) {
        const int written = written_decimals(view);
        view->decimals = by_sigma && by_sigma < written ? by_sigma : written;
    } else {
        view->decimals = by_sigma;
    }
}

char *an_shown_size(double value, int decimals, char buffer[40])
{
    const double size = fabs(value);
    int digits = decimals_for(size);

    if (!isfinite(size) || size > 1e15) {
        return an_number_shortest(size, buffer);
    }
    if (decimals >= 0 && digits > decimals) {
        digits = decimals;
    }
    (void)snprintf(buffer, 40, "%.*f", digits, size);
    if (digits > 0) {
        size_t end = strlen(buffer);
        while (buffer[end - 1] == '0') {
            end--;
        }
        end -= buffer[end - 1] == '.';
        buffer[end] = '\0';
    }
    return buffer;
}

char *an_shown_chance(double p, char buffer[24])
{
    if (p < 1e-9) {
        (void)snprintf(buffer, 24, "below 1e-9");
    } else {
        (void)snprintf(buffer, 24, "%.2g", p);
    }
    return buffer;
}
