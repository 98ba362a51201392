/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The eight rules: a made sequence with every test's answer, their edges, and their chances.
 */
#include "andamento/stat/rules.h"
#include "andamento/stat/tests.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROOM = 400 };

static struct an_rule_choice all_rules(void)
{
    struct an_rule_choice choice = an_rules_default();
    for (int rule = 0; rule < AN_RULE_COUNT; rule++) {
        choice.on[rule] = true;
    }
    return choice;
}

static struct an_rule_choice only(enum an_rule rule)
{
    struct an_rule_choice choice = {.run_length = 9, .trend_length = 6};
    choice.on[rule] = true;
    return choice;
}

/* Every point, every rule, exactly as the table says; and hits in their promised order. */
START_TEST(the_sequence)
{
    static const char *const columns[AN_RULE_COUNT] = {"beyond",   "two_of_three", "four_of_five",
                                                       "one_side", "trend",        "alternating",
                                                       "hugging",  "avoiding"};
    struct table table = table_read("rule_sequence.csv");
    double *z = table_column(&table, "z");
    const struct an_rule_choice choice = all_rules();
    struct an_rule_hit hits[ROOM];
    size_t count, next = 0;
    ck_assert_int_eq(an_rules_apply(z, NULL, NULL, table.rows, 3.0, &choice, hits, ROOM, &count),
                     AN_OK);
    for (size_t i = 0; i < table.rows; i++) {
        for (int rule = 0; rule < AN_RULE_COUNT; rule++) {
            const bool wanted = table_number(&table, i, columns[rule]) == 1.0;
            const bool got = next < count && hits[next].last == i && (int)hits[next].rule == rule;
            ck_assert_msg(wanted == got, "%s at point %zu", columns[rule], i + 1);
            next += got ? 1U : 0U;
        }
    }
    ck_assert_uint_eq(next, count);
    table_free(&table);
    free(z);
}
END_TEST

/* One short run a row: which rule alone is on, and where it should speak. */
static const double no = -1.0;
static const struct edge {
    const char *what;
    enum an_rule rule;
    int n;
    double z[20];
    double last, first, side; /* of the only hit; no: none */
} edges[] = {
    {"on the limit is not beyond", AN_RULE_BEYOND_LIMIT, 2, {3.0, -3.0}, no, no, 0},
    {"just above the limit", AN_RULE_BEYOND_LIMIT, 2, {0, 3.0000001}, 1, 1, 1},
    {"just below the limit", AN_RULE_BEYOND_LIMIT, 2, {0, -3.0000001}, 1, 1, -1},
    {"two beyond 2 with one between", AN_RULE_TWO_OF_THREE_BEYOND_2S, 3, {2.1, 0, 2.2}, 2, 0, 1},
    {"two at once are enough", AN_RULE_TWO_OF_THREE_BEYOND_2S, 2, {-2.1, -2.2}, 1, 0, -1},
    {"opposite sides do not add", AN_RULE_TWO_OF_THREE_BEYOND_2S, 3, {2.1, -2.2, 0}, no, no, 0},
    {"the last must be one of them", AN_RULE_TWO_OF_THREE_BEYOND_2S, 4, {0, 2.1, 0, 0}, no, no, 0},
    {"three points apart is too far",
     AN_RULE_TWO_OF_THREE_BEYOND_2S,
     4,
     {2.1, 0, 0, 2.1},
     no,
     no,
     0},
    {"on 2 sigma is not beyond", AN_RULE_TWO_OF_THREE_BEYOND_2S, 2, {2.0, 2.1}, no, no, 0},
    {"a gap parts them", AN_RULE_TWO_OF_THREE_BEYOND_2S, 3, {2.1, (double)NAN, 2.1}, no, no, 0},
    {"four of five", AN_RULE_FOUR_OF_FIVE_BEYOND_1S, 5, {1.1, 1.2, -2, 1.2, 1.1}, 4, 0, 1},
    {"four on end", AN_RULE_FOUR_OF_FIVE_BEYOND_1S, 5, {0, -1.1, -1.1, -1.1, -1.1}, 4, 1, -1},
    {"four of six", AN_RULE_FOUR_OF_FIVE_BEYOND_1S, 6, {1.1, 0, 1.1, 0, 1.1, 1.1}, no, no, 0},
    {"nine above", AN_RULE_RUN_ONE_SIDE, 9, {1, 2, 1, .1, .2, 1, 2, 1, 1}, 8, 0, 1},
    {"eight above", AN_RULE_RUN_ONE_SIDE, 8, {1, 2, 1, .1, .2, 1, 2, 1}, no, no, 0},
    {"the centre breaks", AN_RULE_RUN_ONE_SIDE, 10, {1, 2, 1, 0, .2, 1, 2, 1, 1, 1}, no, no, 0},
    {"a gap breaks", AN_RULE_RUN_ONE_SIDE, 10, {1, 2, (double)NAN, 1, 2, 1, 2, 1, 1, 1}, no, no, 0},
    {"six rising", AN_RULE_STEADY_TREND, 7, {5, -2, -1, 0, 1, 2, 3}, 6, 1, 1},
    {"six falling", AN_RULE_STEADY_TREND, 6, {2, 1, 0, -1, -2, -3}, 5, 0, -1},
    {"a tie breaks", AN_RULE_STEADY_TREND, 7, {0, 1, 2, 2, 3, 4, 5}, no, no, 0},
    {"five rising", AN_RULE_STEADY_TREND, 5, {0, 1, 2, 3, 4}, no, no, 0},
    {"14 by turns", AN_RULE_ALTERNATING, 14, {0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1}, 13, 0, 0},
    {"13 by turns", AN_RULE_ALTERNATING, 13, {0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0}, no, no, 0},
    {"a tie parts turns",
     AN_RULE_ALTERNATING,
     15,
     {0, 1, 0, 1, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1},
     no,
     no,
     0},
    {"15 within, on the line",
     AN_RULE_HUGGING_CENTRE,
     15,
     {1, -1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1},
     14,
     0,
     0},
    {"14 within",
     AN_RULE_HUGGING_CENTRE,
     15,
     {1.1, -1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1},
     no,
     no,
     0},
    {"8 outside, one side",
     AN_RULE_AVOIDING_CENTRE,
     8,
     {1.1, 1.1, 1.1, 1.1, 1.1, 1.1, 1.1, 1.1},
     7,
     0,
     0},
    {"8 outside, one on the line",
     AN_RULE_AVOIDING_CENTRE,
     8,
     {1.1, 1.1, 1.1, -1.0, 1.1, 1.1, 1.1, 1.1},
     no,
     no,
     0},
};

