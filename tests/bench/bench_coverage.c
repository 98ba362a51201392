/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often stated 95 per cent bounds hold the truth.
 *
 *     bench_coverage CASE N SETS     or     bench_coverage list
 *
 * Draws SETS sets of N readings from a known shape, computes the bounds as the program does, and
 * counts: one line for each quantity with the share below, above and inside. The sampling error of a
 * share of 95 per cent is 0.22 per cent for 10,000 sets. Figures: docs/capability.md.
 */
#include "andamento/stat/components.h"
#include "andamento/stat/fit.h"
#include "andamento/stat/moments.h"
#include "andamento/stat/percentile.h"
#include "andamento/stat/position.h"
#include "andamento/stat/yield.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static uint64_t state = 20260302;

static double uniform(void)
{
    state += 0x9e3779b97f4a7c15U;
    uint64_t z = state;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    z ^= z >> 31;
    return ((double)(z >> 11) + 0.5) * 0x1p-53;
}

static double normal(void)
{
    return sqrt(-2.0 * log(uniform())) * cos(6.283185307179586 * uniform());
}

struct tally {
    const char *name;
    double truth;
    size_t sets, none, below, above; /* bounds wholly below the truth, wholly above */
    double width;
};
static struct tally tallies[16];
static size_t tally_count;

static void count(const char *name, double truth, const struct an_index *index)
{
    size_t i = 0;
    while (i < tally_count && strcmp(tallies[i].name, name) != 0) {
        i++;
    }
    if (i == tally_count) {
        tallies[tally_count++] = (struct tally){.name = name, .truth = truth};
    }
    struct tally *const t = &tallies[i];
    t->sets++;
    if (isnan(index->lower) || isnan(index->upper)) {
        t->none++;
        return;
    }
    t->below += index->upper < truth;
    t->above += index->lower > truth;
    t->width += index->upper - index->lower;
}

static void print(const char *what, size_t n)
{
    for (size_t i = 0; i < tally_count; i++) {
        const struct tally *const t = &tallies[i];
        const double with = (double)(t->sets - t->none);
        printf("%-22s n %4zu  %-12s truth %.4f  inside %6.2f %%  (truth above the bounds %5.2f %%, "
               "below them %5.2f %%)  mean width %.3f  sets %zu, without bounds %zu\n",
               what, n, t->name, t->truth, 100.0 * (1.0 - (double)(t->below + t->above) / with),
               100.0 * (double)t->below / with, 100.0 * (double)t->above / with, t->width / with,
               t->sets, t->none);
    }
    fflush(stdout);
}

static double *numbers(size_t count_of)
{
    double *const x = calloc(count_of, sizeof *x);
    if (!x) {
        exit(2);
    }
    return x;
}

/* ---- normal ---------------------------------------------------------------------------------------- */
/* All readings alike; limits at lsl, usl in sigmas, target 0. */
static void independent(size_t n, size_t sets, double lsl, double usl)
{
    double *const x = numbers(n);
    const struct an_spec spec = {0.0, lsl, usl};
    for (size_t s = 0; s < sets; s++) {
        struct an_moments m;
        struct an_capability c;
        for (size_t i = 0; i < n; i++) {
            x[i] = normal();
        }
        if (an_moments_of(x, n, &m)) {
            exit(2);
        }
        const double sd = an_moments_sd(&m);
        const struct an_capability_basis basis = {.n = (double)n,
                                                  .mean = m.mean,
                                                  .sigma_within = sd,
                                                  .df_within = (double)n - 1.0,
                                                  .sigma_overall = sd,
                                                  .confidence = 0.95};
        if (an_capability_of(&basis, &spec, &c)) {
            exit(2);
        }
        count("Pp", (usl - lsl) / 6.0, &c.pp);
        count("Ppu", usl / 3.0, &c.ppu);
        count("Ppk", fmin(usl, -lsl) / 3.0, &c.ppk);
        count("Cpm on target", (usl - lsl) / 6.0, &c.cpm);
        struct an_capability shifted;
        const struct an_spec off = {-0.75, lsl, usl};
        if (an_capability_of(&basis, &off, &shifted)) {
            exit(2);
        }
        count("Cpm off by .75", (usl - lsl) / 6.0 / 1.25, &shifted.cpm);
    }
    free(x);
}

