/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Scatter of counts by blocks: the estimate by its definition, its chance of false news by simulation,
 * and what must not pass for scatter.
 */
#include "andamento/stat/scatter_watch.h"
#include "andamento/stat/tests.h"
#include "support.h"

#include <check.h>
#include <math.h>

enum { N = AN_SCATTER_BLOCK };

static double draw_normal(struct draws *draws)
{
    return an_normal_quantile(draw_uniform(draws));
}

static double draw(struct draws *draws, double mean, double d2)
{
    double rate = mean;
    if (d2 > 1) { /* a rate that varies by itself: gamma, as a sum of squares of normal values */
        const double degrees = 2 * mean / (d2 - 1);
        double sum = 0;
        for (int i = 0; i < (int)degrees; i++) {
            const double z = draw_normal(draws);
            sum += z * z;
        }
        rate = sum * mean / (double)(int)degrees;
    }
    double left = exp(-rate);
    double product = draw_uniform(draws);
    int count = 0;
    while (product > left) { /* Knuth's way */
        product *= draw_uniform(draws);
        count++;
    }
    return count;
}

/* News from blocks in which nothing changed: no more than the chance stated, for plain counts and for
 * such that scatter more, from half a count a sample on. */
static const struct {
    double mean, d2;
} stable[] = {{0.5, 1}, {1, 1}, {4, 1}, {20, 1}, {8, 2}, {20, 3}};

START_TEST(false_news)
{
    enum { SETS = 40000 };
    struct draws draws = {20261125 + (unsigned)_i};
    const double mean = stable[_i].mean;
    const double d = sqrt(stable[_i].d2);
    double z[N], means[N];
    int news_count = 0;
    for (int set = 0; set < SETS; set++) {
        struct an_scatter reference = {1, 1e6};
        struct an_scatter_news news;
        for (int i = 0; i < N; i++) {
            z[i] = (draw(&draws, mean, stable[_i].d2) - mean) / (sqrt(mean) * d);
            means[i] = mean;
        }
        news_count += !an_scatter_look(z, means, N, d, &reference, &news) && news.changed;
    }
    /* 40 expected at most; three standard errors above */
    ck_assert_msg(news_count <= AN_SCATTER_CHANCE * SETS + 3 * sqrt(AN_SCATTER_CHANCE * SETS),
                  "%d in %d", news_count, SETS);
}
END_TEST

/* By hand: z = 1, -1 by turns: differences 2, so the variance is 4 / 2. Degrees of freedom without excess
 * (mean without end): 2 (m - 1)^2 / (3 m - 4). */
START_TEST(by_definition)
{
    double z[N], means[N];
    struct an_scatter reference = {1, 1e6};
    struct an_scatter_news news;
    for (int i = 0; i < N; i++) {
        z[i] = i % 2 ? 1 : -1;
        means[i] = 1e12;
    }
    ck_assert_int_eq(an_scatter_look(z, means, N, 1, &reference, &news), AN_OK);
    ck_assert(fabs(news.variance - 2) < 1e-14 &&
              fabs(news.df - 2.0 * (N - 1) * (N - 1) / (3.0 * N - 4)) < 1e-9);
    const double f = an_f_above(2, news.df, 1e6);
    ck_assert(fabs(news.p - 2 * f) < 1e-12);
    for (int i = 0; i < N; i++) { /* excess of a Poisson count of mean 2 is 1 / 2 */
        means[i] = 2;
    }
    ck_assert_int_eq(an_scatter_look(z, means, N, 1, &reference, &news), AN_OK);
    ck_assert(fabs(news.df - 2.0 * (N - 1) * (N - 1) / (3.0 * N - 4 + 0.5 * (N - 1.5))) < 1e-9);
}
END_TEST

/* Told once: a change, nothing while it lasts, and the way back. */
START_TEST(once)
{
    struct draws draws = {7};
    struct an_scatter reference = {1, 60};
    int grown = 0, shrunk = 0;
    for (int block = 0; block < 30; block++) {
        const double factor = block >= 10 && block < 20 ? 2.5 : 1;
        double z[N], means[N];
        struct an_scatter_news news;
        for (int i = 0; i < N; i++) {
            z[i] = factor * draw_normal(&draws);
            means[i] = 1e6;
        }
        ck_assert_int_eq(an_scatter_look(z, means, N, 1, &reference, &news), AN_OK);
        grown += news.changed && news.ratio > 1;
        shrunk += news.changed && news.ratio < 1;
        ck_assert(!news.changed || block == 10 || block == 20);
    }
    ck_assert(grown == 1 && shrunk == 1);
}
END_TEST

/* A step of the level, a wild count, gaps: none of them is scatter. */
START_TEST(not_scatter)
{
    struct draws draws = {99};
    int news_count = 0;
    for (int set = 0; set < 2000; set++) {
        struct an_scatter reference = {1, 1e6};
        struct an_scatter_news news;
        double z[N], means[N];
        for (int i = 0; i < N; i++) {
            z[i] = draw_normal(&draws) + (i >= 17 ? 3.0 : 0.0);
            means[i] = 50;
        }
        z[7] = 25;
        z[12] = (double)NAN;
        ck_assert_int_eq(an_scatter_look(z, means, N, 1, &reference, &news), AN_OK);
        ck_assert(news.points == N - 1);
        news_count += news.changed;
    }
    ck_assert_int_le(news_count,
                     40); /* 2 in 100 with both at once; a variance would say so in nearly all */
}
END_TEST

START_TEST(refused)
{
    double z[N], means[N];
    struct an_scatter reference = {1, 1e6};
    struct an_scatter_news news;
    for (int i = 0; i < N; i++) {
        z[i] = i < AN_SCATTER_LEAST - 1 ? i % 3 : (double)NAN;
        means[i] = 5;
    }
    ck_assert_int_eq(an_scatter_look(z, means, N, 1, &reference, &news), AN_TOO_FEW);
    for (int i = 0; i < N; i++) {
        z[i] = 0.5;
    }
    ck_assert_int_eq(an_scatter_look(z, means, N, 1, &reference, &news), AN_NO_SPREAD);
    ck_assert_int_eq(an_scatter_look(z, means, N, 0, &reference, &news), AN_DOMAIN);
    ck_assert_int_eq(an_scatter_look(z, means, N, NAN, &reference, &news), AN_DOMAIN);
    reference.df = 0;
    z[3] = 1;
    ck_assert_int_eq(an_scatter_look(z, means, N, 1, &reference, &news), AN_DOMAIN);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.scatter_watch");
    TCase *tcase = tcase_create("blocks");
    tcase_set_timeout(tcase, 120);
    tcase_add_loop_test(tcase, false_news, 0, (int)(sizeof stable / sizeof *stable));
    tcase_add_test(tcase, by_definition);
    tcase_add_test(tcase, once);
    tcase_add_test(tcase, not_scatter);
    tcase_add_test(tcase, refused);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
