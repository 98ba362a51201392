/* SPDX-License-Identifier: GPL-3.0-or-later */
/* capability: stability first, then indices with their bounds. */
#include "cli/capability_answer.h"
#include "cli/commands.h"
#include "judge/judge.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define CONFIDENCE 0.95

/* ---- what is asked ------------------------------------------------------------------------------ */
static enum an_status read_shape(struct an_cli *cli, struct an_shape_choice *choice)
{
    const char *name = an_option_value(&cli->options, "shape");
    if (!name) {
        return AN_OK;
    }
    choice->declared = true;
    choice->automatic = strcmp(name, "auto") == 0;
    choice->shape = choice->automatic ? AN_SHAPE_NORMAL : an_shape_of(name);
    if (choice->shape != AN_SHAPE_COUNT) {
        return AN_OK;
    }
    char known[256] = "";
    size_t length = 0;
    for (int i = 0; i < (int)AN_SHAPE_COUNT; i++) {
        length += (size_t)snprintf(known + length, sizeof known - length, "%s, ",
                                   an_shape_name((enum an_shape)i));
    }
    return an_fail(&cli->err, AN_BAD_USAGE, "--shape wants one of %sauto; not '%s'", known, name);
}

static bool read_number(const char *text, size_t length, double *number)
{
    struct an_decimal decimal;
    const struct an_bytes bytes = {(const unsigned char *)text, length};
    if (an_decimal_parse(bytes, '.', 0, &decimal)) {
        return false;
    }
    *number = decimal.value;
    return true;
}

static bool read_percent(const char *text, size_t length, double *share)
{
    double percent;
    if (!read_number(text, length, &percent) || !(percent > 0 && percent < 100)) {
        return false;
    }
    *share = percent / 100;
    return true;
}

static enum an_status read_tolerance(struct an_cli *cli, struct an_tolerance_wish *wish)
{
    const char *text = an_option_value(&cli->options, "tolerance");
    if (!text) {
        return AN_OK;
    }
    const size_t first = strcspn(text, "/");
    if (text[first] && read_percent(text, first, &wish->coverage) &&
        read_percent(text + first + 1, strlen(text + first + 1), &wish->confidence)) {
        return AN_OK;
    }
    return an_fail(&cli->err, AN_BAD_USAGE,
                   "--tolerance wants coverage and confidence in per cent, each between 0 and 100, "
                   "as in 99/95; not '%s'",
                   text);
}

static enum an_status read_wish(struct an_cli *cli, struct an_capability_wish *wish)
{
    const char *shift = an_option_value(&cli->options, "sigma-shift");
    enum an_status st = read_shape(cli, &wish->shape);
    st = st ? st : read_tolerance(cli, &wish->tolerance);
    if (!st && shift) {
        wish->sigma_level = true;
        if (!read_number(shift, strlen(shift), &wish->sigma_shift) ||
            !(fabs(wish->sigma_shift) <= 10)) {
            st = an_fail(&cli->err, AN_BAD_USAGE,
                         "--sigma-shift wants a number such as 0 or 1.5, not '%s'", shift);
        }
    }
    return st;
}

/* ---- a table for people -------------------------------------------------------------------------- */
static void index_cell(struct an_cli_table *table, const struct an_index *index)
{
    if (!isfinite(index->value)) {
        an_cli_cell(table, "-");
    } else if (isfinite(index->lower) && isfinite(index->upper)) {
        an_cli_cellf(table, "%.2f (%.2f to %.2f)", index->value, index->lower, index->upper);
    } else {
        an_cli_cellf(table, "%.2f", index->value);
    }
}

/* The reason, or the first note; of a position, what is outside the circle. */
static const char *remark(const struct an_stream_capability *c)
{
    for (size_t i = 0; c->has_position && i < c->note_count; i++) {
        if (strncmp(c->notes[i], "position", 8) == 0) {
            return c->notes[i];
        }
    }
    return c->why_not ? c->why_not : c->note_count ? c->notes[0] : "";
}

