/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Units as the trade writes them, and exact factors between them.
 *
 * Spelling is forgiven, meaning is not: blanks and one pair of outer brackets are passed over; a
 * micro sign or Greek mu reads as u, an ohm sign as ohm, a degree sign as deg, a raised 2 as 2, a
 * raised point as a point. Upper and lower case differ (mW is not MW). Conversions are ratios of
 * whole numbers, rounded once. Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef AN_LINE_UNIT_H
#define AN_LINE_UNIT_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

bool an_unit_known(struct an_bytes unit);
/* Two spellings of one unit ("cd/m²" and "nit"). Units outside the table are the same when their
 * spellings are, once blanks and signs are passed over. */
bool an_unit_same(struct an_bytes a, struct an_bytes b);
/*
 * to = from * factor + offset. AN_NOT_FOUND if one of the two is not in the table, AN_DOMAIN if
 * they measure different quantities; then factor 1 and offset 0 are written.
 * Source: SI Brochure, 9th edition, BIPM 2019 (prefixes, minute to day, degree Celsius, degree of
 * arc); inch, foot and pound-based units and degree Fahrenheit by their definitions.
 */
AN_CHECKED enum an_status an_unit_factor(struct an_bytes from, struct an_bytes to, double *factor,
                                         double *offset);
/* What is measured: "length"; NULL if the unit is not in the table. */
const char *an_unit_quantity(struct an_bytes unit);
/* The known unit whose spelling is nearest, or NULL if none is near. */
const char *an_unit_nearest(struct an_bytes unit);

#endif
