/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Limits on doubtful data, told: which samples, why, and what the limits would be without them. */
#include "cli/limits_doubt.h"

#include "andamento/store/doubt.h"

enum { SAMPLES_SHOWN = 5 };

void an_cli_doubt_json(struct an_cli *cli, struct an_json *json,
                       const struct an_limits_doubt *doubt)
{
    an_json_key(json, "doubt");
    if (!doubt->count) {
        an_json_null(json);
        return;
    }
    an_json_object(json);
    an_json_key(json, "samples");
    an_json_array(json);
    for (size_t i = 0; i < doubt->count; i++) {
        const struct an_doubt *d = &doubt->samples[i];

        an_json_object(json);
        an_json_put_integer(json, "sample_id", d->sample_id);
        an_json_put_string(json, "item", d->serial);
        an_cli_json_time(cli, json, "at", d->at_us);
        an_json_put_string(json, "why", an_doubt_word(d->kind));
        an_json_put_string(json, "by", d->what);
        an_json_put_string(json, "author", d->who);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
    an_json_key(json, "without_them");
    if (doubt->learned) {
        const struct an_chart_model *model = &doubt->without.model;
        const struct an_panel_point usual = an_chart_usual(model);

        an_json_object(json);
        an_json_put_integer(json, "baseline_samples", (int64_t)model->samples);
        an_json_put_number(json, "centre", model->centre);
        an_json_put_number(json, "sigma_level", model->sigma_level);
        an_json_put_number(json, "sigma_within", model->sigma_within);
        an_json_put_number(json, "ucl", usual.ucl);
        an_json_put_number(json, "lcl", usual.lcl);
        an_json_end(json, '}');
    } else {
        an_json_null(json);
    }
    an_json_put_string(json, "why_not", doubt->why_not);
    an_json_end(json, '}');
}

void an_cli_doubt_text(struct an_text *text, const struct an_stream *stream,
                       const struct an_limits *limits, const struct an_limits_doubt *doubt)
{
    size_t counts[AN_DOUBT_KINDS] = {0};
    const char *comma = "";

    if (!doubt->count) {
        return;
    }
    for (size_t i = 0; i < doubt->count; i++) {
        counts[doubt->samples[i].kind]++;
    }
    an_text_addf(text, "%s: limits %lld rest on %zu doubtful sample%s (", stream->name,
                 (long long)limits->limits_id, doubt->count, an_plural(doubt->count, "", "s"));
    for (int kind = 1; kind < AN_DOUBT_KINDS; kind++) {
        if (counts[kind]) {
            an_text_addf(text, "%s%zu %s", comma, counts[kind],
                         an_doubt_word((enum an_doubt_kind)kind));
            comma = ", ";
        }
    }
    an_text_add(text, "):");
    for (size_t i = 0; i < doubt->count && i < SAMPLES_SHOWN; i++) {
        an_text_addf(text, "%s %lld by %s", i ? "," : "", (long long)doubt->samples[i].sample_id,
                     doubt->samples[i].what);
    }
    an_text_add(text, doubt->count > SAMPLES_SHOWN ? ", ... (all with --json)\n" : "\n");
    if (doubt->learned) {
        const struct an_panel_point was = an_chart_usual(&limits->model);
        const struct an_panel_point is = an_chart_usual(&doubt->without.model);

        an_text_addf(text,
                     "  without: centre %.5g instead of %.5g, limits %.5g to %.5g instead of %.5g "
                     "to %.5g\n",
                     doubt->without.model.centre, limits->model.centre, is.lcl, is.ucl, was.lcl,
                     was.ucl);
    } else {
        an_text_addf(text, "  without: no limits, as %s\n", doubt->why_not);
    }
}
