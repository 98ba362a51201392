/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Components of nested readings against certified and published values, against closed forms, under
 * changes that must not matter, the coverage of their bounds, and data that cannot carry them.
 */
#include "andamento/stat/components.h"
#include "andamento/stat/tests.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct set {
    struct table table;
    double *value;
    size_t *group[AN_LEVELS_MOST];
    struct an_nested_data data;
};

static void set_read(struct set *set, const char *name, const char *const levels[], size_t count,
                     const char *value)
{
    memset(set, 0, sizeof *set);
    set->table = table_read(name);
    set->value = table_column(&set->table, value);
    set->data = (struct an_nested_data){.value = set->value, .n = set->table.rows, .levels = count};
    for (size_t k = 0; k < count; k++) {
        set->group[k] = calloc(set->table.rows, sizeof *set->group[k]);
        for (size_t i = 0; i < set->table.rows; i++) {
            set->group[k][i] = (size_t)table_number(&set->table, i, levels[k]);
        }
        set->data.group[k] = set->group[k];
    }
}

static void set_free(struct set *set)
{
    for (size_t k = 0; k < AN_LEVELS_MOST; k++) {
        free(set->group[k]);
    }
    free(set->value);
    table_free(&set->table);
}

/* ---- published nested sets --------------------------------------------------------------------------- */
struct named {
    const char *name;
    struct an_components squares, reml;
};

static const struct {
    const char *name, *levels[2], *value;
    size_t count;
} sets[] = {
    {"oxide", {"lot", "wafer"}, "thickness", 2},
    {"dyestuff", {"batch", NULL}, "yield", 1},
    {"pastes", {"batch", "cask"}, "strength", 2},
};

static double find_nested(const void *of, const char *quantity, size_t at)
{
    const struct named *all = of;
    const struct named *x = NULL;
    for (size_t i = 0; i < 3; i++) {
        if (strncmp(quantity, sets[i].name, strlen(sets[i].name)) == 0) {
            x = &all[i];
            quantity += strlen(sets[i].name) + 1;
            break;
        }
    }
    ck_assert_ptr_nonnull(x);
    const size_t rest = x->squares.levels;
    static const struct {
        const char *name;
        size_t level; /* 9: the rest */
    } words[] = {{"lot", 0},  {"batch", 0},  {"wafer", 1},    {"cask", 1},
                 {"site", 9}, {"within", 9}, {"residual", 9}, {"resid", 9}};
    const char *last = strrchr(quantity, '_');
    size_t level = 99;
    for (size_t i = 0; last && i < sizeof words / sizeof *words; i++) {
        if (strcmp(last + 1, words[i].name) == 0) {
            level = words[i].level == 9 ? rest : words[i].level;
        }
    }
    if (strncmp(quantity, "ms_", 3) == 0) {
        return x->squares.at[level].ms;
    }
    if (strcmp(quantity, "df") == 0) {
        return x->squares.at[at - 1].df;
    }
    if (strncmp(quantity, "anova_var_", 10) == 0) {
        return x->squares.at[level].variance;
    }
    if (strncmp(quantity, "reml_sd_", 8) == 0 || strncmp(quantity, "sd_", 3) == 0) {
        return sqrt(x->reml.at[level].variance);
    }
    if (strcmp(quantity, "fixed_mean") == 0 || strcmp(quantity, "mean") == 0) {
        return x->reml.mean;
    }
    if (strcmp(quantity, "fixed_mean_se") == 0 || strcmp(quantity, "mean_se") == 0) {
        check_close(x->squares.mean_se, x->reml.mean_se, 1e-9, "both roads' error of the mean");
        return x->reml.mean_se;
    }
    if (strcmp(quantity, "reml_loglik") == 0) {
        return x->reml.log_likelihood;
    }
    if (strcmp(quantity, "F") == 0) {
        return x->squares.at[0].f;
    }
    if (strcmp(quantity, "p") == 0) {
        return x->squares.at[0].p;
    }
    if (strcmp(quantity, "icc") == 0) {
        return x->squares.at[0].share;
    }
    if (strcmp(quantity, "icc_lower95") == 0) {
        return x->squares.at[0].share_lower;
    }
    if (strcmp(quantity, "icc_upper95") == 0) {
        return x->squares.at[0].share_upper;
    }
    ck_abort_msg("no quantity %s", quantity);
    return NAN;
}

