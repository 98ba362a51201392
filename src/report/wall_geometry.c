/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Geometry of arrays. The formulas are common practice, no source. */
#include "report/wall_geometry.h"

#include <math.h>

int64_t an_wall_seam_count(int64_t rows, int64_t columns)
{
    return rows < 1 || columns < 1 ? 0 : rows * (columns - 1) + columns * (rows - 1);
}

int64_t an_wall_corner_count(int64_t rows, int64_t columns)
{
    return rows < 1 || columns < 1 ? 0 : (rows - 1) * (columns - 1);
}

double an_wall_diagonal(int64_t rows, int64_t columns, double tile_width, double tile_height)
{
    if (rows < 1 || columns < 1 || !(tile_width > 0) || !(tile_height > 0)) {
        return (double)NAN;
    }
    return hypot((double)columns * tile_width, (double)rows * tile_height);
}

double an_emitter_count(double pixels_across, double pixels_down, double colours)
{
    return pixels_across * pixels_down * colours;
}

double an_black_share(double colours, double long_um, double wide_um, double pitch_mm)
{
    if (!(colours > 0) || !(long_um > 0) || !(wide_um > 0) || !(pitch_mm > 0)) {
        return (double)NAN;
    }
    const double pitch_um = pitch_mm * 1000;
    return 1 - colours * long_um * wide_um / (pitch_um * pitch_um);
}
