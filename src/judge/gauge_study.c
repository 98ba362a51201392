/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a gauge study says: readings arranged, evaluated, and put in one sentence with its cautions.
 *
 * Responsible for refusing a study that is not what its kind wants, by name of part and operator.
 * Never writes. Bounds of verdicts (10 and 30 per cent; kappa .4 and .75) are common practice, no
 * source; docs/gauge.md says so.
 */
#include "judge/gauge.h"

#include <math.h>
#include <string.h>

static const char *const kind_names[] = {
    [AN_GAUGE_CROSSED] = "crossed",     [AN_GAUGE_BIAS] = "bias",
    [AN_GAUGE_LINEARITY] = "linearity", [AN_GAUGE_SORTING] = "sorting",
    [AN_GAUGE_STABILITY] = "stability",
};

const char *an_gauge_kind_name(enum an_gauge_kind kind)
{
    return kind >= AN_GAUGE_CROSSED && kind <= AN_GAUGE_STABILITY ? kind_names[kind] : "?";
}

bool an_gauge_kind_of(const char *name, enum an_gauge_kind *kind)
{
    for (int k = AN_GAUGE_CROSSED; k <= AN_GAUGE_STABILITY; k++) {
        if (strcmp(name, kind_names[k]) == 0) {
            *kind = (enum an_gauge_kind)k;
            return true;
        }
    }
    return false;
}

const char *an_gauge_grade_words(enum an_gauge_grade grade)
{
    return grade == AN_GRADE_FIT ? "fit" : grade == AN_GRADE_LOOK ? "use with care" : "not fit";
}

void an_gauge_caution(struct an_gauge_result *r, const char *text)
{
    if (r->caution_count < sizeof r->cautions / sizeof *r->cautions && text) {
        r->cautions[r->caution_count++] = text;
    }
}

static enum an_status no_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory while evaluating a gauge study");
}

/* ---- every part by every operator as often ----------------------------------------------------------- */
static enum an_status check_cells(const struct an_gauge_record *record,
                                  const struct an_gauge_rows *rows, const size_t *cells,
                                  struct an_error *err)
{
    const size_t people = rows->person_count;
    if (rows->part_count < 2 || people < 2) {
        return an_fail(err, AN_BAD_INPUT,
                       "%s: %zu %s, %zu %s; a %s study wants at least 2 of each, as many repeats "
                       "everywhere",
                       record->file, rows->part_count, rows->part_count == 1 ? "part" : "parts",
                       people, people == 1 ? "operator" : "operators",
                       an_gauge_kind_name(record->kind));
    }
    for (size_t c = 0; c < rows->part_count * people; c++) {
        const char *part = rows->parts[c / people];
        const char *person = rows->people[c % people];
        if (cells[c] == 0) {
            return an_fail(err, AN_BAD_INPUT,
                           "%s: part '%s' has no reading by operator '%s'; a %s study wants every "
                           "part by every operator: add them, or leave the part out",
                           record->file, part, person, an_gauge_kind_name(record->kind));
        }
        if (cells[c] != cells[0]) {
            return an_fail(err, AN_BAD_INPUT,
                           "%s: part '%s' has %zu readings by operator '%s' where part '%s' has "
                           "%zu by '%s'; a %s study wants the same number everywhere",
                           record->file, part, cells[c], person, rows->parts[0], cells[0],
                           rows->people[0], an_gauge_kind_name(record->kind));
        }
    }
    if (record->kind == AN_GAUGE_CROSSED && cells[0] < 2) {
        return an_fail(err, AN_BAD_INPUT,
                       "%s: each part was read once by each operator; a crossed study wants 2 "
                       "repeats or more",
                       record->file);
    }
    return AN_OK;
}

/* Where row i goes in [part][person][repeat]. */
static enum an_status arrange(const struct an_gauge_record *record,
                              const struct an_gauge_rows *rows, struct an_arena *arena,
                              struct an_gauge_result *r, size_t **place, struct an_error *err)
{
    size_t *cells = an_arena_alloc(arena, rows->part_count * rows->person_count + 1, sizeof *cells);
    *place = an_arena_alloc(arena, rows->n + 1, sizeof **place);
    if (!cells || !*place) {
        return no_memory(err);
    }
    for (size_t i = 0; i < rows->n; i++) {
        (*place)[i] = cells[rows->part[i] * rows->person_count + rows->person[i]]++;
    }
    const enum an_status st = check_cells(record, rows, cells, err);
    if (st) {
        return st;
    }
    r->repeats = cells[0];
    for (size_t i = 0; i < rows->n; i++) {
        (*place)[i] += (rows->part[i] * rows->person_count + rows->person[i]) * r->repeats;
    }
    return AN_OK;
}