static void row(struct an_cli_table *table, const struct an_stream_capability *c,
                const struct an_stream_gauge *gauge)
{
    an_cli_cell(table, c->stream.name);
    an_cli_cell(table, c->stable ? "stable" : "not stable");
    an_cli_cellf(table, "%.0f", c->n);
    if (isfinite(c->basis.mean)) {
        an_cli_cellf(table, "%.5g", c->basis.mean);
    } else {
        an_cli_cell(table, "-");
    }
    if (c->has_position) { /* Cp of a distance from a centre would be a wrong number */
        an_cli_cell(table, "-");
        an_cli_cell(table, "-");
        index_cell(table, &c->position.pp);
        index_cell(table, &c->position.ppk);
    } else {
        index_cell(table, &c->indices.cp);
        index_cell(table, &c->indices.cpk);
        index_cell(table, &c->indices.pp);
        index_cell(table, &c->indices.ppk);
    }
    an_cli_cell(table, c->method);
    an_stream_gauge_cell(table, gauge);
    an_cli_cell(table, remark(c));
}

/* ---- the command ------------------------------------------------------------------------------------ */
struct telling {
    struct an_cli *cli;
    struct an_json json;
    struct an_cli_table table;
    struct an_text warnings; /* of gauges, below the table */
    bool detail;
    struct an_yield_step *steps; /* of counted proportions, for the rolled yield */
    size_t step_count;
};

static void tell(struct telling *t, const struct an_stream_capability *c,
                 const struct an_stream_gauge *gauge)
{
    if (c->counted.proportion && c->counted.opportunities > 0 &&
        c->counted.count <= c->counted.opportunities) {
        t->steps[t->step_count++] = (struct an_yield_step){
            c->counted.opportunities, c->counted.opportunities - c->counted.count};
    }
    if (t->cli->format == AN_FORMAT_JSON) {
        an_capability_json(t->cli, &t->json, c, gauge);
    } else if (t->cli->format == AN_FORMAT_CSV) {
        an_capability_row(t->cli, &t->table, c, gauge);
    } else if (t->detail) {
        an_capability_lines(&t->cli->out, c, gauge);
    } else {
        row(&t->table, c, gauge);
        if (gauge->warning) {
            an_text_addf(&t->warnings, "%s: %s\n", c->stream.name, gauge->warning);
        }
    }
}

static void tell_rolled(struct telling *t)
{
    struct an_index yield = {(double)NAN, (double)NAN, (double)NAN};
    const enum an_status st = an_rolled_yield(t->steps, t->step_count, CONFIDENCE, &yield);
    if (t->cli->format == AN_FORMAT_JSON) {
        an_json_object(&t->json);
        an_json_index(&t->json, "rolled_yield", &yield);
        an_json_put_integer(&t->json, "steps", (int64_t)t->step_count);
        an_json_end(&t->json, '}');
    } else if (st) {
        an_cli_say(t->cli, "no rolled yield: none of these streams counts nonconforming units out "
                           "of inspected ones (families p, np, p_prime)");
    } else if (t->cli->format == AN_FORMAT_TABLE) {
        an_text_addf(&t->cli->out,
                     "\nrolled yield %.4f (95 %% bounds %.4f to %.4f): product of %zu first-pass "
                     "yields, steps taken as independent\n",
                     yield.value, yield.lower, yield.upper, t->step_count);
    } else {
        an_cli_say(t->cli, "rolled yield %.17g, 95 %% bounds %.17g to %.17g, %zu steps",
                   yield.value, yield.lower, yield.upper, t->step_count);
    }
}

static enum an_status each_stream(struct telling *t, const struct an_stream streams[], size_t count,
                                  int64_t from_us, int64_t until_us,
                                  const struct an_capability_wish *wish)
{
    struct an_cli *cli = t->cli;
    const int64_t until = until_us == AN_NO_INSTANT ? INT64_MAX : until_us;
    enum an_status st = AN_OK;
    for (size_t i = 0; !st && i < count; i++) {
        struct an_arena *arena = an_arena_open(); /* the readings of one stream at a time */
        struct an_stream_capability capability = {0};
        struct an_stream_gauge gauge = {0};
        st = arena ? an_stream_capability_wished(cli->store, cli->line, &streams[i],
                                                 from_us == AN_NO_INSTANT ? INT64_MIN : from_us,
                                                 until, wish, arena, &capability, &cli->err)
                   : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
        st = st ? st : an_cli_stream_gauge(cli, &streams[i], until, arena, &gauge);
        if (!st) {
            tell(t, &capability, &gauge);
        }
        an_arena_close(arena);
    }
    return st;
}

