/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Report definitions: the program's own, and every mistake with its place. */
#include "report/definition.h"

#include <check.h>
#include <string.h>

static struct an_arena *arena;

static void setup(void)
{
    arena = an_arena_open();
}

static void teardown(void)
{
    an_arena_close(arena);
}

START_TEST(week_definition_reads)
{
    struct an_report_definition definition = {0};
    struct an_error err = {0};
    ck_assert_msg(!an_report_definition_read(an_report_definition_own(AN_REPORT_WEEK), "own", arena,
                                             &definition, &err),
                  "%s", err.text);
    ck_assert_int_eq(definition.kind, AN_REPORT_WEEK);
    ck_assert_str_eq(definition.title, "Week report");
    ck_assert_int_eq(definition.pages[0].sections[0].kind, AN_SECTION_AGAINST_LAST);
    ck_assert_uint_eq(definition.pages[0].section_count, 10);
    ck_assert_uint_eq(definition.page_count, 6);
    ck_assert_uint_eq(definition.days_before, 7);
}
END_TEST

START_TEST(own_definition)
{
    struct an_report_definition definition = {0};
    struct an_error err = {0};
    ck_assert_msg(!an_report_definition_read(an_report_definition_own(AN_REPORT_SHIFT), "own",
                                             arena, &definition, &err),
                  "%s", err.text);
    ck_assert_str_eq(definition.title, "Shift report");
    ck_assert_uint_eq(definition.context, 60);
    ck_assert_uint_eq(definition.page_count, 4);
    ck_assert_int_eq(definition.pages[0].kind, AN_PAGE_FRONT);
    ck_assert_uint_eq(definition.pages[0].section_count, 4);
    ck_assert_int_eq(definition.pages[0].sections[0].kind, AN_SECTION_CHANGED);
    ck_assert_int_eq(definition.pages[0].sections[3].kind, AN_SECTION_DUE);
    ck_assert_uint_eq(definition.pages[0].sections[0].most, 8);
    ck_assert_uint_ge(definition.pages[0].caution_count, 2);
    ck_assert_ptr_nonnull(strstr(definition.pages[0].cautions[0], "not specification limits"));
    ck_assert_int_eq(definition.pages[3].kind, AN_PAGE_INTAKE);
    ck_assert_uint_eq(definition.pages[2].columns, 3);
}
END_TEST

START_TEST(own_definitions_of_one_item)
{
    static const struct {
        enum an_report_kind kind;
        const char *title;
        enum an_report_section_kind first;
    } rows[] = {{AN_REPORT_WALL, "Wall report", AN_SECTION_MAP},
                {AN_REPORT_BATCH, "Batch report", AN_SECTION_CARRIED},
                {AN_REPORT_TILE, "Tile report", AN_SECTION_FACTS}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct an_report_definition definition = {0};
        struct an_error err = {0};
        ck_assert_msg(!an_report_definition_read(an_report_definition_own(rows[i].kind),
                                                 an_report_definition_name(rows[i].kind), arena,
                                                 &definition, &err),
                      "%s", err.text);
        ck_assert_int_eq(definition.kind, rows[i].kind);
        ck_assert_str_eq(definition.title, rows[i].title);
        ck_assert_int_eq(definition.pages[0].sections[0].kind, rows[i].first);
        ck_assert_uint_eq(definition.average, 200);
        ck_assert_ptr_null(definition.picture); /* nothing of the demonstration line in it */
        ck_assert_double_eq(definition.tile.pitch_mm, 0);
    }
}
END_TEST

START_TEST(choices_of_a_wall_are_read)
{
    static const char yaml[] = "report: wall\n"
                               "picture: light.level@colour=W\n"
                               "seam_right: build.gap_across\n"
                               "repair: mending\n"
                               "average: 12\n"
                               "tile: {pixels_across: 240, colours: 3, pitch_mm: 0.8}\n"
                               "pages: [{page: front}]\n";
    struct an_report_definition definition = {0};
    struct an_error err = {0};
    ck_assert_msg(!an_report_definition_read(an_bytes_of(yaml), "x", arena, &definition, &err),
                  "%s", err.text);
    ck_assert_str_eq(definition.picture, "light.level@colour=W");
    ck_assert_str_eq(definition.seam_right, "build.gap_across");
    ck_assert_ptr_null(definition.seam_below);
    ck_assert_str_eq(definition.repair, "mending");
    ck_assert_uint_eq(definition.average, 12);
    ck_assert_double_eq(definition.tile.pixels_across, 240);
    ck_assert_double_eq(definition.tile.pitch_mm, 0.8);
    ck_assert_double_eq(definition.tile.pixels_down, 0);
}
END_TEST

