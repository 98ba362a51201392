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
    return (struct an_gauge_record){.gauge = "G1",
                                    .kind = kind,
                                    .part = people ? "part" : NULL,
                                    .person = people ? "who" : NULL,
                                    .reading = "x",
                                    .reference = kind == AN_GAUGE_LINEARITY ? "ref" : NULL,
                                    .reference_value = kind == AN_GAUGE_BIAS ? 2.0 : (double)NAN,
                                    .tolerance = (double)NAN,
                                    .pool_above = 0.25,
                                    .file = "s.csv",
                                    .data = an_bytes_of(data)};
}

/* ---- refusals ---------------------------------------------------------------------------------------- */
static const struct {
    enum an_gauge_kind kind;
    const char *data, *says;
} refused[] = {
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
    {AN_GAUGE_BIAS, "x\n2\n2\n", "all 2 readings are equal"},
    {AN_GAUGE_BIAS, "x\n2\n", "1 readings; bias wants 2"},
    {AN_GAUGE_LINEARITY, "x,ref\n2,1\n3,1\n4,1\n", "all references are equal"},
    {AN_GAUGE_LINEARITY, "x,ref\n2,1\n3,2\n", "linearity wants 3"},
    {AN_GAUGE_LINEARITY, "x,ref\n2,one\n", "s.csv:2:2: 'one' in column 'ref'"},
    {AN_GAUGE_SORTING, "part,who,x\na,A,ok\na,B,ok\nb,A,ok\nb,B,ok\n", "says 'ok' everywhere"},
    {AN_GAUGE_SORTING, "part,who,x\na,A,ok\na,B,\n", "s.csv:3:3: column 'x' is empty"},
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
    const struct an_gauge_record record = a_record(AN_GAUGE_CROSSED, forms[0]);
    size_t failures = 0;
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
    tcase_add_test(all, grades);
    tcase_add_test(all, states);
    tcase_add_test(all, memory_out);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
