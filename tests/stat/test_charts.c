/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Chart families of readings against worked examples of the textbooks, learned and judged.
 */
#include "andamento/stat/chart.h"
#include "andamento/stat/constants.h"
#include "andamento/stat/moments.h"
#include "andamento/stat/rules.h"
#include "support.h"
#include "support_example.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- piston rings: xbar_r, xbar_s, equal n ---- */

static double find_rings(const void *of, const char *q, size_t at)
{
    const struct example *e = of;
    const struct an_chart_sample *s = &e->samples[at > 0 ? at - 1 : 0];
    const struct an_chart_point *by_r = e->points[0], *by_s = e->points[1];
    struct an_chart_constants c;
    ck_assert_int_eq(an_chart_constants(5, &c), AN_OK);
    double pooled = 0.0;
    for (size_t i = 0; i < e->m; i++) {
        pooled += e->samples[i].sd * e->samples[i].sd / 25.0;
    }
    const struct {
        const char *name;
        double value;
    } all[] = {
        {"mean", s->mean},
        {"range", s->range},
        {"sd", s->sd},
        {"centre", e->model[0].centre},
        {"mean_range", e->model[0].spread_centre},
        {"mean_sd", e->model[1].spread_centre},
        {"xbar_r_ucl", by_r[0].level.ucl},
        {"xbar_r_lcl", by_r[0].level.lcl},
        {"range_ucl", by_r[0].spread.ucl},
        {"xbar_s_ucl", by_s[0].level.ucl},
        {"xbar_s_lcl", by_s[0].level.lcl},
        {"sd_ucl", by_s[0].spread.ucl},
        {"sigma_by_range", e->model[0].sigma_within},
        {"sigma_by_sd", e->model[1].sigma_within},
        {"pooled_sd", sqrt(pooled)},
        /* between_within pools: sigma_within = pooled sd / c4(101) */
        {"pooled_sigma", e->model[2].sigma_within},
        {"overall_sd", an_moments_sd(&e->all)},
        {"cp", (74.05 - 73.95) / (6.0 * e->model[0].sigma_within)},
        {"cpk", (74.05 - e->model[0].centre) / (3.0 * e->model[0].sigma_within)},
    };
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        if (is(all[i].name, q)) {
            return all[i].value;
        }
    }
    ck_abort_msg("nothing called %s", q);
    return 0.0;
}

static void read_rings(struct example *e)
{
    struct table table = table_read("piston_rings.csv");
    double all[MOST * 5];
    for (e->m = 0; e->m < table.rows; e->m++) {
        for (size_t j = 0; j < 5; j++) {
            const char column[3] = {'x', (char)('1' + j), '\0'};
            all[e->m * 5 + j] = table_number(&table, e->m, column);
        }
        e->samples[e->m] = sample_of(all + e->m * 5, 5);
    }
    ck_assert_int_eq(an_moments_of(all, e->m * 5, &e->all), AN_OK);
    table_free(&table);
}

START_TEST(piston_rings)
{
    struct example e = {.m = 0};
    read_rings(&e);
    ck_assert_uint_eq(e.m, 25);
    work(&e, 0, AN_XBAR_R);
    work(&e, 1, AN_XBAR_S);
    work(&e, 2, AN_BETWEEN_WITHIN);
    check_against("piston_rings_expected.csv", find_rings, &e);
    ck_assert(isnan(e.points[0][0].spread.lcl) && isnan(e.points[1][0].spread.lcl));
    ck_assert(beyond(&e, 0, 1) == 0.0 && beyond(&e, 1, 1) == 0.0); /* in control, says the book */
    ck_assert(e.model[0].n_nominal == 5.0 && e.model[0].samples == 25);
    /* df of the mean of 25 ranges of 5: Patnaik's table gives about 90 (Montgomery's appendix
     * prints 0.9 m (n - 1) as the rule; from memory) */
    ck_assert_double_le(fabs(e.model[0].df_within - 90.0), 2.0);
    ck_assert_double_gt(e.model[1].df_within, e.model[0].df_within);
    ck_assert_double_lt(e.model[1].df_within, 100.0);
    /* other k: limits scale */
    struct an_chart_model two;
    ck_assert_int_eq(an_chart_learn(AN_XBAR_R, 2.0, e.samples, e.m, &two), AN_OK);
    const struct an_chart_point p = an_chart_judge(&two, &e.samples[0], NULL);
    check_close((p.level.ucl - two.centre) / (e.points[0][0].level.ucl - two.centre), 2.0 / 3.0,
                1e-12, "k = 2");
}
END_TEST

