/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Genealogy: what an item is made of, and what it went into.
 *
 * A trace walks links from one item, up (what went into it) or down (what it went into). Each item
 * is entered once: its own links stand as steps under the first step that reached it, later ones
 * are marked `again`. So a trace is as long as there are links, not as there are paths, and circles
 * (which intake refuses, but a store may have been tampered with) end. Shares are summed over all
 * paths nevertheless, see struct an_trace_reached.
 *
 * Share: what part of the whole is made of this, 0 to 1. Along a path shares multiply; going up it
 * is the part of the start item that is made of the item reached, going down the part of the item
 * reached that is made of the start item. A link that tells none makes the path's share unknown
 * (NAN), never 1. docs/trace.md has the words for people.
 *
 * Role: a link without a role carries on the one before it on the path, so that a wafer under a
 * donor of role R is reached as R.
 *
 * Texts and arrays of results belong to the struct and live until its close. Files are told by their
 * name as stored. Threads: one a store handle. Nothing here writes.
 */
#ifndef AN_TRACE_TRACE_H
#define AN_TRACE_TRACE_H

#include "andamento/base/names.h"
#include "andamento/store/genealogy.h"
#include "line/line.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define AN_TRACE_START SIZE_MAX /* `from` of the steps that begin at the start item */
#define AN_TRACE_MOST_STEPS ((size_t)1000000)

/* ---- finding the item ------------------------------------------------------------------------- */
/*
 * "SERIAL" or "KIND:SERIAL"; a serial that an item was known under for a time leads to that item.
 * line (or NULL) gives the kinds' rules of case. AN_NOT_FOUND with the nearest serials there are;
 * AN_BAD_USAGE if several kinds have an item of that serial, with how to say which. The item's texts
 * live in the arena.
 */
AN_CHECKED enum an_status an_trace_find(struct an_store *store, const struct an_line *line,
                                        const char *name, struct an_arena *arena,
                                        struct an_item *item, struct an_error *err);

/* ---- walking ---------------------------------------------------------------------------------- */
enum an_trace_way { AN_TRACE_UP, AN_TRACE_DOWN };

struct an_trace_ask {
    int64_t item_id;
    enum an_trace_way way;
    uint32_t most_depth;       /* 0: to the end */
    int64_t from_us, until_us; /* only links that held at some time in [from, until); AN_NO_INSTANT:
                                  open. A link without a time holds always, one without an end since
                                  its beginning. Zeroed is not open: set both. */
    size_t most_steps;         /* 0: AN_TRACE_MOST_STEPS */
};

/* One link walked. */
struct an_trace_step {
    struct an_item item; /* what it leads to */
    struct an_link link; /* role, region, row, column, share as the link itself has them */
    int64_t link_id;
    size_t from; /* the step whose item it starts from; AN_TRACE_START. Always before this one. */
    uint32_t depth;          /* links from the start item, from 1 */
    const char *role;        /* carried: the last one told on the path; NULL: none told */
    double share;            /* multiplied along the path; NAN: a link on it tells none */
    int64_t from_us;         /* the link holds since; AN_NO_INSTANT: not told */
    int64_t until_us;        /* the link held until; AN_NO_INSTANT: it still does */
    enum an_link_sure sure;  /* of this link */
    enum an_link_sure doubt; /* the most doubtful on the path */
    const char *file;        /* name of the file that told it */
    uint64_t line;           /* its line */
    bool again;              /* the item was reached before: its links stand under that step */
    bool circle;             /* the link is part of a loop, which cannot be right */
    bool more;               /* not entered because of most_depth: its links are not known */
};

/* An item reached in a role, over all paths. Sorted by kind, role, serial. */
struct an_trace_reached {
    struct an_item item;
    const char *role;        /* carried; NULL: none told */
    uint32_t depth;          /* fewest links */
    double share;            /* sum over the paths that tell one; NAN: none does */
    bool share_whole;        /* every path tells one; else share is a least */
    enum an_link_sure doubt; /* of the least doubtful path */
    bool holds;              /* a path of links that have not ended leads there */
    size_t step;             /* the first that reached it in this role */
    bool open_end;           /* no link leads on from it */
};

