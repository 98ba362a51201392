/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A report from a store to a PDF: read the definition, gather, compose. Responsible for the order of
 * these three, and for which period is compared with which.
 */
#include "report/report.h"

#include "report/compose.h"
#include "report/definition.h"
#include "report/period_data.h"

static enum an_status set_periods(struct an_report_options *options, enum an_report_kind kind,
                                  struct an_period now, struct an_period before,
                                  struct an_arena *arena, struct an_error *err)
{
    options->kind = kind;
    options->now = now;
    options->before = before;
    options->now.label = an_arena_printf(arena, "%s", now.label);
    if (before.label) {
        options->before.label = an_arena_printf(arena, "%s", before.label);
    }
    return options->now.label && (!before.label || options->before.label)
               ? AN_OK
               : an_fail(err, AN_NO_MEMORY, "out of memory");
}

enum an_status an_report_of_shift(const struct an_line *line, const struct an_shift *shift,
                                  struct an_arena *arena, struct an_report_options *options,
                                  struct an_error *err)
{
    const struct an_shift last = an_line_shift_before(line, shift);
    char label[64];
    char before_label[64];
    const struct an_period now = {shift->from_us, shift->until_us,
                                  an_line_shift_label(line, shift, label)};
    struct an_period before = {last.from_us, last.until_us, NULL};
    if (last.from_us < shift->from_us) {
        before.label = an_line_shift_label(line, &last, before_label);
    }
    return set_periods(options, AN_REPORT_SHIFT, now, before, arena, err);
}

enum an_status an_report_of_week(const struct an_line *line, const struct an_week *week,
                                 struct an_arena *arena, struct an_report_options *options,
                                 struct an_error *err)
{
    const struct an_week last = an_line_week_before(line, week);
    char label[16];
    char before_label[16];
    const struct an_period now = {week->from_us, week->until_us, an_line_week_label(week, label)};
    const struct an_period before = {last.from_us, last.until_us,
                                     an_line_week_label(&last, before_label)};
    return set_periods(options, AN_REPORT_WEEK, now, before, arena, err);
}

enum an_status an_report_write(struct an_store *store, const struct an_line *line,
                               const struct an_report_options *options,
                               struct an_report_result *result, struct an_error *err)
{
    struct an_report_definition definition = {0};
    struct an_period_data data = {0};
    int pages = 0;
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    const bool own = !options->definition.length;
    enum an_status st = an_report_definition_read(
        own ? an_report_definition_own(options->kind) : options->definition,
        own ? an_report_definition_name(options->kind) : options->definition_name, arena,
        &definition, err);
    if (!st && definition.kind != options->kind) {
        st = an_fail(err, AN_BAD_CONFIG, "%s: this defines another report; write 'report: %s'",
                     options->definition_name ? options->definition_name : "definition",
                     an_report_word(options->kind));
    }
    if (!st) {
        st = an_period_gather(store, line, options, &definition, arena, &data, err);
    }
    if (!st) {
        st = an_report_compose(&data, options->path, options->paper ? options->paper : &an_paper_a4,
                               &pages, err);
    }
    if (!st && result) {
        *result = (struct an_report_result){.pages = pages,
                                            .signals = data.signal_count,
                                            .streams = data.sheet_count,
                                            .samples = data.samples};
    }
    an_arena_close(arena);
    return st;
}
