/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The chart families: their names, and the theory of one plotted point.
 *
 * Responsible for: what learning and judging have in common, so that they cannot disagree.
 */
#include "stat/chart_formulas.h"

#include "andamento/stat/constants.h"

#include <math.h>

struct family {
    const char *name, *level, *spread;
    bool attribute;
};

static const struct family families[AN_FAMILY_COUNT] = {
    [AN_XBAR_R] = {"xbar_r", "mean", "range", false},
    [AN_XBAR_S] = {"xbar_s", "mean", "standard deviation", false},
    [AN_INDIVIDUALS] = {"individuals", "value", "moving range", false},
    [AN_BETWEEN_WITHIN] = {"between_within", "mean", "standard deviation", false},
    [AN_P] = {"p", "proportion", NULL, true},
    [AN_NP] = {"np", "count", NULL, true},
    [AN_C] = {"c", "count", NULL, true},
    [AN_U] = {"u", "rate", NULL, true},
    [AN_P_PRIME] = {"p_prime", "proportion", NULL, true},
    [AN_U_PRIME] = {"u_prime", "rate", NULL, true},
    [AN_T2] = {"t2", "T2", NULL, false},
    [AN_MEWMA] = {"mewma", "T2 of the weighted mean", NULL, false},
    [AN_RESIDUALS] = {"residuals", "departure from what the value before leads to expect", NULL,
                      false},
    [AN_G] = {"g", "opportunities between events", NULL, true},
    [AN_T] = {"t", "time between events", NULL, true},
    [AN_WEAR] = {"wear", "value", NULL, false},
    [AN_GROUP] = {"group", "furthest from its own level", NULL, false},
    [AN_SHORT_RUN] = {"short_run", "distance from the product's target", NULL, false},
};

static const struct family *family_of(enum an_family family)
{
    return (unsigned)family < AN_FAMILY_COUNT ? &families[family] : NULL;
}

const char *an_family_name(enum an_family family)
{
    const struct family *f = family_of(family);
    return f != NULL ? f->name : "unknown";
}

bool an_family_is_attribute(enum an_family family)
{
    const struct family *f = family_of(family);
    return f != NULL && f->attribute;
}

bool an_family_is_joint(enum an_family family)
{
    return family == AN_T2 || family == AN_MEWMA;
}

const char *an_family_statistic(enum an_family family, int panel)
{
    const struct family *f = family_of(family);
    if (f == NULL || panel < 0 || panel > 1) {
        return NULL;
    }
    return panel == 0 ? f->level : f->spread;
}

struct point_theory attribute_theory(enum an_family family, double centre,
                                     double mean_opportunities, double opportunities)
{
    if (!(opportunities > 0.0)) {
        return (struct point_theory){centre, NAN};
    }
    switch (family) {
    case AN_P:
    case AN_P_PRIME:
        return (struct point_theory){centre, sqrt(centre * (1.0 - centre) / opportunities)};
    case AN_U:
    case AN_U_PRIME:
        return (struct point_theory){centre, sqrt(centre / opportunities)};
    case AN_NP: {
        const double p = centre / mean_opportunities;
        const double count = centre * (opportunities / mean_opportunities);
        return (struct point_theory){count, sqrt(count * (1.0 - p))};
    }
    case AN_C: {
        const double count = centre * (opportunities / mean_opportunities);
        return (struct point_theory){count, sqrt(count)};
    }
    default:
        return (struct point_theory){NAN, NAN};
    }
}

double attribute_value(enum an_family family, const struct an_chart_sample *sample)
{
    if (!(sample->opportunities > 0.0)) {
        return NAN;
    }
    const bool plain_count = family == AN_NP || family == AN_C;
    return plain_count ? sample->count : sample->count / sample->opportunities;
}

/*
 * d2 and d3 of 2 to 25 readings, which xbar_r looks up at every point: d3 is an integral that costs
 * a quarter of a millisecond. Printed by an_d2() and an_d3(); the tests compare every entry with
 * them.
 */
