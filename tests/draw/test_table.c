/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables: rows stay whole, the head comes again, a caller that takes new pages always ends. */
#include "andamento/base/memory.h"
#include "andamento/draw/table.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = 57, COLUMNS = 3 };

struct filled {
    struct an_table table;
    char texts[ROWS][24];
    const char *cells[ROWS * COLUMNS];
    const char *links[ROWS];
};

static const struct an_table_column columns[COLUMNS] = {{"stream", 3, AN_LEFT, true},
                                                        {"value, cd/m²", 1, AN_RIGHT, false},
                                                        {"code", 1, AN_CENTRE, false}};

static void fill(struct filled *f)
{
    static const char *const longer = "a text that goes on for so long that it takes two or three "
                                      "lines in the first column of the table";
    for (size_t i = 0; i < ROWS; i++) {
        snprintf(f->texts[i], sizeof f->texts[i], "row-%03zu", i);
        f->cells[i * COLUMNS] = i % 5 == 4 ? longer : f->texts[i];
        f->cells[i * COLUMNS + 1] = "12.34";
        f->cells[i * COLUMNS + 2] = i % 7 == 0 ? NULL : "B+";
        f->links[i] = i % 2 ? "there" : NULL;
    }
    f->table = (struct an_table){columns, COLUMNS, f->cells, ROWS, f->links, 8};
}

static struct an_canvas *open_page(const char *name)
{
    struct an_canvas *canvas = NULL;
    ck_assert_int_eq(
        an_canvas_open_pdf(scratch_path(name), &an_paper_a4, &sample_info, &canvas, NULL), AN_OK);
    return canvas;
}

START_TEST(rows_go_on_over_boxes)
{
    static const double heights[] = {60, 61.3, 100, 177, 300, 2000};
    for (size_t k = 0; k < sizeof heights / sizeof *heights; k++) {
        struct filled f;
        fill(&f);
        struct an_canvas *canvas = open_page("t.pdf");
        const struct an_box box = {40, 50, 300, heights[k]};
        size_t next = 0, pages = 0;
        while (next < ROWS) {
            const size_t first = next;
            const double used = an_table_draw(canvas, &box, &f.table, first, &next);
            ck_assert_uint_gt(next, first);
            ck_assert(used > 0 && used <= box.height + 1e-6);
            pages++;
            an_canvas_next_page(canvas);
        }
        ck_assert_uint_eq(next, ROWS);
        ck_assert(pages == 1 ? heights[k] > 1000 : heights[k] < 1000);
        ck_assert_int_eq(an_canvas_close(canvas, NULL), AN_OK);
    }
}
END_TEST

/* Every row's text is on the pages once, the head once a page; read back by the machine's own
 * text extractor, where there is one. */
START_TEST(all_of_it_can_be_read)
{
    struct filled f;
    fill(&f);
    struct an_canvas *canvas = open_page("read.pdf");
    const struct an_box box = {40, 50, 300, 200};
    size_t next = 0, pages = 0;
    while (next < ROWS) {
        an_table_draw(canvas, &box, &f.table, next, &next);
        pages++;
        if (next < ROWS) {
            an_canvas_next_page(canvas);
        }
    }
    ck_assert_int_eq(an_canvas_close(canvas, NULL), AN_OK);
    char command[512];
    snprintf(command, sizeof command, "command -v pdftotext >/dev/null && pdftotext '%s' '%s'",
             scratch_path("read.pdf"), scratch_path("read.txt"));
    if (system(command) != 0) {
        fputs("skipped: no PDF text extractor on this machine\n", stderr);
        return;
    }
    size_t length = 0, heads = 0;
    char *text = read_file(scratch_path("read.txt"), &length);
    for (const char *p = text; (p = strstr(p, "stream")) != NULL; p++) {
        heads++;
    }
    ck_assert_uint_eq(heads, pages);
    for (size_t i = 0; i < ROWS; i++) {
        const char *found = strstr(text, f.texts[i]);
        ck_assert_int_eq(found != NULL, i % 5 != 4);
        ck_assert(!found || strstr(found + 1, f.texts[i]) == NULL);
    }
    an_free(text);
}
END_TEST