START_TEST(the_edges)
{
    const struct edge *edge = &edges[_i];
    const struct an_rule_choice choice = only(edge->rule);
    struct an_rule_hit hits[ROOM];
    size_t count;
    ck_assert_int_eq(
        an_rules_apply(edge->z, NULL, NULL, (size_t)edge->n, 3.0, &choice, hits, ROOM, &count),
        AN_OK);
    ck_assert_msg(count == (edge->last < 0.0 ? 0U : 1U), "%s: %zu hits", edge->what, count);
    if (count == 1) {
        ck_assert_msg((double)hits[0].last == edge->last && (double)hits[0].first == edge->first &&
                          hits[0].side == edge->side && hits[0].rule == edge->rule,
                      "%s: from %zu to %zu, side %d", edge->what, hits[0].first, hits[0].last,
                      hits[0].side);
    }
}
END_TEST

/* Limits of their own for each point, NAN where there is none; other k. */
START_TEST(limits_of_their_own)
{
    const double z[] = {2.5, 2.5, -4.0, -2.0, 3.5};
    const double hi[] = {2.0, 2.5, 3.0, 3.0, (double)NAN};
    const double lo[] = {-3.0, -3.0, (double)NAN, -1.5, -3.0};
    const struct an_rule_choice choice = only(AN_RULE_BEYOND_LIMIT);
    struct an_rule_hit hits[5];
    size_t count;
    ck_assert_int_eq(an_rules_apply(z, lo, hi, 5, 3.0, &choice, hits, 5, &count), AN_OK);
    ck_assert_uint_eq(count, 2);
    ck_assert(hits[0].last == 0 && hits[0].side == 1);
    ck_assert(hits[1].last == 3 && hits[1].side == -1);
    ck_assert_int_eq(an_rules_apply(z, NULL, NULL, 5, 2.0, &choice, hits, 5, &count), AN_OK);
    ck_assert_uint_eq(count, 4); /* -2 is on its limit */
}
END_TEST

/* Every hit is counted, no more than fit are written. */
START_TEST(room_for_hits)
{
    const double z[] = {4.0, 4.0, 4.0};
    const struct an_rule_choice choice = only(AN_RULE_BEYOND_LIMIT);
    struct an_rule_hit hits[3] = {{.last = 77}, {.last = 77}, {.last = 77}};
    size_t count;
    ck_assert_int_eq(an_rules_apply(z, NULL, NULL, 3, 3.0, &choice, hits, 2, &count), AN_OK);
    ck_assert_uint_eq(count, 3);
    ck_assert(hits[0].last == 0 && hits[1].last == 1 && hits[2].last == 77);
    ck_assert_int_eq(an_rules_apply(z, NULL, NULL, 0, 3.0, &choice, NULL, 0, &count), AN_OK);
    ck_assert_uint_eq(count, 0);
}
END_TEST

