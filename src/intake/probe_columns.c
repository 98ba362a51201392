/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the columns hold: how numbers are written, ranges, decimals, distinct texts, steps from row
 * to row. Must never drop a field that is no number: it is counted and its text kept, since it may
 * be a code of a missing reading or damage, and a person has to see which.
 */
#include "intake/probe_inner.h"

#include <math.h>
#include <string.h>

/* ---- how numbers are written ------------------------------------------------------------------ */
static bool count_marks(void *context, struct an_probe_state *probe, size_t file, uint64_t line,
                        const struct an_fields *fields)
{
    (void)context;
    (void)line;
    for (size_t i = 0; i < fields->count; i++) {
        struct an_probe_marks *marks = &probe->columns[probe->files[file].column_of[i]].marks;
        switch (an_probe_number_like(an_bytes_trim(fields->at[i]))) {
        case AN_PROBE_WHOLE_NUMBER:
            marks->whole++;
            break;
        case AN_PROBE_POINT:
            marks->point++;
            break;
        case AN_PROBE_COMMA:
            marks->comma++;
            break;
        case AN_PROBE_POINT_THREE:
            marks->point_three++;
            break;
        case AN_PROBE_COMMA_THREE:
            marks->comma_three++;
            break;
        case AN_PROBE_GROUP_POINT:
            marks->group_point++;
            break;
        case AN_PROBE_GROUP_COMMA:
            marks->group_comma++;
            break;
        case AN_PROBE_GROUP_SPACE:
            marks->group_space++;
            break;
        case AN_PROBE_GROUP_APOSTROPHE:
            marks->group_apostrophe++;
            break;
        case AN_PROBE_NOT_NUMBER:
            break;
        }
    }
    return true;
}

static struct an_probe_marks all_marks(const struct an_probe_state *probe)
{
    struct an_probe_marks all = {0};
    for (size_t i = 0; i < probe->column_count; i++) {
        const struct an_probe_marks *m = &probe->columns[i].marks;
        all.point += m->point;
        all.comma += m->comma;
        all.point_three += m->point_three;
        all.comma_three += m->comma_three;
        all.group_point += m->group_point;
        all.group_comma += m->group_comma;
        all.group_space += m->group_space;
        all.group_apostrophe += m->group_apostrophe;
        all.whole += m->whole;
    }
    return all;
}

/* Columns and fields of them that are numbers by the one mark. */
static const char *columns_with(struct an_probe_state *probe, bool comma)
{
    struct an_text text = {0};
    size_t told = 0;
    for (size_t i = 0; i < probe->column_count; i++) {
        const struct an_probe_marks *m = &probe->columns[i].marks;
        const uint64_t n = comma ? m->comma + m->comma_three : m->point + m->point_three;
        if (n && told++ < 3) {
            an_text_addf(&text, "%s%s (%llu)", told > 1 ? ", " : "", probe->columns[i].name,
                         (unsigned long long)n);
        }
    }
    const char *copy = an_probe_sayf(probe, "%s", an_text_of(&text));
    an_text_free(&text);
    return copy;
}

static void find_group(struct an_probe_state *probe, const struct an_probe_marks *all)
{
    const struct {
        char mark;
        uint64_t count;
        const char *name;
    } groups[] = {{'.', all->group_point, "point"},
                  {',', all->group_comma, "comma"},
                  {' ', all->group_space, "space"},
                  {'\'', all->group_apostrophe, "apostrophe"}};
    for (size_t i = 0; i < 4; i++) {
        if (!groups[i].count || groups[i].mark == probe->decimal) {
            continue;
        }
        struct an_probe_finding *finding =
            an_probe_find(probe, "format.group", !probe->group, groups[i].name,
                          an_probe_sayf(probe, "%llu numbers with a thousands mark",
                                        (unsigned long long)groups[i].count));
        if (probe->group) {
            an_probe_doubt(probe, finding, "a second thousands mark; only one can be read");
        } else {
            probe->group = groups[i].mark;
        }
    }
}