/* ---- piston rings, n = 3 to 5 ---- */

static double find_unequal(const void *of, const char *q, size_t at)
{
    const struct example *e = of;
    const struct an_chart_sample *s = &e->samples[at > 0 ? at - 1 : 0];
    const struct an_chart_model *model = &e->model[0];
    struct an_chart_constants c;
    double c4_all, squares = 0.0, df = 0.0;
    ck_assert_int_eq(an_chart_constants((size_t)s->n, &c), AN_OK);
    for (size_t i = 0; i < e->m; i++) {
        squares += (e->samples[i].n - 1.0) * e->samples[i].sd * e->samples[i].sd;
        df += e->samples[i].n - 1.0;
    }
    ck_assert(model->df_within == df);
    ck_assert_int_eq(an_c4(df + 1.0, &c4_all), AN_OK);
    /* The example divides the pooled sd by c4 of the subgroup's own n; the model divides by c4 of
     * the pooled degrees of freedom, which is what makes it unbiased. The model's pooled sd is
     * turned back for the comparison. */
    const double pooled = model->sigma_within * c4_all;
    check_close(pooled, sqrt(squares / df), 1e-14, "pooled sd");
    if (is(q, "n")) {
        return s->n;
    }
    if (is(q, "mean")) {
        return s->mean;
    }
    if (is(q, "sd")) {
        return s->sd;
    }
    if (is(q, "centre")) {
        return model->centre;
    }
    if (is(q, "pooled_sd")) {
        return pooled;
    }
    const double wider = c4_all / c.c4; /* this point's limits as the example has them */
    const struct an_chart_point *p = &e->points[0][at - 1];
    if (is(q, "xbar_ucl")) {
        return model->centre + (p->level.ucl - model->centre) * wider;
    }
    if (is(q, "xbar_lcl")) {
        return model->centre - (model->centre - p->level.lcl) * wider;
    }
    if (is(q, "sd_ucl")) {
        return p->spread.ucl * wider;
    }
    ck_abort_msg("nothing called %s", q);
    return 0.0;
}

START_TEST(piston_rings_unequal)
{
    struct example e = {.m = 0};
    struct table table = table_read("piston_rings_unequal.csv");
    for (size_t i = 0; i < table.rows;) {
        double x[8];
        size_t n = 0;
        const double group = table_number(&table, i, "subgroup");
        for (; i < table.rows && table_number(&table, i, "subgroup") == group; i++) {
            x[n++] = table_number(&table, i, "x");
        }
        e.samples[e.m++] = sample_of(x, n);
    }
    table_free(&table);
    ck_assert_uint_eq(e.m, 25);
    work(&e, 0, AN_XBAR_S);
    ck_assert(e.model[0].n_nominal == 5.0);
    check_against("piston_rings_unequal_expected.csv", find_unequal, &e);
    struct an_chart_model model;
    ck_assert_int_eq(an_chart_learn(AN_XBAR_R, 3.0, e.samples, e.m, &model), AN_DOMAIN);
}
END_TEST

/* ---- individuals ---- */

