/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Files of gauge studies: the forms they come in, the numbers that must come out of a published
 * study however it is written, and every file that is not a study, refused by line and column.
 */
#include "judge/gauge.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct an_gauge_record a_record(enum an_gauge_kind kind, const char *data)
{
    const bool people = kind == AN_GAUGE_CROSSED || kind == AN_GAUGE_SORTING;
    return (struct an_gauge_record){
        .gauge = "G1",
        .kind = kind,
        .part = people ? "part" : NULL,
        .person = people                       ? "who"
                  : kind == AN_GAUGE_STABILITY ? "at"
                                               : NULL,
        .reading = "x",
        .reference = kind == AN_GAUGE_LINEARITY ? "ref" : NULL,
        .reference_value = kind == AN_GAUGE_BIAS || kind == AN_GAUGE_STABILITY ? 2.0 : (double)NAN,
        .tolerance = (double)NAN,
        .pool_above = 0.25,
        .file = "s.csv",
        .data = an_bytes_of(data)};
}

/* Twelve days in March, four values over and over. */
#define DAYS(a, b, c, d)                                                                           \
    "at,x\n2026-03-01," a "\n2026-03-02," b "\n2026-03-03," c "\n2026-03-04," d "\n2026-03-05," a  \
    "\n2026-03-06," b "\n2026-03-07," c "\n2026-03-08," d "\n2026-03-09," a "\n2026-03-10," b      \
    "\n2026-03-11," c "\n2026-03-12," d "\n"

