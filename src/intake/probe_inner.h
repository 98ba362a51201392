/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the parts of the probe share. One thread a probe. */
#ifndef AN_INTAKE_PROBE_INNER_H
#define AN_INTAKE_PROBE_INNER_H

#include "andamento/base/memory.h"
#include "andamento/base/names.h"
#include "andamento/base/number.h"
#include "intake/decode.h"
#include "intake/fields.h"
#include "intake/lines.h"
#include "intake/probe.h"
#include "intake/source.h"

enum {
    AN_PROBE_FILES = 100,          /* of more, some are looked into */
    AN_PROBE_BYTES = 16 << 20,     /* of all files */
    AN_PROBE_FILE_BYTES = 6 << 20, /* of one */
    AN_PROBE_WORDS = 20000         /* distinct texts that are kept of a column */
};

/* ---- samples ---------------------------------------------------------------------------------- */
struct an_probe_chunk { /* whole lines of a file, in UTF-8 */
    unsigned char *text;
    size_t length;
    uint64_t from; /* byte of the file */
    bool is_end;   /* the file ends with it */
};

struct an_probe_layout {
    char delimiter, second; /* second best, 0 if none is near */
    size_t columns;         /* fields of most rows */
    uint64_t header_line;   /* 0: none */
    size_t names_count;
    struct an_bytes *names; /* the arena's */
    bool units_row;
    struct an_bytes *units; /* per column, or NULL */
    size_t units_known;
    uint64_t preamble;    /* lines before the header that are no comments */
    uint64_t comments;    /* lines that are, before the header */
    const char *comment;  /* how they begin, or NULL */
    const char **prelude; /* all lines before the header */
    size_t prelude_count;
    const char *last_line; /* that is no row; NULL if there is none */
    bool numbers_in_header;
};

struct an_probe_file {
    const char *path, *name;
    uint64_t bytes, read;
    bool whole, passed_over;
    struct an_probe_chunk chunks[3];
    size_t chunk_count;
    enum an_coding coding;
    const char *mark;
    uint64_t high, broken; /* characters beyond ASCII that are UTF-8, bytes that are not */
    uint64_t c1;           /* bytes 80 to 9F among those */
    bool stopped;          /* a byte that no encoding has */
    struct an_probe_layout layout;
    uint64_t rows, odd_rows; /* with another number of fields */
    uint64_t odd_line, footer_at;
    bool other_columns, is_odd;
    size_t *column_of; /* per field, index of the probe's column */
};

/* ---- columns ---------------------------------------------------------------------------------- */
enum an_probe_role {
    AN_PROBE_NO_ROLE,
    AN_PROBE_TIME,
    AN_PROBE_SERIAL,
    AN_PROBE_ITEM,
    AN_PROBE_LINK,
    AN_PROBE_WORDS_FEW, /* few distinct words */
    AN_PROBE_SPLIT,
    AN_PROBE_TOOL,
    AN_PROBE_GAUGE,
    AN_PROBE_OPERATOR,
    AN_PROBE_ATTEMPT,
    AN_PROBE_SEQUENCE,
    AN_PROBE_PURPOSE,
    AN_PROBE_OUTCOME,
    AN_PROBE_PLACE,
    AN_PROBE_MEASURED,
    AN_PROBE_COUNT,
    AN_PROBE_WHOLE, /* what counts are counts of */
    AN_PROBE_EMPTY
};

struct an_probe_marks {    /* how numbers are written; fields that are numbers by one mark */
    uint64_t point, comma; /* surely */
    uint64_t point_three, comma_three; /* "1.234": decimals or thousands */
    uint64_t group_point, group_comma, group_space, group_apostrophe; /* surely thousands */
    uint64_t whole;
};

struct an_probe_word {
    uint64_t count;
    uint64_t line; /* of the first; 0 if not known */
    size_t file;
};

struct an_probe_time {
    const char *pattern; /* the one that reads most; NULL: none */
    uint64_t hits, tried;
    const char *other;  /* another that reads as many and means another day */
    const char *beaten; /* the one that would mean other days, but does not read all */
    uint64_t settled;   /* texts that only the first reads */
    bool milliseconds, clock_only, date_only, has_zone;
    bool two_digit_year;
    const char *first, *odd; /* examples: the first field, one that does not fit */
    uint64_t odd_line;
    size_t odd_file;
};

struct an_probe_column {
    const char *name;
    const char *unit; /* of the units row, or NULL */
    struct an_probe_marks marks;
    uint64_t rows, empty, numbers, whole, texts; /* rows = empty + numbers + texts */
    uint64_t leading_zero, outer_blanks;
    double least, most;
    int decimals;
    uint64_t steps, up, up_one, down, same; /* from row to row in a file, numbers */
    uint64_t changes;                       /* rows whose text differs from the row before */
    struct an_names *words;                 /* distinct texts, up to AN_PROBE_WORDS */
    struct an_probe_word *of_word;
    size_t word_room;
    bool more_words;
    struct an_probe_time time;
    enum an_probe_role role;
    bool varies_in_item;
    uint64_t settings; /* distinct pairs of item and text */
    size_t kind;       /* of the description given, whose serials these are; AN_NONE */
    /* the row before */
    double last;
    bool has_last;
    size_t last_word;
};

struct an_probe_prelude { /* a value in a line before the header */
    const char *name, *regex, *value;
    size_t files; /* in which it was found */
    bool is_item;
};

