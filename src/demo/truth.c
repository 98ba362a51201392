/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * truth.json.
 *
 * Responsible for: saying everything that the generator knows and the files only show. Must never
 * say what was not done: an entry comes from the fault or the damage itself.
 */
#include "demo/truth.h"

#include "andamento/base/json_out.h"

#include <math.h>
#include <stdio.h>

static void put_instant(struct an_json *json, const struct an_demo_plan *plan, const char *key,
                        int64_t at_us)
{
    char name[64], text[40];
    (void)snprintf(name, sizeof name, "%s_utc", key);
    an_json_put_string(json, name, an_instant_rfc3339(at_us, text));
    (void)snprintf(name, sizeof name, "%s_local", key);
    an_json_put_string(json, name, an_instant_rfc3339_in(plan->zone, at_us, text));
}

/* To four decimals: more would only pretend. */
static void put_rounded(struct an_json *json, const char *key, double value)
{
    an_json_put_number(json, key, floor(value * 1e4 + 0.5) / 1e4);
}

static void put_geometry(struct an_json *json)
{
    an_json_key(json, "geometry");
    an_json_object(json);
    an_json_put_number(json, "pitch_mm", 0.8);
    an_json_put_integer(json, "tile_pixel_columns", AN_DEMO_TILE_COLUMNS);
    an_json_put_integer(json, "tile_pixel_rows", AN_DEMO_TILE_ROWS);
    an_json_put_integer(json, "emitters_of_a_colour", AN_DEMO_EMITTERS);
    an_json_put_integer(json, "shots_of_a_colour", AN_DEMO_SHOTS);
    an_json_put_integer(json, "emitters_of_a_shot", AN_DEMO_SHOT_EMITTERS);
    an_json_put_integer(json, "wall_rows", AN_DEMO_WALL_ROWS);
    an_json_put_integer(json, "wall_columns", AN_DEMO_WALL_COLUMNS);
    an_json_end(json, '}');
}

