/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The scale on which limits stand, told: its parameters, what it did for the shape, limits carried back. */
#include "cli/limits_scale.h"

#include "judge/scale.h"

void an_cli_scale_json(struct an_cli *cli, struct an_json *json, const struct an_limits *limits)
{
    const struct an_limits_scale *scale = &limits->scale;
    const struct an_transform *t = &scale->transform;
    const struct an_panel_point usual = an_chart_usual(&limits->model);
    if (t->scale == AN_SCALE_NONE) {
        return;
    }
    an_json_key(json, "scale");
    an_json_object(json);
    an_json_put_string(json, "of", an_scale_words(scale, cli->arena));
    an_json_put_string(json, "kind", t->scale == AN_SCALE_JOHNSON ? "johnson" : "box_cox");
    an_json_put_bool(json, "found", scale->automatic);
    if (t->scale == AN_SCALE_JOHNSON) {
        an_json_put_string(json, "shape", an_shape_name(t->fit.shape));
        for (size_t i = 0; i < an_shape_parameters(t->fit.shape); i++) {
            an_json_put_number(json, an_shape_parameter(t->fit.shape, i), t->fit.par[i]);
        }
    } else {
        an_json_put_number(json, "power", t->lambda);
        an_json_put_number(json, "shift", t->shift);
        an_json_put_number(json, "likeliest_power", scale->likeliest);
        an_json_put_number(json, "power_lower", scale->lower);
        an_json_put_number(json, "power_upper", scale->upper);
    }
    an_json_put_number(json, "readings", scale->readings);
    an_json_put_number(json, "normality_a2_star_before", scale->before.a2_star);
    an_json_put_number(json, "normality_p_before", scale->before.p);
    an_json_put_number(json, "normality_a2_star_after", scale->after.a2_star);
    an_json_put_number(json, "normality_p_after", scale->after.p);
    an_json_put_number(json, "lcl_in_unit", an_scale_back(scale, usual.lcl));
    an_json_put_number(json, "centre_in_unit", an_scale_back(scale, usual.centre));
    an_json_put_number(json, "ucl_in_unit", an_scale_back(scale, usual.ucl));
    an_json_end(json, '}');
}

enum an_status an_cli_scale_text(struct an_cli *cli, struct an_text *text,
                                 const struct an_stream *stream, const struct an_limits *limits)
{
    const struct an_station *station = NULL;
    const struct an_characteristic *c = NULL;
    const char *purpose = NULL;
    if (!an_is_scaled(limits)) {
        return AN_OK;
    }
    (void)an_judge_resolve(cli->line, stream, &station, &c, &purpose, cli->arena);
    const char *words = an_scale_words(&limits->scale, cli->arena);
    const char *back = an_scale_limits_back(limits, c ? c->unit : "", cli->arena);
    const char *story = an_scale_story(&limits->scale, cli->arena);
    if (!words || !back || !story) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    an_text_addf(text,
                 "%s: the chart is on the scale of %s; limits carried back: %s\n"
                 "%s: %s\n",
                 stream->name, words, back, stream->name, story);
    return AN_OK;
}
