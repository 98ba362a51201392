/* SPDX-License-Identifier: GPL-3.0-or-later */
/* trace: what an item is made of and what it went into; ancestors that several items share. */
#include "cli/commands.h"
#include "cli/trace_answer.h"

#include <string.h>

static enum an_status find_items(struct an_cli *cli, struct an_item **items)
{
    const struct an_options *options = &cli->options;
    enum an_status st = AN_OK;

    *items = an_arena_alloc(cli->arena, options->operand_count + 1, sizeof **items);
    if (!*items) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; !st && i < options->operand_count; i++) {
        st = an_trace_find(cli->store, cli->line, options->operands[i], cli->arena, &(*items)[i],
                           &cli->err);
    }
    return st;
}

/* ---- one item --------------------------------------------------------------------------------------- */
static enum an_status check_options(struct an_cli *cli)
{
    const struct an_options *options = &cli->options;
    const int forms = an_option_on(options, "dot") + an_option_on(options, "table") +
                      (cli->format != AN_FORMAT_TABLE);
    const char *kind = an_option_value_at(options, "kind", 0);

    if (forms > 1) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "one form at a time: --table, --csv, --json or --dot");
    }
    if (options->operand_count > 1 && !an_option_on(options, "common")) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "one item at a time; --common tells what several share");
    }
    for (size_t k = 0; kind; kind = an_option_value_at(options, "kind", ++k)) {
        if (an_line_kind(cli->line, an_bytes_of(kind)) == AN_NONE) {
            return an_fail(&cli->err, AN_BAD_USAGE,
                           "--kind %s: the line description has no such kind of item", kind);
        }
    }
    return AN_OK;
}

static enum an_status walk(struct an_cli *cli, struct an_trace_ask *ask, enum an_trace_way way,
                           struct an_trace_answer *answer)
{
    ask->way = way;
    enum an_status st = an_trace_run(cli->store, ask, &answer->trace, &cli->err);

    if (!st && way == AN_TRACE_UP && ask->from_us == AN_NO_INSTANT &&
        ask->until_us == AN_NO_INSTANT) { /* within a period all else would seem to be missing */
        st = an_trace_missing(cli->line, &answer->trace, &answer->missing, &answer->missing_count,
                              &cli->err);
    }
    return st ? st : an_trace_answer_mark(cli, answer);
}

/* The places of a whole in which the description lets one part sit at a time. */
static enum an_status look_at_places(struct an_cli *cli, const struct an_item *item,
                                     struct an_trace_subject *subject)
{
    const struct an_line *line = cli->line;
    enum an_status st = AN_OK;

    subject->grids = an_arena_alloc(cli->arena, line->kind_count + 1, sizeof *subject->grids);
    subject->grid_kinds = an_arena_alloc(cli->arena, line->kind_count + 1, sizeof(const char *));
    if (!subject->grids || !subject->grid_kinds) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    const size_t whole = an_line_kind(line, an_bytes_of(item->kind));
    for (size_t k = 0; !st && k < line->kind_count; k++) {
        if (an_line_single(line, k, whole)) {
            subject->grid_kinds[subject->grid_count] = line->kinds[k].name;
            st = an_trace_places(cli->store, item->item_id, line->kinds[k].name, AN_NO_INSTANT,
                                 &subject->grids[subject->grid_count++], &cli->err);
        }
    }
    return st;
}

static void print(struct an_cli *cli, const struct an_trace_subject *subject,
                  const struct an_trace_answer *answers, size_t count)
{
    const bool sums = an_option_on(&cli->options, "sums");

    if (cli->format == AN_FORMAT_JSON) {
        an_trace_json(cli, subject, answers, count);
    } else if (an_option_on(&cli->options, "dot")) {
        an_trace_dot(cli, answers, count);
    } else if (cli->format == AN_FORMAT_CSV || an_option_on(&cli->options, "table") || sums) {
        an_trace_table(cli, answers, count, sums);
    } else {
        an_trace_tree(cli, subject, answers, count);
    }
}

/* What a person has to look at, whatever the form of the answer. */
static enum an_exit find_faults(struct an_cli *cli, const struct an_trace_answer *answers,
                                size_t count)
{
    enum an_exit exit = AN_EXIT_DONE;
    size_t loops = 0;

    for (size_t a = 0; a < count; a++) {
        const struct an_trace *trace = &answers[a].trace;

        for (size_t k = 0; k < trace->step_count; k++) {
            loops += trace->steps[k].circle ? 1 : 0;
        }
        if (trace->cut) {
            an_cli_say(cli,
                       "andamento: cut after %zu links: the answer is not whole; ask for less with "
                       "--depth, --from or --until, or raise --most",
                       trace->step_count);
            exit = AN_EXIT_FINDING;
        }
        exit = answers[a].missing_count ? AN_EXIT_FINDING : exit;
    }
    if (loops) {
        an_cli_say(cli,
                   "andamento: %s in a loop, which intake would not have taken; 'andamento verify' "
                   "tells whether the store was changed",
                   an_plural(loops, "link stands", "links stand"));
        exit = AN_EXIT_FINDING;
    }
    return exit;
}

