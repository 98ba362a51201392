/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * `scale` in the line description: what it may say and its mistakes at their places.
 */
#include "andamento/base/text.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <string.h>

/* The value of `scale` begins at line 9, column 16. */
static const char head[] = "line: x\n"
                           "zone: Europe/Rome\n"
                           "kinds: {tile: {title: tile, product: yes}}\n"
                           "shifts: {early: {from: \"06:00\", to: \"06:00\"}}\n"
                           "stations:\n"
                           "  s: {time: {column: at}, item: {kind: tile, column: t},\n"
                           "      characteristics: {\n"
                           "        c: {%s,\n"
                           "        scale: %s}}}\n";

static const char *describe(struct an_text *text, const char *sort, const char *scale)
{
    an_text_addf(text, head, sort, scale);
    return an_text_of(text);
}

static const struct {
    const char *says;
    struct an_scale_choice means;
} good[] = {
    {"no", {.scale = AN_SCALE_NONE, .shape = AN_SHAPE_COUNT}},
    {"ln", {.scale = AN_SCALE_BOX_COX, .shape = AN_SHAPE_COUNT}},
    {"box_cox", {.scale = AN_SCALE_BOX_COX, .automatic = true, .shape = AN_SHAPE_COUNT}},
    {"johnson", {.scale = AN_SCALE_JOHNSON, .automatic = true, .shape = AN_SHAPE_COUNT}},
    {"{box_cox: auto}", {.scale = AN_SCALE_BOX_COX, .automatic = true, .shape = AN_SHAPE_COUNT}},
    {"{box_cox: 0.5}", {.scale = AN_SCALE_BOX_COX, .lambda = 0.5, .shape = AN_SHAPE_COUNT}},
    {"{box_cox: -1, shift: 2.5}",
     {.scale = AN_SCALE_BOX_COX, .lambda = -1, .shift = 2.5, .shape = AN_SHAPE_COUNT}},
    {"{box_cox: auto, shift: -3}",
     {.scale = AN_SCALE_BOX_COX, .automatic = true, .shift = -3, .shape = AN_SHAPE_COUNT}},
    {"{johnson: auto}", {.scale = AN_SCALE_JOHNSON, .automatic = true, .shape = AN_SHAPE_COUNT}},
    {"{johnson: johnson_sb}", {.scale = AN_SCALE_JOHNSON, .shape = AN_SHAPE_JOHNSON_SB}},
};

START_TEST(good_ones)
{
    struct an_text text = {0};
    struct an_line *line = read_good(describe(&text, "column: v, unit: um", good[_i].says));
    const struct an_scale_choice *got = &line->characteristics[0].scale;
    const struct an_scale_choice *want = &good[_i].means;
    ck_assert_int_eq((int)got->scale, (int)want->scale);
    ck_assert_int_eq(got->automatic, want->automatic);
    ck_assert_int_eq((int)got->shape, (int)want->shape);
    ck_assert(got->lambda == want->lambda && got->shift == want->shift);
    an_line_close(line);
    an_text_free(&text);
}
END_TEST

START_TEST(none_without_the_key)
{
    struct an_text text = {0};
    an_text_addf(&text, head, "column: v, unit: um", "");
    struct an_line *line = read_good(an_text_of(&text)); /* a key without a value says nothing */
    ck_assert_int_eq((int)line->characteristics[0].scale.scale, AN_SCALE_NONE);
    an_line_close(line);
    an_text_free(&text);
}
END_TEST

static const struct {
    const char *sort, *says;
    unsigned column; /* all on line 9 */
    const char *piece;
} bad[] = {
    {"column: v, unit: um", "boxcox", 16, "did you mean 'box_cox'"},
    {"column: v, unit: um", "log10", 16, "'ln'"},
    {"column: v, unit: um", "{box_cox: 7}", 26, "a power from -5 to 5"},
    {"column: v, unit: um", "{box_cox: 1}", 26, "power 1 leaves values as they are"},
    {"column: v, unit: um", "{box_cox: x}", 26, "number"},
    {"column: v, unit: um", "{box_cox: nan}", 26, "number"},
    {"column: v, unit: um", "{box_cox: auto, shift: far}", 39, "number"},
    {"column: v, unit: um", "{box_cox: auto, offset: 1}", 32, "offset"},
    {"column: v, unit: um", "{box_cox: auto, johnson: auto}", 16, "wants one of"},
    {"column: v, unit: um", "{shift: 1}", 16, "wants one of"},
    {"column: v, unit: um", "{johnson: weibull}", 26, "johnson_su"},
    {"column: v, unit: um", "{johnson: auto, shift: 1}", 32, "shift"},
    {"column: v, unit: um", "[ln]", 16, "scale"},
    {"count: k, opportunities: n", "ln", 16, "'c' is counted"},
    {"count: k, family: g, opportunities: n", "box_cox", 16, "'c' is counted"},
    {"column: v, unit: um, family: residuals", "ln", 16, "'residuals' has a law of its own"},
    {"column: v, unit: um, subgroup: row, family: short_run, product_column: p", "johnson", 16,
     "'short_run' has a law of its own"},
};

START_TEST(bad_ones)
{
    struct an_text text = {0};
    struct heard heard = {0};
    struct an_line *line = NULL;
    const char *yaml = describe(&text, bad[_i].sort, bad[_i].says);
    ck_assert_int_eq((int)read_text(yaml, &heard, &line, NULL), AN_BAD_CONFIG);
    ck_assert_ptr_null(line);
    ck_assert_uint_ge(heard.count, 1);
    ck_assert_msg(heard.at[0].line == 9 && heard.at[0].column == bad[_i].column &&
                      strstr(heard.at[0].text, bad[_i].piece),
                  "%s: %u:%u %s", bad[_i].says, (unsigned)heard.at[0].line,
                  (unsigned)heard.at[0].column, heard.at[0].text);
    an_text_free(&text);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("scales in the line description");
    TCase *tcase = tcase_create("scale");
    tcase_add_loop_test(tcase, good_ones, 0, (int)(sizeof good / sizeof *good));
    tcase_add_test(tcase, none_without_the_key);
    tcase_add_loop_test(tcase, bad_ones, 0, (int)(sizeof bad / sizeof *bad));
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
