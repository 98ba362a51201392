/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How worked examples are learned and judged. */
#include "support_example.h"

#include "andamento/stat/rules.h"
#include "support.h"

#include <math.h>
#include <string.h>

struct an_chart_sample sample_of(const double x[], size_t n)
{
    struct an_moments m;
    ck_assert_int_eq(an_moments_of(x, n, &m), AN_OK);
    return (struct an_chart_sample){.n = (double)n,
                                    .mean = m.mean,
                                    .sd = an_moments_sd(&m),
                                    .range = m.max - m.min,
                                    .count = (double)NAN,
                                    .opportunities = (double)NAN};
}

void work(struct example *e, int which, enum an_family family)
{
    ck_assert_int_eq(an_chart_learn(family, 3.0, e->samples, e->m, &e->model[which]), AN_OK);
    for (size_t i = 0; i < e->m; i++) {
        e->points[which][i] =
            an_chart_judge(&e->model[which], &e->samples[i], i > 0 ? &e->samples[i - 1] : NULL);
    }
}

double beyond(const struct example *e, int which, size_t at)
{
    double z[MOST];
    struct an_rule_choice choice = {.run_length = 9, .trend_length = 6};
    choice.on[AN_RULE_BEYOND_LIMIT] = true;
    struct an_rule_hit hits[MOST];
    size_t count;
    for (size_t i = 0; i < e->m; i++) {
        z[i] = e->points[which][i].level.z;
    }
    ck_assert_int_eq(an_rules_apply(z, NULL, NULL, e->m, 3.0, &choice, hits, MOST, &count), AN_OK);
    return at >= 1 && at <= count ? (double)hits[at - 1].last + 1.0 : 0.0;
}

double or_zero(double limit)
{
    return isnan(limit) ? 0.0 : limit;
}

bool is(const char *a, const char *b)
{
    return strcmp(a, b) == 0;
}

void read_counts(struct example *e, const char *file, const char *opportunities)
{
    struct table table = table_read(file);
    for (e->m = 0; e->m < table.rows; e->m++) {
        e->samples[e->m] = (struct an_chart_sample){
            .n = 1.0,
            .mean = (double)NAN,
            .sd = (double)NAN,
            .range = (double)NAN,
            .count = table_number(&table, e->m, "count"),
            .opportunities =
                opportunities != NULL ? table_number(&table, e->m, opportunities) : 1.0};
    }
    table_free(&table);
}
