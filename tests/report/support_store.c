/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Fills a store through its own functions; the figures are made up. */
#include "support_store.h"

#include "andamento/base/instant.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define OK(call) ck_assert_msg((call) == AN_OK, "%s: %s", #call, mill->err.text)

static const char line_text[] =
    "line: ponente\n"
    "title: Wall line Ponente\n"
    "zone: Europe/Rome\n"
    "shifts: {early: 06:00, late: 14:00, night: 22:00}\n"
    "kinds:\n"
    "  tile: {product: yes}\n"
    "  wall: {product: yes}\n"
    "stations:\n"
    "  edge:\n"
    "    title: Edge contact\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    silent_after: 2 h\n"
    "    gauge: ohmmeter 7\n"
    "    characteristics:\n"
    "      resistance: {title: Edge resistance, column: r, unit: ohm, subgroup: row,\n"
    "                   spec: {target: 2, lower: 1.5, upper: 2.5}}\n"
    "  haze:\n"
    "    title: Haze\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      haze: {title: Haze, column: h, unit: '%', subgroup: row}\n"
    "  walls:\n"
    "    title: Wall assembly\n"
    "    time: {column: at}\n"
    "    item: {kind: wall, column: wall}\n"
    "    links: [{column: tile, kind: tile}]\n"
    "    characteristics:\n"
    "      gap: {title: Seam gap, column: gap, unit: um}\n";

static void tell(void *context, const char *path, uint64_t line, uint64_t column, const char *text)
{
    (void)context;
    fprintf(stderr, "%s:%llu:%llu: %s\n", path, (unsigned long long)line,
            (unsigned long long)column, text);
}

void mill_open_empty(struct mill *mill)
{
    *mill = (struct mill){.step_at = MILL_TILES};
    setenv("ANDAMENTO_CLOCK", "2026-03-05T06:10:00Z", 1);
    mill->arena = an_arena_open();
    OK(an_line_read(an_bytes_of(line_text), "line.yaml", ".", tell, NULL, &mill->line, &mill->err));
    mill->path = fresh_path(mill->arena, "line.store");
    OK(an_store_open(mill->path, AN_STORE_CREATE, &mill->store, &mill->err));
    int64_t revision = 0;
    bool is_new = false;
    OK(an_store_put_line(mill->store, mill->line->source, ".", &revision, &is_new, &mill->err));
    mill->start_us = INT64_C(1772427600000000); /* 2026-03-02T05:00:00Z, early shift in Rome */
}

void mill_close(struct mill *mill)
{
    an_store_close(mill->store);
    an_line_close(mill->line);
    remove_folder(mill->path);
    an_arena_close(mill->arena);
}

static int64_t tile_time(const struct mill *mill, size_t i)
{
    return mill->start_us + (int64_t)i * 20 * AN_MINUTE_US;
}

static struct an_file file_of(struct mill *mill, const char *station, const char *name)
{
    return (struct an_file){.hash = an_sha256_of(name, strlen(name)),
                            .bytes = 100,
                            .name = name,
                            .path = name,
                            .station = station,
                            .modified_us = AN_NO_INSTANT,
                            .known_us = an_clock_now_us(),
                            .line_revision = 1,
                            .first_us = tile_time(mill, 0),
                            .last_us = tile_time(mill, MILL_TILES - 1)};
}

static void put_blocks(struct mill *mill, const struct an_file *file, const char *column,
                       const int64_t *lines, const int64_t *visits, const int64_t *scaled)
{
    struct an_number_block block = {.rows = MILL_TILES, .scaled = lines};
    OK(an_store_put_numbers(mill->store, file->file_id, AN_COLUMN_LINE, 0, &block, &mill->err));
    block.scaled = visits;
    OK(an_store_put_numbers(mill->store, file->file_id, AN_COLUMN_VISIT, 0, &block, &mill->err));
    block.scaled = scaled;
    block.decimals = 3;
    OK(an_store_put_numbers(mill->store, file->file_id, column, 0, &block, &mill->err));
}

/* One reading a tile in thousandths: centre plus a noise whose neighbours do not correlate, and
 * from the step on 400 more (8 sigmas of the noise). */
