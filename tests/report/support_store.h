/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A small store filled as intake would: two stations, a tile every 20 minutes for three days, tiles
 * built into walls, one step of known size at a known tile. Truth is known by construction.
 */
#ifndef AN_TEST_REPORT_SUPPORT_STORE_H
#define AN_TEST_REPORT_SUPPORT_STORE_H

#include "judge/judge.h"
#include "line/line.h"

enum { MILL_TILES = 216, MILL_BASELINE = 120 };

struct mill {
    struct an_arena *arena;
    struct an_line *line;
    struct an_store *store;
    char *path;
    int64_t start_us;   /* of the first tile */
    int64_t step_us;    /* of the first tile after the step */
    size_t step_at;     /* its index; MILL_TILES: there is no step */
    size_t tiles_after; /* from the step on */
    size_t in_walls;    /* of those, built into a wall */
    struct an_error err;
};

/* step_at MILL_TILES: none. Limits of `edge` are learned from the first MILL_BASELINE tiles,
 * locked and checked; `haze` has none. */
void mill_open(struct mill *mill, size_t step_at);
/* The store alone: a line description, no samples. */
void mill_open_empty(struct mill *mill);
void mill_close(struct mill *mill);
/* A file held whole, and one with rows held in the shift of the step. */
void mill_add_trouble(struct mill *mill);
struct an_shift mill_shift(const struct mill *mill, const char *label);

#endif
