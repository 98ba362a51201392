/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Storing corrections and listing them. Must never leave a correction that changes nothing, nor two
 * in force for one thing: what holds would then depend on their order.
 */
#include "andamento/store/correction.h"

#include "andamento/store/genealogy.h"
#include "store/correction.h"
#include "store/signing.h"

#include <math.h>
#include <string.h>

static const char doing[] = "storing a correction";

const char *an_correction_word(enum an_correction_kind kind)
{
    static const char *const words[] = {"", "serial", "parent", "unit", "withdrawn", "undone"};
    return (unsigned)kind < sizeof words / sizeof *words ? words[kind] : "";
}

struct act {
    struct an_store *store;
    struct an_correction *correction;
    struct an_arena *arena;
    struct an_error *err;
    struct an_sha256 digest; /* of the numbers of the links or samples, a line each */
};

static enum an_status out_of_memory(struct act *act)
{
    return an_fail(act->err, AN_NO_MEMORY, "%s: memory ran out", doing);
}

static bool is_told(const char *text)
{
    return text && an_bytes_trim(an_bytes_of(text)).length > 0;
}

/* ---- what it changes --------------------------------------------------------------------------------- */

/* Each row of the query: a link or sample, and the correction in force of it, if any. */
static enum an_status look_at_effects(struct act *act, struct an_query *query, const char *what)
{
    struct an_text numbers = {0};
    bool more = false;
    int64_t before = 0;
    enum an_status st = AN_OK;

    act->correction->effects = 0;
    while (!before && !(st = an_query_row(query, &more, act->err)) && more) {
        an_text_addf(&numbers, "%lld\n", (long long)an_column_int(query, 0));
        before = an_column_int_or(query, 1, 0);
        act->correction->effects++;
    }
    an_query_end(query);
    if (!st && before) {
        st = an_fail(act->err, AN_BAD_USAGE,
                     "correction %lld holds for some of it; undo that one first, or choose less",
                     (long long)before);
    } else if (!st && !act->correction->effects) {
        st = an_fail(act->err, AN_NOT_FOUND, "nothing to correct: there is no such %s", what);
    } else if (!st && numbers.failed) {
        st = out_of_memory(act);
    }
    if (!st) {
        act->digest = an_sha256_of_text(an_text_of(&numbers));
    }
    an_text_free(&numbers);
    return st;
}

static enum an_status find_links(struct act *act)
{
    static const char sql[] = "SELECT k.link_id, (SELECT c.correction_id FROM corrected_link c"
                              " WHERE c.link_id = k.link_id" AN_IN_FORCE ") FROM main.link k"
                              " WHERE k.child_id = $1 AND k.parent_id = $2 ORDER BY k.link_id";
    struct an_query query;
    enum an_status st = an_query_start(&query, act->store, sql, doing, act->err);

    if (st) {
        return st;
    }
    an_query_int(&query, act->correction->item_id);
    an_query_int(&query, act->correction->was_id);
    return look_at_effects(act, &query, "link");
}

#define CHOSEN_SAMPLES(item, stream)                                                               \
    " AND (" item " IS NULL OR s.item_id = " item ")"                                              \
    " AND (" stream " IS NULL OR t.station || '.' || t.characteristic = " stream ")"
#define SAMPLES_OF_STREAMS " FROM sample s JOIN stream t ON t.stream_id = s.stream_id WHERE "

static void bind_choice(struct an_query *query, const struct an_correction *c)
{
    an_query_int(query, c->sample_id ? c->sample_id : c->file_id);
    an_query_int_or_null(query, c->item_id, c->item_id == 0);
    an_query_text(query, c->stream);
}

static enum an_status find_samples(struct act *act)
{
#define NUMBERS                                                                                    \
    "SELECT s.sample_id, (SELECT c.correction_id FROM corrected_sample c"                          \
    " WHERE c.sample_id = s.sample_id" AN_IN_FORCE ")"
    static const char of_file[] = NUMBERS SAMPLES_OF_STREAMS
        "s.file_id = $1" CHOSEN_SAMPLES("$2", "$3") " ORDER BY s.sample_id";
    static const char one[] =
        NUMBERS SAMPLES_OF_STREAMS "s.sample_id = $1" CHOSEN_SAMPLES("$2", "$3");
#undef NUMBERS
    struct an_query query;
    enum an_status st = an_query_start(&query, act->store,
                                       act->correction->sample_id ? one : of_file, doing, act->err);

