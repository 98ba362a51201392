/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The week's tables as lists of rows with estimates on a scale: short on page one, whole on pages of
 * their own. Everything lives in the book's arena.
 */
#ifndef AN_REPORT_WEEK_LISTS_H
#define AN_REPORT_WEEK_LISTS_H

#include "report/intervals.h"
#include "report/week_data.h"

/* Streams with an index, worst first; and those without one, with the reason in its place. */
struct an_interval_list an_week_capability_list(struct an_book *book, size_t most);
struct an_interval_list an_week_without_index_list(struct an_book *book);
struct an_interval_list an_week_yield_list(struct an_book *book, size_t most, bool whole);
struct an_interval_list an_week_rate_list(struct an_book *book, size_t most, bool whole);
struct an_interval_list an_week_flow_list(struct an_book *book, size_t most);

#endif