/* Items of 5 readings that differ by `between`, readings within by 1; limits +-4 total sigmas. */
static void items(size_t n, size_t sets, double between)
{
    const size_t each = 5, m = n / each;
    const double total = sqrt(between * between + 1.0), limit = 4.0 * total;
    const struct an_spec spec = {0.0, -limit, limit + 1.0};
    double *const x = numbers(n), *const means = numbers(m);
    for (size_t s = 0; s < sets; s++) {
        double inside = 0.0;
        for (size_t i = 0; i < m; i++) {
            const double level = between * normal();
            struct an_moments one;
            for (size_t k = 0; k < each; k++) {
                x[i * each + k] = level + normal();
            }
            if (an_moments_of(x + i * each, each, &one)) {
                exit(2);
            }
            means[i] = one.mean;
            inside += one.ssd;
        }
        struct an_moments all, levels;
        if (an_moments_of(x, n, &all) || an_moments_of(means, m, &levels)) {
            exit(2);
        }
        struct an_capability_basis basis = {.n = (double)n, .mean = all.mean, .confidence = 0.95};
        basis.df_within = (double)(n - m);
        basis.sigma_within = sqrt(inside / basis.df_within);
        an_capability_nested(&basis, &(struct an_nested){.items = (double)m,
                                                         .readings = (double)n,
                                                         .ssd_between = (double)each * levels.ssd,
                                                         .ssd_inside = inside});
        struct an_capability c;
        if (an_capability_of(&basis, &spec, &c)) {
            exit(2);
        }
        count("Cp", (2.0 * limit + 1.0) / 6.0, &c.cp);
        count("Cpl", limit / 3.0, &c.cpl);
        count("Cpk", limit / 3.0, &c.cpk);
        count("Pp", (2.0 * limit + 1.0) / 6.0 / total, &c.pp);
        count("Ppl", limit / 3.0 / total, &c.ppl);
        count("Ppk", limit / 3.0 / total, &c.ppk);
        /* as if every reading told of the mean by itself */
        basis.mean_se = basis.df_mean = basis.df_overall = basis.sigma_total = 0.0;
        if (an_capability_of(&basis, &spec, &c)) {
            exit(2);
        }
        count("Cpl, naive", limit / 3.0, &c.cpl);
        count("Ppl, naive", limit / 3.0 / total, &c.ppl);
    }
    free(means);
    free(x);
}

/* ---- shapes --------------------------------------------------------------------------------------------- */
static double value_of(const struct an_fit *truth)
{
    if (truth->shape == AN_SHAPE_FOLDED_NORMAL) {
        return fabs(truth->par[0] + truth->par[1] * normal());
    }
    return an_fit_quantile(truth, uniform(), true);
}

/* Limits where the true shape has an upper index of 1.2 and a lower one of 1.0. */
static void shape(size_t n, size_t sets, const struct an_fit *truth)
{
    const double low = an_fit_quantile(truth, 0.0013498980316300946, false);
    const double middle = an_fit_quantile(truth, 0.5, false);
    const double high = an_fit_quantile(truth, 0.0013498980316300946, true);
    const struct an_spec spec = {NAN, middle - 0.9 * (middle - low),
                                 middle + 1.2 * (high - middle)};
    double *const x = numbers(n), *const scratch = numbers(3 * n);
    static double room[AN_PERCENTILE_SCRATCH];
    size_t unfitted = 0;
    for (size_t s = 0; s < sets; s++) {
        struct an_fit fit;
        struct an_percentile_capability c;
        for (size_t i = 0; i < n; i++) {
            x[i] = value_of(truth);
        }
        if (an_fit_shape(truth->shape, x, n, scratch, &fit)) {
            unfitted++;
            continue;
        }
        const enum an_status st = an_capability_by_percentiles(&fit, &spec, 0.95, room, &c);
        if (st && st != AN_NOT_CONVERGED) {
            exit(2);
        }
        count("Pp", (spec.usl - spec.lsl) / (high - low), &c.pp);
        count("Ppl", 0.9, &c.ppl);
        count("Ppu", 1.2, &c.ppu);
        count("Ppk", 0.9, &c.ppk);
        count("above", an_fit_above(truth, spec.usl), &c.above);
        count("below", an_fit_below(truth, spec.lsl), &c.below);
    }
    if (unfitted) {
        printf("%zu of %zu sets could not be fitted\n", unfitted, sets);
    }
    free(scratch);
    free(x);
}

