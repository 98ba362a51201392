/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Looks a file's visits up in the store. Must never decide by a row what a look at the visit
 * settles: most visits are new, and cost one question.
 */
#include "intake/look.h"

#include "intake/finish.h"

#include <stdlib.h>
#include <string.h>

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

void an_look_close(struct an_look *look)
{
    an_free(look->doubts);
    an_free(look->rows);
    an_free(look->verdicts);
    an_names_close(look->seen);
    an_text_free(&look->scratch);
    an_arena_close(look->arena);
    memset(look, 0, sizeof *look);
}

bool an_look_begin(struct an_look *look)
{
    if (!look->arena) {
        look->arena = an_arena_open();
    }
    look->next = 0;
    look->row_count = 0;
    if (!look->done) {
        look->doubt_count = 0;
        look->verdict_count = 0;
        look->unknown_rows = false;
        look->visits = look->visits_before = look->before_us = 0;
    }
    return look->arena != NULL;
}

/* ---- items that should be known ----------------------------------------------------------------- */
static enum an_status is_seen(struct an_finish *finish, size_t kind, struct an_bytes serial,
                              bool *seen, struct an_error *err)
{
    struct an_look *look = finish->look;
    const char *name = finish->plan->line->kinds[kind].name;
    int64_t item_id = 0;

    if (!look->seen) {
        look->seen = an_names_open();
    }
    an_text_clear(&look->scratch);
    an_text_add(&look->scratch, name);
    an_text_add_char(&look->scratch, '\0');
    an_text_add_bytes(&look->scratch, serial);
    if (!look->seen || look->scratch.failed) {
        return out_of_memory(err);
    }
    const struct an_bytes key = {(const unsigned char *)an_text_of(&look->scratch),
                                 look->scratch.length};
    *seen = an_names_find(look->seen, key) != AN_NO_NAME;
    if (*seen) {
        return AN_OK;
    }
    const enum an_status st = an_store_item_seen(finish->store, name, serial, seen, &item_id, err);
    if (!st && *seen && an_names_add(look->seen, key) == AN_NO_NAME) {
        return out_of_memory(err);
    }
    return st;
}

struct an_unknown *an_look_add_unknown(struct an_look *look, struct an_doubt *doubt, size_t link,
                                       struct an_bytes serial)
{
    struct an_unknown *unknown = an_arena_alloc(look->arena, 1, sizeof *unknown);

    if (!unknown || !an_words_copy(look->arena, serial, &unknown->serial)) {
        return NULL;
    }
    unknown->reason = AN_HOLD_PARENT_UNKNOWN;
    unknown->link = link;
    unknown->number = doubt->unknown ? doubt->unknown->number + 1 : 0;
    unknown->next = doubt->unknown;
    doubt->unknown = unknown;
    return unknown;
}

static enum an_status look_for_parents(struct an_finish *finish, const struct an_stay *stay,
                                       struct an_doubt *doubt, struct an_error *err)
{
    const struct an_plan *plan = finish->plan;
    const struct an_bytes own = {stay->key.at, stay->serial_length};
    bool seen = true;
    enum an_status st = AN_OK;

    if (plan->station->item_known_first) {
        st = is_seen(finish, plan->station->item_kind, own, &seen, err);
        if (!st && !seen && !an_look_add_unknown(finish->look, doubt, AN_NONE, own)) {
            st = out_of_memory(err);
        }
    }
    for (const struct an_tie *joint = stay->joints; joint && !st; joint = joint->next) {
        const struct an_link_rule *rule = plan->links[joint->rule].rule;

        if (!rule->known_first) {
            continue;
        }
        st = is_seen(finish, rule->kind, joint->serial, &seen, err);
        if (!st && !seen && !an_look_add_unknown(finish->look, doubt, joint->rule, joint->serial)) {
            st = out_of_memory(err);
        }
    }
    return st;
}

/* ---- before its item was made ------------------------------------------------------------------- */
static enum an_status look_at_clock(struct an_finish *finish, const struct an_stay *stay,
                                    int64_t item_id, struct an_doubt *doubt, struct an_error *err)
{
    const struct an_plan *plan = finish->plan;
    const int64_t tolerance_us = plan->station->clock_tolerance_us;
    int64_t made_us = AN_NO_INSTANT;
    enum an_status st = AN_OK;

    if (!tolerance_us || finish->as_is || plan->time == AN_NONE) {
        return AN_OK;
    }
    for (size_t i = 0; i < plan->maker_count && !st; i++) {
        int64_t at_us = AN_NO_INSTANT;

        st = an_store_item_first_at(finish->store, item_id,
                                    plan->line->stations[plan->makers[i]].name, &at_us, err);
        if (at_us != AN_NO_INSTANT && (made_us == AN_NO_INSTANT || at_us < made_us)) {
            made_us = at_us;
        }
    }
    if (made_us == AN_NO_INSTANT || stay->first_us >= made_us) {
        return st;
    }
    if (made_us - stay->first_us > tolerance_us) {
        doubt->before_us = made_us - stay->first_us;
    } else if (made_us - stay->first_us > finish->look->before_us) {
        finish->look->before_us = made_us - stay->first_us;
        finish->look->before_line = stay->first_line;
    }
    return st;
}

