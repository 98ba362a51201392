/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The line description: what a LINE.yaml says, checked whole, as plain structs.
 *
 * Everything hangs on one handle and lives until an_line_close(); nothing in it changes after
 * an_line_read(), so any number of threads may read it. Texts are NUL-terminated UTF-8. An absent
 * number is NAN, an absent text NULL, an absent index AN_NONE. Order is that of the file.
 * docs/line-description.md is the reference of the file's grammar.
 */
#ifndef AN_LINE_LINE_H
#define AN_LINE_LINE_H

#include "andamento/base/bytes.h"
#include "andamento/base/instant.h"
#include "andamento/base/status.h"
#include "andamento/stat/chart.h"
#include "andamento/stat/fit.h"
#include "andamento/stat/rules.h"
#include "andamento/stat/transform.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define AN_NONE SIZE_MAX

struct an_word_list {
    const char **at;
    size_t count;
};

struct an_shift_pattern_entry {
    const char *name; /* "early" */
    int start_minute; /* of the local day, 0 to 1439 */
    int end_minute;   /* of the local day; less than or equal to start when it crosses midnight */
};

/* A kind of item: wafer, carrier, tile, wall, paste_lot. */
struct an_item_kind {
    const char *name;
    const char *title;      /* plural not needed; "tile" */
    const char *id_pattern; /* POSIX extended regular expression for the whole serial, or NULL */
    bool fold_case;         /* serials are read in upper case (raw text kept when it differed) */
    bool product;           /* counted as product at risk (tiles and walls, not lots) */
    const char *closed_by;  /* station after which nothing should come of it any more, or NULL */
    size_t line_no;         /* where it stands in the file */
};

enum an_encoding { AN_UTF8, AN_LATIN1, AN_WINDOWS_1252, AN_UTF16_BY_MARK };

struct an_dialect {
    char delimiter;    /* , ; TAB | */
    char decimal_mark; /* . or , */
    char group_mark;   /* thousands mark, or 0: none is accepted */
    enum an_encoding encoding;
    const char *comment;    /* lines that begin with this are comments, or NULL */
    int preamble_lines;     /* lines before the header, besides comments */
    bool units_row;         /* the row after the header holds units */
    const char *footer;     /* POSIX extended regex of a footer line whose group 1 is the row
                                count ("^# rows=([0-9]+)"), or NULL */
    const char *end_marker; /* a line with exactly this text says the file is whole, or NULL */
    bool trim;              /* outer blanks of unquoted fields are cut */
};

/* A value read out of the preamble or comments, seen by rows as one more column. */
struct an_preamble_field {
    const char *column; /* its name */
    const char *regex;  /* POSIX extended; group 1 is the value */
};

struct an_time_column {
    const char *column;  /* NULL: the station writes none; file time is used and said */
    const char *pattern; /* see an_civil_parse(); "rfc3339" */
    const char *zone;    /* IANA; of times without offset; NULL: the line's zone */
};

/* How a station came to know of a link; numbers as in andamento/store/genealogy.h. */
enum an_confidence { AN_CONFIDENCE_UNTOLD, AN_SCANNED, AN_TYPED, AN_INFERRED, AN_CONFIDENCES };

/* For which time another serial names the item, seen from the row that tells it. */
enum an_alias_time { AN_ALIAS_ALWAYS, AN_ALIAS_BEFORE, AN_ALIAS_AFTER };

/* An item of this row went into, or came out of, another one. */
struct an_link_rule {
    const char *column;        /* holds the other item's serial */
    size_t kind;               /* its kind, index into kinds */
    bool other_is_parent;      /* true: the other went into this row's item */
    bool other_is_same;        /* true: it is another serial of this row's item */
    const char *role;          /* fixed role, or NULL */
    const char *role_column;   /* column whose value is the role (colour), or NULL */
    struct an_word_list roles; /* that every item should have; none: one of any role is enough */
    double share;              /* fixed: part of the whole; NAN: none */
    const char *share_column, *row_column, *column_column, *region_column; /* or NULL */
    bool known_first; /* the other item must have been seen at a station before */
    bool made_first;  /* the other item must have been made before this row */
    bool single;      /* in one whole of the kind, and one item in a place, at a time */
    enum an_confidence confidence; /* fixed */
    const char *confidence_column; /* or told by this column's words; or NULL */
    struct an_word_list confidence_words[AN_CONFIDENCES];
    bool ends;               /* a row tells that the link ended */
    const char *ends_column; /* does so if this column holds one of the words; NULL: each row */
    struct an_word_list ends_words;
    enum an_alias_time alias_time; /* other_is_same */
    int64_t alias_for_us;          /* how long at most; 0: without an end */
};