/* ---- position, counts ------------------------------------------------------------------------------------- */
static void position(size_t n, size_t sets, const struct an_plane_normal *truth)
{
    double *const x = numbers(n), *const y = numbers(n);
    static double room[AN_POSITION_SCRATCH];
    const struct an_position_circle circle = {0.0, 0.0, 4.0};
    struct an_plane_normal centred = *truth;
    centred.mean_x = centred.mean_y = 0.0;
    double outside, alone;
    if (an_outside_circle(truth, circle.radius, &outside) ||
        an_outside_circle(&centred, circle.radius, &alone)) {
        exit(2);
    }
    const double root = sqrt(1.0 - truth->correlation * truth->correlation);
    for (size_t s = 0; s < sets; s++) {
        struct an_position_capability c;
        for (size_t i = 0; i < n; i++) {
            const double z = normal();
            x[i] = truth->mean_x + truth->sd_x * z;
            y[i] = truth->mean_y + truth->sd_y * (truth->correlation * z + root * normal());
        }
        if (an_position_capability_of(x, y, n, &circle, 0.95, room, &c)) {
            exit(2);
        }
        count("outside", outside, &c.outside);
        const double ppk = -an_sigma_level(1.0 - outside / 2.0, 0.0) / 3.0;
        const double pp = -an_sigma_level(1.0 - alone / 2.0, 0.0) / 3.0;
        count("position Ppk", ppk, &c.ppk);
        count("position Pp", pp, &c.pp);
    }
    free(y);
    free(x);
}

static void rolled(size_t n, size_t sets)
{
    static const double good[] = {0.97, 0.995, 0.94, 0.99, 0.999};
    double truth = 1.0;
    for (size_t i = 0; i < 5; i++) {
        truth *= good[i];
    }
    for (size_t s = 0; s < sets; s++) {
        struct an_yield_step steps[5];
        struct an_index all;
        for (size_t i = 0; i < 5; i++) {
            double passed = 0.0;
            for (size_t k = 0; k < n; k++) {
                passed += uniform() < good[i];
            }
            steps[i] = (struct an_yield_step){(double)n, passed};
        }
        if (an_rolled_yield(steps, 5, 0.95, &all)) {
            exit(2);
        }
        count("rolled yield", truth, &all);
    }
}

static const struct {
    const char *name;
    struct an_fit truth;
} shapes[] = {
    {"normal_shape", {.shape = AN_SHAPE_NORMAL, .par = {10.0, 1.0}}},
    {"lognormal", {.shape = AN_SHAPE_LOGNORMAL, .par = {1.0, 0.5}}},
    {"weibull", {.shape = AN_SHAPE_WEIBULL, .par = {1.8, 3.0}}},
    {"gamma", {.shape = AN_SHAPE_GAMMA, .par = {3.0, 2.0}}},
    {"rayleigh", {.shape = AN_SHAPE_RAYLEIGH, .par = {2.0}}},
    {"folded_normal", {.shape = AN_SHAPE_FOLDED_NORMAL, .par = {1.0, 1.0}}},
    {"folded_far", {.shape = AN_SHAPE_FOLDED_NORMAL, .par = {2.5, 1.0}}},
    {"lognormal_3", {.shape = AN_SHAPE_LOGNORMAL_3, .par = {1.0, 0.5, 5.0}}},
    {"weibull_3", {.shape = AN_SHAPE_WEIBULL_3, .par = {2.5, 3.0, 5.0}}},
    {"johnson_su", {.shape = AN_SHAPE_JOHNSON_SU, .par = {-0.8, 1.5, 5.0, 2.0}}},
    {"johnson_sb", {.shape = AN_SHAPE_JOHNSON_SB, .par = {0.6, 1.2, 5.0, 4.0}}},
};