/* ---- a serial that another item had ------------------------------------------------------------- */
static enum an_status look_at_serial(struct an_finish *finish, const struct an_stay *stay,
                                     int64_t item_id, struct an_doubt *doubt, struct an_error *err)
{
    const struct an_station *station = finish->plan->station;
    const int64_t within_us = station->serial_within_us;
    int64_t first_us = AN_NO_INSTANT;

    doubt->used_us = AN_NO_INSTANT;
    if (!within_us || stay->key.length > stay->serial_length + 1) {
        return AN_OK; /* reference items and the like come again and again */
    }
    if (stay->last_us - stay->first_us > within_us) {
        doubt->used_us = stay->first_us;
        return AN_OK;
    }
    const enum an_status st =
        an_store_item_first_at(finish->store, item_id, station->name, &first_us, err);
    if (!st && first_us != AN_NO_INSTANT &&
        (stay->last_us - first_us > within_us || first_us - stay->first_us > within_us)) {
        doubt->used_us = first_us;
    }
    return st;
}

/* ---- rows that came before ---------------------------------------------------------------------- */
static enum an_status look_for_visits(struct an_finish *finish, const struct an_stay *stay,
                                      int64_t item_id, const struct an_sha256 *digest,
                                      struct an_doubt *doubt, bool *before, struct an_error *err)
{
    const struct an_plan *plan = finish->plan;
    const bool timed = plan->time != AN_NONE;
    struct an_earlier_visit *visits = NULL;
    size_t count = 0;
    const enum an_status st = an_store_item_visits(
        finish->store, plan->station->name, item_id, timed ? stay->first_us : INT64_MIN,
        timed ? stay->last_us : INT64_MAX, finish->arena, &visits, &count, err);

    *before = false;
    if (st) {
        return st;
    }
    size_t others = 0;
    for (size_t i = 0; i < count; i++) {
        *before = *before || (visits[i].rows == stay->rows &&
                              memcmp(visits[i].rows_digest.at, digest->at, sizeof digest->at) == 0);
        others += visits[i].file_id != finish->file_id;
    }
    /* without times of their own, rows of two measurements cannot be told from rows sent twice */
    if (*before || !others || !timed) {
        return AN_OK;
    }
    doubt->earlier = an_arena_alloc(finish->look->arena, others, sizeof *doubt->earlier);
    if (!doubt->earlier) {
        return out_of_memory(err);
    }
    for (size_t i = 0; i < count; i++) {
        if (visits[i].file_id != finish->file_id) {
            doubt->earlier[doubt->earlier_count++] = visits[i];
        }
    }
    return AN_OK;
}

static enum an_status add_doubt(struct an_look *look, const struct an_stay *stay,
                                struct an_doubt *doubt, uint32_t *number, struct an_error *err)
{
    void *array = look->doubts;

    if (!an_grow(&array, look->doubt_count, &look->doubt_capacity, sizeof *look->doubts)) {
        return out_of_memory(err);
    }
    look->doubts = array;
    doubt->serial_length = stay->serial_length;
    if (!an_words_copy(look->arena, stay->key, &doubt->key)) {
        return out_of_memory(err);
    }
    *number = (uint32_t)look->doubt_count;
    look->doubts[look->doubt_count++] = *doubt;
    return AN_OK;
}

enum an_status an_look_visit(struct an_finish *finish, const struct an_stay *stay, int64_t item_id,
                             const struct an_sha256 *digest, enum an_look_found *found,
                             uint32_t *doubt_number, struct an_error *err)
{
    struct an_look *look = finish->look;
    struct an_doubt doubt = {0};
    bool before = false;

    *found = AN_LOOK_NEW;
    enum an_status st = look_for_visits(finish, stay, item_id, digest, &doubt, &before, err);
    if (st || before) {
        *found = AN_LOOK_BEFORE;
        return st;
    }
    st = look_for_parents(finish, stay, &doubt, err);
    st = st ? st : look_at_clock(finish, stay, item_id, &doubt, err);
    st = st ? st : look_at_serial(finish, stay, item_id, &doubt, err);
    if (!st && finish->plan->any_checked && !doubt.before_us && doubt.used_us == AN_NO_INSTANT) {
        st = an_look_links(finish, stay, item_id, &doubt, err);
    }
    finish->look->visits++;
    finish->look->visits_before += doubt.before_us > 0;
    if (!st && (doubt.earlier_count || doubt.unknown || doubt.before_us ||
                doubt.used_us != AN_NO_INSTANT)) {
        *found = AN_LOOK_DOUBT;
        st = add_doubt(look, stay, &doubt, doubt_number, err);
    }
    return st;
}

