/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Families of their own kind in the line description: t2, mewma, residuals, g, t, limits by chance;
 * what stands in for what is not said, and each mistake at its place.
 */
#include "andamento/base/text.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <string.h>

/* The last characteristic begins at line 13, column 11. */
static const char head[] = "line: x\n"
                           "zone: Europe/Rome\n"
                           "kinds: {tile: {title: tile, product: yes}}\n"
                           "shifts: {early: 06:00}\n"
                           "stations:\n"
                           "  s:\n"
                           "    time: {column: at}\n"
                           "    item: {kind: tile, column: t}\n"
                           "    characteristics:\n"
                           "      dx: {column: x, unit: um, split: head}\n"
                           "      dy: {column: y, unit: mm, split: head}\n"
                           "      dz: {column: z, unit: um}\n"
                           "      c: {%s}\n";

static struct an_characteristic read_one(const char *says, struct an_line **line)
{
    struct an_text text = {0};
    an_text_addf(&text, head, says);
    *line = read_good(an_text_of(&text));
    an_text_free(&text);
    return (*line)->characteristics[3];
}

START_TEST(what_is_meant)
{
    struct an_line *line;
    struct an_characteristic c = read_one("derived: {how: together, of: [dx, dy]}", &line);
    ck_assert_int_eq(c.family, AN_T2);
    ck_assert_str_eq(c.of_name[0], "dx");
    ck_assert_str_eq(c.of_name[1], "dy");
    ck_assert_str_eq(c.unit, "1");
    ck_assert_uint_eq(c.splits.count, 1);
    ck_assert_int_eq(c.spread, AN_JOINT_SUCCESSIVE);
    an_line_close(line);
    c = read_one("derived: {how: together, of: [dx, dy]}, family: t2, covariance: all", &line);
    ck_assert_int_eq(c.spread, AN_JOINT_ALL);
    an_line_close(line);
    c = read_one("derived: {how: together, of: [dx, dy]}, family: mewma, weighted: {ewma: 0.2}",
                 &line);
    ck_assert(c.weighting.kind == AN_EWMA && c.weighting.variables == 2);
    ck_assert(fabs(c.weighting.lambda - 0.2) < 1e-15);
    /* 370 points between false alarms of two variables: beyond 9.65, the limit for 200 [Prabhu and
     * Runger 1997, from memory], and below that of single points, chi-square 11.83 */
    ck_assert(c.weighting.limits > 10.4 && c.weighting.limits < 11.83);
    an_line_close(line);
    c = read_one("count: n, family: t", &line);
    ck_assert(c.family == AN_T && c.weighting.kind == AN_GAPS);
    an_line_close(line);
    c = read_one("count: n, opportunities: 50, family: g, limit_sigmas: 2.5", &line);
    ck_assert(c.family == AN_G && fabs(c.weighting.limits - 2.5) < 1e-15);
    an_line_close(line);
    c = read_one("count: n, opportunities: 50, family: u, limits: probability", &line);
    ck_assert(c.probability);
    an_line_close(line);
    c = read_one("count: n, opportunities: 50, family: u, limits: sigmas", &line);
    ck_assert(!c.probability);
    an_line_close(line);
    c = read_one("column: v, unit: um, subgroup: row, family: residuals", &line);
    ck_assert_int_eq(c.family, AN_RESIDUALS);
    an_line_close(line);
}
END_TEST