/* ---- components ------------------------------------------------------------------------------------ */
/* n lots of `items` items of `sites` readings, all three variances alike: bounds of the lots' and the
 * items' variance, and of every share. */
static void components(size_t n, size_t sets, size_t items, size_t sites)
{
    const size_t all = n * items * sites;
    double *const x = numbers(all);
    size_t *const lot = calloc(all, sizeof *lot);
    size_t *const item = calloc(all, sizeof *item);
    const struct an_nested_data data = {.value = x, .n = all, .levels = 2, .group = {lot, item}};
    if (!lot || !item) {
        exit(2);
    }
    for (size_t s = 0; s < sets; s++) {
        struct an_arena *const arena = an_arena_open();
        struct an_components c;
        double of_lot = 0.0, of_item = 0.0;
        for (size_t i = 0; i < all; i++) {
            lot[i] = i / (items * sites);
            item[i] = i / sites;
            of_lot = i % (items * sites) == 0 ? normal() : of_lot;
            of_item = i % sites == 0 ? normal() : of_item;
            x[i] = of_lot + of_item + normal();
        }
        if (!arena || an_components_by_squares(&data, 0.95, arena, &c)) {
            exit(2);
        }
        static const char *const names[][2] = {
            {"lot variance", "lot share"}, {"item variance", "item share"}, {"rest", "rest share"}};
        for (size_t k = 0; k < 3; k++) {
            const struct an_index of = {.lower = c.at[k].lower, .upper = c.at[k].upper};
            const struct an_index share = {.lower = c.at[k].share_lower,
                                           .upper = c.at[k].share_upper};
            count(names[k][0], 1.0, &of);
            count(names[k][1], 1.0 / 3.0, &share);
        }
        an_arena_close(arena);
    }
}

static int usage(void)
{
    printf("bench_coverage CASE N SETS; cases: normal normal_off normal_one items items_alike "
           "position position_off rolled components (N lots of 4 items of 3 sites) "
           "components_many_sites (3 of 5)");
    for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++) {
        printf(" %s", shapes[i].name);
    }
    printf("\n");
    return 0;
}

int main(int argc, char **argv)
{
    if (argc != 4) {
        return usage();
    }
    const char *const what = argv[1];
    const size_t n = (size_t)strtoul(argv[2], NULL, 10);
    const size_t sets = (size_t)strtoul(argv[3], NULL, 10);
    if (strcmp(what, "normal") == 0) {
        independent(n, sets, -4.0, 4.0);
    } else if (strcmp(what, "normal_off") == 0) {
        independent(n, sets, -6.0, 4.0);
    } else if (strcmp(what, "items") == 0) {
        items(n, sets, 1.0);
    } else if (strcmp(what, "items_alike") == 0) {
        items(n, sets, 0.0);
    } else if (strcmp(what, "position") == 0) {
        position(n, sets, &(struct an_plane_normal){0.3, -0.2, 1.0, 1.0, 0.2});
    } else if (strcmp(what, "position_off") == 0) {
        position(n, sets, &(struct an_plane_normal){1.2, 0.8, 1.0, 0.6, 0.5});
    } else if (strcmp(what, "components") == 0) {
        components(n, sets, 4, 3);
    } else if (strcmp(what, "components_many_sites") == 0) {
        components(n, sets, 3, 5);
    } else if (strcmp(what, "rolled") == 0) {
        rolled(n, sets);
    }
    for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++) {
        if (strcmp(what, shapes[i].name) == 0) {
            shape(n, sets, &shapes[i].truth);
        }
    }
    if (!tally_count) {
        return usage();
    }
    print(what, n);
    return 0;
}