START_TEST(published_sets)
{
    struct named all[3];
    struct an_arena *arena = an_arena_open();
    for (size_t i = 0; i < 3; i++) {
        struct set set;
        char name[40];
        snprintf(name, sizeof name, "%s.csv", sets[i].name);
        set_read(&set, name, sets[i].levels, sets[i].count, sets[i].value);
        all[i].name = sets[i].name;
        ck_assert_int_eq(an_components_by_squares(&set.data, 0.95, arena, &all[i].squares), AN_OK);
        ck_assert_int_eq(an_components_reml(&set.data, 0.95, arena, &all[i].reml), AN_OK);
        ck_assert(all[i].squares.balanced);
        ck_assert_int_le(all[i].reml.steps, 20);
        set_free(&set);
    }
    check_against("nested_expected.csv", find_nested, all);
    an_arena_close(arena);
}
END_TEST

/*
 * Certified analysis of variance. What doubles allow: SmLs01 and SiRstv, AtmWtAg all but the last
 * few; SmLs04 is at 1e6 with one decimal: each reading is rounded at 1e-10, spread 0.1, so about 9
 * digits; SmLs07 at 1e12 is rounded at 1e-4: about 3 digits are in the doubles at all.
 */
static const struct {
    const char *name, *file;
    double digits;
} certified[] = {{"SiRstv", "strd_anova_sirstv.csv", 12.0},
                 {"AtmWtAg", "strd_anova_atmwtag.csv", 8.0},
                 {"SmLs01", "strd_anova_smls01.csv", 13.5},
                 {"SmLs04", "strd_anova_smls04.csv", 9.0},
                 {"SmLs07", "strd_anova_smls07.csv", 2.5}};

START_TEST(certified_squares)
{
    struct set set;
    struct an_components c;
    struct an_arena *arena = an_arena_open();
    struct table wanted = table_read("strd_anova.csv");
    set_read(&set, certified[_i].file, (const char *const[]){"group"}, 1, "y");
    ck_assert_int_eq(an_components_by_squares(&set.data, 0.95, arena, &c), AN_OK);
    for (size_t i = 0; i < wanted.rows; i++) {
        if (strcmp(table_text(&wanted, i, "dataset"), certified[_i].name) != 0) {
            continue;
        }
        const double total = c.at[0].ss + c.at[1].ss;
        const double got[] = {c.at[0].df,       c.at[0].ss, c.at[0].ms, c.at[0].f,
                              c.at[1].df,       c.at[1].ss, c.at[1].ms, c.at[0].ss / total,
                              sqrt(c.at[1].ms), c.at[0].raw};
        const char *const names[] = {"df_between", "ss_between", "ms_between", "f",
                                     "df_within",  "ss_within",  "ms_within",  "r_squared",
                                     "resid_sd",   "between"};
        for (size_t k = 0; k < 10; k++) {
            const double digits = digits_agreed(got[k], table_number(&wanted, i, names[k]));
            /* the component is a difference that the table prints to 8 digits or 12 */
            const double least = k == 9 && certified[_i].digits > 7.5 ? 7.5 : certified[_i].digits;
            ck_assert_msg(digits >= least, "%s %s: %.1f digits", certified[_i].name, names[k],
                          digits);
        }
    }
    table_free(&wanted);
    set_free(&set);
    an_arena_close(arena);
}
END_TEST

/* ---- what must not matter ----------------------------------------------------------------------------- */
static double normal(struct draws *draws)
{
    return an_normal_quantile(draw_uniform(draws));
}

/* lots x items x sites with given sds; uneven: sizes vary by lot and item */
static size_t make(double value[], size_t *lot, size_t *item, size_t lots, size_t items,
                   size_t sites, const double sd[3], bool uneven, struct draws *draws)
{
    size_t n = 0;
    for (size_t l = 0; l < lots; l++) {
        const double a = sd[0] * normal(draws);
        for (size_t i = 0; i < items + (uneven ? l % 3 : 0); i++) {
            const double b = sd[1] * normal(draws);
            for (size_t s = 0; s < sites + (uneven ? (l + i) % 2 : 0); s++) {
                lot[n] = l;
                item[n] = i;
                value[n++] = a + b + sd[2] * normal(draws);
            }
        }
    }
    return n;
}

