/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pages of variance ladders: sentence, picture, numbers, assumptions, provenance. Never estimates.
 * The readings of one stream are held at a time.
 */
#include "report/ladder_page.h"

#include "andamento/base/number.h"
#include "andamento/draw/table.h"
#include "report/wording.h"

#include <math.h>
#include <stdlib.h>

struct sheet {
    struct an_lone_page lone;
    const struct an_ladder_report *report;
    const struct an_ladder_sight *sight;
    size_t page, pages;
};

static const char *text_of(struct sheet *s, const char *text)
{
    return an_lone_text(&s->lone, text);
}

static const char *digits(struct sheet *s, double value)
{
    return text_of(s, an_ladder_digits(s->lone.arena, value));
}

static const char *chance(struct sheet *s, double p)
{
    return !isfinite(p)  ? "-"
           : p < 0.00005 ? "<0.0001"
                         : text_of(s, an_arena_printf(s->lone.arena, "%.2g", p));
}

static void head(struct sheet *s)
{
    const struct an_ladder *ladder = s->sight->ladder;
    struct an_arena *arena = s->lone.arena;
    const char *what = an_arena_printf(arena, "%s (%s)", s->sight->title, ladder->stream.name);
    if (ladder->samples) {
        what = an_arena_printf(arena, "%s: %s of %s; %s", text_of(s, what),
                               text_of(s, an_say_many(arena, (int64_t)ladder->n, "reading")),
                               text_of(s, an_say_many(arena, (int64_t)ladder->samples, "sample")),
                               text_of(s, an_say_period(arena, s->lone.line->zone, ladder->first_us,
                                                        ladder->last_us)));
    }
    an_lone_head(&s->lone, "components of variance", text_of(s, what));
}

static void foot(struct sheet *s)
{
    const char *lines[] = {an_arena_printf(s->lone.arena, "store %s, andamento %s; page %zu of %zu",
                                           s->report->store_name, s->report->program_version,
                                           s->page, s->pages),
                           an_lone_ledger(&s->lone, &s->report->head)};
    an_lone_foot(&s->lone, lines, 2);
}

static void table(struct sheet *s, const struct an_table *table)
{
    const struct an_box box = {s->lone.x, s->lone.y, s->lone.width,
                               s->lone.paper->height_pt - s->lone.paper->margin_pt -
                                   an_lone_foot_height(2) - s->lone.y};
    size_t next = 0;
    s->lone.y += an_table_draw(s->lone.canvas, &box, table, 0, &next) + 4.0;
}

static void numbers(struct sheet *s)
{
    static const struct an_table_column columns[] = {{"level", 1.3, AN_LEFT, false},
                                                     {"groups", 0.75, AN_RIGHT, false},
                                                     {"df", 0.7, AN_RIGHT, false},
                                                     {"variance", 0.85, AN_RIGHT, false},
                                                     {"by ANOVA", 0.95, AN_RIGHT, false},
                                                     {"sd (95 % bounds)", 2.4, AN_RIGHT, false},
                                                     {"share (95 % bounds)", 2.05, AN_RIGHT, false},
                                                     {"sd without", 1.05, AN_RIGHT, false},
                                                     {"F", 0.6, AN_RIGHT, false},
                                                     {"p", 0.8, AN_RIGHT, false}};
    enum { COLUMNS = sizeof columns / sizeof *columns };
    const struct an_ladder *ladder = s->sight->ladder;
    const struct an_components *c = an_ladder_best(ladder);
    struct an_arena *arena = s->lone.arena;
    const char **cell = an_arena_alloc(arena, (c->levels + 2) * COLUMNS, sizeof *cell);
    if (!cell) {
        s->lone.failed = true;
        return;
    }
    for (size_t k = 0; k <= c->levels; k++) {
        const struct an_component *own = &c->at[k];
        const char *row[] = {
            ladder->name[k],
            text_of(s, an_say_count(arena, (int64_t)own->groups)),
            text_of(s, an_say_count(arena, (int64_t)own->df)),
            digits(s, own->variance),
            digits(s, ladder->squares.at[k].raw),
            text_of(s, an_arena_printf(arena, "%s (%s to %s)", digits(s, sqrt(own->variance)),
                                       digits(s, sqrt(own->lower)), digits(s, sqrt(own->upper)))),
            text_of(s, an_arena_printf(arena, "%.1f %% (%.1f to %.1f)", 100.0 * own->share,
                                       100.0 * own->share_lower, 100.0 * own->share_upper)),
            digits(s, ladder->without[k]),
            isfinite(own->f) ? digits(s, own->f) : "",
            isfinite(own->p) ? chance(s, own->p) : ""};
        for (size_t i = 0; i < COLUMNS; i++) {
            cell[k * COLUMNS + i] = row[i];
        }
    }
    const char **total = &cell[(c->levels + 1) * COLUMNS];
    total[0] = "the whole";
    total[2] = text_of(s, an_say_count(arena, (int64_t)c->n - 1));
    total[3] = digits(s, c->total);
    total[5] = digits(s, sqrt(c->total));
    total[6] = "100 %";
    const struct an_table t = {.columns = columns,
                               .column_count = COLUMNS,
                               .cells = cell,
                               .row_count = c->levels + 2,
                               .size_pt = 7.5};
    table(s, &t);
}

