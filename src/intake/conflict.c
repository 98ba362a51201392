/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rows in doubt against the rows of earlier visits: the same, changed, or new. Both sides are read
 * out of the store's blocks, so that a row is compared with what was kept of it, whatever its file
 * looked like. Must never decide that a row is changed by a key that several rows of a visit share.
 *
 * A changed row is a conflict, unless it says that it is a correction (a higher attempt number, or
 * a reason) and its visit repeats every row of the earlier one: then the visit replaces the earlier
 * one as a whole, since a sample cannot be made of half an old and half a new measurement.
 */
#include "intake/conflict_rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct rows {
    struct an_known_rows all;
    struct an_known_row **by_print, **by_key; /* sorted: doubt, print or key, visit */
};

struct comparison {
    struct an_finish *finish;
    struct an_error *err;
    struct rows old, now;
    size_t *first; /* per doubt: where its earlier visits stand in the next two */
    bool *touched,
        *missed; /* earlier visits with a changed row; with a row that does not come again */
};

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

/* ---- finding ------------------------------------------------------------------------------------ */
static int compare_prints(struct an_row_print a, struct an_row_print b)
{
    if (a.low != b.low) {
        return a.low < b.low ? -1 : 1;
    }
    return (a.high > b.high) - (a.high < b.high);
}

static int by_print(const void *a, const void *b)
{
    const struct an_known_row *const *one = a;
    const struct an_known_row *const *other = b;

    if ((*one)->doubt != (*other)->doubt) {
        return (*one)->doubt < (*other)->doubt ? -1 : 1;
    }
    return compare_prints((*one)->print, (*other)->print);
}

static int by_key(const void *a, const void *b)
{
    const struct an_known_row *const *one = a;
    const struct an_known_row *const *other = b;

    if ((*one)->doubt != (*other)->doubt) {
        return (*one)->doubt < (*other)->doubt ? -1 : 1;
    }
    const int order = compare_prints((*one)->key, (*other)->key);
    /* the newest visit first */
    return order ? order : ((*one)->visit < (*other)->visit) - ((*one)->visit > (*other)->visit);
}

static bool sort_rows(struct rows *rows)
{
    rows->by_print = an_alloc(rows->all.count + 1, sizeof(struct an_known_row *));
    rows->by_key = an_alloc(rows->all.count + 1, sizeof(struct an_known_row *));
    if (!rows->by_print || !rows->by_key) {
        return false;
    }
    for (size_t i = 0; i < rows->all.count; i++) {
        rows->by_print[i] = rows->by_key[i] = &rows->all.at[i];
    }
    qsort(rows->by_print, rows->all.count, sizeof(struct an_known_row *), by_print);
    qsort(rows->by_key, rows->all.count, sizeof(struct an_known_row *), by_key);
    return true;
}

