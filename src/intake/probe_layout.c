/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The layout of a file: its delimiter, the lines before the header, the header, the row of units,
 * the last line. Must never take readings for names: a file whose first row holds readings has no
 * header, and is told so.
 *
 * The hard idea: no delimiter is known before the fields are, and commas stand in numbers too. Each
 * delimiter parts the first lines, and the one is chosen whose rows have one number of fields and
 * whose fields look like numbers, times and words with no other delimiter left in them.
 */
#include "intake/probe_inner.h"
#include "line/unit.h"

#include <string.h>

enum { MOST_RECORDS = 400, MOST_PRELUDE = 64 };
static const char delimiters[4] = {',', ';', '\t', '|'};

const char *an_probe_delimiter_name(char delimiter)
{
    return delimiter == ';'    ? "semicolon"
           : delimiter == '\t' ? "tab"
           : delimiter == '|'  ? "bar"
                               : "comma";
}

/* ---- the first records, parted by one delimiter ----------------------------------------------- */
struct look {
    struct an_probe_state *probe;
    struct an_lines lines;
    bool open;
};

static bool look_open(struct look *look, struct an_probe_state *probe,
                      const struct an_probe_chunk *chunk, char delimiter)
{
    struct an_error err;
    memset(look, 0, sizeof *look);
    look->probe = probe;
    an_lines_begin(&look->lines, delimiter, true);
    unsigned char *room = an_lines_room(&look->lines, chunk->length + 1);
    if (!room || an_fields_begin(&probe->fields, delimiter, true, &err)) {
        probe->no_memory = true;
        an_lines_free(&look->lines);
        return false;
    }
    memcpy(room, chunk->text, chunk->length);
    an_lines_added(&look->lines, chunk->length, true);
    return true;
}

static bool look_next(struct look *look, struct an_record *record, bool *parted)
{
    struct an_error err;
    if (look->probe->no_memory || an_lines_record(&look->lines, record) != AN_LINES_GOT) {
        return false;
    }
    an_lines_take(&look->lines, record);
    const enum an_status st =
        record->bad_quote ? AN_DOMAIN : an_fields_part(&look->probe->fields, record->text, &err);
    look->probe->no_memory = look->probe->no_memory || st == AN_NO_MEMORY;
    *parted = st == AN_OK;
    return true;
}

static bool is_blank(struct an_bytes text)
{
    return an_bytes_trim(text).length == 0;
}

static bool is_clear(struct an_bytes cell)
{
    if (cell.length == 0 || an_probe_number_like(cell) || an_probe_time_like(cell)) {
        return true;
    }
    for (size_t i = 0; i < sizeof delimiters; i++) {
        if (memchr(cell.at, delimiters[i], cell.length)) {
            return false;
        }
    }
    return true;
}

static bool is_name_like(struct an_bytes cell)
{
    return cell.length && !an_probe_number_like(cell) && !an_probe_time_like(cell);
}

/* All fields are names. */
static bool is_header(const struct an_fields *fields)
{
    size_t empty = 0;
    for (size_t i = 0; i < fields->count; i++) {
        empty += fields->at[i].length == 0;
        if (fields->at[i].length && !is_name_like(fields->at[i])) {
            return false;
        }
    }
    return empty == 0 || (fields->count > 2 && empty == 1);
}

struct score {
    double worth;
    size_t columns;
    double share;  /* of the rows have that many fields */
    size_t values; /* fields that are numbers, times or serials */
};

