/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whole reports: every page looked into with poppler's tools where they are installed (pdftotext,
 * pdfinfo), and byte for byte everywhere. Paper sizes: ISO 216 (A4, 210 x 297 mm) and ANSI Y14.1
 * (letter, 8.5 x 11 in); 1 pt = 1/72 in.
 */
#include "report/compose.h"
#include "report/definition.h"
#include "report/report.h"
#include "report/wording.h"
#include "support.h"
#include "support_store.h"

#include <check.h>
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static struct an_arena *arena;
static struct an_line *line;
static struct an_report_definition definition;

static void setup(void)
{
    struct an_error err = {0};
    unsetenv("SOURCE_DATE_EPOCH");
    arena = an_arena_open();
    line = invented_line();
    ck_assert_int_eq(an_report_definition_read(an_report_definition_own(AN_REPORT_SHIFT), "own",
                                               arena, &definition, &err),
                     AN_OK);
}

static void teardown(void)
{
    an_line_close(line);
    an_arena_close(arena);
}

static int compose(const struct invented *how, const struct an_paper *paper, const char *path)
{
    const struct an_period_data *data = invented_shift(arena, line, &definition, how);
    struct an_error err = {0};
    int pages = -1;
    ck_assert_msg(!an_report_compose(data, path, paper, &pages, &err), "%s", err.text);
    return pages;
}

/* ---- pages ------------------------------------------------------------------------------------ */
static const struct {
    struct invented how;
    int least, most; /* pages */
} page_rows[] = {
    {{.nothing = true}, 2, 2},                        /* front, intake */
    {{.no_samples = true, .quiet_streams = 8}, 3, 3}, /* and quiet streams */
    {{.no_limits = true, .quiet_streams = 8}, 3, 3},
    {{.signals = 1, .quiet_streams = 5, .all_well = true}, 4, 5}, /* and its own page */
    {{.signals = 4, .quiet_streams = 23, .items = 212}, 7, 11},
    {{.signals = 40, .quiet_streams = 10, .items = 900}, 44, 90}, /* 40 pages, the list, ... */
    {{.signals = 45, .quiet_streams = 1}, 44, 99},                /* the definition allows 40 */
    {{.signals = 3, .quiet_streams = 300, .all_well = true}, 13, 24},
    {{.signals = 3, .quiet_streams = 8, .long_names = true, .items = 5000}, 10, 160},
};

/* Every page carries the line, "page x of y" and the ledger's root; every count is told. */
START_TEST(every_page_tells_where_it_comes_from)
{
    const struct an_paper *paper = _i % 2 ? &an_paper_letter : &an_paper_a4;
    char *path = fresh_path(arena, "shift.pdf");
    const int pages = compose(&page_rows[_i].how, paper, path);
    ck_assert_int_ge(pages, page_rows[_i].least);
    ck_assert_int_le(pages, page_rows[_i].most);
    const int counted = pdf_pages(path);
    if (counted >= 0) {
        ck_assert_int_eq(counted, pages);
        char root[65];
        const struct an_sha256 hash = an_sha256_of("invented", 8);
        an_sha256_hex(&hash, root);
        char large[17];
        snprintf(large, sizeof large, "%.16s", root);
        for (int page = 1; page <= pages; page++) {
            const char *text = pdf_text(arena, path, page);
            char numbered[40];
            snprintf(numbered, sizeof numbered, "page %d of %d", page, pages);
            ck_assert_ptr_nonnull(text);
            ck_assert_msg(strstr(text, numbered) != NULL, "no '%s'", numbered);
            ck_assert_ptr_nonnull(strstr(text, "Wall line Libeccio, hall 4"));
            ck_assert_ptr_nonnull(strstr(text, "Shift report 2026-03-04 night"));
            ck_assert_ptr_nonnull(strstr(text, "4 March 22:00 to 5 March 06:00 2026"));
            ck_assert_ptr_nonnull(strstr(text, large));
            ck_assert_ptr_nonnull(strstr(text, root));
            ck_assert_ptr_nonnull(strstr(text, "ledger of 12,408 entries"));
            ck_assert_ptr_nonnull(strstr(text, "andamento 0.1.0"));
            ck_assert_ptr_null(strstr(text, "\xEF\xBF\xBD")); /* a character without a glyph */
        }
    }
    remove_folder(path);
}
END_TEST