    if (st) {
        return st;
    }
    bind_choice(&query, act->correction);
    return look_at_effects(act, &query, "sample");
}

static enum an_status put_links(struct act *act)
{
    static const char sql[] =
        "INSERT INTO corrected_link (correction_id, link_id, parent_id)"
        " SELECT $1, link_id, $2 FROM main.link WHERE child_id = $3 AND parent_id = $4";
    const struct an_correction *c = act->correction;
    struct an_query query;
    enum an_status st = an_query_start(&query, act->store, sql, doing, act->err);

    if (st) {
        return st;
    }
    an_query_int(&query, c->correction_id);
    an_query_int_or_null(&query, c->is_id, c->is_id == 0);
    an_query_int(&query, c->item_id);
    an_query_int(&query, c->was_id);
    return an_query_run(&query, act->err);
}

static enum an_status put_samples(struct act *act)
{
#define ROWS                                                                                       \
    "INSERT INTO corrected_sample (correction_id, sample_id, stream_id, at_us, factor)"            \
    " SELECT $1, s.sample_id, s.stream_id, s.at_us, $2"
    static const char of_file[] =
        ROWS SAMPLES_OF_STREAMS "s.file_id = $3" CHOSEN_SAMPLES("$4", "$5");
    static const char one[] = ROWS SAMPLES_OF_STREAMS "s.sample_id = $3" CHOSEN_SAMPLES("$4", "$5");
#undef ROWS
    const struct an_correction *c = act->correction;
    struct an_query query;
    enum an_status st =
        an_query_start(&query, act->store, c->sample_id ? one : of_file, doing, act->err);

    if (st) {
        return st;
    }
    an_query_int(&query, c->correction_id);
    an_query_real(&query, c->kind == AN_CORRECT_UNIT ? c->factor : (double)NAN);
    bind_choice(&query, c);
    return an_query_run(&query, act->err);
}

/* ---- one kind each ------------------------------------------------------------------------------------- */

static const char *name_of(struct act *act, int64_t item_id, enum an_status *st)
{
    struct an_item item = {0};
    const char *name = NULL;

    if (!*st) {
        *st = an_store_item_by_id(act->store, item_id, act->arena, &item, act->err);
    }
    if (!*st) {
        name = an_arena_printf(act->arena, "%s %s", item.kind, item.serial);
        *st = name ? AN_OK : out_of_memory(act);
    }
    return name;
}

static enum an_status serial_in_force(struct act *act)
{
    static const char sql[] = "SELECT c.correction_id FROM correction c WHERE c.kind = 1"
                              " AND (c.item_id = $1 OR c.item_id = $2)" AN_IN_FORCE;
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, act->store, sql, doing, act->err);

    if (st) {
        return st;
    }
    an_query_int(&query, act->correction->item_id);
    an_query_int(&query, act->correction->is_id);
    st = an_query_row(&query, &found, act->err);
    if (!st && found) {
        st = an_fail(act->err, AN_BAD_USAGE,
                     "correction %lld holds for one of the two serials; undo that one first",
                     (long long)an_column_int(&query, 0));
    }
    an_query_end(&query);
    return st;
}

static enum an_status prepare_serial(struct act *act)
{
    struct an_correction *c = act->correction;
    struct an_item item = {0};
    struct an_item *items = NULL;
    size_t count = 0;

    if (!is_told(c->serial)) {
        return an_fail(act->err, AN_BAD_USAGE, "a correction of a serial wants the right one");
    }
    enum an_status st = an_store_item_by_id(act->store, c->item_id, act->arena, &item, act->err);
    st = st ? st
            : an_store_items_named(act->store, item.kind, an_bytes_of(c->serial), act->arena,
                                   &items, &count, act->err);
    if (!st && count && items[0].item_id == c->item_id) {
        return an_fail(act->err, AN_BAD_USAGE, "%s %s has that serial already", item.kind,
                       item.serial);
    }
    c->is_id = !st && count ? items[0].item_id : 0;
    st = st ? st : serial_in_force(act);
    if (!st) {
        c->before = an_arena_printf(act->arena, "%s %s", item.kind, item.serial);
        c->after = an_arena_printf(act->arena, "%s %s", item.kind, c->serial);
        st = c->before && c->after ? AN_OK : out_of_memory(act);
    }
    return st;
}

