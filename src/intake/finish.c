/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ends a file: joins what was written away, decides each visit's fate, then gives the rows their
 * visits. Must give the same store whether or not anything was written away.
 *
 * Three sorts of keys in the store's scratch table, read in the order of their first byte:
 *   F line   a visit as a whole, by the line that begins it
 *   L block  the numbers of a block's rows
 *   V key    a part of a visit, by serial and purpose
 * A first pass joins the V and writes the F; a second puts the F and then, all fates being known,
 * answers the L.
 */
#include "intake/finish.h"

#include "intake/spill.h"
#include "intake/visit_put.h"

#include <string.h>

enum an_status an_finish_open(struct an_finish *finish, struct an_error *err)
{
    const size_t count = finish->plan->quantity_count + 1;

    finish->arena = an_arena_open();
    finish->streams = an_alloc(count, sizeof(int64_t *));
    finish->stream_counts = an_alloc(count, sizeof(size_t));
    return finish->arena && finish->streams && finish->stream_counts
               ? AN_OK
               : an_fail(err, AN_NO_MEMORY, "out of memory");
}

bool an_finish_begin(struct an_finish *finish)
{
    const size_t rows =
        finish->first_rows ? 0 : finish->map->rows; /* else they are kept in blocks */

    for (size_t i = 0; i < finish->plan->quantity_count; i++) {
        an_free(finish->streams[i]); /* the ids that they had are gone */
        finish->streams[i] = NULL;
        finish->stream_counts[i] = 0;
    }
    an_rowmap_begin(finish->map);
    finish->map->rows = rows;
    finish->visits_before = 0;
    finish->first_visit = 0;
    finish->store = NULL;
    an_arena_close(finish->arena);
    finish->arena = an_arena_open();
    return finish->arena != NULL;
}

static void drop_rows(struct an_finish *finish)
{
    for (struct an_row_block *rows = finish->first_rows; rows;) {
        struct an_row_block *next = rows->next;

        an_text_free(&rows->packed);
        an_free(rows);
        rows = next;
    }
    finish->first_rows = finish->last_rows = NULL;
    finish->row_bytes = 0;
}

void an_finish_close(struct an_finish *finish)
{
    for (size_t i = 0; finish->streams && i < finish->plan->quantity_count; i++) {
        an_free(finish->streams[i]);
    }
    an_free(finish->streams);
    an_free(finish->stream_counts);
    an_arena_close(finish->arena);
    drop_rows(finish);
    memset(finish, 0, sizeof *finish);
}

/* ---- writing away ----------------------------------------------------------------------------- */
static void key_of_number(char letter, uint64_t number, unsigned char key[9])
{
    key[0] = (unsigned char)letter;
    for (int i = 0; i < 8; i++) {
        key[1 + i] = (unsigned char)(number >> 8 * (7 - i)); /* high byte first: sorts as numbers */
    }
}

static enum an_status add_scratch(struct an_finish *finish, struct an_bytes key,
                                  const struct an_text *value, struct an_error *err)
{
    const struct an_bytes bytes = {(const unsigned char *)an_text_of(value), value->length};

    if (value->failed) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    finish->spilled = true;
    return an_store_scratch_add(finish->store, key, bytes, err);
}

enum an_status an_finish_spill(struct an_finish *finish, struct an_error *err)
{
    struct an_text value = {0};
    struct an_text key = {0};
    enum an_status st = AN_OK;

    finish->visits_spilled = true;
    for (const struct an_stay *stay = finish->stays->first; stay && !st; stay = stay->next) {
        an_text_clear(&value);
        an_text_clear(&key);
        an_text_add_char(&key, 'V');
        an_text_add_bytes(&key, stay->key);
        an_spill_write(stay, &value);
        st = key.failed ? an_fail(err, AN_NO_MEMORY, "out of memory")
                        : add_scratch(finish,
                                      (struct an_bytes){(const unsigned char *)an_text_of(&key),
                                                        key.length},
                                      &value, err);
    }
    an_text_free(&value);
    an_text_free(&key);
    return st ? st : an_stays_empty(finish->stays, err);
}

static enum an_status keep_rows(struct an_finish *finish, uint64_t block, struct an_error *err)
{
    struct an_row_block *rows = an_alloc(1, sizeof *rows);

    if (!rows) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    *(finish->last_rows ? &finish->last_rows->next : &finish->first_rows) = rows;
    finish->last_rows = rows;
    rows->block = block;
    an_rowmap_pack(finish->map, &rows->packed);
    finish->row_bytes += sizeof *rows + rows->packed.length;
    return rows->packed.failed ? an_fail(err, AN_NO_MEMORY, "out of memory") : AN_OK;
}

static enum an_status spill_packed(struct an_finish *finish, uint64_t block,
                                   const struct an_text *packed, struct an_error *err)
{
    unsigned char key[9];

    key_of_number('L', block, key);
    return add_scratch(finish, (struct an_bytes){key, sizeof key}, packed, err);
}

enum an_status an_finish_spill_rows(struct an_finish *finish, uint64_t block, struct an_error *err)
{
    struct an_text value = {0};