static double find_flow(const void *of, const char *q, size_t at)
{
    const struct example *e = of;
    if (is(q, "moving_range")) {
        return e->points[0][at - 1].spread.value;
    }
    if (is(q, "centre")) {
        return e->model[0].centre;
    }
    if (is(q, "mean_moving_range")) {
        return e->model[0].spread_centre;
    }
    if (is(q, "ucl")) {
        return e->points[0][0].level.ucl;
    }
    if (is(q, "lcl")) {
        return e->points[0][0].level.lcl;
    }
    if (is(q, "moving_range_ucl")) {
        return e->points[0][1].spread.ucl;
    }
    if (is(q, "sigma")) {
        return e->model[0].sigma_within;
    }
    if (is(q, "sd")) {
        return an_moments_sd(&e->all);
    }
    ck_abort_msg("nothing called %s", q);
    return 0.0;
}

static void read_values(struct example *e, const char *file, const char *column)
{
    struct table table = table_read(file);
    double *x = table_column(&table, column);
    for (e->m = 0; e->m < table.rows; e->m++) {
        e->samples[e->m] = sample_of(&x[e->m], 1);
    }
    ck_assert_int_eq(an_moments_of(x, e->m, &e->all), AN_OK);
    free(x);
    table_free(&table);
}

START_TEST(flow_rate)
{
    struct example e = {.m = 0};
    read_values(&e, "flow_rate.csv", "x");
    work(&e, 0, AN_INDIVIDUALS);
    check_against("flow_rate_expected.csv", find_flow, &e);
    ck_assert(isnan(e.points[0][0].spread.value)); /* no value before the first */
    ck_assert(isnan(e.points[0][1].spread.lcl));
    ck_assert(e.model[0].n_nominal == 1.0 && e.model[0].sigma_level == e.model[0].sigma_within);
    ck_assert(beyond(&e, 0, 1) == 0.0);
}
END_TEST

/* The range panel's centre and limits at every n against d2 and d3 as computed. */
START_TEST(constants_of_ranges)
{
    for (size_t n = 2; n <= 30; n++) {
        const struct an_chart_model model = {.family = AN_XBAR_R,
                                             .k = 3.0,
                                             .centre = 0.0,
                                             .sigma_within = 1.0,
                                             .sigma_level = 1.0,
                                             .dispersion = 1.0};
        const struct an_chart_sample sample = {.n = (double)n, .mean = 0.0, .range = 2.0};
        const struct an_chart_point point = an_chart_judge(&model, &sample, NULL);
        double d2, d3;
        ck_assert_int_eq(an_d2(n, &d2), AN_OK);
        ck_assert_int_eq(an_d3(n, &d3), AN_OK);
        check_close(point.spread.centre, d2, 1e-14, "d2 of %zu", n);
        check_close(point.spread.ucl, d2 + 3.0 * d3, 1e-14, "limit of %zu", n);
    }
}
END_TEST

/* An excluded sample is not learned from, and no moving range crosses it: by hand. */
START_TEST(excluded_samples_break_ranges)
{
    struct example e = {.m = 6};
    const double x[] = {1.0, 2.0, 100.0, 5.0, 7.0, 4.0};
    for (size_t i = 0; i < e.m; i++) {
        e.samples[i] = sample_of(&x[i], 1);
    }
    e.samples[2].excluded = true;
    work(&e, 0, AN_INDIVIDUALS);
    check_close(e.model[0].spread_centre, 2.0, 1e-15, "mean of 1, 2, 3");
    check_close(e.model[0].centre, 3.8, 1e-15, "mean of the five");
    ck_assert_uint_eq(e.model[0].samples, 5);
    ck_assert(isnan(e.points[0][3].spread.value));
    ck_assert(e.points[0][2].level.value == 100.0); /* judged all the same */
}
END_TEST

/* ---- between and within ---- */

/* Items that differ by 10 and readings that differ by 1 inside: by hand. Means 1, 11, 1, 11, 1,
 * sd sqrt(2) each, n = 2: mean moving range 10, sigma_level 10 / d2(2); within: pooled sd sqrt 2
 * over c4(6). */
