/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Roots and maxima without derivatives.
 *
 * Responsible for: the search only. Must never call anything but the function handed in.
 *   root   bisection, secant and inverse quadratic steps [Brent, Algorithms for Minimization
 *          without Derivatives, 1973, chapter 4; from memory]
 *   line   golden section and parabolas [the same, chapter 5; from memory]
 *   plane  simplex [Nelder and Mead, A simplex method for function minimization, Computer Journal
 *          7, 1965; from memory], then Newton steps on central differences of fourth order: the
 *          simplex finds the hill, Newton gives the digits that a flat top hides.
 */
#include "stat/fit_solve.h"

#include <float.h>
#include <math.h>
#include <stddef.h>

enum an_status solve_root(solve_line *f, const void *of, double low, double high, double tolerance,
                          double *root)
{
    double a = low, b = high;
    double fa = f(of, a), fb = f(of, b);
    if (!(fa * fb <= 0.0)) {
        return AN_NOT_CONVERGED;
    }
    double c = a, fc = fa, step = b - a, before = step;
    for (int i = 0; i < 300; i++) {
        if (fb * fc > 0.0) {
            c = a;
            fc = fa;
            step = before = b - a;
        }
        if (fabs(fc) < fabs(fb)) {
            a = b;
            b = c;
            c = a;
            fa = fb;
            fb = fc;
            fc = fa;
        }
        const double close = 2.0 * DBL_EPSILON * fabs(b) + tolerance / 2.0;
        const double middle = (c - b) / 2.0;
        if (fabs(middle) <= close || fb == 0.0) {
            *root = b;
            return AN_OK;
        }
        if (fabs(before) >= close && fabs(fa) > fabs(fb)) {
            double p, q;
            const double s = fb / fa;
            if (a == c) {
                p = 2.0 * middle * s;
                q = 1.0 - s;
            } else {
                const double t = fa / fc, r = fb / fc;
                p = s * (2.0 * middle * t * (t - r) - (b - a) * (r - 1.0));
                q = (t - 1.0) * (r - 1.0) * (s - 1.0);
            }
            q = p > 0.0 ? -q : q;
            p = fabs(p);
            if (2.0 * p < fmin(3.0 * middle * q - fabs(close * q), fabs(before * q))) {
                before = step;
                step = p / q;
            } else {
                step = before = middle;
            }
        } else {
            step = before = middle;
        }
        a = b;
        fa = fb;
        b += fabs(step) > close ? step : copysign(close, middle);
        fb = f(of, b);
        if (isnan(fb)) {
            return AN_NOT_CONVERGED;
        }
    }
    return AN_NOT_CONVERGED;
}

double solve_most(solve_line *f, const void *of, double low, double high, double tolerance)
{
    const double golden = 0.3819660112501051;
    double a = low, b = high;
    double x = a + golden * (b - a), w = x, v = x, step = 0.0, before = 0.0;
    double fx = -f(of, x), fw = fx, fv = fx;
    for (int i = 0; i < 200; i++) {
        const double middle = (a + b) / 2.0;
        const double close = 1.5e-8 * fabs(x) + tolerance / 3.0;
        if (fabs(x - middle) <= 2.0 * close - (b - a) / 2.0) {
            break;
        }
        double p = 0.0, q = 0.0, r = 0.0;
        if (fabs(before) > close) {
            r = (x - w) * (fx - fv);
            q = (x - v) * (fx - fw);
            p = (x - v) * q - (x - w) * r;
            q = 2.0 * (q - r);
            p = q > 0.0 ? -p : p;
            q = fabs(q);
            r = before;
            before = step;
        }
        double u;
        if (fabs(p) < fabs(q * r / 2.0) && p > q * (a - x) && p < q * (b - x)) {
            step = p / q;
            u = x + step;
            if (u - a < 2.0 * close || b - u < 2.0 * close) {
                step = x < middle ? close : -close;
            }
        } else {
            before = x < middle ? b - x : a - x;
            step = golden * before;
        }
        u = x + (fabs(step) >= close ? step : copysign(close, step));
        const double fu = -f(of, u);
        if (fu <= fx) {
            *(u < x ? &b : &a) = x;
            v = w;
            fv = fw;
            w = x;
            fw = fx;
            x = u;
            fx = fu;
        } else {
            *(u < x ? &a : &b) = u;
            if (fu <= fw || w == x) {
                v = w;
                fv = fw;
                w = u;
                fw = fu;
            } else if (fu <= fv || v == x || v == w) {
                v = u;
                fv = fu;
            }
        }
    }
    return x;
}

/* ---- on a plane ------------------------------------------------------------------------------- */
struct corner {
    double at[2], height;
};

