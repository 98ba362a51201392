/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Invented shifts for drawing without a store: a small line, streams with a known story, as much
 * or as little of everything as a test asks for. Deterministic.
 */
#ifndef AN_TEST_REPORT_SUPPORT_H
#define AN_TEST_REPORT_SUPPORT_H

#include "report/compose.h"
#include "report/period_data.h"

struct invented { /* how much of what */
    size_t signals, quiet_streams;
    bool no_limits;  /* nothing is judged */
    bool no_samples; /* the shift is empty */
    bool long_names; /* titles and serials far longer than there is room for */
    bool nothing;    /* an empty store */
    bool all_well;   /* nothing held, silent, missing or due */
    size_t items;    /* carrying items of the first signal */
};

struct an_line *invented_line(void); /* the caller's, to close */
/* Everything lives in the arena, the line excepted. */
struct an_period_data *invented_shift(struct an_arena *arena, const struct an_line *line,
                                      const struct an_report_definition *definition,
                                      const struct invented *how);
/* A path in a new folder of its own; remove_folder() takes both away. */
char *fresh_path(struct an_arena *arena, const char *name);
void remove_folder(const char *path);
/* Whole file in the arena, NUL-terminated. NULL: there is none. */
char *whole_file(struct an_arena *arena, const char *path, size_t *length);
/* The PDF's text as pdftotext (poppler) gives it, page `page` or all (0); NULL: no such tool. */
char *pdf_text(struct an_arena *arena, const char *path, int page);
int pdf_pages(const char *path); /* as pdfinfo (poppler) counts them; -1: no such tool */
#endif