START_TEST(items_that_differ)
{
    struct example e = {.m = 5};
    const double pairs[5][2] = {{0, 2}, {10, 12}, {0, 2}, {10, 12}, {0, 2}};
    double c4;
    for (size_t i = 0; i < 5; i++) {
        e.samples[i] = sample_of(pairs[i], 2);
    }
    work(&e, 0, AN_BETWEEN_WITHIN);
    work(&e, 1, AN_XBAR_S);
    ck_assert_int_eq(an_c4(6.0, &c4), AN_OK);
    const double level = 10.0 / (2.0 / sqrt(3.14159265358979323846)), within = sqrt(2.0) / c4;
    const struct an_chart_model *model = &e.model[0];
    check_close(model->sigma_level, level, 1e-14, "sigma_level");
    check_close(model->sigma_within, within, 1e-14, "sigma_within");
    check_close(model->between, sqrt(level * level - within * within / 2.0), 1e-14, "between");
    ck_assert(model->df_within == 5.0 && model->n_nominal == 2.0);
    ck_assert(beyond(&e, 0, 1) == 0.0); /* no item stands out among such items ... */
    ck_assert(beyond(&e, 1, 1) == 1.0); /* ... though within-item limits would cry at each */
    ck_assert(e.points[0][0].spread.value == e.samples[0].sd);
    /* items alike: nothing beyond what sigma_within explains */
    for (size_t i = 0; i < 5; i++) {
        e.samples[i].mean = 1.0 + 1e-3 * (double)(i % 2);
    }
    work(&e, 2, AN_BETWEEN_WITHIN);
    ck_assert(e.model[2].between == 0.0);
    /* one reading an item: no sd inside, and the level panel works on */
    for (size_t i = 0; i < 5; i++) {
        e.samples[i].n = 1.0;
        e.samples[i].sd = (double)NAN;
    }
    work(&e, 2, AN_BETWEEN_WITHIN);
    ck_assert(isnan(e.model[2].sigma_within) && isnan(e.model[2].between));
    ck_assert(isnan(e.model[2].df_within) && isnan(e.points[2][1].spread.value));
    ck_assert(e.points[2][1].level.z > 0.0);
}
END_TEST

/* Adding a constant moves centre and limits by it; scaling scales them; z stays. */
START_TEST(shift_and_scale)
{
    static const enum an_family families[] = {AN_XBAR_R, AN_XBAR_S, AN_INDIVIDUALS,
                                              AN_BETWEEN_WITHIN};
    for (size_t f = 0; f < 4; f++) {
        struct example e = {.m = 0}, t = {.m = 0};
        read_rings(&e);
        t = e;
        for (size_t i = 0; i < e.m; i++) {
            t.samples[i].mean = -1000.0 * e.samples[i].mean + 5000.0;
            t.samples[i].sd = 1000.0 * e.samples[i].sd;
            t.samples[i].range = 1000.0 * e.samples[i].range;
        }
        work(&e, 0, families[f]);
        work(&t, 0, families[f]);
        check_close(t.model[0].sigma_level, 1000.0 * e.model[0].sigma_level, 1e-10, "sigma");
        check_close(t.model[0].df_within, e.model[0].df_within, 1e-10, "df");
        for (size_t i = 1; i < e.m; i++) {
            ck_assert_double_le(fabs(t.points[0][i].level.z + e.points[0][i].level.z), 1e-9);
            ck_assert_double_le(fabs(t.points[0][i].spread.z - e.points[0][i].spread.z), 1e-9);
        }
    }
}
END_TEST

/* ---- what cannot be learned ---- */

