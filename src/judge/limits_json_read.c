/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Limits read back from the texts that limits_json.c writes. Reading is strict: limits that cannot be
 * understood whole must never judge. All numbers of the model are read as doubles, so that 3 and 3.0
 * are one.
 */
#include "judge/limits_json.h"

#include <jansson.h>
#include <math.h>
#include <string.h>

struct source { /* what is being read; the first thing missing is remembered */
    struct an_arena *arena;
    const char *missing;
    bool no_memory;
};

/* A number, or null for NaN. */
static double get_number(struct source *source, const json_t *object, const char *key)
{
    const json_t *value = json_object_get(object, key);

    if (json_is_number(value)) {
        return json_number_value(value);
    }
    if (!json_is_null(value) && !source->missing) {
        source->missing = key;
    }
    return (double)NAN;
}

static int64_t get_whole(struct source *source, const json_t *object, const char *key, int64_t lo,
                         int64_t hi)
{
    const json_t *value = json_object_get(object, key);
    const double number = json_is_real(value) ? json_real_value(value) : 0.0;

    if (json_is_integer(value) && json_integer_value(value) >= lo &&
        json_integer_value(value) <= hi) {
        return json_integer_value(value);
    }
    if (json_is_real(value) && number == floor(number) && fabs(number) < 9e15 &&
        number >= (double)lo && number <= (double)hi) {
        return (int64_t)number;
    }
    if (!source->missing) {
        source->missing = key;
    }
    return lo;
}

static const char *keep_text(struct source *source, const json_t *value, const char *what)
{
    if (json_is_null(value)) {
        return NULL;
    }
    if (!json_is_string(value)) {
        if (!source->missing) {
            source->missing = what;
        }
        return NULL;
    }
    const char *copy =
        an_arena_copy(source->arena, json_string_value(value), json_string_length(value));
    source->no_memory = source->no_memory || !copy;
    return copy;
}

static const json_t *get_array(struct source *source, const json_t *object, const char *key)
{
    const json_t *value = json_object_get(object, key);

    if (!json_is_array(value) && !source->missing) {
        source->missing = key;
    }
    return value; /* of no array the size is 0 */
}

/* Room for the elements of an array; NULL if there are none. */
static void *room_for(struct source *source, const json_t *array, size_t size)
{
    const size_t count = json_array_size(array);

    if (count == 0) {
        return NULL;
    }
    void *room = an_arena_alloc(source->arena, count, size);
    source->no_memory = source->no_memory || !room;
    return room;
}

static void get_weighting(struct source *source, const json_t *object, struct an_weighting *w);
static void get_other(struct source *source, const json_t *object, struct an_chart_model *m);

static void get_model(struct source *source, const json_t *object, struct an_chart_model *m)
{
    const char *family = json_string_value(json_object_get(object, "family"));
    int f = 0;

    while (family && f < AN_FAMILY_COUNT &&
           strcmp(an_family_name((enum an_family)f), family) != 0) {
        f++;
    }
    if (!family || f == AN_FAMILY_COUNT) {
        source->missing = "family";
        return;
    }
    m->family = (enum an_family)f;
    m->k = get_number(source, object, "k");
    m->samples = (size_t)get_whole(source, object, "samples", 0, INT64_C(1) << 52);
    m->n_nominal = get_number(source, object, "n_nominal");
    m->centre = get_number(source, object, "centre");
    m->sigma_within = get_number(source, object, "sigma_within");
    m->df_within = get_number(source, object, "df_within");
    m->sigma_level = get_number(source, object, "sigma_level");
    m->spread_centre = get_number(source, object, "spread_centre");
    m->dispersion = get_number(source, object, "dispersion");
    m->mean_opportunities = get_number(source, object, "mean_opportunities");
    m->between = get_number(source, object, "between");
    get_weighting(source, object, &m->weighting);
    get_other(source, object, m);
}

static void get_numbers(struct source *source, const json_t *object, const char *key, double x[],
                        size_t count)
{
    const json_t *array = get_array(source, object, key);

    if (json_array_size(array) != count && !source->missing) {
        source->missing = key;
    }
    for (size_t i = 0; i < count; i++) {
        const json_t *one = json_array_get(array, i);
        x[i] = json_is_number(one) ? json_number_value(one) : (double)NAN;
    }
}

