/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The gauge behind a stream as JSON, as columns, as a cell. Never judges a gauge. */
#include "cli/stream_gauge_answer.h"

#include "andamento/base/instant.h"
#include "judge/judge.h"

#include <math.h>

enum an_status an_cli_stream_gauge(struct an_cli *cli, const struct an_stream *stream,
                                   int64_t until_us, struct an_arena *arena,
                                   struct an_stream_gauge *gauge)
{
    const struct an_station *station = NULL;
    const struct an_characteristic *characteristic = NULL;
    const char *purpose = NULL;
    const int64_t now_us = cli->as_of_us == AN_NO_INSTANT ? an_clock_now_us() : cli->as_of_us;
    (void)an_judge_resolve(cli->line, stream, &station, &characteristic, &purpose, arena);
    return an_stream_gauge_of(cli->store, cli->line, stream, station, characteristic,
                              until_us < now_us ? until_us : now_us, arena, gauge, &cli->err);
}

static double age_days(const struct an_stream_gauge *gauge)
{
    return gauge->age_us == AN_NO_INSTANT ? (double)NAN
                                          : floor((double)gauge->age_us / (double)AN_DAY_US);
}

/* The study that speaks, or the newest of the gauge; NULL: there is none. */
static const struct an_gauge_record *study_of(const struct an_stream_gauge *gauge)
{
    return gauge->measured ? &gauge->study : gauge->state.studied ? &gauge->state.newest : NULL;
}

static const char *grade_of(const struct an_stream_gauge *gauge)
{
    return gauge->measured        ? an_gauge_grade_words(gauge->grade)
           : gauge->state.studied ? an_gauge_grade_words(gauge->state.grade)
                                  : NULL;
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

void an_stream_gauge_json(struct an_cli *cli, struct an_json *json,
                          const struct an_stream_gauge *gauge)
{
    const struct an_gauge_record *study = study_of(gauge);
    an_json_key(json, "gauge");
    an_json_object(json);
    an_json_put_string(json, "name", gauge->gauge);
    an_json_put_string(json, "state", gauge->text);
    an_json_put_string(json, "warning", gauge->warning);
    an_json_put_string(json, "grade", grade_of(gauge));
    if (study) {
        an_json_put_integer(json, "study_id", study->study_id);
        an_json_put_string(json, "study_kind", an_gauge_kind_name(study->kind));
        an_cli_json_time(cli, json, "studied_at", study->known_us);
        an_json_put_number(json, "age_days", age_days(gauge));
    } else {
        an_json_put_string(json, "study_id", NULL);
    }
    if (gauge->measured) {
        put_bounds(json, "percent", gauge->percent, gauge->lower, gauge->upper);
        an_json_put_string(json, "percent_of", gauge->held_against);
        put_bounds(json, "distinct_categories", gauge->categories, gauge->categories_lower,
                   gauge->categories_upper);
    }
    an_json_end(json, '}');
}

static void number_cell(struct an_cli_table *table, double value)
{
    char text[32];
    an_cli_cell(table, isfinite(value) ? an_number_shortest(value, text) : "");
}

void an_stream_gauge_cells(struct an_cli *cli, struct an_cli_table *table,
                           const struct an_stream_gauge *gauge)
{
    const struct an_gauge_record *study = study_of(gauge);
    const char *grade = grade_of(gauge);
    char at[40] = "";
    char number[32] = "";
    if (study) {
        an_instant_rfc3339_in(cli->line->zone, study->known_us, at);
        an_number_shortest((double)study->study_id, number);
    }
    an_cli_cell(table, gauge->gauge ? gauge->gauge : "");
    an_cli_cell(table, number);
    an_cli_cell(table, at);
    number_cell(table, age_days(gauge));
    number_cell(table, gauge->percent);
    number_cell(table, gauge->lower);
    number_cell(table, gauge->upper);
    an_cli_cell(table, gauge->measured ? gauge->held_against : "");
    number_cell(table, gauge->categories);
    an_cli_cell(table, grade ? grade : "no study known");
    an_cli_cell(table, gauge->warning ? gauge->warning : "");
}

void an_stream_gauge_cell(struct an_cli_table *table, const struct an_stream_gauge *gauge)
{
    if (!gauge->measured) {
        an_cli_cell(table, gauge->state.studied ? an_gauge_grade_words(gauge->state.grade)
                                                : "no study known");
    } else if (gauge->grade == AN_GRADE_UNFIT) {
        an_cli_cellf(table, "%.1f %%: NOT FIT", gauge->percent);
    } else if (gauge->age_us < 0) {
        an_cli_cellf(table, "%.1f %%, %.1f categories", gauge->percent, gauge->categories);
    } else {
        an_cli_cellf(table, "%.1f %%, %.1f categories, %.0f d", gauge->percent, gauge->categories,
                     age_days(gauge));
    }
}
