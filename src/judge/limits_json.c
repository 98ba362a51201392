/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Limits as JSON; limits_json_read.c reads them. Must never leave out a number that judging needs: a test
 * takes each key away and sees that reading notices.
 */
#include "judge/limits_json.h"

#include <math.h>
#include <string.h>

static void put_model(struct an_json *json, const struct an_chart_model *m)
{
    an_json_put_string(json, "family", an_family_name(m->family));
    an_json_put_number(json, "k", m->k);
    an_json_put_integer(json, "samples", (int64_t)m->samples);
    an_json_put_number(json, "n_nominal", m->n_nominal);
    an_json_put_number(json, "centre", m->centre);
    an_json_put_number(json, "sigma_within", m->sigma_within);
    an_json_put_number(json, "df_within", m->df_within);
    an_json_put_number(json, "sigma_level", m->sigma_level);
    an_json_put_number(json, "spread_centre", m->spread_centre);
    an_json_put_number(json, "dispersion", m->dispersion);
    an_json_put_number(json, "mean_opportunities", m->mean_opportunities);
    an_json_put_number(json, "between", m->between);
}

/* Only where there is one: limits of other charts keep the text they always had. */
static void put_weighting(struct an_json *json, const struct an_weighting *w)
{
    if (w->kind == AN_UNWEIGHTED) {
        return;
    }
    an_json_key(json, "weighting");
    an_json_object(json);
    an_json_put_string(json, "kind", an_weighted_name(w->kind));
    an_json_put_number(json, "limits", w->limits);
    an_json_put_number(json, "lambda", w->lambda);
    an_json_put_number(json, "reference", w->reference);
    an_json_put_number(json, "head_start", w->head_start);
    an_json_put_integer(json, "span", w->span);
    an_json_put_bool(json, "steady", w->steady);
    an_json_put_bool(json, "goes_on", w->goes_on);
    if (w->variables > 0) {
        an_json_put_integer(json, "variables", w->variables);
    }
    an_json_end(json, '}');
}

static void put_numbers(struct an_json *json, const char *key, const double x[], size_t count)
{
    an_json_key(json, key);
    an_json_array(json);
    for (size_t i = 0; i < count; i++) {
        an_json_number(json, x[i]);
    }
    an_json_end(json, ']');
}

/* What only some families have; limits of others keep the text they always had. */
static void put_other(struct an_json *json, const struct an_chart_model *m)
{
    const struct an_joint *joint = &m->joint;
    const struct an_autoregression *memory = &m->memory;

    if (m->probability) {
        an_json_put_bool(json, "probability", true);
    }
    if (m->family == AN_G) {
        an_json_put_bool(json, "whole", m->whole);
    }
    if (m->family == AN_G || m->family == AN_T) {
        an_json_put_number(json, "step", m->step);
    }
    if (an_family_is_joint(m->family)) {
        an_json_key(json, "joint");
        an_json_object(json);
        an_json_put_string(json, "spread", an_joint_spread_name(joint->spread));
        an_json_put_number(json, "upper", m->upper);
        an_json_put_number(json, "samples", joint->samples);
        if (joint->spread == AN_JOINT_POOLED) {
            an_json_put_number(json, "n", joint->n);
        }
        an_json_put_number(json, "df", joint->df);
        an_json_put_number(json, "least_own", joint->least_own);
        put_numbers(json, "mean", joint->mean, joint->p);
        put_numbers(json, "covariance", joint->covariance, joint->p * joint->p);
        an_json_end(json, '}');
    }
    if (m->family == AN_WEAR) {
        const struct an_wear *w = &m->wear;
        an_json_key(json, "wear");
        an_json_object(json);
        an_json_put_number(json, "samples", w->samples);
        an_json_put_number(json, "tools", w->tools);
        an_json_put_number(json, "intercept", w->intercept);
        an_json_put_number(json, "rate", w->rate);
        an_json_put_number(json, "rate_se", w->rate_se);
        an_json_put_number(json, "sigma", w->sigma);
        an_json_put_number(json, "life_mean", w->life_mean);
        an_json_put_number(json, "life_squares", w->life_squares);
        an_json_put_number(json, "life_most", w->life_most);
        an_json_end(json, '}');
    }
    if (m->family == AN_RESIDUALS) {
        an_json_key(json, "memory");
        an_json_object(json);
        an_json_put_number(json, "phi", memory->phi);
        an_json_put_number(json, "phi_se", memory->phi_se);
        an_json_put_number(json, "mean", memory->mean);
        an_json_put_number(json, "sigma", memory->sigma);
        an_json_put_number(json, "n", memory->n);
        an_json_end(json, '}');
    }
}

