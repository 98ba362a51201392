/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What came after some entry of the ledger and bears on one row of an answer: the act, who did it
 * and when it became known. Reading only; one thread a store handle.
 */
#ifndef ANDAMENTO_STORE_CHANGE_H
#define ANDAMENTO_STORE_CHANGE_H

#include "andamento/store/store.h"

struct an_act {
    const char
        *kind; /* "late file", "released rows", "correction", "new limits", ...; NULL: none */
    const char *what; /* in words */
    const char *who;  /* the author, else the account; NULL: nobody in person */
    int64_t at_us;    /* when it became known */
};

/* `since`: entries of the ledger at the earlier moment. Texts live in the arena; act->kind is NULL
 * where nothing was found. A sample is named as export names it. */

/* Why a sample came, went or has other values: its file, a release, a correction, a re-measurement. */
AN_CHECKED enum an_status an_store_sample_act(struct an_store *store, const struct an_sha256 *file,
                                              const char *stream, int64_t first_line, int64_t since,
                                              struct an_arena *arena, struct an_act *act,
                                              struct an_error *err);
/* Why its item has another serial. */
AN_CHECKED enum an_status an_store_serial_act(struct an_store *store, const struct an_sha256 *file,
                                              const char *stream, int64_t first_line, int64_t since,
                                              struct an_arena *arena, struct an_act *act,
                                              struct an_error *err);
/* Why the readings of a file are no longer there. */
AN_CHECKED enum an_status an_store_dropped_act(struct an_store *store, const struct an_sha256 *file,
                                               int64_t since, struct an_arena *arena,
                                               struct an_act *act, struct an_error *err);
/* The newest lock or proposal of a stream's limits. */
AN_CHECKED enum an_status an_store_limits_act(struct an_store *store, const char *stream,
                                              int64_t since, struct an_arena *arena,
                                              struct an_act *act, struct an_error *err);
/* The newest correction or re-measurement of any of a stream's samples. */
AN_CHECKED enum an_status an_store_stream_act(struct an_store *store, const char *stream,
                                              int64_t since, struct an_arena *arena,
                                              struct an_act *act, struct an_error *err);
/* Why a signal came, went or has other hits. */
AN_CHECKED enum an_status an_store_signal_act(struct an_store *store, int64_t signal_id,
                                              int64_t since, struct an_arena *arena,
                                              struct an_act *act, struct an_error *err);
/* Its newest answer. */
AN_CHECKED enum an_status an_store_answer_act(struct an_store *store, int64_t signal_id,
                                              int64_t since, struct an_arena *arena,
                                              struct an_act *act, struct an_error *err);
/* The newest revision of the line description. */
AN_CHECKED enum an_status an_store_line_act(struct an_store *store, int64_t since,
                                            struct an_arena *arena, struct an_act *act,
                                            struct an_error *err);

#endif
