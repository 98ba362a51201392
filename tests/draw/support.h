/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Invented charts for the tests of this layer, made without chance, and files to draw them into. */
#ifndef AN_TESTS_DRAW_SUPPORT_H
#define AN_TESTS_DRAW_SUPPORT_H

#include "andamento/draw/chart_panel.h"

#include <stdint.h>
#include <stdio.h>

#define SAMPLE_MOST 6000

struct sample { /* a plot and everything it points at */
    struct an_plot plot;
    struct an_plot_point points[SAMPLE_MOST];
    struct an_plot_signal signals[SAMPLE_MOST];
    struct an_plot_shift shifts[128];
    char names[256][16];
    const char *labels[8];
    const char *notes[8];
    struct an_side_view side;
    double readings[20000];
};

/* A pseudo-random number in [0, 1), the same on every machine; and a roughly normal one. */
double sample_uniform(uint64_t *state);
double sample_normal(uint64_t *state);

/* n points around centre with the given sigma, limits at three sigma, one phase, no marks. The
 * caller frees it. */
struct sample *sample_plain(size_t n, double centre, double sigma);
/* Everything at once: two phases, shifts over three days, signals of both kinds, runs, notes,
 * exclusions, a gap, a ribbon, an onset, a side view with a fence, a value off the scale. */
struct sample *sample_full(void);
void sample_free(struct sample *sample);

extern const struct an_document_info sample_info;

/* A path in a folder of this process's own, removed at exit by the caller of scratch_remove(). */
void scratch_open(void);
void scratch_close(void);
const char *scratch_path(const char *name); /* good until the next call but three */
/* The whole file, NUL behind; ends the test if it cannot be read. */
char *read_file(const char *path, size_t *length);

/* A page turned into grey pixels by the PDF renderer of the machine; NULL if there is none. */
struct picture {
    size_t width, height;
    unsigned char *grey; /* 0 black, 255 white */
};
bool rasterise(const char *pdf, int dots_per_inch, struct picture *picture);
void picture_free(struct picture *picture);

#endif
