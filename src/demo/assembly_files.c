/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The export of wall assembly (comma, a preamble line with the wall and the frame's temperature, a
 * footer with the number of rows): one file a wall, a row for each place. A gap belongs to the tile
 * on its left or above it; the outer edges have none and say "-".
 */
#include "demo/stations.h"

#include <stdio.h>

static const char header[] = "grid_row,grid_col,tile_id,rotation_deg,gap_right_um,gap_below_um,"
                             "shim_um,placed_at";

static void put_gap(struct an_demo_sheet *sheet, bool there, double gap_um)
{
    if (there) {
        an_demo_sheet_number(sheet, gap_um, 1);
    } else {
        an_demo_sheet_put(sheet, "-");
    }
}

static void write_wall(const struct an_demo_plan *plan, size_t index, struct an_demo_sheet *sheet)
{
    const struct an_demo_wall *const wall = &plan->walls[index];
    struct an_demo_random random = an_demo_plan_random(plan, AN_DEMO_ASSEMBLY, index);
    const struct an_demo_figure *const gap = an_demo_figures.gap_um;
    const double right = gap[0].mean + gap[0].between * an_demo_normal(&random);
    const double below = gap[1].mean + gap[1].between * an_demo_normal(&random);
    const int tenths = 225 + an_demo_below(&random, 12);
    char line[96];
    (void)snprintf(line, sizeof line, "# wall press PR-2, wall %s, frame_temp_c=%d.%d",
                   wall->serial, tenths / 10, tenths % 10);
    an_demo_sheet_line(sheet, line);
    an_demo_sheet_line(sheet, header);
    for (int p = 0; p < AN_DEMO_WALL_TILES; p++) {
        const int row = 1 + p / AN_DEMO_WALL_COLUMNS, column = 1 + p % AN_DEMO_WALL_COLUMNS;
        an_demo_sheet_integer(sheet, row);
        an_demo_sheet_integer(sheet, column);
        an_demo_sheet_put(sheet, plan->tiles[wall->tiles[p]].serial);
        an_demo_sheet_integer(sheet, an_demo_below(&random, 12) == 0 ? 180 : 0);
        put_gap(sheet, column < AN_DEMO_WALL_COLUMNS,
                right + gap[0].within * an_demo_normal(&random));
        put_gap(sheet, row < AN_DEMO_WALL_ROWS, below + gap[1].within * an_demo_normal(&random));
        an_demo_sheet_integer(sheet, 20 * an_demo_below(&random, 4));
        an_demo_sheet_time(sheet, 'R', wall->at_us + p * 25 * AN_SECOND_US);
        an_demo_sheet_end(sheet);
    }
    (void)snprintf(line, sizeof line, "# rows=%d", AN_DEMO_WALL_TILES);
    an_demo_sheet_line(sheet, line);
}

enum an_status an_demo_write_assembly(struct an_demo_output *output, struct an_error *err)
{
    const struct an_demo_plan *const plan = output->plan;
    struct an_demo_sheet sheet = {0};
    enum an_status st = AN_OK;
    size_t s = 0;
    for (size_t w = 0; w < plan->wall_count && st == AN_OK; w++) {
        const struct an_demo_wall *const wall = &plan->walls[w];
        while (s + 1 < plan->shift_count && wall->at_us >= plan->shifts[s].until_us) {
            s++;
        }
        char date[16], name[80];
        (void)snprintf(name, sizeof name, "assembly_%s_%s_%s.csv",
                       an_demo_shift_date(&plan->shifts[s], 0, date),
                       an_demo_shift_name(&plan->shifts[s]), wall->serial);
        an_demo_sheet_start(&sheet, ',', '.', "\n", plan->zone);
        write_wall(plan, w, &sheet);
        st = an_demo_output_named(output, AN_DEMO_ASSEMBLY, name, &sheet, err);
    }
    an_demo_sheet_free(&sheet);
    return st;
}
