/* SPDX-License-Identifier: GPL-3.0-or-later */
/* gauge study, list: how much of what a gauge shows is the gauge. */
#include "andamento/base/instant.h"
#include "cli/commands.h"
#include "cli/gauge_answer.h"
#include "cli/signing.h"
#include "judge/judge.h"
#include "report/gauge_page.h"

#include <math.h>
#include <string.h>

/* ---- what is asked ------------------------------------------------------------------------------- */
static enum an_status read_number(struct an_cli *cli, const char *option, double *value)
{
    const char *text = an_option_value(&cli->options, option);
    struct an_decimal decimal = {0};
    if (!text) {
        return AN_OK;
    }
    if (an_decimal_parse(an_bytes_of(text), '.', 0, &decimal)) {
        return an_fail(&cli->err, AN_BAD_USAGE, "--%s wants a number such as 0.25, not '%s'",
                       option, text);
    }
    *value = decimal.value;
    return AN_OK;
}

/* part=COLUMN,operator=COLUMN,reading=COLUMN,reference=COLUMN,time=COLUMN */
static enum an_status read_columns(struct an_cli *cli, struct an_gauge_record *record,
                                   const char **time)
{
    enum { ROLES = 5 };
    const char *text = an_option_value(&cli->options, "columns");
    const struct {
        const char *role;
        const char **column;
    } roles[] = {{"part", &record->part},
                 {"operator", &record->person},
                 {"reading", &record->reading},
                 {"reference", &record->reference},
                 {"time", time}};
    while (text && *text) {
        const size_t length = strcspn(text, ",");
        const char *equals = memchr(text, '=', length);
        size_t k = 0;
        while (k < ROLES && !(equals && strlen(roles[k].role) == (size_t)(equals - text) &&
                              strncmp(text, roles[k].role, (size_t)(equals - text)) == 0)) {
            k++;
        }
        if (k == ROLES || equals + 1 == text + length) {
            return an_fail(&cli->err, AN_BAD_USAGE,
                           "--columns wants part=COLUMN,operator=COLUMN,reading=COLUMN and, where "
                           "there is one, reference=COLUMN or time=COLUMN; not '%.*s'",
                           (int)length, text);
        }
        *roles[k].column =
            an_arena_copy(cli->arena, equals + 1, length - (size_t)(equals + 1 - text));
        if (!*roles[k].column) {
            return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
        }
        text += length + (text[length] == ',');
    }
    return AN_OK;
}

/* A time is kept where the operator of other kinds is. */
static const char *check_stability(struct an_gauge_record *record, const char *time)
{
    if (!time || record->person) {
        return "stability wants reading=COLUMN and time=COLUMN in --columns, and no operator";
    }
    if ((record->reference != NULL) == (bool)isfinite(record->reference_value)) {
        return "stability wants the item's true value: --reference VALUE, or reference=COLUMN in "
               "--columns, one of them";
    }
    record->person = time;
    return NULL;
}

/* Which columns a kind wants, and which it has no use for. */
static enum an_status check_columns(struct an_cli *cli, struct an_gauge_record *record,
                                    const char *time)
{
    const bool people = record->kind == AN_GAUGE_CROSSED || record->kind == AN_GAUGE_SORTING;
    const bool takes_reference =
        record->kind == AN_GAUGE_SORTING || record->kind == AN_GAUGE_LINEARITY;
    const char *wrong = NULL;
    if (!record->reading) {
        wrong = "a study wants reading=COLUMN in --columns";
    } else if (record->kind == AN_GAUGE_STABILITY) {
        wrong = check_stability(record, time);
    } else if (time) {
        wrong = "time=COLUMN is for a stability study";
    } else if (people && (!record->part || !record->person)) {
        wrong = "this kind of study wants part=COLUMN and operator=COLUMN in --columns";
    } else if (!people && (record->part || record->person)) {
        wrong = "bias and linearity have no use for part or operator in --columns";
    } else if (record->kind == AN_GAUGE_LINEARITY && !record->reference) {
        wrong = "linearity wants reference=COLUMN in --columns";
    } else if (record->reference && !takes_reference) {
        wrong = "reference=COLUMN is for linearity, sorting and stability; bias takes --reference "
                "VALUE";
    } else if (record->kind == AN_GAUGE_BIAS && isnan(record->reference_value)) {
        wrong = "bias wants --reference VALUE, the true value of the item";
    } else if (record->kind != AN_GAUGE_BIAS && !isnan(record->reference_value)) {
        wrong = "--reference VALUE is for a bias or a stability study";
    }
    return wrong ? an_fail(&cli->err, AN_BAD_USAGE, "%s", wrong) : AN_OK;
}

