/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The stations' exports: each function writes all files of one or two stations, shift by shift (or
 * wall by wall), into the output. Statuses are those of an_demo_output_shift().
 */
#ifndef AN_DEMO_STATIONS_H
#define AN_DEMO_STATIONS_H

#include "demo/mess.h"

AN_CHECKED enum an_status an_demo_write_wafer_test(struct an_demo_output *output,
                                                   struct an_error *err);
AN_CHECKED enum an_status an_demo_write_carrier(struct an_demo_output *output,
                                                struct an_error *err);
AN_CHECKED enum an_status an_demo_write_transfer(struct an_demo_output *output,
                                                 struct an_error *err);
AN_CHECKED enum an_status an_demo_write_inspection(struct an_demo_output *output,
                                                   struct an_error *err);
AN_CHECKED enum an_status an_demo_write_repair(struct an_demo_output *output, struct an_error *err);
AN_CHECKED enum an_status an_demo_write_edge(struct an_demo_output *output, struct an_error *err);
AN_CHECKED enum an_status an_demo_write_luminance(struct an_demo_output *output,
                                                  struct an_error *err);
AN_CHECKED enum an_status an_demo_write_assembly(struct an_demo_output *output,
                                                 struct an_error *err);

/* The first of the tiles from *next on that a station takes in the shift; *next moves past it.
 * NULL when the shift has no more. */
const struct an_demo_tile *an_demo_next_tile(const struct an_demo_plan *plan,
                                             enum an_demo_station station,
                                             const struct an_demo_shift *shift, size_t *next);
/* The serial of the carrier that gave the tile a colour, and of the wafer it was made of. */
const char *an_demo_carrier_serial(const struct an_demo_plan *plan, const struct an_demo_tile *tile,
                                   int colour);
const char *an_demo_wafer_serial(const struct an_demo_plan *plan, const struct an_demo_tile *tile,
                                 int colour);

#endif
