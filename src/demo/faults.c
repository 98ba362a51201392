/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The seeded faults of the demonstration line.
 *
 * Responsible for: when each fault runs, what it does, and the size it has on the charts. Must
 * never draw a random number: a fault shifts what the stations draw, so that the quiet line is
 * the faulty one with the faults taken away.
 *
 * The hard idea: sizes are told in sigmas of the plotted statistic (a tile mean, a count, an sd),
 * for only so can a fair delay be worked out.
 */
#include "demo/faults.h"

#include "demo/delay.h"

#include <math.h>
#include <stdio.h>

#define RAMP_UM_PER_TILE 0.022
#define WEAR_PER_TILE 0.030
#define LOT_WAVELENGTH_NM 3.0
#define LOT_FLUX 0.92
#define LOT_EPI_RUN 8 /* of green */
#define GAUGE_STEP 1.035
#define TRIM_OHM 0.13
#define SPREAD_FACTOR 1.30

enum { RUN = 9, MOST_SAMPLES = 4096 };

struct window {
    int from_day, from_hour, until_day, until_hour; /* local */
};
static const struct window ramp_window = {11, 6, 14, 6}; /* still on when the files end */
static const struct window wear_window = {5, 14, 8, 14}; /* life of one stamp of head H3 */
static const struct window trim_window = {13, 6, 14, 6}; /* and so is this one */
static const struct window spread_window = {9, 22, 11, 6};
static const struct window gauge_window = {10, 10, 12, 14};

struct seeding {
    struct an_demo_plan *plan;
    struct an_demo_fault *faults;
    size_t count;
    double sigmas[MOST_SAMPLES], spread[MOST_SAMPLES];
};

static double square(double x)
{
    return x * x;
}

double an_demo_gauge_factor(const struct an_demo_plan *plan, int64_t at_us)
{
    if (plan->quiet) {
        return 1.0;
    }
    const int64_t from = an_demo_plan_instant(plan, gauge_window.from_day, gauge_window.from_hour);
    const int64_t until =
        an_demo_plan_instant(plan, gauge_window.until_day, gauge_window.until_hour);
    return at_us >= from && at_us < until ? GAUGE_STEP : 1.0;
}

/* The next free fault, if its window begins early enough to be seen; NULL otherwise. */
static struct an_demo_fault *begin(struct seeding *seeding, const char *id, const char *kind,
                                   const struct window *window)
{
    struct an_demo_plan *const plan = seeding->plan;
    const int64_t from_us = an_demo_plan_instant(plan, window->from_day, window->from_hour);
    const int64_t until_us = an_demo_plan_instant(plan, window->until_day, window->until_hour);
    if (from_us + AN_DAY_US > plan->until_us) {
        return NULL; /* fewer than a day of it would be written */
    }
    struct an_demo_fault *const fault = &seeding->faults[seeding->count];
    *fault =
        (struct an_demo_fault){.id = id,
                               .kind = kind,
                               .from_us = from_us,
                               .until_us = until_us < plan->until_us ? until_us : plan->until_us};
    fault->tiles = an_arena_alloc(plan->arena, plan->tile_count, sizeof(int));
    if (fault->tiles) {
        seeding->count++;
    }
    return fault->tiles ? fault : NULL;
}

/* Collects the tiles at a station inside the window, of one head or of all (-1). */
static void collect_tiles(struct seeding *seeding, struct an_demo_fault *fault,
                          enum an_demo_station station, int head)
{
    const struct an_demo_plan *const plan = seeding->plan;
    const int64_t closes_us = an_demo_plan_closes_us(plan, station);
    const int64_t until_us = fault->until_us < closes_us ? fault->until_us : closes_us;
    for (size_t i = 0; i < plan->tile_count; i++) {
        const struct an_demo_tile *const tile = &plan->tiles[i];
        const int64_t at_us = tile->at_us[station];
        if (at_us >= fault->from_us && at_us < until_us && (head < 0 || tile->head == head)) {
            fault->tiles[fault->tile_count++] = (int)i;
        }
    }
}