START_TEST(lengths_out_of_range)
{
    static const struct {
        int run, trend;
        double k;
        enum an_status st;
    } rows[] = {{6, 6, 3, AN_DOMAIN},  {13, 6, 3, AN_DOMAIN}, {9, 5, 3, AN_DOMAIN},
                {9, 10, 3, AN_DOMAIN}, {9, 6, 0, AN_DOMAIN},  {9, 6, (double)NAN, AN_DOMAIN},
                {7, 6, 3, AN_OK},      {12, 9, 2.5, AN_OK}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct an_rule_choice choice = an_rules_default();
        choice.run_length = rows[i].run;
        choice.trend_length = rows[i].trend;
        size_t count = 9;
        ck_assert_int_eq(an_rules_apply(NULL, NULL, NULL, 0, rows[i].k, &choice, NULL, 0, &count),
                         rows[i].st);
        ck_assert_uint_eq(count, 0);
    }
}
END_TEST

/*
 * Chances that one window signals by luck. Base R 4.2 by combinatorics; printed as .0027, .0039,
 * .0028, .0046, .0031, .0055, .0033, .0001 with Nelson 1984 (from memory). The two zone rules
 * are printed for windows whose last point may be any; here the last must count, so `not_last` is
 * taken off: windows met without it, 2 p^2 (1 - p) and 2 p^4 (1 - p), p = P(Z > 2), P(Z > 1).
 */
static const struct {
    enum an_rule rule;
    int run;
    double computed, printed, within, not_last_power, line;
} chances[] = {
    {AN_RULE_BEYOND_LIMIT, 9, 0.00269979606326, 0.0027, 0.00005, 0, 0},
    {AN_RULE_RUN_ONE_SIDE, 9, 0.00390625, 0.0039, 0.00005, 0, 0},
    {AN_RULE_RUN_ONE_SIDE, 8, 0.0078125, 0.0078, 0.0001, 0, 0},
    {AN_RULE_STEADY_TREND, 9, 0.00277777777778, 0.0028, 0.0001, 0, 0},
    {AN_RULE_ALTERNATING, 9, 0.00457363819033, 0.0046, 0.0001, 0, 0},
    {AN_RULE_TWO_OF_THREE_BEYOND_2S, 9, 0.00305831201496, 0.0031, 0.0001, 2, 2},
    {AN_RULE_FOUR_OF_FIVE_BEYOND_1S, 9, 0.00553184220005, 0.0055, 0.0001, 4, 1},
    {AN_RULE_HUGGING_CENTRE, 9, 0.00326098104596, 0.0033, 0.0001, 0, 0},
    {AN_RULE_AVOIDING_CENTRE, 9, 0.000102772195266, 0.0001, 0.00005, 0, 0},
};

START_TEST(chances_by_luck)
{
    struct an_rule_choice choice = an_rules_default();
    choice.run_length = chances[_i].run;
    double chance = an_rule_chance(chances[_i].rule, 3.0, &choice);
    if (chances[_i].not_last_power > 0.0) {
        const double p = erfc(chances[_i].line / sqrt(2.0)) / 2.0;
        chance += 2.0 * pow(p, chances[_i].not_last_power) * (1.0 - p);
    }
    check_close(chance, chances[_i].computed, 1e-9, "%s", an_rule_name(chances[_i].rule));
    ck_assert_double_le(fabs(chance - chances[_i].printed), chances[_i].within);
}
END_TEST

/*
 * The rules at work on normal numbers of our own meet their chances: 200,000 points, each count
 * within 5 standard deviations of n p, the deviation taken as for clumps of mean size c:
 * sqrt(n p (2 c - 1)), c bounded by 4. A false failure is below 1 in 10^5; the draws are fixed.
 */
START_TEST(chances_at_work)
{
    enum { POINTS = 200000 };
    double *z = calloc(POINTS, sizeof *z);
    ck_assert_ptr_nonnull(z);
    struct draws draws = {77};
    for (size_t i = 0; i < POINTS; i++) {
        z[i] = an_normal_quantile(draw_uniform(&draws));
    }
    for (int rule = 0; rule < AN_RULE_COUNT; rule++) {
        const struct an_rule_choice choice = only((enum an_rule)rule);
        size_t count;
        ck_assert_int_eq(an_rules_apply(z, NULL, NULL, POINTS, 3.0, &choice, NULL, 0, &count),
                         AN_OK);
        const double mean = POINTS * an_rule_chance((enum an_rule)rule, 3.0, &choice);
        ck_assert_msg(fabs((double)count - mean) <= 5.0 * sqrt(7.0 * mean),
                      "%s: %zu hits, %g expected", an_rule_name((enum an_rule)rule), count, mean);
    }
    free(z);
}
END_TEST

