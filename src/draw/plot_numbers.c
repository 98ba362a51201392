/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Numbers beside a chart: which round ones, and how numbers are written. Must never follow the
 * locale, nor write a number that its value is not, to the digits shown.
 *
 * The hard idea: on a scale of ratios round numbers are powers of ten, or 1, 2 and 5 of them where
 * there are few, or those of an even scale where not even a decade is on view.
 */
#include "draw/plot_layout.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

/* Every so many powers of ten, from the one that is a multiple of that. */
static size_t powers(const struct an_plot_scale *scale, int every, size_t most, double *numbers)
{
    size_t n = 0;
    int power = (int)ceil(log10(scale->low) - 1e-9);
    const int last = (int)floor(log10(scale->high) + 1e-9);
    while (power % every != 0) {
        power++;
    }
    for (; power <= last; power += every) {
        if (n < most) {
            numbers[n] = power < 0 ? 1 / pow(10, -power) : pow(10, power);
        }
        n++;
    }
    return n;
}

/* 1, 2 and 5 times the powers of ten. */
static size_t parts_of_powers(const struct an_plot_scale *scale, size_t most, double *numbers)
{
    static const double parts[] = {1, 2, 5};
    size_t n = 0;
    const int last = (int)floor(log10(scale->high));
    for (int power = (int)floor(log10(scale->low)); power <= last; power++) {
        for (int k = 0; k < 3; k++) {
            const double value = power < 0 ? parts[k] / pow(10, -power) : parts[k] * pow(10, power);
            if (value < scale->low || value > scale->high) {
                continue;
            }
            if (n < most) {
                numbers[n] = value;
            }
            n++;
        }
    }
    return n;
}

/* The finest series that fits; fewer than two numbers: none does. */
static size_t round_ratios(const struct an_plot_scale *scale, size_t most, double *numbers)
{
    size_t n = parts_of_powers(scale, most, numbers);
    for (int every = 1; n > most && every <= 300; every++) {
        n = powers(scale, every, most, numbers);
    }
    return n <= most ? n : 0;
}

size_t an_plot_round_numbers(const struct an_plot_scale *scale, size_t most, double *numbers,
                             int *decimals)
{
    *decimals = 0;
    if (scale->ratios) {
        const size_t n = round_ratios(scale, most, numbers);
        if (n > 1) {
            return n;
        }
    }
    const double span = scale->high - scale->low;
    if (most == 0 || !(span > 1e-290)) {
        return 0;
    }
    /* The finest of 1, 2 and 5 times a power of ten that gives no more than was asked for. */
    static const double steps[] = {1, 2, 5};
    const int power = (int)floor(log10(span / (double)most));
    for (int k = 0; k < 6; k++) {
        const int of_ten = power + k / 3;
        const double step = steps[k % 3] * pow(10, of_ten);
        const double first = ceil(scale->low / step), last = floor(scale->high / step);
        if (last - first + 1 > (double)most) {
            continue;
        }
        if (fabs(first) > 1e12 || fabs(last) > 1e12) {
            return 0; /* a step is less than the last digit of the values */
        }
        size_t n = 0;
        for (double i = first; i <= last && n < most; i += 1) {
            /* 3 * 0.1 is not 0.3: divide by the whole number where the step is a fraction */
            numbers[n++] =
                of_ten < 0 && of_ten > -300 ? i * steps[k % 3] / pow(10, -of_ten) : i * step;
        }
        *decimals = of_ten < 0 ? -of_ten : 0;
        return n;
    }
    return 0;
}

const char *an_plot_number(struct an_arena *arena, double value, int decimals)
{
    if (!isfinite(value)) {
        return an_arena_printf(arena, "–");
    }
    const int shown = decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;
    const char *sign = value < 0 ? "−" : "";
    const double size = fabs(value);
    if (size < 1e9) {
        /* Whole numbers and a point of our own: printf's follows the locale. */
        static const int64_t tens[] = {1,      10,      100,      1000,      10000,
                                       100000, 1000000, 10000000, 100000000, 1000000000};
        if (size * (double)tens[shown] < 9e15) {
            const long long scaled = (long long)nearbyint(size * (double)tens[shown]);
            const long long ten = tens[shown];
            sign = scaled == 0 ? "" : sign;
            return shown == 0 ? an_arena_printf(arena, "%s%lld", sign, scaled)
                              : an_arena_printf(arena, "%s%lld.%0*lld", sign, scaled / ten, shown,
                                                scaled % ten);
        }
    }
    if (size < 1e-305) { /* and its power of ten would be no number a double has exactly */
        return an_arena_printf(arena, "0");
    }
    int power = (int)floor(log10(size));
    /* In two factors: a single power of ten could overflow for the greatest values. */
    double mantissa = size / pow(10, power / 2) / pow(10, power - power / 2);
    long long scaled = (long long)nearbyint(mantissa * 1000);
    if (scaled >= 10000) {
        scaled /= 10;
        power++;
    }
    int digits = 3;
    for (; digits > 0 && scaled % 10 == 0; digits--) {
        scaled /= 10;
    }
    static const long long ones[] = {1, 10, 100, 1000};
    return digits == 0 ? an_arena_printf(arena, "%s%llde%d", sign, scaled, power)
                       : an_arena_printf(arena, "%s%lld.%0*llde%d", sign, scaled / ones[digits],
                                         digits, scaled % ones[digits], power);
}

/* Commas between the thousands of a text of digits. */
static const char *parted(struct an_arena *arena, const char *text)
{
    const size_t start = strspn(text, "\u2212-");
    const size_t whole = strspn(text + start, "0123456789");
    char *out = an_arena_alloc(arena, 2 * strlen(text) + 1, 1);
    size_t n = 0;
    if (!out) {
        return NULL;
    }
    for (size_t i = 0; text[i]; i++) {
        const bool inside = i > start && i < start + whole;
        if (inside && (start + whole - i) % 3 == 0) {
            out[n++] = ',';
        }
        out[n++] = text[i];
    }
    out[n] = '\0';
    return out;
}

const char *an_plot_digits(struct an_arena *arena, double value)
{
    const double size = fabs(value);
    if (!isfinite(value) || size >= 1e9 || (size > 0 && size < 1e-6)) {
        return an_plot_number(arena, value, 9);
    }
    const int power = size > 0 ? (int)floor(log10(size)) : 0;
    const int decimals = 2 - power;
    if (decimals < 0) { /* whole thousands: the digits behind the third are told by none */
        const double unit = pow(10, -decimals);
        const char *whole = an_plot_number(arena, nearbyint(value / unit) * unit, 0);
        return whole ? parted(arena, whole) : NULL;
    }
    const char *text = an_plot_number(arena, value, decimals);
    if (!text || !strchr(text, '.')) {
        return text ? parted(arena, text) : NULL; /* rounded up to a thousand */
    }
    size_t length = strlen(text);
    while (text[length - 1] == '0') {
        length--;
    }
    length -= text[length - 1] == '.';
    return an_arena_copy(arena, text, length);
}

const char *an_plot_value(struct an_arena *arena, const struct an_plot *plot, double value)
{
    return plot->ratios ? an_plot_digits(arena, value)
                        : an_plot_number(arena, value, plot->decimals);
}
