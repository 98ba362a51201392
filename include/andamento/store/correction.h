/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Corrections: records that say what was wrong and what holds instead. What was recorded stays where
 * it is; all reading calls of the store give what holds. docs/corrections.md explains the kinds.
 * Threads: one a store handle.
 */
#ifndef ANDAMENTO_STORE_CORRECTION_H
#define ANDAMENTO_STORE_CORRECTION_H

#include "andamento/store/store.h"

enum an_correction_kind {
    AN_CORRECT_SERIAL = 1,   /* the item has another serial */
    AN_CORRECT_PARENT = 2,   /* another part went into the item, or none */
    AN_CORRECT_UNIT = 3,     /* values were in another unit */
    AN_CORRECT_WITHDRAW = 4, /* samples are not to be used */
    AN_CORRECT_UNDO = 5      /* an earlier correction was wrong */
};
const char *an_correction_word(enum an_correction_kind kind); /* "serial" */

struct an_correction {
    int64_t correction_id;
    enum an_correction_kind kind;
    int64_t known_us;
    int64_t item_id; /* serial: named wrongly; parent: the whole; withdraw: its samples; 0: none */
    int64_t was_id;  /* parent: the part named wrongly; 0: none */
    int64_t is_id;   /* parent: the right part; serial: found by the store; 0: none */
    const char *serial; /* serial: the right one */
    int64_t file_id;    /* unit, withdraw: of this file; 0: any */
    int64_t sample_id;  /* withdraw: this one alone; 0: not so; not kept, its effect is */
    const char *stream; /* unit, withdraw: station.characteristic; NULL: all */
    double factor;      /* unit: of the values; NAN: none */
    int64_t undoes;     /* undo: which one; 0: none */
    const char *author, *reason;
    const char *signed_key;     /* reading only: with which it is signed; NULL: with none */
    int64_t effects;            /* reading, and filled: links or samples it changes */
    int64_t undone_by;          /* reading: the correction that took it back; 0: in force */
    const char *before, *after; /* in words; `after` of unit and withdraw is given, others filled */
    const char *system_user, *host; /* reading */
};

/*
 * Stores a correction, with its ledger entry; own transaction unless one is open. Texts that are
 * filled live in the arena. AN_BAD_USAGE: no author, no reason, it changes nothing or is in force
 * already, or is no possible genealogy; AN_NOT_FOUND: nothing that it could correct.
 */
AN_CHECKED enum an_status an_store_put_correction(struct an_store *store,
                                                  struct an_correction *correction,
                                                  struct an_arena *arena, struct an_error *err);
/* By what holds now, in an open transaction too: does the part sit by the links of the correction,
 * which may be undone, in one whole of the child's kind at a time, and alone at its place?
 * AN_BAD_USAGE, naming the other link, if not. */
AN_CHECKED enum an_status an_store_part_fits(struct an_store *store, int64_t correction_id,
                                             int64_t child_id, int64_t part_id,
                                             struct an_error *err);
/* All, oldest first. */
AN_CHECKED enum an_status an_store_corrections(struct an_store *store, struct an_arena *arena,
                                               struct an_correction **corrections, size_t *count,
                                               struct an_error *err);
/* How many samples in [from, until) a correction changes. */
AN_CHECKED enum an_status an_store_corrected_between(struct an_store *store, int64_t correction_id,
                                                     int64_t from_us, int64_t until_us,
                                                     int64_t *samples, struct an_error *err);
/* Earliest time of the stream whose samples were corrected, or corrections of them undone, since it
 * was judged last; AN_NO_INSTANT: none was. */
AN_CHECKED enum an_status an_store_corrected_since(struct an_store *store, int64_t stream_id,
                                                   int64_t *earliest_us, struct an_error *err);

/* Does each correction change what its ledger entry tells? Text of err says what does not. */
AN_CHECKED enum an_status an_store_corrections_check(struct an_store *store, bool *sound,
                                                     struct an_error *err);

#endif
