/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a store is what was recorded: each record of an act against its entry of the ledger, the
 * ledger's tree against roots from outside, the database against the program's own formats. The rows
 * of files are an_store_file_check()'s, dropped ones an_store_retention_check()'s, the ledger's own
 * hashes an_ledger_check()'s. Memory does not grow with the store. One thread a handle.
 *
 * Who holds the store can rewrite all of it so that everything agrees; only a root that was kept
 * elsewhere tells. docs/verify.md says what is found without one.
 */
#ifndef ANDAMENTO_STORE_VERIFY_H
#define ANDAMENTO_STORE_VERIFY_H

#include "andamento/base/digest.h"
#include "andamento/base/status.h"
#include "andamento/store/store.h"

#include <stdint.h>

/* Called once for each thing that is not as it was recorded; one line of text. */
typedef void an_finding(void *context, const char *text);

struct an_acts_counts {
    int64_t records; /* compared with their entries */
    int64_t entries; /* compared with their records */
};

/* Each record outside the files has one entry that tells the same, and each entry its record.
 * AN_BUG if a table has a column of which no entry tells. */
AN_CHECKED enum an_status an_store_acts_check(struct an_store *store, an_finding *finding,
                                              void *context, struct an_acts_counts *counts,
                                              struct an_error *err);

/* Is the database whole by SQLite's own checks, do references lead somewhere, and are its tables,
 * indexes, triggers and views those of its format? */
AN_CHECKED enum an_status an_store_shape_check(struct an_store *store, an_finding *finding,
                                               void *context, struct an_error *err);

/* The root of the tree when the ledger had so many entries, as stored beside them (an_ledger_check()
 * tells whether that is right). AN_NOT_FOUND if it never had. */
AN_CHECKED enum an_status an_ledger_root_at(struct an_store *store, uint64_t size,
                                            struct an_sha256 *root, struct an_error *err);

#endif
