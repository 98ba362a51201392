/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pages: the bytes do not depend on the machine, errors leave no file, text is measured as set. */
#include "andamento/base/memory.h"
#include "andamento/draw/canvas.h"
#include "andamento/draw/table.h"
#include "support.h"

#include <check.h>
#include <dirent.h>
#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

static const struct an_type body = {9, AN_REGULAR, AN_INK, AN_LEFT};

static void draw_sample(struct an_canvas *canvas)
{
    struct sample *sample = sample_full();
    const struct an_box box = {30, 60, 535, 270};
    an_canvas_expect_pages(canvas, 2);
    an_canvas_mark(canvas, "first page");
    an_canvas_outline(canvas, 1, "Overview", "first page");
    an_text_draw(canvas, 30, 30, 500, &body, "dx of head H2 has risen by 0.8 µm; −0.3 ≤ Δ ≤ 1.25");
    an_plot_draw(canvas, &box, &sample->plot);
    an_canvas_link(canvas, &(struct an_box){30, 400, 100, 12.5}, "detail: \"a'b\\c)\" ü");
    an_canvas_next_page(canvas);
    an_canvas_mark(canvas, "detail: \"a'b\\c)\" ü");
    an_canvas_outline(canvas, 2, "Detail", "detail: \"a'b\\c)\" ü");
    an_text_draw(canvas, 30, 30, 0, &body, "detail");
    sample_free(sample);
}

static enum an_status write_sample(const char *path, struct an_error *err)
{
    struct an_canvas *canvas = NULL;
    const enum an_status st = an_canvas_open_pdf(path, &an_paper_a4, &sample_info, &canvas, err);
    if (st) {
        return st;
    }
    draw_sample(canvas);
    return an_canvas_close(canvas, err);
}

static size_t files_in_scratch(void)
{
    size_t n = 0;
    DIR *dir = opendir(scratch_path("."));
    ck_assert_ptr_nonnull(dir);
    for (const struct dirent *entry; (entry = readdir(dir)) != NULL;) {
        n += entry->d_name[0] != '.';
    }
    closedir(dir);
    return n;
}

/* Runs this program again, as another user on another machine would: its own environment. */
static void write_elsewhere(const char *path, char *const environment[])
{
    char self[] = "/proc/self/exe", flag[] = "--write-sample", target[256];
    snprintf(target, sizeof target, "%s", path);
    char *const arguments[] = {self, flag, target, NULL};
    const pid_t child = fork();
    ck_assert_int_ge(child, 0);
    if (child == 0) {
        execve(self, arguments, environment);
        _exit(127);
    }
    int status = 0;
    ck_assert_int_eq(waitpid(child, &status, 0), child);
    ck_assert(WIFEXITED(status));
    ck_assert_int_eq(WEXITSTATUS(status), 0);
}

START_TEST(same_bytes_everywhere)
{
    static char zone_a[] = "TZ=UTC", locale_a[] = "LC_ALL=C", home_a[] = "HOME=/nonexistent";
    static char zone_b[] = "TZ=Asia/Kolkata", locale_b[] = "LC_ALL=de_DE.UTF-8",
                home_b[] = "HOME=/", language_b[] = "PANGO_LANGUAGE=ja:ar",
                fonts_b[] = "FONTCONFIG_FILE=/dev/null", fonts_c[] = "FONTCONFIG_PATH=/nonexistent",
                epoch_b[] = "SOURCE_DATE_EPOCH=1";
    char sanitizer[256]; /* what a sanitizer build is told must still be told */
    const char *told = getenv("LSAN_OPTIONS");
    snprintf(sanitizer, sizeof sanitizer, "LSAN_OPTIONS=%s", told ? told : "");
    char *const machines[3][8] = {
        {zone_a, locale_a, home_a, sanitizer, NULL},
        {zone_b, locale_b, home_b, language_b, fonts_b, epoch_b, sanitizer, NULL},
        {fonts_c, sanitizer, NULL},
    };
    size_t first_length = 0;
    char *first = NULL;
    for (int i = 0; i < 3; i++) {
        write_elsewhere(scratch_path("sample.pdf"), machines[i]);
        size_t length = 0;
        char *bytes = read_file(scratch_path("sample.pdf"), &length);
        if (first) {
            ck_assert_uint_eq(length, first_length);
            ck_assert_int_eq(memcmp(bytes, first, length), 0);
            an_free(bytes);
        } else {
            first = bytes;
            first_length = length;
        }
    }
    ck_assert_uint_gt(first_length, 5000);
    /* twice in one process, where faces and glyphs are already known */
    for (int i = 0; i < 2; i++) {
        ck_assert_int_eq(write_sample(scratch_path("sample.pdf"), NULL), AN_OK);
        size_t length = 0;
        char *bytes = read_file(scratch_path("sample.pdf"), &length);
        ck_assert_uint_eq(length, first_length);
        ck_assert_int_eq(memcmp(bytes, first, length), 0);
        an_free(bytes);
    }
    an_free(first);
}
END_TEST