static void put_rules(struct an_json *json, const struct an_rule_choice *rules)
{
    an_json_key(json, "rules");
    an_json_object(json);
    an_json_key(json, "on");
    an_json_array(json);
    for (int r = 0; r < AN_RULE_COUNT; r++) {
        if (rules->on[r]) {
            an_json_string(json, an_rule_name((enum an_rule)r));
        }
    }
    an_json_end(json, ']');
    an_json_put_integer(json, "run_length", rules->run_length);
    an_json_put_integer(json, "trend_length", rules->trend_length);
    an_json_end(json, '}');
}

static void put_normality(struct an_json *json, const char *key, const struct an_normality *n)
{
    an_json_key(json, key);
    an_json_object(json);
    an_json_put_number(json, "a2", n->a2);
    an_json_put_number(json, "a2_star", n->a2_star);
    an_json_put_number(json, "p", n->p);
    an_json_end(json, '}');
}

/* Only where there is one, as above. */
static void put_scale(struct an_json *json, const struct an_limits_scale *scale)
{
    const struct an_transform *t = &scale->transform;

    if (t->scale == AN_SCALE_NONE) {
        return;
    }
    an_json_key(json, "scale");
    an_json_object(json);
    an_json_put_string(json, "kind", t->scale == AN_SCALE_JOHNSON ? "johnson" : "box_cox");
    an_json_put_bool(json, "found", scale->automatic);
    if (t->scale == AN_SCALE_JOHNSON) {
        an_json_put_string(json, "shape", an_shape_name(t->fit.shape));
        put_numbers(json, "parameters", t->fit.par, 4);
    } else {
        an_json_put_number(json, "power", t->lambda);
        an_json_put_number(json, "shift", t->shift);
        an_json_put_number(json, "likeliest", scale->likeliest);
        an_json_put_number(json, "lower", scale->lower);
        an_json_put_number(json, "upper", scale->upper);
    }
    an_json_put_number(json, "readings", scale->readings);
    put_normality(json, "before", &scale->before);
    put_normality(json, "after", &scale->after);
    an_json_end(json, '}');
}

void an_limits_model_json(const struct an_limits *limits, struct an_text *out)
{
    struct an_json json = an_json_into(out, false);

    an_json_object(&json);
    put_model(&json, &limits->model);
    put_weighting(&json, &limits->model.weighting);
    put_other(&json, &limits->model);
    put_scale(&json, &limits->scale);
    if (limits->product_count) {
        an_json_key(&json, "products");
        an_json_array(&json);
        for (size_t i = 0; i < limits->product_count; i++) {
            an_json_object(&json);
            an_json_put_string(&json, "name", limits->products[i].name);
            an_json_put_number(&json, "target", limits->products[i].target);
            an_json_put_number(&json, "sigma", limits->products[i].sigma);
            an_json_put_number(&json, "samples", limits->products[i].samples);
            an_json_end(&json, '}');
        }
        an_json_end(&json, ']');
    }
    put_rules(&json, &limits->rules);
    an_json_key(&json, "positions");
    an_json_array(&json);
    for (size_t i = 0; i < limits->position_count; i++) {
        an_json_object(&json);
        an_json_put_string(&json, "position", limits->positions[i].position);
        an_json_put_number(&json, "offset", limits->positions[i].offset);
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    put_normality(&json, "normality", &limits->normality);
    an_json_put_number(&json, "lag1", limits->lag1);
    an_json_put_number(&json, "lag1_bound", limits->lag1_bound);
    an_json_key(&json, "ljung_box");
    an_json_object(&json);
    an_json_put_number(&json, "q", limits->ljung_box.q);
    an_json_put_number(&json, "df", limits->ljung_box.df);
    an_json_put_number(&json, "p", limits->ljung_box.p);
    an_json_end(&json, '}');
    an_json_put_number(&json, "sigma_relative_se", limits->sigma_relative_se);
    an_json_put_number(&json, "centre_half_width", limits->centre_half_width);
    an_json_key(&json, "warnings");
    an_json_array(&json);
    for (size_t i = 0; i < limits->warning_count; i++) {
        an_json_string(&json, limits->warnings[i]);
    }
    an_json_end(&json, ']');
    an_json_end(&json, '}');
}

void an_limits_exclusions_json(const struct an_limits *limits, struct an_text *out)
{
    struct an_json json = an_json_into(out, false);

    an_json_array(&json);
    for (size_t i = 0; i < limits->excluded_count; i++) {
        an_json_object(&json);
        an_json_put_integer(&json, "sample_id", limits->excluded[i].sample_id);
        an_json_put_integer(&json, "at_us", limits->excluded[i].at_us);
        an_json_put_string(&json, "serial", limits->excluded[i].serial);
        an_json_put_string(&json, "reason", limits->excluded[i].reason);
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
}
