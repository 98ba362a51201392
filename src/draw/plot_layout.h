/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where everything on a control chart stands, as plain numbers: made by plot_layout.c and its
 * neighbours, drawn by plot_draw.c, looked into by the tests. Lengths are points on the page.
 */
#ifndef AN_DRAW_PLOT_LAYOUT_H
#define AN_DRAW_PLOT_LAYOUT_H

#include "andamento/base/memory.h"
#include "andamento/draw/chart_panel.h"

#define AN_PLOT_TYPE_PT 7.0
#define AN_PLOT_LANE_PT 10.5 /* height of a row of the signal and note lanes */
#define AN_PLOT_FLAG_PT 9.0  /* height of a flag or bar in its row */
#define AN_PLOT_RIBBON_PT 10.0
#define AN_PLOT_NOTE_PT 10.0 /* diameter of a circled number */
#define AN_PLOT_BAND_PT 10.0 /* room at an edge for arrows to values off the scale */

#define AN_PLOT_INSET_PT 6.0 /* from the frame's sides to its outer points */
enum { AN_PLOT_ROUNDS = 5 };

struct an_plot_scale {
    double low, high;     /* values at the lower and the upper end; low < high, finite */
    double y_low, y_high; /* where they stand; y_high above y_low on the page */
    bool empty;           /* there was nothing to make a scale for */
    bool ratios;          /* logarithmic; low > 0 */
};

struct an_plot_words { /* one line of text */
    double x, baseline, width;
    enum an_align align; /* x is its left, middle or right */
    enum an_weight weight;
    enum an_ink ink;
    const char *text;
};

struct an_plot_segment { /* points under one revision of the limits */
    size_t first, last;
    double x0, x1;    /* where its rails begin and end */
    const char *tab;  /* "P2"; NULL: no tab */
    const char *text; /* the rest of its label */
    struct an_box tab_box;
    double text_width; /* room for the text right of the tab; 0 none */
};

enum an_plot_side { AN_LOWER = -1, AN_MIDDLE = 0, AN_UPPER = 1 };
struct an_plot_rail { /* a limit over a stretch of points, from left to right */
    enum an_plot_side side;
    bool stepped; /* it varies from point to point */
    size_t count; /* vertices, two or more */
    double *x, *y;
};

struct an_plot_fence {
    enum an_plot_side side; /* AN_MIDDLE: the target, without teeth */
    double value, y;        /* y NAN: off the scale */
};

struct an_plot_label {         /* a value in the right margin */
    double value, wanted_y, y; /* middle of the text */
    double value_width;
    const char *text, *name; /* "12.34", "ucl" */
    enum an_ink ink;
    int rank; /* lower is kept first when there is no room */
    bool shown;
};

struct an_plot_item { /* a flag or a bar in the signal lane */
    bool run;
    size_t first, last;
    int row;               /* from 0; -1: no room */
    double x0, x1;         /* all that it occupies */
    double bar_x0, bar_x1; /* the flag or the bar itself */
    double text_x;         /* left end of the code */
    const char *code;      /* with "×3" when three flags were joined */
};
struct an_plot_stem {
    size_t point, item;
};
struct an_plot_note_mark {
    size_t point;
    int number, row;
    double x;
};
struct an_plot_block { /* one batch in the ribbon */
    size_t first, last;
    double x0, x1;
    const char *name; /* NULL: not known */
    bool pale, named;
};
struct an_plot_tick {
    double x;
    bool day; /* the longer one */
};
struct an_plot_bin {
    double value_low, value_high;
    size_t count;
    struct an_box box;
};
struct an_plot_arrow { /* a value off the scale */
    size_t point;
    bool up, with_text;
    const char *text;
    double text_width;
};

enum an_plot_mark { AN_NO_MARK, AN_DOT, AN_RUN_DOT, AN_SQUARE, AN_SLASHED };

struct an_plot_layout {
    struct an_arena *arena; /* all arrays live here */
    struct an_box box;      /* what was given */
    struct an_box frame;    /* where values are plotted, bands for arrows included */
    struct an_plot_scale scale;
    bool small, bare; /* bare: there is room for a title only */

    size_t count;
    double *x, *y;           /* of each point; y NAN: no value; at the edge if off the scale */
    enum an_plot_mark *mark; /* AN_NO_MARK: no value, or thinned out */
    double dot_pt;
    double *link_x, *link_y; /* the line from point to point; NAN y breaks it */
    size_t link_count;
    bool crowded; /* thinned out: the link line is pale, lest it be a solid block */

    struct an_plot_segment *segments;
    size_t segment_count;
    struct an_plot_rail *rails;
    size_t rail_count;
    struct an_plot_fence fences[3];
    size_t fence_count;
    struct an_plot_label labels[6];
    size_t label_count;
    double label_x;
    struct an_plot_arrow *arrows;
    size_t arrow_count;

    struct an_plot_words *words; /* title, round numbers, dates, shifts, times, row names */
    size_t word_count, word_room;
    struct an_plot_tick *ticks;
    size_t tick_count;
    double tick_length, day_length; /* of a shift, of a day: as high as the rows of their names */
    bool ticks_on_top;
    const char *last_value;       /* of a small chart, beside its title; NULL: none */
    double round[AN_PLOT_ROUNDS]; /* round numbers to the left, and little ticks at them */
    const char *round_text[AN_PLOT_ROUNDS];
    double *round_y;
    size_t round_count;

