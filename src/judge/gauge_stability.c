/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A stability study: one reference item read again and again. Its own control chart says whether the
 * gauge does the same each time, a line over time whether it wanders, both against the item's value.
 *
 * Responsible for refusing readings that are not one item's in order of time. Never locks limits: those
 * of a study are learned from the study and used for nothing else.
 *
 * The hard idea: readings of one occasion are not independent, so everything about time and bias is
 * asked of the means of occasions, and only the repeats' own spread of the readings.
 */
#include "andamento/base/instant.h"
#include "andamento/stat/moments.h"
#include "judge/gauge.h"

#include <math.h>
#include <string.h>

#define USUAL_OCCASIONS 20 /* common practice, no source */
#define TOLD_SIGNALS 3     /* one by one */

struct making {
    const struct an_gauge_record *record;
    const struct an_gauge_rows *rows;
    struct an_arena *arena;
    struct an_gauge_result *r;
    struct an_gauge_stability *s;
    struct an_error *err;
};

static enum an_status no_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory while evaluating a gauge study");
}

/* "2026-03-04" or, with a time of day, "2026-03-04 06:00". */
static char *say_time(int64_t at_us, char text[40])
{
    an_instant_rfc3339(at_us, text);
    text[10] = at_us % AN_DAY_US == 0 ? '\0' : ' ';
    text[16] = '\0';
    return text;
}

/* ---- what is no stability study ------------------------------------------------------------------- */
static enum an_status check_rows(struct making *m)
{
    const struct an_gauge_rows *rows = m->rows;
    const char *file = m->record->file;
    char now[40];
    char before[40];
    for (size_t i = 1; i < rows->n; i++) {
        const unsigned long long line = rows->line[i];
        if (rows->at_us[i] < rows->at_us[i - 1]) {
            return an_fail(m->err, AN_BAD_INPUT,
                           "%s:%llu: %s lies before %s in line %llu; put the lines in order of "
                           "time, and look whether day and month are what they should be",
                           file, line, say_time(rows->at_us[i], now),
                           say_time(rows->at_us[i - 1], before),
                           (unsigned long long)rows->line[i - 1]);
        }
        if (rows->part && rows->part[i] != rows->part[0]) {
            return an_fail(m->err, AN_BAD_INPUT,
                           "%s:%llu: item '%s' here, '%s' in line %llu; a stability study follows "
                           "one reference item: one file for each",
                           file, line, rows->parts[rows->part[i]], rows->parts[rows->part[0]],
                           (unsigned long long)rows->line[0]);
        }
        if (rows->reference && rows->reference[i] != rows->reference[0]) {
            return an_fail(m->err, AN_BAD_INPUT,
                           "%s:%llu: reference %g here, %g in line %llu; a stability study follows "
                           "one reference item: one file for each",
                           file, line, rows->reference[i], rows->reference[0],
                           (unsigned long long)rows->line[0]);
        }
    }
    return AN_OK;
}

/* ---- occasions --------------------------------------------------------------------------------------- */
static enum an_status gather(struct making *m)
{
    const struct an_gauge_rows *rows = m->rows;
    struct an_gauge_stability *s = m->s;
    s->at = an_arena_alloc(m->arena, rows->n + 1, sizeof *s->at);
    if (!s->at) {
        return no_memory(m->err);
    }
    for (size_t i = 0; i < rows->n;) {
        struct an_gauge_occasion *o = &s->at[s->count++];
        struct an_moments moments;
        size_t end = i;
        while (end < rows->n && rows->at_us[end] == rows->at_us[i]) {
            end++;
        }
        if (an_moments_of(rows->value + i, end - i, &moments)) {
            return an_fail(m->err, AN_BAD_INPUT, "%s:%llu: a reading here is out of all bounds",
                           m->record->file, (unsigned long long)rows->line[i]);
        }
        *o = (struct an_gauge_occasion){.at_us = rows->at_us[i],
                                        .first = i,
                                        .sample = {.n = (double)(end - i),
                                                   .mean = moments.mean,
                                                   .sd = an_moments_sd(&moments),
                                                   .range = moments.max - moments.min}};
        i = end;
    }
    return AN_OK;
}

