/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The items: where a serial stands in the lines before the header, how columns vary within an item,
 * how many rows an item has. Must never look at more rows than it can hold in memory.
 */
#include "intake/probe_inner.h"

#include <regex.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_ROWS = 200000, MOST_PRELUDE_VALUES = 16 };

/* ---- values before the header ----------------------------------------------------------------- */
/* Does group 1 read something in the line, and exactly `value` if that is given? */
static bool regex_reads(const char *regex, const char *line, const char *value)
{
    regex_t compiled;
    regmatch_t at[2] = {{-1, -1}, {-1, -1}};
    if (regcomp(&compiled, regex, REG_EXTENDED)) {
        return false;
    }
    bool reads = regexec(&compiled, line, 2, at, 0) == 0;
    regfree(&compiled);
    if (reads && value) {
        const size_t length = strlen(value);
        reads = at[1].rm_so >= 0 && (size_t)(at[1].rm_eo - at[1].rm_so) == length &&
                strncmp(line + at[1].rm_so, value, length) == 0;
    }
    return reads;
}

static size_t files_with(const struct an_probe_state *probe, const char *regex)
{
    size_t files = 0;
    for (size_t i = 0; i < probe->file_count; i++) {
        const struct an_probe_layout *layout = &probe->files[i].layout;
        bool found = false;
        for (size_t k = 0; k < layout->prelude_count && !found; k++) {
            found = layout->prelude[k] && regex_reads(regex, layout->prelude[k], NULL);
        }
        files += found && !probe->files[i].passed_over;
    }
    return files;
}

static bool is_word(char c)
{
    return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_' ||
           c == '-' || c == '.';
}

/* Values of that make: digits for digits, letters for letters, the marks between as they are. */
static const char *class_of(struct an_probe_state *probe, const char *value)
{
    struct an_text out = {0};
    for (const char *p = value; *p;) {
        const bool digit = *p >= '0' && *p <= '9';
        const bool letter = (*p | 0x20) >= 'a' && (*p | 0x20) <= 'z';
        size_t n = 1;
        while ((digit && p[n] >= '0' && p[n] <= '9') ||
               (letter && (p[n] | 0x20) >= 'a' && (p[n] | 0x20) <= 'z')) {
            n++;
        }
        an_text_add(&out, digit    ? "[0-9]+"
                          : letter ? "[A-Za-z]+"
                                   : an_probe_regex_quote(probe->arena, p, n));
        p += n;
    }
    const char *copy = an_probe_sayf(probe, "%s", an_text_of(&out));
    an_text_free(&out);
    return copy;
}

static void add_value(struct an_probe_state *probe, const char *line, const char *key,
                      size_t key_length, const char *between, size_t between_length,
                      const char *value, size_t value_length)
{
    const char *key_text = an_arena_copy(probe->arena, key, key_length);
    const char *value_text = an_arena_copy(probe->arena, value, value_length);
    if (!key_text || !value_text || probe->prelude_count == MOST_PRELUDE_VALUES) {
        return;
    }
    const struct an_bytes cell = {(const unsigned char *)value_text, value_length};
    const bool number = an_probe_number_like(cell) != AN_PROBE_NOT_NUMBER;
    struct an_probe_prelude *p = &probe->prelude[probe->prelude_count];
    p->name = an_probe_make_name(probe->arena, key_text);
    p->value = value_text;
    p->regex = an_probe_sayf(probe, "%s%s(%s)", an_probe_regex_quote(probe->arena, key, key_length),
                             an_probe_regex_quote(probe->arena, between, between_length),
                             number ? "[-+]?[0-9.,]+" : class_of(probe, value_text));
    for (size_t i = 0; i < probe->prelude_count; i++) {
        if (strcmp(probe->prelude[i].name, p->name) == 0) {
            return;
        }
    }
    if (!regex_reads(p->regex, line, value_text)) {
        return; /* something before it in the line would be read */
    }
    p->files = files_with(probe, p->regex);
    probe->prelude_count++;
}

