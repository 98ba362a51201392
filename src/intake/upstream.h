/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Upstream batches of an item, found by its links. One thread. */
#ifndef AN_INTAKE_UPSTREAM_H
#define AN_INTAKE_UPSTREAM_H

#include "andamento/store/store.h"
#include "intake/subgroup.h"

/* The items of a kind that went into the item, directly or through others; if links carry roles and
 * the split's text names one of them (colour=R), only those. Joined; *text is NULL if none. */
AN_CHECKED enum an_status an_ribbon_of(struct an_store *store, int64_t item_id, const char *kind,
                                       const char *split, struct an_arena *arena, const char **text,
                                       struct an_error *err);

#endif
