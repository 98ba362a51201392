/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From a judged stream to what its charts draw; shared only inside this layer. */
#ifndef AN_REPORT_STREAM_POINTS_H
#define AN_REPORT_STREAM_POINTS_H

#include "report/gather.h"

struct an_copying {
    struct an_gather *gather;
    const struct an_stream_view *view;
    struct an_stream_sheet *sheet;
    struct an_arena *passing; /* the view's own: what is not drawn lives here */
    size_t first;             /* points of the view before it are not shown */
    size_t shown;             /* points of the level panel */
    size_t *place; /* of each point of the view: its index in that panel, AN_NONE if left out */
};

/* The family that is drawn: of the newest limits, else of the description. */
enum an_family an_family_drawn(const struct an_stream_view *view);
/* In this order; false: memory is out. */
bool an_copy_form(struct an_copying *copy);
bool an_copy_panels(const struct an_copying *copy);
bool an_copy_ribbon_words(const struct an_copying *copy);
bool an_copy_phases(const struct an_copying *copy, const struct an_limits *all, size_t all_count);
bool an_copy_notes(const struct an_copying *copy);

#endif