static bool holds(const char *bytes, size_t length, const char *text)
{
    const size_t n = strlen(text);
    for (size_t i = 0; i + n <= length; i++) {
        if (memcmp(bytes + i, text, n) == 0) {
            return true;
        }
    }
    return false;
}

/* ISO 32000-1: 14.3.3 dates, 12.5.2 annotation rectangles (origin at the bottom left), 12.3.2.3
 * named destinations, 12.4.2 page labels. */
START_TEST(navigation_and_information)
{
    struct an_error err = {0};
    ck_assert_msg(write_sample(scratch_path("sample.pdf"), &err) == AN_OK, "%s", err.text);
    size_t length = 0;
    char *pdf = read_file(scratch_path("sample.pdf"), &length);
    ck_assert(holds(pdf, length, "/CreationDate (20260304000000Z)") ||
              holds(pdf, length, "/CreationDate (D:20260304000000Z"));
    ck_assert(!holds(pdf, length, "/ModDate"));
    ck_assert(holds(pdf, length, "/Title (sample)"));
    ck_assert(holds(pdf, length, "/Subtype /Link"));
    ck_assert(holds(pdf, length, "/Outlines"));
    ck_assert(holds(pdf, length, "(Overview)"));
    ck_assert(holds(pdf, length, "/PageLabels"));
    /* "1 of 2" is written as a prefix and a number that counts from there. */
    ck_assert(holds(pdf, length, "0 << /S /D /St 2 /P (1 of ) >>"));
    ck_assert(holds(pdf, length, "1 << /S /D /St 2 /P (2 of ) >>"));
    /* 841.89 - 400 - 12.5 and 841.89 - 400 */
    ck_assert(holds(pdf, length, "/QuadPoints [ 30 441.89 130 441.89 130 429.39 30 429.39 ]"));
    /* The link's name is the destination's, whatever stood in it. */
    const char *dest = "detail-3a-20-22a-27b-5cc-29-22-20-c3-bc";
    ck_assert(holds(pdf, length, dest));
    an_free(pdf);
}
END_TEST

START_TEST(cannot_create)
{
    const char *const targets[] = {"no/such/folder/x.pdf", "."};
    for (size_t i = 0; i < 2; i++) {
        struct an_canvas *canvas = (struct an_canvas *)&canvas;
        struct an_error err = {0};
        ck_assert_int_eq(
            an_canvas_open_pdf(scratch_path(targets[i]), &an_paper_a4, &sample_info, &canvas, &err),
            AN_CANNOT_CREATE);
        ck_assert_ptr_null(canvas);
        ck_assert_int_eq(err.status, AN_CANNOT_CREATE);
        ck_assert(strstr(err.text, targets[i]) != NULL);
        ck_assert_int_eq(an_canvas_open_svg(scratch_path(targets[i]), 100, 100, &canvas, NULL),
                         AN_CANNOT_CREATE);
    }
    ck_assert_uint_eq(files_in_scratch(), 0);
}
END_TEST

START_TEST(abandoned_leaves_nothing)
{
    struct an_canvas *canvas = NULL;
    ck_assert_int_eq(
        an_canvas_open_pdf(scratch_path("a.pdf"), &an_paper_letter, &sample_info, &canvas, NULL),
        AN_OK);
    draw_sample(canvas);
    an_canvas_abandon(canvas);
    an_canvas_abandon(NULL);
    ck_assert_uint_eq(files_in_scratch(), 0);
}
END_TEST

/* A file that may not grow fails as a full disk does: in the midst of a write, or only when the
 * document is finished. */
/* A trial lays out as the document does, and leaves nothing. */
START_TEST(trial)
{
    struct an_canvas *canvas = NULL;
    struct an_canvas *real = NULL;
    const char *text =
        "dx of head H2 has risen by 0.8 µm since 02:10 on 4 March; 212 tiles carry it";
    ck_assert_int_eq(an_canvas_open_trial(&an_paper_a4, &canvas, NULL), AN_OK);
    ck_assert_int_eq(
        an_canvas_open_pdf(scratch_path("t.pdf"), &an_paper_a4, &sample_info, &real, NULL), AN_OK);
    for (double width = 40; width < 400; width += 7) {
        ck_assert(an_text_height(canvas, width, &body, text) ==
                  an_text_height(real, width, &body, text));
    }
    draw_sample(canvas);
    draw_sample(real);
    ck_assert_int_eq(an_canvas_page(canvas), an_canvas_page(real));
    an_canvas_abandon(canvas);
    an_canvas_abandon(real);
    ck_assert_int_ne(access(scratch_path("t.pdf"), F_OK), 0);
}
END_TEST

