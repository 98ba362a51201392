/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of the fast path share; ordinary.h tells what it is for. */
#ifndef AN_INTAKE_ORDINARY_INNER_H
#define AN_INTAKE_ORDINARY_INNER_H

#include "intake/ordinary.h"
#include "intake/reading.h"
#include "intake/scan.h"

#include <string.h>

enum {
    AN_ORDINARY_ROWS = 512, /* most at a time */
    AN_KNOWN_WORDS = 64,    /* a column remembers: a power of two */
    AN_KNOWN_SPLITS = 64,
    AN_KNOWN_GROUPS = 64,
    AN_KNOWN_SCALES = 19, /* 0 to 18 decimals */
    AN_ORDINARY_SPLIT_COLUMNS = 3
};

struct an_known_word { /* the text of a cell and what was found out about it */
    uint64_t head;     /* its first bytes, as far as there are any */
    const unsigned char *at;
    size_t length;
    uint64_t print;
    uint32_t code;       /* in the block; UINT32_MAX: no text */
    uint32_t passes;     /* a bit for each filter of the column */
    uint64_t visit;      /* the visit of which it is known to be among the words */
    bool is_set, is_fit; /* nothing speaks against it by itself */
    bool is_link;        /* the row path found it a right serial */
};

struct an_possible { /* numbers with so many decimals that no check refuses */
    int64_t least, most;
    bool is_set;
};

struct an_ordinary_column {
    size_t column;      /* of the plan */
    size_t field;       /* of the line; AN_NONE: the same in all rows */
    bool same;          /* must be as it was in the row path's last row */
    bool number, words; /* how it is kept */
    bool time;
    bool listed;           /* its word must be among those of the visit */
    bool is_free;          /* its words mean nothing for the row: they are only kept */
    bool starts_code[256]; /* bytes with which a code of a missing reading begins */
    bool link;             /* holds the serial of a linked item */
    unsigned char *last;   /* the row path's last text of it */
    size_t last_length, last_room;
    struct an_decimal constant; /* number, if the same in all rows */
    bool has_constant;
    const struct an_plan_filter *filters[32];
    size_t filter_count;
    struct an_known_word *known;                  /* AN_KNOWN_WORDS of them, if it has words */
    struct an_possible possible[AN_KNOWN_SCALES]; /* if it has numbers */
    uint64_t key;                                 /* of its print */
    uint64_t print;                               /* if the same in all rows */
    uint64_t *prints;                             /* else one a row */
    uint32_t *passes;                             /* a row; NULL: no filters */
};

struct an_known_split {
    uint64_t key; /* the codes of its columns */
    uint32_t number;
    bool is_set;
};

struct an_known_group {
    uint64_t visit;
    uint32_t split;
    struct an_group *group;
};

struct an_ordinary_test { /* does the row pass a filter? */
    const uint32_t *passes;
    uint32_t bit;
};

struct an_ordinary_leaf {
    struct an_ordinary_test *tests;
    size_t test_count;
};

struct an_ordinary_quantity {
    const struct an_quantity *of;
    struct an_ordinary_leaf *leaves;
    bool is_filtered;
    struct an_known_group known[AN_KNOWN_GROUPS];
    struct an_group **groups; /* a row; NULL: the row does not concern it */
};

struct an_known_joint {
    uint64_t key, visit;
    struct an_tie *joint;
};

struct an_ordinary_time {
    unsigned char text[96];
    size_t length;
    int64_t at_us;
    size_t second_at;      /* of the two digits of the second; AN_NONE: none is known */
    size_t fraction;       /* digits behind its mark */
    int64_t second_us;     /* what they say */
    bool is_local;         /* no offset stands in it */
    int64_t naive_less_us; /* local: wall clock less instant, within this minute */
    bool is_steady;        /* ... which is the same in the whole minute */
    bool is_set;
};

