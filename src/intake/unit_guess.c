/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Guesses a changed unit from medians. Must never mistake bad product for a changed unit: a guess
 * is made only where the stream held still, and the step is very near a factor between units.
 */
#include "intake/watch.h"
#include "line/unit.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LEAST_BEFORE = 10, LEAST_READINGS = 5 };

/* Factors of SI prefixes; per cent; NIST SP 811 (2008), appendix B.8: inch 25.4 mm, footlambert
 * 3.426259 cd/m2. Each for what it can happen to: NULL is anything. */
static const struct {
    double factor;
    const char *quantity;
    const char *what;
} factors[] = {
    {1000, NULL, "1000 times, as nm for um, um for mm, or m for a thousandth of it"},
    {1e-3, NULL, "a thousandth, as um for nm, mm for um, or k for a thousand of it"},
    {1e6, NULL, "a million times, as nm for mm"},
    {1e-6, NULL, "a millionth, as mm for nm"},
    {100, "ratio", "100 times, as per cent for a fraction"},
    {0.01, "ratio", "a hundredth, as a fraction for per cent"},
    {25.4, "length", "25.4 times, as mm for inches"},
    {1 / 25.4, "length", "1/25.4, as inches for mm"},
    {3.426259, "luminance", "3.426 times, as cd/m2 for footlamberts"},
    {1 / 3.426259, "luminance", "1/3.426, as footlamberts for cd/m2"},
};

static int compare(const void *a, const void *b)
{
    const double one = *(const double *)a;
    const double other = *(const double *)b;

    return (one > other) - (one < other);
}

static double median_of(const double *values, size_t count, double *low, double *high)
{
    double sorted[AN_WATCHED_MEANS];

    count = count < AN_WATCHED_MEANS ? count : AN_WATCHED_MEANS;
    memcpy(sorted, values, count * sizeof *sorted);
    qsort(sorted, count, sizeof *sorted, compare);
    *low = sorted[0];
    *high = sorted[count - 1];
    return count % 2 ? sorted[count / 2] : (sorted[count / 2 - 1] + sorted[count / 2]) / 2;
}

/* How far apart the values lie, as a factor; infinite if they are not all of one sign. */
static double spread(double low, double high)
{
    if (!(low * high > 0)) {
        return INFINITY;
    }
    return low > 0 ? high / low : low / high;
}

static bool all_numbers(const double *values, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(values[i])) {
            return false;
        }
    }
    return count > 0;
}

struct an_unit_guess an_unit_guess(const double *now, size_t count, int64_t readings,
                                   const double *before, size_t before_count, const char *unit)
{
    const char *quantity = unit ? an_unit_quantity(an_bytes_of(unit)) : NULL;
    struct an_unit_guess guess = {NULL, 0, 0};
    double low[2];
    double high[2];

    if (before_count < LEAST_BEFORE || readings < LEAST_READINGS || !all_numbers(now, count) ||
        !all_numbers(before, before_count)) {
        return guess;
    }
    guess.now = median_of(now, count, &low[0], &high[0]);
    guess.before = median_of(before, before_count, &low[1], &high[1]);
    const double wide = fmax(spread(low[0], high[0]), spread(low[1], high[1]));
    const bool one_sign = guess.now * guess.before > 0;
    const double step = one_sign ? fabs(log(guess.now / guess.before)) : (double)INFINITY;
    const bool kelvin = unit && (strcmp(unit, "K") == 0 || strcmp(unit, "degC") == 0);
    const double difference = guess.now - guess.before;
    if (kelvin && fabs(fabs(difference) - 273.15) < 5 && high[1] - low[1] < 50 &&
        high[0] - low[0] < 50) {
        guess.what = difference > 0 ? "273 more, as K for degC" : "273 less, as degC for K";
        return guess;
    }
    if (!isfinite(wide) || !isfinite(step) || step < 2 * log(wide)) {
        return guess;
    }
    for (size_t i = 0; i < sizeof factors / sizeof factors[0]; i++) {
        const bool fits =
            !factors[i].quantity || (quantity && strcmp(factors[i].quantity, quantity) == 0);

        if (fits && fabs(log(guess.now / guess.before / factors[i].factor)) < 0.1) {
            guess.what = factors[i].what;
        }
    }
    return guess;
}