/* Samples of the first days at a station: what limits are learned from. */
static size_t baseline_tiles(const struct an_demo_plan *plan, enum an_demo_station station,
                             int head)
{
    const int64_t until_us = an_demo_plan_instant(plan, AN_DEMO_BASELINE_DAYS, 6);
    size_t count = 0;
    for (size_t i = 0; i < plan->tile_count; i++) {
        count +=
            plan->tiles[i].at_us[station] < until_us && (head < 0 || plan->tiles[i].head == head);
    }
    return count;
}

/* Adds a stream whose samples' sizes stand in seeding->sigmas[0 .. samples - 1] (made positive)
 * and, if used, seeding->spread. */
static struct an_demo_fault_stream *add_stream(struct seeding *seeding, struct an_demo_fault *fault,
                                               const char *name, const char *unit, size_t samples,
                                               size_t baseline, bool spread, int run)
{
    struct an_demo_fault_stream *const stream = &fault->streams[fault->stream_count++];
    (void)snprintf(stream->name, sizeof stream->name, "%s", name);
    stream->panel = "level";
    stream->rule = NULL;
    stream->unit = unit;
    stream->samples = samples;
    stream->onset_us = fault->from_us;
    stream->first_serial =
        fault->tile_count > 0 ? seeding->plan->tiles[fault->tiles[0]].serial : "";
    const struct an_demo_change change = {.sigmas = seeding->sigmas,
                                          .spread = spread ? seeding->spread : NULL,
                                          .count = samples,
                                          .baseline = baseline,
                                          .run_length = run};
    stream->fair_delay_samples = an_demo_fair_delay(&change);
    return stream;
}

static void fill(struct seeding *seeding, size_t samples, double first, double step)
{
    for (size_t k = 0; k < samples && k < MOST_SAMPLES; k++) {
        seeding->sigmas[k] = fabs(first + step * (double)k);
    }
}

static void seed_ramp(struct seeding *seeding)
{
    enum { HEAD = 1 };
    struct an_demo_fault *const fault = begin(seeding, "head-offset-ramp", "ramp", &ramp_window);
    if (!fault) {
        return;
    }
    struct an_demo_plan *const plan = seeding->plan;
    fault->story =
        "head H2 creeps in x from tile to tile until it is referenced again; in fourteen days "
        "it is not";
    fault->carried_as = "laid by the creeping head";
    collect_tiles(seeding, fault, AN_DEMO_TRANSFER, HEAD);
    const size_t n = fault->tile_count;
    for (size_t k = 0; k < n; k++) {
        plan->tiles[fault->tiles[k]].effect.dx_um = RAMP_UM_PER_TILE * (double)(k + 1);
    }
    const double sigma =
        an_demo_mean_sd(&an_demo_figures.dx_um[HEAD], AN_DEMO_SHOTS * AN_DEMO_COLOURS);
    fill(seeding, n, RAMP_UM_PER_TILE / sigma, RAMP_UM_PER_TILE / sigma);
    struct an_demo_fault_stream *const stream =
        add_stream(seeding, fault, "transfer.dx@head=H2", "um", n,
                   baseline_tiles(plan, AN_DEMO_TRANSFER, HEAD), false, RUN);
    stream->size_per_sample = RAMP_UM_PER_TILE;
    stream->size = RAMP_UM_PER_TILE * (double)n;
    stream->sigmas = stream->size / sigma;
    fault->may_also[fault->may_also_count++] = "transfer.radial@head=H2";
}