START_TEST(full_disk)
{
    signal(SIGXFSZ, SIG_IGN);
    static const rlim_t rooms[] = {0, 1, 1000, 4096, 20000};
    for (size_t i = 0; i < sizeof rooms / sizeof *rooms; i++) {
        struct rlimit before;
        ck_assert_int_eq(getrlimit(RLIMIT_FSIZE, &before), 0);
        struct an_canvas *canvas = NULL;
        struct an_error err = {0};
        ck_assert_int_eq(
            an_canvas_open_pdf(scratch_path("full.pdf"), &an_paper_a4, &sample_info, &canvas, &err),
            AN_OK);
        ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &(struct rlimit){rooms[i], before.rlim_max}), 0);
        for (int page = 0; page < 5; page++) {
            draw_sample(canvas);
            an_canvas_next_page(canvas);
        }
        const enum an_status st = an_canvas_close(canvas, &err);
        ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &before), 0);
        ck_assert_int_eq(st, AN_IO);
        ck_assert(strstr(err.text, "full.pdf") != NULL);
        ck_assert_uint_eq(files_in_scratch(), 0);
    }
}
END_TEST

/* The k-th allocation fails, for every k until none does. */
START_TEST(memory_runs_out)
{
    bool passed = false;
    size_t failures = 0;
    ck_assert_int_eq(write_sample(scratch_path("warm.pdf"), NULL), AN_OK);
    ck_assert_int_eq(unlink(scratch_path("warm.pdf")), 0);
    struct sample *sample = sample_full();
    for (size_t k = 1; k < 400 && !passed; k++) {
        struct an_error err = {0};
        struct an_canvas *canvas = NULL;
        an_alloc_fail_at(k, false);
        enum an_status st =
            an_canvas_open_pdf(scratch_path("m.pdf"), &an_paper_a4, &sample_info, &canvas, &err);
        if (!st) {
            const struct an_box box = {30, 60, 535, 270};
            an_plot_draw(canvas, &box, &sample->plot);
            an_canvas_link(canvas, &box, "a name");
            an_canvas_mark(canvas, "a name");
            st = an_canvas_close(canvas, &err);
        }
        an_alloc_fail_at(0, false);
        passed = st == AN_OK;
        failures += !passed;
        ck_assert(st == AN_OK || st == AN_NO_MEMORY);
        ck_assert_uint_eq(files_in_scratch(), passed ? 1 : 0);
    }
    sample_free(sample);
    ck_assert(passed);
    ck_assert_uint_gt(failures, 5);
}
END_TEST

static struct an_canvas *open_picture(const char *name)
{
    struct an_canvas *canvas = NULL;
    ck_assert_int_eq(an_canvas_open_svg(scratch_path(name), 300, 200, &canvas, NULL), AN_OK);
    return canvas;
}

static const struct {
    const char *text;
    bool all;
} glyph_rows[] = {
    {"", true},
    {"plain ASCII 0123456789 ~!@#$%^&*()", true},
    {"µ ² ³ ° σ Δ ± ≤ ≥ → ↑ ↓ – — − × · … • ∞ Ω", true},
    {"Łódź, Čapek, Ærø, straße, İzmir, Ελλάδα, Москва", true},
    {"line\nand\ttab and no-break\xC2\xA0space", true},
    {"😀", false},                 /* U+1F600 */
    {"量測", false},              /* no ideographs in our faces */
    {"bell \a", false},           /* control character */
    {"broken \xC3", false},       /* cut short */
    {"overlong \xC0\xAF", false}, /* RFC 3629, section 3 */
    {"surrogate \xED\xA0\x80", false},
};

START_TEST(glyphs)
{
    struct an_canvas *canvas = open_picture("g.svg");
    ck_assert_int_eq(an_text_has_glyphs(canvas, glyph_rows[_i].text), glyph_rows[_i].all);
    /* and can be set all the same, without a word on stderr */
    const double width = an_text_draw_baseline(canvas, 10, 100, &body, glyph_rows[_i].text);
    ck_assert(glyph_rows[_i].text[0] ? width > 0 : width < 0.001);
    ck_assert_int_eq(an_canvas_close(canvas, NULL), AN_OK);
}
END_TEST