struct an_ordinary {
    const struct an_plan *plan;
    size_t fields;
    struct an_ordinary_column *columns; /* one a column of the plan */
    struct an_ordinary_quantity *quantities;
    struct an_known_split *splits; /* AN_KNOWN_SPLITS for each split of the plan */
    uint32_t *split_of;            /* number a row, for each split of the plan */
    struct an_known_joint *joints; /* AN_KNOWN_GROUPS for each link */
    struct an_tie **joint_of;      /* a row, for each link */
    bool starts[256];              /* bytes with which a line begins that may be no row */
    struct an_ordinary_time time;
    unsigned char *odd;     /* a row: its bytes do not come back from its columns */
    int64_t *at_us;         /* a row */
    an_print_sum *sums;     /* a row */
    struct an_stay *stay;   /* of the row path's last row; NULL: none that can be gone on with */
    uint64_t visit;         /* counts them */
    struct an_text purpose; /* of that row */
    size_t most;            /* rows tried at a time */
    /* the lines found */
    size_t window;
    const unsigned char *base;
    uint32_t *places;
    size_t place_rows; /* room for so many rows */
    size_t rows, next; /* found, and of them the first not yet taken */
    struct an_arena *arena;
};

/* A field of row r, counted from the first not yet taken. */
static inline struct an_bytes an_ordinary_field(const struct an_ordinary *o, size_t field, size_t r)
{
    const uint32_t *at = o->places + (o->next + r) * o->fields + field;
    const uint32_t from = at[0] + 1;
    uint32_t end = at[1];

    if (field + 1 == o->fields && end > from && o->base[end - 1] == '\r') {
        end--;
    }
    return (struct an_bytes){o->base + from, end - from};
}

/* The same field of one row after the other. */
struct an_walk {
    const uint32_t *at;
    size_t step;
    const unsigned char *base;
    bool is_last;
};
static inline struct an_walk an_walk_field(const struct an_ordinary *o, size_t field)
{
    return (struct an_walk){o->places + o->next * o->fields + (field == AN_NONE ? 0 : field),
                            o->fields, o->base, field + 1 == o->fields};
}
static inline struct an_bytes an_walk_next(struct an_walk *walk)
{
    const uint32_t from = walk->at[0] + 1;
    uint32_t end = walk->at[1];

    if (walk->is_last && end > from && walk->base[end - 1] == '\r') {
        end--;
    }
    walk->at += walk->step;
    return (struct an_bytes){walk->base + from, end - from};
}

/* Eight bytes, the first one lowest; of a text in the lines' buffer, which has room behind it. */
static inline uint64_t an_load_word(const unsigned char *at)
{
    uint64_t word = 0;

    memcpy(&word, at, 8);
#if __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
    word = __builtin_bswap64(word);
#endif
    return word;
}

static inline uint64_t an_low_bytes(size_t count) /* a mask; 0 to 8 */
{
    return count >= 8 ? UINT64_MAX : (UINT64_C(1) << 8 * count) - 1;
}

/* ordinary_cells.c: each goes over the first n rows and returns how many of them are in order. */
size_t an_ordinary_same(const struct an_ordinary *o, const struct an_ordinary_column *column,
                        size_t n);
size_t an_ordinary_fit(const struct an_ordinary *o, const struct an_ordinary_column *column,
                       size_t n);
size_t an_ordinary_numbers(struct an_ordinary *o, struct an_ordinary_column *column,
                           struct an_columns *columns, size_t n);
size_t an_ordinary_words(struct an_ordinary *o, struct an_ordinary_column *column,
                         struct an_columns *columns, size_t n, bool *no_memory);
/* The word's entry; NULL when memory is out. */
struct an_known_word *an_ordinary_word(struct an_ordinary *o, struct an_ordinary_column *column,
                                       struct an_columns *columns, struct an_bytes text);

/* ordinary_time.c */
size_t an_ordinary_times(struct an_ordinary *o, size_t n);
void an_ordinary_learn_time(struct an_ordinary *o, const struct an_reading *reading);
/* Keeps the state of `when` as if the row path had read the first n. */
void an_ordinary_tell_times(struct an_ordinary *o, struct an_reading *reading, size_t n);

/* ordinary_sums.c */
size_t an_ordinary_find(struct an_ordinary *o, struct an_reading *reading, size_t n);
enum an_status an_ordinary_add(struct an_ordinary *o, struct an_reading *reading, size_t n,
                               struct an_error *err);

#endif