static enum an_status prepare_parent(struct act *act)
{
    struct an_correction *c = act->correction;
    bool circle = c->is_id == c->item_id;
    enum an_status st = AN_OK;
    const char *child = name_of(act, c->item_id, &st);
    const char *was = name_of(act, c->was_id, &st);
    const char *is = c->is_id ? name_of(act, c->is_id, &st) : "no part";

    if (!st && c->is_id == c->was_id) {
        return an_fail(act->err, AN_BAD_USAGE, "%s is the part that was recorded", was);
    }
    if (!st && c->is_id && !circle) {
        st = an_store_is_made_of(act->store, c->is_id, c->item_id, &circle, act->err);
    }
    if (!st && circle) {
        st = an_fail(act->err, AN_BAD_USAGE, "%s is made of %s itself: it cannot be its part", is,
                     child);
    }
    st = st ? st : find_links(act);
    if (st == AN_NOT_FOUND) {
        st = an_fail(act->err, AN_NOT_FOUND, "no link says that %s went into %s", was ? was : "it",
                     child ? child : "it");
    }
    if (!st) {
        c->before = an_arena_printf(act->arena, "%s in %s", was, child);
        c->after = an_arena_printf(act->arena, "%s in %s", is, child);
        st = c->before && c->after ? AN_OK : out_of_memory(act);
    }
    return st;
}

static const char *chosen_words(struct act *act, enum an_status *st)
{
    const struct an_correction *c = act->correction;
    struct an_file file = {0};
    struct an_text text = {0};
    const char *words = NULL;

    if (!*st && c->file_id) {
        *st = an_store_file(act->store, c->file_id, act->arena, &file, act->err);
    }
    const char *item = c->item_id ? name_of(act, c->item_id, st) : NULL;
    if (*st) {
        return NULL;
    }
    if (c->sample_id) {
        an_text_addf(&text, "sample %lld", (long long)c->sample_id);
    } else {
        an_text_addf(&text, "%s of %s", c->stream ? c->stream : "all samples",
                     file.name ? file.name : "");
    }
    if (item) {
        an_text_addf(&text, ", %s", item);
    }
    words = text.failed ? NULL : an_arena_printf(act->arena, "%s", an_text_of(&text));
    an_text_free(&text);
    *st = words ? AN_OK : out_of_memory(act);
    return words;
}

static enum an_status prepare_samples(struct act *act)
{
    struct an_correction *c = act->correction;
    enum an_status st = AN_OK;

    if (!c->sample_id && !c->file_id) {
        return an_fail(act->err, AN_BAD_USAGE, "say which file's samples, or which sample");
    }
    if (c->kind == AN_CORRECT_UNIT &&
        (!c->stream || !(c->factor > 0) || !isfinite(c->factor) || c->factor == 1)) {
        return an_fail(act->err, AN_BAD_USAGE,
                       "a correction of a unit wants a characteristic, and a factor that is "
                       "above 0 and not 1");
    }
    st = find_samples(act);
    c->before = chosen_words(act, &st);
    if (!st && !c->after) {
        c->after = c->kind == AN_CORRECT_UNIT
                       ? an_arena_printf(act->arena, "values times %.12g", c->factor)
                       : "withdrawn";
        st = c->after ? AN_OK : out_of_memory(act);
    }
    return st;
}

static void read_correction(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_correction *c = row;

    c->correction_id = an_column_int(query, 0);
    c->kind = (enum an_correction_kind)an_column_int(query, 1);
    c->known_us = an_column_int(query, 2);
    c->item_id = an_column_int_or(query, 3, 0);
    c->was_id = an_column_int_or(query, 4, 0);
    c->is_id = an_column_int_or(query, 5, 0);
    c->serial = an_column_text(query, 6, arena);
    c->file_id = an_column_int_or(query, 7, 0);
    c->stream = an_column_text(query, 8, arena);
    c->factor = an_column_real(query, 9);
    c->effects = an_column_int(query, 10);
    c->undoes = an_column_int_or(query, 11, 0);
    c->before = an_column_text(query, 12, arena);
    c->after = an_column_text(query, 13, arena);
    c->author = an_column_text(query, 14, arena);
    c->reason = an_column_text(query, 15, arena);
    c->system_user = an_column_text(query, 16, arena);
    c->host = an_column_text(query, 17, arena);
    c->undone_by = an_column_int_or(query, 18, 0);
    c->signed_key = an_column_text(query, 19, arena);
}

