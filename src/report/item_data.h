/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Everything a report on one item says (a wall, a batch, a tile), gathered before anything is drawn:
 * plain structs whose arrays and texts live in one arena. Pages read them and never the store.
 *
 * "Parts" are the items whose values are told: a wall's tiles; else the item itself.
 */
#ifndef AN_REPORT_ITEM_DATA_H
#define AN_REPORT_ITEM_DATA_H

#include "andamento/draw/map_panel.h"
#include "andamento/store/item_stays.h"
#include "judge/judge.h"
#include "report/definition.h"
#include "report/period_data.h"
#include "trace/trace.h"

/* ---- values of items against the limits in force when they were made --------------------------- */
struct an_item_value {
    double value;            /* as shown; NAN: none */
    double z;                /* sigmas from the centre; NAN: no limits were in force */
    double centre, lcl, ucl; /* as shown; NAN: none */
    const char *code;        /* of the first rule met, "B+"; NULL: none */
    bool beyond;             /* a control limit */
    struct an_sample sample; /* the newest, where the item was measured again */
    size_t times;            /* how often it was measured */
};
struct an_value_stream {
    struct an_stream stream;
    const struct an_characteristic *characteristic;
    const struct an_station *station;
    const char *title, *unit;
    int decimals;
    double scale;            /* of values as shown */
    size_t column;           /* index into columns */
    size_t items, beyond;    /* with a value; beyond a control limit */
    double centre, lcl, ucl; /* that held for the newest value */
    bool vary;               /* other limits held for other values */
    const char *locked;      /* the newest limits in force: since when, by whom, why; NULL: none */
};
struct an_value_column { /* a stream, or a characteristic of which each item is in one stream */
    const struct an_characteristic *characteristic;
    const struct an_station *station;
    const char *title, *unit;
    int decimals;
    size_t streams;
};
struct an_item_values {
    size_t item_count;
    struct an_value_stream *streams; /* in the description's order */
    size_t stream_count;
    struct an_value_column *columns;
    size_t column_count;
    struct an_item_value *at; /* of item i and stream k: at[i * stream_count + k] */
    int64_t samples;          /* all told */
};
/* The value of a column that is furthest from its centre in sigmas; NULL: none. */
const struct an_item_value *an_column_value(const struct an_item_values *values, size_t item,
                                            size_t column, const struct an_value_stream **stream);

/* ---- parts --------------------------------------------------------------------------------------- */
struct an_item_part {
    struct an_item item;
    int64_t row, column; /* in the wall; -1: none */
    int64_t since_us;    /* in its place; AN_NO_INSTANT: not told */
    enum an_link_sure sure;
    bool doubled;     /* another item has its place too */
    const char *file; /* that told the place; NULL: none did */
    uint64_t line;
    struct an_item_stay *stays;
    size_t stay_count;
    int64_t repairs;      /* attempts at the repair stations */
    size_t signals, open; /* that touch it or what it is made of */
};

/* ---- what it is made of ---------------------------------------------------------------------------- */
struct an_item_batch {
    struct an_item item;
    const char *kind_title, *role; /* role NULL: none told */
    size_t kind_order;             /* of its kind in the description */
    size_t parts;                  /* that have it in that role */
    double share;                  /* of those parts that tell one, their mean; NAN: none does */
    bool share_whole;              /* all of them tell one on every path */
    size_t possible;               /* of the parts: by an inferred link only */
    size_t ended;                  /* of the parts: it was taken out again */
    bool product;
    size_t others; /* other wholes that have it */
};
struct an_item_tool { /* a tool, gauge or person at a station */
    const char *station_title, *what, *name;
    size_t parts;
};
struct an_item_sharer { /* another whole with batches in common */
    struct an_item item;
    size_t batches;
    const char *words; /* "3 wafers, 1 paste lot" */
};

/* ---- signals --------------------------------------------------------------------------------------- */
struct an_item_signal {
    struct an_signal signal;
    const char *title; /* the stream in words */
    size_t touched;    /* how many of the parts, by themselves or what they are made of */
    bool on_parts; /* it is on the parts or the whole themselves, not only on what is upstream */
    bool began;    /* its change began with this item or one below it */
    const char *first;                /* serial of the first that it touches */
    const char *answer, *answered_by; /* the newest, or NULL */
};

