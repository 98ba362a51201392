/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a wall comes to, from its rows and columns and what is told of a tile. Pure; any thread. */
#ifndef AN_REPORT_WALL_GEOMETRY_H
#define AN_REPORT_WALL_GEOMETRY_H

#include <stdint.h>

/* Seams between neighbours of a full array: rows (columns - 1) + columns (rows - 1). */
int64_t an_wall_seam_count(int64_t rows, int64_t columns);
/* Places where four tiles meet. */
int64_t an_wall_corner_count(int64_t rows, int64_t columns);
/* Diagonal of an array of tiles of one size; of n x n it is n times the tile's own. NAN unless all are
 * above 0. */
double an_wall_diagonal(int64_t rows, int64_t columns, double tile_width, double tile_height);
/* Emitters of pixels with so many colours. */
double an_emitter_count(double pixels_across, double pixels_down, double colours);
/* Share of the surface that no emitter covers, 0 to 1. NAN unless all are above 0. */
double an_black_share(double colours, double long_um, double wide_um, double pitch_mm);

#endif