static const struct refusal {
    const char *what;
    enum an_family family;
    double k;
    size_t m;
    struct an_chart_sample samples[3];
    enum an_status st;
} refusals[] = {
    {"no sample", AN_XBAR_S, 3, 0, {{.n = 0}}, AN_TOO_FEW},
    {"one sample", AN_XBAR_S, 3, 1, {{.n = 3, .mean = 1, .sd = 1, .range = 1}}, AN_TOO_FEW},
    {"one left",
     AN_INDIVIDUALS,
     3,
     2,
     {{.n = 1, .mean = 1}, {.n = 1, .mean = 2, .excluded = true}},
     AN_TOO_FEW},
    {"no neighbours left",
     AN_INDIVIDUALS,
     3,
     3,
     {{.n = 1, .mean = 1}, {.n = 1, .mean = 2, .excluded = true}, {.n = 1, .mean = 3}},
     AN_TOO_FEW},
    {"no pair inside", AN_XBAR_S, 3, 2, {{.n = 1, .mean = 1}, {.n = 1, .mean = 2}}, AN_TOO_FEW},
    {"range of one", AN_XBAR_R, 3, 2, {{.n = 1, .mean = 1}, {.n = 1, .mean = 2}}, AN_TOO_FEW},
    {"range of 26", AN_XBAR_R, 3, 2, {{.n = 26, .range = 1}, {.n = 26, .range = 1}}, AN_DOMAIN},
    {"half a reading", AN_INDIVIDUALS, 3, 2, {{.n = 1.5}, {.n = 1.5}}, AN_DOMAIN},
    {"no number", AN_INDIVIDUALS, 3, 2, {{.n = 1, .mean = (double)NAN}, {.n = 1}}, AN_DOMAIN},
    {"negative sd", AN_XBAR_S, 3, 2, {{.n = 2, .sd = -1}, {.n = 2, .sd = 1}}, AN_DOMAIN},
    {"k of 0", AN_INDIVIDUALS, 0, 2, {{.n = 1, .mean = 1}, {.n = 1, .mean = 2}}, AN_DOMAIN},
    {"no family", AN_FAMILY_COUNT, 3, 2, {{.n = 1}, {.n = 1}}, AN_DOMAIN},
    {"means equal",
     AN_INDIVIDUALS,
     3,
     2,
     {{.n = 1, .mean = .1}, {.n = 1, .mean = .1}},
     AN_NO_SPREAD},
    {"ranges 0", AN_XBAR_R, 3, 2, {{.n = 2, .mean = 1}, {.n = 2, .mean = 2}}, AN_NO_SPREAD},
    {"sds 0", AN_XBAR_S, 3, 2, {{.n = 2, .mean = 1}, {.n = 3, .mean = 2}}, AN_NO_SPREAD},
    {"count below 0",
     AN_C,
     3,
     2,
     {{.count = -1, .opportunities = 1}, {.opportunities = 1}},
     AN_DOMAIN},
    {"more than all",
     AN_P,
     3,
     2,
     {{.count = 6, .opportunities = 5}, {.opportunities = 5}},
     AN_DOMAIN},
    {"more than one a unit",
     AN_U,
     3,
     2,
     {{.count = 6, .opportunities = 5}, {.count = 4, .opportunities = 5}},
     AN_OK},
    {"no opportunities",
     AN_U,
     3,
     2,
     {{.count = 1, .opportunities = 0}, {.opportunities = 5}},
     AN_DOMAIN},
    {"np of two sizes",
     AN_NP,
     3,
     2,
     {{.count = 1, .opportunities = 4}, {.count = 1, .opportunities = 5}},
     AN_DOMAIN},
    {"c of two sizes",
     AN_C,
     3,
     2,
     {{.count = 1, .opportunities = 4}, {.count = 1, .opportunities = 5}},
     AN_DOMAIN},
    {"no defects at all", AN_U, 3, 2, {{.opportunities = 4}, {.opportunities = 5}}, AN_NO_SPREAD},
    {"all defective",
     AN_P_PRIME,
     3,
     2,
     {{.count = 4, .opportunities = 4}, {.count = 5, .opportunities = 5}},
     AN_NO_SPREAD},
    {"beyond doubles",
     AN_INDIVIDUALS,
     3,
     2,
     {{.n = 1, .mean = 1.7e308}, {.n = 1, .mean = -1.7e308}},
     AN_DOMAIN},
};

