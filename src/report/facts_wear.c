/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a page says of a tool that wears: its line, and when the tool in use will be at its end.
 * Must never promise an end that the rate does not bear, nor one beyond the line's own unit of life.
 */
#include "andamento/base/text.h"
#include "judge/along.h"
#include "report/facts.h"
#include "report/wording.h"

#include <math.h>

struct tool { /* in use: newest sample first */
    double *life, *y;
    size_t n;
    int64_t newest_us, oldest_us;
};

/* Its samples since life last fell. False: memory. */
static bool tool_in_use(const struct an_facts *of, struct tool *tool)
{
    const struct an_stream_view *view = of->view;
    *tool = (struct tool){
        .life = an_arena_alloc(of->gather->arena, 2 * view->count + 1, sizeof *tool->life)};
    if (!tool->life) {
        return false;
    }
    tool->y = tool->life + view->count;
    for (size_t i = view->count; i > 0; i--) {
        const struct an_judged_point *point = &view->points[i - 1];
        const double here = an_life_of(point->sample.ribbon);
        if (isnan(here) || point->excluded || point->sample.n < 1) {
            continue;
        }
        if (tool->n && here > tool->life[tool->n - 1]) {
            break; /* the tool before */
        }
        tool->newest_us = tool->n ? tool->newest_us : point->sample.at_us;
        tool->oldest_us = point->sample.at_us;
        tool->life[tool->n] = here;
        tool->y[tool->n++] = point->sample.mean;
    }
    return true;
}

static const char *life_word(const struct an_stream_view *view)
{
    return view->characteristic->ribbon_column ? view->characteristic->ribbon_column : "life";
}

static const char *line_text(const struct an_facts *of)
{
    const struct an_wear *wear = &of->limits->model.wear;
    struct an_arena *arena = of->gather->arena;
    const int places = an_decimals_of(2 * wear->rate_se);

    return an_arena_printf(arena, "%s by %s ± %s %s (95 %%) a unit of %s, learned from %s",
                           wear->rate < 0 ? "falls" : "rises",
                           an_say_number(arena, fabs(wear->rate), places),
                           an_say_number(arena, 2 * wear->rate_se, places), of->sheet->unit,
                           life_word(of->view), an_say_many(arena, (int64_t)wear->tools, "tool"));
}

/* "; at the pace so far about 7 March 08:10" */
static void add_date(struct an_text *text, const struct an_facts *of, const struct tool *tool,
                     double end)
{
    const double run = tool->life[0] - tool->life[tool->n - 1];
    const double spent = (double)(tool->newest_us - tool->oldest_us);
    const double left = (end - tool->life[0]) / run * spent;
    const double most = 366.0 * 24 * 60 * (double)AN_MINUTE_US;

    if (run > 0 && spent > 0 && left < most) {
        an_text_addf(text, "; at its pace so far about %s",
                     an_say_time(of->gather->arena, of->gather->line->zone,
                                 tool->newest_us + (int64_t)left));
    }
}

static const char *end_text(const struct an_facts *of, const struct tool *tool)
{
    const struct an_wear *wear = &of->limits->model.wear;
    const struct an_characteristic *c = of->view->characteristic;
    const double limit = wear->rate > 0 ? c->usl : c->lsl;
    const char *side = wear->rate > 0 ? "upper" : "lower";
    struct an_arena *arena = of->gather->arena;
    struct an_text text = {0};
    struct an_wear_end end;

    an_text_addf(&text, "the tool in use stands at %s %s", an_say_plain(arena, tool->life[0]),
                 life_word(of->view));
    if (isnan(limit)) {
        an_text_addf(&text, "; no end is foreseen, since the spec has no %s limit", side);
    } else {
        const enum an_status st =
            an_wear_end_of(wear, tool->life, tool->y, tool->n, limit, 0.95, &end);
        const char *what = an_arena_printf(
            arena, "the %s spec limit, %s", side,
            an_say_measure(arena, limit * of->view->scale, of->sheet->decimals, of->sheet->unit));
        if (st == AN_NO_SPREAD) {
            an_text_add(&text, "; the rate cannot be told from 0, so no end can be foreseen");
        } else if (!st && end.life <= tool->life[0]) {
            an_text_addf(&text, "; its line has passed %s", what);
        } else if (!st) {
            an_text_addf(&text, "; its line reaches %s, at about %s (95 %%: %s to %s)", what,
                         an_say_digits(arena, end.life),
                         an_say_digits(arena, fmax(end.lower, tool->life[0])),
                         an_say_digits(arena, end.upper));
            add_date(&text, of, tool, end.life);
        }
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

void an_facts_of_wear(const struct an_facts *of)
{
    struct tool tool;

    an_fact_add(of->sheet, "Wear", line_text(of));
    if (tool_in_use(of, &tool) && tool.n) {
        an_fact_add(of->sheet, "End of life", end_text(of, &tool));
    }
}
