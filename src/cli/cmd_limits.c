/* SPDX-License-Identifier: GPL-3.0-or-later */
/* limits propose, limits lock: limits are learned from a baseline and put in force by a person. */
#include "andamento/store/intake.h"
#include "cli/commands.h"
#include "cli/limits_answer.h"
#include "cli/limits_scale.h"
#include "judge/judge.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- propose -------------------------------------------------------------------------------------- */

static enum an_status read_exclusions(struct an_cli *cli, struct an_baseline_choice *choice)
{
    size_t count = 0;
    while (an_option_value_at(&cli->options, "exclude", count)) {
        count++;
    }
    int64_t *ids = an_arena_alloc(cli->arena, count + 1, sizeof *ids);
    const char **reasons = an_arena_alloc(cli->arena, count + 1, sizeof *reasons);
    if (!ids || !reasons) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < count; i++) {
        const char *text = an_option_value_at(&cli->options, "exclude", i);
        const size_t digits = strcspn(text, "=");
        if (an_integer_parse((struct an_bytes){(const unsigned char *)text, digits}, &ids[i]) ||
            !text[digits] || !text[digits + 1]) {
            return an_fail(&cli->err, AN_BAD_USAGE,
                           "--exclude wants a sample's number and a cause, as in "
                           "--exclude '1234=nozzle changed half way'; not '%s'",
                           text);
        }
        reasons[i] = text + digits + 1;
    }
    choice->exclude = ids;
    choice->exclude_reasons = reasons;
    choice->exclude_count = count;
    return AN_OK;
}

struct proposals {
    struct an_json json;
    struct an_cli_table table;
    struct an_text warnings, scales;
    size_t made, failed, warned;
};

static enum an_status tell_proposal(struct an_cli *cli, struct proposals *p,
                                    const struct an_stream *stream, const struct an_limits *limits)
{
    p->made++;
    p->warned += limits->warning_count > 0;
    if (cli->format == AN_FORMAT_JSON) {
        an_cli_limits_json(cli, &p->json, stream, limits, NULL);
        return AN_OK;
    }
    an_cli_limits_row(cli, &p->table, stream, limits, NULL);
    for (size_t i = 0; i < limits->warning_count; i++) {
        an_text_addf(&p->warnings, "%s: %s\n", stream->name, limits->warnings[i]);
    }
    return an_cli_scale_text(cli, &p->scales, stream, limits);
}

static bool is_excluded(const struct an_baseline_choice *choice, int64_t sample_id)
{
    for (size_t i = 0; i < choice->exclude_count; i++) {
        if (choice->exclude[i] == sample_id) {
            return true;
        }
    }
    return false;
}

/* Samples of the period that were taken with a doubt and are not left out. */
static enum an_status tell_suspects(struct an_cli *cli, struct proposals *p,
                                    const struct an_stream *stream,
                                    const struct an_baseline_choice *choice)
{
    struct an_suspect *suspects = NULL;
    size_t count = 0;
    size_t left = 0;
    const struct an_suspect *first = NULL;
    const enum an_status st =
        an_store_suspects(cli->store, stream->stream_id, choice->from_us, choice->until_us,
                          cli->arena, &suspects, &count, &cli->err);
    for (size_t i = 0; !st && i < count; i++) {
        if (!is_excluded(choice, suspects[i].sample_id)) {
            first = first ? first : &suspects[i];
            left++;
        }
    }
    if (first) {
        an_text_addf(
            &p->warnings,
            "%s: %zu sample%s of the period %s taken with a doubt, first %lld (%s, %s); look, "
            "and leave them out by --exclude ID=CAUSE\n",
            stream->name, left, an_plural(left, "", "s"), an_plural(left, "was", "were"),
            (long long)first->sample_id, first->serial, first->code);
        p->warned++;
    }
    return st;
}

static bool is_about_data(enum an_status st)
{
    return st == AN_TOO_FEW || st == AN_DOMAIN || st == AN_NO_SPREAD;
}