static void get_joint(struct source *source, const json_t *object, struct an_chart_model *m)
{
    struct an_joint *joint = &m->joint;
    const char *spread = json_string_value(json_object_get(object, "spread"));

    const size_t p = json_array_size(json_object_get(object, "mean"));

    *joint = (struct an_joint){.p = p >= 2 && p <= AN_JOINT_MOST ? p : 2, .n = 1};
    joint->spread = AN_JOINT_SUCCESSIVE;
    for (int i = 0; spread && i < AN_JOINT_SPREAD_COUNT; i++) {
        if (strcmp(an_joint_spread_name((enum an_joint_spread)i), spread) == 0) {
            joint->spread = (enum an_joint_spread)i;
        }
    }
    if (joint->spread == AN_JOINT_POOLED) {
        joint->n = get_number(source, object, "n");
    }
    m->upper = get_number(source, object, "upper");
    joint->samples = get_number(source, object, "samples");
    joint->df = get_number(source, object, "df");
    get_numbers(source, object, "mean", joint->mean, joint->p);
    get_numbers(source, object, "covariance", joint->covariance, joint->p * joint->p);
    if (an_joint_check(joint) && !source->missing) {
        source->missing = "joint";
    }
}

static void get_other(struct source *source, const json_t *object, struct an_chart_model *m)
{
    const json_t *memory = json_object_get(object, "memory");

    m->probability = json_is_true(json_object_get(object, "probability"));
    m->whole = json_is_true(json_object_get(object, "whole"));
    m->upper = (double)NAN;
    m->step = (double)NAN;
    if (m->family == AN_G || m->family == AN_T) { /* not told: each event's place is known */
        m->step = json_object_get(object, "step") ? get_number(source, object, "step") : 0.0;
    }
    if (an_family_is_joint(m->family)) {
        get_joint(source, json_object_get(object, "joint"), m);
    }
    if (m->family == AN_WEAR) {
        const json_t *wear = json_object_get(object, "wear");
        m->wear = (struct an_wear){.samples = get_number(source, wear, "samples"),
                                   .tools = get_number(source, wear, "tools"),
                                   .intercept = get_number(source, wear, "intercept"),
                                   .rate = get_number(source, wear, "rate"),
                                   .rate_se = get_number(source, wear, "rate_se"),
                                   .sigma = get_number(source, wear, "sigma"),
                                   .life_mean = get_number(source, wear, "life_mean"),
                                   .life_squares = get_number(source, wear, "life_squares"),
                                   .life_most = get_number(source, wear, "life_most")};
    }
    if (m->family == AN_RESIDUALS) {
        m->memory = (struct an_autoregression){.phi = get_number(source, memory, "phi"),
                                               .phi_se = get_number(source, memory, "phi_se"),
                                               .mean = get_number(source, memory, "mean"),
                                               .sigma = get_number(source, memory, "sigma"),
                                               .n = get_number(source, memory, "n")};
    }
}

static void get_weighting(struct source *source, const json_t *object, struct an_weighting *w)
{
    const json_t *inside = json_object_get(object, "weighting");
    const char *kind = json_string_value(json_object_get(inside, "kind"));

    memset(w, 0, sizeof *w);
    if (!inside) {
        return;
    }
    for (int k = AN_EWMA; kind && k < AN_WEIGHTED_COUNT; k++) {
        if (strcmp(an_weighted_name((enum an_weighted_kind)k), kind) == 0) {
            w->kind = (enum an_weighted_kind)k;
        }
    }
    w->limits = get_number(source, inside, "limits");
    w->lambda = get_number(source, inside, "lambda");
    w->reference = get_number(source, inside, "reference");
    w->head_start = get_number(source, inside, "head_start");
    w->span = (int)get_whole(source, inside, "span", 0, AN_SPAN_MOST);
    w->steady = json_is_true(json_object_get(inside, "steady"));
    w->goes_on = json_is_true(json_object_get(inside, "goes_on"));
    if (json_object_get(inside, "variables")) {
        w->variables = (int)get_whole(source, inside, "variables", 2, AN_JOINT_MOST);
    }
    if (an_weighting_check(w) && !source->missing) {
        source->missing = "weighting";
    }
}

