/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One page on a study of a gauge: verdict, readings, bars, numbers, cautions, provenance. Never
 * decides what the study says.
 */
#include "andamento/base/instant.h"
#include "report/gauge_sheet.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const char *an_gauge_text(struct an_gauge_sheet *s, const char *text)
{
    return an_lone_text(&s->lone, text);
}

void an_gauge_heading(struct an_gauge_sheet *s, const char *text)
{
    an_lone_heading(&s->lone, text);
}

void an_gauge_say(struct an_gauge_sheet *s, const struct an_type *type, const char *text)
{
    an_lone_say(&s->lone, type ? type : &an_lone_body, text);
}

static void head(struct an_gauge_sheet *s)
{
    const struct an_gauge_record *record = s->r->record;
    char at[40];
    an_instant_rfc3339_in(s->lone.line->zone, record->known_us, at);
    at[10] = ' '; /* day and minute are enough here */
    at[16] = '\0';
    an_lone_head(
        &s->lone,
        an_gauge_text(s, an_arena_printf(s->lone.arena, "gauge %s, study %lld", record->gauge,
                                         (long long)record->study_id)),
        an_gauge_text(
            s, an_arena_printf(s->lone.arena, "%s study of %zu readings, recorded %s by %s%s%s: %s",
                               an_gauge_kind_name(record->kind), s->r->n, at, record->author,
                               record->signed_key ? ", signed, key " : "",
                               record->signed_key ? record->signed_key : "", record->reason)));
}

static void foot(struct an_gauge_sheet *s)
{
    const struct an_gauge_record *record = s->r->record;
    char hex[65];
    const char *lines[] = {an_arena_printf(s->lone.arena,
                                           "store %s, ledger entry %llu, andamento %s",
                                           s->page->store_name, (unsigned long long)record->entry,
                                           s->page->program_version),
                           an_arena_printf(s->lone.arena, "readings: %s, SHA-256 %s", record->file,
                                           an_sha256_hex(&record->hash, hex)),
                           an_lone_ledger(&s->lone, &s->page->head)};
    an_lone_foot(&s->lone, lines, 3);
}

/* The unit of the stream that gave the tolerance, else the one that all characteristics of the
 * gauge's stations share. NULL: not known, for a file of readings does not tell it. */
static const char *unit_of_study(const struct an_gauge_sheet *s)
{
    const struct an_line *line = s->lone.line;
    const char *stream = s->r->record->stream;
    const char *unit = NULL;

    for (size_t i = 0; i < line->characteristic_count; i++) {
        const struct an_characteristic *c = &line->characteristics[i];
        const struct an_station *station = &line->stations[c->station];
        const size_t length = strlen(station->name);
        const char *rest =
            stream && !strncmp(stream, station->name, length) && stream[length] == '.'
                ? stream + length + 1
                : NULL;
        const size_t name = strlen(c->name);
        if (rest && !strncmp(rest, c->name, name) && (!rest[name] || rest[name] == '@')) {
            return c->unit && strcmp(c->unit, "1") != 0 ? c->unit : NULL;
        }
        if (stream || c->kind != AN_MEASURED || !station->gauge ||
            strcmp(station->gauge, s->r->record->gauge) != 0) {
            continue;
        }
        if (unit && strcmp(unit, c->unit) != 0) {
            return NULL;
        }
        unit = c->unit;
    }
    return unit && strcmp(unit, "1") != 0 ? unit : NULL;
}

