/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One finished visit into the store. One thread. */
#ifndef AN_INTAKE_VISIT_PUT_H
#define AN_INTAKE_VISIT_PUT_H

#include "intake/finish.h"

/* If its rows were taken before, or are in doubt, nothing is put. Else it is put with its links and
 * samples, unless only_look is set; *visit_id is its id. */
AN_CHECKED enum an_status an_visit_put(struct an_finish *finish, const struct an_stay *stay,
                                       bool only_look, enum an_look_found *found, uint32_t *doubt,
                                       int64_t *visit_id, struct an_error *err);
/* Puts the ends of links that a visit's rows tell. */
AN_CHECKED enum an_status an_visit_put_ends(struct an_finish *finish, const struct an_stay *stay,
                                            struct an_error *err);
/* The link that a visit's rows tell of; the other item is added if it is new. Its texts are valid
 * until the next visit. */
AN_CHECKED enum an_status an_visit_link(struct an_finish *finish, const struct an_tie *joint,
                                        int64_t item_id, struct an_link *link,
                                        struct an_error *err);

#endif