static void get_rules(struct source *source, const json_t *object, struct an_rule_choice *rules)
{
    const json_t *inside = json_object_get(object, "rules");
    const json_t *on = get_array(source, inside, "on");

    memset(rules, 0, sizeof *rules);
    for (size_t i = 0; i < json_array_size(on); i++) {
        const char *name = json_string_value(json_array_get(on, i));
        int r = 0;

        while (name && r < AN_RULE_COUNT && strcmp(an_rule_name((enum an_rule)r), name) != 0) {
            r++;
        }
        if (!name || r == AN_RULE_COUNT) {
            source->missing = "rules";
            return;
        }
        rules->on[r] = true;
    }
    rules->run_length = (int)get_whole(source, inside, "run_length", 0, 100);
    rules->trend_length = (int)get_whole(source, inside, "trend_length", 0, 100);
}

static void get_positions(struct source *source, const json_t *object, struct an_limits *limits)
{
    const json_t *array = get_array(source, object, "positions");

    limits->positions = room_for(source, array, sizeof *limits->positions);
    if (!limits->positions) {
        return;
    }
    limits->position_count = json_array_size(array);
    for (size_t i = 0; i < limits->position_count; i++) {
        const json_t *one = json_array_get(array, i);

        limits->positions[i].position =
            keep_text(source, json_object_get(one, "position"), "position");
        limits->positions[i].offset = get_number(source, one, "offset");
    }
}

static void get_products(struct source *source, const json_t *object, struct an_limits *limits)
{
    const json_t *array = json_object_get(object, "products"); /* of short_run only */

    limits->products = room_for(source, array, sizeof *limits->products);
    if (!limits->products) {
        return;
    }
    limits->product_count = json_array_size(array);
    for (size_t i = 0; i < limits->product_count; i++) {
        const json_t *one = json_array_get(array, i);
        const char *name = keep_text(source, json_object_get(one, "name"), "products");
        limits->products[i] =
            (struct an_product_baseline){.name = name ? name : "",
                                         .target = get_number(source, one, "target"),
                                         .sigma = get_number(source, one, "sigma"),
                                         .samples = get_number(source, one, "samples")};
    }
}

static void get_warnings(struct source *source, const json_t *object, struct an_limits *limits)
{
    const json_t *array = get_array(source, object, "warnings");

    limits->warnings = room_for(source, array, sizeof *limits->warnings);
    if (!limits->warnings) {
        return;
    }
    limits->warning_count = json_array_size(array);
    for (size_t i = 0; i < limits->warning_count; i++) {
        limits->warnings[i] = keep_text(source, json_array_get(array, i), "warnings");
    }
}

static void get_exclusions(struct source *source, const json_t *array, struct an_limits *limits)
{
    if (!json_is_array(array) && !source->missing) {
        source->missing = "exclusions";
    }
    limits->excluded = room_for(source, array, sizeof *limits->excluded);
    if (!limits->excluded) {
        return;
    }
    limits->excluded_count = json_array_size(array);
    for (size_t i = 0; i < limits->excluded_count; i++) {
        const json_t *one = json_array_get(array, i);
        struct an_excluded *excluded = &limits->excluded[i];

        excluded->sample_id = get_whole(source, one, "sample_id", 1, INT64_MAX);
        excluded->at_us = get_whole(source, one, "at_us", INT64_MIN, INT64_MAX);
        excluded->serial = keep_text(source, json_object_get(one, "serial"), "serial");
        excluded->reason = keep_text(source, json_object_get(one, "reason"), "reason");
    }
}

static struct an_normality get_normality(struct source *source, const json_t *object)
{
    return (struct an_normality){.a2 = get_number(source, object, "a2"),
                                 .a2_star = get_number(source, object, "a2_star"),
                                 .p = get_number(source, object, "p")};
}

