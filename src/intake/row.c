/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reads and checks the cells of one row. A row is taken whole or held whole: the first cell that
 * is wrong holds it. Must never look at a column nobody needs, and never mend a cell.
 */
#include "intake/row.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

bool an_row_complain(const struct an_row *row, const struct an_plan *plan, size_t column,
                     enum an_hold_reason reason, struct an_complaint *complaint, const char *format,
                     ...)
{
    const size_t field = row->cells[column].field;
    va_list arguments;

    complaint->reason = reason;
    complaint->line = row->line;
    complaint->column = field == AN_NONE ? 0 : field + 1;
    complaint->column_name = plan->columns[column].name;
    va_start(arguments, format);
    (void)vsnprintf(complaint->why, sizeof complaint->why, format, arguments);
    va_end(arguments);
    return false;
}

bool an_word_in(struct an_bytes text, const struct an_word_list *words)
{
    for (size_t i = 0; i < words->count; i++) {
        if (an_bytes_are(text, words->at[i])) {
            return true;
        }
    }
    return false;
}

bool an_row_passes(const struct an_row *row, const struct an_plan_filter *filter)
{
    return an_word_in(row->cells[filter->column].text, filter->words);
}

bool an_row_passes_all(const struct an_row *row, const struct an_plan_leaf *leaf)
{
    for (size_t i = 0; i < leaf->filter_count; i++) {
        if (!an_row_passes(row, &leaf->filters[i])) {
            return false;
        }
    }
    return true;
}

/* ---- numbers ---------------------------------------------------------------------------------- */
static bool is_code(const struct an_plan_column *column, struct an_bytes text)
{
    const unsigned char first = text.at[0];

    if (!(column->code_starts[first / 8] & (1U << first % 8))) {
        return false;
    }
    for (size_t i = 0; i < column->code_count; i++) {
        const char *code = column->codes[i]->text;
        const size_t length = strlen(code);

        if (length && code[length - 1] == '*') {
            if (text.length >= length - 1 && memcmp(text.at, code, length - 1) == 0) {
                return true;
            }
        } else if (an_bytes_are(text, code)) {
            return true;
        }
    }
    return false;
}

enum an_cell_state an_row_number(struct an_row *row, const struct an_plan *plan, size_t column)
{
    struct an_cell *cell = &row->cells[column];
    const struct an_dialect *dialect = &plan->station->dialect;

    if (cell->state != AN_CELL_UNREAD) {
        return cell->state;
    }
    if (cell->text.length == 0 || is_code(&plan->columns[column], cell->text)) {
        cell->state = AN_CELL_GAP;
    } else if (an_decimal_parse(cell->text, dialect->decimal_mark, dialect->group_mark,
                                &cell->number) == AN_OK) {
        cell->state = AN_CELL_NUMBER;
    } else {
        cell->state = AN_CELL_WORD;
    }
    return cell->state;
}

static bool only_of(struct an_bytes text, const char *characters)
{
    for (size_t i = 0; i < text.length; i++) {
        if (text.at[i] == 0 || !strchr(characters, text.at[i])) {
            return false;
        }
    }
    return text.length > 0;
}

/* What a field that is no number most likely is. */
static const char *what_it_is(struct an_bytes text, char mark)
{
    static const char *const words[] = {"nan", "inf", "+inf", "-inf", "infinity", "n/a", "na"};

    if (text.length > 2 && text.at[0] == '0' && (text.at[1] == 'x' || text.at[1] == 'X')) {
        return "looks like a hexadecimal number";
    }
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        if (an_bytes_are_nocase(text, words[i])) {
            return "is a word for no number that is not among the declared codes";
        }
    }
    if (mark == '.' && only_of(text, "+-0123456789,")) {
        return "has a comma, which is neither the decimal mark nor a declared thousands mark";
    }
    if (mark == ',' && only_of(text, "+-0123456789.")) {
        return "has a point, which is neither the decimal mark nor a declared thousands mark";
    }
    if (only_of(text, "+-0123456789., '\xC2\xA0\xE2\x80\xAF")) {
        return "has thousands marks that are not declared, or more than one decimal mark";
    }
    if (only_of(text, "+-0123456789.,eE")) {
        return "has more digits or a larger exponent than can be kept exactly";
    }
    return "is neither a number nor a declared code for a missing reading";
}

static bool check_number(struct an_row *row, const struct an_plan *plan, size_t column,
                         struct an_complaint *complaint)
{
    if (an_row_number(row, plan, column) != AN_CELL_WORD) {
        return true;
    }
    const struct an_bytes text = row->cells[column].text;
    return an_row_complain(row, plan, column, AN_HOLD_NUMBER_BAD, complaint, "\"%s\" %s",
                           an_shown(text).text,
                           what_it_is(text, plan->station->dialect.decimal_mark));
}

static bool is_whole(const struct an_decimal *number)
{
    return number->value >= 0 && number->value < 9007199254740992.0 &&
           floor(number->value) == number->value;
}

static bool check_whole(struct an_row *row, const struct an_plan *plan, size_t column,
                        struct an_complaint *complaint)
{
    const struct an_cell *cell = &row->cells[column];

