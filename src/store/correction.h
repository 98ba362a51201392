/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How corrections come before what was recorded. Internal to the store. */
#ifndef AN_STORE_CORRECTION_H
#define AN_STORE_CORRECTION_H

#include "store/handle.h"

/* The correction of alias c is in force. */
#define AN_IN_FORCE                                                                                \
    " AND NOT EXISTS (SELECT 1 FROM correction undo WHERE undo.undoes = c.correction_id)"
/* The serial of the item of alias i, as it was corrected. */
#define AN_SERIAL_OF_I                                                                             \
    "coalesce((SELECT c.serial FROM correction c WHERE c.item_id = i.item_id AND c.kind = 1"       \
    " AND c.is_id IS NULL" AN_IN_FORCE "), i.serial)"

/* A step from the items of n up, or down, along corrected links: for recursion, in which the view of
 * links below would be read whole. The rest of a UNION. */
#define AN_NOT_CORRECTED_K                                                                         \
    " WHERE NOT EXISTS (SELECT 1 FROM corrected_link c WHERE c.link_id = k.link_id" AN_IN_FORCE ")"
#define AN_STEP_UP                                                                                 \
    "SELECT k.parent_id FROM n JOIN recorded_link k ON k.child_id = n.item_id" AN_NOT_CORRECTED_K  \
    " UNION SELECT c.parent_id FROM n JOIN recorded_link k ON k.child_id = n.item_id"              \
    " JOIN corrected_link c ON c.link_id = k.link_id WHERE c.parent_id IS NOT NULL" AN_IN_FORCE
#define AN_STEP_DOWN                                                                               \
    "SELECT k.child_id FROM n JOIN recorded_link k ON k.parent_id = n.item_id" AN_NOT_CORRECTED_K  \
    " UNION SELECT k.child_id FROM n JOIN corrected_link c ON c.parent_id = n.item_id"             \
    " JOIN recorded_link k ON k.link_id = c.link_id WHERE c.parent_id IS NOT NULL" AN_IN_FORCE

/* From here on the handle's queries see links as they were corrected: where there are such
 * corrections, a temporary view stands before the table. Outside a transaction; costs little where
 * nothing changed. */
AN_CHECKED enum an_status an_corrections_show(struct an_store *store, struct an_error *err);
/* Takes that view away. */
AN_CHECKED enum an_status an_corrections_hide(struct an_store *store, struct an_error *err);
/* Was a sample ever corrected? */
AN_CHECKED enum an_status an_any_sample_corrected(struct an_store *store, bool *any,
                                                  struct an_error *err);

#endif
