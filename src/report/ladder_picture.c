/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The ladder itself: two rails, a rung a level, on each rung the bar of its share with the whisker of
 * its bounds; beside it the level's own values as dots, all on one scale, so that the eye compares
 * their spread. Responsible for showing every value; computes nothing but positions.
 *
 * The hard idea: twenty-five thousand readings and seven batches must be seen side by side. Dots are
 * stacked in columns of one width; where a column would be too high, each dot stands for more, and the
 * row says for how many.
 */
#include "report/ladder_page.h"
#include "report/wording.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define ROW_PT 56.0
#define GAUGE_ROW_PT 32.0
#define AXIS_PT 16.0
#define DOT_PT 2.6
#define NAME_PT 108.0
#define BAR_PT 150.0
#define GAP_PT 22.0
#define SD_PT 84.0

static const struct an_type strong = {8.5, AN_BOLD, AN_INK, AN_LEFT};
static const struct an_type body = {8.5, AN_REGULAR, AN_INK, AN_LEFT};
static const struct an_type small_centre = {7.5, AN_REGULAR, AN_GREY, AN_CENTRE};
static const struct an_type small_right = {7.5, AN_REGULAR, AN_GREY, AN_RIGHT};

struct frame {
    struct an_lone_page *page;
    struct an_canvas *canvas;
    double bar_x, dots_x, dots_width, sd_x;
    double reach; /* the dots' scale goes from -reach to reach */
};

struct rung {
    const char *name, *count, *share, *sd, *bounds;
    double part, lower, upper; /* of the whole; NAN bounds: none */
    double deviation;          /* sd */
    const double *value;       /* NULL: no dots */
    size_t n;
    const char *what; /* "tile": of the dots */
    bool beside;      /* not a part of the sum */
};

static double across(const struct frame *f, double deviation)
{
    return f->dots_x + f->dots_width * (0.5 + 0.5 * deviation / f->reach);
}

double an_ladder_picture_height(const struct an_ladder_sight *sight)
{
    const size_t rows = an_ladder_best(sight->ladder)->levels + 2;
    return (double)rows * ROW_PT + (isfinite(sight->gauge->variance) ? GAUGE_ROW_PT : 0.0) +
           AXIS_PT;
}

static void draw_bar(const struct frame *f, const struct rung *rung, double base)
{
    struct an_canvas *canvas = f->canvas;
    const double part = fmin(rung->part, 1.0);
    const struct an_box box = {f->bar_x, base - 13.0, BAR_PT * part, 10.0};
    an_draw_line(canvas, f->bar_x, base, f->bar_x + BAR_PT, base, rung->beside ? 0.4 : 1.0,
                 AN_RAIL);
    if (box.width > 0.0 && rung->beside) {
        an_draw_hatch(canvas, &box, 2.5, AN_INK);
        an_draw_frame(canvas, &box, 0.5, AN_INK);
    } else if (box.width > 0.0) {
        an_draw_rectangle(canvas, &box, AN_GREY, 0.5);
    }
    if (isfinite(rung->lower) && isfinite(rung->upper)) {
        const double low = f->bar_x + BAR_PT * fmin(rung->lower, 1.0);
        const double high = f->bar_x + BAR_PT * fmin(rung->upper, 1.0);
        const double y = base - 8.0;
        an_draw_line(canvas, low, y, high, y, 1.0, AN_INK);
        an_draw_line(canvas, low, y - 3.5, low, y + 3.5, 1.0, AN_INK);
        if (rung->upper <= 1.0) { /* else it goes on: no end is drawn */
            an_draw_line(canvas, high, y - 3.5, high, y + 3.5, 1.0, AN_INK);
        }
    }
    an_text_draw_fitted(canvas, f->bar_x + 3.0, base - 17.0, BAR_PT - 4.0, &body, rung->share);
}