static void seed_wear(struct seeding *seeding)
{
    enum { HEAD = 2 };
    struct an_demo_fault *const fault = begin(seeding, "stamp-wear", "ramp", &wear_window);
    if (!fault) {
        return;
    }
    struct an_demo_plan *const plan = seeding->plan;
    fault->story = "one stamp of head H3 misses more emitters with every tile until it is changed";
    fault->carried_as = "laid with the worn stamp";
    collect_tiles(seeding, fault, AN_DEMO_TRANSFER, HEAD);
    const size_t n = fault->tile_count;
    const double mean = AN_DEMO_COLOURS * (an_demo_figures.misses[0] + an_demo_figures.misses[1] +
                                           an_demo_figures.misses[2]);
    const double sd = sqrt(mean * an_demo_dispersion(mean, 0.0));
    double factor = 1.0;
    for (size_t k = 0; k < n && k < MOST_SAMPLES; k++) {
        factor = 1.0 + WEAR_PER_TILE * (double)(k + 1);
        plan->tiles[fault->tiles[k]].effect.miss_factor = factor;
        seeding->sigmas[k] = mean * (factor - 1.0) / sd;
        seeding->spread[k] = sqrt(mean * factor * an_demo_dispersion(mean * factor, 0.0)) / sd;
    }
    struct an_demo_fault_stream *const stream =
        add_stream(seeding, fault, "transfer.misses@head=H3", "per million", n,
                   baseline_tiles(plan, AN_DEMO_TRANSFER, HEAD), true, RUN);
    const double opportunities = AN_DEMO_COLOURS * AN_DEMO_EMITTERS;
    stream->size_per_sample = 1e6 * mean * WEAR_PER_TILE / opportunities;
    stream->size = 1e6 * mean * (factor - 1.0) / opportunities;
    stream->sigmas = mean * (factor - 1.0) / sd;
    fault->may_also[fault->may_also_count++] = "inspection.defects";
}

/* The wafers of the shifted lot: their test values, and their number. */
static size_t shift_wafers(struct an_demo_plan *plan, const struct an_demo_wafer **first,
                           size_t *baseline)
{
    const int64_t until_us = an_demo_plan_instant(plan, AN_DEMO_BASELINE_DAYS, 6);
    size_t count = 0;
    *baseline = 0;
    for (size_t i = 0; i < plan->wafer_count; i++) {
        struct an_demo_wafer *const wafer = &plan->wafers[i];
        *baseline += wafer->colour == 1 && wafer->at_us < until_us;
        if (wafer->colour == 1 && wafer->epi_run == LOT_EPI_RUN) {
            wafer->wavelength_nm = LOT_WAVELENGTH_NM;
            wafer->flux_factor = LOT_FLUX;
            *first = count == 0 ? wafer : *first;
            count++;
        }
    }
    return count;
}

static void carry_from_wafer(struct an_demo_fault_stream *stream, const struct an_demo_wafer *first)
{
    if (first) {
        stream->onset_us = first->at_us;
        stream->first_serial = first->serial;
    }
}

/* The tiles that hold emitters of the shifted lot; the fault lasts from the first of them at the
 * luminance station until the first tile after them. */
static void darken_tiles(struct an_demo_plan *plan, struct an_demo_fault *fault)
{
    fault->until_us = plan->until_us;
    for (size_t i = 0; i < plan->tile_count; i++) {
        struct an_demo_tile *const tile = &plan->tiles[i];
        const int wafer = tile->carrier[1] / AN_DEMO_WAFER_CARRIERS;
        const int epi_run = 1 + wafer / AN_DEMO_EPI_WAFERS;
        if (epi_run == LOT_EPI_RUN) {
            tile->effect.green_factor = LOT_FLUX;
            if (tile->at_us[AN_DEMO_LUMINANCE] < an_demo_plan_closes_us(plan, AN_DEMO_LUMINANCE)) {
                fault->tiles[fault->tile_count++] = (int)i;
            }
        } else if (epi_run > LOT_EPI_RUN) {
            fault->until_us = tile->at_us[AN_DEMO_LUMINANCE];
            break;
        }
    }
    if (fault->tile_count > 0) {
        fault->from_us = plan->tiles[fault->tiles[0]].at_us[AN_DEMO_LUMINANCE];
    }
}