START_TEST(what_cannot_be_learned)
{
    const struct refusal *row = &refusals[_i];
    struct an_chart_model model;
    ck_assert_msg(an_chart_learn(row->family, row->k, row->samples, row->m, &model) == row->st,
                  "%s", row->what);
    ck_assert(model.family == row->family);
    if (row->st == AN_NO_SPREAD) { /* the model stands, and nothing is judged beyond */
        ck_assert(model.sigma_level == 0.0 && isfinite(model.centre));
        const struct an_chart_point p = an_chart_judge(&model, &row->samples[0], NULL);
        ck_assert(isnan(p.level.z) && p.level.ucl == model.centre);
        double se, half;
        an_chart_uncertainty(&model, &se, &half);
        ck_assert(isnan(se) && isnan(half));
    }
}
END_TEST

START_TEST(what_cannot_be_judged)
{
    struct example e = {.m = 0}, r = {.m = 0};
    read_counts(&e, "dyed_cloth.csv", "units");
    work(&e, 0, AN_U);
    const struct an_chart_sample none = {.count = 3.0, .opportunities = 0.0};
    const struct an_chart_point p = an_chart_judge(&e.model[0], &none, NULL);
    ck_assert(isnan(p.level.value) && isnan(p.level.z) && isnan(p.level.ucl));
    read_rings(&r);
    work(&r, 0, AN_XBAR_R);
    const struct an_chart_sample single = {.n = 1.0, .mean = 74.0, .sd = (double)NAN};
    const struct an_chart_point one = an_chart_judge(&r.model[0], &single, NULL);
    ck_assert(isfinite(one.level.z) && isnan(one.spread.value));
    check_close(one.level.ucl - r.model[0].centre, 3.0 * r.model[0].sigma_within, 1e-12, "n = 1");
    const struct an_chart_sample empty = {.n = 0.0};
    ck_assert(isnan(an_chart_judge(&r.model[0], &empty, NULL).level.value));
}
END_TEST

/* ---- how sure ---- */

/* sigma of a c chart is sqrt(c): error half that of a count of 400. xbar_s: sd of s over its mean,
 * sqrt(1 - c4^2)/(c4 sqrt m). Individuals: with 2 and many values, textbook variances. */
START_TEST(how_sure_the_limits_are)
{
    struct example e = {.m = 0}, r = {.m = 0}, f = {.m = 0};
    double se, half, c4;
    read_counts(&e, "wafer_defects.csv", NULL);
    work(&e, 0, AN_C);
    an_chart_uncertainty(&e.model[0], &se, &half);
    check_close(se, 0.5 / 20.0, 1e-12, "c chart, sigma");
    check_close(half, 1.959963984540054 * 4.0 / 5.0, 1e-12, "c chart, centre");
    read_rings(&r);
    work(&r, 1, AN_XBAR_S);
    an_chart_uncertainty(&r.model[1], &se, &half);
    ck_assert_int_eq(an_c4(5.0, &c4), AN_OK);
    check_close(se, sqrt(1.0 - c4 * c4) / c4 / 5.0, 1e-9, "s chart, sigma");
    ck_assert_double_gt(half, 1.96 * r.model[1].sigma_level / 5.0);
    ck_assert_double_lt(half, 2.03 * r.model[1].sigma_level / 5.0);
    read_values(&f, "flow_rate.csv", "x");
    work(&f, 0, AN_INDIVIDUALS);
    an_chart_uncertainty(&f.model[0], &se, &half);
    /* Cryer and Ryan 1990: variance of MR-bar/d2 is about (0.826 m - 1.082)/(m - 1)^2 sigma^2
     * (from memory) */
    check_close(se * se, (0.826 * 10.0 - 1.082) / 81.0, 3e-3, "individuals, sigma");
    /* every family has an answer */
    struct example p = {.m = 0};
    read_counts(&p, "purchase_orders.csv", "n");
    for (size_t i = 0; i < p.m; i++) {
        p.samples[i].opportunities = 100.0;
    }
    for (int family = 0; family < AN_T2; family++) { /* the others are learned elsewhere */
        struct example *of = an_family_is_attribute((enum an_family)family) ? &p : &r;
        work(of, 2, (enum an_family)family);
        an_chart_uncertainty(&of->model[2], &se, &half);
        ck_assert_msg(se > 0.0 && se < 0.5 && half > 0.0, "family %d: %g %g", family, se, half);
    }
    /* p: d log sqrt(p (1 - p)) by dp, times sqrt(p (1 - p) / N), N = 2500 orders, p = 0.0936 */
    work(&p, 2, AN_P);
    an_chart_uncertainty(&p.model[2], &se, &half);
    const double rate = 234.0 / 2500.0;
    check_close(se, (1.0 - 2.0 * rate) / (2.0 * sqrt(rate * (1.0 - rate) * 2500.0)), 1e-12, "p");
}
END_TEST

