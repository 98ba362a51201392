/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Maps: a grid of cells with one value each. A wall's tiles with seams between them; the sites of one
 * tile with arrows and spots over them; small ones side by side. Plain data in, marks out; knows
 * nothing of where the values come from.
 *
 * The value of a cell is its tint, in classes with a key, so that it is read in grey: the larger
 * the lighter, as a lit surface is. A map of differences has nothing in its middle class, more is
 * tinted plain, less is tinted and hatched. Numbers stand in the cells where they fit.
 */
#ifndef ANDAMENTO_DRAW_MAP_PANEL_H
#define ANDAMENTO_DRAW_MAP_PANEL_H

#include "andamento/draw/canvas.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define AN_MAP_MOST_LINES 1000 /* rows, and columns, of a map; beyond it nothing is drawn */

enum an_map_mark {                  /* of a cell; several may be set */
                   AN_MAP_HOLE = 1, /* nothing is there: dashed, crossed */
                   AN_MAP_OPEN =
                       2, /* something is open on it: filled flag in the upper right corner */
                   AN_MAP_CHOSEN = 4, /* heavy frame */
                   AN_MAP_BEYOND =
                       8 /* its value is beyond a limit: inner frame in the signal's ink */
};

struct an_map_cell {
    int64_t row, column;
    double value;      /* NAN: none; the cell stays paper with a dot */
    const char *label; /* under the number, where it fits; NULL none */
    unsigned marks;    /* of enum an_map_mark */
    int64_t
        count; /* shown framed in the upper left corner, a ring where it does not fit; 0: none */
};

/* The seam between (row, column) and the cell below it, or the one to the right of it. */
struct an_map_seam {
    int64_t row, column;
    bool below;
    double value; /* its amount is the bar's thickness; NAN: none, a dotted line */
    bool beyond;  /* in the signal's ink */
};

struct an_map_arrow { /* from the middle of a place; x to the right, y upward */
    double row, column;
    double dx, dy;
};
struct an_map_spot { /* a defect; place in the map's rows and columns, fractions allowed */
    double row, column;
};

struct an_map {
    const char *title, *unit; /* unit NULL or "1": none */
    int decimals;
    int64_t first_row, last_row, first_column, last_column;
    const struct an_map_cell *cells;
    size_t cell_count;
    double low, high; /* ends of the scale; NAN: those of the values */
    bool difference;  /* the scale is about zero, -high to high */
    const struct an_map_seam *seams;
    size_t seam_count;
    const char *seam_words, *seam_unit; /* for the key; words NULL: "seam" */
    int seam_decimals;
    double seam_high; /* that has the thickest bar; NAN: the largest */
    const struct an_map_arrow *arrows;
    size_t arrow_count;
    const char *arrow_unit;
    double arrow_high; /* that is as long as 0.6 of a cell's side; NAN: the largest */
    const struct an_map_spot *spots;
    size_t spot_count;
    const char *spot_words, *count_words, *open_words,
        *beyond_words; /* for the key; NULL: left out */
    double aspect;     /* width of a cell over its height; 0: between 1 and 2, as the box suits */
    bool small; /* title, tints, holes, arrows and spots only: no words in it, no other marks */
};

/* Draws inside the box and returns the height used. What finds no room gives way: labels first, then
 * numbers, then names of rows and columns. Cells outside the grid are left out, of two at one place
 * the later one is shown. */
double an_map_draw(struct an_canvas *canvas, const struct an_box *box, const struct an_map *map);

/* The scale alone, for small maps that share one: a line of classes with their bounds. Height. */
double an_map_key_draw(struct an_canvas *canvas, const struct an_box *box,
                       const struct an_map *map);

#endif
