/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The one value an item that a derived characteristic makes of others. Any thread. */
#ifndef AN_INTAKE_DERIVE_H
#define AN_INTAKE_DERIVE_H

#include "intake/subgroup.h"

#include <stdbool.h>

/* In the characteristic's unit; false if the readings do not give one. AN_NO_MEMORY through *st. */
bool an_derive(const struct an_plan *plan, const struct an_group *group, double *value,
               enum an_status *st);

#endif