START_TEST(text_is_measured_as_set)
{
    struct an_canvas *canvas = open_picture("t.svg");
    const char *text = "the mean of every tile has drifted since the stamp was changed";
    const double whole = an_text_width(canvas, &body, text);
    ck_assert(whole > 200 && whole < 330);
    ck_assert_double_eq_tol(an_text_draw_baseline(canvas, 0, 50, &body, text), whole, 1e-9);
    const double one = an_text_height(canvas, 0, &body, text);
    const double many = an_text_height(canvas, 80, &body, text);
    ck_assert(one > 9 && one < 13);
    ck_assert_double_eq_tol(many / one, round(many / one), 1e-6); /* whole lines */
    ck_assert(many / one > whole / 80);
    ck_assert_double_eq_tol(an_text_draw(canvas, 0, 60, 80, &body, text), many, 1e-9);
    for (double width = 1; width < 320; width += 7.3) {
        const double used = an_text_draw_fitted(canvas, 0, 50, width, &body, text);
        ck_assert(used >= 0 && used <= width + 0.01);
        ck_assert(width < whole || fabs(used - whole) < 0.01);
        ck_assert(width < 20 || used > width * 0.6);
    }
    ck_assert(an_text_draw_fitted(canvas, 0, 50, 0, &body, text) < 0.001);
    ck_assert(an_text_draw_fitted(canvas, 0, 50, -5, &body, text) < 0.001);
    /* Figures of one width: any number of so many digits is as wide as any other. */
    const struct an_type bold = {9, AN_BOLD, AN_INK, AN_RIGHT};
    ck_assert_double_eq_tol(an_text_width(canvas, &body, "111.11"),
                            an_text_width(canvas, &body, "888.08"), 1e-9);
    ck_assert_double_eq_tol(an_text_width(canvas, &bold, "111.11"),
                            an_text_width(canvas, &bold, "888.08"), 1e-9);
    ck_assert(an_text_width(canvas, &bold, text) > whole);
    /* Nothing is set smaller than 7 pt. */
    const struct an_type tiny = {2, AN_REGULAR, AN_INK, AN_LEFT};
    const struct an_type least = {7, AN_REGULAR, AN_INK, AN_LEFT};
    ck_assert_double_eq_tol(an_text_width(canvas, &tiny, text), an_text_width(canvas, &least, text),
                            1e-9);
    /* "->" in a serial number stays what it is: as wide as its two characters apart. */
    ck_assert_double_eq_tol(an_text_width(canvas, &body, "A->B"),
                            an_text_width(canvas, &body, "A-") + an_text_width(canvas, &body, ">B"),
                            0.7);
    an_canvas_abandon(canvas);
}
END_TEST

/* Relative luminance and contrast ratio as WCAG 2.1 defines them (from memory); 4.5 for text
 * (1.4.3), 3 for marks (1.4.11). The inks are read from the picture that they draw. */
static double luminance(const double rgb[3])
{
    static const double weight[3] = {0.2126, 0.7152, 0.0722};
    double sum = 0;
    for (int i = 0; i < 3; i++) {
        sum +=
            weight[i] * (rgb[i] <= 0.03928 ? rgb[i] / 12.92 : pow((rgb[i] + 0.055) / 1.055, 2.4));
    }
    return sum;
}

static const struct {
    enum an_ink ink;
    int red, green, blue; /* per 255 */
    double least;
} ink_rows[] = {
    {AN_INK, 0x1B, 0x1F, 0x24, 4.5},   {AN_GREY, 0x5A, 0x62, 0x70, 4.5},
    {AN_RAIL, 0x7A, 0x84, 0x90, 3.0},  {AN_SIGNAL, 0x9A, 0x2E, 0x00, 4.5},
    {AN_FENCE, 0x2F, 0x86, 0xBC, 3.0},
};

START_TEST(inks_can_be_read)
{
    struct an_canvas *canvas = open_picture("i.svg");
    const struct an_box box = {0, 0, 300, 200};
    an_draw_rectangle(canvas, &box, ink_rows[_i].ink, 1);
    ck_assert_int_eq(an_canvas_close(canvas, NULL), AN_OK);
    size_t length = 0;
    char *svg = read_file(scratch_path("i.svg"), &length);
    const char *at = strstr(svg, "rgb(");
    ck_assert_ptr_nonnull(at);
    double rgb[3] = {0};
    ck_assert_int_eq(sscanf(at, "rgb(%lf%%,%lf%%,%lf%%)", &rgb[0], &rgb[1], &rgb[2]), 3);
    for (int i = 0; i < 3; i++) {
        rgb[i] /= 100;
    }
    ck_assert_double_eq_tol(rgb[0] * 255, ink_rows[_i].red, 0.01);
    ck_assert_double_eq_tol(rgb[1] * 255, ink_rows[_i].green, 0.01);
    ck_assert_double_eq_tol(rgb[2] * 255, ink_rows[_i].blue, 0.01);
    ck_assert_double_ge((1.0 + 0.05) / (luminance(rgb) + 0.05), ink_rows[_i].least);
    an_free(svg);
}
END_TEST