START_TEST(a_row_that_does_not_fit_waits)
{
    struct filled f;
    fill(&f);
    struct an_canvas *canvas = open_page("w.pdf");
    size_t next = 99;
    ck_assert(an_table_draw(canvas, &(struct an_box){40, 50, 300, 20}, &f.table, 4, &next) < 0.001);
    ck_assert_uint_eq(next, 4);
    /* the same row, wrapped, needs more than a plain one */
    const struct an_type type = {8, AN_REGULAR, AN_INK, AN_LEFT};
    struct filled plain;
    fill(&plain);
    plain.table.row_count = 1;
    const double one =
        an_table_draw(canvas, &(struct an_box){40, 50, 300, 200}, &plain.table, 0, &next);
    ck_assert_uint_eq(next, 1);
    plain.cells[0] = f.cells[4 * COLUMNS];
    const double wrapped =
        an_table_draw(canvas, &(struct an_box){40, 250, 300, 200}, &plain.table, 0, &next);
    const double line = an_text_height(canvas, 0, &type, "x");
    const double more = (wrapped - one) / line;
    ck_assert(more > 0.9);
    ck_assert_double_eq_tol(more, round(more), 1e-6);
    an_canvas_abandon(canvas);
}
END_TEST

START_TEST(any_row_fits_a_page_of_its_own)
{
    static char endless[20001];
    memset(endless, 'x', sizeof endless - 1);
    for (size_t i = 7; i < sizeof endless - 1; i += 8) {
        endless[i] = ' ';
    }
    struct filled f;
    fill(&f);
    f.cells[0] = endless;
    struct an_canvas *canvas = open_page("e.pdf");
    size_t next = 0;
    const double used =
        an_table_draw(canvas, &(struct an_box){40, 50, 300, 170}, &f.table, 0, &next);
    ck_assert_uint_ge(next, 1);
    ck_assert(used > 100 && used <= 170);
    ck_assert_int_eq(an_canvas_close(canvas, NULL), AN_OK);
}
END_TEST

START_TEST(odd_tables)
{
    struct an_canvas *canvas = open_page("o.pdf");
    struct filled f;
    fill(&f);
    const struct an_box box = {40, 50, 300, 170};
    size_t next = 7;
    struct an_table none = f.table;
    none.row_count = 0;
    ck_assert(an_table_draw(canvas, &box, &none, 0, &next) < 0.001);
    ck_assert_uint_eq(next, 0);
    none = f.table;
    none.column_count = 0;
    ck_assert(an_table_draw(canvas, &box, &none, 0, &next) < 0.001);
    ck_assert_uint_eq(next, ROWS); /* nothing to draw: done */
    ck_assert(an_table_draw(canvas, &box, &f.table, ROWS + 3, &next) < 0.001);
    ck_assert_uint_eq(next, ROWS);
    static const struct an_table_column shares[COLUMNS] = {
        {NULL, 0, AN_LEFT, true}, {"", -3, AN_LEFT, true}, {"all", 0.001, AN_RIGHT, true}};
    struct an_table odd = f.table;
    odd.columns = shares;
    odd.links = NULL;
    odd.size_pt = 1;
    ck_assert(an_table_draw(canvas, &box, &odd, 0, &next) > 0);
    ck_assert_uint_ge(next, 1);
    ck_assert_int_eq(an_canvas_close(canvas, NULL), AN_OK);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("draw table");
    TCase *tests = tcase_create("table");
    tcase_add_checked_fixture(tests, scratch_open, scratch_close);
    tcase_add_test(tests, rows_go_on_over_boxes);
    tcase_add_test(tests, all_of_it_can_be_read);
    tcase_add_test(tests, a_row_that_does_not_fit_waits);
    tcase_add_test(tests, any_row_fits_a_page_of_its_own);
    tcase_add_test(tests, odd_tables);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
