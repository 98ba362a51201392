/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Signed heads as records beside the ledger. Must never take one that this ledger did not have, or
 * whose signature is not that of a key in force: verify would find it for good.
 *
 * The note is kept to the byte: it is what was signed, and what leaves the machine.
 */
#include "andamento/store/note.h"
#include "store/signing.h"

#include <string.h>

static const char doing[] = "recording a signed head";

struct act {
    struct an_store *store;
    struct an_bytes note;
    struct an_arena *arena;
    struct an_signed_head *head;
    struct an_error *err;
};

/* The key in force that signed the note. */
static enum an_status find_signer(struct act *act)
{
    struct an_signing_key *keys = NULL;
    size_t count = 0;
    bool forged = false;
    enum an_note_state state = AN_NOTE_UNSIGNED;
    const struct an_public_key nobodys = {{0}};
    /* is it a note at all, also where there is no key */
    enum an_status st = an_note_read(act->note, &nobodys, &act->head->head, &state, act->err);

    st = st ? st : an_store_keys(act->store, act->arena, &keys, &count, act->err);
    for (size_t k = 0; !st && k < count; k++) {
        st = an_note_read(act->note, &keys[k].key, &act->head->head, &state, act->err);
        forged = forged || (!st && state == AN_NOTE_FORGED);
        if (!st && state == AN_NOTE_SIGNED && keys[k].retired_us == AN_NO_INSTANT) {
            act->head->key_id = keys[k].key_id;
            act->head->author = keys[k].author;
            return AN_OK;
        }
    }
    if (!st && forged) {
        st = an_fail(act->err, AN_BAD_INPUT, "the head was changed after it was signed");
    }
    return st ? st
              : an_fail(act->err, AN_DENIED,
                        "no key that is recorded and in force has signed the head: 'andamento key "
                        "list' tells which are");
}

static enum an_status must_be_ours(struct act *act)
{
    const struct an_ledger_head *head = &act->head->head;
    struct an_sha256 is;
    char hex[65];
    enum an_status st = head->size
                            ? an_ledger_root_at(act->store, head->size, &is, act->err)
                            : an_fail(act->err, AN_BAD_USAGE, "a head of no entries tells nothing");

    if (!st && memcmp(&is, &head->root, sizeof is) != 0) {
        st = an_fail(act->err, AN_NOT_FOUND,
                     "the ledger never had this head: its first %llu entries have the root %.16s",
                     (unsigned long long)head->size, an_sha256_hex(&is, hex));
    }
    return st;
}

static enum an_status must_be_new(struct act *act)
{
    static const char sql[] = "SELECT head_id FROM signed_head WHERE note = $1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, act->store, sql, doing, act->err);

    if (st) {
        return st;
    }
    an_query_text(&query, act->head->note);
    st = an_query_row(&query, &found, act->err);
    if (!st && found) {
        st = an_fail(act->err, AN_BAD_USAGE, "this head is recorded already, as head %lld",
                     (long long)an_column_int(&query, 0));
    }
    an_query_end(&query);
    return st;
}

static enum an_status tell(struct act *act, const struct an_doer *doer, uint64_t *entry)
{
    const struct an_signed_head *head = act->head;
    const struct an_sha256 note = an_sha256_of_text(head->note);
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);

    an_json_object(&json);
    an_json_put_integer(&json, "head_id", head->head_id);
    an_json_put_integer(&json, "known_us", head->known_us);
    an_json_put_integer(&json, "entries", (int64_t)head->head.size);
    an_json_put_hash(&json, "root", &head->head.root);
    an_json_put_string(&json, "key_id", head->key_id);
    an_json_put_hash(&json, "note_sha256", &note);
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
    return an_ledger_append_text(act->store, "head.signed", &payload, entry, act->err);
}

static enum an_status put(struct act *act)
{
    static const char sql[] =
        "INSERT INTO signed_head (head_id, known_us, entries, root, key_id, note, system_user,"
        " host, entry) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)";
    struct an_signed_head *head = act->head;
    const struct an_doer doer = an_doer_now();
    struct an_query query;
    uint64_t entry = 0;
    enum an_status st = find_signer(act);

    st = st ? st : must_be_ours(act);
    st = st ? st : must_be_new(act);
    st = st ? st : an_store_take_id(act->store, AN_COUNT_SIGNED_HEAD, &head->head_id, act->err);
    head->known_us = an_known(head->known_us);
    st = st ? st : tell(act, &doer, &entry);
    st = st ? st : an_query_start(&query, act->store, sql, doing, act->err);
    if (st) {
        return st;
    }
    an_query_int(&query, head->head_id);
    an_query_int(&query, head->known_us);
    an_query_int(&query, (int64_t)head->head.size);
    an_query_hash(&query, &head->head.root);
    an_query_text(&query, head->key_id);
    an_query_text(&query, head->note);
    an_query_text(&query, doer.user);
    an_query_text(&query, doer.host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, act->err);
}

enum an_status an_store_put_head(struct an_store *store, struct an_bytes note,
                                 struct an_arena *arena, struct an_signed_head *head,
                                 struct an_error *err)
{
    struct act act = {store, note, arena, head, err};
    bool own = false;

    *head = (struct an_signed_head){0};
    if (!note.length || an_utf8_check(note) != note.length || memchr(note.at, '\0', note.length)) {
        return an_fail(err, AN_BAD_INPUT, "a signed head is text, and this is not");
    }
    head->note = an_arena_printf(arena, "%.*s", (int)note.length, (const char *)note.at);
    if (!head->note) {
        return an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    st = put(&act);
    return an_store_leave(store, own, st, err);
}

static void read_head(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_signed_head *head = row;

    head->head_id = an_column_int(query, 0);
    head->known_us = an_column_int(query, 1);
    head->head.size = (uint64_t)an_column_int(query, 2);
    (void)an_column_hash(query, 3, &head->head.root); /* a wrong length is for the check to tell */
    head->key_id = an_column_text(query, 4, arena);
    head->author = an_column_text(query, 5, arena);
    head->note = an_column_text(query, 6, arena);
    head->system_user = an_column_text(query, 7, arena);
    head->host = an_column_text(query, 8, arena);
}

enum an_status an_store_heads(struct an_store *store, struct an_arena *arena,
                              struct an_signed_head **heads, size_t *count, struct an_error *err)
{
    static const char sql[] = "SELECT h.head_id, h.known_us, h.entries, h.root, h.key_id, k.author,"
                              " h.note, h.system_user, h.host FROM signed_head h"
                              " LEFT JOIN signing_key k ON k.key_id = h.key_id"
                              " WHERE h.head_id > 0 ORDER BY h.head_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "listing signed heads", err);

    st = st ? st : an_query_collect(&query, sizeof **heads, read_head, arena, &rows, count, err);
    if (!st) {
        *heads = rows;
    }
    return st;
}