static void assumptions(struct sheet *s)
{
    static const struct an_table_column columns[] = {
        {"values of", 1.4, AN_LEFT, false},
        {"how many", 0.8, AN_RIGHT, false},
        {"normal shape: A2*, p", 1.6, AN_RIGHT, false},
        {"same spread in each group above: F, p", 2.6, AN_RIGHT, false},
        {"in order of time: autocorrelation, luck", 2.6, AN_RIGHT, false}};
    enum { COLUMNS = sizeof columns / sizeof *columns };
    const struct an_ladder_look *look = s->sight->look;
    struct an_arena *arena = s->lone.arena;
    const char **cell = an_arena_alloc(arena, look->count * COLUMNS, sizeof *cell);
    if (!cell) {
        s->lone.failed = true;
        return;
    }
    for (size_t k = 0; k < look->count; k++) {
        const struct an_ladder_rung *rung = &look->at[k];
        const char **row = &cell[k * COLUMNS];
        row[0] = s->sight->ladder->name[k];
        row[1] = text_of(s, an_say_count(arena, (int64_t)rung->count));
        row[2] = isfinite(rung->normality.p)
                     ? text_of(s, an_arena_printf(arena, "%.2f, %s", rung->normality.a2_star,
                                                  chance(s, rung->normality.p)))
                     : "not tested";
        row[3] = isfinite(rung->spread.p)
                     ? text_of(s, an_arena_printf(arena, "%.2f, %s", rung->spread.f,
                                                  chance(s, rung->spread.p)))
                 : k ? "not tested"
                     : "";
        row[4] = isfinite(rung->lag1) ? text_of(s, an_arena_printf(arena, "%.2f, within +-%.2f",
                                                                   rung->lag1, rung->lag1_bound))
                 : k                  ? ""
                                      : "not tested";
    }
    const struct an_table t = {.columns = columns,
                               .column_count = COLUMNS,
                               .cells = cell,
                               .row_count = look->count,
                               .size_pt = 7.5};
    table(s, &t);
}

/* All in one paragraph: they are short, and the page has one foot. */
static const char *notes(struct sheet *s)
{
    const struct an_ladder *ladder = s->sight->ladder;
    const char *all = "";
    for (size_t i = 0; i < ladder->note_count; i++) {
        all = text_of(
            s, an_arena_printf(s->lone.arena, "%s%s%s", all, i ? "; " : "", ladder->notes[i]));
    }
    return text_of(s, an_arena_printf(s->lone.arena, "%s.", all));
}

static void compose(struct sheet *s)
{
    const struct an_ladder *ladder = s->sight->ladder;
    struct an_arena *arena = s->lone.arena;
    head(s);
    foot(s);
    an_lone_say(&s->lone, &an_lone_lead, an_ladder_lead(arena, s->sight));
    if (!ladder->why_not) {
        an_lone_say(&s->lone, &an_lone_body, an_ladder_advice(arena, s->sight));
        an_lone_heading(&s->lone, "The ladder: from the whole to its parts");
        an_ladder_picture(&s->lone, s->sight);
        an_lone_say(&s->lone, &an_lone_small,
                    "Dots: readings about the mean, then groups about the group above them, then "
                    "readings about their own group; one scale. The bar below: one sd either way. "
                    "Means of groups carry a little of the levels below, which the sd does not.");
        an_lone_heading(&s->lone, "Numbers");
        numbers(s);
        an_lone_say(&s->lone, &an_lone_body, an_ladder_method(arena, s->sight));
        an_lone_say(&s->lone, &an_lone_body, an_ladder_gauge_words(arena, s->sight));
        an_lone_heading(&s->lone, "Were the assumptions met?");
        assumptions(s);
        an_lone_say(&s->lone, &an_lone_body, an_ladder_assumptions(arena, s->sight));
    }
    if (ladder->note_count) {
        an_lone_heading(&s->lone, "What was done to the readings");
        an_lone_say(&s->lone, &an_lone_body, notes(s));
    }
    if (ladder->why_not) {
        return;
    }
    an_lone_say(&s->lone, &an_lone_small,
                "A ladder says on which level the scatter lies, in this period, and not what "
                "causes it. It is a description, not a release of product.");
}

