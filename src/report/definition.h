/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a report definition (reports/shift.yaml, week.yaml, wall.yaml, batch.yaml, tile.yaml) says: which pages, in which order, with which
 * sections. Plain structs in the caller's arena; nothing in them changes after reading.
 */
#ifndef AN_REPORT_DEFINITION_H
#define AN_REPORT_DEFINITION_H

#include "andamento/base/bytes.h"
#include "andamento/base/memory.h"
#include "andamento/base/status.h"

#include <stddef.h>

enum an_report_kind {
    AN_REPORT_SHIFT,
    AN_REPORT_WEEK,
    AN_REPORT_WALL, /* on one item, as those below */
    AN_REPORT_BATCH,
    AN_REPORT_TILE,
    AN_REPORT_KIND_COUNT
};

enum an_report_page_kind {
    AN_PAGE_FRONT,
    AN_PAGE_STREAMS,
    AN_PAGE_QUIET,
    AN_PAGE_INTAKE,
    AN_PAGE_CAPABILITY, /* of a week only, as those below */
    AN_PAGE_YIELD,
    AN_PAGE_VALUES, /* of one item only, as those below */
    AN_PAGE_MADE_OF,
    AN_PAGE_CARRIED,
    AN_PAGE_PICTURES,
    AN_PAGE_SITES,
    AN_PAGE_SIGNALS,
    AN_PAGE_SOURCES,
    AN_PAGE_KIND_COUNT
};
enum an_report_section_kind {
    AN_SECTION_CHANGED,
    AN_SECTION_AT_RISK,
    AN_SECTION_MISSING,
    AN_SECTION_DUE,
    AN_SECTION_AGAINST_LAST, /* of a week only, as those below */
    AN_SECTION_CAPABILITY,
    AN_SECTION_YIELD,
    AN_SECTION_DEFECTS,
    AN_SECTION_DRIFTS,
    AN_SECTION_LIMITS,
    AN_SECTION_OPEN,
    AN_SECTION_COMPLETENESS,
    AN_SECTION_GAUGES,
    AN_SECTION_MAP, /* of one item only, as those below */
    AN_SECTION_MADE_OF,
    AN_SECTION_TOUCHED,
    AN_SECTION_REPAIRS,
    AN_SECTION_SHARED,
    AN_SECTION_LACKING,
    AN_SECTION_FACTS,
    AN_SECTION_CARRIED,
    AN_SECTION_BEGAN,
    AN_SECTION_NEIGHBOURS,
    AN_SECTION_KIND_COUNT
};

struct an_report_section {
    enum an_report_section_kind kind;
    const char *title;
    size_t most; /* of changed: signals shown with a chart; of the lists of a week: rows */
};
struct an_report_page {
    enum an_report_page_kind kind;
    const char *title;
    struct an_report_section sections[AN_SECTION_KIND_COUNT]; /* of front */
    size_t section_count;
    const char *cautions[8]; /* of front */
    size_t caution_count;
    size_t most,
        columns; /* most of streams: pages, of intake: notes; of quiet: charts side by side */
};
/* What a report on a wall may be told of its tiles, as files do not hold it; 0: not told. */
struct an_tile_told {
    double pixels_across, pixels_down, colours, pitch_mm, emitter_long_um, emitter_wide_um;
};
struct an_report_definition {
    enum an_report_kind kind;
    const char *title;
    size_t context, days_before, few_samples;
    struct an_report_page pages[AN_PAGE_KIND_COUNT];
    size_t page_count;
    /* of one item: NULL: chosen from what the description declares (src/report/item_choice.c) */
    const char *picture;                 /* stream whose value is an item's picture */
    const char *seam_right, *seam_below; /* characteristics "station.name" */
    const char *repair;                  /* station */
    size_t average;                      /* items of which the line's average map is made */
    struct an_tile_told tile;
};

/*
 * Reads and checks a definition. The first mistake is told as "name:line:column: what is wrong,
 * and what would be right", with its place in *err.
 * AN_BAD_CONFIG, AN_NO_MEMORY.
 */
AN_CHECKED enum an_status an_report_definition_read(struct an_bytes yaml, const char *name,
                                                    struct an_arena *arena,
                                                    struct an_report_definition *definition,
                                                    struct an_error *err);
/* The program's own, built in. */
struct an_bytes an_report_definition_own(enum an_report_kind kind);
const char *an_report_definition_name(enum an_report_kind kind); /* "reports/shift.yaml" */
const char *an_report_word(enum an_report_kind kind);            /* "shift" */

#endif