/* The first place at which the row, or one of its print or key, stands. */
static size_t find(struct an_known_row *const *sorted, size_t count, const struct an_known_row *row,
                   bool print)
{
    size_t lo = 0;
    size_t hi = count;

    while (lo < hi) {
        const size_t middle = lo + (hi - lo) / 2;
        const struct an_known_row *at = sorted[middle];
        const int order = at->doubt != row->doubt ? (at->doubt < row->doubt ? -1 : 1)
                          : print                 ? compare_prints(at->print, row->print)
                                                  : compare_prints(at->key, row->key);
        if (order < 0) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    return lo;
}

static bool same_key(const struct an_known_row *a, const struct an_known_row *b)
{
    return a->doubt == b->doubt && compare_prints(a->key, b->key) == 0;
}

/* The one earlier row with that key, if the key tells one row from the others on both sides. */
static struct an_known_row *changed_of(struct comparison *c, const struct an_known_row *row)
{
    const bool declared = c->finish->plan->key_declared;
    const size_t at = find(c->old.by_key, c->old.all.count, row, false);

    if (at == c->old.all.count || !same_key(c->old.by_key[at], row)) {
        return NULL;
    }
    struct an_known_row *old = c->old.by_key[at];
    const bool shared_before = at + 1 < c->old.all.count && same_key(c->old.by_key[at + 1], row) &&
                               c->old.by_key[at + 1]->visit == old->visit;
    const size_t now = find(c->now.by_key, c->now.all.count, row, false);
    const bool shared_now = now + 1 < c->now.all.count && same_key(c->now.by_key[now + 1], row);
    return declared || (!shared_before && !shared_now) ? old : NULL;
}

static void match_rows(struct comparison *c)
{
    for (size_t i = 0; i < c->now.all.count; i++) {
        struct an_known_row *row = &c->now.all.at[i];
        const size_t at = find(c->old.by_print, c->old.all.count, row, true);

        if (at < c->old.all.count && c->old.by_print[at]->doubt == row->doubt &&
            compare_prints(c->old.by_print[at]->print, row->print) == 0) {
            row->twin = c->old.by_print[at];
            c->old.by_print[at]->matched = true;
            continue;
        }
        struct an_known_row *old = changed_of(c, row);
        if (old) {
            row->twin = old;
            row->changed = true;
            old->matched = true;
        }
    }
}

/* ---- deciding ----------------------------------------------------------------------------------- */
/* An attempt that is not told is the first one. */
static bool is_correction(const struct an_known_row *row)
{
    return row->has_reason || row->attempt > (isnan(row->twin->attempt) ? 1 : row->twin->attempt);
}

static bool open_visits(struct comparison *c)
{
    const struct an_look *look = c->finish->look;
    size_t visits = 1;

    c->first = an_alloc(look->doubt_count + 1, sizeof *c->first);
    for (size_t i = 0; c->first && i < look->doubt_count; i++) {
        c->first[i] = visits;
        visits += look->doubts[i].earlier_count;
    }
    c->touched = an_alloc(visits, sizeof *c->touched);
    c->missed = an_alloc(visits, sizeof *c->missed);
    return c->first && c->touched && c->missed;
}

static size_t visit_of(const struct comparison *c, const struct an_known_row *old)
{
    return c->first[old->doubt] + old->visit;
}

/* The earlier visits that are replaced come first in the doubt's list; only they are kept in it. */
static void settle_replacement(struct comparison *c, size_t doubt, bool refused)
{
    struct an_doubt *of = &c->finish->look->doubts[doubt];
    const size_t first = c->first[doubt];
    size_t kept = 0;

    for (size_t i = 0; i < of->earlier_count; i++) {
        refused = refused || (c->touched[first + i] && c->missed[first + i]);
    }
    for (size_t i = 0; i < of->earlier_count && !refused; i++) {
        if (c->touched[first + i]) {
            of->earlier[kept++] = of->earlier[i];
        }
    }
    of->replaces = kept > 0;
    of->earlier_count = kept;
    c->finish->look->replacing += of->replaces;
}

/* For each doubt: is every changed row a correction, and every row of the visits it changes there? */
static enum an_status find_replacements(struct comparison *c)
{
    const struct an_look *look = c->finish->look;
    bool *refused = an_alloc(look->doubt_count + 1, sizeof *refused);

    if (!refused || !open_visits(c)) {
        an_free(refused);
        return out_of_memory(c->err);
    }
    for (size_t i = 0; i < c->now.all.count; i++) {
        const struct an_known_row *row = &c->now.all.at[i];

        if (row->changed) {
            c->touched[visit_of(c, row->twin)] = true;
            refused[row->doubt] = refused[row->doubt] || !is_correction(row);
        }
    }
    for (size_t i = 0; i < c->old.all.count; i++) {
        if (!c->old.all.at[i].matched) {
            c->missed[visit_of(c, &c->old.all.at[i])] = true;
        }
    }
    for (size_t i = 0; i < look->doubt_count; i++) {
        settle_replacement(c, i, refused[i]);
    }
    an_free(refused);
    return AN_OK;
}

static enum an_status decide_row(struct comparison *c, const struct an_known_row *row)
{
    struct an_finish *finish = c->finish;
    const struct an_doubt *doubt = &finish->look->doubts[row->doubt];
    struct an_verdict verdict = {.row = row->row, .doubt = row->doubt, .at_line = row->line};

    if (row->twin && !row->changed && !(doubt->replaces && c->touched[visit_of(c, row->twin)])) {
        return an_rowmap_mark_before(finish->map, row->row) ? AN_OK : out_of_memory(c->err);
    }
    if (row->unknown) {
        verdict.reason = row->unknown->reason;
        verdict.link = row->unknown->link;
        verdict.unknown = row->unknown->number;
    } else if (doubt->before_us) {
        verdict.reason = AN_HOLD_TIME_BEFORE;
    } else if (doubt->used_us != AN_NO_INSTANT) {
        verdict.reason = AN_HOLD_SERIAL_USED;
    } else if (row->changed && !doubt->replaces) {
        verdict.reason = AN_HOLD_ROW_CONFLICT;
        verdict.file_id = row->twin->file_id;
        verdict.line = row->twin->line;
    } else {
        return AN_OK;
    }
    return an_look_hold(finish->look, &verdict, c->err);
}

static void free_rows(struct rows *rows)
{
    an_free(rows->all.at);
    an_free(rows->by_print);
    an_free(rows->by_key);
}

enum an_status an_conflict_decide(struct an_finish *finish, struct an_error *err)
{
    struct comparison c = {.finish = finish, .err = err};
    enum an_status st = an_conflict_rows(finish, &c.old.all, &c.now.all, err);

    if (!st && (!sort_rows(&c.old) || !sort_rows(&c.now))) {
        st = out_of_memory(err);
    }
    if (!st) {
        match_rows(&c);
        st = find_replacements(&c);
    }
    for (size_t i = 0; !st && i < c.now.all.count; i++) {
        st = decide_row(&c, &c.now.all.at[i]);
    }
    free_rows(&c.old);
    free_rows(&c.now);
    an_free(c.first);
    an_free(c.touched);
    an_free(c.missed);
    return st;
}
