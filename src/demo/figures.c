/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The figures of the demonstration line. All are invented: they are the demonstration's own and no
 * benchmark for any real line.
 *
 * Two of them are chosen for the charts' sake. The heads' offsets are several sigmas away from
 * zero, so that the radial offset is close to normal; and one site is clearly the darkest, one
 * clearly the brightest and one step clearly the largest, so that uniformity and neighbour step
 * are close to normal too. Charts of single values then speak as often as theory says.
 */
#include "demo/demo_plan.h"

#include <math.h>

#define HEAD_SPREAD 0.16, 0.42

const struct an_demo_figures an_demo_figures = {
    .wavelength_nm = {{621.0, 0.30, 0.45}, {523.5, 0.55, 0.80}, {464.2, 0.40, 0.60}},
    .forward_v = {{1.92, 0.015, 0.020}, {2.48, 0.015, 0.020}, {2.66, 0.015, 0.020}},
    .flux_percent = {100.0, 1.5, 2.0},
    .layer_um = {1.30, 0.028, 0.024},
    .dx_um = {{0.55, HEAD_SPREAD}, {0.90, HEAD_SPREAD}, {-0.75, HEAD_SPREAD}, {0.62, HEAD_SPREAD}},
    .dy_um = {{-0.88, HEAD_SPREAD}, {-0.70, HEAD_SPREAD}, {0.66, HEAD_SPREAD}, {0.92, HEAD_SPREAD}},
    .theta_mrad = {0.0, 0.0, 0.018},
    .misses = {9.0, 3.8, 1.2},
    .miss_level_variance = 0.10,
    .dark = 2.0,
    .attempt_fails = 0.10,
    .resistance_ohm = {{2.40, 0.060, 0.100}, {2.46, 0.060, 0.100}},
    .wrap_um = {14.0, 0.50, 0.90},
    .luminance_cd_m2 = {{210.0, 0.020, 0.006}, {520.0, 0.016, 0.006}, {70.0, 0.018, 0.006}},
    .reference = {1.0, 0.003, 0.002},
    .site_percent = {-6.4, 0.0, 1.5, 1.1, -1.0, -2.4, 1.0, 4.0, 1.5, -0.2, -1.6, 0.8, 1.6, 1.2,
                     -1.1},
    .gap_um = {{60.0, 1.2, 2.4}, {64.0, 1.2, 2.4}},
};

double an_demo_mean_sd(const struct an_demo_figure *figure, int n)
{
    return sqrt(figure->between * figure->between + figure->within * figure->within / n);
}

double an_demo_dispersion(double mean, double steady)
{
    const double moving = mean - steady;
    return (mean + moving * moving * an_demo_figures.miss_level_variance) / mean;
}
