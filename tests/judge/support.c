/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support.h"

#include "andamento/base/number.h"
#include "andamento/base/text.h"
#include "andamento/stat/moments.h"
#include "judge/limits_json.h"
#include "judge/stream_split.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct scene scene;

static const char head[] = "line: levante\n"
                           "zone: Europe/Rome\n"
                           "shifts: {early: 06:00, late: 14:00, night: 22:00}\n"
                           "kinds:\n"
                           "  lot: {title: lot}\n"
                           "  wafer: {}\n"
                           "  carrier: {}\n"
                           "  tile: {product: yes}\n"
                           "  wall: {product: yes}\n"
                           "stations:\n";

static void tell_mistake(void *context, const char *path, uint64_t line, uint64_t column,
                         const char *text)
{
    (void)context;
    fprintf(stderr, "%s:%llu:%llu: %s\n", path, (unsigned long long)line,
            (unsigned long long)column, text);
}

void scene_open(const char *stations)
{
    struct an_text yaml = {0};
    char path[96];

    memset(&scene, 0, sizeof scene);
    scene.arena = an_arena_open();
    an_text_add(&yaml, head);
    an_text_add(&yaml, stations);
    OK(an_line_read(an_bytes_of(an_text_of(&yaml)), "scene.yaml", ".", tell_mistake, NULL,
                    &scene.line, &scene.err));
    (void)snprintf(scene.folder, sizeof scene.folder, "/tmp/an-judge-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(scene.folder));
    (void)snprintf(path, sizeof path, "%s/line.store", scene.folder);
    OK(an_store_open(path, AN_STORE_CREATE, &scene.store, &scene.err));
    int64_t revision;
    bool is_new;
    OK(an_store_put_line(scene.store, scene.line->source, ".", &revision, &is_new, &scene.err));
    an_text_free(&yaml);
}

void scene_close(void)
{
    char command[96];

    an_store_close(scene.store);
    an_line_close(scene.line);
    an_arena_close(scene.arena);
    free(scene.scaled);
    free(scene.lines);
    free(scene.visits);
    free(scene.site_codes);
    free(scene.split_codes[0]);
    free(scene.split_codes[1]);
    (void)snprintf(command, sizeof command, "rm -rf '%s'", scene.folder);
    ck_assert_int_eq(system(command), 0);
    memset(&scene, 0, sizeof scene);
}

void scene_file(const char *station)
{
    char name[64];

    OK(an_store_begin(scene.store, &scene.err));
    scene.station = station;
    scene.rows = 0;
    scene.text_count = 0;
    (void)snprintf(name, sizeof name, "file-%d.csv", ++scene.files);
    memset(&scene.file, 0, sizeof scene.file);
    scene.file.hash = an_sha256_of(name, strlen(name));
    scene.file.bytes = (int64_t)strlen(name);
    scene.file.name = an_arena_printf(scene.arena, "%s", name);
    scene.file.path = scene.file.name;
    scene.file.station = station;
    scene.file.modified_us = AN_NO_INSTANT;
    scene.file.known_us = an_clock_now_us();
    scene.file.line_revision = 1;
    scene.file.first_us = AN_NO_INSTANT;
    scene.file.last_us = AN_NO_INSTANT;
    OK(an_store_next_file(scene.store, &scene.file.file_id, &scene.err));
}

/* The one measured column of the scene's files; columns of splits and places by the description. */
static const struct an_characteristic *measured_of(const char *station)
{
    const size_t s = an_line_station(scene.line, an_bytes_of(station));

    for (size_t c = 0; c < scene.line->characteristic_count; c++) {
        if (scene.line->characteristics[c].station == s &&
            scene.line->characteristics[c].kind == AN_MEASURED) {
            return &scene.line->characteristics[c];
        }
    }
    return NULL;
}

static void put_blocks(void)
{
    const struct an_characteristic *c = measured_of(scene.station);
    const size_t rows = (size_t)scene.rows;
    struct an_number_block block = {.rows = rows};

    block.scaled = scene.lines;
    OK(an_store_put_numbers(scene.store, scene.file.file_id, AN_COLUMN_LINE, 0, &block,
                            &scene.err));
    block.scaled = scene.visits;
    OK(an_store_put_numbers(scene.store, scene.file.file_id, AN_COLUMN_VISIT, 0, &block,
                            &scene.err));
    block.scaled = scene.scaled;
    block.decimals = 6;
    OK(an_store_put_numbers(scene.store, scene.file.file_id, c->column, 0, &block, &scene.err));
    if (c->position_column) {
        OK(an_store_put_texts(scene.store, scene.file.file_id, c->position_column, 0, rows,
                              scene.site_codes, scene.texts, scene.text_count, &scene.err));
    }
    for (size_t s = 0; s < c->splits.count; s++) {
        OK(an_store_put_texts(scene.store, scene.file.file_id, c->splits.at[s], 0, rows,
                              scene.split_codes[s], scene.texts, scene.text_count, &scene.err));
    }
}

void scene_file_end(void)
{
    if (scene.rows > 0 && scene.scaled) {
        put_blocks();
    }
    scene.file.rows = scene.rows;
    scene.file.taken = scene.rows;
    OK(an_store_put_file(scene.store, &scene.file, &scene.err));
    OK(an_store_commit(scene.store, &scene.err));
}

int64_t scene_stream(const char *characteristic, const char *split)
{
    int64_t id = 0;

    OK(an_store_stream(scene.store, scene.station, characteristic, split, &id, &scene.err));
    return id;
}

struct an_stream scene_find(const char *name)
{
    struct an_stream stream;

    OK(an_store_find_stream(scene.store, name, scene.arena, &stream, &scene.err));
    return stream;
}

int64_t scene_item(const char *kind, const char *serial)
{
    int64_t id = 0;

    OK(an_store_item(scene.store, kind, an_bytes_of(serial), scene.file.file_id, &id, &scene.err));
    return id;
}

static uint32_t code_of(const char *text)
{
    for (size_t i = 0; i < scene.text_count; i++) {
        if (an_bytes_are(scene.texts[i], text)) {
            return (uint32_t)i;
        }
    }
    ck_assert_uint_lt(scene.text_count, 64);
    scene.texts[scene.text_count] = an_bytes_of(an_arena_printf(scene.arena, "%s", text));
    return (uint32_t)scene.text_count++;
}

static void grow_rows(size_t more)
{
    const size_t wanted = (size_t)scene.rows + more;

    if (wanted <= scene.room) {
        return;
    }
    scene.room = 2 * wanted;
    scene.scaled = realloc(scene.scaled, scene.room * sizeof *scene.scaled);
    scene.lines = realloc(scene.lines, scene.room * sizeof *scene.lines);
    scene.visits = realloc(scene.visits, scene.room * sizeof *scene.visits);
    scene.site_codes = realloc(scene.site_codes, scene.room * sizeof *scene.site_codes);
    for (int s = 0; s < 2; s++) {
        scene.split_codes[s] =
            realloc(scene.split_codes[s], scene.room * sizeof *scene.split_codes[s]);
    }
}

static int64_t put_visit(const char *serial, int64_t at_us, int64_t rows, const char *purpose,
                         int64_t *item_id)
{
    const size_t s = an_line_station(scene.line, an_bytes_of(scene.station));
    const struct an_item_kind *kind = &scene.line->kinds[scene.line->stations[s].item_kind];
    const uint64_t first = (uint64_t)scene.rows + 2;
    char digest[64];

    *item_id = scene_item(kind->name, serial);
    (void)snprintf(digest, sizeof digest, "%d %llu", scene.files, (unsigned long long)first);
    struct an_visit visit = {.file_id = scene.file.file_id,
                             .item_id = *item_id,
                             .first_us = at_us,
                             .last_us = at_us,
                             .shift_from_us = an_line_shift_at(scene.line, at_us).from_us,
                             .shift = "2026-03-02 early",
                             .first_line = first,
                             .last_line = first + (uint64_t)rows - 1,
                             .rows = rows,
                             .rows_digest = an_sha256_of(digest, strlen(digest)),
                             .purpose = purpose};
    OK(an_store_put_visit(scene.store, &visit, &scene.err));
    if (scene.file.first_us == AN_NO_INSTANT || at_us < scene.file.first_us) {
        scene.file.first_us = at_us;
    }
    if (scene.file.last_us == AN_NO_INSTANT || at_us > scene.file.last_us) {
        scene.file.last_us = at_us;
    }
    return visit.visit_id;
}

static int64_t put_sample(struct an_sample *sample, const char *characteristic, const char *split,
                          int64_t at_us, int64_t rows)
{
    sample->stream_id = scene_stream(characteristic, split);
    sample->file_id = scene.file.file_id;
    sample->at_us = at_us;
    sample->shift_from_us = an_line_shift_at(scene.line, at_us).from_us;
    sample->first_line = (uint64_t)scene.rows + 2;
    sample->last_line = sample->first_line + (uint64_t)rows - 1;
    OK(an_store_put_sample(scene.store, sample, &scene.err));
    scene.rows += rows;
    scene.last = *sample;
    return sample->sample_id;
}

int64_t scene_measure(const struct scene_reading *reading)
{
    const size_t s = an_line_station(scene.line, an_bytes_of(scene.station));
    const size_t c = an_line_characteristic(scene.line, s, an_bytes_of(reading->characteristic));
    const struct an_characteristic *of = &scene.line->characteristics[c];
    struct an_exact_sums sums = {0};
    struct an_split split;
    struct an_sample sample = {.count = (double)NAN, .opportunities = (double)NAN};

    grow_rows(reading->n);
    OK(an_split_of(reading->split, of, scene.arena, &split));
    sample.visit_id = put_visit(reading->serial, reading->at_us, (int64_t)reading->n,
                                reading->purpose, &sample.item_id);
    for (size_t i = 0; i < reading->n; i++) {
        const size_t row = (size_t)scene.rows + i;
        const bool missing = isnan(reading->values[i]);
        scene.scaled[row] = missing ? AN_CELL_MISSING : llround(reading->values[i] * 1e6);
        scene.lines[row] = (int64_t)row + 2;
        scene.visits[row] = sample.visit_id;
        scene.site_codes[row] = reading->sites ? code_of(reading->sites[i]) : UINT32_MAX;
        for (size_t p = 0; p < 2; p++) {
            scene.split_codes[p][row] =
                p < split.count ? code_of(split.parts[p].value) : UINT32_MAX;
        }
        if (missing) {
            sample.missing++;
        } else {
            an_exact_add(&sums, scene.scaled[row], 6);
        }
    }
    struct an_moments moments = an_exact_moments(&sums);
    if (moments.n > 0) {
        moments = an_moments_convert(&moments, of->factor, of->offset);
    }
    sample.n = moments.n;
    sample.mean = moments.mean;
    sample.ssd = moments.ssd;
    sample.min = moments.min;
    sample.max = moments.max;
    sample.decimals = reading->decimals;
    sample.ribbon = reading->ribbon;
    return put_sample(&sample, reading->characteristic, reading->split, reading->at_us,
                      (int64_t)reading->n);
}

int64_t scene_plain(const char *characteristic, const char *split, const char *serial,
                    int64_t at_us, double value)
{
    struct an_sample sample = {.n = 1,
                               .mean = value,
                               .min = value,
                               .max = value,
                               .count = (double)NAN,
                               .opportunities = (double)NAN,
                               .decimals = 3,
                               .ribbon = scene.ribbon};

    sample.visit_id = put_visit(serial, at_us, 1, NULL, &sample.item_id);
    return put_sample(&sample, characteristic, split, at_us, 1);
}

int64_t scene_count(const char *characteristic, const char *split, const char *serial,
                    int64_t at_us, double count, double opportunities)
{
    struct an_sample sample = {.n = 1,
                               .mean = count,
                               .min = count,
                               .max = count,
                               .count = count,
                               .opportunities = opportunities};

    sample.visit_id = put_visit(serial, at_us, 1, NULL, &sample.item_id);
    return put_sample(&sample, characteristic, split, at_us, 1);
}

void scene_link(const char *child_kind, const char *child, const char *parent_kind,
                const char *parent, const char *role)
{
    const struct an_link link = {.child_id = scene_item(child_kind, child),
                                 .parent_id = scene_item(parent_kind, parent),
                                 .role = role,
                                 .share = (double)NAN,
                                 .row = -1,
                                 .column = -1,
                                 .at_us = SCENE_START,
                                 .file_id = scene.file.file_id,
                                 .line = 2};

    OK(an_store_put_link(scene.store, &link, &scene.err));
}

struct an_limits scene_limits(const char *stream, size_t samples)
{
    const struct an_baseline_choice choice = {
        .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .samples = samples};
    struct an_limits limits;
    const struct an_stream found = scene_find(stream);

    OK(an_limits_propose(scene.store, scene.line, found.stream_id, &choice, scene.arena, &limits,
                         &scene.err));
    return limits;
}

void scene_lock(const char *stream)
{
    OK(an_limits_lock(scene.store, scene_find(stream).stream_id, AN_NO_INSTANT, "E. Rossi",
                      "baseline looked at", &scene.err));
}

void scene_lock_known(const char *stream, const char *characteristic, double centre, double sigma)
{
    const struct an_stream found = scene_find(stream);
    const size_t s = an_line_station(scene.line, an_bytes_of(found.station));
    const size_t c = an_line_characteristic(scene.line, s, an_bytes_of(characteristic));
    struct an_limits limits = {.normality = {(double)NAN, (double)NAN, (double)NAN},
                               .lag1 = (double)NAN,
                               .lag1_bound = (double)NAN,
                               .sigma_relative_se = (double)NAN,
                               .centre_half_width = (double)NAN,
                               .rules = scene.line->characteristics[c].rules};
    struct an_text model = {0};

    limits.model = (struct an_chart_model){.family = scene.line->characteristics[c].family,
                                           .k = 3,
                                           .samples = 100,
                                           .n_nominal = 1,
                                           .centre = centre,
                                           .sigma_within = sigma,
                                           .df_within = 60,
                                           .sigma_level = sigma,
                                           .spread_centre = sigma * 1.1283791670955126,
                                           .dispersion = 1,
                                           .mean_opportunities = 1e5,
                                           .between = (double)NAN,
                                           .weighting = scene.line->characteristics[c].weighting};
    an_limits_model_json(&limits, &model);
    struct an_limits_record record = {.stream_id = found.stream_id,
                                      .known_us = an_clock_now_us(),
                                      .baseline_from_us = SCENE_START - AN_DAY_US,
                                      .baseline_until_us = SCENE_START,
                                      .model = an_text_of(&model),
                                      .exclusions = "[]",
                                      .locked_us = AN_NO_INSTANT,
                                      .in_force_us = AN_NO_INSTANT};
    OK(an_store_put_limits(scene.store, &record, &scene.err));
    an_text_free(&model);
    scene_lock(stream);
}

struct an_check_result scene_check(void)
{
    struct an_check_result result;

    OK(an_check_all(scene.store, scene.line, false, &result, &scene.err));
    return result;
}

double scene_uniform(struct scene_random *random)
{
    random->state ^= random->state >> 12;
    random->state ^= random->state << 25;
    random->state ^= random->state >> 27;
    return (double)((random->state * UINT64_C(2685821657736338717)) >> 11) / 9007199254740992.0;
}

double scene_normal(struct scene_random *random)
{
    for (;;) {
        const double u = 2 * scene_uniform(random) - 1;
        const double v = 2 * scene_uniform(random) - 1;
        const double s = u * u + v * v;

        if (s > 0 && s < 1) {
            return u * sqrt(-2 * log(s) / s);
        }
    }
}
