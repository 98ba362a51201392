/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Mean and covariance of several variables, and the distance in it.
 *
 * Responsible for: learning, T2, and its parts. Must never divide by a covariance that is singular
 * to rounding: whether it is, is looked at on the scale of correlations, so units do not matter. The
 * hard idea: the pivots of the Cholesky factor of the correlation matrix are 1 - R2 of each
 * variable on those before it, so a pivot near 0 names the variable that is not one of its own.
 */
#include "andamento/stat/multivariate.h"

#include "andamento/stat/tests.h"
#include "stat/compensated.h"
#include "stat/distribution.h"

#include <math.h>
#include <string.h>

const char *an_joint_spread_name(enum an_joint_spread spread)
{
    static const char *const words[] = {"successive", "all", "pooled"};
    return (unsigned)spread < AN_JOINT_SPREAD_COUNT ? words[spread] : "";
}

/* ---- the factor ---- */

struct factor {
    size_t p;
    double scale[AN_JOINT_MOST];                /* standard deviations */
    double lower[AN_JOINT_MOST][AN_JOINT_MOST]; /* of the correlation matrix */
    double least;                               /* smallest pivot */
    size_t least_at;
};

/* Of the variables listed in `which`; false: singular, least and least_at tell where. */
static bool factorise(const struct an_joint *joint, const size_t which[], size_t count,
                      struct factor *f)
{
    f->p = count;
    f->least = INFINITY;
    f->least_at = 0;
    for (size_t i = 0; i < count; i++) {
        const double variance = joint->covariance[which[i] * joint->p + which[i]];
        if (!(variance > 0.0) || !isfinite(variance)) {
            f->least = 0.0;
            f->least_at = which[i];
            return false;
        }
        f->scale[i] = sqrt(variance);
    }
    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j <= i; j++) {
            double sum = i == j ? 1.0
                                : joint->covariance[which[i] * joint->p + which[j]] / f->scale[i] /
                                      f->scale[j];
            for (size_t k = 0; k < j; k++) {
                sum -= f->lower[i][k] * f->lower[j][k];
            }
            if (i != j) {
                f->lower[i][j] = sum / f->lower[j][j];
                continue;
            }
            if (!(sum >= f->least)) {
                f->least = sum;
                f->least_at = which[i];
            }
            if (!(sum > AN_JOINT_SINGULAR)) {
                return false;
            }
            f->lower[i][i] = sqrt(sum);
        }
    }
    return true;
}

/* d' S^-1 d of the listed variables, d[i] belonging to which[i]. */
static double distance(const struct factor *f, const double d[])
{
    double y[AN_JOINT_MOST];
    double sum = 0.0;
    for (size_t i = 0; i < f->p; i++) {
        y[i] = d[i] / f->scale[i];
        for (size_t k = 0; k < i; k++) {
            y[i] -= f->lower[i][k] * y[k];
        }
        y[i] /= f->lower[i][i];
        sum += y[i] * y[i];
    }
    return sum;
}

static const size_t in_order[AN_JOINT_MOST] = {0, 1, 2, 3, 4, 5};

enum an_status an_joint_check(struct an_joint *joint)
{
    struct factor f;
    if (joint->p < 2 || joint->p > AN_JOINT_MOST || !(joint->samples >= 2.0) ||
        !(joint->n >= 1.0)) {
        return AN_DOMAIN;
    }
    for (size_t i = 0; i < joint->p; i++) {
        bool good = isfinite(joint->mean[i]);
        for (size_t j = 0; good && j < joint->p; j++) {
            good = isfinite(joint->covariance[i * joint->p + j]);
        }
        if (!good) {
            return AN_DOMAIN;
        }
    }
    const bool regular = factorise(joint, in_order, joint->p, &f);
    joint->least_own = fmax(f.least, 0.0);
    joint->told_by_others = f.least_at;
    return regular ? AN_OK : AN_NO_SPREAD;
}

/* ---- learning ---- */

static bool used(const bool excluded[], size_t i)
{
    return excluded == NULL || !excluded[i];
}

/* First value + mean difference: equal values give that value, to the bit. */
static void mean_of(const double x[], size_t m, size_t p, size_t j, const bool excluded[],
                    double *mean, double *count)
{
    struct pair_sum sum = {0.0, 0.0};
    double first = 0.0;
    *count = 0.0;
    for (size_t i = 0; i < m; i++) {
        if (used(excluded, i)) {
            first = *count > 0.0 ? first : x[i * p + j];
            pair_add(&sum, x[i * p + j] - first);
            *count += 1.0;
        }
    }
    *mean = *count > 0.0 ? first + sum.hi / *count : (double)NAN;
}