    if (!finish->store) {
        return keep_rows(finish, block, err);
    }
    an_rowmap_pack(finish->map, &value);
    const enum an_status st = spill_packed(finish, block, &value, err);
    an_text_free(&value);
    return st;
}

void an_finish_hand_in(struct an_finish *finish, struct an_store *store, int64_t file_id)
{
    finish->store = store;
    finish->file_id = file_id;
}

/* What was kept joins what is written away. */
static enum an_status spill_kept(struct an_finish *finish, struct an_error *err)
{
    enum an_status st = AN_OK;

    for (struct an_row_block *rows = finish->first_rows; rows && !st; rows = rows->next) {
        st = spill_packed(finish, rows->block, &rows->packed, err);
    }
    drop_rows(finish);
    return st;
}

/* ---- fates ------------------------------------------------------------------------------------ */
static enum an_status put_stay(struct an_finish *finish, const struct an_stay *stay,
                               struct an_error *err)
{
    enum an_look_found found = AN_LOOK_NEW;
    int64_t visit_id = 0;
    uint32_t doubt = 0;
    uint32_t fate = 0;
    const enum an_status st =
        an_visit_put(finish, stay, finish->visits_before > 0, &found, &doubt, &visit_id, err);

    if (st) {
        return st;
    }
    if (found == AN_LOOK_BEFORE) {
        finish->visits_before++;
    } else if (found == AN_LOOK_DOUBT) {
        finish->visits_before++;
        fate = UINT32_MAX - doubt;
    } else if (visit_id) {
        finish->first_visit = finish->first_visit ? finish->first_visit : visit_id;
        if (visit_id < finish->first_visit || visit_id - finish->first_visit >= UINT32_MAX) {
            return an_fail(err, AN_BUG, "visit ids do not follow each other");
        }
        fate = (uint32_t)(visit_id - finish->first_visit) + 1;
    } else {
        fate = 1; /* only looked at: not taken before, and nothing will be put */
    }
    for (const struct an_locals *local = &stay->locals; local; local = local->next) {
        if (!an_rowmap_set_fate(finish->map, local->local, fate)) {
            return an_fail(err, AN_NO_MEMORY, "out of memory");
        }
    }
    return AN_OK;
}

/* ---- rows ------------------------------------------------------------------------------------- */
struct ending { /* what the passes over the scratch table share */
    struct an_finish *finish;
    struct an_error *err;
    uint64_t row; /* of the file, for the marks */
    struct an_text joined;
};

static enum an_status answer_rows(struct ending *ending, uint64_t block)
{
    struct an_finish *finish = ending->finish;
    struct an_rowmap *map = finish->map;

    if (finish->visits_before) {
        uint32_t fate = 0;

        for (size_t i = 0; i < map->rows; i++, ending->row++) {
            if (i == 0 ||
                map->locals[i] != map->locals[i - 1]) { /* rows of a visit stand together */
                fate = an_rowmap_fate(map, map->locals[i]);
            }
            if (fate == 0 && !an_rowmap_mark_before(map, ending->row)) {
                return an_fail(ending->err, AN_NO_MEMORY, "out of memory");
            }
            if (finish->look->doubt_count && fate > UINT32_MAX - finish->look->doubt_count) {
                const enum an_status st =
                    an_look_add_row(finish->look, ending->row, (uint32_t)block, (uint32_t)i,
                                    UINT32_MAX - fate, ending->err);
                if (st) {
                    return st;
                }
            }
        }
        return AN_OK;
    }
    int64_t *ids = an_alloc(map->rows + 1, sizeof *ids);
    if (!ids) {
        return an_fail(ending->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < map->rows; i++) {
        ids[i] = i && map->locals[i] == map->locals[i - 1]
                     ? ids[i - 1]
                     : finish->first_visit + an_rowmap_fate(map, map->locals[i]) - 1;
    }
    const struct an_number_block cells = {map->rows, 0, ids};
    const enum an_status st = an_store_put_numbers(finish->store, finish->file_id, AN_COLUMN_VISIT,
                                                   (size_t)block, &cells, ending->err);
    an_free(ids);
    return st;
}

/* ---- reading back ----------------------------------------------------------------------------- */
/* Hands a joined visit on to the second pass and begins the next. */
static enum an_status end_join(struct ending *ending)
{
    struct an_stays *stays = ending->finish->stays;
    unsigned char key[9];

    if (!stays->first) {
        return AN_OK;
    }
    if (ending->finish->plan->any_ends) { /* before any visit is looked at */
        const enum an_status ends = an_visit_put_ends(ending->finish, stays->first, ending->err);
        if (ends) {
            return ends;
        }
    }
    key_of_number('F', stays->first->first_line, key);
    an_text_clear(&ending->joined);
    an_text_add_bytes(&ending->joined, stays->first->key);
    an_text_add_char(&ending->joined, '\0'); /* ends the key: a purpose holds no NUL */
    an_spill_write(stays->first, &ending->joined);
    const enum an_status st = add_scratch(ending->finish, (struct an_bytes){key, sizeof key},
                                          &ending->joined, ending->err);
    return st ? st : an_stays_empty(stays, ending->err);
}

static enum an_status join_parts(void *context, struct an_bytes key, struct an_bytes value)
{
    struct ending *ending = context;
    struct an_stays *stays = ending->finish->stays;

