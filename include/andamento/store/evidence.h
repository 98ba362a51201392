/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a store holds about some items, for someone who will not have the store: their rows, the files
 * that told them, the acts that concern them, and the proof of each ledger entry. Works with
 * temporary tables, so memory does not grow with what is found; changes nothing. One thread a
 * handle; the caller holds a view (genealogy.h) from begin to the last reading.
 *
 * Concerned are: limits that judge a sample of the items or that a signal names; signals whose episode
 * (first sample of its first window to its last hit) has a sample of theirs; of its hits the first one
 * and those at their samples; answers to these signals; corrections of the items, their links, their
 * samples, and what undid them; held rows in which one of their serials stands as a field; releases of
 * such rows and of these files; what retain dropped of the files; studies of gauges they were
 * measured with; signatures on these acts and their keys; revisions of the line description by which the files were read.
 */
#ifndef ANDAMENTO_STORE_EVIDENCE_H
#define ANDAMENTO_STORE_EVIDENCE_H

#include "andamento/base/text.h"
#include "andamento/store/proof.h"
#include "andamento/store/store.h"

/* Begins with no items. */
AN_CHECKED enum an_status an_evidence_begin(struct an_store *store, struct an_error *err);
/* Once or more; also the rows that were recorded under its other serials. */
AN_CHECKED enum an_status an_evidence_add(struct an_store *store, int64_t item_id,
                                          struct an_error *err);
/* Finds what concerns the items added. */
AN_CHECKED enum an_status an_evidence_gather(struct an_store *store, struct an_error *err);

/* ---- rows, set by set -------------------------------------------------------------------------- */
struct an_evidence_cell {
    enum { AN_CELL_NULL, AN_CELL_INTEGER, AN_CELL_REAL, AN_CELL_TEXT } type;
    int64_t integer;
    double real;
    const char *text; /* until the callback returns; a NUL stands behind it */
    size_t length;
};
struct an_evidence_sink {
    void *context;
    /* Once, before the rows; times are columns that end in "_us". */
    enum an_status (*names)(void *context, const char *const names[], size_t count,
                            struct an_error *err);
    enum an_status (*row)(void *context, const struct an_evidence_cell cells[], size_t count,
                          struct an_error *err);
};
enum { AN_EVIDENCE_MOST_COLUMNS = 40 };
size_t an_evidence_set_count(void);
const char *an_evidence_set_name(size_t set); /* "visits" */
AN_CHECKED enum an_status an_evidence_rows(struct an_store *store, size_t set,
                                           const struct an_evidence_sink *sink,
                                           struct an_error *err);

/* ---- the bytes that the rows come from ----------------------------------------------------------- */
enum an_source_kind { AN_SOURCE_FILE, AN_SOURCE_LINE, AN_SOURCE_STUDY };
struct an_evidence_source {
    enum an_source_kind kind;
    int64_t id;    /* file_id, revision, study_id */
    int64_t entry; /* of the ledger, which tells the hash */
    struct an_sha256 hash;
    bool kept; /* false: dropped by record */
    const char *name;
};
/* By kind and number. */
AN_CHECKED enum an_status an_evidence_sources(struct an_store *store, struct an_arena *arena,
                                              struct an_evidence_source **sources, size_t *count,
                                              struct an_error *err);
AN_CHECKED enum an_status
an_evidence_source_read(struct an_store *store, const struct an_evidence_source *source,
                        int (*sink)(void *context, const void *at, size_t length), void *context,
                        struct an_error *err);

/* The readings of a file: names of its columns (without "@line", "@visit"), in the order in which the
 * store keeps them; and is a visit of the file one of the items'? */
AN_CHECKED enum an_status an_evidence_columns(struct an_store *store, int64_t file_id,
                                              struct an_arena *arena, const char ***names,
                                              size_t *count, struct an_error *err);
AN_CHECKED enum an_status an_evidence_visits(struct an_store *store, int64_t file_id,
                                             struct an_arena *arena, int64_t **visit_ids,
                                             const char ***serials, size_t *count,
                                             struct an_error *err); /* by visit_id */

/* ---- the ledger ---------------------------------------------------------------------------------- */
/* The next entry that concerns the items, after that one (-1: the first). */
AN_CHECKED enum an_status an_evidence_next_entry(struct an_store *store, int64_t after, bool *found,
                                                 int64_t *entry, struct an_error *err);
/* An entry "signal.hits" tells of many hits by the SHA-256 of these lines: all of them are added, also
 * those at other items. */
AN_CHECKED enum an_status an_evidence_hit_lines(struct an_store *store, int64_t entry,
                                                struct an_text *lines, struct an_error *err);
/* Path from an entry to the root of the first `size` entries, from the subtrees' roots that the
 * ledger keeps: some log^2 of them are read, whatever its size. AN_NO_STORE if they are not there;
 * that they are right shows only by an_inclusion_holds(). AN_DOMAIN unless index < size. */
AN_CHECKED enum an_status an_ledger_prove(struct an_store *store, uint64_t index, uint64_t size,
                                          struct an_proof *proof, struct an_error *err);

#endif
