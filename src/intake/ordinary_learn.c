/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the fast path learns from a row that the row path took: which visit it is in, and what may come
 * again. Must never take over what the row path had to mend.
 */
#include "intake/ordinary_inner.h"

static bool keep_last(struct an_ordinary_column *column, struct an_bytes text)
{
    if (text.length + 8 > column->last_room) {
        unsigned char *more = an_resize(column->last, 2 * text.length + 32, 1);

        if (!more) {
            return false;
        }
        column->last = more;
        column->last_room = 2 * text.length + 32;
    }
    memset(column->last + text.length, 0, 8);
    if (text.length) {
        memcpy(column->last, text.at, text.length);
    }
    column->last_length = text.length;
    return true;
}

static bool learn_column(struct an_ordinary *o, struct an_ordinary_column *column,
                         struct an_reading *reading)
{
    struct an_row *row = &reading->row;
    const bool constant = column->field == AN_NONE;

    if ((column->same || constant) && !keep_last(column, row->cells[column->column].text)) {
        return false;
    }
    if (constant && column->number) {
        column->has_constant = an_row_number(row, o->plan, column->column) == AN_CELL_NUMBER;
        column->constant = row->cells[column->column].number;
        column->print = column->has_constant ? an_print_number(&column->constant) : 0;
    }
    return true;
}

/* The row path knows the serials of this row's links to be right. */
static bool learn_links(struct an_ordinary *o, struct an_reading *reading)
{
    for (size_t i = 0; i < o->plan->link_count; i++) {
        struct an_ordinary_column *column = &o->columns[o->plan->links[i].column];
        const struct an_bytes text = reading->row.cells[column->column].text;

        if (!text.length || reading->link_ids[i].mended) {
            continue;
        }
        struct an_known_word *word = an_ordinary_word(o, column, &reading->columns, text);
        if (!word) {
            return false;
        }
        word->is_link = word->is_fit;
    }
    return true;
}

void an_ordinary_learn(struct an_ordinary *o, struct an_reading *reading)
{
    struct an_stay *stay = reading->stays.recent;
    struct an_bytes purpose = {NULL, 0};
    bool good = true;

    o->visit++;
    if (!stay || reading->id.mended || !reading->id.is_set) {
        o->stay = NULL;
        return;
    }
    if (o->stay) {
        purpose =
            (struct an_bytes){(const unsigned char *)an_text_of(&o->purpose), o->purpose.length};
    }
    if (!o->stay || !an_bytes_equal(purpose, reading->row.purpose)) {
        an_text_clear(&o->purpose);
        an_text_add_bytes(&o->purpose, reading->row.purpose);
        memset(o->splits, 0, (o->plan->split_count + 1) * AN_KNOWN_SPLITS * sizeof *o->splits);
        good = !o->purpose.failed;
    }
    o->stay = stay;
    for (size_t i = 0; good && i < o->plan->column_count; i++) {
        good = learn_column(o, &o->columns[i], reading);
    }
    if (!good || !learn_links(o, reading)) {
        o->stay = NULL; /* memory: the row path goes on without this one */
        return;
    }
    an_ordinary_learn_time(o, reading);
}