/* ---- where it went ------------------------------------------------------------------------------------ */
struct an_item_carrier {
    struct an_item item;
    const char *kind_title;
    bool product;
    const char *roles;         /* "G", "G, spare"; "" for none told */
    bool certain;              /* a path of links that are not inferred leads there */
    bool holds;                /* a path of links that have not ended leads there */
    double share;              /* of it that is made of the batch; NAN: not told */
    struct an_item whole;      /* that it sits in now; item_id 0: none */
    int64_t row, column;       /* its place there; -1: not told */
    int64_t since_us;          /* there */
    int64_t first_us, last_us; /* seen at stations; AN_NO_INSTANT: never was */
    const char *last_station;
};
struct an_item_whereabouts { /* a whole or a station with products that carry it */
    const char *where;
    bool placed; /* in a whole */
    size_t certain, possible, ended;
    const struct an_item_carrier *first[4];
    size_t shown; /* of them */
    int64_t last_us;
};
struct an_carried_count {
    const char *kind, *kind_title;
    bool product;
    size_t certain, possible, ended, placed;
};
struct an_item_neighbour {
    struct an_item item;
    int64_t first_us, last_us; /* of being used; AN_NO_INSTANT: never was */
    size_t used_in;            /* items it went into directly */
    bool itself;
};

/* ---- maps of sites ---------------------------------------------------------------------------------------- */
struct an_site_grid { /* a mean a place, over one or more samples */
    int64_t rows, columns;
    double *value; /* row by row; NAN: none */
};
struct an_site_maps {
    const struct an_value_stream *stream; /* of the picture; NULL: there is none to show */
    int64_t rows, columns;
    struct an_site_grid *of; /* one a part; value NULL: the part has no readings */
    struct an_site_grid average;
    size_t averaged;     /* items */
    const char *dropped; /* readings are kept no longer, why; NULL: all are */
    /* offsets and defects of one part */
    size_t part; /* AN_NONE: none was chosen */
    struct an_map_arrow *arrows;
    size_t arrow_count;
    int64_t arrow_rows, arrow_columns;
    const char *arrow_title, *arrow_unit;
    struct an_map_spot *spots;
    size_t spot_count;
    const char *spot_title;
};

struct an_wall_seams { /* measured ones, or the step between neighbours' pictures */
    const char *title, *unit;
    int decimals;
    struct an_map_seam *at;
    size_t count;
    double lsl, usl, target;
    size_t beyond; /* of them: beyond the specification */
};

#define AN_MOST_LACKS 1000
struct an_item_lack {
    const char *item, *text; /* serial; a sentence without its subject */
};

struct an_item_data {
    struct an_period_data page; /* what headers and footers say */
    const struct an_line *line;
    const struct an_report_definition *definition;
    enum an_report_kind kind;
    struct an_item item;
    const char *kind_title, *part_title; /* "wall", "tile" */
    struct an_item_stay *stays;          /* of the item itself */
    size_t stay_count;
    int64_t placed_from_us, placed_until_us; /* of the parts; AN_NO_INSTANT */

    struct an_item_part *parts;
    size_t part_count;
    int64_t first_row, last_row, first_column, last_column;
    struct an_trace_hole *holes;
    size_t hole_count, doubled;
    struct an_item_values values; /* of the parts */
    struct an_item_values own;    /* of the wall itself; empty where parts are the item */
    size_t picture;               /* index into values.streams; AN_NONE */
    struct an_site_maps sites;
    struct an_wall_seams steps, seams[2]; /* to the right, below; count 0: none */
    size_t seam_kinds;

    struct an_item_batch *batches; /* not of product kinds; those in most parts first, by kind */
    size_t batch_count;
    struct an_item_tool *tools;
    size_t tool_count;
    struct an_item_sharer *sharers;
    size_t sharer_count, sharers_looked_at;
    bool cut; /* a trace met its bound: lists are a least */

    struct an_item_signal *signals; /* worst first; those on the parts before those upstream */
    size_t signal_count, open_count, began_count;

