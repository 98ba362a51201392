/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The export of mass transfer (comma, point, RFC 3339 with offset): a row for each shot. A tile's
 * misses are drawn in the plan and here only dealt out to its shots, so that inspection and repair
 * find the same ones.
 */
#include "demo/stations.h"

#include <stdio.h>

static const char header[] = "tile_id,colour,head,stamp_id,stamp_cycles,carrier_id,shot_no,"
                             "shot_col,shot_row,dx_um,dy_um,theta_mrad,placed_cnt,missing_cnt,"
                             "tilted_cnt,duplicate_cnt,contact_force_n,tool_state,ended_at";

const struct an_demo_tile *an_demo_next_tile(const struct an_demo_plan *plan,
                                             enum an_demo_station station,
                                             const struct an_demo_shift *shift, size_t *next)
{
    while (*next < plan->tile_count && plan->tiles[*next].at_us[station] < shift->from_us) {
        (*next)++;
    }
    const int64_t closes_us = an_demo_plan_closes_us(plan, station);
    const int64_t until_us = shift->until_us < closes_us ? shift->until_us : closes_us;
    if (*next >= plan->tile_count || plan->tiles[*next].at_us[station] >= until_us) {
        return NULL;
    }
    return &plan->tiles[(*next)++];
}

const char *an_demo_carrier_serial(const struct an_demo_plan *plan, const struct an_demo_tile *tile,
                                   int colour)
{
    return plan->carriers[plan->carrier_of[colour][tile->carrier[colour]]].serial;
}

const char *an_demo_wafer_serial(const struct an_demo_plan *plan, const struct an_demo_tile *tile,
                                 int colour)
{
    return plan->wafers[plan->carriers[plan->carrier_of[colour][tile->carrier[colour]]].wafer]
        .serial;
}

struct placement { /* of one tile */
    const struct an_demo_tile *tile;
    double dx_um, dy_um, dx_within, dy_within;
    const char *head, *stamp;
};

static void write_shot(const struct an_demo_plan *plan, const struct placement *placement,
                       int colour, int shot, const int misses[3], struct an_demo_random *random,
                       struct an_demo_sheet *sheet)
{
    const struct an_demo_tile *const tile = placement->tile;
    const int done = colour * AN_DEMO_SHOTS + shot;
    an_demo_sheet_put(sheet, tile->serial);
    an_demo_sheet_letter(sheet, an_demo_colour_letter(colour));
    an_demo_sheet_put(sheet, placement->head);
    an_demo_sheet_put(sheet, placement->stamp);
    an_demo_sheet_integer(sheet, tile->stamp_tile * AN_DEMO_SHOTS * AN_DEMO_COLOURS + done + 1);
    an_demo_sheet_put(sheet, an_demo_carrier_serial(plan, tile, colour));
    an_demo_sheet_integer(sheet, shot + 1);
    an_demo_sheet_integer(sheet, 1 + shot % AN_DEMO_SHOTS_ACROSS);
    an_demo_sheet_integer(sheet, 1 + shot / AN_DEMO_SHOTS_ACROSS);
    an_demo_sheet_number(sheet, placement->dx_um + placement->dx_within * an_demo_normal(random),
                         2);
    an_demo_sheet_number(sheet, placement->dy_um + placement->dy_within * an_demo_normal(random),
                         2);
    an_demo_sheet_number(sheet,
                         an_demo_figures.theta_mrad.mean +
                             an_demo_figures.theta_mrad.within * an_demo_normal(random),
                         3);
    an_demo_sheet_integer(sheet, AN_DEMO_SHOT_EMITTERS);
    for (int k = 0; k < 3; k++) {
        an_demo_sheet_integer(sheet, misses[k]);
    }
    an_demo_sheet_number(sheet, 6.2 + 0.1 * an_demo_normal(random), 1);
    an_demo_sheet_put(sheet, "PROD");
    an_demo_sheet_time(sheet, 'R', tile->at_us[AN_DEMO_TRANSFER] + (done + 1) * 6 * AN_SECOND_US);
    an_demo_sheet_end(sheet);
}

static void write_tile(const struct an_demo_plan *plan, const struct an_demo_tile *tile,
                       size_t index, struct an_demo_sheet *sheet)
{
    struct an_demo_random random = an_demo_plan_random(plan, AN_DEMO_TRANSFER, index);
    const struct an_demo_figure *const dx = &an_demo_figures.dx_um[tile->head];
    const struct an_demo_figure *const dy = &an_demo_figures.dy_um[tile->head];
    char head[8], stamp[16];
    (void)snprintf(head, sizeof head, "H%c", (char)('1' + tile->head));
    (void)snprintf(stamp, sizeof stamp, "ST-%03d", tile->stamp % 1000);
    const struct placement placement = {.tile = tile,
                                        .dx_um = dx->mean + dx->between * an_demo_normal(&random) +
                                                 tile->effect.dx_um,
                                        .dy_um = dy->mean + dy->between * an_demo_normal(&random),
                                        .dx_within = dx->within,
                                        .dy_within = dy->within * tile->effect.dy_within_factor,
                                        .head = head,
                                        .stamp = stamp};
    for (int c = 0; c < AN_DEMO_COLOURS; c++) {
        struct an_demo_random deal = an_demo_random_of(plan->seed, 5 + (uint64_t)c, index);
        int misses[AN_DEMO_SHOTS][3] = {{0}};
        for (int k = 0; k < 3; k++) {
            for (int i = 0; i < tile->misses[c][k]; i++) {
                misses[an_demo_below(&deal, AN_DEMO_SHOTS)][k]++;
            }
        }
        for (int shot = 0; shot < AN_DEMO_SHOTS; shot++) {
            write_shot(plan, &placement, c, shot, misses[shot], &random, sheet);
        }
    }
}

enum an_status an_demo_write_transfer(struct an_demo_output *output, struct an_error *err)
{
    const struct an_demo_plan *const plan = output->plan;
    struct an_demo_sheet sheet = {0};
    enum an_status st = AN_OK;
    size_t next = 0;
    for (size_t s = 0; s < plan->shift_count && st == AN_OK; s++) {
        an_demo_sheet_start(&sheet, ',', '.', "\n", plan->zone);
        an_demo_sheet_line(&sheet, header);
        const struct an_demo_tile *tile = NULL;
        while ((tile = an_demo_next_tile(plan, AN_DEMO_TRANSFER, &plan->shifts[s], &next))) {
            write_tile(plan, tile, next - 1, &sheet);
        }
        st = an_demo_output_shift(output, AN_DEMO_TRANSFER, &plan->shifts[s], &sheet, err);
    }
    an_demo_sheet_free(&sheet);
    return st;
}