static void seed_lot(struct seeding *seeding)
{
    static const struct window about = {6, 22, 8, 22}; /* the true times follow from the lot */
    struct an_demo_fault *const fault = begin(seeding, "green-lot-shift", "step", &about);
    if (!fault) {
        return;
    }
    struct an_demo_plan *const plan = seeding->plan;
    fault->story = "one epitaxy run of green wafers emits longer waves and less light; it begins "
                   "with its first wafer and ends with its last";
    fault->carried_as = "green emitters come from that run";
    const struct an_demo_wafer *first = NULL;
    size_t baseline = 0;
    const size_t wafers = shift_wafers(plan, &first, &baseline);
    darken_tiles(plan, fault);
    const double wavelength = an_demo_mean_sd(&an_demo_figures.wavelength_nm[1], AN_DEMO_KEYS);
    const double flux = an_demo_mean_sd(&an_demo_figures.flux_percent, AN_DEMO_KEYS);
    fill(seeding, wafers, LOT_WAVELENGTH_NM / wavelength, 0.0);
    struct an_demo_fault_stream *stream = add_stream(seeding, fault, "wafer_test.wavelength_green",
                                                     "nm", wafers, baseline, false, RUN);
    stream->size = LOT_WAVELENGTH_NM;
    stream->sigmas = LOT_WAVELENGTH_NM / wavelength;
    carry_from_wafer(stream, first);
    fill(seeding, wafers, 100.0 * (LOT_FLUX - 1.0) / flux, 0.0);
    stream =
        add_stream(seeding, fault, "wafer_test.flux@colour=G", "%", wafers, baseline, false, RUN);
    stream->size = 100.0 * (LOT_FLUX - 1.0);
    stream->sigmas = stream->size / flux;
    carry_from_wafer(stream, first);
    const struct an_demo_figure *const green = &an_demo_figures.luminance_cd_m2[1];
    const double luminance = an_demo_mean_sd(green, AN_DEMO_SITES);
    fill(seeding, fault->tile_count, (LOT_FLUX - 1.0) / luminance, 0.0);
    stream = add_stream(seeding, fault, "luminance.level@colour=G", "cd/m2", fault->tile_count,
                        baseline_tiles(plan, AN_DEMO_LUMINANCE, -1), false, RUN);
    stream->size = green->mean * (LOT_FLUX - 1.0);
    stream->sigmas = (LOT_FLUX - 1.0) / luminance;
    fault->may_also[fault->may_also_count++] = "luminance.level@colour=W";
}

static void seed_trim(struct seeding *seeding)
{
    struct an_demo_fault *const fault =
        begin(seeding, "edge-over-adjustment", "alternating", &trim_window);
    if (!fault) {
        return;
    }
    struct an_demo_plan *const plan = seeding->plan;
    fault->story = "the press at edge A is trimmed after every tile, too far each time: one tile "
                   "high, the next one low";
    fault->carried_as = "edge A pressed while it was trimmed after every tile";
    collect_tiles(seeding, fault, AN_DEMO_EDGE, -1);
    for (size_t k = 0; k < fault->tile_count; k++) {
        plan->tiles[fault->tiles[k]].effect.resistance_ohm = k % 2 == 0 ? TRIM_OHM : -TRIM_OHM;
    }
    const double sigma = an_demo_mean_sd(&an_demo_figures.resistance_ohm[0], AN_DEMO_TRACES);
    struct an_demo_fault_stream *const stream =
        add_stream(seeding, fault, "edge.resistance@edge=A", "ohm", fault->tile_count, 1, false, 0);
    stream->size = TRIM_OHM;
    stream->sigmas = TRIM_OHM / sigma;
    stream->rule = "alternating";
    stream->fair_delay_samples =
        an_demo_fair_delay_alternating(TRIM_OHM / sigma, fault->tile_count);
}

static void seed_spread(struct seeding *seeding)
{
    enum { HEAD = 3 };
    struct an_demo_fault *const fault = begin(seeding, "head-spread", "spread", &spread_window);
    if (!fault) {
        return;
    }
    struct an_demo_plan *const plan = seeding->plan;
    fault->story = "a loose guide lets the shots of head H4 scatter more in y; their mean stays";
    fault->carried_as = "laid while the guide was loose";
    collect_tiles(seeding, fault, AN_DEMO_TRANSFER, HEAD);
    const size_t n = fault->tile_count;
    const double sigmas = (SPREAD_FACTOR - 1.0) * sqrt(2.0 * (AN_DEMO_SHOTS * AN_DEMO_COLOURS - 1));
    fill(seeding, n, sigmas, 0.0);
    for (size_t k = 0; k < n && k < MOST_SAMPLES; k++) {
        seeding->spread[k] = SPREAD_FACTOR;
        plan->tiles[fault->tiles[k]].effect.dy_within_factor = SPREAD_FACTOR;
    }
    struct an_demo_fault_stream *const stream =
        add_stream(seeding, fault, "transfer.dy@head=H4", "um", n,
                   baseline_tiles(plan, AN_DEMO_TRANSFER, HEAD), true, 0);
    stream->panel = "spread";
    stream->size = (SPREAD_FACTOR - 1.0) * an_demo_figures.dy_um[HEAD].within;
    stream->sigmas = sigmas;
}