/* ---- crossed ------------------------------------------------------------------------------------------ */
enum an_gauge_grade an_gauge_grade_of(double percent)
{
    return percent < 10.0 ? AN_GRADE_FIT : percent <= 30.0 ? AN_GRADE_LOOK : AN_GRADE_UNFIT;
}

static const char *const percent_words[] = {
    [AN_GRADE_FIT] = "under 10 %: fit",
    [AN_GRADE_LOOK] = "10 to 30 %: usable where the use allows it",
    [AN_GRADE_UNFIT] = "over 30 %: not fit as it is",
};

static enum an_status crossed_verdict(struct an_gauge_result *r, struct an_arena *arena)
{
    const struct an_gauge_part *gauge = &r->study.source[AN_GAUGE_WHOLE];
    const bool tolerance = r->study.tolerance > 0.0;
    const double percent = tolerance ? gauge->of_tolerance : gauge->of_study;
    const double lower = tolerance ? gauge->of_tolerance_lower : gauge->of_study_lower;
    const double upper = tolerance ? gauge->of_tolerance_upper : gauge->of_study_upper;
    r->grade = an_gauge_grade_of(percent);
    r->verdict = an_arena_printf(arena, "takes %.1f %% of the %s (95 %% bounds %.1f to %.1f); %s",
                                 percent, tolerance ? "tolerance" : "study variation", lower, upper,
                                 percent_words[r->grade]);
    if (an_gauge_grade_of(lower) != an_gauge_grade_of(upper)) {
        an_gauge_caution(
            r, "The bounds reach over more than one verdict: more parts and operators would "
               "settle it.");
    }
    if (r->study.operators < 5) {
        an_gauge_caution(
            r, an_arena_printf(arena,
                               "With %zu operators the spread between operators is hardly "
                               "known; bounds above show how little.",
                               r->study.operators));
    }
    if (!tolerance) {
        an_gauge_caution(
            r, "No tolerance was given: per cent of the study holds only if the parts spread "
               "as production does.");
    }
    if (!r->study.pooled && r->study.interaction.p < 0.05) {
        an_gauge_caution(
            r, "Operators differ otherwise from part to part (interaction, p below 0.05): look "
               "how the parts are held and read.");
    }
    if (r->study.source[AN_GAUGE_PARTS].cut || r->study.categories < 5.0) {
        an_gauge_caution(r,
                         an_arena_printf(arena,
                                         "Tells %.1f kinds of part apart; fewer than 5 is little "
                                         "for a control chart (common practice, no source).",
                                         r->study.categories));
    }
    return r->verdict ? AN_OK : AN_NO_MEMORY;
}

static enum an_status crossed(const struct an_gauge_rows *rows, struct an_arena *arena,
                              struct an_gauge_result *r, struct an_error *err)
{
    size_t *place = NULL;
    enum an_status st = arrange(r->record, rows, arena, r, &place, err);
    if (st) {
        return st;
    }
    r->value = an_arena_alloc(arena, rows->n, sizeof *r->value);
    if (!r->value) {
        return no_memory(err);
    }
    for (size_t i = 0; i < rows->n; i++) {
        r->value[place[i]] = rows->value[i];
    }
    const struct an_gauge_data data = {r->value, rows->part_count, rows->person_count, r->repeats};
    st = an_gauge_crossed(&data, r->record->pool_above, r->record->tolerance, AN_GAUGE_CONFIDENCE,
                          &r->study);
    if (st == AN_NO_SPREAD) {
        return an_fail(err, AN_BAD_INPUT,
                       r->study.repeat.ss > 0.0
                           ? "%s: all parts have the same mean; a study wants parts that differ"
                           : "%s: repeats are equal everywhere: the gauge is stuck, or rounds too "
                             "coarsely to be studied; let it write one more digit",
                       r->record->file);
    }
    st = st ? st : an_gauge_ranges(&data, r->record->tolerance, &r->ranges);
    if (st) {
        return an_fail(err, AN_BAD_INPUT, "%s: the study cannot be evaluated (%s)", r->record->file,
                       an_status_name(st));
    }
    return crossed_verdict(r, arena) ? no_memory(err) : AN_OK;
}