static void finish(struct telling *t)
{
    if (an_option_on(&t->cli->options, "rolled") && t->cli->format == AN_FORMAT_JSON) {
        tell_rolled(t);
    }
    if (t->cli->format == AN_FORMAT_JSON) {
        an_json_end(&t->json, ']');
        an_cli_json_end(t->cli, &t->json);
    } else if (!t->detail || t->cli->format == AN_FORMAT_CSV) {
        an_cli_table_print(t->cli, &t->table);
    }
    if (t->warnings.length) {
        an_text_addf(&t->cli->out, "\n%s", an_text_of(&t->warnings));
    }
    an_text_free(&t->warnings);
    if (an_option_on(&t->cli->options, "rolled") && t->cli->format != AN_FORMAT_JSON) {
        tell_rolled(t);
    }
}

static enum an_exit run(struct an_cli *cli)
{
    static const char *const titles[] = {"stream", "stability", "readings", "mean",  "Cp",    "Cpk",
                                         "Pp",     "Ppk",       "method",   "gauge", "remark"};
    struct telling t = {.cli = cli, .table = {.titles = titles, .columns = 11, .right = 4U | 8U}};
    struct an_capability_wish wish = {0};
    struct an_stream *streams = NULL;
    size_t count = 0;
    int64_t from_us = AN_NO_INSTANT;
    int64_t until_us = AN_NO_INSTANT;
    enum an_status st = read_wish(cli, &wish);
    st = st ? st : an_cli_open(cli, AN_STORE_READ, true);
    st = st ? st : an_cli_time(cli, "from", &from_us);
    st = st ? st : an_cli_time(cli, "until", &until_us);
    st = st ? st : an_cli_streams(cli, true, &streams, &count);
    t.detail = an_option_on(&cli->options, "detail");
    if (cli->format == AN_FORMAT_CSV) {
        t.table = (struct an_cli_table){.titles = an_capability_columns,
                                        .columns = an_capability_column_count};
    }
    if (!st) {
        t.steps = an_arena_alloc(cli->arena, count + 1, sizeof *t.steps);
        st = t.steps ? AN_OK : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    if (!st && cli->format == AN_FORMAT_JSON) {
        t.json = an_cli_json_begin(cli, "andamento.capability.1");
        an_json_array(&t.json);
    }
    st = st ? st : each_stream(&t, streams, count, from_us, until_us, &wish);
    if (st) {
        an_text_clear(&cli->out);
        an_text_free(&t.table.cells);
        an_text_free(&t.warnings);
        return an_cli_failed(cli, st);
    }
    finish(&t);
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {
    AN_OPTION_PERIOD,
    {"shape", 0, "NAME",
     "fit this shape instead of the one in the description: normal, lognormal, lognormal_3, "
     "weibull, weibull_3, gamma, folded_normal, rayleigh, johnson_su, johnson_sb, johnson_sl; auto "
     "takes the best and says so"},
    {"tolerance", 0, "P/C",
     "tolerance limits holding P % of the readings to come, with C % confidence, as 99/95"},
    {"sigma-shift", 0, "X", "sigma level of counts, a convention, with X added (0 or 1.5)"},
    {"rolled", 0, NULL, "rolled yield over the counted streams chosen"},
    {"detail", 0, NULL, "everything that is known of each stream, in lines"},
    AN_OPTION_END};

const struct an_command an_command_capability = {
    .name = "capability",
    .operands = "[STREAM...]",
    .summary = "stability first, then capability and performance indices with 95 % bounds",
    .example = "andamento capability 'luminance.*' --from 2026-03-02 --until 2026-03-07",
    .more =
        "Cp and Cpk are given for stable streams only: indices of an unstable process describe\n"
        "the past only. In brackets: bounds at 95 % confidence. docs/capability.md has the methods.\n"
        "The gauge's own spread is in every reading: its newest study is told beside the indices.\n",
    .options = options,
    .operands_most = 100000,
    .as_of = true,
    .run = run,
};
