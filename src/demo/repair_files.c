/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Exports of optical inspection (bar, end marker: a row for each tile and colour) and of repair
 * (semicolon, comment line with the program's version, compact local time: a row for each attempt,
 * up to three at one place).
 */
#include "demo/stations.h"

static const char inspection_header[] =
    "tile|colour|missing|tilted|duplicate|dark|defects|inspected|seen_at";
static const char repair_header[] =
    "rec_no;tile;colour;px_col;px_row;cause;attempt;method;tool;spare_carrier;result;done_at";

static void inspect_tile(const struct an_demo_tile *tile, struct an_demo_sheet *sheet)
{
    for (int c = 0; c < AN_DEMO_COLOURS; c++) {
        const int *const misses = tile->misses[c];
        an_demo_sheet_put(sheet, tile->serial);
        an_demo_sheet_letter(sheet, an_demo_colour_letter(c));
        for (int k = 0; k < 3; k++) {
            an_demo_sheet_integer(sheet, misses[k]);
        }
        an_demo_sheet_integer(sheet, tile->dark[c]);
        an_demo_sheet_integer(sheet, misses[0] + misses[1] + misses[2] + tile->dark[c]);
        an_demo_sheet_integer(sheet, AN_DEMO_EMITTERS - tile->masked);
        an_demo_sheet_time(sheet, 'S', tile->at_us[AN_DEMO_INSPECTION] + c * 40 * AN_SECOND_US);
        an_demo_sheet_end(sheet);
    }
}

enum an_status an_demo_write_inspection(struct an_demo_output *output, struct an_error *err)
{
    const struct an_demo_plan *const plan = output->plan;
    struct an_demo_sheet sheet = {0};
    enum an_status st = AN_OK;
    size_t next = 0;
    for (size_t s = 0; s < plan->shift_count && st == AN_OK; s++) {
        an_demo_sheet_start(&sheet, '|', '.', "\n", plan->zone);
        an_demo_sheet_line(&sheet, inspection_header);
        const struct an_demo_tile *tile = NULL;
        while ((tile = an_demo_next_tile(plan, AN_DEMO_INSPECTION, &plan->shifts[s], &next))) {
            inspect_tile(tile, &sheet);
        }
        an_demo_sheet_line(&sheet, "END");
        st = an_demo_output_shift(output, AN_DEMO_INSPECTION, &plan->shifts[s], &sheet, err);
    }
    an_demo_sheet_free(&sheet);
    return st;
}

struct bench { /* what runs on through the repair station */
    int64_t record;
    int64_t at_us;
    const char *tool;
};

/* All attempts at one defect: until one succeeds, three at most. */
static void repair_defect(const struct an_demo_tile *tile, const char *spare, int colour,
                          const char *cause, struct an_demo_random *random, struct bench *bench,
                          struct an_demo_sheet *sheet)
{
    const int column = 1 + an_demo_below(random, AN_DEMO_TILE_COLUMNS);
    const int row = 1 + an_demo_below(random, AN_DEMO_TILE_ROWS);
    bool failed = true;
    for (int attempt = 1; attempt <= 3 && failed; attempt++) {
        failed = an_demo_uniform(random) < an_demo_figures.attempt_fails;
        an_demo_sheet_integer(sheet, ++bench->record);
        an_demo_sheet_put(sheet, tile->serial);
        an_demo_sheet_letter(sheet, an_demo_colour_letter(colour));
        an_demo_sheet_integer(sheet, column);
        an_demo_sheet_integer(sheet, row);
        an_demo_sheet_put(sheet, cause);
        an_demo_sheet_integer(sheet, attempt);
        an_demo_sheet_put(sheet, cause[0] == 'm' ? "place" : "swap");
        an_demo_sheet_put(sheet, bench->tool);
        an_demo_sheet_put(sheet, spare);
        an_demo_sheet_put(sheet, !failed                         ? "good"
                                 : an_demo_below(random, 3) == 0 ? "new_fault"
                                                                 : "same_fault");
        an_demo_sheet_time(sheet, 'C', bench->at_us);
        an_demo_sheet_end(sheet);
        bench->at_us += 5 * AN_SECOND_US;
    }
}

static void repair_tile(const struct an_demo_plan *plan, const struct an_demo_tile *tile,
                        size_t index, int64_t *record, struct an_demo_sheet *sheet)
{
    static const char *const causes[] = {"missing", "tilted", "duplicate", "dark"};
    struct an_demo_random random = an_demo_plan_random(plan, AN_DEMO_REPAIR, index);
    struct bench bench = {.record = *record,
                          .at_us = tile->at_us[AN_DEMO_REPAIR],
                          .tool = index % 2 == 0 ? "RT1" : "RT2"};
    for (int c = 0; c < AN_DEMO_COLOURS; c++) {
        const char *const spare = an_demo_carrier_serial(plan, tile, c);
        for (int k = 0; k < 4; k++) {
            const int defects = k < 3 ? tile->misses[c][k] : tile->dark[c];
            for (int i = 0; i < defects; i++) {
                repair_defect(tile, spare, c, causes[k], &random, &bench, sheet);
            }
        }
    }
    *record = bench.record;
}

enum an_status an_demo_write_repair(struct an_demo_output *output, struct an_error *err)
{
    const struct an_demo_plan *const plan = output->plan;
    struct an_demo_sheet sheet = {0};
    enum an_status st = AN_OK;
    size_t next = 0;
    int64_t record = 0;
    for (size_t s = 0; s < plan->shift_count && st == AN_OK; s++) {
        an_demo_sheet_start(&sheet, ';', '.', "\n", plan->zone);
        an_demo_sheet_line(&sheet, repair_header);
        const struct an_demo_tile *tile = NULL;
        while ((tile = an_demo_next_tile(plan, AN_DEMO_REPAIR, &plan->shifts[s], &next))) {
            repair_tile(plan, tile, next - 1, &record, &sheet);
        }
        st = an_demo_output_shift(output, AN_DEMO_REPAIR, &plan->shifts[s], &sheet, err);
    }
    an_demo_sheet_free(&sheet);
    return st;
}