/* ---- refusals ---------------------------------------------------------------------------------------- */
static const struct {
    enum an_gauge_kind kind;
    const char *data, *says;
} refused[] = {
    {AN_GAUGE_CROSSED, "", "s.csv is empty; a study's file has a line of column names"},
    {AN_GAUGE_CROSSED, "\n\n", "s.csv:1: no column 'part' (part)"},
    {AN_GAUGE_CROSSED, "part,who\na,b\n",
     "s.csv:1: no column 'x' (reading); the file has: part, who"},
    {AN_GAUGE_CROSSED, "part,x\na,1\n", "s.csv:1: no column 'who' (operator)"},
    {AN_GAUGE_CROSSED, "part,who,x\n", "s.csv: no readings"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,1\na,A,two\n",
     "s.csv:3:3: 'two' in column 'x' is not a number"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,\n", "s.csv:2:3: '' in column 'x' is not a number"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,nan\n", "s.csv:2:3: 'nan'"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,1,5\na,A\n", "s.csv:3: 2 fields where column 3 is wanted"},
    {AN_GAUGE_CROSSED, "part,who,x\n,A,1\n", "s.csv:2:1: column 'part' is empty"},
    {AN_GAUGE_CROSSED, "part,who,x\n\"a,A,1\n", "s.csv:2:1: the quote that begins"},
    {AN_GAUGE_CROSSED, "part,who,x\n\"a\"b,A,1\n", "s.csv:2:1: text behind the closing quote"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,1\na,A,2\nb,A,3\nb,A,4\n", "2 parts, 1 operator;"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,1\na,A,2\na,B,3\na,B,4\n", "1 part, 2 operators;"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,1\na,A,2\nb,B,3\nb,B,4\n",
     "part 'a' has no reading by operator 'B'"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,1\na,A,2\na,B,1\na,B,2\nb,A,1\nb,A,2\nb,B,3\n",
     "part 'b' has 1 readings by operator 'B' where part 'a' has 2"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,1\na,B,2\nb,A,1\nb,B,2\n", "once by each operator"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,1\na,A,1\na,B,1\na,B,1\nb,A,2\nb,A,2\nb,B,2\nb,B,2\n",
     "repeats are equal everywhere"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,1\na,A,2\na,B,1\na,B,2\nb,A,1\nb,A,2\nb,B,1\nb,B,2\n",
     "all parts have the same mean"},
    /* no spread anywhere; one part only; a hole of a whole column of cells */
    {AN_GAUGE_CROSSED, "part,who,x\na,A,5\na,A,5\na,B,5\na,B,5\nb,A,5\nb,A,5\nb,B,5\nb,B,5\n",
     "s.csv: repeats are equal everywhere: the gauge is stuck"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,5\na,A,6\nb,A,5\nb,A,7\nc,A,5\nc,A,6\nc,B,5\nc,B,6\n",
     "s.csv: part 'a' has no reading by operator 'B'; a crossed study wants every part by every "
     "operator: add them, or leave the part out"},
    {AN_GAUGE_CROSSED, "part,who,x\na,A,1e300\n",
     "s.csv:2:3: '1e300' in column 'x' is not a number"},
    {AN_GAUGE_BIAS, "x\n2\n2\n", "all 2 readings are equal"},
    {AN_GAUGE_BIAS, "x\n2\n", "1 readings; bias wants 2"},
    {AN_GAUGE_LINEARITY, "x,ref\n2,1\n3,1\n4,1\n", "all references are equal"},
    {AN_GAUGE_LINEARITY, "x,ref\n2,1\n3,2\n", "linearity wants 3"},
    {AN_GAUGE_LINEARITY, "x,ref\n2,one\n", "s.csv:2:2: 'one' in column 'ref'"},
    {AN_GAUGE_SORTING, "part,who,x\na,A,ok\na,B,ok\nb,A,ok\nb,B,ok\n", "says 'ok' everywhere"},
    {AN_GAUGE_SORTING, "part,who,x\na,A,ok\na,B,\n", "s.csv:3:3: column 'x' is empty"},
    {AN_GAUGE_SORTING, "part,who,x\na,A,ok\na,B,no\nb,A,ok\n",
     "part 'b' has no reading by operator 'B'; a sorting study wants"},
    {AN_GAUGE_SORTING, "part,who,x\na,A,ok\nb,A,no\n", "2 parts, 1 operator; a sorting study"},
    {AN_GAUGE_STABILITY, "x\n2\n", "s.csv:1: no column 'at' (time); the file has: x"},
    {AN_GAUGE_STABILITY, "at,x\n04/03/2026,2\n",
     "s.csv:2:1: '04/03/2026' in column 'at' is not a time such as 2026-03-04"},
    {AN_GAUGE_STABILITY, "at,x\n,2\n", "s.csv:2:1: '' in column 'at' is not a time"},
    {AN_GAUGE_STABILITY, "at,x\n2026-02-30,2\n", "s.csv:2:1: '2026-02-30'"},
    {AN_GAUGE_STABILITY, "at,x\n2026-03-04,high\n", "s.csv:2:2: 'high' in column 'x'"},
    {AN_GAUGE_STABILITY, "at,x\n2026-03-04,2\n\n2026-03-03T12:00,2\n",
     "s.csv:4: 2026-03-03 12:00 lies before 2026-03-04 in line 2; put the lines in order of time"},
    {AN_GAUGE_STABILITY, "at,x\n2026-03-04,2\n2026-03-05,3\n",
     "s.csv: 2 occasions; a stability study wants 10 or more"},
    {AN_GAUGE_STABILITY, "at,x\n2026-03-04,2\n2026-03-04,3\n2026-03-04,4\n", "s.csv: 1 occasion; "},
    {AN_GAUGE_STABILITY, DAYS("2", "2", "2", "2"), "all readings are equal: the gauge is stuck"},
    {AN_GAUGE_STABILITY,
     "at,x\n2026-03-01,1\n2026-03-01,2\n2026-03-02,1\n2026-03-02,2\n"
     "2026-03-03,1\n2026-03-03,2\n2026-03-04,1\n2026-03-04,2\n2026-03-05,1\n"
     "2026-03-06,2\n2026-03-07,1\n2026-03-08,1\n2026-03-09,1\n2026-03-10,1\n",
     "s.csv:10: 1 reading at 2026-03-05 where the first occasion has 2; give every occasion"},
};

START_TEST(not_a_study)
{
    struct an_error err = {0};
    struct an_gauge_result result;
    struct an_arena *arena = an_arena_open();
    const struct an_gauge_record record = a_record(refused[_i].kind, refused[_i].data);
    ck_assert_int_eq(an_gauge_evaluate(&record, arena, &result, &err), AN_BAD_INPUT);
    ck_assert_msg(strstr(err.text, refused[_i].says) != NULL, "'%s' does not say '%s'", err.text,
                  refused[_i].says);
    ck_assert_ptr_null(strchr(err.text, '\n'));
    an_arena_close(arena);
}
END_TEST

START_TEST(two_references)
{
    struct an_error err = {0};
    struct an_gauge_result result;
    struct an_arena *arena = an_arena_open();
    struct an_gauge_record record =
        a_record(AN_GAUGE_SORTING, "part,who,x,ref\na,A,ok,ok\na,B,no,no\nb,A,ok,ok\nb,B,ok,ok\n");
    record.reference = "ref";
    ck_assert_int_eq(an_gauge_evaluate(&record, arena, &result, &err), AN_BAD_INPUT);
    ck_assert_msg(strstr(err.text, "s.csv:3: part 'a' has the reference 'no' here and 'ok' before"),
                  "%s", err.text);
    an_arena_close(arena);
}
END_TEST

/* One item, in one unit: a second one would look like a change of the gauge. */
START_TEST(mixed_items)
{
    struct an_error err = {0};
    struct an_gauge_result result;
    struct an_arena *arena = an_arena_open();
    struct an_gauge_record record =
        a_record(AN_GAUGE_STABILITY, "at,x,item,ref\n2026-03-04,2,R1,2\n2026-03-05,2.1,R2,2.5\n");
    record.part = "item";
    ck_assert_int_eq(an_gauge_evaluate(&record, arena, &result, &err), AN_BAD_INPUT);
    ck_assert_msg(strstr(err.text, "s.csv:3: item 'R2' here, 'R1' in line 2; a stability study "
                                   "follows one reference item"),
                  "%s", err.text);
    record.part = NULL;
    record.reference = "ref";
    record.reference_value = (double)NAN;
    ck_assert_int_eq(an_gauge_evaluate(&record, arena, &result, &err), AN_BAD_INPUT);
    ck_assert_msg(strstr(err.text, "s.csv:3: reference 2.5 here, 2 in line 2"), "%s", err.text);
    an_arena_close(arena);
}
END_TEST

/* Repeats that are equal on every occasion leave no limits, though occasions differ. */
START_TEST(repeats_without_spread)
{
    struct an_error err = {0};
    struct an_gauge_result result;
    struct an_arena *arena = an_arena_open();
    char data[2000];
    size_t length = (size_t)snprintf(data, sizeof data, "at,x\n");
    for (int i = 0; i < 24; i++) {
        length += (size_t)snprintf(data + length, sizeof data - length, "2026-03-%02d,%d\n",
                                   1 + i / 2, 10 + i / 2 % 3);
    }
    const struct an_gauge_record record = a_record(AN_GAUGE_STABILITY, data);
    ck_assert_int_eq(an_gauge_evaluate(&record, arena, &result, &err), AN_BAD_INPUT);
    ck_assert_msg(strstr(err.text, "the readings of each occasion are equal"), "%s", err.text);
    an_arena_close(arena);
}
END_TEST

/* ---- forms ----------------------------------------------------------------------------------------------- */
/* Two parts, two operators, two repeats by hand: parts' means 2 and 6, SS 32; operators' 3.5 and
 * 4.5, SS 2; interaction 0; repeats 4 * 2 * 0.25 = 2 (cells 1,2  2,3  5,6  6,7). */
static const char *const forms[] = {
    "part,who,x\na,A,1\na,A,2\na,B,2\na,B,3\nb,A,5\nb,A,6\nb,B,6\nb,B,7\n",
    "\xef\xbb\xbfpart;who;x\r\na;A;1,0\r\na;A;2,0\r\na;B;2,0\r\na;B;3,0\r\nb;A;5,0\r\nb;A;6,0\r\n"
    "b;B;6,0\r\nb;B;7,0\r\n",
    "x\tday\twho\tpart\n1\tmon\tA\ta\n2\tmon\tA\ta\n2\tmon\tB\ta\n3\tmon\tB\ta\n5\tmon\tA\tb\n"
    "6\tmon\tA\tb\n6\tmon\tB\tb\n7\tmon\tB\tb",
    "\"part\",\"who\",\"x\"\n\n\"b\",\"B\",\"7\"\n\"b\",\"B\",6\nb,A,6\nb,A,5\na,B,3\na,B,2\na,A,2\n"
    "a,A,1\n",
};

START_TEST(written_otherwise)
{
    struct an_error err = {0};
    struct an_gauge_result r;
    struct an_arena *arena = an_arena_open();
    const struct an_gauge_record record = a_record(AN_GAUGE_CROSSED, forms[_i]);
    ck_assert_msg(an_gauge_evaluate(&record, arena, &r, &err) == AN_OK, "%s", err.text);
    ck_assert_uint_eq(r.n, 8);
    ck_assert_uint_eq(r.repeats, 2);
    ck_assert_msg(fabs(r.study.part.ss - 32.0) < 1e-12 && fabs(r.study.person.ss - 2.0) < 1e-12 &&
                      fabs(r.study.repeat.ss - 2.0) < 1e-12 && r.study.interaction.ss < 1e-12,
                  "%g %g %g", r.study.part.ss, r.study.person.ss, r.study.repeat.ss);
    an_arena_close(arena);
}
END_TEST

START_TEST(quotes_in_names)
{
    struct an_error err = {0};
    struct an_gauge_result r;
    struct an_arena *arena = an_arena_open();
    const struct an_gauge_record record =
        a_record(AN_GAUGE_SORTING,
                 "part,who,x\n\"a, \"\"1\"\"\",A,ok\n\"a, \"\"1\"\"\",B,ok\nb,A,no\nb,B,no\n");
    ck_assert_msg(an_gauge_evaluate(&record, arena, &r, &err) == AN_OK, "%s", err.text);
    ck_assert_str_eq(r.parts[0], "a, \"1\"");
    ck_assert(r.has_fleiss && r.fleiss.kappa == 1.0 && r.grade == AN_GRADE_FIT);
    ck_assert(r.between.agreed == 2 && r.between.of == 2);
    an_arena_close(arena);
}
END_TEST

/* ---- stability ----------------------------------------------------------------------------------------- */
static void close_to(double got, double wanted, double relative, const char *what)
{
    ck_assert_msg(fabs(got - wanted) <= relative * fabs(wanted), "%s: got %.12g, wanted %.12g",
                  what, got, wanted);
}

/* Made values; every number by base R: lm, confint, predict, t.test, mean of ranges over d2. */
static const struct {
    int day;
    double value;
} singles[] = {{0, 49.85},  {1, 50.06},  {3, 50.16},  {4, 49.99},  {6, 49.91},  {8, 50.09},
               {9, 50.17},  {11, 50.26}, {14, 50.02}, {15, 50.02}, {17, 50.29}, {18, 50.27},
               {21, 50.44}, {22, 50.38}, {24, 50.28}, {25, 50.27}, {28, 50.64}, {30, 50.33},
               {31, 50.28}, {34, 50.27}, {35, 50.43}, {38, 50.47}};

START_TEST(single_readings_that_drift)
{
    struct an_error err = {0};
    struct an_gauge_result r;
    struct an_arena *arena = an_arena_open();
    char data[2000];
    size_t length = (size_t)snprintf(data, sizeof data, "x;when;item\n");
    for (size_t i = 0; i < sizeof singles / sizeof *singles; i++) {
        const int day = 1 + singles[i].day;
        length += (size_t)snprintf(data + length, sizeof data - length, "%.2f;2026-%02d-%02d;R1\n",
                                   singles[i].value, day > 31 ? 6 : 5, day > 31 ? day - 31 : day);
    }
    struct an_gauge_record record = a_record(AN_GAUGE_STABILITY, data);
    record.person = "when";
    record.part = "item";
    record.reference_value = 50.0;
    ck_assert_msg(an_gauge_evaluate(&record, arena, &r, &err) == AN_OK, "%s", err.text);
    const struct an_gauge_stability *s = &r.stability;
    const struct an_panel_point usual = an_chart_usual(&s->model);
    ck_assert_uint_eq(s->count, 22);
    ck_assert_int_eq(s->model.family, AN_INDIVIDUALS);
    ck_assert_uint_eq(s->parts.levels, 0);
    close_to(s->model.centre, 50.2218181818, 1e-11, "centre");
    close_to(usual.lcl, 49.8774557194, 1e-11, "lcl");
    close_to(usual.ucl, 50.5661806443, 1e-11, "ucl");
    close_to(s->model.spread_centre, 0.129523809524, 1e-10, "moving range");
    close_to(s->bias.bias, 0.221818181818, 1e-9, "bias");
    close_to(s->bias.lower, 0.13502490757, 1e-9, "bias, lower");
    close_to(s->bias.upper, 0.308611456066, 1e-9, "bias, upper");
    close_to(s->bias.p, 2.86060262435e-05, 1e-8, "p of bias");
    close_to(s->drift.slope, 0.0129931077694, 1e-9, "drift");
    close_to(s->drift.p_slope, 1.84605889737e-05, 1e-8, "p of drift");
    close_to(s->change_lower, 0.309115415319, 1e-9, "change, lower");
    close_to(s->change_upper, 0.678360775158, 1e-9, "change, upper");
    close_to(s->start.lower, -0.114242200877, 1e-8, "bias at the start, lower");
    close_to(s->start.upper, 0.0924890680447, 1e-8, "bias at the start, upper");
    close_to(s->end.lower, 0.370427021053, 1e-9, "bias at the end, lower");
    close_to(s->end.upper, 0.595296036591, 1e-9, "bias at the end, upper");
    ck_assert(s->drifts && s->days == 38.0);
    /* 49.85 lies below the lower limit, 50.64 above the upper one */
    ck_assert(!s->stable && s->hit_count[0] >= 2);
    ck_assert_uint_eq(s->hits[0][0].last, 0);
    ck_assert_int_eq(r.grade, AN_GRADE_LOOK);
    ck_assert_ptr_nonnull(strstr(r.verdict, "drifts +0.494 over the study"));
    ck_assert_ptr_nonnull(
        strstr(r.cautions[0], "below the lower control limit (value) at 2026-05-01"));
    /* held against a tolerance of which the change is more than a tenth: our own rule */
    record.tolerance = 4.0;
    ck_assert_int_eq(an_gauge_evaluate(&record, arena, &r, &err), AN_OK);
    ck_assert_int_eq(r.grade, AN_GRADE_UNFIT);
    record.tolerance = 40.0;
    ck_assert_int_eq(an_gauge_evaluate(&record, arena, &r, &err), AN_OK);
    ck_assert_int_eq(r.grade, AN_GRADE_LOOK);
    an_arena_close(arena);
}
END_TEST

static const double fours[12][4] = {
    {19.97, 20.15, 20.1, 20.05},  {19.89, 19.93, 20.0, 20.16},  {19.78, 20.12, 20.07, 19.8},
    {19.87, 19.99, 20.03, 19.93}, {20.03, 20.19, 19.85, 20.13}, {20.01, 20.13, 20.06, 19.89},
    {19.87, 20.33, 20.26, 20.18}, {20.16, 20.02, 20.36, 20.21}, {19.82, 20.48, 20.16, 19.83},
    {20.07, 20.2, 20.27, 20.12},  {20.0, 19.73, 20.12, 19.88},  {20.13, 19.52, 20.5, 19.87}};

START_TEST(fours_of_which_one_is_wide)
{
    struct an_error err = {0};
    struct an_gauge_result r;
    struct an_arena *arena = an_arena_open();
    char data[4000];
    size_t length = (size_t)snprintf(data, sizeof data, "at,x,ref\n");
    static const char *const at[12] = {
        /* a week apart, by a clock that is put forward on the way */
        "03-04T08:30:00+01:00", "03-11T08:30:00+01:00", "03-18T08:30:00+01:00",
        "03-25T08:30:00+01:00", "04-01T09:30:00+02:00", "04-08T09:30:00+02:00",
        "04-15T09:30:00+02:00", "04-22T09:30:00+02:00", "04-29T09:30:00+02:00",
        "05-06T09:30:00+02:00", "05-13T09:30:00+02:00", "05-20T09:30:00+02:00"};
    for (int i = 0; i < 48; i++) {
        length += (size_t)snprintf(data + length, sizeof data - length, "2026-%s,%.2f,20\n",
                                   at[i / 4], fours[i / 4][i % 4]);
    }
    struct an_gauge_record record = a_record(AN_GAUGE_STABILITY, data);
    record.reference = "ref";
    record.reference_value = (double)NAN;
    ck_assert_msg(an_gauge_evaluate(&record, arena, &r, &err) == AN_OK, "%s", err.text);
    const struct an_gauge_stability *s = &r.stability;
    const struct an_panel_point usual = an_chart_usual(&s->model);
    ck_assert_uint_eq(s->count, 12);
    ck_assert_int_eq(s->model.family, AN_XBAR_R);
    ck_assert(s->days == 77.0 && s->reference == 20.0);
    close_to(s->model.centre, 20.04625, 1e-12, "centre");
    close_to(usual.lcl, 19.7693830694, 1e-10, "lcl");
    close_to(usual.ucl, 20.3231169306, 1e-10, "ucl");
    close_to(s->model.spread_centre, 0.38, 1e-10, "mean range");
    close_to(s->parts.at[0].raw, -0.00175293560606, 1e-8, "between occasions");
    close_to(s->parts.at[1].raw, 0.0379458333333, 1e-10, "repeats");
    close_to(s->parts.at[0].p, 0.625350118591, 1e-9, "p between occasions");
    close_to(s->drift.slope, 0.000721778221778, 1e-8, "drift");
    close_to(s->drift.p_slope, 0.518280474214, 1e-8, "p of drift");
    close_to(s->bias.lower, -0.00962469615183, 1e-8, "bias, lower");
    close_to(s->bias.upper, 0.102124696152, 1e-9, "bias, upper");
    /* ranges of four reach to 2.282 times their mean (any table of D4): 0.98 lies beyond 0.867 */
    ck_assert(!s->stable && !s->drifts && r.grade == AN_GRADE_LOOK);
    ck_assert(s->hit_count[0] == 0 && s->hit_count[1] == 1 && s->hits[1][0].last == 11);
    ck_assert_ptr_nonnull(
        strstr(r.verdict, "not stable: signals at 1 of 12 occasions in 77 days; no drift shown"));
    ck_assert_ptr_nonnull(
        strstr(r.cautions[0], "above the upper control limit (range) at 2026-05-20 07:30"));
    ck_assert_ptr_nonnull(strstr(r.cautions[2], "12 occasions are few"));
    an_arena_close(arena);
}
END_TEST

/* The stability chart of the AIAG handbook (Measurement Systems Analysis, 3rd ed., from memory): 20
 * occasions of 5 readings of an item of 6.01, mean 6.021, mean range .4779; printed limits 6.297 and
 * 5.746 of means, 1.010 of ranges. The readings are made so as to have this mean and mean range. */
START_TEST(a_published_chart)
{
    struct an_error err = {0};
    struct an_gauge_result r;
    struct an_arena *arena = an_arena_open();
    char data[8000];
    size_t length = (size_t)snprintf(data, sizeof data, "at,x\n");
    for (int i = 0; i < 20; i++) {
        const double mean = 6.021 + 0.05 * (i % 2 ? 1.0 : -1.0);
        const double range = 0.4779 + 0.1 * (i / 2 % 2 ? 1.0 : -1.0);
        for (int k = 0; k < 5; k++) {
            length += (size_t)snprintf(data + length, sizeof data - length, "2026-03-%02d,%.6f\n",
                                       1 + i, mean + range * (0.25 * k - 0.5));
        }
    }
    struct an_gauge_record record = a_record(AN_GAUGE_STABILITY, data);
    record.reference_value = 6.01;
    ck_assert_msg(an_gauge_evaluate(&record, arena, &r, &err) == AN_OK, "%s", err.text);
    const struct an_panel_point usual = an_chart_usual(&r.stability.model);
    ck_assert_double_eq_tol(r.stability.model.centre, 6.021, 5e-7);
    ck_assert_double_eq_tol(usual.ucl, 6.297, 6e-4);
    ck_assert_double_eq_tol(usual.lcl, 5.746, 1.1e-3); /* printed as if by a rounded factor */
    ck_assert_double_eq_tol(r.stability.at[0].point.spread.ucl, 1.010, 1e-3);
    ck_assert(isnan(r.stability.at[0].point.spread.lcl));
    ck_assert(r.stability.stable && r.grade == AN_GRADE_FIT);
    an_arena_close(arena);
}
END_TEST

/* ---- verdicts -------------------------------------------------------------------------------------------- */
/* One study, held against tolerances: gauge sd of forms[0] by its own components. Grades by per
 * cent of tolerance: common practice, no source. */
START_TEST(grades)
{
    static const struct {
        double percent;
        enum an_gauge_grade grade;
    } cases[] = {
        {9.9, AN_GRADE_FIT}, {10.1, AN_GRADE_LOOK}, {29.9, AN_GRADE_LOOK}, {30.1, AN_GRADE_UNFIT}};
    struct an_error err = {0};
    struct an_gauge_result r;
    struct an_arena *arena = an_arena_open();
    struct an_gauge_record record = a_record(AN_GAUGE_CROSSED, forms[0]);
    ck_assert_int_eq(an_gauge_evaluate(&record, arena, &r, &err), AN_OK);
    const double sd = r.study.source[AN_GAUGE_WHOLE].sd;
    for (size_t i = 0; i < 4; i++) {
        record.tolerance = 600.0 * sd / cases[i].percent;
        ck_assert_int_eq(an_gauge_evaluate(&record, arena, &r, &err), AN_OK);
        ck_assert_int_eq(r.grade, cases[i].grade);
        ck_assert_ptr_nonnull(strstr(r.verdict, "of the tolerance"));
    }
    an_arena_close(arena);
}
END_TEST

/* ---- state of a gauge --------------------------------------------------------------------------------------- */
START_TEST(states)
{
    struct an_error err = {0};
    struct an_gauge_state state;
    struct an_arena *arena = an_arena_open();
    struct an_gauge gauge = {.name = "G1", .until_us = INT64_C(1772427600000000), .station = "s"};
    struct an_line line = {.gauges = &gauge, .gauge_count = 1};
    ck_assert_int_eq(an_zone_open("Europe/Rome", &line.zone, &err), AN_OK);
    const struct an_gauge_record studies[] = {{.gauge = "G1",
                                               .study_id = 3,
                                               .kind = AN_GAUGE_BIAS,
                                               .grade = AN_GRADE_LOOK,
                                               .verdict = "reads low",
                                               .known_us = INT64_C(1772427600000000)},
                                              {.gauge = "G1",
                                               .study_id = 2,
                                               .kind = AN_GAUGE_CROSSED,
                                               .grade = AN_GRADE_FIT,
                                               .verdict = "takes 8 %",
                                               .known_us = INT64_C(1772427600000000)},
                                              {.gauge = "G1",
                                               .study_id = 1,
                                               .kind = AN_GAUGE_CROSSED,
                                               .grade = AN_GRADE_UNFIT,
                                               .verdict = "takes 80 %",
                                               .known_us = INT64_C(1772427600000000)}};
    /* the newest crossed study tells more than a later one of bias */
    ck_assert_int_eq(
        an_gauge_state_of(&line, "G1", studies, 3, gauge.until_us - 1, arena, &state, &err), AN_OK);
    ck_assert_str_eq(state.text,
                     "takes 8 % (study 2, crossed, 2026-03-02); calibrated until 2026-03-02");
    ck_assert(!state.needs_look && !state.overdue && state.studies == 3);
    ck_assert_int_eq(
        an_gauge_state_of(&line, "G1", studies, 3, gauge.until_us, arena, &state, &err), AN_OK);
    ck_assert(state.overdue && state.needs_look);
    ck_assert_ptr_nonnull(strstr(state.text, "calibration ended 2026-03-02"));
    /* a gauge that takes little and wanders wants a look all the same; one that holds still adds nothing */
    struct an_gauge_record more[4];
    memcpy(&more[1], studies, sizeof studies);
    more[0] = (struct an_gauge_record){.gauge = "G1",
                                       .study_id = 4,
                                       .kind = AN_GAUGE_STABILITY,
                                       .grade = AN_GRADE_UNFIT,
                                       .verdict = "not stable",
                                       .known_us = gauge.until_us};
    ck_assert_int_eq(
        an_gauge_state_of(&line, "G1", more, 4, gauge.until_us - 1, arena, &state, &err), AN_OK);
    ck_assert_str_eq(state.text, "takes 8 % (study 2, crossed, 2026-03-02); not stable (study 4, "
                                 "stability, 2026-03-02); calibrated until 2026-03-02");
    ck_assert(state.needs_look && state.grade == AN_GRADE_UNFIT && state.newest.study_id == 2);
    more[0].grade = AN_GRADE_FIT;
    ck_assert_int_eq(
        an_gauge_state_of(&line, "G1", more, 4, gauge.until_us - 1, arena, &state, &err), AN_OK);
    ck_assert_str_eq(state.text,
                     "takes 8 % (study 2, crossed, 2026-03-02); calibrated until 2026-03-02");
    ck_assert(!state.needs_look && state.grade == AN_GRADE_FIT);
    ck_assert_int_eq(an_gauge_state_of(&line, "G2", studies, 3, 0, arena, &state, &err), AN_OK);
    ck_assert_str_eq(state.text, "no study on record");
    ck_assert(state.needs_look);
    an_zone_close(line.zone);
    an_arena_close(arena);
}
END_TEST

/* Memory that runs out anywhere is told, never a crash. */
START_TEST(memory_out)
{
    struct an_error err = {0};
    struct an_gauge_result r;
    const struct an_gauge_record record =
        _i ? a_record(AN_GAUGE_STABILITY, DAYS("2.1", "1.9", "2.3", "1.8"))
           : a_record(AN_GAUGE_CROSSED, forms[0]);
    size_t failures = 0;
    struct an_arena *all = an_arena_open();
    ck_assert_msg(an_gauge_evaluate(&record, all, &r, &err) == AN_OK, "%s", err.text);
    for (size_t k = 1; k < 40; k++) {
        struct an_arena *arena = an_arena_open();
        an_alloc_fail_at(k, false);
        const enum an_status st = an_gauge_evaluate(&record, arena, &r, &err);
        an_alloc_fail_at(0, false);
        ck_assert(st == AN_OK || st == AN_NO_MEMORY);
        failures += st == AN_NO_MEMORY;
        an_arena_close(arena);
    }
    ck_assert_uint_gt(failures, 0);
    an_arena_close(all);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("gauge studies from files");
    TCase *all = tcase_create("files");
    tcase_add_loop_test(all, not_a_study, 0, sizeof refused / sizeof *refused);
    tcase_add_test(all, two_references);
    tcase_add_loop_test(all, written_otherwise, 0, sizeof forms / sizeof *forms);
    tcase_add_test(all, quotes_in_names);
    tcase_add_test(all, mixed_items);
    tcase_add_test(all, repeats_without_spread);
    tcase_add_test(all, single_readings_that_drift);
    tcase_add_test(all, fours_of_which_one_is_wide);
    tcase_add_test(all, a_published_chart);
    tcase_add_test(all, grades);
    tcase_add_test(all, states);
    tcase_add_loop_test(all, memory_out, 0, 2);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