static struct score score_of(struct an_probe_state *probe, const struct an_probe_chunk *chunk,
                             char delimiter)
{
    struct score score = {.columns = 1};
    struct look look;
    struct an_record record;
    size_t counts[MOST_RECORDS];
    double clear[MOST_RECORDS];
    size_t n = 0;
    bool header = false;
    bool parted = false;
    bool headers[MOST_RECORDS];

    if (!look_open(&look, probe, chunk, delimiter)) {
        return score;
    }
    while (n < MOST_RECORDS && look_next(&look, &record, &parted)) {
        if (is_blank(record.text) || record.text.at[0] == '#') {
            continue;
        }
        const struct an_fields *fields = &probe->fields;
        size_t good = 0;
        for (size_t i = 0; parted && i < fields->count && i < AN_MOST_COLUMNS; i++) {
            good += is_clear(fields->at[i]);
            score.values += an_probe_number_like(fields->at[i]) ||
                            an_probe_time_like(fields->at[i]) ||
                            an_probe_serial_like(fields->at[i]);
        }
        counts[n] = parted ? fields->count : 0;
        headers[n] =
            parted && fields->count < AN_MOST_COLUMNS && n < MOST_PRELUDE && is_header(fields);
        clear[n++] = parted && fields->count ? (double)good / (double)fields->count : 0;
    }
    an_lines_free(&look.lines);
    size_t best = 0;
    for (size_t i = 0; i < n; i++) {
        size_t same = 0;
        for (size_t k = 0; k < n; k++) {
            same += counts[k] == counts[i];
        }
        if (counts[i] >= 2 && same > best) {
            best = same;
            score.columns = counts[i];
        }
    }
    double clearness = 0;
    for (size_t i = 0; best && i < n; i++) {
        if (counts[i] == score.columns) {
            clearness += clear[i] / (double)best;
            header = header || headers[i];
        }
    }
    if (best) {
        score.share = (double)best / (double)n;
        /* words alone may be prose that happens to part alike */
        if (score.share < 0.95 && score.values * 20 < best * score.columns) {
            return (struct score){.columns = 1};
        }
        score.worth = score.share * clearness * (header ? 1 : 0.6);
    }
    return score;
}

static void choose_delimiter(struct an_probe_state *probe, const struct an_probe_chunk *chunk,
                             struct an_probe_layout *layout)
{
    double best = 0;
    double second = 0;

    layout->delimiter = ',';
    layout->columns = 1;
    for (size_t i = 0; i < sizeof delimiters; i++) {
        const struct score score = score_of(probe, chunk, delimiters[i]);
        if (score.worth > best) {
            second = best;
            layout->second = best > 0 ? layout->delimiter : 0;
            best = score.worth;
            layout->delimiter = delimiters[i];
            layout->columns = score.columns;
        } else if (score.worth > second) {
            second = score.worth;
            layout->second = delimiters[i];
        }
    }
    if (best < 0.3) { /* rows that part differently: fields of prose, not of a table */
        layout->delimiter = ',';
        layout->columns = 1;
        layout->second = 0;
    } else if (second < best * 0.8) {
        layout->second = 0;
    }
}

/* ---- header, preamble, units ------------------------------------------------------------------ */
/* Names and units that are no UTF-8 or hold control characters get question marks, so that they name
 * no column; a description takes neither. */
static struct an_bytes keep(struct an_probe_state *probe, struct an_bytes cell)
{
    const struct an_bytes trimmed = an_bytes_trim(cell);
    char *copy = an_arena_copy(probe->arena, trimmed.at, trimmed.length);
    probe->no_memory = probe->no_memory || !copy;
    for (size_t i = 0; copy && i < trimmed.length; i++) {
        i += an_utf8_check((struct an_bytes){(unsigned char *)copy + i, trimmed.length - i});
        if (i < trimmed.length) {
            copy[i] = '?';
        }
    }
    for (size_t i = 0; copy && i < trimmed.length; i++) {
        copy[i] = (unsigned char)copy[i] < 0x20 || copy[i] == 0x7F ? '?' : copy[i];
    }
    return (struct an_bytes){(const unsigned char *)(copy ? copy : ""), copy ? trimmed.length : 0};
}

static struct an_bytes *keep_all(struct an_probe_state *probe)
{
    const struct an_fields *fields = &probe->fields;
    struct an_bytes *kept = an_arena_alloc(probe->arena, fields->count + 1, sizeof *kept);
    probe->no_memory = probe->no_memory || !kept;
    for (size_t i = 0; kept && i < fields->count; i++) {
        kept[i] = keep(probe, fields->at[i]);
    }
    return kept;
}