static void shuffle(double value[], size_t *lot, size_t *item, size_t n, struct draws *draws)
{
    for (size_t i = n; i-- > 1;) {
        const size_t j = (size_t)(draw_uniform(draws) * (double)(i + 1));
        const double v = value[i];
        value[i] = value[j];
        value[j] = v;
        const size_t l = lot[i], m = item[i];
        lot[i] = lot[j];
        lot[j] = l;
        item[i] = item[j];
        item[j] = m;
    }
}

START_TEST(order_and_scale)
{
    double value[400], far[400];
    size_t lot[400], item[400];
    struct draws draws = {7};
    struct an_components a, b, s;
    struct an_arena *arena = an_arena_open();
    const bool reml = _i == 1;
    enum an_status (*run)(const struct an_nested_data *, double, struct an_arena *,
                          struct an_components *) =
        reml ? an_components_reml : an_components_by_squares;
    const size_t n = make(value, lot, item, 9, 4, 3, (const double[]){2, 1, 0.5}, true, &draws);
    const struct an_nested_data data = {value, n, 2, {lot, item, NULL, NULL}};
    ck_assert_int_eq(run(&data, 0.95, arena, &a), AN_OK);
    ck_assert(!a.balanced);
    shuffle(value, lot, item, n, &draws);
    ck_assert_int_eq(run(&data, 0.95, arena, &b), AN_OK);
    ck_assert(memcmp(&a, &b, sizeof a) == 0); /* to the last bit */
    for (size_t i = 0; i < n; i++) {
        far[i] = ldexp(value[i], 10) + 1e9; /* keeps about 2^-33 of a reading */
    }
    const struct an_nested_data moved = {far, n, 2, {lot, item, NULL, NULL}};
    ck_assert_int_eq(run(&moved, 0.95, arena, &s), AN_OK);
    for (size_t k = 0; k < 3; k++) {
        check_close(s.at[k].variance, ldexp(a.at[k].variance, 20), 1e-8, "variance %zu", k);
        check_close(s.at[k].share_upper, a.at[k].share_upper, 1e-7, "share %zu", k);
        check_close(s.at[k].upper, ldexp(a.at[k].upper, 20), 1e-7, "upper %zu", k);
        ck_assert(a.at[k].lower <= a.at[k].variance && a.at[k].variance <= a.at[k].upper);
        ck_assert(a.at[k].share_lower <= a.at[k].share && a.at[k].share <= a.at[k].share_upper);
    }
    an_arena_close(arena);
}
END_TEST

/* At the maximum of the likelihood every profile is below it: bounds lie where it fell by half the
 * quantile of chi-square. One level, equal groups: the likelihood is known in closed form. */
static double closed(double a, double e, double groups, double n, double between, double within)
{
    const double big = e + n * a;
    return -0.5 *
           ((groups * (n - 1.0)) * log(e) + within / e + (groups - 1.0) * log(big) + between / big);
}

START_TEST(profile_of_rest)
{
    struct set set;
    struct an_components c;
    struct an_arena *arena = an_arena_open();
    set_read(&set, "dyestuff.csv", (const char *const[]){"batch"}, 1, "yield");
    ck_assert_int_eq(an_components_reml(&set.data, 0.95, arena, &c), AN_OK);
    const double between = c.at[0].ss, within = c.at[1].ss;
    const double best = closed(c.at[0].variance, c.at[1].variance, 6, 5, between, within);
    const double edge[] = {c.at[1].lower, c.at[1].upper};
    for (size_t i = 0; i < 2; i++) {
        /* best batch variance for this rest: between / df = rest + n * variance, not below 0 */
        const double a = fmax(0.0, (between / 5.0 - edge[i]) / 5.0);
        check_close(2.0 * (best - closed(a, edge[i], 6, 5, between, within)), 3.841458820694124,
                    1e-6, "profile at bound %zu", i);
    }
    set_free(&set);
    an_arena_close(arena);
}
END_TEST