/* ---- bias and linearity ---------------------------------------------------------------------------------- */
/* A chance as small as can be told; less than that says no more. */
static const char *say_p(struct an_arena *arena, double p)
{
    return p < 0.0001 ? "below 0.0001" : an_arena_printf(arena, "%.2g", p);
}

static enum an_status bias(struct an_gauge_result *r, struct an_arena *arena, struct an_error *err)
{
    const struct an_gauge_record *record = r->record;
    const enum an_status st =
        an_gauge_bias_of(r->value, r->n, record->reference_value, AN_GAUGE_CONFIDENCE, &r->bias);
    if (st == AN_NO_SPREAD) {
        return an_fail(err, AN_BAD_INPUT,
                       "%s: all %zu readings are equal: no bounds can be had; let the gauge write "
                       "one more digit",
                       record->file, r->n);
    }
    if (st) {
        return an_fail(err, AN_BAD_INPUT, "%s: %zu readings; bias wants 2 or more, finite",
                       record->file, r->n);
    }
    const bool off = r->bias.p < 1.0 - AN_GAUGE_CONFIDENCE;
    const double percent = 100.0 * fabs(r->bias.bias) / record->tolerance;
    r->grade = !off                                        ? AN_GRADE_FIT
               : record->tolerance > 0.0 && percent > 10.0 ? AN_GRADE_UNFIT
                                                           : AN_GRADE_LOOK;
    r->verdict =
        an_arena_printf(arena,
                        off ? "reads %.4g %s (95 %% bounds %.4g to %.4g): a bias, p %s"
                            : "no bias shown: %.4g, %s (95 %% bounds %.4g to %.4g, p %s)",
                        off ? fabs(r->bias.bias) : r->bias.bias,
                        off ? (r->bias.bias > 0.0 ? "high" : "low") : "within what repeats allow",
                        r->bias.lower, r->bias.upper, say_p(arena, r->bias.p));
    if (record->tolerance > 0.0) {
        an_gauge_caution(r,
                         an_arena_printf(arena, "The bias is %.1f %% of the tolerance.", percent));
    }
    if (r->n < 10) {
        an_gauge_caution(
            r,
            an_arena_printf(arena, "%zu readings are few: a bias may hide in the bounds.", r->n));
    }
    return r->verdict ? AN_OK : no_memory(err);
}

static enum an_status linearity(struct an_gauge_result *r, struct an_arena *arena,
                                struct an_error *err)
{
    const struct an_gauge_record *record = r->record;
    const enum an_status st =
        an_gauge_linearity(r->value, r->reference, r->n, AN_GAUGE_CONFIDENCE, &r->line);
    if (st == AN_NO_SPREAD) {
        return an_fail(err, AN_BAD_INPUT,
                       "%s: all references are equal; linearity wants items over the gauge's range "
                       "(for one item: --kind bias)",
                       record->file);
    }
    if (st) {
        return an_fail(err, AN_BAD_INPUT, "%s: %zu readings; linearity wants 3 or more, finite",
                       record->file, r->n);
    }
    const struct an_gauge_line *line = &r->line;
    const bool sloped = line->p_slope < 0.05;
    const struct an_bounds mean = an_gauge_band(line, line->mean_reference);
    const bool off = mean.lower > 0.0 || mean.upper < 0.0;
    r->grade = sloped || off ? AN_GRADE_LOOK : AN_GRADE_FIT;
    r->verdict = an_arena_printf(
        arena, "%s: slope %.4g (p %s), mean bias %.4g (95 %% bounds %.4g to %.4g)",
        sloped ? "the bias changes with the value"
        : off  ? "a bias that does not change with the value"
               : "neither bias nor slope shown",
        line->slope, say_p(arena, line->p_slope), line->average_bias, mean.lower, mean.upper);
    if (line->lack_p < 0.05) {
        an_gauge_caution(r, an_arena_printf(arena,
                                            "A straight line does not describe the bias (lack of "
                                            "fit, p %.2g): read it item by item.",
                                            line->lack_p));
    }
    return r->verdict ? AN_OK : no_memory(err);
}

