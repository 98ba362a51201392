/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Components of variance by restricted maximum likelihood.
 *
 * Responsible for the maximum itself: gradient and curvature are exact, steps go on until nothing
 * moves, components stop at zero. Never approximates the likelihood.
 *
 * The hard idea: with nested groups the covariance of all readings is a block matrix plus a
 * constant, level after level, so its inverse and determinant are had by going up the tree with
 * four sums a group (Sherman and Morrison, Annals of Mathematical Statistics 21, 1950; from
 * memory). Each sum carries its first and second derivatives by every variance along (a "jet").
 * [Patterson and Thompson, Recovery of inter-block information, Biometrika 58, 1971; from memory]
 */
#include "andamento/stat/components.h"
#include "andamento/stat/tests.h"
#include "stat/nested.h"

#include <string.h>

#define P AN_COMPONENTS_MOST
#define STEPS_MOST 200
#define PROFILE_STEPS 60
#define LOG_TWO_PI 1.8378770664093454836

struct jet {
    double v, d[P], dd[P][P];
};

struct sums { /* of a group: 1'W1, 1'Wy, y'Wy and log det, W the inverse of its covariance */
    struct jet one, first, second, size;
};

struct work {
    const struct nested_tree *tree;
    size_t p;            /* variances */
    double centre, unit; /* readings are taken as (y - centre) / unit */
    bool fixed[P];       /* not moved, for profiles */
};

static void jet_add(struct jet *a, const struct jet *b, size_t p)
{
    a->v += b->v;
    for (size_t i = 0; i < p; i++) {
        a->d[i] += b->d[i];
        for (size_t j = 0; j <= i; j++) {
            a->dd[i][j] += b->dd[i][j];
        }
    }
}

static void jet_product(struct jet *out, const struct jet *a, const struct jet *b, size_t p)
{
    out->v = a->v * b->v;
    for (size_t i = 0; i < p; i++) {
        out->d[i] = a->d[i] * b->v + a->v * b->d[i];
        for (size_t j = 0; j <= i; j++) {
            out->dd[i][j] =
                a->dd[i][j] * b->v + a->d[i] * b->d[j] + a->d[j] * b->d[i] + a->v * b->dd[i][j];
        }
    }
}

/* out = f(a) with f, f', f'' at a given */
static void jet_of(struct jet *out, const struct jet *a, double f, double f1, double f2, size_t p)
{
    out->v = f;
    for (size_t i = 0; i < p; i++) {
        out->d[i] = f1 * a->d[i];
        for (size_t j = 0; j <= i; j++) {
            out->dd[i][j] = f1 * a->dd[i][j] + f2 * a->d[i] * a->d[j];
        }
    }
}

static void jet_log(struct jet *out, const struct jet *a, size_t p)
{
    jet_of(out, a, log(a->v), 1.0 / a->v, -1.0 / (a->v * a->v), p);
}

static void jet_inverse(struct jet *out, const struct jet *a, size_t p)
{
    jet_of(out, a, 1.0 / a->v, -1.0 / (a->v * a->v), 2.0 / (a->v * a->v * a->v), p);
}

static void sums_add(struct sums *a, const struct sums *b, size_t p)
{
    jet_add(&a->one, &b->one, p);
    jet_add(&a->first, &b->first, p);
    jet_add(&a->second, &b->second, p);
    jet_add(&a->size, &b->size, p);
}

/* The group's own variance, number k, joins the sums of what it holds. */
static void close_group(struct sums *s, size_t k, double variance, size_t p)
{
    struct jet own = {.v = variance};
    struct jet grown;
    struct jet share;
    struct jet out;
    own.d[k] = 1.0;
    jet_product(&grown, &own, &s->one, p);
    grown.v += 1.0;
    jet_log(&out, &grown, p);
    jet_add(&s->size, &out, p);
    jet_inverse(&share, &grown, p);
    struct jet first;
    jet_product(&first, &s->first, &share, p);
    /* second -= variance * first0 * first0 / grown */
    jet_product(&out, &s->first, &first, p);
    struct jet less;
    jet_product(&less, &out, &own, p);
    jet_of(&out, &less, -less.v, -1.0, 0.0, p);
    jet_add(&s->second, &out, p);
    s->first = first;
    jet_product(&out, &s->one, &share, p);
    s->one = out;
}

/* The readings of one innermost group: the rest's variance is the last one. */
static void leaf(struct sums *s, double n, double mean, double ssd, double rest, size_t p)
{
    struct jet e = {.v = rest};
    struct jet inverse;
    memset(s, 0, sizeof *s);
    e.d[p - 1] = 1.0;
    jet_inverse(&inverse, &e, p);
    jet_of(&s->one, &inverse, n * inverse.v, n, 0.0, p);
    jet_of(&s->first, &inverse, n * mean * inverse.v, n * mean, 0.0, p);
    const double squares = ssd + n * mean * mean;
    jet_of(&s->second, &inverse, squares * inverse.v, squares, 0.0, p);
    jet_log(&s->size, &e, p);
    jet_of(&s->size, &s->size, n * s->size.v, n, 0.0, p);
}