/* ---- a component that is not there ------------------------------------------------------------------- */
START_TEST(below_zero)
{
    /* batches agree better than items within them would let them: the estimate is negative */
    const double value[] = {1, 5, 2, 6, 1.5, 5.5, 2.5, 4.5};
    const size_t group[] = {0, 0, 1, 1, 2, 2, 3, 3};
    struct an_components a, r;
    struct an_arena *arena = an_arena_open();
    const struct an_nested_data data = {value, 8, 1, {group, NULL, NULL, NULL}};
    ck_assert_int_eq(an_components_by_squares(&data, 0.95, arena, &a), AN_OK);
    ck_assert(a.at[0].cut && a.at[0].raw < 0.0 && a.at[0].variance == 0.0);
    ck_assert(a.at[0].share == 0.0 && a.at[1].share == 1.0);
    ck_assert_int_eq(an_components_reml(&data, 0.95, arena, &r), AN_OK);
    ck_assert(r.at[0].cut && r.at[0].variance == 0.0);
    /* then all readings are one sample: its variance */
    check_close(r.at[1].variance, (a.at[0].ss + a.at[1].ss) / 7.0, 1e-12, "pooled");
    an_arena_close(arena);
}
END_TEST

/* ---- coverage ----------------------------------------------------------------------------------------- */
/* How often 95 % bounds hold the truth over made sets; of 400 sets, 3 standard errors are 3.3 %.
 * Bounds of variances and shares by squares are known to be a little wide, never narrow: Burdick
 * and Graybill, Confidence Intervals on Variance Components, 1992 (from memory). */
static const struct {
    double sd[3];
    size_t lots, items, sites;
} truths[] = {{{1, 1, 1}, 10, 4, 3}, {{0.3, 1, 0.5}, 15, 3, 2}, {{2, 0.5, 1}, 8, 3, 5}};

START_TEST(coverage)
{
    enum { SETS = 400 };
    double value[400];
    size_t lot[400], item[400], held[3] = {0}, share_held[3] = {0};
    struct draws draws = {11 + (unsigned long long)_i};
    const double *sd = truths[_i].sd;
    const double total = sd[0] * sd[0] + sd[1] * sd[1] + sd[2] * sd[2];
    for (size_t i = 0; i < SETS; i++) {
        struct an_arena *arena = an_arena_open();
        struct an_components c;
        const size_t n = make(value, lot, item, truths[_i].lots, truths[_i].items, truths[_i].sites,
                              sd, false, &draws);
        const struct an_nested_data data = {value, n, 2, {lot, item, NULL, NULL}};
        ck_assert_int_eq(an_components_by_squares(&data, 0.95, arena, &c), AN_OK);
        for (size_t k = 0; k < 3; k++) {
            const double truth = sd[k] * sd[k];
            held[k] += c.at[k].lower <= truth && truth <= c.at[k].upper;
            share_held[k] +=
                c.at[k].share_lower <= truth / total && truth / total <= c.at[k].share_upper;
        }
        an_arena_close(arena);
    }
    for (size_t k = 0; k < 3; k++) {
        ck_assert_msg(held[k] >= 365 && held[k] <= 394, "variance %zu: %zu of 400", k, held[k]);
        ck_assert_msg(share_held[k] >= 364 && share_held[k] <= 397, "share %zu: %zu of 400", k,
                      share_held[k]);
    }
}
END_TEST

/* A single mean square has its exact chi-square bounds; a sum lies within the sum of its own. */
START_TEST(bounds_of_squares)
{
    const double a[] = {1.0, 0.5}, ms[] = {4.0, 3.0}, df[] = {9.0, 20.0};
    const struct an_bounds one = an_squares_bounds(1, a, ms, df, 0.95);
    check_close(one.lower, 36.0 / an_chi_square_quantile(0.975, 9.0), 1e-13, "lower");
    check_close(one.upper, 36.0 / an_chi_square_quantile(0.025, 9.0), 1e-13, "upper");
    const struct an_bounds two = an_squares_bounds(2, a, ms, df, 0.95);
    ck_assert(two.lower > one.lower && two.upper > one.upper && two.lower < 5.5);
    /* no part of the second: no change */
    const double only[] = {1.0, 0.0};
    const struct an_bounds same = an_squares_bounds(2, only, ms, df, 0.95);
    check_close(same.lower, one.lower, 1e-13, "lower");
    check_close(same.upper, one.upper, 1e-13, "upper");
}
END_TEST