static void add_prelude(struct an_probe_state *probe, struct an_probe_layout *layout,
                        struct an_bytes line)
{
    if (!layout->prelude) {
        layout->prelude = an_arena_alloc(probe->arena, MOST_PRELUDE, sizeof *layout->prelude);
        probe->no_memory = probe->no_memory || !layout->prelude;
    }
    if (layout->prelude && layout->prelude_count < MOST_PRELUDE) {
        line.length = line.length < 400 ? line.length : 400;
        layout->prelude[layout->prelude_count++] = (const char *)keep(probe, line).at;
    }
}

static const char *comment_start(struct an_bytes line)
{
    if (line.length >= 2 && line.at[0] == '/' && line.at[1] == '/') {
        return "//";
    }
    return line.length && line.at[0] == '#'   ? "#"
           : line.length && line.at[0] == '%' ? "%"
           : line.length && line.at[0] == '!' ? "!"
                                              : NULL;
}

/* Has the record behind this one as many fields? Or is there none? */
static bool table_follows(struct look *look, size_t columns)
{
    struct an_error err;
    struct an_record next;

    if (an_lines_record(&look->lines, &next) != AN_LINES_GOT) {
        return true;
    }
    return !next.bad_quote && !is_blank(next.text) &&
           an_fields_part(&look->probe->fields, next.text, &err) == AN_OK &&
           look->probe->fields.count == columns;
}

/* The header line, and what stands before it. */
static bool find_header(struct an_probe_state *probe, const struct an_probe_chunk *chunk,
                        struct an_probe_layout *layout)
{
    struct look look;
    struct an_record record = {0};
    bool parted = false;
    uint64_t since = 0; /* lines since the last that counts */
    bool found = false;

    if (!look_open(&look, probe, chunk, layout->delimiter)) {
        return false;
    }
    while (!found && layout->prelude_count < MOST_PRELUDE && record.line < 2000 &&
           look_next(&look, &record, &parted)) {
        const char *comment = comment_start(record.text);
        if (is_blank(record.text)) {
            since++;
            continue;
        }
        if (parted && probe->fields.count == layout->columns &&
            !(comment && layout->columns == 1)) {
            const bool names = is_header(&probe->fields);
            const uint64_t line = record.line;
            struct an_bytes *kept = names ? keep_all(probe) : NULL;
            const bool table = table_follows(&look, layout->columns);
            /* a comment that parts by chance, with the names below it */
            const bool aside = comment && table && is_header(&probe->fields);
            if (!aside && (!names || table)) {
                layout->header_line = names ? line : 0;
                layout->names = kept;
                layout->names_count = names ? layout->columns : 0;
                found = true; /* a row of the table, names or not */
                continue;
            }
        }
        add_prelude(probe, layout, record.text);
        if (comment && (!layout->comment || strcmp(comment, layout->comment) == 0)) {
            layout->comment = comment;
            layout->comments++;
        } else {
            layout->preamble += since + 1;
            since = 0;
        }
    }
    an_lines_free(&look.lines);
    return layout->header_line > 0;
}

static bool is_unit_like(struct an_bytes cell)
{
    return cell.length <= 16 && is_name_like(cell);
}

/* Is the record behind the header a row of units? */
static void find_units(struct an_probe_state *probe, const struct an_probe_chunk *chunk,
                       struct an_probe_layout *layout)
{
    struct look look;
    struct an_record record;
    bool parted = false;
    size_t known = 0;
    size_t numbers = 0;
    bool fits = false;

