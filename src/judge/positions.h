/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Fixed places on an item: each has an offset of its own, taken away before judging. */
#ifndef AN_JUDGE_POSITIONS_H
#define AN_JUDGE_POSITIONS_H

#include "andamento/stat/chart.h"
#include "judge/readings.h"

/*
 * Offsets by least squares in value = level of the item + offset of the place, offsets adding up
 * to 0. With no reading missing that is the mean at the place minus the mean over the places; with
 * readings missing, an item that lacks a high place does not count as a low item.
 * used[i]: sample i teaches. seen[p]: readings at place p, of as many entries as sites.
 * AN_TOO_FEW if no reading has a place.
 */
AN_CHECKED enum an_status an_positions_learn(const struct an_site_readings *readings, size_t count,
                                             const bool used[], struct an_arena *arena,
                                             struct an_position_baseline **positions,
                                             size_t *position_count, size_t **seen);
/* n, mean, sd and range of sample i on value minus offset. Readings at a place that the baseline
 * never saw are passed over: n may become 0. */
AN_CHECKED enum an_status an_positions_adjust(const struct an_site_readings *readings, size_t i,
                                              const struct an_position_baseline positions[],
                                              size_t position_count, double scratch[],
                                              struct an_chart_sample *sample);

#endif
