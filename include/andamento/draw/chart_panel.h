/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The control chart: a value axis whose scale is the limits, rails with hooks, white gutters
 * between phases, a signal lane, a note lane, a ribbon of upstream batches, shift marks along the
 * top, and a side view. Plain data in, marks out; decides nothing about statistics.
 */
#ifndef ANDAMENTO_DRAW_CHART_PANEL_H
#define ANDAMENTO_DRAW_CHART_PANEL_H

#include "andamento/base/instant.h"
#include "andamento/draw/canvas.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_plot_point {
    int64_t at_us;
    double value;        /* NAN: not plotted, line breaks */
    double upper, lower; /* both sums of a chart of sums, see an_plot.sums; value is one of them */
    double centre, lcl, ucl; /* limits that hold for this point; NAN none */
    size_t phase;       /* number of its limits' revision; line and rails break where it changes */
    bool excluded;      /* open ring with a slash */
    bool gap_before;    /* the line breaks */
    bool anew;          /* a tool was changed: line and rails break, as its limits begin again */
    bool flagged;       /* the point at which a one-point rule signalled: solid square */
    bool in_run;        /* part of a run that signalled: ringed */
    const char *ribbon; /* upstream batch, or NULL */
    int note;           /* circled number, 0 none */
};

/* A bar in the signal lane from point first to point last (one point: a stem and a flag). */
struct an_plot_signal {
    size_t first, last;
    const char *code;
};

struct an_plot_shift {
    int64_t from_us;
    const char *label; /* "night"; drawn where it fits */
    bool first_of_day; /* its date is drawn too */
    const char *date;
};

struct an_plot_onset {
    bool present;
    double at, earliest, latest; /* in point indexes */
};

struct an_side_view { /* distribution of single readings beside the plot */
    const double *values;
    size_t count;
    double lsl, usl, target; /* fence; NAN none */
};

struct an_plot {
    const char *title; /* "mean of 24 sites, cd/m2" */
    const char *unit;
    int decimals;
    const struct an_plot_point *points;
    size_t count;
    const struct an_plot_signal *signals;
    size_t signal_count;
    const struct an_plot_shift *shifts; /* in order; first may start before the first point */
    size_t shift_count;
    /* One for each different phase number, in the order in which the points meet them: "P2 locked
     * 4 March, L. Brandt". The first word stands on the black tab, the rest beside it. */
    const char **phase_labels;
    size_t phase_label_count;
    struct an_plot_onset onset;
    const struct an_side_view *side; /* NULL: none */
    const char *ribbon_title;        /* "wafer"; NULL: no ribbon */
    double lsl, usl, target;         /* fence on the plot itself: only for charts of single
                                         readings; NAN for averages */
    const char *const *notes;        /* text of each numbered note */
    size_t note_count;
    bool small;     /* small multiple: title, rails, dots, flags only */
    bool x_by_time; /* false: points evenly spaced, times labelled */
    /* Equal distances are equal ratios: for waiting times and other values that lie decades apart.
     * Numbers have three digits instead of `decimals`; what is not above 0 lies off the scale. */
    bool ratios;
    bool sums; /* two lines, through the upper and the lower of each point; marks stand at value */
    /* The clock of the times along the bottom, drawn where no shift mark can be read. NULL: UTC,
     * and the chart says so. */
    const struct an_zone *zone;
    /* Least distance of the plotted area from the box's sides, so that charts under each other
     * share their axis; 0: as the texts need. A side view stands inside the right one. */
    double left_pt, right_pt;
};

/* Draws inside the box; nothing goes outside. Returns the height really used: all of the box's, for
 * the plot takes what the rows around it leave. Elements give way in a box too small for them, the
 * plot last; 120 pt of height hold all of a common chart, 60 pt a small one. Numbers that are not
 * finite are left out; indexes beyond the points are cut or ignored. Points are in order of time.
 */
double an_plot_draw(struct an_canvas *canvas, const struct an_box *box, const struct an_plot *plot);

#endif