/* As many readings an occasion: ranges up to ten, else standard deviations. */
static enum an_status choose_family(struct making *m, enum an_family *family)
{
    const struct an_gauge_stability *s = m->s;
    bool equal = true;
    if (s->count < AN_STABILITY_LEAST) {
        return an_fail(
            m->err, AN_BAD_INPUT,
            "%s: %zu occasion%s; a stability study wants %d or more, better %d, over the "
            "time that matters (readings of one occasion have the same time)",
            m->record->file, s->count, s->count == 1 ? "" : "s", AN_STABILITY_LEAST,
            USUAL_OCCASIONS);
    }
    for (size_t i = 1; i < s->count; i++) {
        const bool lone = s->at[i].sample.n < 2.0;
        if (lone != (s->at[0].sample.n < 2.0)) {
            char text[40];
            return an_fail(m->err, AN_BAD_INPUT,
                           "%s:%llu: %.0f reading%s at %s where the first occasion has %.0f; give "
                           "every occasion one reading, or every one two or more",
                           m->record->file, (unsigned long long)m->rows->line[s->at[i].first],
                           s->at[i].sample.n, lone ? "" : "s", say_time(s->at[i].at_us, text),
                           s->at[0].sample.n);
        }
        equal = equal && s->at[i].sample.n == s->at[0].sample.n;
    }
    *family = s->at[0].sample.n < 2.0              ? AN_INDIVIDUALS
              : equal && s->at[0].sample.n <= 10.0 ? AN_XBAR_R
                                                   : AN_XBAR_S;
    return AN_OK;
}

/* ---- chart ------------------------------------------------------------------------------------------- */
static enum an_status apply_rules(struct making *m, int panel)
{
    struct an_gauge_stability *s = m->s;
    struct an_rule_choice rules = s->rules;
    double *z = an_arena_alloc(m->arena, s->count, sizeof *z);
    double *low = an_arena_alloc(m->arena, s->count, sizeof *low);
    double *high = an_arena_alloc(m->arena, s->count, sizeof *high);
    const size_t room = s->count * AN_RULE_COUNT;
    s->hits[panel] = an_arena_alloc(m->arena, room, sizeof **s->hits);
    if (!z || !low || !high || !s->hits[panel]) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; panel && i < AN_RULE_COUNT; i++) {
        rules.on[i] = i == AN_RULE_BEYOND_LIMIT; /* spreads are skew: runs of them say little */
    }
    const double k = an_chart_limit_sigmas(&s->model, panel);
    for (size_t i = 0; i < s->count; i++) {
        const struct an_panel_point *p = panel ? &s->at[i].point.spread : &s->at[i].point.level;
        z[i] = p->z;
        high[i] = isfinite(p->ucl) ? k : (double)NAN;
        low[i] = isfinite(p->lcl) ? -k : (double)NAN;
    }
    return an_rules_apply(z, low, high, s->count, k, &rules, s->hits[panel], room,
                          &s->hit_count[panel]);
}

static enum an_status chart(struct making *m, enum an_family family)
{
    struct an_gauge_stability *s = m->s;
    struct an_chart_sample *samples = an_arena_alloc(m->arena, s->count, sizeof *samples);
    if (!samples) {
        return no_memory(m->err);
    }
    for (size_t i = 0; i < s->count; i++) {
        samples[i] = s->at[i].sample;
    }
    enum an_status st = an_chart_learn(family, 3.0, samples, s->count, &s->model);
    if (st == AN_NO_SPREAD) {
        return an_fail(m->err, AN_BAD_INPUT,
                       family == AN_INDIVIDUALS
                           ? "%s: all readings are equal: the gauge is stuck, or rounds too "
                             "coarsely to be studied; let it write one more digit"
                           : "%s: the readings of each occasion are equal: the gauge rounds too "
                             "coarsely for its repeats; let it write one more digit, or give one "
                             "reading an occasion",
                       m->record->file);
    }
    for (size_t i = 0; !st && i < s->count; i++) {
        s->at[i].point = an_chart_judge(&s->model, &samples[i], i ? &samples[i - 1] : NULL);
    }
    s->rules = an_rules_default();
    st = st ? st : apply_rules(m, 0);
    st = st ? st : apply_rules(m, 1);
    s->stable = s->hit_count[0] + s->hit_count[1] == 0;
    return st == AN_NO_MEMORY ? no_memory(m->err)
           : st ? an_fail(m->err, AN_BAD_INPUT, "%s: no chart can be made (%s)", m->record->file,
                          an_status_name(st))
                : AN_OK;
}

