/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A trace as an indented tree for a person. Must never call itself: chains of items may be longer
 * than the stack is deep.
 */
#include "cli/trace_answer.h"

#include <math.h>
#include <string.h>

enum { MOST_MISSING = 40, MOST_INDENT = 40 };

static void add_instant(struct an_cli *cli, const char *word, int64_t at_us)
{
    char text[40];

    if (at_us != AN_NO_INSTANT) {
        an_text_addf(&cli->out, ", %s %s", word,
                     an_instant_rfc3339_in(cli->line->zone, at_us, text));
    }
}

static void add_item(struct an_text *out, const struct an_item *item)
{
    an_text_addf(out, "%s ", item->kind);
    an_text_add_visible(out, an_bytes_of(item->serial), 200);
}

/* The step before it tells a share of the path, and this one ends it. */
static bool loses_share(const struct an_trace *trace, const struct an_trace_step *step)
{
    return isnan(step->share) && step->from != AN_TRACE_START &&
           !isnan(trace->steps[step->from].share);
}

static void add_step(struct an_cli *cli, const struct an_trace *trace,
                     const struct an_trace_step *step)
{
    struct an_text *out = &cli->out;
    const struct an_link *link = &step->link;
    char share[32];

    an_text_addf(out, "%*s", (int)(2 * (step->depth < MOST_INDENT ? step->depth : MOST_INDENT)),
                 "");
    add_item(out, &step->item);
    if (link->role) {
        an_text_add(out, ", as ");
        an_text_add_visible(out, an_bytes_of(link->role), 100);
    }
    if (link->region) {
        an_text_add(out, ", at ");
        an_text_add_visible(out, an_bytes_of(link->region), 100);
    }
    if (link->row >= 0 && link->column >= 0) {
        an_text_addf(out, ", row %lld column %lld", (long long)link->row, (long long)link->column);
    }
    if (!isnan(step->share)) {
        an_text_addf(out, ", %s", an_trace_share(step->share, share));
    } else if (loses_share(trace, step)) {
        an_text_add(out, ", share not told");
    }
    add_instant(cli, "since", step->from_us);
    add_instant(cli, "until", step->until_us);
    if (step->sure != AN_LINK_SURE_UNTOLD) {
        an_text_addf(out, ", %s", an_link_sure_word(step->sure));
    }
    an_text_addf(out, "  [%s:%llu]", step->file, (unsigned long long)step->line);
    if (link->corrected_by) {
        an_text_addf(out, "  (by correction %lld)", (long long)link->corrected_by);
    }
    an_text_add(out, step->circle  ? "  THIS LINK IS PART OF A LOOP"
                     : step->again ? "  (its own links stand further up)"
                     : step->more  ? "  (not entered)"
                                   : "");
    an_text_add(out, "\n");
}

struct level { /* the rest of an item's own steps */
    size_t next, end;
};

/* Where each item's own steps stand: they follow each other, in the order of the items. */
static struct level *find_own(struct an_cli *cli, const struct an_trace *trace)
{
    struct level *own = an_arena_alloc(cli->arena, trace->step_count + 1, sizeof *own);

    for (size_t k = 0; own && k < trace->step_count; k++) {
        const size_t from = trace->steps[k].from;
        struct level *at = &own[from == AN_TRACE_START ? trace->step_count : from];

        at->next = at->end ? at->next : k;
        at->end = k + 1;
    }
    return own;
}

static bool add_steps(struct an_cli *cli, const struct an_trace_answer *answer)
{
    const struct an_trace *trace = &answer->trace;
    struct level *own = find_own(cli, trace);
    struct level *stack = an_arena_alloc(cli->arena, trace->step_count + 2, sizeof *stack);
    size_t height = 0;

    if (!own || !stack) {
        return false;
    }
    stack[height++] = own[trace->step_count];
    while (height) {
        struct level *top = &stack[height - 1];

        if (top->next == top->end) {
            height--;
            continue;
        }
        const size_t k = top->next++;
        if (!answer->shown[k]) {
            continue;
        }
        add_step(cli, trace, &trace->steps[k]);
        if (!trace->steps[k].again) {
            stack[height++] = own[k];
        }
    }
    return true;
}

static void add_missing(struct an_cli *cli, const struct an_trace_answer *answer)
{
    struct an_text *out = &cli->out;

    if (!answer->missing_count) {
        return;
    }
    an_text_add(out, "missing\n");
    for (size_t k = 0; k < answer->missing_count && k < MOST_MISSING; k++) {
        const struct an_trace_missing *missing = &answer->missing[k];

        an_text_addf(out, "  no %s%s%s of ", missing->kind, missing->role ? " as " : "",
                     missing->role ? missing->role : "");
        add_item(out, &missing->item);
        an_text_addf(out, " is recorded; station %s would tell it\n", missing->station);
    }
    if (answer->missing_count > MOST_MISSING) {
        an_text_addf(out, "  and %zu more; --json lists them all\n",
                     answer->missing_count - MOST_MISSING);
    }
}

