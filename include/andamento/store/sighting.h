/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Copies of files that were taken already: is one lying there noted? */
#ifndef ANDAMENTO_STORE_SIGHTING_H
#define ANDAMENTO_STORE_SIGHTING_H

#include "andamento/store/store.h"

/* Was the file with that id seen under this path before, since it was last written there? Else a
 * copy that stays in a spool would be a new sighting at every look. A file written later than now
 * counts as written now: some spools have a clock of their own. */
AN_CHECKED enum an_status an_store_sighting_is_known(struct an_store *store, int64_t file_id,
                                                     const char *path, int64_t modified_us,
                                                     bool *known, struct an_error *err);

#endif