static void put_totals(struct an_json *json, const struct an_demo_output *output)
{
    const struct an_demo_plan *const plan = output->plan;
    an_json_key(json, "totals");
    an_json_object(json);
    an_json_put_integer(json, "files", output->files);
    an_json_put_integer(json, "rows", output->rows);
    an_json_put_integer(json, "tiles", (int64_t)plan->tile_count);
    an_json_put_integer(json, "walls", (int64_t)plan->wall_count);
    an_json_put_integer(json, "carriers", (int64_t)plan->carrier_count);
    an_json_put_integer(json, "wafers", (int64_t)plan->wafer_count);
    an_json_end(json, '}');
    an_json_key(json, "stations");
    an_json_array(json);
    for (int s = 0; s < AN_DEMO_STATION_COUNT; s++) {
        an_json_object(json);
        an_json_put_string(json, "name", an_demo_station_name((enum an_demo_station)s));
        an_json_put_integer(json, "files", output->of[s].files);
        an_json_put_integer(json, "rows", output->of[s].rows);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

/* Every stream that charts should exist for, as line.yaml makes them. */
static const struct {
    const char *characteristic, *split, *values;
} all_streams[] = {
    {"wafer_test.wavelength_red", NULL, NULL},  {"wafer_test.wavelength_green", NULL, NULL},
    {"wafer_test.wavelength_blue", NULL, NULL}, {"wafer_test.forward_voltage", "colour=", "RGB"},
    {"wafer_test.flux", "colour=", "RGB"},      {"carrier.release_layer", NULL, NULL},
    {"transfer.dx", "head=H", "1234"},          {"transfer.dy", "head=H", "1234"},
    {"transfer.rotation", "head=H", "1234"},    {"transfer.radial", "head=H", "1234"},
    {"transfer.misses", "head=H", "1234"},      {"inspection.defects", NULL, NULL},
    {"repair.failed", "tool=RT", "12"},         {"edge.resistance", "edge=", "AB"},
    {"edge.thickness", "edge=", "AB"},          {"luminance.level", "colour=", "RGBW"},
    {"luminance.uniformity", "colour=", "W"},   {"luminance.step", "colour=", "W"},
    {"assembly.gap_across", NULL, NULL},        {"assembly.gap_down", NULL, NULL},
};

static void put_streams(struct an_json *json)
{
    char name[96];
    an_json_key(json, "streams");
    an_json_array(json);
    for (size_t i = 0; i < sizeof all_streams / sizeof all_streams[0]; i++) {
        if (!all_streams[i].split) {
            an_json_string(json, all_streams[i].characteristic);
            continue;
        }
        for (const char *value = all_streams[i].values; *value; value++) {
            (void)snprintf(name, sizeof name, "%s@%s%c", all_streams[i].characteristic,
                           all_streams[i].split, *value);
            an_json_string(json, name);
        }
    }
    an_json_end(json, ']');
    an_json_key(json, "reference_streams");
    an_json_array(json);
    for (const char *colour = "RGBW"; *colour; colour++) {
        (void)snprintf(name, sizeof name, "luminance.level@colour=%c,purpose=reference", *colour);
        an_json_string(json, name);
    }
    an_json_string(json, "luminance.uniformity@colour=W,purpose=reference");
    an_json_string(json, "luminance.step@colour=W,purpose=reference");
    an_json_end(json, ']');
}

/* Counts that scatter more than the plain model says, with no fault behind it. */
static void put_overdispersed(struct an_json *json)
{
    const double *const misses = an_demo_figures.misses;
    const double means[2] = {AN_DEMO_COLOURS * (misses[0] + misses[1] + misses[2]),
                             AN_DEMO_COLOURS *
                                 (misses[0] + misses[1] + misses[2] + an_demo_figures.dark)};
    const double factors[2] = {
        sqrt(an_demo_dispersion(means[0], 0.0)),
        sqrt(an_demo_dispersion(means[1], AN_DEMO_COLOURS * an_demo_figures.dark))};
    static const char *const streams[2] = {"transfer.misses", "inspection.defects"};
    an_json_key(json, "overdispersed_without_fault");
    an_json_array(json);
    for (int i = 0; i < 2; i++) {
        an_json_object(json);
        an_json_put_string(json, "characteristic", streams[i]);
        put_rounded(json, "sigma_factor", factors[i]);
        put_rounded(json, "mean_count", means[i]);
        an_json_put_string(json, "expect", "no signal beyond chance where no fault is listed");
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void put_fault_stream(struct an_json *json, const struct an_demo_plan *plan,
                             const struct an_demo_fault_stream *stream)
{
    an_json_object(json);
    an_json_put_string(json, "stream", stream->name);
    an_json_put_string(json, "panel", stream->panel);
    an_json_put_string(json, "rule", stream->rule);
    put_instant(json, plan, "onset", stream->onset_us);
    an_json_put_string(json, "first_item", stream->first_serial);
    put_rounded(json, "size", stream->size);
    an_json_put_string(json, "unit", stream->unit);
    put_rounded(json, "size_sigmas", stream->sigmas);
    an_json_key(json, "size_per_sample");
    if (stream->size_per_sample > 0.0) {
        an_json_number(json, floor(stream->size_per_sample * 1e4 + 0.5) / 1e4);
    } else {
        an_json_null(json);
    }
    an_json_put_integer(json, "samples", (int64_t)stream->samples);
    an_json_key(json, "fair_delay_samples");
    if (stream->fair_delay_samples > 0) {
        an_json_integer(json, (int64_t)stream->fair_delay_samples);
    } else {
        an_json_null(json); /* too short or too small to be promised */
    }
    an_json_end(json, '}');
}

static void put_fault(struct an_json *json, const struct an_demo_plan *plan,
                      const struct an_demo_fault *fault)
{
    an_json_object(json);
    an_json_put_string(json, "id", fault->id);
    an_json_put_string(json, "kind", fault->kind);
    an_json_put_string(json, "story", fault->story);
    put_instant(json, plan, "onset", fault->from_us);
    put_instant(json, plan, "end", fault->until_us);
    an_json_put_bool(json, "on_at_the_end", fault->until_us == plan->until_us);
    an_json_put_string(json, "first_tile",
                       fault->tile_count > 0 ? plan->tiles[fault->tiles[0]].serial : NULL);
    an_json_key(json, "streams");
    an_json_array(json);
    for (size_t i = 0; i < fault->stream_count; i++) {
        put_fault_stream(json, plan, &fault->streams[i]);
    }
    an_json_end(json, ']');
    an_json_key(json, "may_also_signal");
    an_json_array(json);
    for (size_t i = 0; i < fault->may_also_count; i++) {
        an_json_string(json, fault->may_also[i]);
    }
    an_json_end(json, ']');
    an_json_put_string(json, "carried_as", fault->carried_as);
    an_json_key(json, "tiles");
    an_json_array(json);
    for (size_t i = 0; i < fault->tile_count; i++) {
        an_json_string(json, plan->tiles[fault->tiles[i]].serial);
    }
    an_json_end(json, ']');
    an_json_end(json, '}');
}

static void put_mess(struct an_json *json, const struct an_demo_output *output)
{
    an_json_key(json, "mess");
    an_json_array(json);
    for (size_t i = 0; i < AN_DEMO_MESS_COUNT; i++) {
        const struct an_demo_mess *const mess = &output->mess[i];
        if (!mess->done) {
            continue;
        }
        an_json_object(json);
        an_json_put_string(json, "kind", mess->kind);
        an_json_put_string(json, "story", mess->story);
        an_json_put_string(json, "file", mess->file);
        an_json_put_string(json, "outcome", mess->outcome);
        an_json_put_integer(json, "rows_taken", mess->taken);
        an_json_put_integer(json, "rows_held", mess->held);
        an_json_put_integer(json, "missing_readings", mess->missing);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

void an_demo_truth(struct an_text *text, const struct an_demo_output *output,
                   const struct an_demo_fault faults[], size_t fault_count)
{
    const struct an_demo_plan *const plan = output->plan;
    struct an_json json = an_json_into(text, true);
    an_json_object(&json);
    an_json_put_string(&json, "schema", "andamento-demo-truth 1");
    an_json_put_string(&json, "line", "serravolpe-2");
    an_json_put_string(&json, "zone", an_zone_name(plan->zone));
    an_json_put_integer(&json, "seed", (int64_t)(plan->seed & INT64_MAX));
    an_json_put_integer(&json, "days", plan->days);
    an_json_put_bool(&json, "quiet_line", plan->quiet);
    put_instant(&json, plan, "from", plan->from_us);
    put_instant(&json, plan, "until", plan->until_us);
    char text_of_instant[40];
    an_json_put_string(&json, "baseline_until",
                       an_instant_rfc3339_in(plan->zone,
                                             an_demo_plan_instant(plan, AN_DEMO_BASELINE_DAYS, 6),
                                             text_of_instant));
    put_geometry(&json);
    put_totals(&json, output);
    put_streams(&json);
    put_overdispersed(&json);
    an_json_put_string(&json, "fair_delay",
                       "signalled by the sample of that number, the first changed one being 1, "
                       "with a chance of 0.99 or more");
    an_json_key(&json, "faults");
    an_json_array(&json);
    for (size_t i = 0; i < fault_count; i++) {
        put_fault(&json, plan, &faults[i]);
    }
    an_json_end(&json, ']');
    put_mess(&json, output);
    an_json_end(&json, '}');
    an_text_add_char(text, '\n');
}