static void sort_corners(struct corner c[3])
{
    for (int i = 1; i < 3; i++) {
        for (int j = i; j > 0 && c[j].height > c[j - 1].height; j--) {
            const struct corner swap = c[j];
            c[j] = c[j - 1];
            c[j - 1] = swap;
        }
    }
}

static struct corner corner_at(solve_plane *f, const void *of, double x, double y)
{
    struct corner c = {{x, y}, 0.0};
    c.height = f(of, c.at);
    if (isnan(c.height)) {
        c.height = -INFINITY;
    }
    return c;
}

static void simplex(solve_plane *f, const void *of, double at[2], double step, double flat)
{
    struct corner c[3] = {corner_at(f, of, at[0], at[1]), corner_at(f, of, at[0] + step, at[1]),
                          corner_at(f, of, at[0], at[1] + step)};
    for (int i = 0; i < 400; i++) {
        sort_corners(c);
        const double reach =
            fmax(fmax(fabs(c[2].at[0] - c[0].at[0]), fabs(c[2].at[1] - c[0].at[1])),
                 fmax(fabs(c[1].at[0] - c[0].at[0]), fabs(c[1].at[1] - c[0].at[1])));
        if (c[0].height - c[2].height <= flat && reach < 1e-2) {
            break;
        }
        const double mx = (c[0].at[0] + c[1].at[0]) / 2.0, my = (c[0].at[1] + c[1].at[1]) / 2.0;
        const double dx = mx - c[2].at[0], dy = my - c[2].at[1];
        const struct corner over = corner_at(f, of, mx + dx, my + dy);
        if (over.height > c[0].height) {
            const struct corner far = corner_at(f, of, mx + 2.0 * dx, my + 2.0 * dy);
            c[2] = far.height > over.height ? far : over;
        } else if (over.height > c[1].height) {
            c[2] = over;
        } else {
            const double side = over.height > c[2].height ? 0.5 : -0.5;
            const struct corner near = corner_at(f, of, mx + side * dx, my + side * dy);
            if (near.height > fmax(over.height, c[2].height)) {
                c[2] = near;
            } else {
                for (int k = 1; k < 3; k++) {
                    c[k] = corner_at(f, of, (c[0].at[0] + c[k].at[0]) / 2.0,
                                     (c[0].at[1] + c[k].at[1]) / 2.0);
                }
            }
        }
    }
    sort_corners(c);
    at[0] = c[0].at[0];
    at[1] = c[0].at[1];
}

/* First and second derivatives by differences of fourth order at distance h. */
static void derive(solve_plane *f, const void *of, const double at[2], double h, double first[2],
                   double second[3])
{
    const double here = f(of, at);
    for (int i = 0; i < 2; i++) {
        double v[4];
        for (int k = 0; k < 4; k++) {
            double to[2] = {at[0], at[1]};
            to[i] += h * (k < 2 ? k - 2 : k - 1);
            v[k] = f(of, to);
        }
        first[i] = (v[0] - 8.0 * v[1] + 8.0 * v[2] - v[3]) / (12.0 * h);
        second[i] = (-v[0] + 16.0 * v[1] - 30.0 * here + 16.0 * v[2] - v[3]) / (12.0 * h * h);
    }
    double mixed = 0.0;
    for (int k = 0; k < 4; k++) {
        const double to[2] = {at[0] + (k & 1 ? h : -h), at[1] + (k & 2 ? h : -h)};
        mixed += ((k == 0 || k == 3) ? 1.0 : -1.0) * f(of, to);
    }
    second[2] = mixed / (4.0 * h * h);
}

enum an_status solve_top(solve_plane *f, const void *of, double at[2], double step, bool polish)
{
    simplex(f, of, at, step, polish ? 1e-9 : 1e-6);
    if (!polish) {
        return isfinite(f(of, at)) ? AN_OK : AN_NOT_CONVERGED;
    }
    simplex(f, of, at, step / 4.0, 1e-11);
    bool top = false;
    for (int i = 0; i < 12; i++) {
        double g[2], h[3];
        derive(f, of, at, 2e-3, g, h);
        const double det = h[0] * h[1] - h[2] * h[2];
        top = h[0] < 0.0 && det > 0.0;
        if (!top) {
            break;
        }
        double d[2] = {(h[2] * g[1] - h[1] * g[0]) / det, (h[2] * g[0] - h[0] * g[1]) / det};
        const double size = fmax(fabs(d[0]), fabs(d[1]));
        const double shorter = size > 0.5 ? 0.5 / size : 1.0;
        const double to[2] = {at[0] + shorter * d[0], at[1] + shorter * d[1]};
        const double height = f(of, to);
        if (!(height >= f(of, at) - 1e-9)) {
            break;
        }
        at[0] = to[0];
        at[1] = to[1];
        if (size < 1e-10) {
            break;
        }
    }
    return top ? AN_OK : AN_NOT_CONVERGED;
}