#define CORRECTIONS                                                                                 \
    "SELECT c.correction_id, c.kind, c.known_us, c.item_id, c.was_id, c.is_id, c.serial,"           \
    " c.file_id, c.stream, c.factor, c.effects, c.undoes, c.before, c.after, c.author, c.reason,"   \
    " c.system_user, c.host,"                                                                       \
    " (SELECT u.correction_id FROM correction u WHERE u.undoes = c.correction_id), " AN_SIGNED_KEY( \
        "c") " FROM correction c"

static enum an_status prepare_undo(struct act *act)
{
    static const char sql[] = CORRECTIONS " WHERE c.correction_id = $1";
    struct an_correction *c = act->correction;
    struct an_correction earlier = {0};
    struct an_query query;
    enum an_status st = an_query_start(&query, act->store, sql, doing, act->err);

    if (st) {
        return st;
    }
    an_query_int(&query, c->undoes);
    st = an_query_one(&query, read_correction, act->arena, &earlier, "", act->err);
    if (st == AN_NOT_FOUND) {
        return an_fail(act->err, st, "there is no correction %lld", (long long)c->undoes);
    }
    if (!st && earlier.undone_by) {
        return an_fail(act->err, AN_BAD_USAGE, "correction %lld was undone by correction %lld",
                       (long long)c->undoes, (long long)earlier.undone_by);
    }
    if (!st && earlier.kind == AN_CORRECT_UNDO) {
        return an_fail(act->err, AN_BAD_USAGE,
                       "correction %lld only undoes another one; make that one again",
                       (long long)c->undoes);
    }
    c->before = earlier.after;
    c->after = earlier.before;
    return st;
}

static enum an_status prepare(struct act *act)
{
    switch (act->correction->kind) {
    case AN_CORRECT_SERIAL:
        return prepare_serial(act);
    case AN_CORRECT_PARENT:
        return prepare_parent(act);
    case AN_CORRECT_UNIT:
    case AN_CORRECT_WITHDRAW:
        return prepare_samples(act);
    case AN_CORRECT_UNDO:
        return prepare_undo(act);
    }
    return an_fail(act->err, AN_BUG, "there is no such correction");
}

/* ---- storing --------------------------------------------------------------------------------------------- */

static void put_id(struct an_json *json, const char *key, int64_t id)
{
    if (id) {
        an_json_put_integer(json, key, id);
    } else {
        an_json_put_string(json, key, NULL);
    }
}

static enum an_status tell(struct act *act, const struct an_doer *doer, uint64_t *entry)
{
    const struct an_correction *c = act->correction;
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);

    an_json_object(&json);
    an_json_put_integer(&json, "correction_id", c->correction_id);
    an_json_put_integer(&json, "kind", c->kind);
    an_json_put_string(&json, "what", an_correction_word(c->kind));
    an_json_put_integer(&json, "known_us", c->known_us);
    put_id(&json, "item_id", c->item_id);
    put_id(&json, "was_id", c->was_id);
    put_id(&json, "is_id", c->is_id);
    an_json_put_string(&json, "serial", c->serial);
    put_id(&json, "file_id", c->file_id);
    an_json_put_string(&json, "stream", c->stream);
    an_json_put_number(&json, "factor", c->kind == AN_CORRECT_UNIT ? c->factor : (double)NAN);
    an_json_put_integer(&json, "effects", c->effects);
    an_json_put_hash(&json, "digest", &act->digest);
    put_id(&json, "undoes", c->undoes);
    an_json_put_string(&json, "before", c->before);
    an_json_put_string(&json, "after", c->after);
    an_json_put_string(&json, "author", c->author);
    an_json_put_string(&json, "reason", c->reason);
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
    return an_ledger_append_text(act->store, "correction", &payload, entry, act->err);
}

static enum an_status put_row(struct act *act, const struct an_doer *doer, uint64_t entry)
{
    static const char sql[] =
        "INSERT INTO correction (correction_id, kind, known_us, item_id, was_id, is_id, serial,"
        " file_id, stream, factor, effects, undoes, before, after, author, reason, system_user,"
        " host, entry) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15,"
        " $16, $17, $18, $19)";
    const struct an_correction *c = act->correction;
    struct an_query query;
    enum an_status st = an_query_start(&query, act->store, sql, doing, act->err);