enum an_missing_meaning { AN_MISSING, AN_OVER_RANGE, AN_UNDER_RANGE };
struct an_missing_code {
    const char *text; /* exact field text; a trailing * matches any rest ("<*") */
    enum an_missing_meaning meaning;
};

/* Rows that are not production (set-up, engineering, reference items) get streams of their own. */
struct an_purpose_rule {
    const char *column;               /* e.g. tool_state; NULL if none */
    struct an_word_list production;   /* values that mean production */
    const char *reference_id_pattern; /* regex of serials of reference items, or NULL */
};

enum an_value_kind {
    AN_MEASURED, /* readings of a column */
    AN_COUNTED,  /* counts of nonconformities or nonconforming units, with opportunities */
    AN_DERIVED   /* one value an item from other characteristics */
};

enum an_derivation {
    AN_NOT_DERIVED,
    AN_DERIVE_MIN_OVER_MAX,   /* smallest over largest reading, in per cent or as ratio */
    AN_DERIVE_NEIGHBOUR_STEP, /* largest difference between neighbours on the row/column
                                      grid, relative to their mean if unit is "%" */
    AN_DERIVE_RADIAL,         /* sqrt(a^2 + b^2) of the item means of two characteristics */
    AN_DERIVE_RANGE,          /* largest minus smallest reading */
    AN_DERIVE_MEAN,
    AN_DERIVE_SD,         /* n - 1 */
    AN_DERIVE_DIFFERENCE, /* item mean of the first minus that of the second */
    AN_DERIVE_EXTREMES, /* of parallel streams of one: stored is the mean over all of them, each is
                             looked up in its own stream */
    AN_DERIVE_TOGETHER  /* both judged at once: stored is the item mean of the first, the other is
                             looked up beside it in its own stream */
};

enum an_subgroup_kind {
    AN_SUBGROUP_ITEM, /* all rows of one item in a file (split by the characteristic's splits) */
    AN_SUBGROUP_ROW,  /* each row is a sample */
    AN_SUBGROUP_EVERY /* each `subgroup_size` consecutive rows of the stream; a last incomplete
                          one is a sample too, with its own n */
};

/* The shape that readings are said to have, for capability. */
struct an_shape_choice {
    enum an_shape shape; /* AN_SHAPE_NORMAL if not declared */
    bool declared;
    bool automatic; /* the best of all shapes is looked for */
};

/* The scale that readings are put on before they are charted. */
struct an_scale_choice {
    enum an_scale scale; /* AN_SCALE_NONE: charted as they are */
    bool automatic;      /* the power, or which of the Johnson shapes, is found from the baseline */
    double lambda;       /* Box-Cox, if given */
    double shift;        /* Box-Cox: added before; 0 unless declared */
    enum an_shape shape; /* Johnson, if given */
};

struct an_product_given { /* NAN: to be learned */
    const char *name;
    double target, sigma;
};