/* A scale that is not understood whole would judge by another one: it is missing, then. */
static void get_scale(struct source *source, const json_t *object, struct an_limits_scale *scale)
{
    const json_t *inside = json_object_get(object, "scale");
    const char *kind = json_string_value(json_object_get(inside, "kind"));
    struct an_transform *t = &scale->transform;
    bool good = false;

    if (!inside) {
        return;
    }
    scale->automatic = json_is_true(json_object_get(inside, "found"));
    scale->likeliest = scale->lower = scale->upper = (double)NAN;
    if (kind && strcmp(kind, "johnson") == 0) {
        const char *shape = json_string_value(json_object_get(inside, "shape"));
        t->scale = AN_SCALE_JOHNSON;
        t->fit.shape = shape ? an_shape_of(shape) : AN_SHAPE_COUNT;
        get_numbers(source, inside, "parameters", t->fit.par, 4);
        good = (t->fit.shape == AN_SHAPE_JOHNSON_SU || t->fit.shape == AN_SHAPE_JOHNSON_SB ||
                t->fit.shape == AN_SHAPE_JOHNSON_SL) &&
               isfinite(t->fit.par[0]) && t->fit.par[1] > 0 && isfinite(t->fit.par[2]) &&
               t->fit.par[3] > 0;
    } else if (kind && strcmp(kind, "box_cox") == 0) {
        t->scale = AN_SCALE_BOX_COX;
        t->lambda = get_number(source, inside, "power");
        t->shift = get_number(source, inside, "shift");
        scale->likeliest = get_number(source, inside, "likeliest");
        scale->lower = get_number(source, inside, "lower");
        scale->upper = get_number(source, inside, "upper");
        good = isfinite(t->lambda) && isfinite(t->shift);
    }
    scale->readings = get_number(source, inside, "readings");
    scale->before = get_normality(source, json_object_get(inside, "before"));
    scale->after = get_normality(source, json_object_get(inside, "after"));
    if (!good && !source->missing) {
        source->missing = "scale";
    }
}

static void get_all(struct source *source, const json_t *object, struct an_limits *limits)
{

    get_model(source, object, &limits->model);
    get_rules(source, object, &limits->rules);
    get_positions(source, object, limits);
    get_products(source, object, limits);
    get_scale(source, object, &limits->scale);
    limits->normality = get_normality(source, json_object_get(object, "normality"));
    limits->lag1 = get_number(source, object, "lag1");
    limits->lag1_bound = get_number(source, object, "lag1_bound");
    const json_t *box = json_object_get(object, "ljung_box");
    limits->ljung_box = (struct an_ljung_box){.q = get_number(source, box, "q"),
                                              .df = get_number(source, box, "df"),
                                              .p = get_number(source, box, "p")};
    limits->sigma_relative_se = get_number(source, object, "sigma_relative_se");
    limits->centre_half_width = get_number(source, object, "centre_half_width");
    get_warnings(source, object, limits);
}

static const char *keep_plain(struct source *source, const char *text)
{
    if (!text) {
        return NULL;
    }
    const char *copy = an_arena_printf(source->arena, "%s", text);
    source->no_memory = source->no_memory || !copy;
    return copy;
}

enum an_status an_limits_of_record(const struct an_limits_record *record, struct an_arena *arena,
                                   struct an_limits *limits, struct an_error *err)
{
    struct source source = {.arena = arena};
    json_error_t wrong;
    enum an_status st = AN_OK;
    json_t *model = json_loads(record->model ? record->model : "", JSON_DECODE_INT_AS_REAL, &wrong);
    json_t *exclusions = json_loads(record->exclusions ? record->exclusions : "[]", 0, &wrong);

    memset(limits, 0, sizeof *limits);
    limits->limits_id = record->limits_id;
    limits->stream_id = record->stream_id;
    limits->state = record->state;
    limits->baseline_from_us = record->baseline_from_us;
    limits->baseline_until_us = record->baseline_until_us;
    limits->known_us = record->known_us;
    limits->in_force_us = record->in_force_us;
    limits->locked_us = record->locked_us;
    limits->author = keep_plain(&source, record->author);
    limits->reason = keep_plain(&source, record->reason);
    limits->signed_key = keep_plain(&source, record->signed_key);
    if (json_is_object(model)) {
        get_all(&source, model, limits);
        get_exclusions(&source, exclusions, limits);
    } else {
        source.missing = "model";
    }
    if (source.no_memory) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory while reading limits");
    } else if (source.missing) {
        st = an_fail(err, AN_NO_STORE,
                     "limits %lld cannot be read: \"%s\" is missing or wrong; the store was "
                     "changed by something else",
                     (long long)record->limits_id, source.missing);
    }
    json_decref(model);
    json_decref(exclusions);
    return st;
}