/* How many values lie in each column, and on how many of them each side leaves the scale. */
static size_t *fill_columns(const struct frame *f, const struct rung *rung, size_t columns,
                            size_t *below, size_t *above)
{
    size_t *count = an_arena_alloc(f->page->arena, columns, sizeof *count);
    for (size_t i = 0; count && i < rung->n; i++) {
        const double at = (across(f, rung->value[i]) - f->dots_x) / DOT_PT;
        if (at < 0.0) {
            ++*below;
        } else if (at >= (double)columns) {
            ++*above;
        } else {
            count[(size_t)at]++;
        }
    }
    return count;
}

static void tell_beyond(const struct frame *f, size_t below, size_t above, double base)
{
    char text[40];
    if (below) {
        (void)snprintf(text, sizeof text, "%zu further", below);
        an_text_draw_fitted(f->canvas, f->dots_x, base - 22.0, 60, &an_lone_small, text);
    }
    if (above) {
        (void)snprintf(text, sizeof text, "%zu further", above);
        an_text_draw_fitted(f->canvas, f->dots_x + f->dots_width - 60.0, base - 22.0, 60,
                            &small_right, text);
    }
}

/* Returns how many values a dot stands for at most; 0: memory was out. */
static size_t draw_dots(const struct frame *f, const struct rung *rung, double base)
{
    const size_t columns = (size_t)(f->dots_width / DOT_PT);
    const size_t stack = (size_t)((ROW_PT - 24.0) / DOT_PT);
    size_t below = 0;
    size_t above = 0;
    size_t highest = 1;
    size_t dots = 0;
    const size_t *count = fill_columns(f, rung, columns, &below, &above);
    for (size_t c = 0; count && c < columns; c++) {
        highest = count[c] > highest ? count[c] : highest;
    }
    const size_t each = (highest + stack - 1) / stack;
    double *x = an_arena_alloc(f->page->arena, columns * stack, sizeof *x);
    double *y = an_arena_alloc(f->page->arena, columns * stack, sizeof *y);
    if (!count || !x || !y) {
        f->page->failed = true;
        return 0;
    }
    for (size_t c = 0; c < columns; c++) {
        for (size_t k = 0; k < (count[c] + each - 1) / each; k++) {
            x[dots] = f->dots_x + ((double)c + 0.5) * DOT_PT;
            y[dots++] = base - 2.0 - ((double)k + 0.5) * DOT_PT;
        }
    }
    an_draw_dots(f->canvas, x, y, dots, DOT_PT * 0.85, AN_INK);
    tell_beyond(f, below, above, base);
    return each;
}

/* Plus and minus one sd, below the dots. */
static void draw_sd(const struct frame *f, const struct rung *rung, double base)
{
    const double low = across(f, -fmin(rung->deviation, f->reach));
    const double high = across(f, fmin(rung->deviation, f->reach));
    const double y = base + 5.0;
    an_draw_line(f->canvas, low, y, high, y, 1.8, AN_INK);
    an_draw_line(f->canvas, low, y - 3.0, low, y + 3.0, 1.0, AN_INK);
    an_draw_line(f->canvas, high, y - 3.0, high, y + 3.0, 1.0, AN_INK);
}

static void draw_rung(const struct frame *f, const struct rung *rung, double base)
{
    struct an_lone_page *page = f->page;
    draw_bar(f, rung, base);
    an_draw_line(f->canvas, f->dots_x, base, f->dots_x + f->dots_width, base, 0.4, AN_RAIL);
    an_text_draw_fitted(f->canvas, page->x, base - 9.0, NAME_PT - 6.0, &strong, rung->name);
    an_text_draw_fitted(f->canvas, page->x, base + 1.0, NAME_PT - 6.0, &an_lone_small, rung->count);
    if (rung->value) {
        const size_t each = draw_dots(f, rung, base);
        const char *text =
            each > 1 ? an_arena_printf(page->arena, "a dot: up to %zu", each) : "a dot each";
        an_text_draw_fitted(f->canvas, f->sd_x, base - 21.0, SD_PT, &an_lone_note,
                            an_lone_text(page, text));
    }
    draw_sd(f, rung, base);
    an_text_draw_fitted(f->canvas, f->sd_x, base - 9.0, SD_PT, &strong, rung->sd);
    an_text_draw_fitted(f->canvas, f->sd_x, base + 1.0, SD_PT, &an_lone_small, rung->bounds);
}

