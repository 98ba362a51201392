/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Evidence of one item for someone who has neither the store nor this program: a folder with its rows,
 * the originals they come from, the ledger's leaves and their paths to one head, and a script that
 * checks it with common tools. docs/evidence.md says what it proves.
 */
#ifndef AN_TRACE_EVIDENCE_H
#define AN_TRACE_EVIDENCE_H

#include "andamento/store/store.h"
#include "line/line.h"
#include "trace/trace.h"

struct an_evidence_ask {
    const char *item;            /* "SERIAL" or "KIND:SERIAL" */
    const char *path;            /* of the folder; must not be there yet. NULL: evidence-SERIAL */
    struct an_bytes private_key; /* PEM; no bytes: nothing is signed */
    const char *log_name;        /* in the signed head; NULL: "andamento" */
    const char *program_version;
};
struct an_evidence_told {
    struct an_item item;
    const char *path;
    struct an_ledger_head head;
    size_t items, files, originals, dropped, leaves;
};
/*
 * Writes the folder, whole or not at all. Nothing is written that does not hold: each original is
 * hashed, each file's rows are compared with its digest, each path is checked. Texts of *told live in
 * the arena. As an_trace_find() for the item; AN_CANNOT_CREATE for the folder; AN_NO_STORE if the
 * store is not as it was recorded; AN_BAD_INPUT for the key. Memory grows with the number of items and
 * files, not with rows, readings or entries.
 */
AN_CHECKED enum an_status an_evidence_write(struct an_store *store, const struct an_line *line,
                                            const struct an_evidence_ask *ask,
                                            struct an_arena *arena, struct an_evidence_told *told,
                                            struct an_error *err);

/* ---- inside ------------------------------------------------------------------------------------ */
/* A table of a folder as CSV and as JSON. */
struct an_evidence_table;
struct an_output_folder;
AN_CHECKED enum an_status an_evidence_table_open(struct an_output_folder *folder, const char *path,
                                                 const char *schema,
                                                 struct an_evidence_table **table,
                                                 struct an_error *err);
/* If `derive`, times (names that end in "_us") get a column "..._utc" beside, rules a "rule_name". */
AN_CHECKED enum an_status an_evidence_table_names(struct an_evidence_table *table,
                                                  const char *const names[], size_t count,
                                                  bool derive, struct an_error *err);
void an_evidence_table_begin_row(struct an_evidence_table *table);
void an_evidence_table_text(struct an_evidence_table *table, struct an_bytes text);
void an_evidence_table_number(struct an_evidence_table *table, double value); /* NAN: none */
void an_evidence_table_decimal(struct an_evidence_table *table, int64_t scaled, int decimals);
void an_evidence_table_integer(struct an_evidence_table *table, int64_t value);
void an_evidence_table_none(struct an_evidence_table *table);
AN_CHECKED enum an_status an_evidence_table_end_row(struct an_evidence_table *table,
                                                    struct an_error *err);
AN_CHECKED enum an_status an_evidence_table_close(struct an_evidence_table *table,
                                                  struct an_error *err); /* frees */
void an_evidence_table_drop(struct an_evidence_table *table);            /* NULL is fine */

struct an_evidence_work {
    struct an_store *store;
    struct an_output_folder *folder;
    struct an_arena *arena;
    const struct an_evidence_ask *ask;
    struct an_evidence_told *told;
    struct an_error *err;
};
/* records/, then readings/ of one file */
AN_CHECKED enum an_status an_evidence_put_records(struct an_evidence_work *work,
                                                  const struct an_trace *trace);
AN_CHECKED enum an_status an_evidence_put_readings(struct an_evidence_work *work, int64_t file_id,
                                                   int64_t entry);
/* head, leaves, paths */
AN_CHECKED enum an_status an_evidence_put_proofs(struct an_evidence_work *work);
/* STEPS.txt, check.sh; then the sums, signed if there is a key */
AN_CHECKED enum an_status an_evidence_put_steps(struct an_evidence_work *work);

#endif