/* "key=value", "key: value", "key;value", and "word SERIAL". */
static void read_prelude(struct an_probe_state *probe, const char *line)
{
    for (const char *p = line; *p;) {
        if (!is_word(*p)) {
            p++;
            continue;
        }
        const size_t key =
            strspn(p, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-.");
        const char *after = p + key;
        const size_t between = strspn(after, " =:;\t");
        const char *value = after + between;
        size_t length = 0;
        while (value[length] && is_word(value[length])) {
            length++;
        }
        while (length && value[length - 1] == '.') {
            length--;
        }
        const struct an_bytes cell = {(const unsigned char *)value, length};
        const bool joined = memchr(after, '=', between) || memchr(after, ':', between) ||
                            memchr(after, ';', between);
        const bool letter = (*p | 0x20) >= 'a' && (*p | 0x20) <= 'z';
        if (between && length && letter &&
            !an_probe_serial_like((struct an_bytes){(const unsigned char *)p, key}) &&
            (joined || an_probe_serial_like(cell))) {
            add_value(probe, line, p, key, after, between, value, length);
            p = value + length;
        } else {
            p = after;
        }
    }
}

static bool is_of_kind(const struct an_probe_state *probe, const struct an_probe_prelude *value)
{
    const struct an_line *line = probe->options->line;
    const char *kind = probe->options->kind;
    if (!kind) {
        return false;
    }
    const size_t k = line ? an_line_kind(line, an_bytes_of(kind)) : AN_NONE;
    if (k != AN_NONE && line->kinds[k].id_pattern) {
        const char *whole = an_arena_printf(probe->arena, "^(%s)$", line->kinds[k].id_pattern);
        return whole && regex_reads(whole, value->value, NULL);
    }
    return strcmp(value->name, kind) == 0;
}

void an_probe_prelude_find(struct an_probe_state *probe)
{
    const struct an_probe_layout *layout = &probe->model->layout;
    struct an_probe_column *column = an_probe_column_of(probe, AN_PROBE_ITEM);

    probe->prelude = an_arena_alloc(probe->arena, MOST_PRELUDE_VALUES, sizeof *probe->prelude);
    if (!probe->prelude) {
        probe->no_memory = true;
        return;
    }
    for (size_t i = 0; i < layout->prelude_count; i++) {
        if (layout->prelude[i]) {
            read_prelude(probe, layout->prelude[i]);
        }
    }
    /* the preamble's is the item when its kind was asked for and no column holds that kind */
    const char *kind = probe->options->kind;
    const bool column_fits = column && kind &&
                             ((probe->options->line && column->kind != AN_NONE &&
                               strcmp(probe->options->line->kinds[column->kind].name, kind) == 0) ||
                              (column->kind == AN_NONE && an_probe_name_has(column->name, kind)));
    for (size_t i = 0; i < probe->prelude_count && !column_fits; i++) {
        struct an_probe_prelude *value = &probe->prelude[i];
        const bool only =
            !column && !probe->item_regex && an_probe_serial_like(an_bytes_of(value->value)) &&
            an_probe_name_has(value->name,
                              "wall tile panel wafer carrier lot serial sn item id part board");
        if (!probe->item_regex && (is_of_kind(probe, value) || only)) {
            value->is_item = true;
            probe->item_name = value->name;
            probe->item_regex = value->regex;
            if (column) {
                column->role = AN_PROBE_LINK;
            }
        }
    }
}

/* ---- within the items ------------------------------------------------------------------------- */
struct tally {
    struct an_names *items, *pairs, *places;
    uint64_t *rows_of;
    size_t rows_room;
    size_t item; /* column, or AN_NONE: the file is the item */
    uint64_t rows;
    size_t file, *field_of;
    struct an_text key;
};

static bool tally_open(struct an_probe_state *probe, struct tally *tally)
{
    const struct an_probe_column *item = an_probe_column_of(probe, AN_PROBE_ITEM);

    memset(tally, 0, sizeof *tally);
    tally->item = item ? (size_t)(item - probe->columns) : AN_NONE;
    tally->file = SIZE_MAX;
    tally->items = an_names_open();
    tally->pairs = an_names_open();
    tally->places = an_names_open();
    tally->field_of = an_alloc(probe->column_count + 1, sizeof *tally->field_of);
    probe->no_memory =
        probe->no_memory || !tally->items || !tally->pairs || !tally->places || !tally->field_of;
    return !probe->no_memory;
}

static void tally_close(struct tally *tally)
{
    an_names_close(tally->items);
    an_names_close(tally->pairs);
    an_names_close(tally->places);
    an_free(tally->field_of);
    an_free(tally->rows_of);
    an_text_free(&tally->key);
}

static struct an_bytes cell_of(const struct tally *tally, const struct an_fields *fields,
                               size_t column)
{
    const size_t field = column == AN_NONE ? AN_NONE : tally->field_of[column];
    return field < fields->count ? fields->at[field] : (struct an_bytes){NULL, 0};
}

/* Begins the key of a row's item; false if the row has none. */
static bool begin_key(struct an_probe_state *probe, struct tally *tally, size_t file,
                      const struct an_fields *fields, bool by_file)
{
    if (tally->file != file) {
        for (size_t i = 0; i < probe->column_count; i++) {
            tally->field_of[i] = AN_NONE;
        }
        for (size_t i = 0; i < probe->files[file].layout.columns; i++) {
            tally->field_of[probe->files[file].column_of[i]] = i;
        }
        tally->file = file;
    }
    an_text_clear(&tally->key);
    an_text_addf(&tally->key, "%zu\x1f", by_file || tally->item == AN_NONE ? file : 0);
    const struct an_bytes item = cell_of(tally, fields, tally->item);
    an_text_add_bytes(&tally->key, item);
    return tally->item == AN_NONE || item.length > 0;
}

static void add_to_key(struct tally *tally, struct an_bytes cell)
{
    an_text_add_char(&tally->key, '\x1f');
    an_text_add_bytes(&tally->key, cell);
}

/* The key's number in the set; *is_new says whether it came with this call. */
static size_t put_key(struct an_probe_state *probe, const struct tally *tally, struct an_names *set,
                      bool *is_new)
{
    const size_t before = an_names_count(set);
    const size_t at =
        tally->key.failed ? AN_NO_NAME : an_names_add(set, an_bytes_of(an_text_of(&tally->key)));
    probe->no_memory = probe->no_memory || at == AN_NO_NAME;
    *is_new = at == before;
    return at;
}

static bool count_items(void *context, struct an_probe_state *probe, size_t file, uint64_t line,
                        const struct an_fields *fields)
{
    struct tally *tally = context;
    bool is_new = false;

    (void)line;
    if (!begin_key(probe, tally, file, fields, false)) {
        return true;
    }
    (void)put_key(probe, tally, tally->items, &is_new);
    const size_t start = tally->key.length;
    for (size_t i = 0; i < probe->column_count && !probe->no_memory; i++) {
        struct an_probe_column *c = &probe->columns[i];
        if (c->role != AN_PROBE_WORDS_FEW && c->role != AN_PROBE_TOOL) {
            continue;
        }
        tally->key.length = start;
        an_text_addf(&tally->key, "\x1f%zu", i);
        add_to_key(tally, cell_of(tally, fields, i));
        (void)put_key(probe, tally, tally->pairs, &is_new);
        c->settings += is_new;
    }
    tally->rows++;
    return tally->rows < MOST_ROWS && !probe->no_memory;
}

void an_probe_items_count(struct an_probe_state *probe)
{
    struct tally tally;

    if (tally_open(probe, &tally)) {
        an_probe_all_rows(probe, count_items, &tally);
        probe->items = an_names_count(tally.items);
    }
    for (size_t i = 0; i < probe->column_count; i++) {
        struct an_probe_column *c = &probe->columns[i];
        c->varies_in_item = c->settings * 10 > probe->items * 12;
    }
    tally_close(&tally);
}

static bool count_groups(void *context, struct an_probe_state *probe, size_t file, uint64_t line,
                         const struct an_fields *fields)
{
    struct tally *tally = context;
    bool is_new = false;

    (void)line;
    if (!begin_key(probe, tally, file, fields, true)) {
        return true;
    }
    for (size_t i = 0; i < probe->column_count; i++) {
        if (probe->columns[i].role == AN_PROBE_SPLIT) {
            add_to_key(tally, cell_of(tally, fields, i));
        }
    }
    const size_t at = put_key(probe, tally, tally->items, &is_new);
    void *array = tally->rows_of;
    if (probe->no_memory || !an_grow(&array, at, &tally->rows_room, sizeof *tally->rows_of)) {
        probe->no_memory = true;
        return false;
    }
    tally->rows_of = array;
    tally->rows_of[at] = is_new ? 1 : tally->rows_of[at] + 1;
    if (probe->grid_row != AN_NONE) {
        add_to_key(tally, cell_of(tally, fields, probe->grid_row));
        add_to_key(tally, cell_of(tally, fields, probe->grid_column));
        (void)put_key(probe, tally, tally->places, &is_new);
        probe->grid_twice += !is_new;
    }
    tally->rows++;
    return tally->rows < MOST_ROWS && !probe->no_memory;
}

static int by_size(const void *a, const void *b)
{
    const uint64_t x = *(const uint64_t *)a;
    const uint64_t y = *(const uint64_t *)b;
    return (x > y) - (x < y);
}

void an_probe_groups_count(struct an_probe_state *probe)
{
    struct tally tally;

    if (tally_open(probe, &tally)) {
        an_probe_all_rows(probe, count_groups, &tally);
        probe->groups = an_names_count(tally.items);
        if (probe->groups && !probe->no_memory) {
            qsort(tally.rows_of, probe->groups, sizeof *tally.rows_of, by_size);
            probe->group_rows[0] = tally.rows_of[0];
            probe->group_rows[1] = tally.rows_of[probe->groups / 2];
            probe->group_rows[2] = tally.rows_of[probe->groups - 1];
        }
    }
    tally_close(&tally);
}