    if (key.length < 1 || key.at[0] != 'V') {
        return AN_OK;
    }
    key.at++;
    key.length--;
    if (stays->first && !an_bytes_equal(stays->first->key, key)) {
        const enum an_status st = end_join(ending);
        if (st) {
            return st;
        }
    }
    struct an_stay *stay = an_stays_find(stays, key, 0);
    return stay ? an_spill_read(stays, stay, value, ending->err)
                : an_fail(ending->err, AN_NO_MEMORY, "out of memory");
}

static enum an_status put_joined(struct ending *ending, struct an_bytes value)
{
    struct an_stays *stays = ending->finish->stays;
    size_t end = 0;
    int nuls = 0;

    while (end < value.length && nuls < 2) { /* serial NUL purpose NUL */
        nuls += value.at[end++] == 0;
    }
    const struct an_bytes key = {value.at, end - 1};
    struct an_stay *stay = an_stays_find(stays, key, 0);
    if (!stay) {
        return an_fail(ending->err, AN_NO_MEMORY, "out of memory");
    }
    enum an_status st = an_spill_read(
        stays, stay, (struct an_bytes){value.at + end, value.length - end}, ending->err);
    if (!st) {
        st = put_stay(ending->finish, stay, ending->err);
    }
    return st ? st : an_stays_empty(stays, ending->err);
}

static enum an_status put_parts(void *context, struct an_bytes key, struct an_bytes value)
{
    struct ending *ending = context;
    uint64_t block = 0;

    if (key.length == 9 && key.at[0] == 'F') {
        return put_joined(ending, value);
    }
    if (key.length != 9 || key.at[0] != 'L') {
        return AN_OK;
    }
    for (int i = 1; i < 9; i++) {
        block = block << 8 | key.at[i];
    }
    if (!an_rowmap_unpack(ending->finish->map, value)) {
        return an_fail(ending->err, AN_NO_MEMORY, "out of memory");
    }
    return answer_rows(ending, block);
}

static enum an_status finish_spilled(struct ending *ending, bool visits_spilled)
{
    struct an_finish *finish = ending->finish;
    enum an_status st = AN_OK;

    if (visits_spilled) {
        st = an_store_scratch_each(finish->store, join_parts, ending, ending->err);
        if (!st) {
            st = end_join(ending);
        }
    }
    if (!st) {
        st = an_store_scratch_each(finish->store, put_parts, ending, ending->err);
    }
    if (!st) {
        st = an_store_scratch_clear(finish->store, ending->err);
    }
    return st;
}

/* Nothing was written away: the blocks are here, and the last one's rows in the map. */
static enum an_status answer_kept(struct ending *ending, uint64_t last_block)
{
    struct an_finish *finish = ending->finish;
    enum an_status st = AN_OK;

    if (!finish->first_rows) {
        return finish->map->rows ? answer_rows(ending, last_block) : AN_OK;
    }
    if (finish->map->rows) {
        st = keep_rows(finish, last_block, ending->err);
    }
    for (struct an_row_block *rows = finish->first_rows; rows && !st; rows = rows->next) {
        const struct an_bytes packed = {(const unsigned char *)an_text_of(&rows->packed),
                                        rows->packed.length};

        st = an_rowmap_unpack(finish->map, packed)
                 ? answer_rows(ending, rows->block)
                 : an_fail(ending->err, AN_NO_MEMORY, "out of memory");
    }
    return st;
}

enum an_status an_finish_all(struct an_finish *finish, uint64_t last_block, struct an_error *err)
{
    struct ending ending = {finish, err, 0, {0}};
    const bool visits_spilled = finish->visits_spilled;
    enum an_status st = an_stays_end(finish->stays, err);

    if (!st && finish->spilled) {
        st = spill_kept(finish, err);
    }
    if (!st && finish->spilled && finish->map->rows) {
        st = an_finish_spill_rows(finish, last_block, err);
    }
    if (!st && visits_spilled) {
        st = an_finish_spill(finish, err);
    }
    if (!st && !visits_spilled) {
        for (const struct an_stay *stay = finish->stays->first;
             finish->plan->any_ends && stay && !st; stay = stay->next) {
            st =
                an_visit_put_ends(finish, stay, err); /* what one takes out makes room for others */
        }
        for (const struct an_stay *stay = finish->stays->first; stay && !st; stay = stay->next) {
            st = put_stay(finish, stay, err);
        }
    }
    if (!st && finish->spilled) {
        st = finish_spilled(&ending, visits_spilled);
    } else if (!st) {
        st = answer_kept(&ending, last_block);
    }
    an_text_free(&ending.joined);
    if (!st && finish->visits_before) {
        st = an_look_decide(finish, err);
    }
    return st;
}
