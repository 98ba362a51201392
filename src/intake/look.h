/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the store knows already about a file's visits: asked at the end of a first reading, once a
 * visit. Visits in doubt are gone over row by row (conflict.c), and the file is read again with
 * what was found: rows known from before are marked in the row map, rows to be held stand here. One
 * thread.
 */
#ifndef AN_INTAKE_LOOK_H
#define AN_INTAKE_LOOK_H

#include "andamento/store/intake.h"
#include "intake/hold.h"
#include "intake/subgroup.h"

/* An item that a visit's rows speak of and nobody has seen, or that cannot be what they say. */
struct an_unknown {
    struct an_unknown *next;
    enum an_hold_reason reason; /* AN_HOLD_PARENT_UNKNOWN, or of links */
    const char *why;            /* links: the sentence */
    struct an_bytes role, region;
    int64_t row, column; /* links: only rows that tell this place, role and region */
    size_t link;         /* index in the plan's links; AN_NONE: the rows' own item */
    uint32_t number;     /* among the visit's unknown ones */
    struct an_bytes serial;
};

struct an_doubt { /* a visit whose rows have to be looked at one by one */
    struct an_bytes key;
    size_t serial_length;
    struct an_earlier_visit *earlier; /* that overlap with it in time */
    size_t earlier_count;
    struct an_unknown *unknown;
    int64_t before_us; /* how long before its item was made it began; 0: not */
    int64_t used_us;   /* when its serial was here before, as another item's; AN_NO_INSTANT: not */
    bool replaces;     /* as a whole: the earlier samples are superseded */
};

struct an_verdict { /* a row to be held */
    uint64_t row;   /* among the rows that are right, from 0 */
    enum an_hold_reason reason;
    size_t link;      /* parent.unknown, of links */
    uint32_t unknown; /* parent.unknown, of links: its number */
    uint32_t doubt;   /* index */
    int64_t file_id;  /* row.conflict: where the other row stands */
    uint64_t line;
    uint64_t at_line; /* of the row itself */
};

struct an_doubtful_row { /* where it stands in the file's blocks */
    uint64_t row;
    uint32_t block, index, doubt;
};

struct an_look {
    bool done; /* all is decided: the next reading takes what is not marked */
    struct an_arena *arena;
    struct an_doubt *doubts;
    size_t doubt_count, doubt_capacity;
    struct an_doubtful_row *rows;
    size_t row_count, row_capacity;
    struct an_verdict *verdicts; /* by row */
    size_t verdict_count, verdict_capacity, next;
    bool unknown_rows;             /* some verdict is parent.unknown */
    size_t replacing, replaced;    /* doubts that replace; where the last one asked for stands */
    int64_t visits, visits_before; /* looked at; before their item was made, beyond tolerance */
    int64_t before_us;             /* the most within tolerance */
    uint64_t before_line;
    struct an_names *seen; /* items asked about and known: kind, NUL, serial */
    struct an_text scratch;
};

struct an_finish;

enum an_look_found { AN_LOOK_NEW, AN_LOOK_BEFORE, AN_LOOK_DOUBT };

void an_look_close(struct an_look *look); /* all zeroes is fine */
/* For another reading of the file: what was decided stays. False: memory. */
bool an_look_begin(struct an_look *look);
/* What is to become of the visit; *doubt is its number if it is in doubt. */
AN_CHECKED enum an_status an_look_visit(struct an_finish *finish, const struct an_stay *stay,
                                        int64_t item_id, const struct an_sha256 *digest,
                                        enum an_look_found *found, uint32_t *doubt,
                                        struct an_error *err);
AN_CHECKED enum an_status an_look_add_row(struct an_look *look, uint64_t row, uint32_t block,
                                          uint32_t index, uint32_t doubt, struct an_error *err);
/* Goes over the doubtful rows; afterwards all is decided. */
AN_CHECKED enum an_status an_look_decide(struct an_finish *finish, struct an_error *err);
/* The verdict on a row that is to be held, or NULL. Rows are asked for in order. */
const struct an_verdict *an_look_verdict(struct an_look *look, uint64_t row);
/* The unknown item, or the link, that a verdict is about. */
const struct an_unknown *an_look_unknown(const struct an_look *look,
                                         const struct an_verdict *verdict);
/* Notes what each row held for an unknown item waits for; the held rows are put already. */
AN_CHECKED enum an_status an_look_put_waiting(struct an_finish *finish, struct an_error *err);
/* The visit that replaces earlier ones, or NULL. */
const struct an_doubt *an_look_replaces(struct an_look *look, const struct an_stay *stay);

/* look_links.c: looks at the visit's links, refuses those that cannot be, and puts the others, so
 * that the next visits' are compared with them. */
AN_CHECKED enum an_status an_look_links(struct an_finish *finish, const struct an_stay *stay,
                                        int64_t item_id, struct an_doubt *doubt,
                                        struct an_error *err);
/* Adds to the visit's list. NULL: memory. */
struct an_unknown *an_look_add_unknown(struct an_look *look, struct an_doubt *doubt, size_t link,
                                       struct an_bytes serial);

/* conflict.c: compares the doubtful rows with those of earlier visits. */
AN_CHECKED enum an_status an_conflict_decide(struct an_finish *finish, struct an_error *err);
AN_CHECKED enum an_status an_look_hold(struct an_look *look, const struct an_verdict *verdict,
                                       struct an_error *err);

#endif