static enum an_exit trace_one(struct an_cli *cli, const struct an_item *item)
{
    const bool up = an_option_on(&cli->options, "up");
    const bool down = an_option_on(&cli->options, "down");
    struct an_trace_ask ask = {
        .item_id = item->item_id, .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT};
    struct an_trace_answer answers[2] = {{.asked = NULL}, {.asked = NULL}};
    struct an_trace_subject subject = {.known_count = 0};
    size_t count = 0;
    size_t depth = 0;
    size_t faults = 0;
    enum an_exit exit = AN_EXIT_DONE;
    enum an_status st = an_cli_time(cli, "from", &ask.from_us);

    st = st ? st : an_cli_time(cli, "until", &ask.until_us);
    st = st ? st : an_cli_count(cli, "depth", 0, &depth);
    st = st ? st : an_cli_count(cli, "most", AN_TRACE_MOST_STEPS, &ask.most_steps);
    ask.most_depth = depth < UINT32_MAX ? (uint32_t)depth : UINT32_MAX;
    if (!st && (up || !down)) {
        st = walk(cli, &ask, AN_TRACE_UP, &answers[count++]);
    }
    if (!st && (down || !up)) {
        st = walk(cli, &ask, AN_TRACE_DOWN, &answers[count++]);
    }
    st = st ? st
            : an_store_aliases(cli->store, item->item_id, cli->arena, &subject.known,
                               &subject.known_count, &cli->err);
    for (size_t a = 0; a < count && !st; a++) {
        const enum an_trace_way way = answers[a].trace.way;

        st = an_store_lone_ends(cli->store, item->item_id, way == AN_TRACE_UP, cli->arena,
                                &subject.ends[way], &subject.end_count[way], &cli->err);
        faults += st ? 0 : subject.end_count[way];
    }
    if (!st && (up || !down) && ask.from_us == AN_NO_INSTANT && ask.until_us == AN_NO_INSTANT) {
        st = look_at_places(cli, item, &subject);
    }
    if (st) {
        exit = an_cli_failed(cli, st);
    } else {
        print(cli, &subject, answers, count);
        exit = find_faults(cli, answers, count);
    }
    for (size_t i = 0; i < subject.grid_count; i++) {
        faults += an_trace_grid_faults(&subject.grids[i]);
        an_trace_grid_close(&subject.grids[i]);
    }
    exit = exit == AN_EXIT_DONE && faults ? AN_EXIT_FINDING : exit;
    for (size_t a = 0; a < count; a++) {
        an_trace_close(&answers[a].trace);
    }
    return exit;
}

