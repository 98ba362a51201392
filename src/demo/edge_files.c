/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The export of edge contact (semicolon, decimal comma, Windows-1252, a row of units, local time
 * with points): a row for each measured trace of the edges A and B.
 */
#include "demo/stations.h"

#include <stdio.h>

static const char header[] =
    "tile;edge;trace;pos;resistance;thickness;cure_temp;paste_lot;pressed_at";
static const char units[] = ";;;mm;ohm;\xb5m;\xb0" /* micro sign, degree sign */
                            "C;;";

static void write_tile(const struct an_demo_plan *plan, const struct an_demo_tile *tile,
                       size_t index, struct an_demo_sheet *sheet)
{
    struct an_demo_random random = an_demo_plan_random(plan, AN_DEMO_EDGE, index);
    const struct an_demo_figure *const wrap = &an_demo_figures.wrap_um;
    char lot[16];
    (void)snprintf(lot, sizeof lot, "PL-%04d", tile->paste_lot % 10000);
    for (int edge = 0; edge < 2; edge++) {
        const struct an_demo_figure *const ohm = &an_demo_figures.resistance_ohm[edge];
        const double trim = edge == 0 ? tile->effect.resistance_ohm : 0.0;
        const double resistance = ohm->mean + ohm->between * an_demo_normal(&random) + trim;
        const double thickness = wrap->mean + wrap->between * an_demo_normal(&random);
        for (int trace = 0; trace < AN_DEMO_TRACES; trace++) {
            an_demo_sheet_put(sheet, tile->serial);
            an_demo_sheet_letter(sheet, "AB"[edge]);
            an_demo_sheet_integer(sheet, trace + 1);
            an_demo_sheet_number(sheet, 4.8 + 9.6 * trace, 1);
            an_demo_sheet_number(sheet, resistance + ohm->within * an_demo_normal(&random), 3);
            an_demo_sheet_number(sheet, thickness + wrap->within * an_demo_normal(&random), 1);
            an_demo_sheet_number(sheet, 142.0 + 0.6 * an_demo_normal(&random), 1);
            an_demo_sheet_put(sheet, lot);
            an_demo_sheet_time(sheet, 'D',
                               tile->at_us[AN_DEMO_EDGE] +
                                   (edge * AN_DEMO_TRACES + trace) * 8 * AN_SECOND_US);
            an_demo_sheet_end(sheet);
        }
    }
}

enum an_status an_demo_write_edge(struct an_demo_output *output, struct an_error *err)
{
    const struct an_demo_plan *const plan = output->plan;
    struct an_demo_sheet sheet = {0};
    enum an_status st = AN_OK;
    size_t next = 0;
    for (size_t s = 0; s < plan->shift_count && st == AN_OK; s++) {
        an_demo_sheet_start(&sheet, ';', ',', "\r\n", plan->zone);
        an_demo_sheet_line(&sheet, header);
        an_demo_sheet_line(&sheet, units);
        const struct an_demo_tile *tile = NULL;
        while ((tile = an_demo_next_tile(plan, AN_DEMO_EDGE, &plan->shifts[s], &next))) {
            write_tile(plan, tile, next - 1, &sheet);
        }
        st = an_demo_output_shift(output, AN_DEMO_EDGE, &plan->shifts[s], &sheet, err);
    }
    an_demo_sheet_free(&sheet);
    return st;
}