static void fill_station(struct mill *mill, const char *station, const char *characteristic,
                         const char *column, int64_t centre, bool steps)
{
    int64_t lines[MILL_TILES];
    int64_t visits[MILL_TILES];
    int64_t scaled[MILL_TILES];
    uint64_t state = 20260302;
    struct an_file file = file_of(mill, station, station);
    int64_t stream_id = 0;
    OK(an_store_begin(mill->store, &mill->err));
    OK(an_store_next_file(mill->store, &file.file_id, &mill->err));
    OK(an_store_stream(mill->store, station, characteristic, "", &stream_id, &mill->err));
    for (size_t i = 0; i < MILL_TILES; i++) {
        double sum = 0; /* of twelve uniform numbers: nearly normal, sigma 1 */
        for (int k = 0; k < 12; k++) {
            state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
            sum += (double)(state >> 11) / 9007199254740992.0;
        }
        scaled[i] = centre + llrint((sum - 6.0) * 50.0) + (steps && i >= mill->step_at ? 400 : 0);
        lines[i] = (int64_t)i + 2;
        char serial[32];
        char digest[32];
        snprintf(serial, sizeof serial, "T-%05zu", i + 1);
        snprintf(digest, sizeof digest, "%s %zu", station, i);
        struct an_visit visit = {.file_id = file.file_id,
                                 .first_us = tile_time(mill, i),
                                 .last_us = tile_time(mill, i),
                                 .shift_from_us =
                                     an_line_shift_at(mill->line, tile_time(mill, i)).from_us,
                                 .shift = "",
                                 .first_line = i + 2,
                                 .last_line = i + 2,
                                 .rows = 1,
                                 .rows_digest = an_sha256_of(digest, strlen(digest))};
        OK(an_store_item(mill->store, "tile", an_bytes_of(serial), file.file_id, &visit.item_id,
                         &mill->err));
        OK(an_store_put_visit(mill->store, &visit, &mill->err));
        visits[i] = visit.visit_id;
        const double value = (double)scaled[i] / 1000.0;
        struct an_sample sample = {.stream_id = stream_id,
                                   .visit_id = visit.visit_id,
                                   .item_id = visit.item_id,
                                   .file_id = file.file_id,
                                   .at_us = visit.last_us,
                                   .shift_from_us = visit.shift_from_us,
                                   .n = 1,
                                   .mean = value,
                                   .min = value,
                                   .max = value,
                                   .count = (double)NAN,
                                   .opportunities = (double)NAN,
                                   .decimals = 3,
                                   .first_line = i + 2,
                                   .last_line = i + 2};
        OK(an_store_put_sample(mill->store, &sample, &mill->err));
    }
    put_blocks(mill, &file, column, lines, visits, scaled);
    file.rows = file.taken = MILL_TILES;
    OK(an_store_put_file(mill->store, &file, &mill->err));
    OK(an_store_commit(mill->store, &mill->err));
}

/* Every third tile went into a wall, ten tiles a wall. */
static void build_walls(struct mill *mill)
{
    struct an_file file = file_of(mill, "walls", "walls");
    OK(an_store_begin(mill->store, &mill->err));
    OK(an_store_next_file(mill->store, &file.file_id, &mill->err));
    for (size_t i = 0; i < MILL_TILES; i += 3) {
        char serial[32];
        struct an_link link = {.share = (double)NAN,
                               .row = -1,
                               .column = -1,
                               .at_us = tile_time(mill, i) + AN_HOUR_US,
                               .file_id = file.file_id,
                               .line = i + 2};
        snprintf(serial, sizeof serial, "T-%05zu", i + 1);
        OK(an_store_item(mill->store, "tile", an_bytes_of(serial), file.file_id, &link.parent_id,
                         &mill->err));
        snprintf(serial, sizeof serial, "WALL-%03zu", i / 30 + 1);
        OK(an_store_item(mill->store, "wall", an_bytes_of(serial), file.file_id, &link.child_id,
                         &mill->err));
        OK(an_store_put_link(mill->store, &link, &mill->err));
        mill->in_walls += i >= mill->step_at;
    }
    file.rows = file.taken = MILL_TILES / 3;
    OK(an_store_put_file(mill->store, &file, &mill->err));
    OK(an_store_commit(mill->store, &mill->err));
}

void mill_open(struct mill *mill, size_t step_at)
{
    mill_open_empty(mill);
    mill->step_at = step_at;
    mill->tiles_after = MILL_TILES - step_at;
    mill->step_us = tile_time(mill, step_at);
    fill_station(mill, "edge", "resistance", "r", 2000, true);
    fill_station(mill, "haze", "haze", "h", 3000, false);
    build_walls(mill);
    struct an_stream stream = {0};
    OK(an_store_find_stream(mill->store, "edge.resistance", mill->arena, &stream, &mill->err));
    const struct an_baseline_choice choice = {
        .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .samples = MILL_BASELINE};
    struct an_limits limits = {0};
    OK(an_limits_propose(mill->store, mill->line, stream.stream_id, &choice, mill->arena, &limits,
                         &mill->err));
    OK(an_limits_lock(mill->store, stream.stream_id, AN_NO_INSTANT, "R. Alba",
                      "first days after the fixture was set", &mill->err));
    struct an_check_result result = {0};
    OK(an_check_all(mill->store, mill->line, false, &result, &mill->err));
}

void mill_add_trouble(struct mill *mill)
{
    struct an_file held = file_of(mill, NULL, "copy of edge (2).csv");
    held.state = AN_FILE_HELD;
    held.code = "file.no_station";
    held.why = "no station's pattern fits this name";
    held.first_us = held.last_us = AN_NO_INSTANT;
    OK(an_store_begin(mill->store, &mill->err));
    OK(an_store_next_file(mill->store, &held.file_id, &mill->err));
    OK(an_store_put_file(mill->store, &held, &mill->err));
    struct an_file file = file_of(mill, "edge", "edge-late.csv");
    OK(an_store_next_file(mill->store, &file.file_id, &mill->err));
    for (uint64_t line = 4; line < 7; line++) {
        struct an_held row = {.file_id = file.file_id,
                              .line = line,
                              .column = 3,
                              .column_name = "r",
                              .code = "number.bad",
                              .why = "'2.0.1' is no number",
                              .text = an_bytes_of("T-1,x,2.0.1")};
        OK(an_store_put_held(mill->store, &row, &mill->err));
    }
    file.rows = 3;
    file.held = 3;
    OK(an_store_put_file(mill->store, &file, &mill->err));
    OK(an_store_commit(mill->store, &mill->err));
}

struct an_shift mill_shift(const struct mill *mill, const char *label)
{
    struct an_shift shift = {0};
    struct an_error err = {0};
    ck_assert_msg(!an_line_shift_parse(mill->line, an_bytes_of(label), &shift, &err), "%s",
                  err.text);
    return shift;
}