static const char *counted(struct an_lone_page *page, size_t n, const char *noun)
{
    const char *many = an_say_plural(page->arena, noun);
    const char *number = an_say_count(page->arena, (int64_t)n);
    return an_lone_text(
        page, many && number ? an_arena_printf(page->arena, "%s %s", number, n == 1 ? noun : many)
                             : NULL);
}

static const char *digits(struct an_lone_page *page, double value)
{
    return an_lone_text(page, an_ladder_digits(page->arena, value));
}

static struct rung whole_rung(struct an_lone_page *page, const struct an_ladder *ladder)
{
    const struct an_components *c = an_ladder_best(ladder);
    double *value = an_arena_alloc(page->arena, ladder->n + 1, sizeof *value);
    for (size_t i = 0; value && i < ladder->n; i++) {
        value[i] = ladder->value[i] - c->mean;
    }
    page->failed = page->failed || !value;
    return (struct rung){.name = "the whole",
                         .count = counted(page, ladder->n, "reading"),
                         .share = "100 % of the variance",
                         .sd = an_lone_text(page, an_arena_printf(page->arena, "sd %s",
                                                                  digits(page, sqrt(c->total)))),
                         .bounds = "all levels together",
                         .part = 1.0,
                         .lower = (double)NAN,
                         .upper = (double)NAN,
                         .deviation = sqrt(c->total),
                         .value = value,
                         .n = value ? ladder->n : 0};
}

static struct rung level_rung(struct an_lone_page *page, const struct an_ladder_sight *sight,
                              size_t k)
{
    const struct an_ladder *ladder = sight->ladder;
    const struct an_components *c = an_ladder_best(ladder);
    const struct an_component *own = &c->at[k];
    struct an_arena *arena = page->arena;
    return (struct rung){
        .name = ladder->name[k],
        .count = counted(page, sight->look->at[k].count, k == c->levels ? "reading" : "group"),
        .share = an_lone_text(page,
                              an_arena_printf(arena, "%.0f %% (%.0f to %.0f)%s", 100.0 * own->share,
                                              100.0 * own->share_lower, 100.0 * own->share_upper,
                                              own->cut ? ", cut at 0" : "")),
        .sd =
            an_lone_text(page, an_arena_printf(arena, "sd %s", digits(page, sqrt(own->variance)))),
        .bounds =
            an_lone_text(page, an_arena_printf(arena, "%s to %s", digits(page, sqrt(own->lower)),
                                               digits(page, sqrt(own->upper)))),
        .part = own->share,
        .lower = own->share_lower,
        .upper = own->share_upper,
        .deviation = sqrt(own->variance),
        .value = sight->look->at[k].value,
        .n = sight->look->at[k].count};
}

static struct rung gauge_rung(struct an_lone_page *page, const struct an_ladder_sight *sight)
{
    const struct an_stream_gauge *g = sight->gauge;
    const double total = an_ladder_best(sight->ladder)->total;
    struct an_arena *arena = page->arena;
    return (struct rung){
        .name = "of this, the gauge",
        .count = an_lone_text(
            page, an_arena_printf(arena, "%s, study %lld", g->gauge, (long long)g->study.study_id)),
        .share = an_lone_text(page, an_arena_printf(arena, "%.1f %% (%.1f to %.1f)",
                                                    100.0 * g->variance / total,
                                                    100.0 * g->variance_lower / total,
                                                    100.0 * g->variance_upper / total)),
        .sd = an_lone_text(page, an_arena_printf(arena, "sd %s", digits(page, sqrt(g->variance)))),
        .bounds = an_lone_text(page, an_arena_printf(arena, "%s to %s",
                                                     digits(page, sqrt(g->variance_lower)),
                                                     digits(page, sqrt(g->variance_upper)))),
        .part = g->variance / total,
        .lower = g->variance_lower / total,
        .upper = g->variance_upper / total,
        .deviation = sqrt(g->variance),
        .beside = true};
}

