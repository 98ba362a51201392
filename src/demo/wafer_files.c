/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Exports of wafer test (TAB, byte-order mark, CRLF, local time) and of carrier preparation
 * (comma, RFC 3339): a row for each test key of a wafer, and for each site of a carrier.
 */
#include "demo/stations.h"

#include <stdio.h>

static const char wafer_header[] = "\xef\xbb\xbfwafer_id\tcolour\tepi_run\tkey_no\tx_mm\ty_mm\t"
                                   "dom_wl_nm\tvf_v\tflux_pct\tprobe_temp_c\tprober\tprobed_at";
static const char carrier_header[] =
    "carrier_id,wafer_id,colour,site_no,release_layer_um,uv_dose_mj_cm2,batch_id,prepared_at";

static void write_wafer(const struct an_demo_plan *plan, const struct an_demo_wafer *wafer,
                        size_t index, struct an_demo_sheet *sheet)
{
    struct an_demo_random random = an_demo_plan_random(plan, AN_DEMO_WAFER_TEST, index);
    const struct an_demo_figures *const f = &an_demo_figures;
    const struct an_demo_figure *const wl = &f->wavelength_nm[wafer->colour];
    const struct an_demo_figure *const vf = &f->forward_v[wafer->colour];
    const double wafer_wl = wl->mean + wl->between * an_demo_normal(&random) + wafer->wavelength_nm;
    const double wafer_vf = vf->mean + vf->between * an_demo_normal(&random);
    const double wafer_flux =
        (f->flux_percent.mean + f->flux_percent.between * an_demo_normal(&random)) *
        wafer->flux_factor;
    char run[24];
    (void)snprintf(run, sizeof run, "E%c26-%03d", an_demo_colour_letter(wafer->colour),
                   wafer->epi_run % 1000);
    for (int key = 0; key < AN_DEMO_KEYS; key++) {
        an_demo_sheet_put(sheet, wafer->serial);
        an_demo_sheet_letter(sheet, an_demo_colour_letter(wafer->colour));
        an_demo_sheet_put(sheet, run);
        an_demo_sheet_integer(sheet, key + 1);
        an_demo_sheet_integer(sheet, -50 + key % 6 * 20);
        an_demo_sheet_integer(sheet, -48 + key / 6 * 24);
        an_demo_sheet_number(sheet, wafer_wl + wl->within * an_demo_normal(&random), 2);
        an_demo_sheet_number(sheet, wafer_vf + vf->within * an_demo_normal(&random), 4);
        an_demo_sheet_number(sheet, wafer_flux + f->flux_percent.within * an_demo_normal(&random),
                             2);
        an_demo_sheet_number(sheet, 25.0 + 0.08 * an_demo_normal(&random), 1);
        an_demo_sheet_put(sheet, "PB-1");
        an_demo_sheet_time(sheet, 'I', wafer->at_us + key * 6 * AN_SECOND_US);
        an_demo_sheet_end(sheet);
    }
}

enum an_status an_demo_write_wafer_test(struct an_demo_output *output, struct an_error *err)
{
    const struct an_demo_plan *const plan = output->plan;
    struct an_demo_sheet sheet = {0};
    enum an_status st = AN_OK;
    size_t next = 0;
    for (size_t s = 0; s < plan->shift_count && st == AN_OK; s++) {
        an_demo_sheet_start(&sheet, '\t', '.', "\r\n", plan->zone);
        an_demo_sheet_line(&sheet, wafer_header);
        while (next < plan->wafer_count && plan->wafers[next].at_us < plan->shifts[s].until_us) {
            write_wafer(plan, &plan->wafers[next], next, &sheet);
            next++;
        }
        st = an_demo_output_shift(output, AN_DEMO_WAFER_TEST, &plan->shifts[s], &sheet, err);
    }
    an_demo_sheet_free(&sheet);
    return st;
}

static void write_one_carrier(const struct an_demo_plan *plan,
                              const struct an_demo_carrier *carrier, size_t index,
                              struct an_demo_sheet *sheet)
{
    struct an_demo_random random = an_demo_plan_random(plan, AN_DEMO_CARRIER, index);
    const struct an_demo_figure *const layer = &an_demo_figures.layer_um;
    const double mean = layer->mean + layer->between * an_demo_normal(&random);
    char batch[24];
    (void)snprintf(batch, sizeof batch, "PREP-%03zu", (1 + index / 12) % 1000);
    for (int site = 0; site < AN_DEMO_LAYER_SITES; site++) {
        an_demo_sheet_put(sheet, carrier->serial);
        an_demo_sheet_put(sheet, plan->wafers[carrier->wafer].serial);
        an_demo_sheet_letter(sheet, an_demo_colour_letter(carrier->colour));
        an_demo_sheet_integer(sheet, site + 1);
        an_demo_sheet_number(sheet, mean + layer->within * an_demo_normal(&random), 3);
        an_demo_sheet_number(sheet, 410.0 + 4.0 * an_demo_normal(&random), 0);
        an_demo_sheet_put(sheet, batch);
        an_demo_sheet_time(sheet, 'R', carrier->at_us + site * 12 * AN_SECOND_US);
        an_demo_sheet_end(sheet);
    }
}

enum an_status an_demo_write_carrier(struct an_demo_output *output, struct an_error *err)
{
    const struct an_demo_plan *const plan = output->plan;
    struct an_demo_sheet sheet = {0};
    enum an_status st = AN_OK;
    size_t next = 0;
    for (size_t s = 0; s < plan->shift_count && st == AN_OK; s++) {
        an_demo_sheet_start(&sheet, ',', '.', "\n", plan->zone);
        an_demo_sheet_line(&sheet, carrier_header);
        while (next < plan->carrier_count &&
               plan->carriers[next].at_us < plan->shifts[s].until_us) {
            write_one_carrier(plan, &plan->carriers[next], next, &sheet);
            next++;
        }
        st = an_demo_output_shift(output, AN_DEMO_CARRIER, &plan->shifts[s], &sheet, err);
    }
    an_demo_sheet_free(&sheet);
    return st;
}
