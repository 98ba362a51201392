/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Chart families of counts against worked examples of the textbooks, learned and judged.
 */
#include "support.h"
#include "support_example.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* model 0 plain, model 1 of totals or of the other form, model 2 overdispersed. */
static double find_counts(const void *of, const char *q, size_t at)
{
    const struct example *e = of;
    const size_t i = at > 0 ? at - 1 : 0;
    const struct an_panel_point *plain = &e->points[0][i].level, *prime = &e->points[2][i].level;
    const struct {
        const char *name;
        double value;
    } all[] = {
        {"centre", e->model[0].centre},
        {"ucl", plain->ucl},
        {"lcl", or_zero(plain->lcl)},
        {"sigma", (plain->ucl - plain->centre) / 3.0},
        {"z", plain->z},
        {"plain_z", plain->z},
        {"u", plain->value},
        {"np_centre", e->points[1][i].level.centre},
        {"np_ucl", e->points[1][i].level.ucl},
        {"np_lcl", e->points[1][i].level.lcl},
        {"out", beyond(e, 0, at > 0 ? at : 1)},
        {"dispersion", e->model[2].dispersion},
        {"prime_ucl", prime->ucl},
        {"prime_lcl", or_zero(prime->lcl)},
        {"revised_centre", e->points[1][0].spread.centre}, /* put there by the test */
        {"revised_ucl", e->points[1][0].spread.ucl},
        {"revised_lcl", e->points[1][0].spread.lcl},
    };
    for (size_t j = 0; j < sizeof all / sizeof all[0]; j++) {
        if (is(all[j].name, q)) {
            return all[j].value;
        }
    }
    ck_abort_msg("nothing called %s", q);
    return 0.0;
}

/* The example's revision: the points out of control left out, for a cause that was found. */
static struct an_panel_point revised(struct example *e, enum an_family family)
{
    struct an_chart_model model;
    for (size_t at = 1; beyond(e, 0, at) > 0.0; at++) {
        e->samples[(size_t)beyond(e, 0, at) - 1].excluded = true;
    }
    ck_assert_int_eq(an_chart_learn(family, 3.0, e->samples, e->m, &model), AN_OK);
    return an_chart_judge(&model, &e->samples[0], NULL).level;
}

START_TEST(chip_wafers)
{
    struct example e = {.m = 0};
    read_counts(&e, "chip_wafers.csv", "n");
    work(&e, 0, AN_P);
    work(&e, 1, AN_NP);
    work(&e, 2, AN_P_PRIME);
    e.points[1][0].spread = revised(&e, AN_P);
    check_against("chip_wafers_expected.csv", find_counts, &e);
    ck_assert(beyond(&e, 0, 3) == 0.0); /* two points out, no third */
    /* np says of every point what p says */
    for (size_t i = 0; i < e.m; i++) {
        check_close(e.points[1][i].level.z, e.points[0][i].level.z, 1e-12, "np z %zu", i);
    }
    ck_assert(isnan(e.points[0][0].spread.value) && isnan(e.model[0].sigma_within));
}
END_TEST

START_TEST(purchase_orders)
{
    struct example e = {.m = 0};
    read_counts(&e, "purchase_orders.csv", "n");
    work(&e, 0, AN_P);
    work(&e, 2, AN_P_PRIME);
    check_against("purchase_orders_expected.csv", find_counts, &e);
    ck_assert(beyond(&e, 0, 2) == 0.0);
    check_close(e.model[0].mean_opportunities, 98.0, 1e-15, "2450 orders in 25 weeks");
}
END_TEST

START_TEST(dyed_cloth)
{
    struct example e = {.m = 0};
    read_counts(&e, "dyed_cloth.csv", "units");
    work(&e, 0, AN_U);
    work(&e, 2, AN_U_PRIME);
    check_against("dyed_cloth_expected.csv", find_counts, &e);
    ck_assert(beyond(&e, 0, 1) == 0.0);
}
END_TEST

/* e-Handbook 6.3.3.1: 400 defects on 25 wafers, c-bar 16, limits 4 and 28. Wafer 24 is beyond;
 * wafer 3 stands on a limit, which is not beyond. (From memory.) */
START_TEST(wafer_defects)
{
    struct example e = {.m = 0};
    read_counts(&e, "wafer_defects.csv", NULL);
    work(&e, 0, AN_C);
    const struct an_panel_point *p = &e.points[0][0].level;
    ck_assert(p->centre == 16.0 && p->ucl == 28.0 && p->lcl == 4.0);
    ck_assert(beyond(&e, 0, 1) == 24.0 && beyond(&e, 0, 2) == 0.0);
    ck_assert(fabs(e.points[0][2].level.z) == 3.0);
}
END_TEST

/* Montgomery, table 7.7: 516 in 26 samples; 19.85, limits 6.48 and 33.22 (he rounds first);
 * samples 6 and 20 out; without them 19.67, 6.36, 32.97. Computed with base R 4.2. */
START_TEST(board_defects)
{
    struct example e = {.m = 0};
    read_counts(&e, "board_defects.csv", NULL);
    work(&e, 0, AN_C);
    const struct an_panel_point *p = &e.points[0][0].level;
    check_close(p->centre, 19.8461538462, 1e-9, "c-bar");
    check_close(p->ucl, 33.2108605251, 1e-9, "ucl");
    check_close(p->lcl, 6.48144716717, 1e-9, "lcl");
    ck_assert_double_le(fabs(p->centre - 19.85), 0.005);
    ck_assert_double_le(fabs(p->ucl - 33.22), 0.011);
    ck_assert_double_le(fabs(p->lcl - 6.48), 0.005);
    ck_assert(beyond(&e, 0, 1) == 6.0 && beyond(&e, 0, 2) == 20.0 && beyond(&e, 0, 3) == 0.0);
    const struct an_panel_point after = revised(&e, AN_C);
    check_close(after.centre, 19.6666666667, 1e-9, "revised c-bar");
    check_close(after.ucl, 32.9708013623, 1e-9, "revised ucl");
    check_close(after.lcl, 6.36253197102, 1e-9, "revised lcl");
}
END_TEST

/* A value on a line is put on it, whatever the rounding; by hand, in decimals. */
START_TEST(values_on_their_lines)
{
    struct example e = {.m = 4};
    const double x[] = {0.1, 0.3, 0.1, 0.3};
    for (size_t i = 0; i < e.m; i++) {
        e.samples[i] = sample_of(&x[i], 1);
    }
    work(&e, 0, AN_INDIVIDUALS); /* centre 0.2, sigma 0.2 / d2(2) */
    const double sigma = 0.2 / (2.0 / sqrt(3.14159265358979323846));
    for (int line = -3; line <= 3; line++) {
        const double value = 0.2 + line * sigma; /* rounded thrice on the way */
        const struct an_chart_sample s = sample_of(&value, 1);
        const struct an_chart_point p = an_chart_judge(&e.model[0], &s, NULL);
        ck_assert_msg(p.level.z == (double)line, "line %d: z %.17g", line, p.level.z);
        const double near = value + 1e-12;
        const struct an_chart_sample t = sample_of(&near, 1);
        ck_assert_double_gt(an_chart_judge(&e.model[0], &t, NULL).level.z, (double)line);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.charts of counts");
    TCase *tcase = tcase_create("charts");
    tcase_add_test(tcase, chip_wafers);
    tcase_add_test(tcase, purchase_orders);
    tcase_add_test(tcase, dyed_cloth);
    tcase_add_test(tcase, wafer_defects);
    tcase_add_test(tcase, board_defects);
    tcase_add_test(tcase, values_on_their_lines);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
