/* SPDX-License-Identifier: GPL-3.0-or-later */
/* components: how much of a stream's spread comes from which level. */
#include "cli/commands.h"
#include "judge/components.h"
#include "report/ladder_page.h"

#include <math.h>
#include <string.h>

struct telling {
    struct an_cli *cli;
    struct an_json json;
    struct an_cli_table table;
    size_t told;
};

static void number_cell(struct an_cli_table *table, enum an_format format, double value)
{
    char text[32];
    if (!isfinite(value)) {
        an_cli_cell(table, format == AN_FORMAT_CSV ? "" : "-");
    } else if (format == AN_FORMAT_CSV) {
        an_cli_cell(table, an_number_shortest(value, text));
    } else {
        an_cli_cellf(table, "%.4g", value);
    }
}

static void put_bounds(struct an_json *json, const char *key, double value, double lower,
                       double upper)
{
    an_json_key(json, key);
    an_json_object(json);
    an_json_put_number(json, "value", value);
    an_json_put_number(json, "lower", lower);
    an_json_put_number(json, "upper", upper);
    an_json_end(json, '}');
}

static void tell_json(struct an_json *json, const struct an_ladder *ladder)
{
    const struct an_components *best = an_ladder_best(ladder);
    an_json_object(json);
    an_json_put_string(json, "stream", ladder->stream.name);
    an_json_put_string(json, "unit", ladder->characteristic ? ladder->characteristic->unit : NULL);
    an_json_put_string(json, "why_not", ladder->why_not);
    if (!ladder->why_not) {
        an_json_put_string(json, "method", ladder->has_reml ? "reml" : "mean squares");
        an_json_put_integer(json, "readings", (int64_t)best->n);
        an_json_put_bool(json, "balanced", best->balanced);
        an_json_put_number(json, "mean", best->mean);
        an_json_put_number(json, "mean_se", best->mean_se);
        an_json_put_number(json, "total_sd", sqrt(best->total));
        an_json_put_number(json, "log_likelihood", best->log_likelihood);
        an_json_key(json, "levels");
        an_json_array(json);
        for (size_t k = 0; k <= best->levels; k++) {
            const struct an_component *c = &best->at[k];
            an_json_object(json);
            an_json_put_string(json, "level", ladder->name[k]);
            an_json_put_integer(json, "groups", (int64_t)c->groups);
            put_bounds(json, "sd", sqrt(c->variance), sqrt(c->lower), sqrt(c->upper));
            put_bounds(json, "share", c->share, c->share_lower, c->share_upper);
            an_json_put_number(json, "variance_by_squares", ladder->squares.at[k].raw);
            an_json_put_bool(json, "cut_at_zero", c->cut);
            an_json_put_number(json, "sd_without", ladder->without[k]);
            an_json_put_number(json, "df", c->df);
            an_json_put_number(json, "mean_square", c->ms);
            an_json_put_number(json, "f", c->f);
            an_json_put_number(json, "f_df", c->f_df);
            an_json_put_number(json, "p", c->p);
            an_json_end(json, '}');
        }
        an_json_end(json, ']');
    }
    an_json_key(json, "notes");
    an_json_array(json);
    for (size_t i = 0; i < ladder->note_count; i++) {
        an_json_string(json, ladder->notes[i]);
    }
    an_json_end(json, ']');
    an_json_end(json, '}');
}

static void tell_csv(struct an_cli_table *table, const struct an_ladder *ladder)
{
    const struct an_components *best = an_ladder_best(ladder);
    for (size_t k = 0; !ladder->why_not && k <= best->levels; k++) {
        const struct an_component *c = &best->at[k];
        const double numbers[] = {sqrt(c->variance),
                                  sqrt(c->lower),
                                  sqrt(c->upper),
                                  c->share,
                                  c->share_lower,
                                  c->share_upper,
                                  ladder->without[k],
                                  c->df,
                                  c->ms,
                                  c->f,
                                  c->f_df,
                                  c->p};
        an_cli_cell(table, ladder->stream.name);
        an_cli_cell(table, ladder->name[k]);
        an_cli_cell(table, ladder->has_reml ? "reml" : "mean squares");
        an_cli_cellf(table, "%zu", c->groups);
        for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
            number_cell(table, AN_FORMAT_CSV, numbers[i]);
        }
    }
}

/* A bar of twenty characters for a share, the picture that a terminal can show. */
static const char *bar(double share)
{
    static const char full[] = "####################";
    const size_t most = sizeof full - 1;
    const size_t length = (size_t)(share * (double)most + 0.5);
    return full + (most - (length < most ? length : most));
}

static void tell_lines(struct telling *t, const struct an_ladder *ladder)
{
    static const char *const titles[] = {
        "level",         "groups", "sd (95 % bounds)", "share (95 % bounds)", "ladder",
        "sd without it", "p"};
    struct an_cli *cli = t->cli;
    const struct an_components *best = an_ladder_best(ladder);
    an_text_addf(&cli->out, "%s%s", t->told ? "\n" : "", ladder->stream.name);
    if (ladder->why_not) {
        an_text_addf(&cli->out, ": no components: %s\n", ladder->why_not);
    } else {
        const char *unit = ladder->characteristic->unit;
        an_text_addf(&cli->out, ": %zu readings, mean %.5g, sd of one reading %.4g %s, by %s\n",
                     best->n, best->mean, sqrt(best->total), unit[0] == '1' ? "" : unit,
                     ladder->has_reml ? "REML" : "mean squares");
        struct an_cli_table table = {.titles = titles, .columns = 7, .right = 2U | 32U | 64U};
        for (size_t k = 0; k <= best->levels; k++) {
            const struct an_component *c = &best->at[k];
            an_cli_cell(&table, ladder->name[k]);
            an_cli_cellf(&table, "%zu", c->groups);
            an_cli_cellf(&table, "%.4g (%.4g to %.4g)", sqrt(c->variance), sqrt(c->lower),
                         sqrt(c->upper));
            an_cli_cellf(&table, "%.0f %% (%.0f to %.0f)", 100.0 * c->share, 100.0 * c->share_lower,
                         100.0 * c->share_upper);
            an_cli_cell(&table, bar(c->share));
            number_cell(&table, AN_FORMAT_TABLE, ladder->without[k]);
            number_cell(&table, AN_FORMAT_TABLE, c->p);
        }
        an_cli_table_print(cli, &table);
    }
    for (size_t i = 0; i < ladder->note_count; i++) {
        an_text_addf(&cli->out, "  %s\n", ladder->notes[i]);
    }
}