/* sd of the white tile mean as a share, from its three colours and its sites. */
static double white_share_sd(double *white)
{
    const struct an_demo_figure *const f = an_demo_figures.luminance_cd_m2;
    double variance = 0.0;
    *white = 0.0;
    for (int c = 0; c < AN_DEMO_COLOURS; c++) {
        *white += f[c].mean;
        variance += square(f[c].mean * f[c].between);
    }
    return sqrt(variance / square(*white) + square(f[0].within) / AN_DEMO_SITES);
}

static void seed_gauge(struct seeding *seeding)
{
    struct an_demo_fault *const fault = begin(seeding, "gauge-step", "step", &gauge_window);
    if (!fault) {
        return;
    }
    struct an_demo_plan *const plan = seeding->plan;
    fault->story = "the luminance gauge reads higher after a service: all colours at one instant, "
                   "and the reference tile with them";
    fault->carried_as = "measured with the shifted gauge; nothing is wrong with the tile itself";
    collect_tiles(seeding, fault, AN_DEMO_LUMINANCE, -1);
    for (size_t k = 0; k < fault->tile_count; k++) {
        plan->tiles[fault->tiles[k]].effect.gauge_factor = GAUGE_STEP;
    }
    size_t references = 0;
    int64_t reference_us = fault->until_us;
    for (size_t s = 0; s < plan->shift_count; s++) {
        const int64_t at_us = plan->shifts[s].from_us;
        if (at_us >= fault->from_us && at_us < fault->until_us) {
            reference_us = references == 0 ? at_us : reference_us;
            references++;
        }
    }
    double white = 0.0;
    const double white_sd = white_share_sd(&white);
    for (int i = 0; i < 8; i++) {
        const int c = i % 4; /* 3 is white */
        const bool reference = i >= 4;
        const struct an_demo_figure *const f = c < 3 ? &an_demo_figures.luminance_cd_m2[c] : NULL;
        const double sd = reference ? an_demo_mean_sd(&an_demo_figures.reference, AN_DEMO_SITES)
                          : f       ? an_demo_mean_sd(f, AN_DEMO_SITES)
                                    : white_sd;
        const size_t samples = reference ? references : fault->tile_count;
        const size_t baseline =
            reference ? AN_DEMO_BASELINE_DAYS * 3 : baseline_tiles(plan, AN_DEMO_LUMINANCE, -1);
        char name[72];
        (void)snprintf(name, sizeof name, "luminance.level@colour=%c%s", "RGBW"[c],
                       reference ? ",purpose=reference" : "");
        fill(seeding, samples, (GAUGE_STEP - 1.0) / sd, 0.0);
        struct an_demo_fault_stream *const stream =
            add_stream(seeding, fault, name, "cd/m2", samples, baseline, false, RUN);
        stream->size = (GAUGE_STEP - 1.0) * (f ? f->mean : white);
        stream->sigmas = (GAUGE_STEP - 1.0) / sd;
        stream->first_serial = reference ? "REF-3" : stream->first_serial;
        stream->onset_us = reference ? reference_us : stream->onset_us;
    }
}

enum an_status an_demo_faults_seed(struct an_demo_plan *plan,
                                   struct an_demo_fault faults[AN_DEMO_MOST_FAULTS], size_t *count,
                                   struct an_error *err)
{
    *count = 0;
    if (plan->quiet) {
        return AN_OK;
    }
    struct seeding *const seeding = an_alloc(1, sizeof *seeding);
    if (!seeding) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while seeding faults");
    }
    seeding->plan = plan;
    seeding->faults = faults;
    seed_wear(seeding);
    seed_ramp(seeding);
    seed_lot(seeding);
    seed_trim(seeding);
    seed_spread(seeding);
    seed_gauge(seeding);
    *count = seeding->count;
    an_free(seeding);
    return AN_OK;
}