struct an_characteristic {
    const char *name, *title;
    size_t station; /* index into stations */
    enum an_value_kind kind;
    const char *unit;        /* the unit it is stored and shown in; "1" for none */
    const char *column;      /* value (measured) or count (counted) column; NULL if derived */
    const char *column_unit; /* unit as the file has it; equals unit if not given */
    double factor, offset;   /* unit = column * factor + offset */
    /* counted */
    struct an_word_list sum_columns;  /* counts to be added, when more than one column */
    const char *opportunities_column; /* or NULL */
    double opportunities;             /* fixed per row (with count_rows: per sample), or NAN */
    bool count_rows;                  /* each row is one event (defect list) */
    double per;                       /* display scale: 1e6 shows per million; 1 by default */
    const char *success;              /* counted by a text column: its name, as in `column`; rows
                                         whose field equals one of the words in `events` count 1,
                                         others 0; NULL otherwise */
    struct an_word_list events;
    /* derived */
    enum an_derivation derivation;
    size_t of[AN_JOINT_MOST]; /* characteristic indexes, of the same station; AN_NONE behind; a
                     source that is derived itself stands before what is made of it */
    const char *of_name[AN_JOINT_MOST];                    /* their names; NULL as of */
    const struct an_characteristic *source[AN_JOINT_MOST]; /* and they themselves */
    size_t of_count, of_given;                             /* found; named */
    /* where in the item a reading was taken */
    const char *position_column; /* fixed places: each has a baseline of its own; or NULL */
    const char *row_column, *column_column; /* grid of the places, for maps and neighbour steps */
    struct an_word_list splits; /* column names; each combination of values is a stream */
    const char *only_column;    /* only rows whose column holds one of these words */
    struct an_word_list only_words;
    double target, lsl, usl;           /* spec in `unit`; NAN where there is none */
    double possible_min, possible_max; /* physically possible, in `unit`; outside: row held */
    struct an_missing_code *missing;
    size_t missing_count;
    enum an_family family;
    enum an_subgroup_kind subgroup;
    int subgroup_size;
    double limit_sigmas;           /* 3 by default */
    struct an_weighting weighting; /* of the level panel; all zero: points one by one */
    bool probability;              /* p, np, c, u: limits from the distribution, not at sigmas */
    enum an_joint_spread spread;   /* t2, mewma: what the covariance is learned from */
    struct an_rule_choice rules;   /* see stat/rules.h */
    const char *ribbon_column;     /* column of this station that names the upstream batch; of wear
                                      the tool's life, of short_run the product */
    struct an_product_given *products; /* short_run */
    size_t product_count;
    size_t ribbon_kind;           /* or: kind of parent item to look up by links; or AN_NONE */
    int decimals;                 /* for showing; from the file if -1 */
    bool signal_is_news;          /* false: charted, never signalled */
    struct an_shape_choice shape; /* of the readings, for capability */
    struct an_scale_choice scale; /* of the chart; capability is of the readings as they are */
    size_t line_no;
};

/* How long readings and originals are kept after both the newest event of a file and its taking; 0:
 * for good. */
struct an_keep {
    int64_t readings_us, originals_us;
};

struct an_station {
    const char *name, *title;
    const char *folder;  /* spool folder, relative to the description's folder */
    const char *pattern; /* file names, fnmatch(3) */
    struct an_dialect dialect;
    struct an_preamble_field *preamble;
    size_t preamble_count;
    struct an_time_column time;
    size_t item_kind; /* index into kinds */
    const char *item_column;
    bool item_refines; /* the station makes the item: a new serial is expected */
    struct an_link_rule *links;
    size_t link_count;
    struct an_purpose_rule purpose;
    const char *sequence_column; /* rows carry a running number, or NULL */
    const char *gauge_column, *tool_column, *operator_column, *attempt_column; /* or NULL */
    const char *gauge; /* fixed gauge name, or NULL */
    struct {
        const char *whole, *part;
    } * part_whole; /* part <= whole in every row */
    size_t part_whole_count;
    struct {
        const char *column;
        struct an_word_list words;
    } * allowed; /* closed code lists */
    size_t allowed_count;
    struct an_word_list key;    /* columns that tell one row of an item from another; none: the
                                    usual ones (src/intake/conflict.c) */
    const char *reason_column;  /* why a row was corrected, or NULL */
    bool item_known_first;      /* rows of items nobody has seen yet wait */
    int64_t serial_within_us;   /* an item's rows here lie within this time; 0: not looked at */
    int64_t clock_tolerance_us; /* how wrong the station's clock may be; 0: not looked at */
    int64_t late_after_us;      /* behind the newest event by more than this is late */
    const char *number_regex;   /* of the file's name; group 1 is its running number, or NULL */
    const char *number_column;  /* preamble column that holds it, or NULL */
    const char
        *identity_column;    /* preamble column or tool column that names the machine, or NULL */
    const char *cautions;    /* one line, shown on this station's pages, or NULL */
    int64_t silent_after_us; /* 0: never said to be silent */
    struct an_keep keep;     /* the line's where the station says nothing */
    size_t *characteristics; /* indexes into the line's list */
    size_t characteristic_count;
    size_t line_no;
};

/* A gauge that was calibrated. */
struct an_gauge {
    const char *name;
    int64_t until_us;    /* end of its last day; AN_NO_INSTANT after a mistake */
    const char *station; /* where it belongs, or NULL: anywhere */
};

