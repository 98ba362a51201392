/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Visits and subgroups while a file is being read: exact sums, no readings kept (but for grids).
 * Memory is bounded: past a limit everything open is written away (spill.h) and starts anew. One
 * thread.
 */
#ifndef AN_INTAKE_SUBGROUP_H
#define AN_INTAKE_SUBGROUP_H

#include "andamento/base/memory.h"
#include "andamento/base/names.h"
#include "andamento/base/text.h"
#include "andamento/stat/moments.h"
#include "intake/row_print.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { AN_MOST_SPLITS = 65536, AN_MOST_WORDS = 1000 };

/* Distinct texts in order of arrival. */
struct an_word {
    struct an_word *next;
    struct an_bytes text;
};
struct an_words {
    struct an_word *first, *last;
    size_t count;
};
/* A copy of the bytes in the arena. False: memory. */
bool an_words_copy(struct an_arena *arena, struct an_bytes from, struct an_bytes *to);
bool an_words_add(struct an_words *words, struct an_arena *arena, struct an_bytes text);
/* "a + b + c + d + 3 more"; NULL if there are none or memory is out (then *failed). */
const char *an_words_join(const struct an_words *words, struct an_arena *arena, bool *failed);

/* A reading kept with its place in the grid. */
struct an_place {
    struct an_place *next;
    double row, column;
    struct an_decimal reading;
    uint32_t leaf;
};

struct an_group { /* a subgroup of one stream */
    struct an_group *next;
    uint32_t quantity, split; /* index in the plan; number of the split's text in this file */
    bool closed;              /* not to be joined with others: a row, or so many rows */
    int64_t rows, missing;
    int64_t at_us;
    uint64_t first_line, last_line;
    struct an_words ribbon;
    struct an_place *places;
    size_t sum_count;
    struct an_exact_sums sums[]; /* one a leaf; counted: counts, opportunities */
};

struct an_tie { /* a link told by the rows of a visit */
    struct an_tie *next;
    uint32_t rule;
    struct an_bytes serial, role, region; /* no bytes: none */
    double share;
    int64_t row, column, at_us;
    uint64_t line;
    bool ends; /* it was taken out */
    uint32_t
        turn; /* how many ends the visit's rows told before it: afterwards it is another link */
    uint32_t sure; /* enum an_confidence */
};

struct an_locals { /* the numbers under which rows know their visit */
    struct an_locals *next;
    uint32_t local;
};

struct an_slot { /* a group or a joint: the key's top bit tells which */
    uint64_t key;
    void *thing;
};

struct an_stay { /* a visit in the making */
    struct an_stay *next;
    struct an_bytes key; /* serial, NUL, purpose */
    size_t serial_length;
    int64_t first_us, last_us, rows;
    uint64_t first_line, last_line;
    uint64_t print_low, print_high; /* sum of the rows' prints */
    struct an_words gauge, tool, who, attempt;
    struct an_locals locals; /* at least one */
    struct an_group *groups, *last_group;
    struct an_tie *joints, *last_joint;
    uint32_t ends;         /* told so far */
    struct an_slot *table; /* groups and joints by hash */
    size_t table_size, table_count;
};

struct an_every { /* the open subgroup of a stream whose subgroups go on over items */
    struct an_group *group;
    struct an_stay *stay; /* of its last row; NULL once that was written away: then by key */
    struct an_bytes key;
    size_t serial_length;
};

struct an_stays {
    const struct an_plan *plan;
    struct an_arena *arena;  /* of everything open */
    struct an_arena *steady; /* of what lasts as long as the file */
    struct an_stay *first, *last, *recent;
    struct an_stay **table;
    size_t table_size, count;
    uint32_t next_local;
    struct an_names *splits; /* texts of splits */
    struct an_every **every; /* per quantity: array by split */
    size_t *every_size;
    struct an_text key, split_text;
    struct an_bytes *words; /* of a split's columns, for the row at hand */
    struct an_split_memo {
        uint32_t number;
        bool is_set;
    } * memo; /* per split of the plan, for the row at hand */
};

AN_CHECKED enum an_status an_stays_open(struct an_stays *stays, const struct an_plan *plan,
                                        struct an_error *err);
void an_stays_close(struct an_stays *stays); /* all zeroes is fine */
/* Adds a row. *local is its visit's number. AN_NO_MEMORY; AN_DOMAIN if the file has more than
 * AN_MOST_SPLITS splits. */
AN_CHECKED enum an_status an_stays_add(struct an_stays *stays, struct an_row *row,
                                       struct an_row_print print, uint32_t *local,
                                       struct an_error *err);
/* Ends the subgroups that go on over items. After the last row. */
AN_CHECKED enum an_status an_stays_end(struct an_stays *stays, struct an_error *err);
/* Forgets everything open, after it was written away. */
AN_CHECKED enum an_status an_stays_empty(struct an_stays *stays, struct an_error *err);

/* Finds or adds in the open ones; NULL when memory is out. A new one has no rows and no local. */
struct an_stay *an_stays_find(struct an_stays *stays, struct an_bytes key, size_t serial_length);
/* The group of a stream that is not closed; a new one, closed or not. NULL when memory is out. */
struct an_group *an_stay_group(struct an_stays *stays, struct an_stay *stay, uint32_t quantity,
                               uint32_t split, bool *is_new);
/* The same, if it is there; else NULL. */
struct an_group *an_stay_find_group(const struct an_stay *stay, uint32_t quantity, uint32_t split);
struct an_group *an_group_new(struct an_arena *arena, const struct an_plan *plan, uint32_t quantity,
                              uint32_t split);
void an_stay_append(struct an_stay *stay, struct an_group *group);
/* The joint equal to this one, or a copy of it; keeps the earliest time and line. False: memory. */
bool an_stay_join(struct an_stays *stays, struct an_stay *stay, const struct an_tie *joint);
/* The joint equal to this one, if it is there; else NULL. */
struct an_tie *an_stay_find_joint(const struct an_stay *stay, const struct an_tie *joint);
/* The text of a split whose columns have these words. */
void an_split_write(struct an_text *text, const struct an_plan *plan, size_t split,
                    const struct an_bytes *words, struct an_bytes purpose);
bool an_stay_add_local(struct an_stays *stays, struct an_stay *stay, uint32_t local);
/* Adds what another part of the same subgroup holds. False: memory. */
bool an_group_merge(struct an_group *group, const struct an_group *more, struct an_arena *arena);

#endif