enum { RANGES_LEAST = 2, RANGES_MOST = 25 };
static const struct point_theory range_constants[RANGES_MOST - RANGES_LEAST + 1] = {
    {1.1283791670955121, 0.85250246642742178}, {1.6925687506432689, 0.88836800404520433},
    {2.05875074600793, 0.87980820282498329},   {2.3259289472810378, 0.86408194109950431},
    {2.5344127212229428, 0.84803968611749525}, {2.7043567512138105, 0.83320533562229371},
    {2.8472006120905538, 0.81983148979194409}, {2.9700263244184733, 0.80783427455332213},
    {3.077505461670345, 0.79705067351941128},  {3.1728727038160001, 0.78731462055032808},
    {3.2584552797438247, 0.77847834120338411}, {3.3359803540982567, 0.77041620206375461},
    {3.4067631081999519, 0.76302309562478987}, {3.4718268898820761, 0.75621142972794353},
    {3.5319827861095789, 0.7499080894099156},  {3.5878839617653804, 0.74405178396073124},
    {3.6400637579374453, 0.73859085337817754}, {3.6889630232076471, 0.73348149551886821},
    {3.7349501195966432, 0.72868634570730528}, {3.7783358298426211, 0.72417334071749861},
    {3.8193846433628313, 0.71991480843422306}, {3.8583234232850088, 0.71588673549181392},
    {3.8953481484513572, 0.71206817514793708}, {3.9306292195071135, 0.70844076588865479},
};

struct point_theory range_theory(double n)
{
    struct point_theory theory = {NAN, NAN};
    if (n == 2.0) {
        return (struct point_theory){D2_OF_TWO, D3_OF_TWO};
    }
    if (n >= RANGES_LEAST && n <= RANGES_MOST && n == floor(n)) {
        return range_constants[(size_t)n - RANGES_LEAST];
    }
    if (!(n >= 2.0 && n <= AN_SUBGROUP_MOST) || an_d2((size_t)n, &theory.centre) ||
        an_d3((size_t)n, &theory.sigma)) {
        return (struct point_theory){NAN, NAN};
    }
    return theory;
}

struct point_theory sd_theory(double n)
{
    struct point_theory theory = {NAN, NAN};
    if (an_c4(n, &theory.centre) || an_c4_spread(n, &theory.sigma)) {
        return (struct point_theory){NAN, NAN};
    }
    return theory;
}

double relative_se_of_df(double df)
{
    const struct point_theory s = sd_theory(df + 1.0);
    return s.sigma / s.centre;
}

/*
 * The chi distribution with the same ratio of standard deviation to mean: the equivalent degrees
 * of freedom of an estimate from ranges. [Patnaik, The use of mean range as an estimator of
 * variance in statistical tests, Biometrika 37, 1950; from memory]
 */
double df_of_relative_se(double relative_se)
{
    double low = 1.0, high = 9e7;
    if (!(relative_se > 0.0) || relative_se > relative_se_of_df(low) * (1.0 + 1e-12)) {
        return NAN; /* the tolerance: one range alone is df 1, save its last digit */
    }
    for (int i = 0; i < 200 && high - low > 1e-12 * high; i++) {
        const double middle = sqrt(low * high);
        if (relative_se_of_df(middle) > relative_se) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return sqrt(low * high);
}

/*
 * Moving ranges that share a reading are correlated: for neighbours, E |x1-x2| |x2-x3| =
 * (4 / pi) (sqrt(3)/2 + pi/12) sigma^2 (absolute moments of a bivariate normal with correlation
 * -1/2), so their covariance is (4 / pi) (sqrt(3)/2 + pi/12 - 1). [Cryer and Ryan, The estimation
 * of sigma for an X chart: MR/d2 or S/c4?, Journal of Quality Technology 22(3), 1990; from memory]
 */
double moving_range_relative_se(double ranges, double adjacent_pairs)
{
    if (!(ranges >= 1.0)) {
        return NAN;
    }
    const double pi = 3.14159265358979323846;
    const double covariance = 4.0 / pi * (sqrt(3.0) / 2.0 + pi / 12.0 - 1.0);
    const double variance =
        (ranges * D3_OF_TWO * D3_OF_TWO + 2.0 * adjacent_pairs * covariance) / (ranges * ranges);
    return sqrt(variance) / D2_OF_TWO;
}

double an_moving_range_df(double m)
{
    return df_of_relative_se(moving_range_relative_se(m - 1.0, m - 2.0));
}