static const char *picture_title(struct an_gauge_sheet *s)
{
    const char *unit =
        s->unit ? an_gauge_text(s, an_arena_printf(s->lone.arena, ", %s", s->unit)) : "";
    const char *title = NULL;
    switch (s->r->record->kind) {
    case AN_GAUGE_CROSSED:
        title =
            an_arena_printf(s->lone.arena,
                            "Readings%s: a panel an operator, parts side by side; the stroke is "
                            "the part's mean over all operators",
                            unit);
        break;
    case AN_GAUGE_BIAS:
        title = an_arena_printf(s->lone.arena, "Readings%s, in the order of the file", unit);
        break;
    case AN_GAUGE_LINEARITY:
        title = an_arena_printf(s->lone.arena,
                                "Bias (reading less reference%s) over the reference, with its line "
                                "and 95 %% band",
                                unit);
        break;
    case AN_GAUGE_STABILITY:
        title =
            an_arena_printf(s->lone.arena, "The item's own chart%s, and its bias over time", unit);
        break;
    case AN_GAUGE_SORTING:
        return s->r->standard
                   ? "Answers: a column a part, a row a repeat; framed where not the reference"
                   : "Answers: a column a part, a row a repeat; shade is the category";
    }
    return an_gauge_text(s, title);
}

static void compose(struct an_gauge_sheet *s)
{
    const struct an_gauge_result *r = s->r;
    struct an_type verdict = an_lone_lead;
    verdict.ink = r->grade == AN_GRADE_UNFIT ? AN_SIGNAL : AN_INK;
    head(s);
    foot(s);
    an_gauge_say(
        s, &verdict,
        an_gauge_text(s, an_arena_printf(s->lone.arena, "%s: %s.", r->record->gauge, r->verdict)));
    an_gauge_heading(s, picture_title(s));
    const struct an_box picture = {s->lone.x, s->lone.y, s->lone.width, an_gauge_picture_height(r)};
    bool drawn = an_gauge_picture(s->lone.canvas, r, s->unit, &picture, s->lone.arena);
    s->lone.y += picture.height + 4;
    const double bars = an_gauge_bars_height(r);
    if (bars > 0.0) {
        an_gauge_heading(
            s, r->record->kind == AN_GAUGE_SORTING ? "Shares of parts, with 95 % bounds"
               : r->study.tolerance > 0.0 ? "Per cent of the tolerance (6 sd), with 95 % bounds"
                                          : "Per cent of the study variation, with 95 % bounds "
                                            "where known");
        const struct an_box box = {s->lone.x, s->lone.y, s->lone.width, bars};
        drawn = an_gauge_bars(s->lone.canvas, r, &box, s->lone.arena) && drawn;
        s->lone.y += bars + 4;
    }
    s->lone.failed = s->lone.failed || !drawn;
    an_gauge_numbers(s);
    an_gauge_heading(s, "What to know before relying on it");
    if (r->caution_count == 0) {
        an_gauge_say(s, NULL, "The study itself raised no doubt.");
    }
    for (size_t i = 0; i < r->caution_count; i++) {
        an_gauge_say(s, NULL, r->cautions[i]);
    }
    an_gauge_say(
        s, &an_lone_small,
        "A study tells about the gauge on its days, parts and people. Calibration, release of "
        "product and the safety of the measurement remain with those authorised for them.");
}

enum an_status an_gauge_page_write(const struct an_line *line, const struct an_gauge_result *result,
                                   const struct an_gauge_page *page, struct an_error *err)
{
    struct an_arena *arena = an_arena_open();
    struct an_canvas *canvas = NULL;
    enum an_status st = arena ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
    const char *title = st ? NULL
                           : an_arena_printf(arena, "Gauge %s, study %lld", result->record->gauge,
                                             (long long)result->record->study_id);
    const struct an_document_info info = {.title = title,
                                          .author = result->record->author,
                                          .subject = an_gauge_kind_name(result->record->kind),
                                          .created_us = result->record->known_us};
    st = st ? st : an_canvas_open_pdf(page->path, page->paper, &info, &canvas, err);
    if (!st) {
        struct an_gauge_sheet s = {
            .lone = an_lone_page_of(canvas, line, page->paper, arena), .r = result, .page = page};
        s.unit = unit_of_study(&s);
        an_canvas_expect_pages(canvas, 1);
        compose(&s);
        if (s.lone.failed) {
            an_canvas_abandon(canvas);
            st = an_fail(err, AN_NO_MEMORY, "out of memory while drawing a gauge study");
        } else {
            st = an_canvas_close(canvas, err);
        }
    }
    an_arena_close(arena);
    return st;
}