    if (!look_open(&look, probe, chunk, layout->delimiter)) {
        return;
    }
    while (look_next(&look, &record, &parted) && record.line <= layout->header_line) {
    }
    const struct an_fields *fields = &probe->fields;
    if (parted && record.line > layout->header_line && fields->count == layout->columns) {
        fits = true;
        for (size_t i = 0; i < fields->count; i++) {
            const struct an_bytes cell = an_bytes_trim(fields->at[i]);
            fits = fits && (cell.length == 0 || is_unit_like(cell));
            known += cell.length && an_unit_known(cell) && !an_probe_number_like(cell);
        }
        if (fits && known) {
            layout->units = keep_all(probe);
        }
        bool row_parted = false;
        if (known && look_next(&look, &record, &row_parted) && row_parted) {
            for (size_t i = 0; i < fields->count; i++) {
                numbers += an_probe_number_like(fields->at[i]) != AN_PROBE_NOT_NUMBER;
            }
        }
    }
    an_lines_free(&look.lines);
    layout->units_row = fits && known && numbers > 0;
    layout->units_known = known;
    if (!layout->units_row) {
        layout->units = NULL;
    }
}

/* The last line, if it is no row. */
static void find_last(struct an_probe_state *probe, struct an_probe_file *file)
{
    struct an_probe_layout *layout = &file->layout;
    const struct an_probe_chunk *chunk = &file->chunks[file->chunk_count - 1];
    struct an_error err;

    if (!chunk->is_end || !chunk->length) {
        return;
    }
    struct an_bytes rest = an_bytes_trim((struct an_bytes){chunk->text, chunk->length});
    size_t from = rest.length;
    while (from > 0 && rest.at[from - 1] != '\n' && rest.at[from - 1] != '\r') {
        from--;
    }
    const struct an_bytes line = {rest.at + from, rest.length - from};
    if (line.length == 0 || line.length > 200 || from == 0 ||
        an_fields_begin(&probe->fields, layout->delimiter, true, &err)) {
        return;
    }
    const bool row = an_fields_part(&probe->fields, line, &err) == AN_OK &&
                     probe->fields.count == layout->columns &&
                     (layout->columns > 1 || an_probe_number_like(line) || !comment_start(line));
    if (!row && probe->fields.count <= 2) {
        layout->last_line = an_utf8_check(line) == line.length
                                ? an_arena_copy(probe->arena, line.at, line.length)
                                : NULL;
    }
}

/* In a file of one column: readings, times or serials, or prose? */
static bool is_column(struct an_probe_state *probe, const struct an_probe_chunk *chunk)
{
    struct look look;
    struct an_record record;
    bool parted = false;
    size_t n = 0;
    size_t good = 0;

    if (!look_open(&look, probe, chunk, ',')) {
        return false;
    }
    while (n < MOST_RECORDS && look_next(&look, &record, &parted)) {
        const struct an_bytes text = an_bytes_trim(record.text);
        if (text.length) {
            n++;
            good += an_probe_number_like(text) || an_probe_time_like(text) ||
                    an_probe_serial_like(text);
        }
    }
    an_lines_free(&look.lines);
    return n > 2 && good * 2 > n;
}

bool an_probe_layout_of(struct an_probe_state *probe, struct an_probe_file *file, const char **why)
{
    struct an_probe_layout *layout = &file->layout;
    const struct an_probe_chunk *head = &file->chunks[0];

    memset(layout, 0, sizeof *layout);
    if (an_bytes_trim((struct an_bytes){head->text, head->length}).length == 0) {
        *why = "the file holds blank lines only";
        return false;
    }
    choose_delimiter(probe, head, layout);
    if (layout->columns == 1 && !is_column(probe, head)) {
        *why =
            "no table is found in it: no comma, semicolon, tab or bar parts its lines into the same "
            "number of fields; these are the delimiters that can be read";
        return false;
    }
    if (layout->columns > AN_MOST_COLUMNS) {
        *why = "its rows have more fields than can be read";
        return false;
    }
    if (!find_header(probe, head, layout)) {
        *why =
            "it has no header: the first row of the table holds readings, not names; columns are "
            "found by name, so let the station write a line of names first";
        return false;
    }
    find_units(probe, head, layout);
    find_last(probe, file);
    return !probe->no_memory;
}