static enum an_exit finish_proposals(struct an_cli *cli, struct proposals *p)
{
    if (cli->format == AN_FORMAT_JSON) {
        an_json_end(&p->json, ']');
        an_cli_json_end(cli, &p->json);
    } else {
        if (p->made) {
            an_cli_table_print(cli, &p->table);
        }
        if (!cli->quiet && p->warnings.length) {
            (void)fputs(an_text_of(&p->warnings), stderr);
        }
        if (cli->format == AN_FORMAT_TABLE && p->scales.length) {
            an_text_addf(&cli->out, "\n%s", an_text_of(&p->scales));
        }
        if (cli->format == AN_FORMAT_TABLE) {
            an_text_addf(&cli->out,
                         "\nlimits proposed for %zu stream%s%s; put them in force with 'andamento "
                         "limits lock'\n",
                         p->made, an_plural(p->made, "", "s"),
                         p->warned ? ", some with warnings" : "");
        }
    }
    an_text_free(&p->warnings);
    an_text_free(&p->scales);
    an_text_free(&p->table.cells);
    if (!p->made) {
        return AN_EXIT_INPUT;
    }
    return p->failed || p->warned ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static enum an_exit run_propose(struct an_cli *cli)
{
    struct an_baseline_choice choice = {0};
    struct an_stream *streams = NULL;
    size_t count = 0;
    enum an_status st = an_cli_open(cli, AN_STORE_WRITE, true);
    if (!st) {
        st = an_cli_time(cli, "from", &choice.from_us);
    }
    if (!st) {
        st = an_cli_time(cli, "until", &choice.until_us);
    }
    if (!st) {
        st = an_cli_count(cli, "samples", 0, &choice.samples);
    }
    if (!st) {
        st = read_exclusions(cli, &choice);
    }
    if (!st) {
        st = an_cli_streams(cli, false, &streams, &count);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    struct proposals p = {.table = {.titles = an_cli_limits_titles,
                                    .columns = AN_LIMITS_PROPOSED_SHOWN,
                                    .right = 0xFCU}};
    if (cli->format == AN_FORMAT_JSON) {
        p.json = an_cli_json_begin(cli, "andamento.limits.1");
        an_json_array(&p.json);
    }
    for (size_t i = 0; i < count; i++) {
        struct an_limits limits = {0};
        st = an_limits_propose(cli->store, cli->line, streams[i].stream_id, &choice, cli->arena,
                               &limits, &cli->err);
        if (is_about_data(st)) { /* this stream cannot have limits yet; the others can */
            an_cli_say(cli, "%s: %s", streams[i].name, cli->err.text);
            p.failed++;
        } else if (st) {
            an_text_clear(&cli->out);
            an_text_free(&p.warnings);
            an_text_free(&p.scales);
            an_text_free(&p.table.cells);
            return an_cli_failed(cli, st);
        } else {
            st = tell_proposal(cli, &p, &streams[i], &limits);
            st = st ? st : tell_suspects(cli, &p, &streams[i], &choice);
            if (st) {
                an_text_clear(&cli->out);
                an_text_free(&p.warnings);
                an_text_free(&p.scales);
                an_text_free(&p.table.cells);
                return an_cli_failed(cli, st);
            }
        }
    }
    return finish_proposals(cli, &p);
}

static const struct an_option propose_options[] = {
    {"all", 0, NULL, "every stream"},
    AN_OPTION_PERIOD,
    {"samples", 0, "N", "the first N samples of the period (25 or more are wise)"},
    {"exclude", 0, "ID=CAUSE", "leave this sample out, for this cause (may be repeated)"},
    AN_OPTION_END,
};

const struct an_command an_command_limits_propose = {
    .name = "limits propose",
    .operands = "STREAM...|--all",
    .summary = "learn limits from a baseline and store them as a proposal",
    .example = "andamento limits propose --all --until 2026-03-07T06:00",
    .more = "Nothing is in force until a person locks it. Samples are left out of a baseline only\n"
            "by name and with a cause. Exit status 1: a stream has warnings or no limits.\n",
    .options = propose_options,
    .operands_most = 100000,
    .run = run_propose,
};

/* ---- lock ------------------------------------------------------------------------------------------ */

static enum an_exit run_lock(struct an_cli *cli)
{
    const char *author = an_option_value(&cli->options, "author");
    const char *reason = an_option_value(&cli->options, "reason");
    struct an_stream *streams = NULL;
    size_t count = 0;
    int64_t in_force_us = AN_NO_INSTANT;
    enum an_status st = AN_OK;
    if (!author || !author[0] || !reason || !reason[0]) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "locking limits wants --author NAME and --reason TEXT: they stand on every "
                     "chart");
    }
    if (!st) {
        st = an_cli_open(cli, AN_STORE_WRITE, true);
    }
    if (!st) {
        st = an_cli_time(cli, "in-force-from", &in_force_us);
    }
    if (!st) {
        st = an_cli_streams(cli, false, &streams, &count);
    }
    size_t locked = 0;
    size_t without = 0;
    const bool every = an_option_on(&cli->options, "all");
    for (size_t i = 0; !st && i < count; i++) {
        st = an_limits_lock(cli->store, streams[i].stream_id, in_force_us, author, reason,
                            &cli->err);
        if (st == AN_NOT_FOUND && every) {
            without++;
            st = AN_OK;
        } else if (!st) {
            locked++;
        }
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.lock.1");
        an_json_object(&json);
        an_json_put_integer(&json, "locked", (int64_t)locked);
        an_json_put_integer(&json, "without_proposal", (int64_t)without);
        an_json_put_string(&json, "author", author);
        an_json_put_string(&json, "reason", reason);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else {
        an_text_addf(&cli->out, "limits of %zu stream%s locked by %s", locked,
                     an_plural(locked, "", "s"), author);
        if (without) {
            an_text_addf(&cli->out, "; %zu without a proposal left as they were", without);
        }
        an_text_add(&cli->out, "\n");
    }
    return locked ? AN_EXIT_DONE : AN_EXIT_FINDING;
}

static const struct an_option lock_options[] = {
    {"all", 0, NULL, "every stream that has a proposal"},
    {"author", 0, "NAME", "who decides (required)"},
    {"reason", 0, "TEXT", "why (required)"},
    {"in-force-from", 0, "TIME",
     "judge samples from this time on (else from the baseline's start)"},
    AN_OPTION_END,
};

const struct an_command an_command_limits_lock = {
    .name = "limits lock",
    .operands = "STREAM...|--all",
    .summary = "put the newest proposed limits in force, with author and reason",
    .example =
        "andamento limits lock --all --author 'Q. Manager' --reason 'first four days, stable'",
    .more =
        "A lock is a record of its own; earlier limits stay readable and keep judging their time.\n",
    .options = lock_options,
    .operands_most = 100000,
    .run = run_lock,
};