/* ---- bad data ------------------------------------------------------------------------------------------ */
START_TEST(refused)
{
    double value[] = {1, 2, 3, 4, 5, 6};
    const double same[] = {2, 2, 2, 2, 2, 2}, level[] = {1, 1, 2, 2, 3, 3};
    const size_t one[] = {0, 0, 0, 0, 0, 0}, two[] = {0, 0, 1, 1, 2, 2},
                 each[] = {0, 1, 0, 1, 0, 1};
    struct an_components c;
    struct an_arena *arena = an_arena_open();
    struct an_nested_data data = {value, 6, 1, {one, NULL, NULL, NULL}};
    ck_assert_int_eq(an_components_by_squares(&data, 0.95, arena, &c), AN_TOO_FEW);
    ck_assert_uint_eq(c.short_level, 0); /* one batch */
    data = (struct an_nested_data){value, 6, 2, {two, each, NULL, NULL}};
    ck_assert_int_eq(an_components_by_squares(&data, 0.95, arena, &c), AN_TOO_FEW);
    ck_assert_uint_eq(c.short_level, 2); /* one reading an item */
    data = (struct an_nested_data){value, 6, 2, {two, one, NULL, NULL}};
    ck_assert_int_eq(an_components_by_squares(&data, 0.95, arena, &c), AN_TOO_FEW);
    ck_assert_uint_eq(c.short_level, 1); /* one item a batch */
    data = (struct an_nested_data){same, 6, 1, {two, NULL, NULL, NULL}};
    ck_assert_int_eq(an_components_by_squares(&data, 0.95, arena, &c), AN_NO_SPREAD);
    data.value = level; /* differ between groups only */
    ck_assert_int_eq(an_components_by_squares(&data, 0.95, arena, &c), AN_OK);
    ck_assert_int_eq(an_components_reml(&data, 0.95, arena, &c), AN_NO_SPREAD);
    value[3] = NAN;
    data.value = value;
    ck_assert_int_eq(an_components_by_squares(&data, 0.95, arena, &c), AN_DOMAIN);
    value[3] = 4;
    ck_assert_int_eq(an_components_by_squares(&data, 1.0, arena, &c), AN_DOMAIN);
    data.levels = 0;
    ck_assert_int_eq(an_components_reml(&data, 0.95, arena, &c), AN_DOMAIN);
    data.levels = 1;
    data.n = 1;
    ck_assert_int_eq(an_components_reml(&data, 0.95, arena, &c), AN_TOO_FEW);
    an_arena_close(arena);
}
END_TEST

START_TEST(memory_out)
{
    double value[40];
    size_t lot[40], item[40];
    struct draws draws = {5};
    const size_t n = make(value, lot, item, 4, 2, 3, (const double[]){1, 1, 1}, false, &draws);
    const struct an_nested_data data = {value, n, 2, {lot, item, NULL, NULL}};
    size_t failures = 0;
    for (size_t k = 1; k < 40; k++) {
        struct an_components c;
        struct an_arena *arena = an_arena_open();
        an_alloc_fail_at(k, false);
        const enum an_status st = an_components_reml(&data, 0.95, arena, &c);
        an_alloc_fail_at(0, false);
        ck_assert(st == AN_OK || st == AN_NO_MEMORY);
        failures += st == AN_NO_MEMORY;
        an_arena_close(arena);
    }
    ck_assert_uint_gt(failures, 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("components of variance");
    TCase *published = tcase_create("published");
    tcase_add_test(published, published_sets);
    tcase_add_loop_test(published, certified_squares, 0, sizeof certified / sizeof *certified);
    suite_add_tcase(suite, published);
    TCase *own = tcase_create("identities");
    tcase_set_timeout(own, 240);
    tcase_add_loop_test(own, order_and_scale, 0, 2);
    tcase_add_test(own, profile_of_rest);
    tcase_add_test(own, below_zero);
    tcase_add_loop_test(own, coverage, 0, sizeof truths / sizeof *truths);
    tcase_add_test(own, bounds_of_squares);
    tcase_add_test(own, refused);
    tcase_add_test(own, memory_out);
    suite_add_tcase(suite, own);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