/* ---- drift, bias, repeats ----------------------------------------------------------------------------- */
static enum an_status follow(struct making *m)
{
    struct an_gauge_stability *s = m->s;
    double *mean = an_arena_alloc(m->arena, s->count, sizeof *mean);
    double *day = an_arena_alloc(m->arena, s->count, sizeof *day);
    if (!mean || !day) {
        return no_memory(m->err);
    }
    for (size_t i = 0; i < s->count; i++) {
        mean[i] = s->at[i].sample.mean;
        day[i] = (double)(s->at[i].at_us - s->at[0].at_us) / (double)AN_DAY_US;
    }
    s->days = day[s->count - 1];
    enum an_status st =
        an_gauge_bias_of(mean, s->count, s->reference, AN_GAUGE_CONFIDENCE, &s->bias);
    for (size_t i = 0; i < s->count; i++) {
        mean[i] -= s->reference;
    }
    st = st ? st : an_gauge_drift(mean, day, s->count, AN_GAUGE_CONFIDENCE, &s->drift);
    if (st) {
        return an_fail(m->err, AN_BAD_INPUT,
                       st == AN_NO_SPREAD
                           ? "%s: the means of all occasions are equal: the gauge is "
                             "stuck, or rounds too coarsely; let it write one more "
                             "digit"
                           : "%s: no drift can be computed: a reading is out of all "
                             "bounds",
                       m->record->file);
    }
    const double reach = s->drift.t * s->drift.se_slope * s->days;
    s->change = s->drift.slope * s->days;
    s->change_lower = s->change - reach;
    s->change_upper = s->change + reach;
    s->start = an_gauge_band(&s->drift, 0.0);
    s->end = an_gauge_band(&s->drift, s->days);
    s->drifts = s->drift.p_slope < 1.0 - AN_GAUGE_CONFIDENCE;
    return AN_OK;
}

/* How far occasions lie apart beyond what their repeats explain. */
static enum an_status part(struct making *m)
{
    struct an_gauge_stability *s = m->s;
    size_t *occasion = an_arena_alloc(m->arena, m->rows->n, sizeof *occasion);
    if (!occasion) {
        return no_memory(m->err);
    }
    for (size_t i = 0; i < s->count; i++) {
        for (size_t k = 0; k < (size_t)s->at[i].sample.n; k++) {
            occasion[s->at[i].first + k] = i;
        }
    }
    const struct an_nested_data data = {
        .value = m->rows->value, .n = m->rows->n, .levels = 1, .group = {occasion}};
    const enum an_status st =
        an_components_by_squares(&data, AN_GAUGE_CONFIDENCE, m->arena, &s->parts);
    if (st == AN_NO_MEMORY) {
        return no_memory(m->err);
    }
    if (st) {
        s->parts = (struct an_components){0};
    }
    return AN_OK;
}

/* ---- in words ------------------------------------------------------------------------------------------ */
static size_t occasions_with_hits(const struct an_gauge_stability *s)
{
    size_t count = 0;
    for (size_t i = 0; i < s->count; i++) {
        bool hit = false;
        for (size_t p = 0; p < 2; p++) {
            for (size_t h = 0; h < s->hit_count[p]; h++) {
                hit = hit || s->hits[p][h].last == i;
            }
        }
        count += hit;
    }
    return count;
}

static void tell_signals(struct making *m)
{
    struct an_gauge_stability *s = m->s;
    const size_t all = s->hit_count[0] + s->hit_count[1];
    const char *list = "";
    size_t told = 0;
    for (size_t p = 0; p < 2; p++) {
        for (size_t h = 0; list && h < s->hit_count[p] && told < TOLD_SIGNALS; h++, told++) {
            const struct an_rule_hit *hit = &s->hits[p][h];
            char words[96];
            char at[40];
            list = an_arena_printf(m->arena, "%s%s%s (%s) at %s", list, told ? "; " : "",
                                   an_rule_words(hit->rule, hit->side, &s->rules, words),
                                   an_family_statistic(s->model.family, (int)p),
                                   say_time(s->at[hit->last].at_us, at));
        }
    }
    if (list && all > told) {
        list = an_arena_printf(m->arena, "%s; and %zu more", list, all - told);
    }
    if (all) {
        an_gauge_caution(m->r, list ? an_arena_printf(m->arena, "Signals: %s.", list) : NULL);
        an_gauge_caution(m->r, "While the gauge is not stable, other studies of it describe their "
                               "own days only: find what changed (item, fixture, temperature, "
                               "setting, wear) before relying on them.");
    }
}