static enum an_status each_stream(struct telling *t, const struct an_stream streams[], size_t count,
                                  int64_t from_us, int64_t until_us)
{
    struct an_cli *cli = t->cli;
    enum an_status st = AN_OK;
    for (size_t i = 0; !st && i < count; i++) {
        struct an_arena *arena = an_arena_open(); /* the readings of one stream at a time */
        struct an_ladder ladder;
        st = arena ? an_ladder_of(cli->store, cli->line, &streams[i], from_us, until_us, arena,
                                  &ladder, &cli->err)
                   : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
        if (!st && cli->format == AN_FORMAT_JSON) {
            tell_json(&t->json, &ladder);
        } else if (!st && cli->format == AN_FORMAT_CSV) {
            tell_csv(&t->table, &ladder);
            if (ladder.why_not) {
                an_cli_say(cli, "%s: no components: %s", ladder.stream.name, ladder.why_not);
            }
        } else if (!st) {
            tell_lines(t, &ladder);
        }
        t->told += !st;
        an_arena_close(arena);
    }
    return st;
}

/* One page a stream. */
static enum an_status write_pages(struct an_cli *cli, const char *path,
                                  const struct an_stream streams[], size_t count, int64_t from_us,
                                  int64_t until_us)
{
    const char *slash = strrchr(an_store_path(cli->store), '/');
    struct an_ladder_report report = {.path = path,
                                      .paper = &an_paper_a4,
                                      .program_version = cli->version,
                                      .store_name = slash ? slash + 1 : an_store_path(cli->store),
                                      .from_us = from_us,
                                      .until_us = until_us};
    enum an_status st = an_ledger_head(cli->store, &report.head, &cli->err);
    st =
        st ? st : an_ladder_report_write(cli->store, cli->line, streams, count, &report, &cli->err);
    if (!st) {
        an_text_addf(&cli->out, "%s\n", path);
    }
    return st;
}

static enum an_exit run(struct an_cli *cli)
{
    static const char *const titles[] = {"stream",      "level",       "method",     "groups",
                                         "sd",          "sd_lower",    "sd_upper",   "share",
                                         "share_lower", "share_upper", "sd_without", "df",
                                         "mean_square", "f",           "f_df",       "p"};
    struct telling t = {.cli = cli, .table = {.titles = titles, .columns = 16}};
    struct an_stream *streams = NULL;
    size_t count = 0;
    int64_t from_us = AN_NO_INSTANT;
    int64_t until_us = AN_NO_INSTANT;
    const char *path = an_option_value(&cli->options, "output");
    enum an_status st = an_cli_open(cli, AN_STORE_READ, true);
    st = st ? st : an_cli_time(cli, "from", &from_us);
    st = st ? st : an_cli_time(cli, "until", &until_us);
    st = st ? st : an_cli_streams(cli, false, &streams, &count);
    if (st) {
        return an_cli_failed(cli, st);
    }
    from_us = from_us == AN_NO_INSTANT ? INT64_MIN : from_us;
    until_us = until_us == AN_NO_INSTANT ? INT64_MAX : until_us;
    if (path) {
        st = write_pages(cli, path, streams, count, from_us, until_us);
        return st ? an_cli_failed(cli, st) : AN_EXIT_DONE;
    }
    if (cli->format == AN_FORMAT_JSON) {
        t.json = an_cli_json_begin(cli, "andamento.components.1");
        an_json_array(&t.json);
    }
    st = each_stream(&t, streams, count, from_us, until_us);
    if (st) {
        an_text_free(&t.table.cells);
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        an_json_end(&t.json, ']');
        an_cli_json_end(cli, &t.json);
    } else if (cli->format == AN_FORMAT_CSV) {
        an_cli_table_print(cli, &t.table);
    }
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"all", 'a', NULL, "every stream"},
    {"output", 'o', "FILE", "draw the ladders instead: a PDF, one page a stream"},
    AN_OPTION_PERIOD,
    AN_OPTION_END,
};

const struct an_command an_command_components = {
    .name = "components",
    .operands = "[STREAM...]",
    .summary = "how much of the spread comes from which level: batch, item, place",
    .example = "andamento components 'luminance.lv@*'",
    .more =
        "STREAM is a name or a pattern. The levels come from the data: readings within an item,\n"
        "items within their upstream batch (within the shift where none is known). Components\n"
        "by REML with profile bounds; shares with bounds; docs/components.md has the methods. With -o\n"
        "the ladders are drawn, one page a stream, with the values of each level and the checks of\n"
        "the assumptions.\n",
    .options = options,
    .operands_least = 0,
    .operands_most = 100000,
    .as_of = true,
    .run = run,
};
