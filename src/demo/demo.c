/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The demonstration line, as a whole: plan, faults, station files, truth, description.
 *
 * Responsible for: their order. Must never write into a folder that holds anything. The
 * description comes last, so that a folder with line.yaml in it is a finished one.
 */
#include "demo/demo.h"

#include "andamento/base/memory.h"
#include "andamento/base/output_file.h"
#include "demo/demo_description.h"
#include "demo/faults.h"
#include "demo/stations.h"
#include "demo/truth.h"

#define USUAL_SEED UINT64_C(20260302)

static enum an_status write_text(struct an_demo_output *output, const char *name,
                                 const struct an_text *text, struct an_error *err)
{
    struct an_text path = {0};
    struct an_output_file *file = NULL;
    an_text_addf(&path, "%s/%s", output->folder, name);
    enum an_status st = AN_OK;
    if (path.failed || text->failed) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory while writing '%s'", name);
        goto done;
    }
    st = an_output_file_open(an_text_of(&path), &file, err);
    if (st) {
        goto done;
    }
    (void)an_output_file_write(file, an_text_of(text), text->length); /* told again by commit */
    st = an_output_file_commit(file, err);
    if (st == AN_OK) {
        output->files++;
        output->bytes += (int64_t)text->length;
    }
done:
    an_text_free(&path);
    return st;
}

typedef enum an_status station_writer(struct an_demo_output *output, struct an_error *err);
static station_writer *const writers[AN_DEMO_STATION_COUNT] = {
    [AN_DEMO_WAFER_TEST] = an_demo_write_wafer_test,
    [AN_DEMO_CARRIER] = an_demo_write_carrier,
    [AN_DEMO_TRANSFER] = an_demo_write_transfer,
    [AN_DEMO_INSPECTION] = an_demo_write_inspection,
    [AN_DEMO_REPAIR] = an_demo_write_repair,
    [AN_DEMO_EDGE] = an_demo_write_edge,
    [AN_DEMO_LUMINANCE] = an_demo_write_luminance,
    [AN_DEMO_ASSEMBLY] = an_demo_write_assembly,
};

static enum an_status write_all(struct an_demo_output *output, const struct an_demo_fault faults[],
                                size_t fault_count, struct an_error *err)
{
    struct an_text truth = {0}, description = {0};
    enum an_status st = an_demo_output_folders(output, err);
    for (int s = 0; s < AN_DEMO_STATION_COUNT && st == AN_OK; s++) {
        st = writers[s](output, err);
    }
    if (st == AN_OK) {
        an_demo_truth(&truth, output, faults, fault_count);
        st = write_text(output, "truth.json", &truth, err);
    }
    if (st == AN_OK) {
        an_demo_description(&description);
        st = write_text(output, "line.yaml", &description, err);
    }
    an_text_free(&truth);
    an_text_free(&description);
    return st;
}

enum an_status an_demo_write(const struct an_demo_options *options, struct an_demo_result *result,
                             struct an_error *err)
{
    struct an_demo_plan plan = {0};
    struct an_demo_fault faults[AN_DEMO_MOST_FAULTS];
    size_t fault_count = 0;
    *result = (struct an_demo_result){0};
    enum an_status st =
        an_demo_plan_open(options->seed ? options->seed : USUAL_SEED,
                          options->days ? options->days : 14, options->quiet_line, &plan, err);
    if (st) {
        return st;
    }
    st = an_demo_faults_seed(&plan, faults, &fault_count, err);
    if (st == AN_OK) {
        an_demo_plan_counts(&plan);
        struct an_demo_output output = an_demo_output_to(&plan, options->folder);
        st = write_all(&output, faults, fault_count, err);
        *result = (struct an_demo_result){.files = output.files,
                                          .rows = output.rows,
                                          .bytes = output.bytes,
                                          .description = "line.yaml"};
    }
    an_demo_plan_close(&plan);
    return st;
}