struct an_line {
    const char *name, *title;
    const char *zone_name;
    struct an_zone *zone;
    struct an_keep keep; /* of files of no station, and where a station says nothing */
    struct an_shift_pattern_entry *shifts;
    size_t shift_count;
    struct an_item_kind *kinds;
    size_t kind_count;
    struct an_station *stations;
    size_t station_count;
    struct an_gauge *gauges; /* none: no calibration is asked about */
    size_t gauge_count;
    struct an_characteristic *characteristics; /* of all stations, station by station */
    size_t characteristic_count;
    struct an_bytes source; /* the file's bytes, kept */
    const char *folder;     /* folder of the file it was read from; "." if from memory */
    struct an_arena *arena; /* owns everything above */
};

/* Called once for each mistake, in the order of the file. */
typedef void an_line_mistake(void *context, const char *path, uint64_t line, uint64_t column,
                             const char *text);

/*
 * Reads and checks a description. All mistakes are told, not the first only; each text says what
 * is wrong and what would be right. On AN_OK *line is the caller's, to end with an_line_close().
 * AN_BAD_CONFIG if there was any mistake (err says how many), AN_NOT_FOUND, AN_IO, AN_NO_MEMORY.
 * path names the text in messages; `folder` is where relative spool folders start.
 */
AN_CHECKED enum an_status an_line_read(struct an_bytes yaml, const char *path, const char *folder,
                                       an_line_mistake *mistake, void *context,
                                       struct an_line **line, struct an_error *err);
AN_CHECKED enum an_status an_line_read_file(const char *path, an_line_mistake *mistake,
                                            void *context, struct an_line **line,
                                            struct an_error *err);
void an_line_close(struct an_line *line); /* NULL is fine */

/* AN_NONE if there is none of that name. */
size_t an_line_station(const struct an_line *line, struct an_bytes name);
size_t an_line_characteristic(const struct an_line *line, size_t station, struct an_bytes name);
size_t an_line_kind(const struct an_line *line, struct an_bytes name);
/* Does a station say that a part of that kind sits in one whole of that kind at a time? */
bool an_line_single(const struct an_line *line, size_t part_kind, size_t whole_kind);

/* The shift an instant belongs to. A shift is known by the local date on which it starts. */
struct an_shift {
    size_t pattern;            /* index into shifts; AN_NONE in a gap between shifts */
    int64_t from_us, until_us; /* half open; real length, 7 or 9 h on clock-change days */
    int64_t start_day;         /* days since 1970-01-01, local date of its start */
};
struct an_shift an_line_shift_at(const struct an_line *line, int64_t at_us);
struct an_shift an_line_shift_before(const struct an_line *line, const struct an_shift *shift);
struct an_shift an_line_shift_after(const struct an_line *line, const struct an_shift *shift);
/* "2026-03-04 night"; 64 bytes. */
char *an_line_shift_label(const struct an_line *line, const struct an_shift *shift,
                          char buffer[64]);
/* Reads that label. AN_BAD_USAGE with a text naming the shifts there are. */
AN_CHECKED enum an_status an_line_shift_parse(const struct an_line *line, struct an_bytes label,
                                              struct an_shift *shift, struct an_error *err);
/* The instant of a minute of a local day (days since 1970-01-01): its first coming where it comes
 * twice, the jump where the clock jumps over it. */
int64_t an_line_moment(const struct an_line *line, int64_t day, int minute);

/* A week of the line: from the first shift that starts on a Monday (local date; midnight if the line
 * has no shifts) to that of the next. Numbered as in ISO 8601-1:2019: week 1 holds the year's first
 * Thursday. */
struct an_week {
    int64_t from_us, until_us;
    int64_t monday; /* days since 1970-01-01 */
};
struct an_week an_line_week_at(const struct an_line *line, int64_t at_us);
struct an_week an_line_week_before(const struct an_line *line, const struct an_week *week);
char *an_line_week_label(const struct an_week *week, char buffer[16]); /* "2026-W10" */
/* Reads that label. AN_BAD_USAGE with a text that says how it is written. */
AN_CHECKED enum an_status an_line_week_parse(const struct an_line *line, struct an_bytes label,
                                             struct an_week *week, struct an_error *err);

#endif