/* ---- sorting ------------------------------------------------------------------------------------------------ */
static enum an_status fill_standard(const struct an_gauge_rows *rows, struct an_arena *arena,
                                    struct an_gauge_result *r, struct an_error *err)
{
    if (!rows->standard) {
        return AN_OK;
    }
    r->standard = an_arena_alloc(arena, r->part_count, sizeof *r->standard);
    bool *known = an_arena_alloc(arena, r->part_count, sizeof *known);
    if (!r->standard || !known) {
        return no_memory(err);
    }
    for (size_t i = 0; i < rows->n; i++) {
        const size_t part = rows->part[i];
        if (known[part] && r->standard[part] != rows->standard[i]) {
            return an_fail(err, AN_BAD_INPUT,
                           "%s:%llu: part '%s' has the reference '%s' here and '%s' before; a part "
                           "has one",
                           r->record->file, (unsigned long long)rows->line[i], r->parts[part],
                           r->words[rows->standard[i]], r->words[r->standard[part]]);
        }
        known[part] = true;
        r->standard[part] = rows->standard[i];
    }
    return AN_OK;
}

static const size_t *said(const struct an_gauge_result *r, size_t part, size_t person)
{
    return r->sorted + (part * r->person_count + person) * r->repeats;
}

static bool all_are(const size_t *word, size_t n, size_t wanted)
{
    for (size_t i = 0; i < n; i++) {
        if (word[i] != wanted) {
            return false;
        }
    }
    return true;
}

/* One kappa over all parts and repeats: of person a, and of b or (b = AN_NONE) the reference. */
static enum an_status pair_kappa(const struct an_gauge_result *r, size_t a, size_t b,
                                 struct an_arena *arena, struct an_kappa *kappa, bool *has)
{
    const size_t n = r->part_count * r->repeats;
    size_t *x = an_arena_alloc(arena, n, sizeof *x);
    size_t *y = an_arena_alloc(arena, n, sizeof *y);
    if (!x || !y) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < n; i++) {
        const size_t part = i / r->repeats;
        x[i] = said(r, part, a)[i % r->repeats];
        y[i] = b == AN_NONE ? r->standard[part] : said(r, part, b)[i % r->repeats];
    }
    const enum an_status st =
        an_kappa_cohen(x, y, n, r->word_count, AN_GAUGE_CONFIDENCE, arena, kappa);
    *has = st == AN_OK;
    return st == AN_NO_SPREAD || st == AN_TOO_FEW ? AN_OK : st;
}

static enum an_status fill_people(struct an_gauge_result *r, struct an_arena *arena)
{
    enum an_status st = AN_OK;
    for (size_t p = 0; !st && p < r->person_count; p++) {
        size_t within = 0;
        size_t right = 0;
        for (size_t part = 0; part < r->part_count; part++) {
            const size_t *words = said(r, part, p);
            within += all_are(words, r->repeats, words[0]);
            right += r->standard && all_are(words, r->repeats, r->standard[part]);
        }
        r->person[p].within =
            an_share_of(within, r->repeats > 1 ? r->part_count : 0, AN_GAUGE_CONFIDENCE);
        r->person[p].standard =
            an_share_of(right, r->standard ? r->part_count : 0, AN_GAUGE_CONFIDENCE);
        if (r->standard) {
            st = pair_kappa(r, p, AN_NONE, arena, &r->person[p].kappa, &r->person[p].has_kappa);
        }
        for (size_t q = p + 1; !st && q < r->person_count; q++) {
            struct an_gauge_pair *pair = &r->pair[r->pair_count++];
            pair->a = p;
            pair->b = q;
            st = pair_kappa(r, p, q, arena, &pair->kappa, &pair->has_kappa);
        }
    }
    return st;
}

static enum an_status fill_everybody(struct an_gauge_result *r, struct an_arena *arena)
{
    const size_t each = r->person_count * r->repeats;
    size_t *counts = an_arena_alloc(arena, r->part_count * r->word_count + 1, sizeof *counts);
    size_t agreed = 0;
    size_t right = 0;
    if (!counts) {
        return AN_NO_MEMORY;
    }
    for (size_t part = 0; part < r->part_count; part++) {
        const size_t *words = said(r, part, 0);
        agreed += all_are(words, each, words[0]);
        right += r->standard && all_are(words, each, r->standard[part]);
        for (size_t i = 0; i < each; i++) {
            counts[part * r->word_count + words[i]]++;
        }
    }
    r->between = an_share_of(agreed, r->part_count, AN_GAUGE_CONFIDENCE);
    r->all_standard = an_share_of(right, r->standard ? r->part_count : 0, AN_GAUGE_CONFIDENCE);
    const enum an_status st = an_kappa_fleiss(counts, r->part_count, r->word_count, r->word_count,
                                              AN_GAUGE_CONFIDENCE, &r->fleiss);
    r->has_fleiss = st == AN_OK;
    return st == AN_NO_SPREAD ? AN_OK : st;
}