/* -2 log restricted likelihood without its constant, with derivatives; total gets the sums. */
static struct jet likelihood(const struct work *w, const double theta[P], struct sums *total)
{
    const struct nested_tree *tree = w->tree;
    const size_t p = w->p;
    const size_t inner = tree->levels - 1;
    struct sums open[AN_LEVELS_MOST]; /* of the group being gathered, level by level */
    memset(open, 0, sizeof open);
    memset(total, 0, sizeof *total);
    for (size_t g = 0; g < tree->count[inner]; g++) {
        const struct nested_group *group = &tree->group[inner][g];
        struct sums s;
        const double mean = -pair_from(w->centre, group->mean) / w->unit;
        leaf(&s, group->n, mean, tree->within[g] / (w->unit * w->unit), theta[p - 1], p);
        close_group(&s, inner, theta[inner], p);
        /* up as long as the group just closed was the last of the one that holds it */
        size_t at = g;
        size_t level = inner;
        for (; level > 0; level--) {
            const size_t parent = tree->group[level][at].parent;
            sums_add(&open[level - 1], &s, p);
            if (at + 1 < tree->count[level] && tree->group[level][at + 1].parent == parent) {
                break;
            }
            s = open[level - 1];
            memset(&open[level - 1], 0, sizeof open[level - 1]);
            close_group(&s, level - 1, theta[level - 1], p);
            at = parent;
        }
        if (level == 0) {
            sums_add(total, &s, p);
        }
    }
    struct jet f = total->size;
    struct jet out;
    jet_log(&out, &total->one, p);
    jet_add(&f, &out, p);
    jet_add(&f, &total->second, p);
    struct jet inverse;
    struct jet mean;
    jet_inverse(&inverse, &total->one, p);
    jet_product(&mean, &total->first, &inverse, p);
    jet_product(&out, &mean, &total->first, p);
    jet_of(&out, &out, -out.v, -1.0, 0.0, p);
    jet_add(&f, &out, p);
    return f;
}

/* Solves (H + damp * |diag H|) step = -g over the free ones by Cholesky; false: not positive. */
static bool solve(const struct jet *f, const bool held[P], size_t p, double damp, double step[P])
{
    double l[P][P] = {{0.0}};
    for (size_t i = 0; i < p; i++) {
        for (size_t j = 0; j <= i; j++) {
            double a = held[i] || held[j] ? (i == j ? 1.0 : 0.0) : f->dd[i][j];
            a += i == j ? damp * fabs(a) : 0.0;
            for (size_t m = 0; m < j; m++) {
                a -= l[i][m] * l[j][m];
            }
            if (i == j && !(a > 0.0)) {
                return false;
            }
            l[i][j] = i == j ? sqrt(a) : a / l[j][j];
        }
    }
    for (size_t i = 0; i < p; i++) {
        double b = held[i] ? 0.0 : -f->d[i];
        for (size_t m = 0; m < i; m++) {
            b -= l[i][m] * step[m];
        }
        step[i] = b / l[i][i];
    }
    for (size_t i = p; i-- > 0;) {
        for (size_t m = i + 1; m < p; m++) {
            step[i] -= l[m][i] * step[m];
        }
        step[i] /= l[i][i];
    }
    return true;
}

/* One damped step to a point that is not worse; how far it went, relative, or -1: none found. */
static double better(const struct work *w, struct jet *f, double theta[P], struct sums *total)
{
    bool held[P];
    const double room = 1e-13 * (fabs(f->v) + (double)w->tree->n);
    for (size_t i = 0; i < w->p; i++) {
        held[i] = w->fixed[i] || (theta[i] <= 0.0 && f->d[i] >= 0.0);
    }
    for (double damp = 0.0; damp<1e12; damp = damp> 0.0 ? 4.0 * damp : 1e-3) {
        double step[P] = {0.0};
        double next[P] = {0.0};
        double moved = 0.0;
        if (!solve(f, held, w->p, damp, step)) {
            continue;
        }
        for (size_t i = 0; i < w->p; i++) {
            next[i] = theta[i] + step[i];
            const double least = i + 1 == w->p ? theta[i] / 8.0 : 0.0;
            next[i] = held[i] ? theta[i] : next[i] > least ? next[i] : least;
            const double part = fabs(next[i] - theta[i]) / (theta[i] + 1e-3 * theta[w->p - 1]);
            moved = part > moved ? part : moved;
        }
        struct jet g = likelihood(w, next, total);
        if (isfinite(g.v) && g.v <= f->v + room) {
            memcpy(theta, next, sizeof next);
            *f = g;
            return moved;
        }
    }
    return -1.0;
}

static enum an_status maximise(const struct work *w, double theta[P], struct jet *f,
                               struct sums *total, int *steps)
{
    *f = likelihood(w, theta, total);
    for (*steps = 1; *steps <= STEPS_MOST; ++*steps) {
        const double moved = better(w, f, theta, total);
        if (moved < 0.0) {
            return AN_NOT_CONVERGED;
        }
        if (moved < 1e-10) {
            *f = likelihood(w, theta, total);
            return AN_OK;
        }
    }
    return AN_NOT_CONVERGED;
}