static double cross_of_items(const double x[], size_t m, const struct an_joint *joint, size_t a,
                             size_t b, const bool excluded[])
{
    const size_t p = joint->p;
    struct pair_sum sum = {0.0, 0.0};
    double pairs = 0.0;
    for (size_t i = 0; i < m; i++) {
        if (!used(excluded, i)) {
            continue;
        }
        if (joint->spread == AN_JOINT_ALL) {
            pair_add_product(&sum, x[i * p + a] - joint->mean[a], x[i * p + b] - joint->mean[b]);
        } else if (i > 0 && used(excluded, i - 1)) {
            pair_add_product(&sum, x[i * p + a] - x[(i - 1) * p + a],
                             x[i * p + b] - x[(i - 1) * p + b]);
            pairs += 1.0;
        }
    }
    return joint->spread == AN_JOINT_ALL ? sum.hi / (joint->samples - 1.0) : sum.hi / (2.0 * pairs);
}

enum an_status an_joint_learn_items(const double x[], size_t m, size_t p, const bool excluded[],
                                    enum an_joint_spread spread, struct an_joint *joint)
{
    *joint = (struct an_joint){.p = p, .spread = spread, .n = 1.0, .least_own = NAN};
    if (p < 2 || p > AN_JOINT_MOST || (spread != AN_JOINT_ALL && spread != AN_JOINT_SUCCESSIVE)) {
        return AN_DOMAIN;
    }
    double neighbours = 0.0;
    for (size_t i = 0; i < m; i++) {
        for (size_t j = 0; j < p; j++) {
            if (used(excluded, i) && !isfinite(x[i * p + j])) {
                return AN_DOMAIN;
            }
        }
        neighbours += i > 0 && used(excluded, i) && used(excluded, i - 1) ? 1.0 : 0.0;
    }
    for (size_t j = 0; j < p; j++) {
        mean_of(x, m, p, j, excluded, &joint->mean[j], &joint->samples);
    }
    const double r = neighbours;
    joint->df = spread == AN_JOINT_ALL ? joint->samples - 1.0
                : r >= 1.0             ? 2.0 * r * r / (3.0 * r - 1.0)
                                       : 0.0;
    if (!(joint->df > (double)p)) {
        return AN_TOO_FEW;
    }
    for (size_t a = 0; a < p; a++) {
        for (size_t b = 0; b <= a; b++) {
            const double s = cross_of_items(x, m, joint, a, b, excluded);
            joint->covariance[a * p + b] = joint->covariance[b * p + a] = s;
        }
    }
    return an_joint_check(joint);
}

enum an_status an_joint_learn_subgroups(const double means[], const double covariances[], size_t m,
                                        size_t p, double n, struct an_joint *joint)
{
    *joint = (struct an_joint){
        .p = p, .spread = AN_JOINT_POOLED, .samples = (double)m, .n = n, .least_own = NAN};
    if (p < 2 || p > AN_JOINT_MOST || !(n >= 2.0) || n != floor(n) || !isfinite(n)) {
        return m < 2 || n == 1.0 ? AN_TOO_FEW : AN_DOMAIN;
    }
    joint->df = (double)m * (n - 1.0);
    if (m < 2 || !(joint->df > (double)p)) {
        return AN_TOO_FEW;
    }
    for (size_t j = 0; j < p; j++) {
        double count;
        mean_of(means, m, p, j, NULL, &joint->mean[j], &count);
    }
    for (size_t k = 0; k < p * p; k++) {
        struct pair_sum sum = {0.0, 0.0};
        for (size_t i = 0; i < m; i++) {
            pair_add(&sum, covariances[i * p * p + k]);
        }
        joint->covariance[k] = sum.hi / (double)m;
    }
    return an_joint_check(joint);
}

