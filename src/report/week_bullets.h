/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The week's short lists: what changed, drifts, open signals, limits, gauges. Each is
 * bounded by `most`; what is left out is counted. */
#ifndef AN_REPORT_WEEK_BULLETS_H
#define AN_REPORT_WEEK_BULLETS_H

#include "report/bullets.h"
#include "report/week_data.h"

struct an_bullets an_bullets_against_last(struct an_book *book, size_t most);
struct an_bullets an_bullets_drifts(struct an_book *book, size_t most);
struct an_bullets an_bullets_open(struct an_book *book, size_t most);
struct an_bullets an_bullets_limits(struct an_book *book, size_t most);
struct an_bullets an_bullets_gauges(struct an_book *book, size_t most);

#endif
