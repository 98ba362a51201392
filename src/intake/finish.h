/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The end of a file: its visits go into the store, with their links and samples, in the order in
 * which the file begins them. One thread.
 */
#ifndef AN_INTAKE_FINISH_H
#define AN_INTAKE_FINISH_H

#include "andamento/store/store.h"
#include "intake/look.h"
#include "intake/notes.h"
#include "intake/rowmap.h"
#include "intake/subgroup.h"
#include "intake/watch.h"

struct an_row_block { /* numbers of a block's rows, packed, while there is no store */
    struct an_row_block *next;
    uint64_t block;
    struct an_text packed;
};

struct an_finish {
    struct an_store *store; /* NULL until it is handed in */
    const struct an_plan *plan;
    struct an_rowmap *map;
    struct an_stays *stays;
    int64_t file_id;
    int64_t modified_us;
    int64_t first_visit;    /* id of the first visit put; 0: none yet */
    uint64_t visits_before; /* visits found that were taken before, or are in doubt */
    struct an_shift shift;  /* the last one asked for */
    bool has_shift;
    int64_t **streams; /* ids, per quantity by split; 0 not asked for yet */
    size_t *stream_counts;
    struct an_arena *arena; /* of texts for one visit after the other */
    struct an_row_block *first_rows, *last_rows;
    size_t row_bytes;       /* in them */
    bool spilled;           /* something was written away */
    bool visits_spilled;    /* visits were */
    struct an_look *look;   /* what the store knows of the visits already */
    struct an_watch *watch; /* the file as a whole */
    struct an_notes *notes;
    bool as_is;     /* doubts about the file were set aside */
    bool gauge_due; /* of the visit at hand */
};

AN_CHECKED enum an_status an_finish_open(struct an_finish *finish, struct an_error *err);
void an_finish_close(struct an_finish *finish);
/* For another an_finish_all() after what the first one put was undone; nothing was written away. False:
 * memory. */
bool an_finish_begin(struct an_finish *finish);
/* From here on things can be written away. */
void an_finish_hand_in(struct an_finish *finish, struct an_store *store, int64_t file_id);
/* Writes all open visits away and forgets them. The store must have been handed in. */
AN_CHECKED enum an_status an_finish_spill(struct an_finish *finish, struct an_error *err);
/* Writes the numbers of a full block's rows away, or keeps them while there is no store. */
AN_CHECKED enum an_status an_finish_spill_rows(struct an_finish *finish, uint64_t block,
                                               struct an_error *err);
/*
 * Decides the fate of every visit. If none was taken before, all are in the store afterwards and so
 * is the column of visit ids; last_block is the number of the block whose rows are in the map. If
 * some were, nothing more is put after the first of them, and the map tells which rows they had:
 * the transaction has to be undone and the file read again.
 */
AN_CHECKED enum an_status an_finish_all(struct an_finish *finish, uint64_t last_block,
                                        struct an_error *err);

#endif