static void add_untold(struct an_cli *cli, const struct an_trace *trace)
{
    size_t untold = 0;

    for (size_t k = 0; k < trace->step_count; k++) {
        untold += isnan(trace->steps[k].link.share) ? 1 : 0;
    }
    if (untold) {
        an_text_addf(&cli->out, "  (%zu of %zu links tell%s no share; a path over one has none)\n",
                     untold, trace->step_count, untold == 1 ? "s" : "");
    }
}

static void add_ends(struct an_cli *cli, const struct an_trace_subject *subject,
                     const struct an_trace *trace)
{
    struct an_text *out = &cli->out;
    const bool up = trace->way == AN_TRACE_UP;

    for (size_t i = 0; i < subject->end_count[trace->way]; i++) {
        const struct an_known_as *end = &subject->ends[trace->way][i];

        an_text_add(out, "  ");
        add_item(out, up ? &end->item : &trace->item);
        an_text_add(out, " was taken out of ");
        add_item(out, up ? &trace->item : &end->item);
        add_instant(cli, "at", end->until_us);
        an_text_addf(out, ", and nobody told that it was in  [%s:%llu]\n", end->file,
                     (unsigned long long)end->line);
    }
}

static void add_known(struct an_cli *cli, const struct an_trace_subject *subject)
{
    for (size_t i = 0; i < subject->known_count; i++) {
        an_text_add(&cli->out, "  also known as ");
        add_item(&cli->out, &subject->known[i].item);
        add_instant(cli, "since", subject->known[i].from_us);
        add_instant(cli, "until", subject->known[i].until_us);
        an_text_addf(&cli->out, "  [%s", subject->known[i].file);
        if (subject->known[i].line) {
            an_text_addf(&cli->out, ":%llu", (unsigned long long)subject->known[i].line);
        }
        an_text_add(&cli->out, "]\n");
    }
}

static void add_grid(struct an_cli *cli, const struct an_item *whole, const char *kind,
                     const struct an_trace_grid *grid)
{
    struct an_text *out = &cli->out;

    for (size_t k = 0; k < grid->hole_count && k < MOST_MISSING; k++) {
        an_text_addf(out, "  row %lld column %lld of ", (long long)grid->holes[k].row,
                     (long long)grid->holes[k].column);
        add_item(out, whole);
        an_text_addf(out, " holds no %s\n", kind);
    }
    if (grid->hole_count > MOST_MISSING) {
        an_text_addf(out, "  and so do %zu more places\n", grid->hole_count - MOST_MISSING);
    }
    for (size_t k = 0; k < grid->place_count; k++) {
        if (grid->places[k].doubled) {
            an_text_addf(out, "  row %lld column %lld of ", (long long)grid->places[k].link.row,
                         (long long)grid->places[k].link.column);
            add_item(out, whole);
            an_text_add(out, " holds more than one, among them ");
            add_item(out, &grid->places[k].item);
            an_text_add(out, "\n");
        }
    }
}

static void add_grids(struct an_cli *cli, const struct an_trace_subject *subject,
                      const struct an_item *whole)
{
    size_t wrong = 0;

    for (size_t i = 0; i < subject->grid_count; i++) {
        wrong += an_trace_grid_faults(&subject->grids[i]);
    }
    if (wrong) {
        an_text_add(&cli->out, "places\n");
    }
    for (size_t i = 0; i < subject->grid_count; i++) {
        add_grid(cli, whole, subject->grid_kinds[i], &subject->grids[i]);
    }
}

void an_trace_tree(struct an_cli *cli, const struct an_trace_subject *subject,
                   const struct an_trace_answer *answers, size_t count)
{
    add_item(&cli->out, &answers[0].trace.item);
    an_text_add(&cli->out, "\n");
    add_known(cli, subject);
    for (size_t a = 0; a < count; a++) {
        const struct an_trace *trace = &answers[a].trace;
        const bool up = trace->way == AN_TRACE_UP;

        an_text_add(&cli->out, up ? "made of" : "went into");
        an_text_add(&cli->out, trace->step_count ? "\n" : ": nothing that is recorded\n");
        if (!add_steps(cli, &answers[a])) {
            cli->out.failed = true;
        }
        add_untold(cli, trace);
        add_missing(cli, &answers[a]);
        add_ends(cli, subject, trace);
    }
    add_grids(cli, subject, &answers[0].trace.item);
}
