/* SPDX-License-Identifier: GPL-3.0-or-later */
/* capability: stability first, then indices with their bounds. */
#include "cli/commands.h"
#include "judge/judge.h"

#include <math.h>
#include <stdio.h>

static void json_index(struct an_json *json, const char *key, const struct an_index *index)
{
    an_json_key(json, key);
    an_json_object(json);
    an_json_put_number(json, "value", index->value);
    an_json_put_number(json, "lower", index->lower);
    an_json_put_number(json, "upper", index->upper);
    an_json_end(json, '}');
}

static void json_one(struct an_json *json, const struct an_stream_capability *c)
{
    an_json_object(json);
    an_json_put_string(json, "stream", c->stream.name);
    an_json_put_bool(json, "stable", c->stable);
    an_json_put_integer(json, "samples", c->samples);
    an_json_put_number(json, "readings", c->n);
    an_json_put_integer(json, "signalling_samples", (int64_t)c->signalling);
    an_json_put_number(json, "lsl", c->spec.lsl);
    an_json_put_number(json, "target", c->spec.target);
    an_json_put_number(json, "usl", c->spec.usl);
    an_json_put_number(json, "mean", c->basis.mean);
    an_json_put_number(json, "sigma_within", c->basis.sigma_within);
    an_json_put_number(json, "sigma_overall", c->basis.sigma_overall);
    an_json_put_number(json, "confidence", c->basis.confidence);
    json_index(json, "cp", &c->indices.cp);
    json_index(json, "cpk", &c->indices.cpk);
    json_index(json, "cpl", &c->indices.cpl);
    json_index(json, "cpu", &c->indices.cpu);
    json_index(json, "pp", &c->indices.pp);
    json_index(json, "ppk", &c->indices.ppk);
    json_index(json, "ppl", &c->indices.ppl);
    json_index(json, "ppu", &c->indices.ppu);
    json_index(json, "cpm", &c->indices.cpm);
    an_json_put_number(json, "expected_below", c->indices.below);
    an_json_put_number(json, "expected_above", c->indices.above);
    an_json_put_number(json, "normality_p", c->normality.p);
    an_json_put_string(json, "why_not", c->why_not);
    an_json_key(json, "notes");
    an_json_array(json);
    for (size_t i = 0; i < c->note_count; i++) {
        an_json_string(json, c->notes[i]);
    }
    an_json_end(json, ']');
    an_json_end(json, '}');
}

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

static void row(struct an_cli_table *table, const struct an_stream_capability *c)
{
    an_cli_cell(table, c->stream.name);
    an_cli_cell(table, c->stable ? "stable" : "not stable");
    an_cli_cellf(table, "%.0f", c->n);
    if (isfinite(c->basis.mean)) {
        an_cli_cellf(table, "%.5g", c->basis.mean);
    } else {
        an_cli_cell(table, "-");
    }
    index_cell(table, &c->indices.cp);
    index_cell(table, &c->indices.cpk);
    index_cell(table, &c->indices.pp);
    index_cell(table, &c->indices.ppk);
    an_cli_cell(table, c->why_not ? c->why_not : c->note_count ? c->notes[0] : "");
}

static enum an_exit run(struct an_cli *cli)
{
    static const char *const titles[] = {"stream", "stability", "readings", "mean",  "Cp",
                                         "Cpk",    "Pp",        "Ppk",      "remark"};
    struct an_cli_table table = {.titles = titles, .columns = 9, .right = 4U | 8U};
    struct an_stream *streams = NULL;
    size_t count = 0;
    int64_t from_us = AN_NO_INSTANT;
    int64_t until_us = AN_NO_INSTANT;
    enum an_status st = an_cli_open(cli, AN_STORE_READ, true);
    if (!st) {
        st = an_cli_time(cli, "from", &from_us);
    }
    if (!st) {
        st = an_cli_time(cli, "until", &until_us);
    }
    if (!st) {
        st = an_cli_streams(cli, true, &streams, &count);
    }
    struct an_json json = {0};
    if (!st && cli->format == AN_FORMAT_JSON) {
        json = an_cli_json_begin(cli, "andamento.capability.1");
        an_json_array(&json);
    }
    for (size_t i = 0; !st && i < count; i++) {
        struct an_arena *arena = an_arena_open(); /* the readings of one stream at a time */
        struct an_stream_capability capability = {0};
        st = arena ? an_stream_capability_of(cli->store, cli->line, &streams[i],
                                             from_us == AN_NO_INSTANT ? INT64_MIN : from_us,
                                             until_us == AN_NO_INSTANT ? INT64_MAX : until_us,
                                             arena, &capability, &cli->err)
                   : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
        if (!st && cli->format == AN_FORMAT_JSON) {
            json_one(&json, &capability);
        } else if (!st) {
            row(&table, &capability);
        }
        an_arena_close(arena);
    }
    if (st) {
        an_text_clear(&cli->out);
        an_text_free(&table.cells);
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        an_json_end(&json, ']');
        an_cli_json_end(cli, &json);
    } else {
        an_cli_table_print(cli, &table);
    }
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {AN_OPTION_PERIOD, AN_OPTION_END};

const struct an_command an_command_capability = {
    .name = "capability",
    .operands = "[STREAM...]",
    .summary = "stability first, then capability and performance indices with 95 % bounds",
    .example = "andamento capability 'luminance.*' --from 2026-03-02 --until 2026-03-07",
    .more =
        "Cp and Cpk are given for stable streams only: indices of an unstable process describe\n"
        "the past only. In brackets: bounds at 95 % confidence.\n",
    .options = options,
    .operands_most = 100000,
    .run = run,
};