struct an_probe_state {
    struct an_arena *arena;
    const struct an_probe_options *options;
    struct an_probe_file *files;
    size_t file_count, given;
    struct an_probe_column *columns;
    size_t column_count;
    struct an_probe_file *model; /* the file whose layout most files share */
    struct an_fields fields;
    bool no_memory;
    char decimal, group;
    bool numbers_quoted;
    const char *footer_regex, *end_marker;
    uint64_t rows;
    /* the item */
    const char *item_name;  /* column, of the table or of the preamble */
    const char *item_regex; /* when it stands in the preamble */
    const char *item_pattern, *item_kind;
    size_t grid_row, grid_column; /* AN_NONE */
    uint64_t grid_twice;          /* rows at a place that the group had already */
    struct an_probe_prelude *prelude;
    size_t prelude_count;
    uint64_t items, groups, group_rows[3]; /* groups by item and split: least, middle, most rows */
    struct an_probe_result *result;
    struct an_probe_finding *findings;
    size_t finding_count, finding_room;
    size_t remark_room;
};

/* Called for each row; line 0 when it is not known. False ends it. */
typedef bool an_probe_row(void *context, struct an_probe_state *probe, size_t file, uint64_t line,
                          const struct an_fields *fields);

AN_CHECKED enum an_status an_probe_sample(struct an_probe_state *probe, const char *path,
                                          size_t budget, struct an_probe_file *file,
                                          struct an_error *err);
void an_probe_file_close(struct an_probe_file *file);
/* Records of the file's samples that are rows: not blank, comment, preamble, header, units, footer;
 * rows with another number of fields are counted in the file and passed over. */
void an_probe_rows(struct an_probe_state *probe, size_t file, an_probe_row *row, void *context);
void an_probe_all_rows(struct an_probe_state *probe, an_probe_row *row, void *context);
/* Finds file->layout from its first sample; false if the text has no table, *why says so. */
bool an_probe_layout_of(struct an_probe_state *probe, struct an_probe_file *file, const char **why);
const char *an_probe_delimiter_name(char delimiter);

/* ---- cells ------------------------------------------------------------------------------------ */
enum an_probe_number {
    AN_PROBE_NOT_NUMBER,
    AN_PROBE_WHOLE_NUMBER,
    AN_PROBE_POINT,
    AN_PROBE_COMMA,
    AN_PROBE_POINT_THREE,
    AN_PROBE_COMMA_THREE,
    AN_PROBE_GROUP_POINT, /* 1.234,5 or 1.234.567 */
    AN_PROBE_GROUP_COMMA,
    AN_PROBE_GROUP_SPACE,
    AN_PROBE_GROUP_APOSTROPHE
};
enum an_probe_number an_probe_number_like(struct an_bytes cell);
bool an_probe_time_like(struct an_bytes cell);
/* Could it be a serial: letters and digits without blanks, at least one digit. */
bool an_probe_serial_like(struct an_bytes cell);
/* Does the name hold one of the words as a part of its own ("tile_id" holds "id")? ASCII case does
 * not count. `words` is parted by blanks. */
bool an_probe_name_has(const char *name, const char *words);
bool an_probe_is_name(const char *text); /* as names of the description have to be */
/* A name for the description made of a text. */
const char *an_probe_make_name(struct an_arena *arena, const char *text);

/* ---- parts ------------------------------------------------------------------------------------ */
void an_probe_marks_find(struct an_probe_state *probe);
void an_probe_columns_read(struct an_probe_state *probe);
void an_probe_times_find(struct an_probe_state *probe);
void an_probe_roles_find(struct an_probe_state *probe);
/* probe_items.c: the item's place in the preamble, if it stands there; how columns vary within the
 * items; rows of groups by item and split. */
void an_probe_prelude_find(struct an_probe_state *probe);
void an_probe_items_count(struct an_probe_state *probe);
void an_probe_groups_count(struct an_probe_state *probe);
/* A regular expression for whole serials made of the column's texts, NULL if they have too many
 * shapes; *doubt a sentence or NULL. `reference` gets the part of reference items or NULL. */
const char *an_probe_serials(struct an_probe_state *probe, const struct an_probe_column *column,
                             const char **doubt, const char **reference);
const char *an_probe_regex_quote(struct an_arena *arena, const char *text, size_t length);
/* The unit that a column's name ends in or holds in brackets; NULL if none. *doubt or NULL. */
const char *an_probe_unit_of_name(struct an_arena *arena, const char *name, const char **doubt);

/* ---- findings --------------------------------------------------------------------------------- */
void an_probe_format(struct an_probe_state *probe);      /* files, format, columns */
void an_probe_describe(struct an_probe_state *probe);    /* these, time, item, roles */
void an_probe_charts(struct an_probe_state *probe);      /* characteristics */
void an_probe_differences(struct an_probe_state *probe); /* remarks: files that differ */
struct an_probe_finding *an_probe_find(struct an_probe_state *probe, const char *path,
                                       bool proposed, const char *value, const char *evidence);
void an_probe_doubt(struct an_probe_state *probe, struct an_probe_finding *finding,
                    const char *format, ...) AN_PRINTF(3, 4);
void an_probe_remark(struct an_probe_state *probe, const char *format, ...) AN_PRINTF(2, 3);
/* Arena text; "" and no_memory when memory is out. */
const char *an_probe_sayf(struct an_probe_state *probe, const char *format, ...) AN_PRINTF(2, 3);
/* A YAML scalar that stands for the text whatever is in it. */
const char *an_probe_quoted(struct an_probe_state *probe, const char *text);
/* "line 7 of a.csv", or "a row of a.csv". */
const char *an_probe_where(struct an_probe_state *probe, size_t file, uint64_t line);
struct an_probe_column *an_probe_column_of(struct an_probe_state *probe, enum an_probe_role role);

#endif