START_TEST(names)
{
    static const struct {
        const char *name, *level, *spread;
        bool attribute;
    } rows[AN_FAMILY_COUNT] = {
        {"xbar_r", "mean", "range", false},
        {"xbar_s", "mean", "standard deviation", false},
        {"individuals", "value", "moving range", false},
        {"between_within", "mean", "standard deviation", false},
        {"p", "proportion", NULL, true},
        {"np", "count", NULL, true},
        {"c", "count", NULL, true},
        {"u", "rate", NULL, true},
        {"p_prime", "proportion", NULL, true},
        {"u_prime", "rate", NULL, true},
        {"t2", "T2", NULL, false},
        {"mewma", "T2 of the weighted mean", NULL, false},
        {"residuals", "departure from what the value before leads to expect", NULL, false},
        {"g", "opportunities between events", NULL, true},
        {"t", "time between events", NULL, true},
        {"wear", "value", NULL, false},
        {"group", "furthest from its own level", NULL, false},
        {"short_run", "distance from the product's target", NULL, false},
    };
    for (int i = 0; i < AN_FAMILY_COUNT; i++) {
        const enum an_family family = (enum an_family)i;
        ck_assert_str_eq(an_family_name(family), rows[i].name);
        ck_assert_int_eq(an_family_is_attribute(family), rows[i].attribute);
        ck_assert_str_eq(an_family_statistic(family, 0), rows[i].level);
        const char *const spread = an_family_statistic(family, 1);
        ck_assert((spread == NULL) == (rows[i].spread == NULL));
        ck_assert(spread == NULL || is(spread, rows[i].spread));
    }
    ck_assert_str_eq(an_family_name(AN_FAMILY_COUNT), "unknown");
    ck_assert(!an_family_is_attribute(AN_FAMILY_COUNT));
    ck_assert_ptr_null(an_family_statistic(AN_P, 2));
    ck_assert_ptr_null(an_family_statistic(AN_FAMILY_COUNT, 0));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.charts");
    TCase *tcase = tcase_create("charts");
    tcase_add_test(tcase, piston_rings);
    tcase_add_test(tcase, constants_of_ranges);
    tcase_add_test(tcase, piston_rings_unequal);
    tcase_add_test(tcase, flow_rate);
    tcase_add_test(tcase, excluded_samples_break_ranges);
    tcase_add_test(tcase, items_that_differ);
    tcase_add_test(tcase, shift_and_scale);
    tcase_add_loop_test(tcase, what_cannot_be_learned, 0,
                        (int)(sizeof refusals / sizeof refusals[0]));
    tcase_add_test(tcase, what_cannot_be_judged);
    tcase_add_test(tcase, how_sure_the_limits_are);
    tcase_add_test(tcase, names);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