    if (st) {
        return st;
    }
    an_query_int(&query, c->correction_id);
    an_query_int(&query, c->kind);
    an_query_int(&query, c->known_us);
    an_query_int_or_null(&query, c->item_id, c->item_id == 0);
    an_query_int_or_null(&query, c->was_id, c->was_id == 0);
    an_query_int_or_null(&query, c->is_id, c->is_id == 0);
    an_query_text(&query, c->serial);
    an_query_int_or_null(&query, c->file_id, c->file_id == 0);
    an_query_text(&query, c->stream);
    an_query_real(&query, c->kind == AN_CORRECT_UNIT ? c->factor : (double)NAN);
    an_query_int(&query, c->effects);
    an_query_int_or_null(&query, c->undoes, c->undoes == 0);
    an_query_text(&query, c->before);
    an_query_text(&query, c->after);
    an_query_text(&query, c->author);
    an_query_text(&query, c->reason);
    an_query_text(&query, doer->user);
    an_query_text(&query, doer->host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, act->err);
}

static enum an_status put_all(struct act *act)
{
    struct an_correction *c = act->correction;
    const struct an_doer doer = an_doer_now();
    uint64_t entry = 0;
    enum an_status st = prepare(act);

    st = st ? st : an_store_take_id(act->store, AN_COUNT_CORRECTION, &c->correction_id, act->err);
    c->known_us = an_known(c->known_us);
    st = st ? st : tell(act, &doer, &entry);
    st = st ? st : put_row(act, &doer, entry);
    if (!st && c->kind == AN_CORRECT_PARENT) {
        st = put_links(act);
    } else if (!st && (c->kind == AN_CORRECT_UNIT || c->kind == AN_CORRECT_WITHDRAW)) {
        st = put_samples(act);
    }
    return st;
}

enum an_status an_store_put_correction(struct an_store *store, struct an_correction *correction,
                                       struct an_arena *arena, struct an_error *err)
{
    struct act act = {store, correction, arena, err, an_sha256_of_text("")};
    bool own = false;

    if (!is_told(correction->author) || !is_told(correction->reason)) {
        return an_fail(err, AN_BAD_USAGE,
                       "a correction wants its author and a reason: it is kept for good");
    }
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    st = put_all(&act);
    return an_store_leave(store, own, st, err);
}

/* ---- reading ----------------------------------------------------------------------------------------------- */

enum an_status an_store_corrections(struct an_store *store, struct an_arena *arena,
                                    struct an_correction **corrections, size_t *count,
                                    struct an_error *err)
{
    static const char sql[] = CORRECTIONS " ORDER BY c.correction_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "listing corrections", err);

    if (!st) {
        st = an_query_collect(&query, sizeof **corrections, read_correction, arena, &rows, count,
                              err);
    }
    if (!st) {
        *corrections = rows;
    }
    return st;
}

enum an_status an_store_corrected_between(struct an_store *store, int64_t correction_id,
                                          int64_t from_us, int64_t until_us, int64_t *samples,
                                          struct an_error *err)
{
    static const char sql[] = "SELECT count(*) FROM corrected_sample"
                              " WHERE correction_id = $1 AND at_us >= $2 AND at_us < $3";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "counting corrected samples", err);

    *samples = 0;
    if (st) {
        return st;
    }
    an_query_int(&query, correction_id);
    an_query_int(&query, from_us);
    an_query_int(&query, until_us);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *samples = an_column_int(&query, 0);
    }
    an_query_end(&query);
    return st;
}

enum an_status an_store_corrected_since(struct an_store *store, int64_t stream_id,
                                        int64_t *earliest_us, struct an_error *err)
{
    static const char sql[] =
        "WITH last (entry) AS (SELECT coalesce(max(entry), -1) FROM judged WHERE stream_id = $1)"
        " SELECT min(c.at_us) FROM corrected_sample c"
        " JOIN correction r ON r.correction_id = c.correction_id, last WHERE c.stream_id = $1"
        " AND (r.entry > last.entry OR EXISTS (SELECT 1 FROM correction undo"
        " WHERE undo.undoes = c.correction_id AND undo.entry > last.entry))";
    struct an_query query;
    bool any = false;
    bool found = false;
    enum an_status st = an_any_sample_corrected(store, &any, err);

    *earliest_us = AN_NO_INSTANT;
    if (st || !any) {
        return st;
    }
    st = an_query_start(&query, store, sql, "looking for corrected samples", err);
    if (st) {
        return st;
    }
    an_query_int(&query, stream_id);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *earliest_us = an_column_instant(&query, 0);
    }
    an_query_end(&query);
    return st;
}