/* ---- verdicts ----------------------------------------------------------------------------------- */
enum an_status an_look_add_row(struct an_look *look, uint64_t row, uint32_t block, uint32_t index,
                               uint32_t doubt, struct an_error *err)
{
    void *array = look->rows;

    if (!an_grow(&array, look->row_count, &look->row_capacity, sizeof *look->rows)) {
        return out_of_memory(err);
    }
    look->rows = array;
    look->rows[look->row_count++] = (struct an_doubtful_row){row, block, index, doubt};
    return AN_OK;
}

enum an_status an_look_hold(struct an_look *look, const struct an_verdict *verdict,
                            struct an_error *err)
{
    void *array = look->verdicts;

    if (!an_grow(&array, look->verdict_count, &look->verdict_capacity, sizeof *look->verdicts)) {
        return out_of_memory(err);
    }
    look->verdicts = array;
    look->verdicts[look->verdict_count++] = *verdict;
    look->unknown_rows = look->unknown_rows || verdict->reason == AN_HOLD_PARENT_UNKNOWN;
    return AN_OK;
}

static int by_row(const void *a, const void *b)
{
    const struct an_verdict *one = a;
    const struct an_verdict *other = b;

    return (one->row > other->row) - (one->row < other->row);
}

enum an_status an_look_decide(struct an_finish *finish, struct an_error *err)
{
    struct an_look *look = finish->look;
    enum an_status st = look->row_count ? an_conflict_decide(finish, err) : AN_OK;

    if (look->verdict_count) {
        qsort(look->verdicts, look->verdict_count, sizeof *look->verdicts, by_row);
    }
    an_free(look->rows); /* there may be many, and they have served */
    look->rows = NULL;
    look->row_count = look->row_capacity = 0;
    look->done = true;
    return st;
}

const struct an_verdict *an_look_verdict(struct an_look *look, uint64_t row)
{
    while (look->next < look->verdict_count && look->verdicts[look->next].row < row) {
        look->next++;
    }
    return look->next < look->verdict_count && look->verdicts[look->next].row == row
               ? &look->verdicts[look->next]
               : NULL;
}

/* Visits come in the order of the first reading, so the next one is near the last. */
const struct an_doubt *an_look_replaces(struct an_look *look, const struct an_stay *stay)
{
    for (size_t i = 0; look->replacing && i < look->doubt_count; i++) {
        const size_t at = (look->replaced + i) % look->doubt_count;

        if (look->doubts[at].replaces && an_bytes_equal(look->doubts[at].key, stay->key)) {
            look->replaced = at;
            return &look->doubts[at];
        }
    }
    return NULL;
}

const struct an_unknown *an_look_unknown(const struct an_look *look,
                                         const struct an_verdict *verdict)
{
    const struct an_unknown *unknown = look->doubts[verdict->doubt].unknown;

    while (unknown && !(unknown->link == verdict->link && unknown->number == verdict->unknown)) {
        unknown = unknown->next;
    }
    return unknown;
}

enum an_status an_look_put_waiting(struct an_finish *finish, struct an_error *err)
{
    const struct an_look *look = finish->look;
    const struct an_plan *plan = finish->plan;
    struct an_held *held = NULL;
    size_t count = 0;
    size_t at = 0;
    enum an_status st = AN_OK;

    if (!look->unknown_rows) {
        return AN_OK;
    }
    st = an_store_held_lines(finish->store, finish->file_id, an_hold_code(AN_HOLD_PARENT_UNKNOWN),
                             finish->arena, &held, &count, err);
    for (size_t i = 0; !st && i < look->verdict_count; i++) {
        const struct an_verdict *verdict = &look->verdicts[i];
        const struct an_unknown *unknown =
            verdict->reason == AN_HOLD_PARENT_UNKNOWN ? an_look_unknown(look, verdict) : NULL;

        while (unknown && at < count && held[at].line < verdict->at_line) {
            at++;
        }
        if (!unknown || at == count || held[at].line != verdict->at_line) {
            continue;
        }
        const size_t kind = unknown->link == AN_NONE ? plan->station->item_kind
                                                     : plan->links[unknown->link].rule->kind;
        st = an_store_put_waiting(finish->store, held[at].held_id, plan->line->kinds[kind].name,
                                  unknown->serial, finish->file_id, err);
    }
    return st;
}
