/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A store as it was known at some moment. Records are only added, so what was known then is what is
 * there now less what came later; the order in which things became known is that of the ledger.
 */
#ifndef ANDAMENTO_STORE_AS_OF_H
#define ANDAMENTO_STORE_AS_OF_H

#include "andamento/base/status.h"
#include "andamento/store/store.h"

#include <stdint.h>

struct an_known {
    int64_t entries; /* of the ledger then */
    int64_t at_us;   /* when the newest of them was made; AN_NO_INSTANT: there was none */
};

/*
 * From here on the handle shows what was known at that instant: the entries before the first one
 * that is later. What retention has dropped since is not there, and is told as dropped. For good;
 * call it once, on a handle opened with AN_STORE_READ (AN_BAD_USAGE otherwise). AN_NOT_FOUND if
 * nothing was known yet.
 */
AN_CHECKED enum an_status an_store_as_of(struct an_store *store, int64_t at_us,
                                         struct an_known *known, struct an_error *err);
/* The same by the size of the ledger, as pages print it. AN_NOT_FOUND if it never had that size. */
AN_CHECKED enum an_status an_store_as_of_size(struct an_store *store, int64_t entries,
                                              struct an_known *known, struct an_error *err);

#endif