    struct an_plot_item *items;
    size_t item_count;
    struct an_plot_stem *stems;
    size_t stem_count;
    size_t hidden_items;        /* found no row; their number is told */
    struct an_box hidden_paper; /* under that number in a small chart; width 0 none */
    int lane_rows;
    double lane_y;
    struct an_plot_note_mark *notes;
    size_t note_count;
    int note_rows;
    double note_y;
    struct an_plot_block *blocks;
    size_t block_count;
    double ribbon_y;
    double onset_y; /* the axis its caret points at; NAN: none */
    double onset_x, onset_x0, onset_x1;
    double times_baseline; /* 0: no times */
    double note_text_y;
    size_t note_texts; /* how many of the notes' texts find room */

    struct an_box side; /* width 0: none */
    struct an_plot_bin *bins;
    size_t bin_count, side_above, side_below; /* readings off the scale */
    struct an_plot_fence side_fences[3];
    size_t side_fence_count;
    struct an_plot_label side_labels[3];
    size_t side_label_count;
    double side_label_x;
};

/* Fills *layout; arena gives its memory. canvas measures text. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_plot_lay(struct an_canvas *canvas, struct an_arena *arena,
                                      const struct an_box *box, const struct an_plot *plot,
                                      struct an_plot_layout *layout);

/* --- parts of it, each in its own file; false: memory is out --- */

struct an_plot_rows { /* which optional rows there are */
    bool tabs, shifts, onset, ribbon;
    int lane, notes; /* most rows of each */
    bool texts;      /* of the notes, under the chart */
};
/* Gathers what stands in the margins and cuts the frame's x and width from the box. */
bool an_plot_cut_margins(struct an_canvas *canvas, const struct an_plot *plot,
                         const struct an_plot_rows *rows, struct an_plot_layout *layout);
/* Their texts, once all rows have their heights. */
bool an_plot_say_margins(struct an_canvas *canvas, const struct an_plot *plot,
                         const struct an_plot_rows *rows, struct an_plot_layout *layout);
void an_plot_place_labels(const struct an_plot_layout *layout, struct an_plot_label *labels,
                          size_t n);
void an_plot_place_fence(const struct an_plot_layout *layout, double lsl, double usl, double target,
                         struct an_plot_fence *fences, size_t *n);

/* x of the points and of the ends of the segments. */
void an_plot_place_points(const struct an_plot *plot, struct an_plot_layout *layout);
/* The scale's ends on the page, y of the points, marks, arrows and the link line. */
bool an_plot_scale_points(struct an_canvas *canvas, const struct an_plot *plot,
                          struct an_plot_layout *layout);

/* low, high and empty only. false: memory is out. */
bool an_plot_scale_choose(struct an_arena *arena, const struct an_plot *plot,
                          struct an_plot_scale *scale);
double an_plot_y(const struct an_plot_scale *scale, double value);
/* At most `most` round numbers strictly inside the scale, ascending; returns how many, and the
 * decimals they need (0 of ratios, whose numbers are written by their digits). */
size_t an_plot_round_numbers(const struct an_plot_scale *scale, size_t most, double *numbers,
                             int *decimals);

/* A number for a reader: fixed decimals, true minus sign, powers of ten where it is huge. In the
 * arena; NULL when memory is out. */
const char *an_plot_number(struct an_arena *arena, double value, int decimals);
/* The same by three significant digits, thousands parted: "5,410,000", "0.00209". */
const char *an_plot_digits(struct an_arena *arena, double value);
/* As this chart writes its values. */
const char *an_plot_value(struct an_arena *arena, const struct an_plot *plot, double value);

/* Where an index between points, or an instant, stands on the page. */
double an_plot_x_at(const struct an_plot_layout *layout, double index);
double an_plot_x_of(const struct an_plot_layout *layout, const struct an_plot *plot,
                    int64_t at_us); /* NAN: before the first or after the last point */

bool an_plot_lay_signals(struct an_canvas *canvas, const struct an_plot *plot, int most_rows,
                         struct an_plot_layout *layout);
bool an_plot_lay_notes(const struct an_plot *plot, int most_rows, struct an_plot_layout *layout);
bool an_plot_lay_ribbon(struct an_canvas *canvas, const struct an_plot *plot,
                        struct an_plot_layout *layout);
/* Ticks, dates and names along the top: baselines 0 and 1 row below y_top. *rows: 0, 1 or 2. */
bool an_plot_lay_shifts(struct an_canvas *canvas, const struct an_plot *plot, double y_top,
                        int *rows, struct an_plot_layout *layout);
bool an_plot_lay_times(struct an_canvas *canvas, const struct an_plot *plot, double baseline,
                       struct an_plot_layout *layout);
/* Moves labels apart inside [top, bottom], hiding those of the highest rank if they do not fit. */
void an_plot_spread_labels(struct an_plot_label *labels, size_t n, double top, double bottom,
                           double pitch);
bool an_plot_lay_side(const struct an_plot *plot, struct an_plot_layout *layout);
bool an_plot_lay_rails(const struct an_plot *plot, struct an_plot_layout *layout);

/* The baseline of chart text whose capitals stand centred on y. */
double an_plot_baseline(double y);
/* Adds a line of text; false when memory is out. */
bool an_plot_say(struct an_plot_layout *layout, double x, double baseline, enum an_align align,
                 enum an_weight weight, enum an_ink ink, const char *text);

#endif