/* All words of the leading sentence stand on page one in their order, whatever the lines. */
static void holds_words(const char *text, const char *sentence)
{
    char words[1200];
    snprintf(words, sizeof words, "%s", sentence);
    const char *at = text;
    char *rest = NULL;
    for (char *word = strtok_r(words, " ", &rest); word; word = strtok_r(NULL, " ", &rest)) {
        const char *found = strstr(at, word);
        ck_assert_msg(found != NULL, "no '%s' of: %s", word, sentence);
        at = found + strlen(word);
    }
}

START_TEST(page_one_answers)
{
    const struct invented how = {.signals = 4, .quiet_streams = 23, .items = 212};
    char *path = fresh_path(arena, "shift.pdf");
    (void)compose(&how, &an_paper_a4, path);
    const char *text = pdf_text(arena, path, 1);
    if (text) {
        holds_words(text, an_say_lead(arena, invented_shift(arena, line, &definition, &how)));
        const char *at = text;
        static const char *const order[] = {"4 streams moved",
                                            "What changed",
                                            "reaction",
                                            "What is at risk",
                                            "What is missing",
                                            "What is due",
                                            "Control limits are not specification limits",
                                            "neither a safety interlock"};
        for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
            const char *found = strstr(at, order[i]);
            if (!strcmp(order[i], "What is due")) { /* beside the one before it */
                found = strstr(text, order[i]);
            }
            ck_assert_msg(found != NULL, "no '%s' in its place", order[i]);
            at = found;
        }
        ck_assert_ptr_nonnull(strstr(text, "218 tiles carry an open signal"));
        ck_assert_ptr_nonnull(strstr(text, "Edge contact is silent since 5 March 01:00"));
        ck_assert_ptr_nonnull(strstr(text, "29 rows held"));
        ck_assert_ptr_nonnull(strstr(text, "LM-0312.csv"));
        ck_assert_ptr_nonnull(strstr(text, "Haze, site 4 and"));
        ck_assert_ptr_nonnull(strstr(text, "2 signals of earlier shifts"));
        ck_assert_ptr_nonnull(strstr(text, "Bond pressure"));
        ck_assert_ptr_nonnull(strstr(text, "L. Engineer:"));
        ck_assert_ptr_nonnull(strstr(text, "nozzle clogged"));
    }
    remove_folder(path);
}
END_TEST

/* Of forty signals each stands on page one or on the list that page one names. */
START_TEST(what_does_not_fit_is_listed)
{
    const struct invented how = {.signals = 40, .quiet_streams = 2};
    char *path = fresh_path(arena, "shift.pdf");
    (void)compose(&how, &an_paper_a4, path);
    const char *first = pdf_text(arena, path, 1);
    if (first) {
        const char *more =
            strstr(first, " more signals, with less product at risk: listed on page 2");
        ck_assert_ptr_nonnull(more);
        const char *number = more;
        while (number > first && number[-1] >= '0' && number[-1] <= '9') {
            number--;
        }
        const int listed = atoi(number);
        int cards = 0;
        for (const char *at = strstr(first, "initials, time"); at;
             at = strstr(at + 1, "initials, time")) {
            cards++;
        }
        cards += strstr(first, "L. Engineer:") != NULL; /* one of them has its answer */
        ck_assert_int_eq(cards + listed, 40);
        int rows = 0;
        const char *second = pdf_text(arena, path, 2);
        for (const char *at = strstr(second, " tiles "); at; at = strstr(at + 1, " tiles ")) {
            rows++;
        }
        ck_assert_int_eq(rows, listed);
    }
    remove_folder(path);
}
END_TEST