struct an_trace {
    struct an_item item; /* the start */
    enum an_trace_way way;
    struct an_trace_step *steps; /* breadth first: depth never falls */
    size_t step_count;
    struct an_trace_reached *reached;
    size_t reached_count;
    bool cut;               /* most_steps was met: steps are missing, sums are not to be used */
    struct an_arena *arena; /* of serials and reached */
    struct an_names *names; /* of all other texts */
};

/* AN_NOT_FOUND if there is no such item. On failure *trace is empty; close is fine anyway. */
AN_CHECKED enum an_status an_trace_run(struct an_store *store, const struct an_trace_ask *ask,
                                       struct an_trace *trace, struct an_error *err);
void an_trace_close(struct an_trace *trace);

/* ---- places ----------------------------------------------------------------------------------- */
struct an_trace_place {
    struct an_item item;
    struct an_link link; /* link.row, link.column: -1 not told */
    int64_t from_us, until_us;
    enum an_link_sure sure;
    const char *file;
    uint64_t line;
    bool doubled; /* another item has this place at the same time */
};
struct an_trace_hole { /* a place within the grid's extent that nothing fills */
    int64_t row, column;
};
/* The children-in of a whole, by their place in it: sorted by row, column, region, time. */
struct an_trace_grid {
    struct an_trace_place *places;
    size_t place_count;
    int64_t first_row, last_row, first_column, last_column; /* of what is placed; 0, -1: nothing */
    struct an_trace_hole *holes;
    size_t hole_count;
    struct an_arena *arena;
};
/*
 * What sits in the item (a wall's tiles, if kind is "tile"; NULL: whatever has a row and column) at
 * an instant; AN_NO_INSTANT: now, that is what has not ended. Links without a row and column are left
 * out where kind is NULL. Holes are listed up to a grid of 10,000 places.
 */
AN_CHECKED enum an_status an_trace_places(struct an_store *store, int64_t item_id, const char *kind,
                                          int64_t at_us, struct an_trace_grid *grid,
                                          struct an_error *err);
/* How many holes and doubled places it has. */
size_t an_trace_grid_faults(const struct an_trace_grid *grid);
void an_trace_grid_close(struct an_trace_grid *grid);

/* ---- shared ancestors -------------------------------------------------------------------------- */
struct an_trace_shared {
    struct an_item item;
    const char *role; /* as reached from the first of the items that has it */
    size_t of;        /* how many of the items have it */
    uint32_t depth;   /* fewest links from any of them */
    double *share;    /* one an item asked about; NAN: not told, or not an ancestor of it */
    bool *has;        /* one an item asked about */
};
struct an_trace_common {
    struct an_item *items; /* asked about */
    size_t item_count;
    struct an_trace_shared *shared; /* by `of` falling, then kind, role, serial */
    size_t shared_count;
    bool cut;
    struct an_arena *arena;
};
/* Ancestors that at least `least` (2 or more) of the items have; an item counts among its own
 * ancestors, so that a parent given beside its child is found. */
AN_CHECKED enum an_status an_trace_common(struct an_store *store, const int64_t *item_ids,
                                          size_t count, size_t least,
                                          struct an_trace_common *common, struct an_error *err);
void an_trace_common_close(struct an_trace_common *common);

/* ---- what is missing --------------------------------------------------------------------------- */
struct an_trace_missing {
    struct an_item item; /* which lacks it */
    const char *kind;    /* of what should have gone into it */
    const char *role;    /* as what; NULL: no role */
    const char *station; /* whose rows would tell it */
};
/*
 * Links that the line description speaks of and the store has not: for the start and each item of an
 * upward trace, the kinds (and fixed or listed roles) of links of the stations at which items of that
 * kind are read. Sorted by kind, serial, kind of what is missing, role. Items not entered because of
 * a limit of depth are not looked at. The array lives in the trace.
 */
AN_CHECKED enum an_status an_trace_missing(const struct an_line *line, struct an_trace *trace,
                                           struct an_trace_missing **missing, size_t *count,
                                           struct an_error *err);

#endif
