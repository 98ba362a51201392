/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Visits in the making as bytes, so that more of them can be open than memory should hold. The
 * bytes live no longer than the taking of one file. One thread.
 */
#ifndef AN_INTAKE_SPILL_H
#define AN_INTAKE_SPILL_H

#include "andamento/base/text.h"
#include "intake/subgroup.h"

/* Adds the visit's bytes; out->failed when memory is out. */
void an_spill_write(const struct an_stay *stay, struct an_text *out);
/* Joins what those bytes hold to the visit (new or not). AN_NO_MEMORY; AN_BUG if they are not what
 * an_spill_write() made. */
AN_CHECKED enum an_status an_spill_read(struct an_stays *stays, struct an_stay *stay,
                                        struct an_bytes bytes, struct an_error *err);

#endif