/* 43 notes on a page that takes 40, and of files held whole more than are listed: both counts are told. */
START_TEST(what_is_left_out_is_counted)
{
    const struct invented how = {.signals = 1, .quiet_streams = 2};
    struct an_period_data *data = invented_shift(arena, line, &definition, &how);
    const char *notes[43];
    struct an_error err = {0};
    int pages = -1;
    for (size_t i = 0; i < 43; i++) {
        notes[i] = an_arena_printf(arena, "edge: gauge R-%02zu was due", i + 1);
    }
    data->noted = (struct an_text_list){notes, 43};
    data->held_files_more = 7;
    char *path = fresh_path(arena, "shift.pdf");
    ck_assert_msg(!an_report_compose(data, path, &an_paper_a4, &pages, &err), "%s", err.text);
    bool last = false, beyond = false, notes_left = false, files_left = false;
    for (int page = 1; page <= pages; page++) {
        const char *text = pdf_text(arena, path, page);
        if (!text) {
            pages = 0; /* no poppler here */
            break;
        }
        last = last || strstr(text, "gauge R-40 was due");
        beyond = beyond || strstr(text, "gauge R-41 was due");
        notes_left = notes_left || strstr(text, "and 3 more notes");
        files_left = files_left || strstr(text, "and 7 more files: 'andamento held' lists all");
    }
    ck_assert(pages == 0 || (last && !beyond && notes_left));
    ck_assert(pages == 0 || !data->held_file_count || files_left);
    remove_folder(path);
}
END_TEST

START_TEST(paper_sizes)
{
    const struct invented how = {.signals = 1, .quiet_streams = 3};
    char *path = fresh_path(arena, "shift.pdf");
    char command[700];
    (void)compose(&how, _i ? &an_paper_letter : &an_paper_a4, path);
    snprintf(command, sizeof command, "pdfinfo '%s' 2>/dev/null", path);
    FILE *pipe = popen(command, "r");
    char all[4096] = "";
    const size_t got = pipe ? fread(all, 1, sizeof all - 1, pipe) : 0;
    all[got] = '\0';
    if (pipe && pclose(pipe) == 0) {
        double width = 0;
        double height = 0;
        const char *size = strstr(all, "Page size:");
        ck_assert_ptr_nonnull(size);
        ck_assert_int_eq(sscanf(size, "Page size: %lf x %lf", &width, &height), 2);
        ck_assert_double_eq_tol(width, _i ? 612.0 : 595.28, 0.01);
        ck_assert_double_eq_tol(height, _i ? 792.0 : 841.89, 0.01);
        ck_assert_ptr_nonnull(
            strstr(all, "Shift report, Wall line Libeccio, hall 4, 2026-03-04 night"));
        ck_assert_ptr_nonnull(strstr(all, "root 80914f0274ced542"));
    }
    remove_folder(path);
}
END_TEST

/* ---- the file --------------------------------------------------------------------------------- */
static size_t count_of(const char *bytes, size_t length, const char *what)
{
    const size_t n = strlen(what);
    size_t count = 0;
    for (size_t i = 0; i + n <= length; i++) {
        count += !memcmp(bytes + i, what, n);
    }
    return count;
}

START_TEST(links_and_outline)
{
    const struct invented how = {.signals = 4, .quiet_streams = 23, .items = 212};
    char *path = fresh_path(arena, "shift.pdf");
    (void)compose(&how, &an_paper_a4, path);
    size_t length = 0;
    const char *bytes = whole_file(arena, path, &length);
    ck_assert_ptr_nonnull(bytes);
    /* four cards, four lines of what is at risk or fewer, back links, missing and due */
    ck_assert_uint_ge(count_of(bytes, length, "/Subtype /Link"), 12);
    ck_assert_uint_ge(count_of(bytes, length, "/Outlines"), 1);
    /* page one, streams with four below, quiet, intake */
    ck_assert_uint_ge(count_of(bytes, length, "/Parent"), 8);
    ck_assert_uint_eq(count_of(bytes, length, "/tmp/"), 0);
    remove_folder(path);
}
END_TEST