/* The stream must be there; the width of its specification, unless one was given. */
static enum an_status tolerance_of_stream(struct an_cli *cli, struct an_gauge_record *record)
{
    struct an_stream stream;
    const struct an_station *station = NULL;
    const struct an_characteristic *c = NULL;
    const char *purpose = NULL;
    const enum an_status st =
        an_store_find_stream(cli->store, record->stream, cli->arena, &stream, &cli->err);
    if (st) {
        return st;
    }
    if (!an_judge_resolve(cli->line, &stream, &station, &c, &purpose, cli->arena)) {
        return an_fail(&cli->err, AN_NOT_FOUND,
                       "the line description no longer has '%s'; give --tolerance", record->stream);
    }
    if (record->tolerance > 0.0) {
        return AN_OK; /* given: the stream tells whose readings these are */
    }
    if (!isfinite(c->lsl) || !isfinite(c->usl)) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "'%s' has no two-sided specification; give --tolerance too, the width "
                       "that the gauge is to be held against",
                       record->stream);
    }
    record->tolerance = c->usl - c->lsl;
    return AN_OK;
}

static enum an_status read_wish(struct an_cli *cli, struct an_gauge_record *record)
{
    const struct an_options *options = &cli->options;
    const char *kind = an_option_value(options, "kind");
    const char *path = options->operands[0];
    const char *slash = strrchr(path, '/');
    *record = (struct an_gauge_record){.gauge = an_option_value(options, "gauge"),
                                       .kind = AN_GAUGE_CROSSED,
                                       .stream = an_option_value(options, "stream"),
                                       .reference_value = (double)NAN,
                                       .tolerance = (double)NAN,
                                       .pool_above = AN_GAUGE_POOL_ABOVE,
                                       .file = slash ? slash + 1 : path,
                                       .author = an_option_value(options, "author"),
                                       .reason = an_option_value(options, "reason")};
    if (!record->gauge || !record->gauge[0]) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "a study wants --gauge NAME, as stations and the line description write it");
    }
    if (kind && !an_gauge_kind_of(kind, &record->kind)) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "--kind is one of crossed, bias, linearity, sorting, stability; not '%s'",
                       kind);
    }
    if (!cli->dry_run && (!record->author || !record->reason)) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "a study wants --author NAME and --reason TEXT: both are kept for good");
    }
    const char *time = NULL;
    enum an_status st = read_columns(cli, record, &time);
    st = st ? st : read_number(cli, "reference", &record->reference_value);
    st = st ? st : read_number(cli, "tolerance", &record->tolerance);
    st = st ? st : read_number(cli, "pool-above", &record->pool_above);
    if (!st && an_option_value(options, "tolerance") && !(record->tolerance > 0.0)) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "--tolerance wants a width above zero");
    }
    return st ? st : check_columns(cli, record, time);
}

