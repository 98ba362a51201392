/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Letting in what was held: the kept original is read again by the description in force, in one
 * transaction with the record of who decided it and why. Nothing of what was held is changed.
 * One thread.
 */
#ifndef AN_INTAKE_RELEASE_H
#define AN_INTAKE_RELEASE_H

#include "andamento/store/intake.h"
#include "line/line.h"

struct an_release_wish {
    enum an_release_cause cause;
    bool as_is; /* doubts about a whole file are set aside */
    bool dry_run;
    const char *author, *reason;
};

struct an_release_result {
    struct an_file file; /* the new record, if something was let in; texts in the arena */
    int64_t let_in;      /* rows; of a file held whole: all that were taken or known */
    int64_t still_held;
    bool whole; /* the file is, or stays, held whole: code and why in `file` */
};

/* Some held rows of one taken file. Those that fit now are taken, or known from before; the others
 * stay as they are. Rows released before are passed over. */
AN_CHECKED enum an_status an_release_rows(struct an_store *store, const struct an_line *line,
                                          int64_t file_id, const struct an_held *rows, size_t count,
                                          const struct an_release_wish *wish,
                                          struct an_arena *arena, struct an_release_result *result,
                                          struct an_error *err);
/* A file that was held whole. */
AN_CHECKED enum an_status an_release_file(struct an_store *store, const struct an_line *line,
                                          const struct an_file *file,
                                          const struct an_release_wish *wish,
                                          struct an_arena *arena, struct an_release_result *result,
                                          struct an_error *err);
/* Rows that waited for items of this file, which was committed. */
AN_CHECKED enum an_status an_release_waited_for(struct an_store *store, const struct an_line *line,
                                                int64_t file_id, struct an_error *err);

#endif
