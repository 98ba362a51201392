/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Looks at the links that a visit tells of: can they be, given those that are known? Must never ask
 * about links that the description does not say anything of, and each question must find its answer
 * by an index.
 *
 * A link that can be is put at once, so that the file's next links are compared with it. If any is
 * refused, all that was put of the file is undone, and it is read again without the refused rows.
 */
#include "andamento/store/genealogy.h"
#include "intake/finish.h"
#include "intake/visit_put.h"

#include <string.h>

struct looking {
    struct an_finish *finish;
    const struct an_stay *stay;
    const struct an_tie *tie;
    struct an_doubt *doubt;
    struct an_link link;
    int64_t until_us; /* of the link */
    struct an_error *err;
};

static const char *title_of(const struct looking *l, bool part)
{
    const struct an_line *line = l->finish->plan->line;
    const struct an_link_rule *rule = l->finish->plan->links[l->tie->rule].rule;

    return line
        ->kinds[part == rule->other_is_parent ? rule->kind : l->finish->plan->station->item_kind]
        .title;
}

static struct an_shown serial_of(const struct looking *l, bool part)
{
    const struct an_link_rule *rule = l->finish->plan->links[l->tie->rule].rule;

    return an_shown(part == rule->other_is_parent
                        ? l->tie->serial
                        : (struct an_bytes){l->stay->key.at, l->stay->serial_length});
}

static enum an_status refuse(struct looking *l, enum an_hold_reason reason, const char *why)
{
    struct an_look *look = l->finish->look;
    struct an_unknown *unknown = an_look_add_unknown(look, l->doubt, l->tie->rule, l->tie->serial);

    if (!unknown || !why || !an_words_copy(look->arena, l->tie->role, &unknown->role) ||
        !an_words_copy(look->arena, l->tie->region, &unknown->region)) {
        return an_fail(l->err, AN_NO_MEMORY, "out of memory");
    }
    unknown->reason = reason;
    unknown->why = why;
    unknown->row = l->tie->row;
    unknown->column = l->tie->column;
    return AN_OK;
}

/* ---- loops ------------------------------------------------------------------------------------- */
static enum an_status check_loop(struct looking *l, bool *refused)
{
    const enum an_status st =
        an_store_is_made_of(l->finish->store, l->link.parent_id, l->link.child_id, refused, l->err);
    if (st || !*refused) {
        return st;
    }
    return refuse(l, AN_HOLD_LINK_LOOP,
                  an_arena_printf(l->finish->look->arena,
                                  "the %s \"%s\" is part of the %s \"%s\", directly or through "
                                  "others, so the one cannot be made of the other",
                                  title_of(l, false), serial_of(l, false).text, title_of(l, true),
                                  serial_of(l, true).text));
}

/* ---- order ------------------------------------------------------------------------------------- */
static enum an_status check_order(struct looking *l, bool *refused)
{
    const struct an_plan *plan = l->finish->plan;
    const size_t kind = plan->links[l->tie->rule].rule->kind;
    int64_t made_us = AN_NO_INSTANT;
    enum an_status st = AN_OK;
    char made[40];
    char at[40];

    for (size_t s = 0; s < plan->line->station_count && !st; s++) {
        const struct an_station *station = &plan->line->stations[s];
        int64_t first_us = AN_NO_INSTANT;

        if (station->item_refines && station->item_kind == kind) {
            st = an_store_item_first_at(l->finish->store, l->link.parent_id, station->name,
                                        &first_us, l->err);
        }
        if (first_us != AN_NO_INSTANT && (made_us == AN_NO_INSTANT || first_us < made_us)) {
            made_us = first_us;
        }
    }
    *refused = !st && made_us != AN_NO_INSTANT &&
               made_us - l->link.at_us > plan->station->clock_tolerance_us;
    if (st || !*refused) {
        return st;
    }
    return refuse(l, AN_HOLD_LINK_ORDER,
                  an_arena_printf(l->finish->look->arena,
                                  "the %s \"%s\" was made at %s, after %s when it is said to have "
                                  "gone into the %s \"%s\"",
                                  title_of(l, true), serial_of(l, true).text,
                                  an_instant_rfc3339(made_us, made),
                                  an_instant_rfc3339(l->link.at_us, at), title_of(l, false),
                                  serial_of(l, false).text));
}

/* ---- one place at a time -------------------------------------------------------------------------- */
static bool same_text(const char *a, const char *b)
{
    return strcmp(a ? a : "", b ? b : "") == 0;
}

static bool same_place(const struct an_link *a, const struct an_link *b)
{
    return a->row == b->row && a->column == b->column && same_text(a->region, b->region);
}

static bool overlaps(const struct looking *l, const struct an_lineage *other)
{
    return (other->until_us == AN_NO_INSTANT || l->link.at_us == AN_NO_INSTANT ||
            other->until_us > l->link.at_us) &&
           (l->until_us == AN_NO_INSTANT || other->link.at_us == AN_NO_INSTANT ||
            l->until_us > other->link.at_us);
}