    if (!check_number(row, plan, column, complaint)) {
        return false;
    }
    if (cell->state == AN_CELL_NUMBER && !is_whole(&cell->number)) {
        return an_row_complain(row, plan, column, AN_HOLD_NUMBER_WHOLE, complaint,
                               "\"%s\" is no whole number of 0 or more", an_shown(cell->text).text);
    }
    return true;
}

static bool check_possible(const struct an_row *row, const struct an_plan *plan, size_t column,
                           const struct an_characteristic *c, struct an_complaint *complaint)
{
    const struct an_cell *cell = &row->cells[column];
    const double value = cell->number.value * c->factor + c->offset;

    if (cell->state != AN_CELL_NUMBER ||
        (!(value < c->possible_min) && !(value > c->possible_max))) {
        return true;
    }
    return an_row_complain(row, plan, column, AN_HOLD_VALUE_IMPOSSIBLE, complaint,
                           "\"%s\" is %.10g %s, %s than the possible %.10g",
                           an_shown(cell->text).text, value, c->unit ? c->unit : "",
                           value < c->possible_min ? "less" : "more",
                           value < c->possible_min ? c->possible_min : c->possible_max);
}

/* ---- what the station asks of each row -------------------------------------------------------- */
static bool check_lists(struct an_row *row, const struct an_plan *plan,
                        struct an_complaint *complaint)
{
    for (size_t i = 0; i < plan->allowed_count; i++) {
        const struct an_plan_list *list = &plan->allowed[i];
        const struct an_bytes text = row->cells[list->column].text;

        if (text.length && !an_word_in(text, list->words)) {
            return an_row_complain(row, plan, list->column, AN_HOLD_WORD_UNKNOWN, complaint,
                                   "\"%s\" is not in the closed list of \"%s\"",
                                   an_shown(text).text, plan->columns[list->column].name);
        }
    }
    for (size_t i = 0; i < plan->part_whole_count; i++) {
        const size_t part = plan->part_whole[i][0];
        const size_t whole = plan->part_whole[i][1];

        if (!check_number(row, plan, part, complaint) ||
            !check_number(row, plan, whole, complaint)) {
            return false;
        }
        if (row->cells[part].state == AN_CELL_NUMBER && row->cells[whole].state == AN_CELL_NUMBER &&
            row->cells[part].number.value > row->cells[whole].number.value) {
            return an_row_complain(row, plan, part, AN_HOLD_COUNT_PART, complaint,
                                   "%s of \"%s\" is more than %s of \"%s\"",
                                   an_shown(row->cells[part].text).text, plan->columns[part].name,
                                   an_shown(row->cells[whole].text).text,
                                   plan->columns[whole].name);
        }
    }
    return true;
}

bool an_row_ends(const struct an_row *row, const struct an_plan_link *link)
{
    return link->rule->ends && (link->ends == AN_NONE ||
                                an_word_in(row->cells[link->ends].text, &link->rule->ends_words));
}

static bool check_confidence(const struct an_row *row, const struct an_plan *plan,
                             const struct an_plan_link *link, struct an_complaint *complaint)
{
    const struct an_bytes text = row->cells[link->confidence].text;
    bool known = text.length == 0;

    for (int i = AN_SCANNED; i < AN_CONFIDENCES && !known; i++) {
        known = an_word_in(text, &link->rule->confidence_words[i]);
    }
    return known || an_row_complain(row, plan, link->confidence, AN_HOLD_WORD_UNKNOWN, complaint,
                                    "\"%s\" is not among the words that tell how it was read",
                                    an_shown(text).text);
}

/* A thing is not made of itself. */
static bool check_other(const struct an_row *row, const struct an_plan *plan,
                        const struct an_plan_link *link, struct an_complaint *complaint)
{
    if (link->rule->kind != plan->station->item_kind ||
        !an_bytes_equal(row->cells[link->column].text, row->serial)) {
        return true;
    }
    return an_row_complain(row, plan, link->column, AN_HOLD_LINK_SELF, complaint,
                           "the %s \"%s\" is said to be %s itself",
                           plan->line->kinds[link->rule->kind].title, an_shown(row->serial).text,
                           link->rule->other_is_same ? "another serial of" : "part of");
}

static bool check_links(struct an_row *row, const struct an_plan *plan,
                        struct an_complaint *complaint)
{
    for (size_t i = 0; i < plan->link_count; i++) {
        const struct an_plan_link *link = &plan->links[i];

        if (!check_other(row, plan, link, complaint)) {
            return false;
        }
        if (link->confidence != AN_NONE && !check_confidence(row, plan, link, complaint)) {
            return false;
        }
        if (link->row != AN_NONE && !check_whole(row, plan, link->row, complaint)) {
            return false;
        }
        if (link->column_place != AN_NONE &&
            !check_whole(row, plan, link->column_place, complaint)) {
            return false;
        }
        if (link->share == AN_NONE) {
            continue;
        }
        if (!check_number(row, plan, link->share, complaint)) {
            return false;
        }
        const struct an_cell *share = &row->cells[link->share];
        if (share->state == AN_CELL_NUMBER &&
            !(share->number.value >= 0 && share->number.value <= 1)) {
            return an_row_complain(row, plan, link->share, AN_HOLD_VALUE_IMPOSSIBLE, complaint,
                                   "\"%s\" is no share between 0 and 1",
                                   an_shown(share->text).text);
        }
    }
    return true;
}