static void differ_never(const struct invented *how)
{
    static const char *const zones[] = {"UTC", "Pacific/Auckland", "America/St_Johns"};
    static const char *const locales[] = {"C", "C.UTF-8", "de_DE.UTF-8"};
    char *paths[3];
    char *bytes[3];
    size_t length[3];
    for (int i = 0; i < 3; i++) {
        setenv("TZ", zones[i], 1);
        setenv("LC_ALL", locales[i], 1);
        setenv("HOME", i ? "/nonexistent" : "/", 1);
        paths[i] = fresh_path(arena, i == 2 ? "another-name.pdf" : "shift.pdf");
        (void)compose(how, &an_paper_a4, paths[i]);
        bytes[i] = whole_file(arena, paths[i], &length[i]);
        ck_assert_ptr_nonnull(bytes[i]);
        ck_assert_uint_eq(length[i], length[0]);
        ck_assert_int_eq(memcmp(bytes[i], bytes[0], length[0]), 0);
    }
    for (int i = 0; i < 3; i++) {
        remove_folder(paths[i]);
    }
    unsetenv("TZ");
    unsetenv("LC_ALL");
}

START_TEST(same_bytes_everywhere)
{
    const struct invented how = {.signals = 4, .quiet_streams = 23, .items = 212};
    differ_never(&how);
}
END_TEST

/* The creation date is that of the newest record, or what SOURCE_DATE_EPOCH says
 * [reproducible-builds.org, SOURCE_DATE_EPOCH specification 1.1]. */
static bool created(const char *bytes, size_t length, const char *digits)
{
    /* the prefix "D:" is only recommended [ISO 32000-1, 7.9.4], and older cairo leaves it out */
    char with[64];
    char without[64];
    snprintf(with, sizeof with, "/CreationDate (D:%s", digits);
    snprintf(without, sizeof without, "/CreationDate (%s", digits);
    return count_of(bytes, length, with) + count_of(bytes, length, without) == 1;
}

START_TEST(date_is_the_record_s)
{
    const struct invented how = {.signals = 1, .quiet_streams = 1};
    char *path = fresh_path(arena, "shift.pdf");
    size_t length = 0;
    (void)compose(&how, &an_paper_a4, path);
    const char *bytes = whole_file(arena, path, &length);
    /* an hour after the shift's end: 5 March 06:00 local is 05:00 UTC */
    ck_assert(created(bytes, length, "20260305060000"));
    setenv("SOURCE_DATE_EPOCH", "1000000000", 1); /* 2001-09-09T01:46:40Z */
    (void)compose(&how, &an_paper_a4, path);
    bytes = whole_file(arena, path, &length);
    ck_assert(created(bytes, length, "20010909014640"));
    setenv("SOURCE_DATE_EPOCH", "soon", 1); /* not a number: as if it were not there */
    (void)compose(&how, &an_paper_a4, path);
    bytes = whole_file(arena, path, &length);
    ck_assert(created(bytes, length, "20260305060000"));
    remove_folder(path);
}
END_TEST

static size_t entries_of(const char *folder)
{
    size_t count = 0;
    DIR *dir = opendir(folder);
    for (struct dirent *at = dir ? readdir(dir) : NULL; at; at = readdir(dir)) {
        count += strcmp(at->d_name, ".") != 0 && strcmp(at->d_name, "..") != 0;
    }
    if (dir) {
        closedir(dir);
    }
    return count;
}

START_TEST(unwritable_path_leaves_nothing)
{
    const struct invented how = {.signals = 1, .quiet_streams = 1};
    const struct an_period_data *data = invented_shift(arena, line, &definition, &how);
    struct an_error err = {0};
    int pages = -1;
    char *path = fresh_path(arena, "folder/shift.pdf"); /* there is no such folder */
    ck_assert_int_eq(an_report_compose(data, path, &an_paper_a4, &pages, &err), AN_CANNOT_CREATE);
    ck_assert_uint_gt(strlen(err.text), 10);
    ck_assert_int_eq(pages, -1);
    *strrchr(path, '/') = '\0';
    *strrchr(path, '/') = '\0';
    ck_assert_uint_eq(entries_of(path), 0);
    /* a folder stands where the file should be */
    char *taken = an_arena_printf(arena, "%s/taken.pdf", path);
    ck_assert_int_eq(mkdir(taken, 0700), 0);
    const enum an_status st = an_report_compose(data, taken, &an_paper_a4, &pages, &err);
    ck_assert(st == AN_CANNOT_CREATE || st == AN_IO);
    ck_assert_int_eq(rmdir(taken), 0);
    ck_assert_uint_eq(entries_of(path), 0);
    char *file = an_arena_printf(arena, "%s/x", path);
    remove_folder(file);
}
END_TEST