enum an_status an_joint_learn_pooled(const double means[], const double cross[], const double n[],
                                     size_t m, size_t p, const bool excluded[],
                                     struct an_joint *joint)
{
    double all = 0.0;
    *joint = (struct an_joint){.p = p, .spread = AN_JOINT_POOLED, .least_own = NAN};
    if (p < 2 || p > AN_JOINT_MOST) {
        return AN_DOMAIN;
    }
    for (size_t i = 0; i < m; i++) {
        if (used(excluded, i)) {
            if (!(n[i] >= 1.0) || !isfinite(n[i])) {
                return AN_DOMAIN;
            }
            joint->samples += 1.0;
            all += n[i];
        }
    }
    joint->df = all - joint->samples;
    if (!(joint->samples >= 2.0) || !(joint->df > (double)p)) {
        return AN_TOO_FEW;
    }
    joint->n = all / joint->samples;
    for (size_t j = 0; j < p; j++) {
        struct pair_sum sum = {0.0, 0.0};
        for (size_t i = 0; i < m; i++) {
            if (used(excluded, i)) {
                pair_add_product(&sum, n[i], means[i * p + j]);
            }
        }
        joint->mean[j] = sum.hi / all;
    }
    for (size_t k = 0; k < p * p; k++) {
        struct pair_sum sum = {0.0, 0.0};
        for (size_t i = 0; i < m; i++) {
            if (used(excluded, i)) {
                pair_add(&sum, cross[i * p * p + k]);
            }
        }
        joint->covariance[k] = sum.hi / joint->df;
    }
    return an_joint_check(joint);
}

/* ---- judging ---- */

static double t2_of(const struct an_joint *joint, const size_t which[], size_t count,
                    const double deviation[])
{
    struct factor f;
    double d[AN_JOINT_MOST];
    for (size_t i = 0; i < count; i++) {
        d[i] = deviation[which[i]];
        if (!isfinite(d[i])) {
            return NAN;
        }
    }
    return factorise(joint, which, count, &f) ? joint->n * distance(&f, d) : (double)NAN;
}

double an_joint_t2(const struct an_joint *joint, const double x[])
{
    double d[AN_JOINT_MOST] = {0.0};
    for (size_t j = 0; j < joint->p; j++) {
        d[j] = x[j] - joint->mean[j];
    }
    return t2_of(joint, in_order, joint->p, d);
}

double an_joint_limit(const struct an_joint *joint, enum an_joint_phase phase, double alpha)
{
    const double p = (double)joint->p, m = joint->samples, df = joint->df;
    if (!(alpha > 0.0 && alpha < 1.0) || !(m >= 2.0)) {
        return NAN;
    }
    if (phase == AN_PHASE_ONE && joint->spread != AN_JOINT_POOLED) {
        const double rest = m - 1.0 - p; /* not df: see the contract */
        if (!(rest > 0.0)) {
            return NAN;
        }
        const double quantile = an_beta_quantile(1.0 - alpha, p / 2.0, rest / 2.0);
        return (m - 1.0) * (m - 1.0) / m * quantile;
    }
    const double rest = df - p + 1.0;
    const double factor = (phase == AN_PHASE_ONE ? m - 1.0 : m + 1.0) / m;
    return factor * df * p / rest * an_f_quantile_above(alpha, p, rest);
}

double an_joint_chance(const struct an_joint *joint, double t2)
{
    const double p = (double)joint->p, m = joint->samples, rest = joint->df - p + 1.0;
    return an_f_above(t2 * m / (m + 1.0) * rest / (joint->df * p), p, rest);
}

void an_joint_contributions(const struct an_joint *joint, const double x[], double alpha,
                            struct an_contribution contributions[])
{
    const size_t p = joint->p;
    const double share = 1.0 - pow(1.0 - alpha, 1.0 / (double)p);
    const double factor = (joint->samples + 1.0) / joint->samples;
    const double lone = factor * an_f_quantile_above(share, 1.0, joint->df);
    const double rest = joint->df - (double)p + 1.0;
    const double given = factor * joint->df / rest * an_f_quantile_above(share, 1.0, rest);
    double d[AN_JOINT_MOST] = {0.0};
    for (size_t j = 0; j < p; j++) {
        d[j] = x[j] - joint->mean[j];
    }
    const double whole = t2_of(joint, in_order, p, d);
    for (size_t j = 0; j < p; j++) {
        size_t others[AN_JOINT_MOST];
        size_t count = 0;
        for (size_t k = 0; k < p; k++) {
            if (k != j) {
                others[count++] = k;
            }
        }
        struct an_contribution *const c = &contributions[j];
        c->deviation = d[j];
        c->alone = joint->n * d[j] * d[j] / joint->covariance[j * p + j];
        c->own = fmax(0.0, whole - t2_of(joint, others, count, d));
        c->moved = c->alone > lone ? (d[j] > 0.0 ? 1 : -1) : 0;
        c->speaks_given_others = c->own > given;
    }
}