/* Shares below the rails, round deviations below the dots. */
static void draw_axes(const struct frame *f, const char *unit, double base)
{
    char text[40];
    const double y = base + 12.0;
    for (int part = 0; part <= 100; part += 50) {
        const double x = f->bar_x + BAR_PT * part / 100.0;
        (void)snprintf(text, sizeof text, "%d %%", part);
        an_draw_line(f->canvas, x, base, x, base + 4.0, 0.6, AN_RAIL);
        an_text_draw_fitted(f->canvas, x - 20.0, y, 40, &small_centre, text);
    }
    an_text_draw_fitted(f->canvas, f->bar_x, y + 9.0, BAR_PT, &small_centre,
                        "share of the variance, 95 % bounds");
    const double rough = f->reach / 2.5;
    const double power = pow(10.0, floor(log10(rough)));
    const double step = power * (rough / power <= 1.0   ? 1.0
                                 : rough / power <= 2.0 ? 2.0
                                 : rough / power <= 5.0 ? 5.0
                                                        : 10.0);
    for (double k = ceil(-f->reach / step); k * step <= f->reach; k += 1.0) {
        const double x = across(f, k * step);
        (void)snprintf(text, sizeof text, "%s%.6g", k > 0.5 ? "+" : "",
                       fabs(k) < 0.5 ? 0.0 : k * step);
        an_draw_line(f->canvas, x, base + 9.0, x, base + 12.0, 0.6, AN_RAIL);
        an_text_draw_fitted(f->canvas, x - 24.0, y + 8.0, 48, &small_centre, text);
    }
    const bool has_unit = unit && *unit && strcmp(unit, "1") != 0;
    an_text_draw_fitted(f->canvas, f->sd_x, y + 8.0, SD_PT, &an_lone_small, has_unit ? unit : "");
}

void an_ladder_picture(struct an_lone_page *page, const struct an_ladder_sight *sight)
{
    const struct an_ladder *ladder = sight->ladder;
    const struct an_components *c = an_ladder_best(ladder);
    const double right = page->x + page->width;
    struct frame f = {.page = page,
                      .canvas = page->canvas,
                      .bar_x = page->x + NAME_PT,
                      .dots_x = page->x + NAME_PT + BAR_PT + GAP_PT,
                      .sd_x = right - SD_PT};
    f.dots_width = f.sd_x - 12.0 - f.dots_x;
    const struct rung whole = whole_rung(page, ladder);
    for (size_t i = 0; i < whole.n; i++) {
        f.reach = fmax(f.reach, fabs(whole.value[i]));
    }
    f.reach = fmin(fmax(f.reach, 3.0 * whole.deviation), 5.0 * whole.deviation) * 1.04;
    const double top = page->y + ROW_PT - 14.0;
    double base = top;
    draw_rung(&f, &whole, base);
    for (size_t k = 0; k <= c->levels; k++) {
        const struct rung rung = level_rung(page, sight, k);
        base += ROW_PT;
        draw_rung(&f, &rung, base);
    }
    for (size_t side = 0; side < 2; side++) {
        const double x = f.bar_x + (side ? BAR_PT : 0.0);
        an_draw_line(f.canvas, x, top - 24.0, x, base, 1.0, AN_RAIL);
    }
    if (isfinite(sight->gauge->variance)) {
        const struct rung rung = gauge_rung(page, sight);
        base += GAUGE_ROW_PT;
        draw_rung(&f, &rung, base);
    }
    draw_axes(&f, ladder->characteristic->unit, base);
    page->y += an_ladder_picture_height(sight);
}