/* One page; the readings go again with it. */
static enum an_status one_page(struct an_store *store, const struct an_line *line,
                               const struct an_stream *stream, struct sheet *s,
                               struct an_canvas *canvas, struct an_error *err)
{
    const struct an_ladder_report *report = s->report;
    const struct an_station *station = NULL;
    const struct an_characteristic *characteristic = NULL;
    const char *purpose = NULL;
    struct an_ladder ladder;
    struct an_ladder_look look = {0};
    struct an_stream_gauge gauge = {0};
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    s->lone = an_lone_page_of(canvas, line, report->paper, arena);
    enum an_status st =
        an_ladder_of(store, line, stream, report->from_us, report->until_us, arena, &ladder, err);
    if (!st && !ladder.why_not) {
        st = an_ladder_look_at(&ladder, arena, &look, err);
        (void)an_judge_resolve(line, stream, &station, &characteristic, &purpose, arena);
        st = st ? st
                : an_stream_gauge_of(store, line, stream, station, characteristic,
                                     ladder.last_us + 1, arena, &gauge, err);
    }
    if (!st) {
        const char *title = an_judge_title(line, stream, arena);
        struct an_ladder_sight *sight = an_arena_alloc(arena, 1, sizeof *sight);
        s->lone.failed = !title || !sight;
        if (!s->lone.failed) {
            *sight = (struct an_ladder_sight){
                .ladder = &ladder, .look = &look, .gauge = &gauge, .title = title};
            s->sight = sight;
            compose(s);
            s->sight = NULL; /* it ends with this page */
        }
        st = s->lone.failed
                 ? an_fail(err, AN_NO_MEMORY, "out of memory while drawing a variance ladder")
                 : AN_OK;
    }
    an_arena_close(arena);
    return st;
}

static int64_t created_us(const struct an_stream streams[], size_t count, int64_t until_us)
{
    const char *epoch =
        getenv("SOURCE_DATE_EPOCH"); /* NOLINT(concurrency-mt-unsafe) nobody sets it */
    int64_t seconds = 0;
    int64_t newest = 0;
    if (epoch && !an_integer_parse(an_bytes_of(epoch), &seconds) && seconds >= 0 &&
        seconds < INT64_C(253402300800)) { /* the year 10000 */
        return seconds * AN_SECOND_US;
    }
    for (size_t i = 0; i < count; i++) {
        newest = streams[i].last_us > newest ? streams[i].last_us : newest;
    }
    return newest < until_us ? newest : until_us;
}

enum an_status an_ladder_report_write(struct an_store *store, const struct an_line *line,
                                      const struct an_stream streams[], size_t count,
                                      const struct an_ladder_report *report, struct an_error *err)
{
    struct an_canvas *canvas = NULL;
    const struct an_document_info info = {.title = "Components of variance",
                                          .author = line->title ? line->title : line->name,
                                          .subject = count == 1 ? streams[0].name : "streams",
                                          .created_us =
                                              created_us(streams, count, report->until_us)};
    if (!count) {
        return an_fail(err, AN_TOO_FEW, "no stream to draw a variance ladder of");
    }
    enum an_status st = an_canvas_open_pdf(report->path, report->paper, &info, &canvas, err);
    if (st) {
        return st;
    }
    an_canvas_expect_pages(canvas, (int)count);
    for (size_t i = 0; !st && i < count; i++) {
        struct sheet s = {.report = report, .page = i + 1, .pages = count};
        if (i) {
            an_canvas_next_page(canvas);
        }
        st = one_page(store, line, &streams[i], &s, canvas, err);
    }
    if (st) {
        an_canvas_abandon(canvas);
        return st;
    }
    return an_canvas_close(canvas, err);
}
