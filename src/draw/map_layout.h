/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where everything on a map stands, as plain numbers: made by map_layout.c, drawn by map_draw.c,
 * looked into by the tests. Lengths are points on the page.
 */
#ifndef AN_DRAW_MAP_LAYOUT_H
#define AN_DRAW_MAP_LAYOUT_H

#include "andamento/base/memory.h"
#include "andamento/draw/map_panel.h"

#define AN_MAP_TYPE_PT 7.0
#define AN_MAP_KEY_PT 24.0 /* height of the key's classes with their bounds */
#define AN_MAP_RING_PT 11.0
enum { AN_MAP_CLASSES = 6, AN_MAP_DIFFERENCES = 7 /* odd: one in the middle */ };

struct an_map_place {
    struct an_box box;
    const struct an_map_cell *cell; /* NULL: no cell was given for it */
    int tone;                       /* class, -1 none */
};
struct an_map_bar {
    struct an_box box; /* thickness 0: no value */
    const struct an_map_seam *seam;
    bool upright;
};

struct an_map_layout {
    struct an_arena *arena;
    struct an_box grid; /* all places, outer edges */
    int64_t rows, columns;
    double cell_width, cell_height, gap;
    struct an_map_place *places; /* row by row */
    struct an_map_bar *bars;
    size_t bar_count;
    int classes;
    double low, high;      /* ends of the scale, low < high; NAN: no values */
    double seam_high;      /* NAN: no seam has a value */
    double arrow_high;     /* the same of arrows */
    double arrow_pt;       /* length of that arrow */
    double number_pt;      /* size of the numbers in cells; 0: they do not fit */
    bool counts;           /* counts stand in frames; else a ring says that there is one */
    bool labels;           /* there is room for them too */
    bool names;            /* of rows and columns */
    int64_t name_every[2]; /* every so many-th row, column is named */
    double title_height, key_height, used; /* height of all */
};

/* AN_NO_MEMORY. A grid of no or too many places, or a box too small: rows and columns are 0. */
AN_CHECKED enum an_status an_map_lay(struct an_canvas *canvas, struct an_arena *arena,
                                     const struct an_box *box, const struct an_map *map,
                                     struct an_map_layout *layout);
/* Class of a value on the layout's scale: 0 is the darkest, or of differences the lowest; -1 none. */
int an_map_class(const struct an_map_layout *layout, double value);
/* Lower bound of a class; that of `classes` is the scale's upper end. */
double an_map_bound(const struct an_map_layout *layout, int class_no);
/* As the map writes its values. NULL: out of memory. */
const char *an_map_number(struct an_arena *arena, double value, int decimals);
bool an_map_has_unit(const char *unit);

#endif