/* ---- several items ------------------------------------------------------------------------------------ */
static void common_json(struct an_cli *cli, const struct an_trace_common *common)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.trace.common.1");

    an_json_object(&json);
    an_json_key(&json, "items");
    an_json_array(&json);
    for (size_t i = 0; i < common->item_count; i++) {
        an_json_object(&json);
        an_json_put_string(&json, "kind", common->items[i].kind);
        an_json_put_string(&json, "serial", common->items[i].serial);
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    an_json_key(&json, "shared");
    an_json_array(&json);
    for (size_t k = 0; k < common->shared_count; k++) {
        const struct an_trace_shared *shared = &common->shared[k];

        an_json_object(&json);
        an_json_put_string(&json, "kind", shared->item.kind);
        an_json_put_string(&json, "serial", shared->item.serial);
        an_json_put_string(&json, "role", shared->role);
        an_json_put_integer(&json, "of", (int64_t)shared->of);
        an_json_put_integer(&json, "depth", shared->depth);
        an_json_key(&json, "in");
        an_json_array(&json);
        for (size_t i = 0; i < common->item_count; i++) {
            if (shared->has[i]) {
                an_json_object(&json);
                an_json_put_string(&json, "serial", common->items[i].serial);
                an_json_put_number(&json, "share", shared->share[i]);
                an_json_end(&json, '}');
            }
        }
        an_json_end(&json, ']');
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    an_json_put_bool(&json, "cut", common->cut);
    an_json_end(&json, '}');
    an_cli_json_end(cli, &json);
}

static void common_table(struct an_cli *cli, const struct an_trace_common *common)
{
    static const char *const titles[] = {"of", "kind", "serial", "role", "depth", "in"};
    struct an_cli_table table = {.titles = titles, .columns = 6, .right = 1U | 16U};

    for (size_t k = 0; k < common->shared_count; k++) {
        const struct an_trace_shared *shared = &common->shared[k];
        struct an_text in = {0};
        char share[32];

        for (size_t i = 0; i < common->item_count; i++) {
            if (shared->has[i]) {
                an_text_addf(&in, "%s%s", in.length ? ", " : "", common->items[i].serial);
                if (an_trace_share(shared->share[i], share)[0]) {
                    an_text_addf(&in, " %s", share);
                }
            }
        }
        an_cli_cellf(&table, "%zu", shared->of);
        an_cli_cell(&table, shared->item.kind);
        an_cli_cell(&table, shared->item.serial);
        an_cli_cell(&table, shared->role ? shared->role : "");
        an_cli_cellf(&table, "%u", shared->depth);
        an_cli_cell(&table, an_text_of(&in));
        cli->out.failed = cli->out.failed || in.failed;
        an_text_free(&in);
    }
    an_cli_table_print(cli, &table);
}

static enum an_exit trace_common(struct an_cli *cli, const struct an_item *items)
{
    const size_t count = cli->options.operand_count;
    int64_t *ids = an_arena_alloc(cli->arena, count + 1, sizeof *ids);
    struct an_trace_common common;
    size_t least = 2;
    enum an_status st = an_cli_count(cli, "least", 2, &least);

    if (!st && !ids) {
        st = an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    if (!st && (count < 2 || least < 2)) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "--common wants two items or more, and --least 2 or more");
    }
    for (size_t i = 0; !st && i < count; i++) {
        ids[i] = items[i].item_id;
    }
    st = st ? st : an_trace_common(cli->store, ids, count, least, &common, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    const bool cut = common.cut;
    if (cli->format == AN_FORMAT_JSON) {
        common_json(cli, &common);
    } else if (common.shared_count || cli->format == AN_FORMAT_CSV) {
        common_table(cli, &common);
    } else {
        an_text_add(&cli->out, "they share nothing that is recorded\n");
    }
    if (cut) {
        an_cli_say(cli,
                   "andamento: an item has more ancestors than are looked at: not all are told");
    }
    an_trace_common_close(&common);
    return cut ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static enum an_exit run(struct an_cli *cli)
{
    struct an_item *items = NULL;
    enum an_status st = an_cli_open(cli, AN_STORE_READ, true);

    st = st ? st : check_options(cli);
    st = st ? st : find_items(cli, &items);
    if (st) {
        return an_cli_failed(cli, st);
    }
    return an_option_on(&cli->options, "common") ? trace_common(cli, items)
                                                 : trace_one(cli, &items[0]);
}

static const struct an_option options[] = {
    {"up", 0, NULL, "only what it is made of"},
    {"down", 0, NULL, "only what it went into"},
    {"depth", 0, "N", "no further than N links (to the end)"},
    {"kind", 0, "KIND", "only items of this kind, and the way there; may be given several times"},
    {"role", 0, "ROLE", "only items in this role; may be given several times"},
    {"from", 0, "TIME", "only links that still held at this time or later"},
    {"until", 0, "TIME", "only links that began before this time"},
    {"table", 0, NULL, "a row a link instead of a tree; so do --csv and --json"},
    {"sums", 0, NULL, "a row an item instead, with its share over all paths"},
    {"dot", 0, NULL, "a graph in the DOT language"},
    {"most", 0, "N", "stop after N links (1000000)"},
    {"common", 0, NULL, "what several items have in common instead: ancestors, most shared first"},
    {"least", 0, "N", "with --common: shared by at least N of them (2)"},
    AN_OPTION_END,
};

const struct an_command an_command_trace = {
    .name = "trace",
    .operands = "ITEM...",
    .summary = "tell what an item is made of and what it went into",
    .example = "andamento trace tile:T-2610-00017 --up --kind donor",
    .more =
        "ITEM is SERIAL, or KIND:SERIAL where kinds share serials. A share is the part of the whole\n"
        "that is made of the other; along a path shares multiply, and a path over a link that tells\n"
        "none has none. Exit status 1: a link is missing or in a loop, a place of a whole is empty or\n"
        "doubled, or the answer was cut.\n"
        "docs/trace.md says more.\n",
    .options = options,
    .operands_least = 1,
    .operands_most = 10000,
    .as_of = true,
    .run = run,
};
