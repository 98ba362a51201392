/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What `limits design` takes from a stream: its sigma, its pace, its present chart. */
#ifndef AN_CLI_DESIGN_STREAM_H
#define AN_CLI_DESIGN_STREAM_H

#include "cli/cli.h"
#include "judge/judge.h"
#include "judge/pace.h"

struct an_design_wish {
    double shift;   /* in sigmas of the plotted points */
    double between; /* samples between false alarms that can be borne */
};

struct an_design_stream {
    bool given; /* a stream was named; else all below is empty */
    struct an_stream stream;
    const struct an_characteristic *characteristic;
    struct an_limits limits; /* the newest locked ones, or else the newest proposed */
    struct an_pace pace;
    double shifts_a_week; /* planned; days, where the line has no shifts */
    double shift_in_unit; /* NAN: it was given in sigmas */
};

/* Opens the store if a stream is named. AN_NOT_FOUND, AN_TOO_FEW, AN_DOMAIN with a text that says what is in
 * the way. */
AN_CHECKED enum an_status an_design_stream_read(struct an_cli *cli, struct an_design_stream *s);
/* --shift (sigmas, or with the unit of the stream), --between, --false-alarms-per-shift and
 * --false-alarms-per-week. */
AN_CHECKED enum an_status an_design_wish_read(struct an_cli *cli, struct an_design_stream *s,
                                              struct an_design_wish *wish);

#endif
