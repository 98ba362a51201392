/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A trace as a table, as JSON and as a graph. Must never leave out that something is left out: what
 * was cut, not entered or part of a loop is said in every form.
 */
#include "cli/trace_answer.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const char *an_trace_share(double share, char buffer[32])
{
    buffer[0] = '\0';
    if (!isnan(share)) {
        (void)snprintf(buffer, 32, "%.4g %%", 100 * share);
    }
    return buffer;
}

/* ---- what was asked for --------------------------------------------------------------------------- */
/* Is the text among the values of an option that may be given several times? Yes if it is not given. */
static bool is_among(const struct an_cli *cli, const char *option, const char *text)
{
    const char *value = an_option_value_at(&cli->options, option, 0);

    for (size_t k = 0; value; value = an_option_value_at(&cli->options, option, ++k)) {
        if (text && strcmp(value, text) == 0) {
            return true;
        }
    }
    return an_option_value(&cli->options, option) == NULL;
}

enum an_status an_trace_answer_mark(struct an_cli *cli, struct an_trace_answer *answer)
{
    const struct an_trace *trace = &answer->trace;

    answer->asked = an_arena_alloc(cli->arena, trace->step_count + 1, sizeof(bool));
    answer->shown = an_arena_alloc(cli->arena, trace->step_count + 1, sizeof(bool));
    answer->reached_asked = an_arena_alloc(cli->arena, trace->reached_count + 1, sizeof(bool));
    if (!answer->asked || !answer->shown || !answer->reached_asked) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t k = trace->step_count; k-- > 0;) { /* a step stands behind the one it starts from */
        const struct an_trace_step *step = &trace->steps[k];

        answer->asked[k] =
            is_among(cli, "kind", step->item.kind) && is_among(cli, "role", step->role);
        answer->shown[k] = answer->shown[k] || answer->asked[k];
        if (answer->shown[k] && step->from != AN_TRACE_START) {
            answer->shown[step->from] = true;
        }
    }
    for (size_t k = 0; k < trace->reached_count; k++) {
        answer->reached_asked[k] = is_among(cli, "kind", trace->reached[k].item.kind) &&
                                   is_among(cli, "role", trace->reached[k].role);
    }
    return AN_OK;
}

/* ---- table and CSV -------------------------------------------------------------------------------- */
static void cell_instant(struct an_cli *cli, struct an_cli_table *table, int64_t at_us)
{
    char text[40];

    an_cli_cell(table, at_us == AN_NO_INSTANT ? ""
                       : cli->format == AN_FORMAT_CSV
                           ? an_instant_rfc3339(at_us, text)
                           : an_instant_rfc3339_in(cli->line->zone, at_us, text));
}

static void cell_share(struct an_cli *cli, struct an_cli_table *table, double share)
{
    char text[32];

    if (cli->format == AN_FORMAT_CSV && !isnan(share)) {
        an_cli_cellf(table, "%.17g", share);
    } else {
        an_cli_cell(table, an_trace_share(share, text));
    }
}

static void cell_place(struct an_cli_table *table, int64_t place)
{
    if (place < 0) {
        an_cli_cell(table, "");
    } else {
        an_cli_cellf(table, "%lld", (long long)place);
    }
}

static const char *note_of(const struct an_trace_step *step)
{
    return step->circle ? "loop" : step->again ? "again" : step->more ? "not entered" : "";
}