/* ---- what the characteristics ask ------------------------------------------------------------- */
static bool check_split(const struct an_row *row, const struct an_plan *plan, size_t split,
                        struct an_complaint *complaint)
{
    for (size_t i = 0; i < plan->splits[split].count; i++) {
        const size_t column = plan->splits[split].columns[i];
        const struct an_bytes text = row->cells[column].text;

        if (text.length == 0) {
            return an_row_complain(row, plan, column, AN_HOLD_SPLIT_MISSING, complaint,
                                   "the column is empty, so no stream is told");
        }
        if (text.length > 128) {
            return an_row_complain(row, plan, column, AN_HOLD_SPLIT_BAD, complaint,
                                   "\"%s\" is longer than 128 bytes", an_shown(text).text);
        }
        for (size_t k = 0; k < text.length; k++) {
            if (text.at[k] < 0x20 || text.at[k] == 0x7F || text.at[k] == '=') {
                return an_row_complain(row, plan, column, AN_HOLD_SPLIT_BAD, complaint,
                                       "\"%s\" cannot stand in a stream's name",
                                       an_shown(text).text);
            }
        }
    }
    return true;
}

static bool check_opportunities(struct an_row *row, const struct an_plan *plan,
                                const struct an_quantity *quantity, bool counts,
                                struct an_complaint *complaint)
{
    const size_t column = quantity->opportunities_column;

    if (column == AN_NONE) {
        return true;
    }
    if (!check_number(row, plan, column, complaint)) {
        return false;
    }
    const struct an_cell *cell = &row->cells[column];
    if (cell->state == AN_CELL_NUMBER && !(cell->number.value > 0)) {
        return an_row_complain(row, plan, column, AN_HOLD_COUNT_DENOMINATOR, complaint,
                               "\"%s\" counts among \"%s\", which makes no rate",
                               quantity->of->name, an_shown(cell->text).text);
    }
    if (cell->state == AN_CELL_GAP && counts && !quantity->of->count_rows) {
        return an_row_complain(row, plan, column, AN_HOLD_COUNT_DENOMINATOR, complaint,
                               "\"%s\" is counted here, but not among how many",
                               quantity->of->name);
    }
    return true;
}

static bool check_counted(struct an_row *row, const struct an_plan *plan,
                          const struct an_quantity *quantity, struct an_complaint *complaint)
{
    bool counts = quantity->event_column == AN_NONE
                      ? quantity->sum_count > 0
                      : row->cells[quantity->event_column].text.length > 0;

    for (size_t i = 0; i < quantity->sum_count; i++) {
        const size_t column = quantity->sum_columns[i];

        if (!check_whole(row, plan, column, complaint) ||
            !check_possible(row, plan, column, quantity->of, complaint)) {
            return false;
        }
        counts = counts && row->cells[column].state == AN_CELL_NUMBER;
    }
    return check_opportunities(row, plan, quantity, counts, complaint);
}

static bool check_quantity(struct an_row *row, const struct an_plan *plan,
                           const struct an_quantity *quantity, struct an_complaint *complaint)
{
    bool concerned = false;

    for (size_t i = 0; i < quantity->leaf_count; i++) {
        const struct an_plan_leaf *leaf = &quantity->leaves[i];

        if (!an_row_passes_all(row, leaf)) {
            continue;
        }
        concerned = true;
        if (leaf->column != AN_NONE &&
            (!check_number(row, plan, leaf->column, complaint) ||
             !check_possible(row, plan, leaf->column, leaf->of, complaint))) {
            return false;
        }
        if (leaf->row_column != AN_NONE && !check_number(row, plan, leaf->row_column, complaint)) {
            return false;
        }
        if (leaf->column_column != AN_NONE &&
            !check_number(row, plan, leaf->column_column, complaint)) {
            return false;
        }
    }
    /* a list of events tells of the item in every row, by the number looked at */
    if (quantity->of->count_rows &&
        !check_opportunities(row, plan, quantity, concerned, complaint)) {
        return false;
    }
    if (!concerned) {
        return true;
    }
    return (quantity->of->kind != AN_COUNTED || quantity->of->count_rows ||
            check_counted(row, plan, quantity, complaint)) &&
           check_split(row, plan, quantity->split, complaint);
}

bool an_row_check(struct an_row *row, const struct an_plan *plan, struct an_complaint *complaint)
{
    if (!check_lists(row, plan, complaint) || !check_links(row, plan, complaint)) {
        return false;
    }
    for (size_t i = 0; i < plan->quantity_count; i++) {
        if (!check_quantity(row, plan, &plan->quantities[i], complaint)) {
            return false;
        }
    }
    return true;
}