/* Numbers that are not finite and boxes of no size draw nothing and break nothing. */
START_TEST(odd_numbers_draw_nothing)
{
    struct an_canvas *canvas = NULL;
    ck_assert_int_eq(
        an_canvas_open_pdf(scratch_path("o.pdf"), &an_paper_a4, &sample_info, &canvas, NULL),
        AN_OK);
    const double bad[4] = {NAN, INFINITY, -INFINITY, 5};
    an_draw_line(canvas, NAN, 0, 1, 1, 1, AN_INK);
    an_draw_dashes(canvas, 0, 0, INFINITY, 1, 1, 2, 2, AN_INK);
    an_draw_dashes(canvas, 0, 0, 5, 1, 1, 0, 0, AN_PAPER);
    an_draw_polyline(canvas, bad, bad, 4, 1, AN_INK);
    an_draw_dots(canvas, bad, bad, 3, 2, AN_INK);
    an_draw_polyline(canvas, bad, bad, 0, 1, AN_INK);
    an_draw_ring(canvas, NAN, 1, 2, 1, AN_INK);
    an_draw_ring(canvas, 1, 1, -2, 1, AN_INK);
    an_draw_polygon(canvas, bad, bad, 4, AN_INK);
    an_draw_hatch(canvas, &(struct an_box){0, 0, NAN, 3}, 3, AN_INK);
    an_draw_hatch(canvas, &(struct an_box){0, 0, 10, 3}, 0, AN_INK);
    an_draw_frame(canvas, &(struct an_box){0, 0, -1, 3}, 1, AN_INK);
    an_draw_rectangle(canvas, &(struct an_box){NAN, 0, 1, 3}, AN_INK, 1);
    an_text_draw(canvas, NAN, 10, 0, &body, "nowhere");
    ck_assert(an_text_draw_baseline(canvas, 10, 10, &body, NULL) < 0.001);
    an_canvas_link(canvas, &(struct an_box){0, 0, 0, 0}, "x");
    ck_assert_int_eq(an_canvas_close(canvas, NULL), AN_OK);
    struct picture picture;
    if (rasterise(scratch_path("o.pdf"), 50, &picture)) {
        for (size_t i = 0; i < picture.width * picture.height; i++) {
            ck_assert_uint_eq(picture.grey[i], 255);
        }
        picture_free(&picture);
    }
}
END_TEST

START_TEST(a_picture_has_one_page)
{
    struct an_canvas *canvas = open_picture("p.svg");
    an_canvas_mark(canvas, "no navigation in a picture");
    an_canvas_outline(canvas, 1, "none", "none");
    ck_assert_int_eq(an_canvas_page(canvas), 1);
    an_canvas_next_page(canvas);
    struct an_error err = {0};
    ck_assert_int_eq(an_canvas_close(canvas, &err), AN_BUG);
    ck_assert_uint_gt(strlen(err.text), 5);
    ck_assert_uint_eq(files_in_scratch(), 0);
}
END_TEST

int main(int argc, char **argv)
{
    if (argc == 3 && strcmp(argv[1], "--write-sample") == 0) {
        return write_sample(argv[2], NULL) ? 1 : 0;
    }
    Suite *suite = suite_create("draw canvas");
    TCase *tests = tcase_create("canvas");
    tcase_add_checked_fixture(tests, scratch_open, scratch_close);
    tcase_add_test(tests, same_bytes_everywhere);
    tcase_add_test(tests, navigation_and_information);
    tcase_add_test(tests, cannot_create);
    tcase_add_test(tests, abandoned_leaves_nothing);
    tcase_add_test(tests, trial);
    tcase_add_test(tests, full_disk);
    tcase_add_test(tests, memory_runs_out);
    tcase_add_loop_test(tests, glyphs, 0, sizeof glyph_rows / sizeof *glyph_rows);
    tcase_add_test(tests, text_is_measured_as_set);
    tcase_add_loop_test(tests, inks_can_be_read, 0, sizeof ink_rows / sizeof *ink_rows);
    tcase_add_test(tests, odd_numbers_draw_nothing);
    tcase_add_test(tests, a_picture_has_one_page);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