static void links_table(struct an_cli *cli, const struct an_trace_answer *answers, size_t count)
{
    static const char *const titles[] = {
        "way",    "depth",      "kind",   "serial", "from_kind", "from_serial", "role",
        "region", "row",        "column", "share",  "path_role", "path_share",  "since",
        "until",  "confidence", "file",   "line",   "note"};
    struct an_cli_table table = {.titles = titles,
                                 .columns = sizeof titles / sizeof *titles,
                                 .right = 2U | 256U | 512U | 1024U | 4096U | 131072U};

    for (size_t a = 0; a < count; a++) {
        const struct an_trace *trace = &answers[a].trace;

        for (size_t k = 0; k < trace->step_count; k++) {
            const struct an_trace_step *step = &trace->steps[k];
            const struct an_item *from =
                step->from == AN_TRACE_START ? &trace->item : &trace->steps[step->from].item;

            if (!answers[a].asked[k]) {
                continue;
            }
            an_cli_cell(&table, trace->way == AN_TRACE_UP ? "up" : "down");
            an_cli_cellf(&table, "%u", step->depth);
            an_cli_cell(&table, step->item.kind);
            an_cli_cell(&table, step->item.serial);
            an_cli_cell(&table, from->kind);
            an_cli_cell(&table, from->serial);
            an_cli_cell(&table, step->link.role ? step->link.role : "");
            an_cli_cell(&table, step->link.region ? step->link.region : "");
            cell_place(&table, step->link.row);
            cell_place(&table, step->link.column);
            cell_share(cli, &table, step->link.share);
            an_cli_cell(&table, step->role ? step->role : "");
            cell_share(cli, &table, step->share);
            cell_instant(cli, &table, step->from_us);
            cell_instant(cli, &table, step->until_us);
            an_cli_cell(&table, an_link_sure_word(step->sure));
            an_cli_cell(&table, step->file);
            an_cli_cellf(&table, "%llu", (unsigned long long)step->line);
            an_cli_cell(&table, note_of(step));
        }
    }
    an_cli_table_print(cli, &table);
}

static void sums_table(struct an_cli *cli, const struct an_trace_answer *answers, size_t count)
{
    static const char *const titles[] = {"way",   "kind",        "serial", "role",     "depth",
                                         "share", "share_whole", "holds",  "open_end", "doubt"};
    struct an_cli_table table = {
        .titles = titles, .columns = sizeof titles / sizeof *titles, .right = 16U | 32U};

    for (size_t a = 0; a < count; a++) {
        const struct an_trace *trace = &answers[a].trace;

        for (size_t k = 0; k < trace->reached_count; k++) {
            const struct an_trace_reached *reached = &trace->reached[k];

            if (!answers[a].reached_asked[k]) {
                continue;
            }
            an_cli_cell(&table, trace->way == AN_TRACE_UP ? "up" : "down");
            an_cli_cell(&table, reached->item.kind);
            an_cli_cell(&table, reached->item.serial);
            an_cli_cell(&table, reached->role ? reached->role : "");
            an_cli_cellf(&table, "%u", reached->depth);
            cell_share(cli, &table, reached->share);
            an_cli_cell(&table, isnan(reached->share)  ? ""
                                : reached->share_whole ? "yes"
                                                       : "at least");
            an_cli_cell(&table, reached->holds ? "yes" : "ended");
            an_cli_cell(&table, reached->open_end ? "yes" : "");
            an_cli_cell(&table, an_link_sure_word(reached->doubt));
        }
    }
    an_cli_table_print(cli, &table);
}

void an_trace_table(struct an_cli *cli, const struct an_trace_answer *answers, size_t count,
                    bool sums)
{
    (sums ? sums_table : links_table)(cli, answers, count);
}

/* ---- JSON ------------------------------------------------------------------------------------------- */
static void put_item(struct an_json *json, const struct an_item *item)
{
    an_json_put_string(json, "kind", item->kind);
    an_json_put_string(json, "serial", item->serial);
}

static void put_place(struct an_json *json, const char *key, int64_t place)
{
    an_json_key(json, key);
    if (place < 0) {
        an_json_null(json);
    } else {
        an_json_integer(json, place);
    }
}

static void put_sure(struct an_json *json, const char *key, enum an_link_sure sure)
{
    an_json_put_string(json, key, sure == AN_LINK_SURE_UNTOLD ? NULL : an_link_sure_word(sure));
}