/* Every allocation fails once: a status, and no file. */
START_TEST(memory_runs_out)
{
    const struct invented how = {.signals = 2, .quiet_streams = 4, .items = 9};
    const struct an_period_data *data = invented_shift(arena, line, &definition, &how);
    char *path = fresh_path(arena, "shift.pdf");
    char *folder = an_arena_printf(arena, "%s", path);
    *strrchr(folder, '/') = '\0';
    bool passed = false;
    size_t failed = 0;
    for (size_t k = 1; !passed && k < 100000; k += 1 + k / 3) {
        struct an_error err = {0};
        int pages = 0;
        an_alloc_fail_at(k, true);
        const enum an_status st = an_report_compose(data, path, &an_paper_a4, &pages, &err);
        an_alloc_fail_at(0, false);
        passed = st == AN_OK;
        failed += !passed;
        ck_assert_msg(passed || st == AN_NO_MEMORY || st == AN_IO || st == AN_CANNOT_CREATE,
                      "%s: %s", an_status_name(st), err.text);
        ck_assert_uint_eq(entries_of(folder), passed ? 1 : 0);
    }
    ck_assert(passed);
    ck_assert_uint_gt(failed, 5);
    remove_folder(path);
}
END_TEST

/* ---- from a store ------------------------------------------------------------------------------ */
static struct mill mill;

static enum an_status report(const char *path, struct an_bytes own, struct an_report_result *result)
{
    struct an_report_options options = {.path = path,
                                        .paper = &an_paper_a4,
                                        .program_version = "test",
                                        .definition = own,
                                        .definition_name = "own.yaml"};
    const struct an_shift shift = mill_shift(&mill, "2026-03-04 night");
    ck_assert(an_report_of_shift(mill.line, &shift, mill.arena, &options, &mill.err) == AN_OK);
    return an_report_write(mill.store, mill.line, &options, result, &mill.err);
}

START_TEST(store_to_pdf)
{
    mill_open(&mill, 200);
    char *path = fresh_path(arena, "shift.pdf");
    struct an_report_result result = {0};
    ck_assert_msg(!report(path, (struct an_bytes){0}, &result), "%s", mill.err.text);
    ck_assert_uint_eq(result.streams, 2);
    ck_assert_uint_ge(result.signals, 1);
    ck_assert_int_eq(result.samples, 48);
    const char *text = pdf_text(arena, path, 0);
    if (text) {
        ck_assert_ptr_nonnull(strstr(text, "1 stream moved this shift: Edge resistance"));
        ck_assert_ptr_nonnull(strstr(text, "edge.resistance"));
        ck_assert_ptr_nonnull(strstr(text, "T-00216"));
        ck_assert_ptr_nonnull(strstr(text, "store line.store"));
    }
    size_t length = 0;
    size_t again_length = 0;
    const char *bytes = whole_file(arena, path, &length);
    ck_assert_uint_eq(count_of(bytes, length, mill.path), 0);
    char *again = fresh_path(arena, "again.pdf");
    ck_assert_int_eq(report(again, (struct an_bytes){0}, &result), AN_OK);
    const char *same = whole_file(arena, again, &again_length);
    ck_assert_uint_eq(length, again_length);
    ck_assert_int_eq(memcmp(bytes, same, length), 0);
    remove_folder(path);
    remove_folder(again);
    mill_close(&mill);
}
END_TEST