/* ---- gauge study ------------------------------------------------------------------------------------- */
static enum an_exit study(struct an_cli *cli)
{
    struct an_gauge_record record;
    struct an_gauge_result result;
    enum an_status st = read_wish(cli, &record);
    st = st ? st : an_cli_read_file(cli, cli->options.operands[0], &record.data);
    st = st ? st : an_cli_open(cli, cli->dry_run ? AN_STORE_READ : AN_STORE_WRITE, true);
    st = !st && record.stream ? tolerance_of_stream(cli, &record) : st;
    st = st ? st : an_gauge_evaluate(&record, cli->arena, &result, &cli->err);
    if (!st) {
        record.grade = result.grade;
        record.verdict = result.verdict;
        record.hash = an_sha256_of(record.data.at, record.data.length);
    }
    st = st || cli->dry_run ? st : an_store_put_gauge_study(cli->store, &record, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.gauge-study.1");
        an_gauge_json(cli, &json, &result);
        an_cli_json_end(cli, &json);
    } else if (cli->format == AN_FORMAT_CSV) {
        an_gauge_rows_csv(cli, &result);
    } else {
        an_gauge_lines(cli, &result);
        if (cli->dry_run) {
            an_text_add(&cli->out, "\nnot recorded: dry run\n");
        } else {
            an_text_addf(&cli->out, "\nrecorded as study %lld\n", (long long)record.study_id);
        }
    }
    return result.grade == AN_GRADE_UNFIT ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option study_options[] = {
    {"gauge", 0, "NAME", "the gauge, as stations and the line description write it (required)"},
    {"kind", 0, "KIND", "crossed (as it is), bias, linearity, sorting or stability"},
    {"columns", 0, "LIST", "which column is what: part=P,operator=O,reading=R,reference=V,time=T"},
    {"reference", 0, "VALUE", "true value of the item, for bias and stability"},
    {"tolerance", 0, "WIDTH", "width of the tolerance, in the unit of the readings"},
    {"stream", 0, "NAME",
     "whose readings these are; its specification gives the width, unless --tolerance does"},
    {"pool-above", 0, "P", "leave the interaction out if its p is above this (0.25); 1: never"},
    {"author", 0, "NAME", "who answers for the study (required, unless a dry run)"},
    {"reason", 0, "TEXT", "why it was made (required, unless a dry run)"},
    {"dry-run", 'n', NULL, "evaluate, record nothing"},
    AN_OPTION_END,
};

const struct an_command an_command_gauge_study = {
    .name = "gauge study",
    .operands = "FILE",
    .summary = "evaluate a study of a gauge and record it",
    .example = "andamento gauge study grr.csv --gauge CAM-2 --columns "
               "part=tile,operator=who,reading=lv --tolerance 12 --author 'Q. Lead' --reason "
               "'after service'",
    .more = "FILE is CSV with a line of column names and one reading a line; it is kept in the\n"
            "record with the study. docs/gauge.md says what each kind of study wants and how it\n"
            "is computed. The status is 1 if the gauge is found not fit.\n",
    .options = study_options,
    .operands_least = 1,
    .operands_most = 1,
    .run = study,
};

/* ---- gauge list --------------------------------------------------------------------------------------- */
static void add_name(const char **names, size_t *count, const char *name)
{
    for (size_t i = 0; i < *count; i++) {
        if (strcmp(names[i], name) == 0) {
            return;
        }
    }
    names[(*count)++] = name;
}

/* Every gauge that is described, named by a station, or was studied. */
static enum an_status all_names(struct an_cli *cli, const struct an_gauge_record studies[],
                                size_t study_count, const char ***names, size_t *count)
{
    struct an_gauge_use *uses = NULL;
    size_t use_count = 0;
    const enum an_status st = an_store_gauges(cli->store, INT64_MIN, AN_NO_INSTANT, cli->arena,
                                              &uses, &use_count, &cli->err);
    if (st) {
        return st;
    }
    *count = 0;
    *names = an_arena_alloc(
        cli->arena, study_count + use_count + cli->line->gauge_count + cli->line->station_count + 1,
        sizeof **names);
    if (!*names) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < cli->line->gauge_count; i++) {
        add_name(*names, count, cli->line->gauges[i].name);
    }
    for (size_t i = 0; i < cli->line->station_count; i++) {
        if (cli->line->stations[i].gauge) {
            add_name(*names, count, cli->line->stations[i].gauge);
        }
    }
    for (size_t i = 0; i < use_count; i++) {
        add_name(*names, count, uses[i].gauge);
    }
    for (size_t i = 0; i < study_count; i++) {
        add_name(*names, count, studies[i].gauge);
    }
    return AN_OK;
}