static void put_steps(struct an_cli *cli, struct an_json *json,
                      const struct an_trace_answer *answer)
{
    const struct an_trace *trace = &answer->trace;

    an_json_key(json, "links");
    an_json_array(json);
    for (size_t k = 0; k < trace->step_count; k++) {
        const struct an_trace_step *step = &trace->steps[k];

        if (!answer->asked[k]) {
            continue;
        }
        an_json_object(json);
        put_item(json, &step->item);
        an_json_put_integer(json, "depth", step->depth);
        an_json_key(json, "from");
        an_json_object(json);
        put_item(json,
                 step->from == AN_TRACE_START ? &trace->item : &trace->steps[step->from].item);
        an_json_end(json, '}');
        an_json_put_string(json, "role", step->link.role);
        an_json_put_string(json, "region", step->link.region);
        put_place(json, "row", step->link.row);
        put_place(json, "column", step->link.column);
        an_json_put_number(json, "share", step->link.share);
        an_json_put_string(json, "path_role", step->role);
        an_json_put_number(json, "path_share", step->share);
        an_cli_json_time(cli, json, "since", step->from_us);
        an_cli_json_time(cli, json, "until", step->until_us);
        put_sure(json, "confidence", step->sure);
        put_sure(json, "path_doubt", step->doubt);
        an_json_put_string(json, "file", step->file);
        an_json_put_integer(json, "line", (int64_t)step->line);
        if (step->link.corrected_by) {
            an_json_put_integer(json, "corrected_by", step->link.corrected_by);
        }
        an_json_put_bool(json, "again", step->again);
        an_json_put_bool(json, "loop", step->circle);
        an_json_put_bool(json, "not_entered", step->more);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void put_reached(struct an_json *json, const struct an_trace_answer *answer)
{
    const struct an_trace *trace = &answer->trace;

    an_json_key(json, "items");
    an_json_array(json);
    for (size_t k = 0; k < trace->reached_count; k++) {
        const struct an_trace_reached *reached = &trace->reached[k];

        if (!answer->reached_asked[k]) {
            continue;
        }
        an_json_object(json);
        put_item(json, &reached->item);
        an_json_put_string(json, "role", reached->role);
        an_json_put_integer(json, "depth", reached->depth);
        an_json_put_number(json, "share", reached->share);
        an_json_put_bool(json, "share_whole", reached->share_whole);
        an_json_put_bool(json, "holds", reached->holds);
        an_json_put_bool(json, "open_end", reached->open_end);
        put_sure(json, "doubt", reached->doubt);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void put_missing(struct an_json *json, const struct an_trace_answer *answer)
{
    an_json_key(json, "missing");
    an_json_array(json);
    for (size_t k = 0; k < answer->missing_count; k++) {
        const struct an_trace_missing *missing = &answer->missing[k];

        an_json_object(json);
        put_item(json, &missing->item);
        an_json_put_string(json, "wants_kind", missing->kind);
        an_json_put_string(json, "wants_role", missing->role);
        an_json_put_string(json, "station", missing->station);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void put_known(struct an_cli *cli, struct an_json *json,
                      const struct an_trace_subject *subject)
{
    an_json_key(json, "known_as");
    an_json_array(json);
    for (size_t i = 0; i < subject->known_count; i++) {
        an_json_object(json);
        put_item(json, &subject->known[i].item);
        an_cli_json_time(cli, json, "since", subject->known[i].from_us);
        an_cli_json_time(cli, json, "until", subject->known[i].until_us);
        an_json_put_string(json, "file", subject->known[i].file);
        an_json_put_integer(json, "line", (int64_t)subject->known[i].line);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void put_ends(struct an_cli *cli, struct an_json *json,
                     const struct an_trace_subject *subject)
{
    an_json_key(json, "ends_alone");
    an_json_array(json);
    for (int way = AN_TRACE_UP; way <= AN_TRACE_DOWN; way++) {
        for (size_t i = 0; i < subject->end_count[way]; i++) {
            const struct an_known_as *end = &subject->ends[way][i];

            an_json_object(json);
            an_json_put_string(json, "way", way == AN_TRACE_UP ? "up" : "down");
            put_item(json, &end->item);
            an_cli_json_time(cli, json, "until", end->until_us);
            an_json_put_string(json, "file", end->file);
            an_json_put_integer(json, "line", (int64_t)end->line);
            an_json_end(json, '}');
        }
    }
    an_json_end(json, ']');
}

/* Only what is wrong with them: the places themselves are among the links. */
static void put_grids(struct an_json *json, const struct an_trace_subject *subject)
{
    an_json_key(json, "places");
    an_json_array(json);
    for (size_t i = 0; i < subject->grid_count; i++) {
        const struct an_trace_grid *grid = &subject->grids[i];

        for (size_t k = 0; k < grid->hole_count; k++) {
            an_json_object(json);
            an_json_put_string(json, "kind", subject->grid_kinds[i]);
            an_json_put_integer(json, "row", grid->holes[k].row);
            an_json_put_integer(json, "column", grid->holes[k].column);
            an_json_put_string(json, "state", "empty");
            an_json_end(json, '}');
        }
        for (size_t k = 0; k < grid->place_count; k++) {
            if (grid->places[k].doubled) {
                an_json_object(json);
                put_item(json, &grid->places[k].item);
                an_json_put_integer(json, "row", grid->places[k].link.row);
                an_json_put_integer(json, "column", grid->places[k].link.column);
                an_json_put_string(json, "state", "doubled");
                an_json_end(json, '}');
            }
        }
    }
    an_json_end(json, ']');
}

void an_trace_json(struct an_cli *cli, const struct an_trace_subject *subject,
                   const struct an_trace_answer *answers, size_t count)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.trace.1");

    an_json_object(&json);
    put_item(&json, &answers[0].trace.item);
    put_known(cli, &json, subject);
    put_ends(cli, &json, subject);
    put_grids(&json, subject);
    for (size_t a = 0; a < count; a++) {
        const bool up = answers[a].trace.way == AN_TRACE_UP;

        an_json_key(&json, up ? "up" : "down");
        an_json_object(&json);
        put_steps(cli, &json, &answers[a]);
        put_reached(&json, &answers[a]);
        if (up) {
            put_missing(&json, &answers[a]);
        }
        an_json_put_bool(&json, "cut", answers[a].trace.cut);
        an_json_end(&json, '}');
    }
    an_json_end(&json, '}');
    an_cli_json_end(cli, &json);
}

/* ---- graph ------------------------------------------------------------------------------------------ */
/* Within a quoted string of the DOT language only the quote and, for labels, the backslash mean more
 * than themselves. */
static void add_label(struct an_text *out, const char *text)
{
    struct an_text visible = {0};

    an_text_add_visible(&visible, an_bytes_of(text), 200);
    for (const char *c = an_text_of(&visible); *c; c++) {
        if (*c == '"' || *c == '\\') {
            an_text_add_char(out, '\\');
        }
        an_text_add_char(out, *c);
    }
    an_text_free(&visible);
}

static void add_node(struct an_text *out, const struct an_item *item, bool start)
{
    an_text_addf(out, "  i%lld [label=\"", (long long)item->item_id);
    add_label(out, item->kind);
    an_text_add(out, "\\n");
    add_label(out, item->serial);
    an_text_addf(out, "\"%s];\n", start ? " penwidth=3" : "");
}

static void add_edge(struct an_text *out, const struct an_trace *trace,
                     const struct an_trace_step *step)
{
    const struct an_item *from =
        step->from == AN_TRACE_START ? &trace->item : &trace->steps[step->from].item;
    const bool up = trace->way == AN_TRACE_UP;
    char share[32];

    an_text_addf(out, "  i%lld -> i%lld [label=\"",
                 (long long)(up ? step->item.item_id : from->item_id),
                 (long long)(up ? from->item_id : step->item.item_id));
    add_label(out, step->link.role ? step->link.role : "");
    if (step->link.region) {
        an_text_add(out, " ");
        add_label(out, step->link.region);
    }
    if (step->link.row >= 0 && step->link.column >= 0) {
        an_text_addf(out, " (%lld, %lld)", (long long)step->link.row, (long long)step->link.column);
    }
    an_text_addf(out, "%s%s\"%s%s];\n", isnan(step->link.share) ? "" : " ",
                 an_trace_share(step->link.share, share),
                 step->until_us == AN_NO_INSTANT ? "" : " style=dashed",
                 step->circle ? " penwidth=3" : "");
}

void an_trace_dot(struct an_cli *cli, const struct an_trace_answer *answers, size_t count)
{
    struct an_text *out = &cli->out;

    an_text_add(out, "digraph trace {\n  rankdir=LR;\n  node [shape=box];\n");
    add_node(out, &answers[0].trace.item, true);
    for (size_t a = 0; a < count; a++) {
        const struct an_trace *trace = &answers[a].trace;

        for (size_t k = 0; k < trace->step_count; k++) {
            if (answers[a].shown[k] && !trace->steps[k].again) {
                add_node(out, &trace->steps[k].item, false);
            }
        }
        for (size_t k = 0; k < trace->step_count; k++) {
            if (answers[a].shown[k]) {
                add_edge(out, trace, &trace->steps[k]);
            }
        }
        if (trace->cut) {
            an_text_addf(out, "  // cut after %zu links\n", trace->step_count);
        }
    }
    an_text_add(out, "}\n");
}