static const char *place_words(const struct looking *l, const struct an_link *link)
{
    return link->row < 0 || link->column < 0
               ? ""
               : an_arena_printf(l->finish->look->arena, ", row %lld column %lld",
                                 (long long)link->row, (long long)link->column);
}

static enum an_status refuse_elsewhere(struct looking *l, const struct an_lineage *other)
{
    const char *place = place_words(l, &other->link);

    return refuse(l, AN_HOLD_LINK_ELSEWHERE,
                  place ? an_arena_printf(l->finish->look->arena,
                                          "the %s \"%s\" sits in the %s \"%s\"%s by line %llu of "
                                          "\"%s\", and its removal is not told",
                                          title_of(l, true), serial_of(l, true).text,
                                          title_of(l, false),
                                          an_shown(an_bytes_of(other->item.serial)).text, place,
                                          (unsigned long long)other->link.line,
                                          other->file[0] ? other->file : "this file")
                        : NULL);
}

static enum an_status refuse_place(struct looking *l, const struct an_lineage *other)
{
    return refuse(l, AN_HOLD_LINK_PLACE,
                  an_arena_printf(l->finish->look->arena,
                                  "row %lld column %lld of the %s \"%s\" holds the %s \"%s\" by "
                                  "line %llu of \"%s\", and its removal is not told",
                                  (long long)l->link.row, (long long)l->link.column,
                                  title_of(l, false), serial_of(l, false).text, title_of(l, true),
                                  an_shown(an_bytes_of(other->item.serial)).text,
                                  (unsigned long long)other->link.line,
                                  other->file[0] ? other->file : "this file"));
}

static enum an_status check_single(struct looking *l, bool *refused)
{
    struct an_store *store = l->finish->store;
    struct an_lineage *others = NULL;
    size_t count = 0;
    const struct an_link_rule *rule = l->finish->plan->links[l->tie->rule].rule;
    const struct an_line *line = l->finish->plan->line;
    const size_t whole = rule->other_is_parent ? l->finish->plan->station->item_kind : rule->kind;
    enum an_status st = an_store_link_until(store, &l->link, &l->until_us, l->err);

    st = st ? st
            : an_store_lineage(store, l->link.parent_id, false, l->finish->arena, &others, &count,
                               l->err);
    for (size_t i = 0; i < count && !st && !*refused; i++) {
        if (strcmp(others[i].item.kind, line->kinds[whole].name) == 0 && overlaps(l, &others[i]) &&
            !(others[i].link.child_id == l->link.child_id &&
              same_place(&others[i].link, &l->link))) {
            *refused = true;
            st = refuse_elsewhere(l, &others[i]);
        }
    }
    if (st || *refused || l->link.row < 0 || l->link.column < 0) {
        return st;
    }
    st = an_store_lineage_at(store, l->link.child_id, l->link.row, l->link.column, l->finish->arena,
                             &others, &count, l->err);
    for (size_t i = 0; i < count && !st && !*refused; i++) {
        if (others[i].link.parent_id != l->link.parent_id && overlaps(l, &others[i]) &&
            same_place(&others[i].link, &l->link)) {
            *refused = true;
            st = refuse_place(l, &others[i]);
        }
    }
    return st;
}

/* ---- all of a visit -------------------------------------------------------------------------------- */
static bool is_unknown(const struct an_doubt *doubt, const struct an_tie *tie)
{
    for (const struct an_unknown *u = doubt->unknown; u; u = u->next) {
        if (u->link == AN_NONE ||
            (u->link == tie->rule && an_bytes_equal(u->serial, tie->serial))) {
            return true;
        }
    }
    return false;
}

static enum an_status check_link(struct looking *l)
{
    const struct an_plan_link *of = &l->finish->plan->links[l->tie->rule];
    bool refused = false;
    enum an_status st = AN_OK;

    if (of->rule->made_first) {
        st = check_order(l, &refused);
    }
    if (!st && !refused && of->may_loop) {
        st = check_loop(l, &refused);
    }
    if (!st && !refused && of->rule->single) {
        st = check_single(l, &refused);
    }
    return st || refused ? st : an_store_put_link(l->finish->store, &l->link, l->err);
}

enum an_status an_look_links(struct an_finish *finish, const struct an_stay *stay, int64_t item_id,
                             struct an_doubt *doubt, struct an_error *err)
{
    struct looking l = {.finish = finish, .stay = stay, .doubt = doubt, .err = err};
    enum an_status st = AN_OK;

    for (l.tie = stay->joints; l.tie && !st; l.tie = l.tie->next) {
        if (!finish->plan->links[l.tie->rule].checked || l.tie->ends || is_unknown(doubt, l.tie)) {
            continue;
        }
        st = an_visit_link(finish, l.tie, item_id, &l.link, err);
        st = st ? st : check_link(&l);
    }
    return st;
}
