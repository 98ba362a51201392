/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The export of tile luminance (semicolon, decimal comma, Windows-1252, a row of units, local time
 * with slashes): a row for each site and colour, R, G, B and all three together as W. Each shift
 * begins with the reference tile, so that a change of the gauge can be told from one of the tiles.
 */
#include "demo/faults.h"
#include "demo/stations.h"

static const char header[] = "tile;colour;site;row;col;lv;exposure;temp;"
                             "wafer;gauge;measured_at";
static const char units[] = ";;;;;cd/m\xb2;ms;\xb0" /* superscript two, degree sign */
                            "C;;;";

struct panel { /* one tile on the gauge */
    const char *serial;
    double true_cd_m2[4]; /* tile means, R G B W */
    double site_noise;    /* share */
    double gauge;         /* factor */
    const char *wafer[4];
    int64_t at_us;
};

static void write_panel(const struct panel *panel, struct an_demo_random *random,
                        struct an_demo_sheet *sheet)
{
    static const int exposure_ms[4] = {24, 10, 70, 6};
    double mean_offset = 0.0;
    for (int s = 0; s < AN_DEMO_SITES; s++) {
        mean_offset += an_demo_figures.site_percent[s] / AN_DEMO_SITES;
    }
    for (int c = 0; c < 4; c++) {
        for (int s = 0; s < AN_DEMO_SITES; s++) {
            const double offset = (an_demo_figures.site_percent[s] - mean_offset) / 100.0;
            const double noise = panel->site_noise * an_demo_normal(random);
            an_demo_sheet_put(sheet, panel->serial);
            an_demo_sheet_letter(sheet, "RGBW"[c]);
            an_demo_sheet_integer(sheet, s + 1);
            an_demo_sheet_integer(sheet, 1 + s / AN_DEMO_SITE_COLUMNS);
            an_demo_sheet_integer(sheet, 1 + s % AN_DEMO_SITE_COLUMNS);
            an_demo_sheet_number(sheet,
                                 panel->true_cd_m2[c] * panel->gauge * (1.0 + offset + noise), 2);
            an_demo_sheet_integer(sheet, exposure_ms[c]);
            an_demo_sheet_number(sheet, 31.0 + 0.2 * an_demo_normal(random), 1);
            an_demo_sheet_put(sheet, panel->wafer[c]);
            an_demo_sheet_put(sheet, "LG-2");
            an_demo_sheet_time(sheet, 'S',
                               panel->at_us + (c * AN_DEMO_SITES + s) * 2 * AN_SECOND_US);
            an_demo_sheet_end(sheet);
        }
    }
}

static void write_tile(const struct an_demo_plan *plan, const struct an_demo_tile *tile,
                       size_t index, struct an_demo_sheet *sheet)
{
    struct an_demo_random random = an_demo_plan_random(plan, AN_DEMO_LUMINANCE, index);
    struct panel panel = {.serial = tile->serial,
                          .site_noise = an_demo_figures.luminance_cd_m2[0].within,
                          .gauge = tile->effect.gauge_factor,
                          .wafer = {"", "", "", ""},
                          .at_us = tile->at_us[AN_DEMO_LUMINANCE]};
    for (int c = 0; c < AN_DEMO_COLOURS; c++) {
        const struct an_demo_figure *const f = &an_demo_figures.luminance_cd_m2[c];
        panel.true_cd_m2[c] = f->mean * (1.0 + f->between * an_demo_normal(&random)) *
                              (c == 1 ? tile->effect.green_factor : 1.0);
        panel.true_cd_m2[3] += panel.true_cd_m2[c];
        panel.wafer[c] = an_demo_wafer_serial(plan, tile, c);
    }
    write_panel(&panel, &random, sheet);
}

static void write_reference(const struct an_demo_plan *plan, size_t shift_index, int64_t at_us,
                            struct an_demo_sheet *sheet)
{
    struct an_demo_random random = an_demo_random_of(plan->seed, 8, shift_index);
    struct panel panel = {.serial = "REF-3",
                          .site_noise = an_demo_figures.reference.within,
                          .gauge = an_demo_gauge_factor(plan, at_us),
                          .wafer = {"", "", "", ""},
                          .at_us = at_us};
    for (int c = 0; c < AN_DEMO_COLOURS; c++) {
        panel.true_cd_m2[c] = an_demo_figures.luminance_cd_m2[c].mean;
        panel.true_cd_m2[3] += panel.true_cd_m2[c];
    }
    /* each exposure repeats within the gauge's own spread */
    for (int c = 0; c < 4; c++) {
        panel.true_cd_m2[c] *= 1.0 + an_demo_figures.reference.between * an_demo_normal(&random);
    }
    write_panel(&panel, &random, sheet);
}

enum an_status an_demo_write_luminance(struct an_demo_output *output, struct an_error *err)
{
    const struct an_demo_plan *const plan = output->plan;
    struct an_demo_sheet sheet = {0};
    enum an_status st = AN_OK;
    size_t next = 0;
    for (size_t s = 0; s < plan->shift_count && st == AN_OK; s++) {
        const struct an_demo_shift *const shift = &plan->shifts[s];
        if (shift->from_us < plan->from_us) {
            continue; /* no tile has come this far */
        }
        an_demo_sheet_start(&sheet, ';', ',', "\r\n", plan->zone);
        an_demo_sheet_line(&sheet, header);
        an_demo_sheet_line(&sheet, units);
        write_reference(plan, s, shift->from_us + 30 * AN_SECOND_US, &sheet);
        const struct an_demo_tile *tile = NULL;
        while ((tile = an_demo_next_tile(plan, AN_DEMO_LUMINANCE, shift, &next))) {
            write_tile(plan, tile, next - 1, &sheet);
        }
        st = an_demo_output_shift(output, AN_DEMO_LUMINANCE, shift, &sheet, err);
    }
    an_demo_sheet_free(&sheet);
    return st;
}