void an_probe_marks_find(struct an_probe_state *probe)
{
    an_probe_all_rows(probe, count_marks, NULL);
    const struct an_probe_marks all = all_marks(probe);
    const uint64_t comma = all.comma + all.group_point;
    const uint64_t point = all.point + all.group_comma;
    const bool only_comma = all.comma_three && !comma && !point;
    const bool by_comma = comma > point;

    probe->decimal = by_comma ? ',' : '.';
    if (only_comma) {
        struct an_probe_finding *finding = an_probe_find(
            probe, "format.decimal", false, "comma",
            an_probe_sayf(probe, "%llu numbers look like \"1,234\", none settles what the comma is",
                          (unsigned long long)all.comma_three));
        finding->needed = true;
        an_probe_doubt(probe, finding,
                       "a decimal comma with three decimals (decimal: comma), or a thousands mark "
                       "(group: comma)? In %s. Ask the station; take one of the two",
                       columns_with(probe, true));
        probe->decimal = ',';
        return;
    }
    struct an_probe_finding *finding = NULL;
    if (by_comma) {
        finding = an_probe_find(
            probe, "format.decimal", true, "comma",
            an_probe_sayf(probe, "%llu numbers with a decimal comma, %llu with a point",
                          (unsigned long long)(comma + all.comma_three),
                          (unsigned long long)(point + all.point_three)));
    } else if (all.comma || all.comma_three ||
               (all.point_three && !point && probe->model->layout.delimiter == ';')) {
        finding = an_probe_find(
            probe, "format.decimal", true, "point",
            an_probe_sayf(probe, "%llu numbers with a decimal point, %llu with a comma",
                          (unsigned long long)(point + all.point_three),
                          (unsigned long long)(comma + all.comma_three)));
        if (all.point_three && !point) {
            an_probe_doubt(probe, finding,
                           "all of them look like \"1.234\": the point may be a thousands mark "
                           "(decimal: comma, group: point). In %s",
                           columns_with(probe, false));
        }
    }
    const uint64_t other = by_comma ? all.point : all.comma;
    if (finding && other) {
        an_probe_doubt(
            probe, finding,
            "%llu numbers are written with the other mark, in %s: their rows will be held",
            (unsigned long long)other, columns_with(probe, !by_comma));
    }
    if (finding && by_comma && all.point_three && !all.group_point) {
        an_probe_doubt(
            probe, finding,
            "%llu numbers look like \"1.234\", in %s: a thousands mark (group: point) or "
            "the other decimal mark? Neither is taken",
            (unsigned long long)all.point_three, columns_with(probe, false));
    }
    if (finding && !by_comma && all.comma_three && !all.group_comma) {
        an_probe_doubt(
            probe, finding,
            "%llu numbers look like \"1,234\", in %s: a thousands mark (group: comma) or "
            "the other decimal mark? Neither is taken",
            (unsigned long long)all.comma_three, columns_with(probe, true));
    }
    find_group(probe, &all);
    const char delimiter = probe->model->layout.delimiter;
    if (delimiter == probe->decimal || delimiter == probe->group) {
        probe->numbers_quoted = true;
        (void)an_probe_find(probe, "format.numbers_quoted", true, "yes",
                            "the comma is the delimiter too, and stands in numbers in quotes");
    }
}

/* ---- the columns ------------------------------------------------------------------------------ */
static void add_word(struct an_probe_state *probe, struct an_probe_column *column,
                     struct an_bytes cell, size_t file, uint64_t line)
{
    for (size_t i = 0; i < cell.length; i++) {
        if (cell.at[i] < 0x20 || cell.at[i] == 0x7F) {
            return; /* no word that a description could hold; counted as text all the same */
        }
    }
    size_t word = an_names_find(column->words, cell);

    if (word == AN_NO_NAME && an_names_count(column->words) >= AN_PROBE_WORDS) {
        column->more_words = true;
        column->changes++;
        column->last_word = AN_NO_NAME;
        return;
    }
    if (word == AN_NO_NAME) {
        void *array = column->of_word;
        word = an_names_add(column->words, cell);
        if (word == AN_NO_NAME ||
            !an_grow(&array, word, &column->word_room, sizeof *column->of_word)) {
            probe->no_memory = true;
            return;
        }
        column->of_word = array;
        column->of_word[word] = (struct an_probe_word){.line = line, .file = file};
    }
    column->of_word[word].count++;
    column->changes += word != column->last_word;
    column->last_word = word;
}

static void add_number(struct an_probe_column *column, const struct an_decimal *number,
                       bool is_whole)
{
    column->least = column->numbers ? fmin(column->least, number->value) : number->value;
    column->most = column->numbers ? fmax(column->most, number->value) : number->value;
    column->numbers++;
    column->whole += is_whole;
    if (number->decimals > column->decimals) {
        column->decimals = number->decimals;
    }
    if (column->has_last) {
        const double step = number->value - column->last;
        column->steps++;
        column->up += step > 0;
        column->up_one += step == 1;
        column->down += step < 0;
        column->same += step == 0;
    }
    column->last = number->value;
    column->has_last = true;
}

static bool read_row(void *context, struct an_probe_state *probe, size_t file, uint64_t line,
                     const struct an_fields *fields)
{
    size_t *last_file = context;

    if (*last_file != file) { /* steps are within a file */
        for (size_t i = 0; i < probe->column_count; i++) {
            probe->columns[i].has_last = false;
        }
        *last_file = file;
    }
    probe->rows++;
    for (size_t i = 0; i < fields->count && !probe->no_memory; i++) {
        struct an_probe_column *column = &probe->columns[probe->files[file].column_of[i]];
        const struct an_bytes cell = an_bytes_trim(fields->at[i]);
        struct an_decimal number;

        column->rows++;
        column->outer_blanks += cell.length != fields->at[i].length;
        if (cell.length == 0) {
            column->empty++;
            continue;
        }
        add_word(probe, column, cell, file, line);
        if (an_probe_number_like(cell) &&
            an_decimal_parse(cell, probe->decimal, probe->group, &number) == AN_OK) {
            add_number(column, &number, an_probe_number_like(cell) == AN_PROBE_WHOLE_NUMBER);
            column->leading_zero +=
                cell.length > 1 && cell.at[0] == '0' && cell.at[1] >= '0' && cell.at[1] <= '9';
        } else {
            column->texts++;
        }
    }
    return !probe->no_memory;
}

void an_probe_columns_read(struct an_probe_state *probe)
{
    size_t last_file = SIZE_MAX;

    probe->rows = 0;
    for (size_t i = 0; i < probe->column_count && !probe->no_memory; i++) {
        probe->columns[i].last_word = AN_NO_NAME;
        probe->columns[i].words = an_names_open();
        probe->no_memory = !probe->columns[i].words;
    }
    if (!probe->no_memory) {
        an_probe_all_rows(probe, read_row, &last_file);
    }
}
