/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What went into what, as a trace needs it: links with the time for which they held, how sure one
 * may be of them, and the file that told them. docs/trace.md says what each means.
 * Threads: one a store handle.
 */
#ifndef ANDAMENTO_STORE_GENEALOGY_H
#define ANDAMENTO_STORE_GENEALOGY_H

#include "andamento/store/store.h"

/* What is read until the end is of one moment, whoever writes meanwhile; many small questions are also
 * answered much faster. *own: to be handed to the end; false where a transaction was open already. */
AN_CHECKED enum an_status an_store_hold_view(struct an_store *store, bool *own,
                                             struct an_error *err);
void an_store_let_view_go(struct an_store *store, bool own);

/* How a station came to know of a link. The larger, the more doubtful. */
enum an_link_sure {
    AN_LINK_SURE_UNTOLD = 0, /* the station does not say: no doubt is known */
    AN_LINK_SCANNED = 1,     /* a machine read the serial */
    AN_LINK_TYPED = 2,       /* a person typed it */
    AN_LINK_INFERRED = 3     /* concluded, from time and place say */
};
const char *an_link_sure_word(enum an_link_sure sure); /* "scanned"; "" for untold */

/* A parent was taken out of a child: role, region, row, column as far as told. at_us is a time. An
 * end that is there already is not doubled. */
AN_CHECKED enum an_status an_store_put_link_end(struct an_store *store, const struct an_link *end,
                                                struct an_error *err);

struct an_alias {
    int64_t item_id, other_id; /* the item; the other serial, an item row of its own */
    int64_t from_us, until_us; /* AN_NO_INSTANT: open */
    int64_t file_id;
    uint64_t line;
};
/* The item was known under another serial. What is there already is not doubled. */
AN_CHECKED enum an_status an_store_put_alias(struct an_store *store, const struct an_alias *alias,
                                             struct an_error *err);
/* The items that were known under this serial, newest first, and when. */
struct an_known_as {
    struct an_item item;
    int64_t from_us, until_us;
    const char *file;
    uint64_t line;
};
AN_CHECKED enum an_status an_store_known_as(struct an_store *store, int64_t other_id,
                                            struct an_arena *arena, struct an_known_as **known,
                                            size_t *count, struct an_error *err);
/* The serials under which an item was known, by time. */
AN_CHECKED enum an_status an_store_aliases(struct an_store *store, int64_t item_id,
                                           struct an_arena *arena, struct an_known_as **known,
                                           size_t *count, struct an_error *err);

/* What was taken out of the item (up), or the item out of, without ever having been told to be in it:
 * until_us is when, from_us not known. */
AN_CHECKED enum an_status an_store_lone_ends(struct an_store *store, int64_t item_id, bool up,
                                             struct an_arena *arena, struct an_known_as **ends,
                                             size_t *count, struct an_error *err);

/* A link as it stands: what was told of it several times, and of its end, put together. */
struct an_lineage {
    struct an_item item; /* at the other end */
    struct an_link link; /* link.at_us: since when; AN_NO_INSTANT: not told */
    int64_t link_id;
    const char *file;       /* name of the file that told it; "" while that is being taken */
    int64_t until_us;       /* when it ended; AN_NO_INSTANT: it still holds */
    int64_t end_file_id;    /* the file that told the end; 0: none */
    uint64_t end_line;      /* its line */
    enum an_link_sure sure; /* the best that was told */
};

/*
 * What went into the item (up), or what it went into; by role, serial, time. What was recorded under
 * another serial of the item counts as the item's, and the other end is told by its own serial where
 * it was recorded under another one.
 */
AN_CHECKED enum an_status an_store_lineage(struct an_store *store, int64_t item_id, bool up,
                                           struct an_arena *arena, struct an_lineage **lineage,
                                           size_t *count, struct an_error *err);

/* The same of what sits, or sat, at one place of a whole. */
AN_CHECKED enum an_status an_store_lineage_at(struct an_store *store, int64_t child_id, int64_t row,
                                              int64_t column, struct an_arena *arena,
                                              struct an_lineage **lineage, size_t *count,
                                              struct an_error *err);
/* When a link that begins at link->at_us ends, as far as is told; AN_NO_INSTANT: it does not. */
AN_CHECKED enum an_status an_store_link_until(struct an_store *store, const struct an_link *link,
                                              int64_t *until_us, struct an_error *err);
/* Did `part` go into the item, directly or through others? */
AN_CHECKED enum an_status an_store_is_made_of(struct an_store *store, int64_t item_id, int64_t part,
                                              bool *made, struct an_error *err);

/* Items of a serial, of one kind if kind is given (NULL: of all kinds); none is no error. */
AN_CHECKED enum an_status an_store_items_named(struct an_store *store, const char *kind,
                                               struct an_bytes serial, struct an_arena *arena,
                                               struct an_item **items, size_t *count,
                                               struct an_error *err);
/* Serials that stand near this one in the order of each kind: at most `most`. They live in the arena. */
AN_CHECKED enum an_status an_store_serials_near(struct an_store *store, struct an_bytes serial,
                                                struct an_arena *arena, const char **serials,
                                                size_t most, size_t *count, struct an_error *err);

#endif