/* Codes and words, as the header promises them. */
static const struct {
    enum an_rule rule;
    int side;
    const char *name, *code, *words;
} texts[] = {
    {AN_RULE_BEYOND_LIMIT, 1, "beyond_limit", "B+", "above the upper control limit"},
    {AN_RULE_BEYOND_LIMIT, -1, "beyond_limit", "B-", "below the lower control limit"},
    {AN_RULE_BEYOND_LIMIT, 0, "beyond_limit", "B", "beyond the control limit"},
    {AN_RULE_TWO_OF_THREE_BEYOND_2S, 1, "two_of_three_beyond_2s", "O2/3@2+",
     "2 of 3 points beyond 2 sigma above the centre"},
    {AN_RULE_FOUR_OF_FIVE_BEYOND_1S, -1, "four_of_five_beyond_1s", "O4/5@1-",
     "4 of 5 points beyond 1 sigma below the centre"},
    {AN_RULE_RUN_ONE_SIDE, -1, "run_one_side", "R9-", "9 points in a row below the centre"},
    {AN_RULE_RUN_ONE_SIDE, 0, "run_one_side", "R9", "9 points in a row on one side of the centre"},
    {AN_RULE_STEADY_TREND, 1, "steady_trend", "D6+",
     "6 points in a row, each above the one before"},
    {AN_RULE_ALTERNATING, 0, "alternating", "W14", "14 points in a row going up and down by turns"},
    {AN_RULE_HUGGING_CENTRE, 0, "hugging_centre", "H15@1",
     "15 points in a row within 1 sigma of the centre"},
    {AN_RULE_AVOIDING_CENTRE, 0, "avoiding_centre", "V8@1",
     "8 points in a row, none within 1 sigma of the centre"},
};

START_TEST(codes_and_words)
{
    const struct an_rule_choice choice = an_rules_default();
    char code[16], words[96];
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        ck_assert_str_eq(an_rule_name(texts[i].rule), texts[i].name);
        ck_assert_str_eq(an_rule_code(texts[i].rule, texts[i].side, &choice, code), texts[i].code);
        ck_assert_str_eq(an_rule_words(texts[i].rule, texts[i].side, &choice, words),
                         texts[i].words);
    }
    struct an_rule_choice longest = choice;
    longest.run_length = 12;
    ck_assert_str_eq(an_rule_code(AN_RULE_RUN_ONE_SIDE, 1, &longest, code), "R12+");
    ck_assert_str_eq(an_rule_words(AN_RULE_RUN_ONE_SIDE, 1, &longest, words),
                     "12 points in a row above the centre");
    ck_assert_str_eq(an_rule_code(AN_RULE_TOLD, 1, &choice, code), "");
    ck_assert_str_eq(an_rule_words(AN_RULE_TOLD, 1, &choice, words), "");
    ck_assert_str_eq(an_rule_name(AN_RULE_TOLD), "unknown");
    ck_assert_str_eq(an_rule_code(AN_RULE_OFF_SCALE, -1, &choice, code), "X-");
    ck_assert_str_eq(an_rule_words(AN_RULE_SCATTER, 1, &choice, words),
                     "counts scatter more than before");
    ck_assert(isnan(an_rule_chance(AN_RULE_COUNT, 3.0, &choice)));
    ck_assert(choice.on[AN_RULE_BEYOND_LIMIT] && choice.on[AN_RULE_RUN_ONE_SIDE]);
    ck_assert(!choice.on[AN_RULE_STEADY_TREND] && !choice.on[AN_RULE_HUGGING_CENTRE]);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.rules");
    TCase *tcase = tcase_create("rules");
    tcase_add_test(tcase, the_sequence);
    tcase_add_loop_test(tcase, the_edges, 0, (int)(sizeof edges / sizeof edges[0]));
    tcase_add_test(tcase, limits_of_their_own);
    tcase_add_test(tcase, room_for_hits);
    tcase_add_test(tcase, lengths_out_of_range);
    tcase_add_loop_test(tcase, chances_by_luck, 0, (int)(sizeof chances / sizeof chances[0]));
    tcase_add_test(tcase, chances_at_work);
    tcase_add_test(tcase, codes_and_words);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