START_TEST(order_is_the_file_s)
{
    static const char yaml[] =
        "title: Our shift\n"
        "pages:\n"
        "- page: intake\n"
        "- page: front\n"
        "  sections: [{section: due, title: Owed}, {section: changed, most: 2}]\n";
    struct an_report_definition definition = {0};
    struct an_error err = {0};
    ck_assert_msg(!an_report_definition_read(an_bytes_of(yaml), "x", arena, &definition, &err),
                  "%s", err.text);
    ck_assert_str_eq(definition.title, "Our shift");
    ck_assert_uint_eq(definition.page_count, 2);
    ck_assert_int_eq(definition.pages[0].kind, AN_PAGE_INTAKE);
    ck_assert_str_eq(definition.pages[0].title, "Intake health");
    ck_assert_str_eq(definition.pages[1].sections[0].title, "Owed");
    ck_assert_uint_eq(definition.pages[1].sections[1].most, 2);
    ck_assert_str_eq(definition.pages[1].sections[1].title, "What changed");
}
END_TEST

static const struct {
    const char *yaml;
    uint64_t line, column;
    const char *text; /* what the message must hold */
} mistake_rows[] = {
    {"", 1, 1, "not YAML"},
    {"pages: [\n", 0, 0, "not YAML"},
    {"%\t\xA7\xA7\t\tpages", 1, 3, "byte \\xA7 is not text in UTF-8"}, /* libfyaml never ends */
    {"title: \xC3\xA9\npages: \xFF\n", 2, 8, "byte \\xFF is not text in UTF-8"},
    {"pages:\n\t- page: front\n", 0, 0, "not YAML"},
    {"just a text\n", 1, 1, "a report definition should be a list of 'key: value' lines"},
    {"title: x\n", 1, 1, "there are no pages"},
    {"report: year\npages: [{page: front}]\n", 1, 9,
     "there is no report 'year'; it should be shift, week, wall, batch or tile"},
    {"pages: [{page: yield}]\nreport: shift\n", 1, 16,
     "there is no page 'yield'; it should be front, streams, quiet or intake"},
    {"pages:\n- page: front\n  sections: [{section: due}]\nreport: week\n", 3, 24,
     "there is no section 'due'; it should be missing, against_last, capability,"},
    {"colour: red\npages: [{page: front}]\n", 1, 1, "no key 'colour'; the keys are"},
    {"context: many\npages: [{page: front}]\n", 1, 10, "should be a whole number from 0 to 1000"},
    {"context: -1\npages: [{page: front}]\n", 1, 10, "should be a whole number"},
    {"context: 1001\npages: [{page: front}]\n", 1, 10, "is '1001'"},
    {"context: [1]\npages: [{page: front}]\n", 1, 11, "'context' should be one text"},
    {"days_before: 0\npages: [{page: front}]\n", 1, 14, "from 1 to 31"},
    {"few_samples: 1\npages: [{page: front}]\n", 1, 14, "from 2 to 1000"},
    {"pages: front\n", 1, 8, "'pages' should be a list"},
    {"pages:\n- front\n", 2, 3, "a page should be a list of 'key: value' lines"},
    {"pages:\n- page: back\n", 2, 9,
     "there is no page 'back'; it should be front, streams, quiet or intake"},
    {"pages:\n- title: x\n", 2, 3, "should say which"},
    {"pages:\n- page: front\n- page: front\n", 3, 3, "here twice"},
    {"pages:\n- page: quiet\n  columns: 5\n", 3, 12, "from 1 to 4"},
    {"pages:\n- page: intake\n  columns: 2\n", 3, 3, "'columns' belongs to the page quiet only"},
    {"pages:\n- page: quiet\n  most: 2\n", 3, 3,
     "'most' belongs to the page streams or intake only"},
    {"pages:\n- page: quiet\n  cautions: [a]\n", 3, 3, "'cautions' belongs to the page front only"},
    {"pages:\n- page: front\n  sections:\n  - section: new\n", 4, 14, "there is no section 'new'"},
    {"pages:\n- page: front\n  sections:\n  - title: x\n", 4, 5, "a section should say which"},
    {"pages:\n- page: front\n  sections: [{section: due}, {section: due}]\n", 3, 31, "here twice"},
    {"pages:\n- page: front\n  sections: [{section: due, most: 3}]\n", 3, 29,
     "the section due takes no 'most'"},
    {"pages:\n- page: front\n  cautions: [a, b, c, d, e, f, g, h, i]\n", 3, 38,
     "more than 8 entries"},
    {"report: wall\ncontext: 3\npages: [{page: front}]\n", 2, 1,
     "the keys are report, title, picture"},
    {"picture: a.b\npages: [{page: front}]\n", 1, 1, "no key 'picture'"},
    {"report: wall\npages: [{page: quiet}]\n", 2, 16,
     "there is no page 'quiet'; it should be front, values, made_of, pictures, sites, signals or "
     "sources"},
    {"report: batch\npages:\n- page: front\n  sections: [{section: map}]\n", 4, 24,
     "there is no section 'map'; it should be made_of, signals, lacking, facts, carried_by, began "
     "or neighbours"},
    {"report: tile\naverage: 1\npages: [{page: front}]\n", 2, 10, "from 2 to 10000"},
    {"report: wall\ntile: {pitch_mm: none}\npages: [{page: front}]\n", 2, 18,
     "it should be a number above 0"},
    {"report: wall\ntile: {colours: 2.5}\npages: [{page: front}]\n", 2, 17,
     "a whole number from 1"},
    {"report: wall\ntile: {size: 3}\npages: [{page: front}]\n", 2, 8, "'tile' has no key 'size'"},
    {"report: wall\npicture: [a]\npages: [{page: front}]\n", 2, 11, "should be one text"},
    {"title: \"\\xff\\0\"\npages: [{page: front}]\n", 1, 9, "holds a byte that is no text"},
};