static void state_json(struct an_cli *cli, struct an_json *json, const struct an_gauge_state *state)
{
    an_json_object(json);
    an_json_put_string(json, "gauge", state->name);
    an_json_put_string(json, "station", state->station);
    an_json_put_integer(json, "studies", (int64_t)state->studies);
    an_json_put_bool(json, "needs_look", state->needs_look);
    an_cli_json_time(cli, json, "calibrated_until", state->until_us);
    an_json_put_bool(json, "calibration_ended", state->overdue);
    an_json_put_string(json, "state", state->text);
    an_json_key(json, "newest_study");
    if (state->studied) {
        an_json_object(json);
        an_gauge_record_json(cli, json, &state->newest);
        an_json_end(json, '}');
    } else {
        an_json_null(json);
    }
    an_json_end(json, '}');
}

static void state_row(struct an_cli_table *table, const struct an_gauge_state *state)
{
    an_cli_cell(table, state->name);
    an_cli_cellf(table, "%zu", state->studies);
    an_cli_cell(table, state->overdue    ? "calibration ended"
                       : !state->studied ? "not studied"
                                         : an_gauge_grade_words(state->grade));
    an_cli_cell(table, state->text);
}

static void list_studies(struct an_cli *cli, const struct an_gauge_record studies[], size_t count)
{
    static const char *const titles[] = {"study",  "gauge",  "kind",    "recorded", "grade",
                                         "author", "reason", "verdict", "signed"};
    struct an_cli_table table = {.titles = titles, .columns = 9, .right = 1U};
    struct an_json json = {0};
    char at[40];
    if (cli->format == AN_FORMAT_JSON) {
        json = an_cli_json_begin(cli, "andamento.gauge-studies.1");
        an_json_array(&json);
    }
    for (size_t i = 0; i < count; i++) {
        const struct an_gauge_record *r = &studies[i];
        if (cli->format == AN_FORMAT_JSON) {
            an_json_object(&json);
            an_gauge_record_json(cli, &json, r);
            an_json_end(&json, '}');
            continue;
        }
        an_cli_cellf(&table, "%lld", (long long)r->study_id);
        an_cli_cell(&table, r->gauge);
        an_cli_cell(&table, an_gauge_kind_name(r->kind));
        an_cli_cell(&table, an_instant_rfc3339_in(cli->line->zone, r->known_us, at));
        an_cli_cell(&table, an_gauge_grade_words(r->grade));
        an_cli_cell(&table, r->author);
        an_cli_cell(&table, r->reason);
        an_cli_cell(&table, r->verdict);
        an_cli_signed_cell(cli, &table, r->signed_key);
    }
    if (cli->format == AN_FORMAT_JSON) {
        an_json_end(&json, ']');
        an_cli_json_end(cli, &json);
    } else {
        an_cli_table_print(cli, &table);
    }
}