static void tell_cautions(struct making *m)
{
    struct an_gauge_stability *s = m->s;
    tell_signals(m);
    if (m->record->tolerance > 0.0) {
        an_gauge_caution(
            m->r, an_arena_printf(m->arena,
                                  "The change over the study is %.1f %% of the tolerance, the bias "
                                  "at its end %.1f %%.",
                                  100.0 * fabs(s->change) / m->record->tolerance,
                                  50.0 * fabs(s->end.lower + s->end.upper) / m->record->tolerance));
    }
    if (s->count < USUAL_OCCASIONS) {
        an_gauge_caution(m->r,
                         an_arena_printf(m->arena,
                                         "%zu occasions are few: limits learned from them are "
                                         "loose; %d or more are usual.",
                                         s->count, USUAL_OCCASIONS));
    }
    if (s->parts.levels && s->parts.at[0].p < 0.05) {
        an_gauge_caution(
            m->r, an_arena_printf(m->arena,
                                  "Occasions differ by more than their repeats explain (sd %.3g "
                                  "beside %.3g, F test p %.2g): repeats of one occasion tell too "
                                  "little of the gauge.",
                                  sqrt(s->parts.at[0].variance), sqrt(s->parts.at[1].variance),
                                  s->parts.at[0].p));
    }
    an_gauge_caution(m->r, "A reference item may change itself: a drift is the gauge's only as far "
                           "as the item's value is known to hold.");
}

static enum an_status judge(struct making *m)
{
    struct an_gauge_result *r = m->r;
    struct an_gauge_stability *s = m->s;
    const double width = m->record->tolerance;
    const bool off_at_end = s->end.lower > 0.0 || s->end.upper < 0.0;
    const double at_end = (s->end.lower + s->end.upper) / 2.0;
    const bool much = width > 0.0 && ((s->drifts && fabs(s->change) > 0.1 * width) ||
                                      (off_at_end && fabs(at_end) > 0.1 * width));
    r->grade = much                                          ? AN_GRADE_UNFIT
               : !s->stable || s->drifts || s->bias.p < 0.05 ? AN_GRADE_LOOK
                                                             : AN_GRADE_FIT;
    const char *stable =
        s->stable
            ? an_arena_printf(m->arena, "stable over %zu occasions in %.3g days", s->count, s->days)
            : an_arena_printf(m->arena,
                              "not stable: signals at %zu of %zu occasions in %.3g "
                              "days",
                              occasions_with_hits(s), s->count, s->days);
    const char *drift = an_arena_printf(
        m->arena, "%s %+.3g over the study (95 %% bounds %.3g to %.3g)",
        s->drifts ? "drifts" : "no drift shown,", s->change, s->change_lower, s->change_upper);
    r->verdict =
        !stable || !drift ? NULL
        : s->drifts
            ? an_arena_printf(m->arena, "%s; %s, bias %.3g at its start, %.3g at its end", stable,
                              drift, (s->start.lower + s->start.upper) / 2.0, at_end)
            : an_arena_printf(m->arena, "%s; %s; %s %.3g (%.3g to %.3g)", stable, drift,
                              s->bias.p < 0.05 ? "bias" : "no bias shown,", s->bias.bias,
                              s->bias.lower, s->bias.upper);
    tell_cautions(m);
    return r->verdict ? AN_OK : no_memory(m->err);
}

enum an_status an_gauge_stability_of(const struct an_gauge_rows *rows, struct an_arena *arena,
                                     struct an_gauge_result *r, struct an_error *err)
{
    struct making m = {r->record, rows, arena, r, &r->stability, err};
    enum an_family family = AN_INDIVIDUALS;
    enum an_status st = check_rows(&m);
    st = st ? st : gather(&m);
    st = st ? st : choose_family(&m, &family);
    if (!st) {
        m.s->reference = rows->reference ? rows->reference[0] : r->record->reference_value;
        st = chart(&m, family);
    }
    st = st ? st : follow(&m);
    st = !st && family != AN_INDIVIDUALS ? part(&m) : st;
    return st ? st : judge(&m);
}