START_TEST(mistakes_have_places)
{
    struct an_report_definition definition = {.title = "untouched"};
    struct an_error err = {0};
    ck_assert_int_eq(an_report_definition_read(an_bytes_of(mistake_rows[_i].yaml), "my.yaml", arena,
                                               &definition, &err),
                     AN_BAD_CONFIG);
    ck_assert_msg(strstr(err.text, mistake_rows[_i].text) != NULL, "said: %s", err.text);
    ck_assert_msg(!strncmp(err.text, "my.yaml:", 8), "said: %s", err.text);
    if (mistake_rows[_i].line) {
        ck_assert_msg(err.line == mistake_rows[_i].line && err.column == mistake_rows[_i].column,
                      "said: %s", err.text);
    }
    ck_assert_str_eq(definition.title, "untouched");
}
END_TEST

/* Every allocation fails once; each time a status, no leak (under the sanitizers). */
START_TEST(memory_runs_out)
{
    bool passed = false;
    for (size_t k = 1; k < 400 && !passed; k++) {
        struct an_arena *own = an_arena_open();
        struct an_report_definition definition = {0};
        struct an_error err = {0};
        an_alloc_fail_at(k, false);
        const enum an_status st = an_report_definition_read(
            an_report_definition_own(AN_REPORT_SHIFT), "own", own, &definition, &err);
        an_alloc_fail_at(0, false);
        ck_assert(st == AN_OK || st == AN_NO_MEMORY);
        passed = st == AN_OK;
        an_arena_close(own);
    }
    ck_assert(passed);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("report definition");
    TCase *tests = tcase_create("yaml");
    tcase_add_checked_fixture(tests, setup, teardown);
    tcase_add_test(tests, week_definition_reads);
    tcase_add_test(tests, own_definition);
    tcase_add_test(tests, order_is_the_file_s);
    tcase_add_test(tests, own_definitions_of_one_item);
    tcase_add_test(tests, choices_of_a_wall_are_read);
    tcase_add_loop_test(tests, mistakes_have_places, 0,
                        (int)(sizeof mistake_rows / sizeof mistake_rows[0]));
    tcase_add_test(tests, memory_runs_out);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