/* How far -2 log likelihood lies above `wanted` when variance k is held at x. */
static enum an_status profile(struct work *w, size_t k, double x, double theta[P], double wanted,
                              double *over)
{
    struct jet f;
    struct sums total;
    int steps = 0;
    w->fixed[k] = true;
    theta[k] = x;
    const enum an_status st = maximise(w, theta, &f, &total, &steps);
    w->fixed[k] = false;
    *over = f.v - wanted;
    return st;
}

/* Where the profile crosses `wanted` between x (inside) and y (outside), by halving and chords. */
static enum an_status cross(struct work *w, size_t k, const double best[P], double wanted,
                            double inside, double f_inside, double outside, double f_outside,
                            double *found)
{
    for (int i = 0; i < PROFILE_STEPS; i++) {
        double x = inside - f_inside * (outside - inside) / (f_outside - f_inside);
        const double near = inside + 0.02 * (outside - inside);
        const double far = outside - 0.02 * (outside - inside);
        if (i % 3 == 2 || !((x > near) == (x < far))) {
            x = 0.5 * (inside + outside);
        }
        double theta[P];
        double over = 0.0;
        memcpy(theta, best, sizeof theta);
        const enum an_status st = profile(w, k, x, theta, wanted, &over);
        if (st) {
            return st;
        }
        *found = x;
        if (fabs(over) < 1e-9 || fabs(outside - inside) < 1e-11 * (inside + outside)) {
            return AN_OK;
        }
        if (over < 0.0) {
            inside = x;
            f_inside = over;
        } else {
            outside = x;
            f_outside = over;
        }
    }
    return AN_OK;
}

static enum an_status profile_bounds(struct work *w, size_t k, const double best[P], double least,
                                     double confidence, double *lower, double *upper)
{
    const double cut = an_chi_square_quantile(confidence, 1.0);
    double theta[P];
    double over = 0.0;
    double outside = k + 1 == w->p ? best[k] / 2.0 : 0.0;
    memcpy(theta, best, sizeof theta);
    enum an_status st = profile(w, k, outside, theta, least + cut, &over);
    while (!st && k + 1 == w->p && over < 0.0 && outside > 1e-9 * best[k]) {
        outside /= 2.0;
        st = profile(w, k, outside, theta, least + cut, &over);
    }
    *lower = 0.0;
    if (!st && over > 0.0) {
        st = cross(w, k, best, least + cut, best[k], -cut, outside, over, lower);
    }
    double inside = best[k];
    double f_inside = -cut;
    outside = best[k] > 0.0 ? 2.0 * best[k] : 0.1 * best[w->p - 1];
    memcpy(theta, best, sizeof theta);
    for (int i = 0; !st && i < 200; i++) {
        st = profile(w, k, outside, theta, least + cut, &over);
        if (over >= 0.0) {
            break;
        }
        inside = outside;
        f_inside = over;
        outside *= 2.0;
    }
    return st ? st : cross(w, k, best, least + cut, inside, f_inside, outside, over, upper);
}

static enum an_status fill(struct work *w, const double theta[P], const struct jet *f,
                           const struct sums *total, double confidence, struct an_components *c)
{
    const double square = w->unit * w->unit;
    c->total = 0.0;
    for (size_t k = 0; k < w->p; k++) {
        struct an_component *at = &c->at[k];
        double lower = 0.0;
        double upper = 0.0;
        const enum an_status st = profile_bounds(w, k, theta, f->v, confidence, &lower, &upper);
        if (st) {
            return st;
        }
        at->raw = at->variance = theta[k] * square;
        at->cut = theta[k] <= 0.0;
        at->lower = lower * square;
        at->upper = upper * square;
        c->total += at->variance;
    }
    for (size_t k = 0; k < w->p; k++) {
        c->at[k].share = c->at[k].variance / c->total;
    }
    const double df = (double)c->n - 1.0;
    c->mean = w->centre + w->unit * total->first.v / total->one.v;
    c->mean_se = w->unit / sqrt(total->one.v);
    c->log_likelihood = -0.5 * (f->v + 2.0 * df * log(w->unit) + df * LOG_TWO_PI);
    return AN_OK;
}

enum an_status an_components_reml(const struct an_nested_data *data, double confidence,
                                  struct an_arena *arena, struct an_components *c)
{
    struct nested_tree tree;
    enum an_status st = an_components_by_squares(data, confidence, arena, c);
    st = st ? st : an_nested_lay_out(data, arena, &tree);
    if (st) {
        return st;
    }
    if (!(c->at[c->levels].ms > 0.0)) {
        return AN_NO_SPREAD;
    }
    struct work w = {.tree = &tree, .p = c->levels + 1, .centre = c->mean, .unit = sqrt(c->total)};
    double theta[P] = {0.0};
    for (size_t k = 0; k < w.p; k++) {
        const double start = c->at[k].variance / c->total;
        theta[k] = start > 0.01 ? start : 0.01;
    }
    struct jet f;
    struct sums total;
    st = maximise(&w, theta, &f, &total, &c->steps);
    return st ? st : fill(&w, theta, &f, &total, confidence, c);
}