static enum an_exit list(struct an_cli *cli)
{
    static const char *const titles[] = {"gauge", "studies", "grade", "state"};
    struct an_cli_table table = {.titles = titles, .columns = 4, .right = 2U};
    struct an_json json = {0};
    struct an_gauge_record *studies = NULL;
    const char **names = NULL;
    size_t study_count = 0;
    size_t count = 0;
    bool finding = false;
    enum an_status st = an_cli_open(cli, AN_STORE_READ, true);
    st = st ? st
            : an_store_gauge_studies(cli->store, NULL, cli->arena, &studies, &study_count,
                                     &cli->err);
    if (!st && an_option_on(&cli->options, "all")) {
        list_studies(cli, studies, study_count);
        return AN_EXIT_DONE;
    }
    st = st ? st : all_names(cli, studies, study_count, &names, &count);
    if (!st && cli->format == AN_FORMAT_JSON) {
        json = an_cli_json_begin(cli, "andamento.gauges.1");
        an_json_array(&json);
    }
    for (size_t i = 0; !st && i < count; i++) {
        struct an_gauge_state state;
        st = an_gauge_state_of(cli->line, names[i], studies, study_count,
                               cli->as_of_us == AN_NO_INSTANT ? an_clock_now_us() : cli->as_of_us,
                               cli->arena, &state, &cli->err);
        if (!st && cli->format == AN_FORMAT_JSON) {
            state_json(cli, &json, &state);
        } else if (!st) {
            state_row(&table, &state);
        }
        finding =
            finding || (!st && (state.overdue || (state.studied && state.grade == AN_GRADE_UNFIT)));
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        an_json_end(&json, ']');
        an_cli_json_end(cli, &json);
    } else {
        an_cli_table_print(cli, &table);
    }
    return finding ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option list_options[] = {
    {"all", 'a', NULL, "every study instead of the state of every gauge"},
    AN_OPTION_END,
};

const struct an_command an_command_gauge_list = {
    .name = "gauge list",
    .operands = "",
    .summary = "the state of every gauge: newest study, calibration",
    .example = "andamento gauge list",
    .more =
        "A gauge is listed if a station names it, the line description has it under 'gauges', or\n"
        "it was studied. The status is 1 if one is not fit or past its calibration.\n",
    .options = list_options,
    .as_of = true,
    .run = list,
};

/* ---- gauge report ----------------------------------------------------------------------------------- */
static enum an_exit report(struct an_cli *cli)
{
    const char *path = an_option_value(&cli->options, "output");
    struct an_gauge_record record;
    struct an_gauge_result result;
    struct an_gauge_page page = {
        .path = path, .paper = &an_paper_a4, .program_version = cli->version};
    int64_t study_id = 0;
    enum an_status st = AN_OK;
    if (!path) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "a report wants -o FILE, the PDF to write");
    } else if (an_integer_parse(an_bytes_of(cli->options.operands[0]), &study_id) || study_id < 1) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "\"%s\" is not the number of a study; `andamento gauge list --all` lists them",
                     cli->options.operands[0]);
    }
    st = st ? st : an_cli_open(cli, AN_STORE_READ, true);
    st = st ? st : an_store_gauge_study(cli->store, study_id, cli->arena, &record, &cli->err);
    st = st ? st : an_gauge_evaluate(&record, cli->arena, &result, &cli->err);
    st = st ? st : an_ledger_head(cli->store, &page.head, &cli->err);
    if (!st) {
        const char *slash = strrchr(an_store_path(cli->store), '/');
        page.store_name = slash ? slash + 1 : an_store_path(cli->store);
        st = an_gauge_page_write(cli->line, &result, &page, &cli->err);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    an_text_addf(&cli->out, "%s\n", path);
    return AN_EXIT_DONE;
}

static const struct an_option report_options[] = {
    {"output", 'o', "FILE", "the PDF to write (required)"},
    AN_OPTION_END,
};

const struct an_command an_command_gauge_report = {
    .name = "gauge report",
    .operands = "STUDY",
    .summary = "one page on a study, as PDF",
    .example = "andamento gauge report 3 -o gauge-3.pdf",
    .more =
        "STUDY is the number that `gauge study` printed and `gauge list --all` lists. The page is\n"
        "computed again from the readings that the record holds.\n",
    .options = report_options,
    .operands_least = 1,
    .operands_most = 1,
    .as_of = true,
    .run = report,
};
