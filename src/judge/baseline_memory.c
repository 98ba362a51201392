/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether the samples of a baseline remember each other, and what that does to the limits learned from
 * them. Must never widen or narrow limits by itself: it says by what factor they are wrong, and which chart
 * does what was meant.
 */
#include "andamento/stat/tests.h"
#include "judge/baseline.h"
#include "judge/shown.h"

#include <math.h>

enum { LAGS_MOST = 10, A_LAG_FOR = 5 };

/* Ten lags, or a fifth of the samples if that is fewer: common practice, no source. */
static size_t lags_of(size_t count, size_t fitted)
{
    const size_t lags = count / A_LAG_FOR < LAGS_MOST ? count / A_LAG_FOR : LAGS_MOST;

    return lags > fitted ? lags : fitted + 1;
}

static bool has_no_level(enum an_family family)
{
    return an_family_is_joint(family) || family == AN_G || family == AN_T || family == AN_GROUP;
}

static bool by_moving_ranges(enum an_family family)
{
    return family == AN_INDIVIDUALS || family == AN_BETWEEN_WITHIN || family == AN_P_PRIME ||
           family == AN_U_PRIME || family == AN_SHORT_RUN;
}

/* What it does to limits from moving ranges, in words. NULL: memory. */
static const char *ranges_words(const struct an_limits *limits, struct an_arena *arena)
{
    const struct an_too_narrow narrow = an_autocorrelation_narrows(limits->lag1, limits->model.k);
    const enum an_family family = limits->model.family;
    const bool values = family == AN_INDIVIDUALS || family == AN_BETWEEN_WITHIN;
    const char *instead = values ? "chart what the sample before does not explain ('family: "
                                   "residuals'), or sample less often"
                                 : "sample less often, or gather more in a sample";

    if (limits->lag1 > 0) {
        return an_arena_printf(arena,
                               "limits from moving ranges are too narrow by a factor of %.2f and "
                               "signal by luck at about %.1f of 100 samples; %s",
                               narrow.factor, 100 * narrow.chance, instead);
    }
    return an_arena_printf(
        arena,
        "limits from moving ranges are too wide by a factor of %.2f and signal too "
        "late; look for over-adjustment or two mixed sources%s",
        1 / narrow.factor,
        values ? ", or chart what the sample before does not explain ('family: "
                 "residuals')"
               : "");
}

/* Limits that do not come from neighbours are not wrong by it, but rules that look at several points are. */
static const char *other_words(const struct an_limits *limits)
{
    const enum an_family family = limits->model.family;

    if (family == AN_RESIDUALS) {
        return "more is left than the sample before explains; a longer memory, or a trend, is at work";
    }
    if (limits->lag1 < 0) {
        return "the level alternates, as over-adjustment or two mixed sources do";
    }
    return family == AN_XBAR_R || family == AN_XBAR_S
               ? "the level wanders, and runs on one side will signal too often; chart what the sample "
                 "before does not explain ('family: residuals'), or sample less often"
               : "the level wanders, and runs on one side will signal too often";
}

enum an_status an_baseline_memory(struct an_limits *limits, const double z[], size_t count,
                                  struct an_arena *arena, const char **warning)
{
    const enum an_family family = limits->model.family;
    const size_t fitted = family == AN_RESIDUALS ? 1 : 0;
    const double nan = (double)NAN;
    char p[24] = "";

    *warning = NULL;
    limits->lag1 = limits->lag1_bound = nan;
    limits->ljung_box = (struct an_ljung_box){nan, nan, nan};
    if (has_no_level(family) || count < 4 || an_autocorrelation(z, count, 1, &limits->lag1)) {
        limits->lag1 = nan;
        return AN_OK;
    }
    limits->lag1_bound = 2 / sqrt((double)count);
    if (an_ljung_box_of(z, count, lags_of(count, fitted), fitted, &limits->ljung_box)) {
        limits->ljung_box = (struct an_ljung_box){nan, nan, nan};
    }
    if (!(fabs(limits->lag1) > limits->lag1_bound)) {
        return AN_OK;
    }
    const bool factor = by_moving_ranges(family) && fabs(limits->lag1) < 1;
    const char *what = factor ? ranges_words(limits, arena) : other_words(limits);
    const char *box =
        isfinite(limits->ljung_box.p)
            ? an_arena_printf(arena, "; Ljung-Box %.1f with %.0f df, p %s", limits->ljung_box.q,
                              limits->ljung_box.df, an_shown_chance(limits->ljung_box.p, p))
            : "";
    if (!what || !box) {
        return AN_NO_MEMORY;
    }
    *warning = an_arena_printf(arena,
                               "neighbouring samples are not independent (lag-1 correlation %.2f; "
                               "luck stays within +-%.2f%s): %s",
                               limits->lag1, limits->lag1_bound, box, what);
    return *warning ? AN_OK : AN_NO_MEMORY;
}
