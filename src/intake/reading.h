/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One reading of one file, from its first byte to its last: what is read goes into the store's open
 * transaction. A file may need up to three readings (see reading.c). One thread.
 */
#ifndef AN_INTAKE_READING_H
#define AN_INTAKE_READING_H

#include "intake/collect.h"
#include "intake/columns.h"
#include "intake/decode.h"
#include "intake/fields.h"
#include "intake/finish.h"
#include "intake/header.h"
#include "intake/lines.h"
#include "intake/look.h"
#include "intake/mirror.h"
#include "intake/notes.h"
#include "intake/outbox.h"
#include "intake/row.h"
#include "intake/source.h"
#include "intake/tuning.h"
#include "intake/watch.h"
#include "intake/when.h"

#include <stdatomic.h>

struct an_counts { /* rows = taken + duplicate + held + blank */
    int64_t rows, taken, duplicate, held, blank;
};

struct an_id_memo { /* what the last serial was worth */
    struct an_text raw, serial;
    bool is_set, reference, mended;
};

/* How a reading gets at the store before its turn: a transaction is open then, and a file begun. */
struct an_turn {
    enum an_status (*take)(void *context, struct an_store **store, int64_t *file_id,
                           struct an_error *err);
    void *context;
};

struct an_reading {
    struct an_store *store; /* NULL while the file is read: no other thread's may be touched. It is
                               handed in by an_reading_put(), or earlier if memory asks for it */
    struct an_outbox outbox;
    struct an_turn turn;
    const struct an_plan *plan;
    const struct an_collect_options *options;
    const struct an_collect_tuning *tuning;
    const atomic_bool *halt; /* true: stop; NULL: never */
    struct an_source *source;
    struct an_notes notes;
    struct an_complaint whole; /* about the file; its reason says whether it is held */
    struct an_counts counts;
    int64_t first_us, last_us;
    int64_t file_id;
    struct an_sha256 hash; /* of the bytes of this reading */
    int64_t bytes;         /* how many they were */
    bool keep_none;        /* the original is kept already, or is not wanted */
    bool put_again;  /* it was read right: undo what was put and call an_reading_put() again */
    bool read_again; /* the file has to be read again, with `when` and `map` as they are */
    struct an_when when;
    struct an_rowmap map;
    /* how far it is */
    struct an_decoder decoder;
    struct an_lines lines;
    struct an_fields fields;
    struct an_header header;
    struct an_columns columns;
    struct an_stays stays;
    struct an_finish finish;
    struct an_row row;
    struct an_text *preamble; /* values, per preamble field */
    bool *preamble_found;
    int preamble_left;
    bool header_seen; /* the line where it stands, or should, has gone by */
    bool lost;        /* rows can no longer be told apart */
    bool no_text;     /* nothing of it is looked at */
    size_t last_block;
    bool units_read, rows_begun, at_end, has_footer;
    bool no_memory; /* met where a line is only looked at; told by the loop over the lines */
    uint64_t footer_line;
    int64_t footer_rows;
    uint64_t accepted;   /* rows that were right, taken before or not */
    int64_t fields_over; /* rows with more fields than the header, as decimal commas make them */
    struct an_complaint first_over;
    struct an_id_memo id;
    struct an_id_memo *link_ids; /* one a link */
    struct an_text line_text;
    bool ordinary_tried;
    struct an_ordinary *ordinary; /* NULL: every row goes through the row path */
    unsigned char *piece;         /* bytes of the file, where they are not read into the lines */
    size_t piece_bytes;
    struct an_tools *tools; /* of the thread; NULL before opening: it has its own */
    struct an_tools own_tools;
    struct an_mirror mirror;           /* the original as columns, if columns.mirror points to it */
    bool plain;                        /* ... which was found not to pay */
    const struct an_record *at_record; /* that the row path is reading; NULL: it is not */
    /* against what the store knows */
    struct an_notes notes_read; /* those of the reading alone */
    struct an_look look;        /* lasts over the readings of a file */
    struct an_watch watch;
    struct an_recent *recent; /* the collector's */
    struct an_file_trait trait;
    bool as_is; /* a person set doubts about the file aside */
    /* of a file's held rows that are tried again */
    const uint64_t *only; /* lines of the rows to be taken, rising; NULL: all */
    size_t only_count, only_next;
    int64_t passed;   /* rows that were not asked for, or do not fit yet */
    uint64_t *let_in; /* lines of those that fit now */
    size_t let_in_count, let_in_capacity;
};

AN_CHECKED enum an_status an_reading_open(struct an_reading *reading, struct an_error *err);
void an_reading_close(struct an_reading *reading);
/* Reads the source once, from beginning to end, into memory (and into the store beyond what memory
 * should hold). Afterwards: whole.reason set, the file is to be held; read_again set, undo what is in
 * the store and call again; else the rest is for an_reading_put(). AN_BUSY when told to stop. */
AN_CHECKED enum an_status an_reading_read(struct an_reading *reading, struct an_error *err);
/* Puts what was read into the open transaction, all but the file's own record. read_again and whole
 * as above. */
AN_CHECKED enum an_status an_reading_put(struct an_reading *reading, struct an_store *store,
                                         int64_t file_id, struct an_error *err);
/* Puts the original of a file that is held whole, and nothing else of it. */
AN_CHECKED enum an_status an_reading_put_original(struct an_reading *reading,
                                                  struct an_store *store, int64_t file_id,
                                                  struct an_error *err);
/* What was put is undone: the store is taken away. */
void an_reading_take_back(struct an_reading *reading);

/* The store is this reading's from here on; what waited for it is put, and stays if it may have to be
 * put again. */
AN_CHECKED enum an_status an_reading_hand_in(struct an_reading *reading, struct an_store *store,
                                             int64_t file_id, bool again, struct an_error *err);

/* reading_lines.c: all lines and records that are there; of a file to be held whole they are only
 * counted. */
AN_CHECKED enum an_status an_reading_lines(struct an_reading *reading, struct an_error *err);
/* ident.c: checks the serial of a row (plan's item column) and its purpose. */
bool an_ident_read(struct an_reading *reading, struct an_complaint *complaint, enum an_status *st);
/* The serials of linked items, as they are stored from here on. */
bool an_ident_read_links(struct an_reading *reading, struct an_complaint *complaint,
                         enum an_status *st);
/* record.c: one record after the header. */
AN_CHECKED enum an_status an_reading_record(struct an_reading *reading,
                                            const struct an_record *record, struct an_error *err);
AN_CHECKED enum an_status an_reading_hold(struct an_reading *reading,
                                          const struct an_complaint *complaint,
                                          struct an_bytes text, struct an_error *err);
/* Hands a full block over and writes visits away when there are too many. After each taken row. */
AN_CHECKED enum an_status an_reading_bound(struct an_reading *reading, struct an_error *err);

#endif
