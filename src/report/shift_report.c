/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The shift report from a store to a PDF: read the definition, gather, compose. Responsible for
 * the order of these three and nothing else.
 */
#include "report/shift_report.h"

#include "report/definition.h"
#include "report/shift_compose.h"
#include "report/shift_data.h"

enum an_status an_shift_report(struct an_store *store, const struct an_line *line,
                               const struct an_shift_report_options *options,
                               struct an_shift_report_result *result, struct an_error *err)
{
    struct an_report_definition definition = {0};
    struct an_shift_data data = {0};
    int pages = 0;
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    const bool own = !options->definition.length;
    enum an_status st = an_report_definition_read(
        own ? an_report_definition_own() : options->definition,
        own ? "reports/shift.yaml" : options->definition_name, arena, &definition, err);
    if (!st) {
        st = an_shift_gather(store, line, options, &definition, arena, &data, err);
    }
    if (!st) {
        st = an_shift_compose(&data, options->path, options->paper ? options->paper : &an_paper_a4,
                              &pages, err);
    }
    if (!st && result) {
        *result = (struct an_shift_report_result){.pages = pages,
                                                  .signals = data.signal_count,
                                                  .streams = data.sheet_count,
                                                  .samples = data.samples};
    }
    an_arena_close(arena);
    return st;
}