START_TEST(definition_decides_order)
{
    mill_open(&mill, 200);
    char *path = fresh_path(arena, "shift.pdf");
    struct an_report_result result = {0};
    static const char own[] = "title: Turnus\npages: [{page: intake, title: Files}, {page: front, "
                              "sections: [{section: due, title: Owed}]}]\n";
    ck_assert_msg(!report(path, an_bytes_of(own), &result), "%s", mill.err.text);
    ck_assert_int_eq(result.pages, 2);
    const char *first = pdf_text(arena, path, 1);
    if (first) {
        ck_assert_ptr_nonnull(strstr(first, "Turnus 2026-03-04 night"));
        ck_assert_ptr_nonnull(strstr(first, "Stations"));
        ck_assert_ptr_nonnull(strstr(pdf_text(arena, path, 2), "Owed"));
        ck_assert_ptr_null(strstr(pdf_text(arena, path, 2), "What changed"));
    }
    static const char wrong[] = "pages:\n- page: fornt\n";
    unlink(path);
    ck_assert_int_eq(report(path, an_bytes_of(wrong), &result), AN_BAD_CONFIG);
    ck_assert_ptr_nonnull(strstr(mill.err.text, "own.yaml:2:9"));
    ck_assert_int_ne(access(path, F_OK), 0);
    remove_folder(path);
    mill_close(&mill);
}
END_TEST

/* From the store too: allocation k fails and all after it; a status each time, no file, and the
 * store still gives a report afterwards. */
START_TEST(memory_runs_out_while_gathering)
{
    mill_open(&mill, 200);
    char *path = fresh_path(arena, "shift.pdf");
    struct an_report_result result = {0};
    bool passed = false;
    size_t failed = 0;
    for (size_t k = 1; !passed && k < 1000000; k += 1 + k / 4) {
        an_alloc_fail_at(k, true);
        const enum an_status st = report(path, (struct an_bytes){0}, &result);
        an_alloc_fail_at(0, false);
        passed = st == AN_OK;
        failed += !passed;
        ck_assert_int_eq(access(path, F_OK) == 0, passed);
    }
    ck_assert(passed);
    ck_assert_uint_gt(failed, 10);
    remove_folder(path);
    mill_close(&mill);
}
END_TEST

START_TEST(empty_store_to_pdf)
{
    mill_open_empty(&mill);
    char *path = fresh_path(arena, "shift.pdf");
    struct an_report_result result = {0};
    ck_assert_msg(!report(path, (struct an_bytes){0}, &result), "%s", mill.err.text);
    ck_assert_int_eq(result.pages, 2);
    const char *text = pdf_text(arena, path, 1);
    if (text) {
        ck_assert_ptr_nonnull(strstr(text, "The store holds no samples yet"));
        ck_assert_ptr_null(strstr(text, "No signal"));
    }
    remove_folder(path);
    mill_close(&mill);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("shift report");
    TCase *pages = tcase_create("pages");
    tcase_add_checked_fixture(pages, setup, teardown);
    tcase_add_loop_test(pages, every_page_tells_where_it_comes_from, 0,
                        (int)(sizeof page_rows / sizeof page_rows[0]));
    tcase_add_test(pages, page_one_answers);
    tcase_add_test(pages, what_does_not_fit_is_listed);
    tcase_add_test(pages, what_is_left_out_is_counted);
    tcase_add_loop_test(pages, paper_sizes, 0, 2);
    suite_add_tcase(suite, pages);
    TCase *file = tcase_create("file");
    tcase_add_checked_fixture(file, setup, teardown);
    tcase_add_test(file, links_and_outline);
    tcase_add_test(file, same_bytes_everywhere);
    tcase_add_test(file, date_is_the_record_s);
    tcase_add_test(file, unwritable_path_leaves_nothing);
    tcase_add_test(file, memory_runs_out);
    suite_add_tcase(suite, file);
    TCase *store = tcase_create("store");
    tcase_add_checked_fixture(store, setup, teardown);
    tcase_add_test(store, store_to_pdf);
    tcase_add_test(store, definition_decides_order);
    tcase_add_test(store, empty_store_to_pdf);
    tcase_add_test(store, memory_runs_out_while_gathering);
    suite_add_tcase(suite, store);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
