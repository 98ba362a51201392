/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Eight rules on the run of standardised points.
 *
 * Responsible for: which rule speaks at which point, its name, its words and its chance by luck.
 * Must never look across a NAN. Hard idea: a rule is a condition on the points up to and including
 * the last one, so each can be told from a few counters (`struct run`) carried along the stream.
 *
 * Sources (from memory; the standard's own catalogue of such tests is in ISO 7870-2):
 *   beyond_limit             Shewhart, Economic Control of Quality of Manufactured Product, 1931;
 *                            Nelson's test 1
 *   two_of_three_beyond_2s   Western Electric, Statistical Quality Control Handbook, 1956; test 5
 *   four_of_five_beyond_1s   Western Electric 1956; test 6
 *   run_one_side             Western Electric 1956 with 8 points; Nelson's test 2 with 9
 *   steady_trend             Nelson's test 3, 6 points
 *   alternating              Nelson's test 4, 14 points
 *   hugging_centre           Western Electric 1956 (stratification); Nelson's test 7, 15 points
 *   avoiding_centre          Western Electric 1956 (mixture); Nelson's test 8, 8 points
 *   [Nelson, The Shewhart control chart: tests for special causes, Journal of Quality Technology
 *   16(4), 1984]
 *
 * Beyond a line is strictly beyond it, within a line includes the line. In the two zone rules the
 * last point must be one of those counted: otherwise a point back near the centre would signal.
 * They speak as soon as enough points are counted, so two points beyond 2 sigma are enough.
 */
#include "andamento/stat/rules.h"

#include "andamento/stat/tests.h"

#include <math.h>
#include <string.h>

enum { ALTERNATING_POINTS = 14, HUGGING_POINTS = 15, AVOIDING_POINTS = 8 };

struct rule_text {
    const char *name, *code, *words; /* # in code and words stands for the number of points */
    int points;                      /* of the fixed rules */
};

static const struct rule_text rule_texts[AN_RULE_TOLD] = {
    [AN_RULE_BEYOND_LIMIT] = {"beyond_limit", "B", "beyond the control limit", 1},
    [AN_RULE_TWO_OF_THREE_BEYOND_2S] = {"two_of_three_beyond_2s", "O2/3@2",
                                        "2 of 3 points beyond 2 sigma", 3},
    [AN_RULE_FOUR_OF_FIVE_BEYOND_1S] = {"four_of_five_beyond_1s", "O4/5@1",
                                        "4 of 5 points beyond 1 sigma", 5},
    [AN_RULE_RUN_ONE_SIDE] = {"run_one_side", "R#", "# points in a row", 0},
    [AN_RULE_STEADY_TREND] = {"steady_trend", "D#", "# points in a row, each", 0},
    [AN_RULE_ALTERNATING] = {"alternating", "W#", "# points in a row going up and down by turns",
                             ALTERNATING_POINTS},
    [AN_RULE_HUGGING_CENTRE] = {"hugging_centre", "H#@1",
                                "# points in a row within 1 sigma of the centre", HUGGING_POINTS},
    [AN_RULE_AVOIDING_CENTRE] = {"avoiding_centre", "V#@1",
                                 "# points in a row, none within 1 sigma of the centre",
                                 AVOIDING_POINTS},
    [AN_RULE_OFF_SCALE] = {"off_scale", "X", "a value without a place on the scale of the chart",
                           1},
    [AN_RULE_SCATTER] = {"scatter_changed", "S", "counts scatter", 0},
};

/* What stands behind `words`, by side. */
static const char *side_words(enum an_rule rule, int side)
{
    if (side == 0) {
        return "";
    }
    switch (rule) {
    case AN_RULE_TWO_OF_THREE_BEYOND_2S:
    case AN_RULE_FOUR_OF_FIVE_BEYOND_1S:
    case AN_RULE_RUN_ONE_SIDE:
        return side > 0 ? " above the centre" : " below the centre";
    case AN_RULE_STEADY_TREND:
        return side > 0 ? " above the one before" : " below the one before";
    case AN_RULE_SCATTER:
        return side > 0 ? " more than before" : " less than before";
    default:
        return "";
    }
}

static int points_of(enum an_rule rule, const struct an_rule_choice *choice)
{
    if (rule == AN_RULE_RUN_ONE_SIDE) {
        return choice->run_length;
    }
    return rule == AN_RULE_STEADY_TREND ? choice->trend_length : rule_texts[rule].points;
}

struct an_rule_choice an_rules_default(void)
{
    struct an_rule_choice choice = {.run_length = 9, .trend_length = 6};
    choice.on[AN_RULE_BEYOND_LIMIT] = true;
    choice.on[AN_RULE_RUN_ONE_SIDE] = true;
    return choice;
}

const char *an_rule_name(enum an_rule rule)
{
    return (unsigned)rule < AN_RULE_TOLD ? rule_texts[rule].name : "unknown";
}

/* ---- texts: no stdio here, and the texts are short ---- */

struct writer {
    char *at, *end; /* end: where the closing NUL must fit */
};

static void put_char(struct writer *to, char c)
{
    if (to->at < to->end) {
        *to->at++ = c;
    }
    *to->at = '\0';
}

static void put_text(struct writer *to, const char *text, int points)
{
    for (; *text != '\0'; text++) {
        if (*text != '#') {
            put_char(to, *text);
            continue;
        }
        if (points >= 10) {
            put_char(to, (char)('0' + points / 10 % 10));
        }
        put_char(to, (char)('0' + points % 10));
    }
}

char *an_rule_code(enum an_rule rule, int side, const struct an_rule_choice *choice,
                   char buffer[16])
{
    struct writer to = {buffer, buffer + 15};
    buffer[0] = '\0';
    if ((unsigned)rule >= AN_RULE_TOLD) {
        return buffer;
    }
    put_text(&to, rule_texts[rule].code, points_of(rule, choice));
    if (side != 0) {
        put_char(&to, side > 0 ? '+' : '-');
    }
    return buffer;
}

char *an_rule_words(enum an_rule rule, int side, const struct an_rule_choice *choice,
                    char buffer[96])
{
    struct writer to = {buffer, buffer + 95};
    buffer[0] = '\0';
    if ((unsigned)rule >= AN_RULE_TOLD) {
        return buffer;
    }
    const int points = points_of(rule, choice);
    if (rule == AN_RULE_BEYOND_LIMIT && side != 0) {
        put_text(&to, side > 0 ? "above the upper control limit" : "below the lower control limit",
                 points);
        return buffer;
    }
    put_text(&to, rule_texts[rule].words, points);
    put_text(&to, side_words(rule, side), points);
    if (side == 0 && rule == AN_RULE_RUN_ONE_SIDE) {
        put_text(&to, " on one side of the centre", points);
    } else if (side == 0 && rule == AN_RULE_STEADY_TREND) {
        put_text(&to, " beyond the one before", points);
    }
    return buffer;
}

/* ---- chances ---- */

/*
 * Chance that n values in random order rise and fall by turns, beginning with a rise: E(n) / n!
 * with the zigzag numbers E. The recurrence of Entringer's triangle, each row over its factorial:
 * a row holds the chance by rank of the last value. [Comtet, Advanced Combinatorics, 1974,
 * section on alternating permutations; from memory]
 */
static double zigzag_chance(int n)
{
    double row[ALTERNATING_POINTS + 1] = {1.0};
    for (int size = 2; size <= n; size++) {
        double next[ALTERNATING_POINTS + 1] = {0.0}, sum = 0.0;
        /* read from the other end each time: that turns the wanted direction over */
        for (int rank = 1; rank < size; rank++) {
            sum += row[size - 1 - rank];
            next[rank] = sum / size;
        }
        memcpy(row, next, sizeof row);
    }
    double chance = 0.0;
    for (int rank = 0; rank < n; rank++) {
        chance += row[rank];
    }
    return chance;
}

double an_rule_chance(enum an_rule rule, double k, const struct an_rule_choice *choice)
{
    switch (rule) {
    case AN_RULE_BEYOND_LIMIT:
        return 2.0 * an_normal_above(k);
    case AN_RULE_TWO_OF_THREE_BEYOND_2S: {
        const double p = an_normal_above(2.0); /* this point, and 1 or 2 of the two before */
        return 2.0 * p * (p * (2.0 - p));
    }
    case AN_RULE_FOUR_OF_FIVE_BEYOND_1S: {
        const double p = an_normal_above(1.0); /* this point, and 3 or 4 of the four before */
        return 2.0 * p * (p * p * p * (4.0 - 3.0 * p));
    }
    case AN_RULE_RUN_ONE_SIDE:
        return ldexp(2.0, -choice->run_length);
    case AN_RULE_STEADY_TREND: {
        double orders = 1.0;
        for (int i = 2; i <= choice->trend_length; i++) {
            orders *= i;
        }
        return 2.0 / orders;
    }
    case AN_RULE_ALTERNATING:
        return 2.0 * zigzag_chance(ALTERNATING_POINTS);
    case AN_RULE_HUGGING_CENTRE:
        return pow(1.0 - 2.0 * an_normal_above(1.0), HUGGING_POINTS);
    case AN_RULE_AVOIDING_CENTRE:
        return pow(2.0 * an_normal_above(1.0), AVOIDING_POINTS);
    default:
        return NAN;
    }
}

/* ---- the rules at work ---- */

/* How the stream has run up to and including the point looked at. */
struct run {
    double last;
    size_t since;                /* index of the first point after the last break */
    int side, side_points;       /* on one side of the centre, and for how many points */
    int step, rise_points;       /* direction of the last step; points of an unbroken trend */
    int turn_points;             /* points of an unbroken alternation */
    int near_points, far_points; /* within, outside 1 sigma */
};

static int sign_of(double x)
{
    return (x > 0.0) - (x < 0.0);
}

static void run_take(struct run *run, double z, size_t i, bool fresh)
{
    const int side = sign_of(z);
    const int step = fresh ? 0 : sign_of(z - run->last);
    if (fresh) {
        *run = (struct run){.since = i};
    }
    run->side_points = side == 0 ? 0 : side == run->side ? run->side_points + 1 : 1;
    run->rise_points = step == 0 ? 1 : step == run->step ? run->rise_points + 1 : 2;
    run->turn_points = step == 0 ? 1 : step == -run->step ? run->turn_points + 1 : 2;
    run->near_points = fabs(z) <= 1.0 ? run->near_points + 1 : 0;
    run->far_points = fabs(z) > 1.0 ? run->far_points + 1 : 0;
    run->side = side;
    run->step = step;
    run->last = z;
}

/* At least `wanted` of the last `of` points beyond `line` on the side of the last, which is one of
 * them. *first: the earliest of those. */
static bool some_beyond(const double z[], const struct run *run, size_t i, int wanted, int of,
                        double line, size_t *first)
{
    const double side = run->side;
    if (!(z[i] * side > line)) {
        return false;
    }
    int counted = 0;
    for (int back = 0; back < of && i - run->since >= (size_t)back; back++) {
        if (z[i - (size_t)back] * side > line) {
            *first = i - (size_t)back;
            counted++;
        }
    }
    return counted >= wanted;
}

struct points {
    const double *z, *lo, *hi;
    double k;
};

/* Whether `rule` speaks at point i; fills the hit's window and side. */
static bool speaks(enum an_rule rule, const struct points *points, const struct run *run, size_t i,
                   const struct an_rule_choice *choice, struct an_rule_hit *hit)
{
    const double z = points->z[i];
    const int length = points_of(rule, choice);
    *hit = (struct an_rule_hit){.rule = rule, .last = i, .side = run->side};
    bool yes = false;
    switch (rule) {
    case AN_RULE_BEYOND_LIMIT: {
        const bool above = z > (points->hi != NULL ? points->hi[i] : points->k);
        const bool below = z < (points->lo != NULL ? points->lo[i] : -points->k);
        hit->first = i;
        hit->side = above ? 1 : -1;
        return above || below;
    }
    case AN_RULE_TWO_OF_THREE_BEYOND_2S:
        return some_beyond(points->z, run, i, 2, 3, 2.0, &hit->first);
    case AN_RULE_FOUR_OF_FIVE_BEYOND_1S:
        return some_beyond(points->z, run, i, 4, 5, 1.0, &hit->first);
    case AN_RULE_RUN_ONE_SIDE:
        yes = run->side_points >= length;
        break;
    case AN_RULE_STEADY_TREND:
        hit->side = run->step;
        yes = run->rise_points >= length;
        break;
    case AN_RULE_ALTERNATING:
        hit->side = 0;
        yes = run->turn_points >= length;
        break;
    case AN_RULE_HUGGING_CENTRE:
        hit->side = 0;
        yes = run->near_points >= length;
        break;
    case AN_RULE_AVOIDING_CENTRE:
        hit->side = 0;
        yes = run->far_points >= length;
        break;
    default:
        break;
    }
    if (yes) {
        hit->first = i + 1 - (size_t)length;
    }
    return yes;
}

enum an_status an_rules_apply(const double z[], const double lo[], const double hi[], size_t n,
                              double k, const struct an_rule_choice *choice,
                              struct an_rule_hit hits[], size_t room, size_t *count)
{
    *count = 0;
    if (choice->run_length < 7 || choice->run_length > 12 || choice->trend_length < 6 ||
        choice->trend_length > 9 || !(k > 0.0) || !isfinite(k)) {
        return AN_DOMAIN;
    }
    const struct points points = {z, lo, hi, k};
    struct run run = {0};
    bool fresh = true;
    for (size_t i = 0; i < n; i++) {
        if (isnan(z[i])) {
            fresh = true;
            continue;
        }
        run_take(&run, z[i], i, fresh);
        fresh = false;
        for (int rule = 0; rule < AN_RULE_COUNT; rule++) {
            struct an_rule_hit hit;
            if (choice->on[rule] && speaks((enum an_rule)rule, &points, &run, i, choice, &hit)) {
                if (*count < room) {
                    hits[*count] = hit;
                }
                (*count)++;
            }
        }
    }
    return AN_OK;
}
