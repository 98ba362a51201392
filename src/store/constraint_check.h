/* SPDX-License-Identifier: GPL-3.0-or-later */
/* CHECK constraints against rows that are there. One thread a handle. */
#ifndef AN_STORE_CONSTRAINT_CHECK_H
#define AN_STORE_CONSTRAINT_CHECK_H

#include "andamento/store/verify.h"
#include "store/handle.h"

/* Each constraint of the table's definition `sql` that rows break is a finding. */
AN_CHECKED enum an_status an_table_constraints_check(struct an_store *store, const char *table,
                                                     const char *sql, an_finding *finding,
                                                     void *context, struct an_error *err);

#endif