static enum an_status sorting_verdict(struct an_gauge_result *r, struct an_arena *arena)
{
    double least = r->has_fleiss ? r->fleiss.kappa : (double)NAN;
    const char *of = "among all";
    for (size_t p = 0; r->standard && p < r->person_count; p++) {
        if (r->person[p].has_kappa && !(r->person[p].kappa.kappa > least)) {
            least = r->person[p].kappa.kappa;
            of = r->people[p];
        }
    }
    r->grade = least >= 0.75 ? AN_GRADE_FIT : least >= 0.4 ? AN_GRADE_LOOK : AN_GRADE_UNFIT;
    r->verdict = an_arena_printf(
        arena,
        "least kappa %.2f (%s); everybody agrees on %zu of %zu parts (95 %% bounds %.0f to "
        "%.0f %%): %s",
        least, of, r->between.agreed, r->between.of, 100.0 * r->between.lower,
        100.0 * r->between.upper,
        r->grade == AN_GRADE_FIT    ? "kappa 0.75 or more: fit"
        : r->grade == AN_GRADE_LOOK ? "kappa 0.4 to 0.75: use with care"
                                    : "kappa below 0.4: not fit");
    if (!r->standard) {
        an_gauge_caution(r,
                         "Nobody knows which answers were right: people may agree and be wrong.");
    }
    if (r->part_count < 30) {
        an_gauge_caution(r, an_arena_printf(arena,
                                            "%zu parts are few for shares: see how wide the bounds "
                                            "are.",
                                            r->part_count));
    }
    return r->verdict ? AN_OK : AN_NO_MEMORY;
}

static enum an_status sorting(const struct an_gauge_rows *rows, struct an_arena *arena,
                              struct an_gauge_result *r, struct an_error *err)
{
    size_t *place = NULL;
    enum an_status st = arrange(r->record, rows, arena, r, &place, err);
    if (st) {
        return st;
    }
    if (r->word_count < 2) {
        return an_fail(err, AN_BAD_INPUT,
                       "%s: column '%s' says '%s' everywhere; a sorting study wants parts of every "
                       "category",
                       r->record->file, r->record->reading, r->words[0]);
    }
    r->sorted = an_arena_alloc(arena, rows->n, sizeof *r->sorted);
    r->person = an_arena_alloc(arena, r->person_count, sizeof *r->person);
    r->pair = an_arena_alloc(arena, r->person_count * r->person_count, sizeof *r->pair);
    if (!r->sorted || !r->person || !r->pair) {
        return no_memory(err);
    }
    for (size_t i = 0; i < rows->n; i++) {
        r->sorted[place[i]] = rows->word[i];
    }
    st = fill_standard(rows, arena, r, err);
    if (st) {
        return st;
    }
    st = fill_people(r, arena);
    st = st ? st : fill_everybody(r, arena);
    st = st ? st : sorting_verdict(r, arena);
    return st == AN_NO_MEMORY ? no_memory(err)
           : st               ? an_fail(err, AN_BAD_INPUT, "%s: the study cannot be evaluated (%s)",
                                        r->record->file, an_status_name(st))
                              : AN_OK;
}

enum an_status an_gauge_evaluate(const struct an_gauge_record *record, struct an_arena *arena,
                                 struct an_gauge_result *r, struct an_error *err)
{
    struct an_gauge_rows rows;
    *r = (struct an_gauge_result){.record = record};
    const enum an_status st = an_gauge_read(record, arena, &rows, err);
    if (st) {
        return st;
    }
    r->parts = rows.parts;
    r->part_count = rows.part_count;
    r->people = rows.people;
    r->person_count = rows.person_count;
    r->words = rows.words;
    r->word_count = rows.word_count;
    r->n = rows.n;
    r->value = rows.value;
    r->reference = rows.reference;
    switch (record->kind) {
    case AN_GAUGE_CROSSED:
        return crossed(&rows, arena, r, err);
    case AN_GAUGE_BIAS:
        return bias(r, arena, err);
    case AN_GAUGE_LINEARITY:
        return linearity(r, arena, err);
    case AN_GAUGE_STABILITY:
        return an_gauge_stability_of(&rows, arena, r, err);
    case AN_GAUGE_SORTING:
        break;
    }
    return sorting(&rows, arena, r, err);
}