static const struct {
    const char *says, *told;
    unsigned column;
} bad[] = {
    {"derived: {how: together, of: [dx, dq]}", "this station has no characteristic 'dq'", 45},
    {"derived: {how: together, of: dx}", "is made of two to six characteristics", 40},
    {"derived: {how: together, of: [dx, dy]}, family: mewma, covariance: within",
     "'covariance: within' is for t2", 78},
    {"derived: {how: together, of: [dx, dx]}", "'dx' together with itself says nothing more", 45},
    {"derived: {how: together, of: [dx, dz]}", "need the same 'split'", 45},
    {"derived: {how: together, of: [dx, dy]}, unit: um", "has no unit; leave it out", 57},
    {"derived: {how: together, of: [dx, dy]}, spec: {upper: 3}", "has no spec; give it to each",
     57},
    {"derived: {how: together, of: [dx, dy]}, family: individuals",
     "judged by t2 or mewma, not by 'individuals'", 59},
    {"derived: {how: mean, of: dx}, family: t2", "'t2' is of several characteristics", 49},
    {"derived: {how: together, of: [dx, dy]}, weighted: ewma", "use 'family: mewma'", 7},
    {"derived: {how: together, of: [dx, dy]}, family: mewma, weighted: cusum",
     "'mewma' is an ewma of several variables", 59},
    {"column: v, unit: um, covariance: all", "'covariance' is for the families t2 and mewma", 44},
    {"column: v, unit: um, limits: probability", "is for p, np, c and u", 40},
    {"column: v, unit: um, family: g", "'g' is a chart for counts", 40},
    {"count: n, family: g", "'g' needs 'opportunities'", 29},
    {"count: n, family: residuals", "'residuals' is a chart for readings", 29},
    {"count: n, family: t, weighted: ewma", "'t' and 'weighted' do not go together", 29},
    {"count: n, opportunities: 5, family: u, weighted: ewma, limits: probability",
     "a chart with memory has limits of its own", 74},
    {"derived: {how: extremes, of: dx}", "gathers the streams that 'dx' is split into", 7},
    {"derived: {how: extremes, of: dx}, split: colour", "gathers the streams that 'dx'", 52},
    {"derived: {how: extremes, of: dx}, split: [], family: individuals",
     "judged by group, not by 'individuals'", 64},
    {"derived: {how: mean, of: dx}, family: group", "'group' is of parallel streams", 49},
    {"column: v, unit: um, family: wear", "'wear' needs 'life_column", 40},
    {"column: v, unit: um, family: short_run", "'short_run' needs 'product_column", 40},
    {"column: v, unit: um, subgroup: row, life_column: n", "is for the family wear", 60},
    {"column: v, unit: um, subgroup: row, products: {a: {target: 1}}",
     "is for the family short_run", 57},
    {"column: v, unit: um, family: wear, life_column: n, ribbon: {column: r}",
     "'ribbon' and 'life_column' do not go together", 70},
    {"column: v, unit: um, family: short_run, product_column: n, products: {a: {sigma: 1}}",
     "product 'a' has no 'target'", 81},
    {"column: v, unit: um, family: short_run, product_column: n, "
     "products: {a: {target: 1, sigma: 0}}",
     "'sigma' of product 'a' is above 0", 103},
    {"count: n, opportunities: 5, limits: chance", "limits", 47},
};

START_TEST(mistakes_have_places)
{
    struct an_text text = {0};
    struct heard heard = {0};
    struct an_line *line = NULL;
    struct an_error err;
    bool found = false;

    an_text_addf(&text, head, bad[_i].says);
    ck_assert_int_eq(read_text(an_text_of(&text), &heard, &line, &err), AN_BAD_CONFIG);
    for (size_t i = 0; i < heard.count; i++) {
        found = found || (strstr(heard.at[i].text, bad[_i].told) && heard.at[i].line == 13 &&
                          heard.at[i].column == bad[_i].column);
    }
    ck_assert_msg(found, "%s: %d mistakes, the first at %d:%d: %s", bad[_i].says, (int)heard.count,
                  (int)heard.at[0].line, (int)heard.at[0].column, heard.at[0].text);
    ck_assert_uint_eq(heard.count, 1);
    an_text_free(&text);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("families of their own kind");
    TCase *tcase = tcase_create("all");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, what_is_meant);
    tcase_add_loop_test(tcase, mistakes_have_places, 0, sizeof bad / sizeof *bad);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