    struct an_item_carrier *carriers;
    size_t carrier_count;
    struct an_item_whereabouts *whereabouts; /* in the order of the first in each */
    size_t whereabouts_count;
    struct an_carried_count *carried;
    size_t carried_count;
    struct an_item_neighbour *neighbours;
    size_t neighbour_count;

    struct an_item_lack *lacks; /* AN_MOST_LACKS at most */
    size_t lack_count;
    struct an_file *files; /* sources, each once */
    size_t file_count;
};

/* ---- gathering, each part in a file of its own ---------------------------------------------------------- */
struct an_item_report {
    enum an_report_kind kind;
    const char *name;   /* of the item, "SERIAL" or "KIND:SERIAL" */
    const char *chosen; /* serial of a part whose maps are wanted, or NULL */
    const char *role;   /* batch: only what carries it as this; NULL: all */
    const char *path;   /* of the PDF */
    const struct an_paper *paper;
    const char *program_version;
    struct an_bytes definition; /* no bytes: the program's own */
    const char *definition_name;
};
struct an_item_gather {
    struct an_store *store;
    const struct an_line *line;
    const struct an_item_report *report;
    struct an_arena *arena;
    struct an_item_data *data;
    struct an_error *err;
};
enum an_status an_item_no_memory(const struct an_item_gather *gather); /* fails with it */
const char *an_kind_title(const struct an_line *line, const char *kind);
bool an_kind_is_product(const struct an_line *line, const char *kind);
/* The kinds a wall may be of: those in which products (of a line without any: items) are placed by row
 * and column. */
bool an_kind_has_places(const struct an_line *line, const char *kind);

AN_CHECKED enum an_status an_gather_values(struct an_item_gather *gather,
                                           const struct an_item *items,
                                           struct an_item_stay *const *stays,
                                           const size_t *stay_counts, size_t count,
                                           struct an_item_values *values);
AN_CHECKED enum an_status an_gather_made_of(struct an_item_gather *gather);
AN_CHECKED enum an_status an_gather_corrected(struct an_item_gather *gather);
AN_CHECKED enum an_status an_gather_touched(struct an_item_gather *gather);
AN_CHECKED enum an_status an_gather_carried(struct an_item_gather *gather);
AN_CHECKED enum an_status an_gather_whereabouts(struct an_item_gather *gather);
AN_CHECKED enum an_status an_gather_sites(struct an_item_gather *gather);
AN_CHECKED enum an_status an_gather_seams(struct an_item_gather *gather);
AN_CHECKED enum an_status an_gather_item(struct an_item_gather *gather);

/* Readings of samples of one stream with their places on the characteristic's grid. */
struct an_placed_readings {
    double *value, *row, *column;
    size_t *first; /* of sample i: from first[i] up to first[i + 1] */
    const char *dropped;
};
AN_CHECKED enum an_status an_read_places(struct an_store *store, const struct an_stream *stream,
                                         const struct an_characteristic *characteristic,
                                         const struct an_sample *samples, size_t count,
                                         struct an_arena *arena, struct an_placed_readings *out,
                                         struct an_error *err);

/* ---- choosing by what the description declares (item_choice.c) ------------------------------------------- */
/* The picture: the stream told, or that of which a neighbour step, else a uniformity is derived, else
 * the last one measured on a grid, else the last one measured. AN_NONE: there is none. */
size_t an_choose_picture(const struct an_line *line, const struct an_item_values *values);
/* Is it a station of repairs: the one told, else one whose rows have an attempt's number. */
bool an_is_repair(const struct an_station *station, const char *told);
/* The two characteristics of an offset, of the stations of that kind; false: there is none. */
bool an_choose_offsets(const struct an_line *line, size_t kind, size_t *across, size_t *down);
/* Where a characteristic with a value a place lies, told by the places that never have one. */
enum an_seam_side { AN_SEAM_NONE, AN_SEAM_RIGHT, AN_SEAM_BELOW };
enum an_seam_side an_seam_side_of(bool in_first_row, bool in_last_row, bool in_first_column,
                                  bool in_last_column, int64_t rows, int64_t columns);

#endif
