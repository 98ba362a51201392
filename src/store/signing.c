/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Public keys as records, and the signing of acts. Must never store a private key, nor sign for an
 * author whose key it is not.
 *
 * A signature is made of the act's leaf and stands in the entry after it: it cannot be in what it
 * signs, and so the ledger covers it all the same.
 */
#include "store/signing.h"

#include <jansson.h>
#include <string.h>

static bool is_told(const char *text)
{
    return text && text[0];
}

/* ---- reading ----------------------------------------------------------------------------------- */
void an_read_key(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_signing_key *key = row;
    const char *id = an_column_text(query, 2, arena);
    struct an_sha256 bytes = {{0}}; /* as long as a key; other lengths are verify's to tell */

    key->key_no = an_column_int(query, 0);
    key->known_us = an_column_int(query, 1);
    memset(key->key_id, 0, sizeof key->key_id);
    if (id && strlen(id) < sizeof key->key_id) {
        memcpy(key->key_id, id, strlen(id));
    }
    (void)an_column_hash(query, 3, &bytes);
    memcpy(key->key.at, bytes.at, sizeof key->key.at);
    key->author = an_column_text(query, 4, arena);
    key->reason = an_column_text(query, 5, arena);
    key->system_user = an_column_text(query, 6, arena);
    key->host = an_column_text(query, 7, arena);
    key->retired_us = an_column_instant(query, 8);
    key->retired_by = an_column_text(query, 9, arena);
    key->retired_because = an_column_text(query, 10, arena);
}

static void read_listed(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_signing_key *key = row;

    an_read_key(query, arena, row);
    key->acts = an_column_int(query, 11);
    key->heads = an_column_int(query, 12);
    key->signed_key = an_column_text(query, 13, arena);
}

enum an_status an_store_keys(struct an_store *store, struct an_arena *arena,
                             struct an_signing_key **keys, size_t *count, struct an_error *err)
{
    static const char sql[] =
        "SELECT " AN_KEY_COLUMNS
        ", (SELECT count(*) FROM act_signature s WHERE s.key_id = k.key_id),"
        " (SELECT count(*) FROM signed_head h WHERE h.key_id = k.key_id),"
        " (SELECT s.key_id FROM act_signature s WHERE s.signed_entry = k.entry)"
        " FROM " AN_KEY_TABLES " WHERE k.key_no > 0 ORDER BY k.key_no";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "listing keys", err);

    st = st ? st : an_query_collect(&query, sizeof **keys, read_listed, arena, &rows, count, err);
    if (!st) {
        *keys = rows;
    }
    return st;
}

/* The key of this id, if it is recorded. */
static enum an_status find_key(struct an_store *store, const char *key_id, struct an_arena *arena,
                               struct an_signing_key *key, bool *found, struct an_error *err)
{
    static const char sql[] =
        "SELECT " AN_KEY_COLUMNS " FROM " AN_KEY_TABLES " WHERE k.key_id = $1";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for a key", err);

    if (st) {
        return st;
    }
    an_query_text(&query, key_id);
    st = an_query_one(&query, an_read_key, arena, key, "", err);
    *found = st == AN_OK;
    return st == AN_NOT_FOUND ? AN_OK : st;
}

/* ---- recording a key --------------------------------------------------------------------------- */
static enum an_status may_add(struct an_store *store, const struct an_signing_key *key,
                              struct an_error *err)
{
    struct an_arena *arena = an_arena_open();
    struct an_signing_key known = {0};
    bool weak = false;
    bool found = false;
    enum an_status st = arena ? an_key_is_weak(&key->key, &weak, err)
                              : an_fail(err, AN_NO_MEMORY, "recording a key: memory ran out");

    if (!st && weak) {
        st = an_fail(err, AN_BAD_INPUT,
                     "it is one of the few Ed25519 keys for which anybody can sign: make another");
    }
    st = st ? st : find_key(store, key->key_id, arena, &known, &found, err);
    if (!st && found) {
        st = an_fail(err, AN_BAD_USAGE, "key %s is recorded already, as %s's%s: make a new one",
                     known.key_id, known.author,
                     known.retired_us == AN_NO_INSTANT ? "" : ", and is retired");
    }
    an_arena_close(arena);
    return st;
}

static enum an_status tell_key(struct an_store *store, const struct an_signing_key *key,
                               const struct an_doer *doer, uint64_t *entry, struct an_error *err)
{
    struct an_sha256 bytes;
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);

    memcpy(bytes.at, key->key.at, sizeof bytes.at);
    an_json_object(&json);
    an_json_put_integer(&json, "key_no", key->key_no);
    an_json_put_string(&json, "key_id", key->key_id);
    an_json_put_hash(&json, "public_key", &bytes);
    an_json_put_integer(&json, "known_us", key->known_us);
    an_json_put_string(&json, "author", key->author);
    an_json_put_string(&json, "reason", key->reason);
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, "key.added", &payload, entry, err);
}

static enum an_status put_key(struct an_store *store, struct an_signing_key *key,
                              struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO signing_key (key_no, key_id, public_key, known_us, author, reason,"
        " system_user, host, entry) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)";
    const struct an_doer doer = an_doer_now();
    struct an_query query;
    uint64_t entry = 0;

    an_key_name(&key->key, key->key_id);
    enum an_status st = may_add(store, key, err);
    st = st ? st : an_store_take_id(store, AN_COUNT_SIGNING_KEY, &key->key_no, err);
    key->known_us = an_known(key->known_us);
    st = st ? st : tell_key(store, key, &doer, &entry, err);
    st = st ? st : an_query_start(&query, store, sql, "recording a key", err);
    if (st) {
        return st;
    }
    an_query_int(&query, key->key_no);
    an_query_text(&query, key->key_id);
    an_query_blob(&query, key->key.at, sizeof key->key.at);
    an_query_int(&query, key->known_us);
    an_query_text(&query, key->author);
    an_query_text(&query, key->reason);
    an_query_text(&query, doer.user);
    an_query_text(&query, doer.host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

enum an_status an_store_add_key(struct an_store *store, struct an_signing_key *key,
                                struct an_error *err)
{
    bool own = false;

    if (!is_told(key->author) || !is_told(key->reason)) {
        return an_fail(err, AN_BAD_USAGE, "recording a key wants its author and a reason");
    }
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    st = put_key(store, key, err);
    return an_store_leave(store, own, st, err);
}

/* ---- retiring one ------------------------------------------------------------------------------ */
/* The one key that begins so. */
static enum an_status key_beginning(struct an_store *store, const char *start,
                                    struct an_arena *arena, struct an_signing_key **key,
                                    struct an_error *err)
{
    struct an_signing_key *keys = NULL;
    size_t count = 0;
    size_t fit = 0;
    enum an_status st = an_store_keys(store, arena, &keys, &count, err);

    for (size_t k = 0; !st && k < count; k++) {
        if (strncmp(keys[k].key_id, start, strlen(start)) == 0) {
            *key = &keys[k];
            fit++;
        }
    }
    if (!st && (fit == 0 || strlen(start) < 4)) {
        st = an_fail(err, AN_NOT_FOUND, "no key '%s' is recorded; 'andamento key list' lists them",
                     start);
    } else if (!st && fit > 1) {
        st = an_fail(err, AN_BAD_USAGE, "%zu keys begin with '%s': give all digits", fit, start);
    } else if (!st && (*key)->retired_us != AN_NO_INSTANT) {
        st = an_fail(err, AN_BAD_USAGE, "key %s is retired already, by %s: %s", (*key)->key_id,
                     (*key)->retired_by, (*key)->retired_because);
    }
    return st;
}

struct retirement {
    int64_t retirement_id, known_us;
    const char *key_id, *author, *reason;
};

static enum an_status tell_retirement(struct an_store *store, const struct retirement *r,
                                      const struct an_doer *doer, uint64_t *entry,
                                      struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);

    an_json_object(&json);
    an_json_put_integer(&json, "retirement_id", r->retirement_id);
    an_json_put_string(&json, "key_id", r->key_id);
    an_json_put_integer(&json, "known_us", r->known_us);
    an_json_put_string(&json, "author", r->author);
    an_json_put_string(&json, "reason", r->reason);
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, "key.retired", &payload, entry, err);
}

static enum an_status put_retirement(struct an_store *store, struct retirement *r,
                                     struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO key_retirement (retirement_id, key_id, known_us, author, reason, system_user,"
        " host, entry) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)";
    const struct an_doer doer = an_doer_now();
    struct an_query query;
    uint64_t entry = 0;
    enum an_status st = an_store_take_id(store, AN_COUNT_KEY_RETIREMENT, &r->retirement_id, err);

    r->known_us = an_clock_now_us();
    st = st ? st : tell_retirement(store, r, &doer, &entry, err);
    st = st ? st : an_query_start(&query, store, sql, "retiring a key", err);
    if (st) {
        return st;
    }
    an_query_int(&query, r->retirement_id);
    an_query_text(&query, r->key_id);
    an_query_int(&query, r->known_us);
    an_query_text(&query, r->author);
    an_query_text(&query, r->reason);
    an_query_text(&query, doer.user);
    an_query_text(&query, doer.host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

enum an_status an_store_retire_key(struct an_store *store, const char *key_id, const char *author,
                                   const char *reason, char whole_id[AN_KEY_NAME_ROOM],
                                   struct an_error *err)
{
    struct an_arena *arena = NULL;
    struct an_signing_key *key = NULL;
    bool own = false;

    if (!is_told(author) || !is_told(reason)) {
        return an_fail(err, AN_BAD_USAGE, "retiring a key wants an author and a reason");
    }
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    arena = an_arena_open();
    st = arena ? key_beginning(store, key_id, arena, &key, err)
               : an_fail(err, AN_NO_MEMORY, "retiring a key: memory ran out");
    if (!st) {
        struct retirement r = {.key_id = key->key_id, .author = author, .reason = reason};

        memcpy(whole_id, key->key_id, AN_KEY_NAME_ROOM);
        st = put_retirement(store, &r, err);
    }
    an_arena_close(arena);
    return an_store_leave(store, own, st, err);
}

/* ---- signing ----------------------------------------------------------------------------------- */
bool an_is_act(const char *kind)
{
    static const char *const acts[] = {"limits.locked", "limits.refused", "signal.answered",
                                       "held.release",  "retention",      "correction",
                                       "gauge.study",   "key.added",      "key.retired"};

    for (size_t k = 0; k < sizeof acts / sizeof *acts; k++) {
        if (strcmp(acts[k], kind) == 0) {
            return true;
        }
    }
    return false;
}

bool an_act_is_of(const char *payload, const char *author)
{
    json_t *told = json_loads(payload, JSON_REJECT_DUPLICATES, NULL);
    const char *name = json_string_value(json_object_get(told, "author"));
    const bool same = name && author && strcmp(name, author) == 0;

    json_decref(told);
    return same;
}

void an_act_text(uint64_t entry, const struct an_sha256 *leaf, const struct an_sha256 *root,
                 struct an_text *text)
{
    char leaf_hex[65];
    char root_hex[65];

    an_text_addf(text, "andamento signed act 1\nentry %llu\nleaf %s\nroot %s\n",
                 (unsigned long long)entry, an_sha256_hex(leaf, leaf_hex),
                 an_sha256_hex(root, root_hex));
}

/* May this key sign for this author now? */
static enum an_status may_sign(struct an_store *store, const char *author, const char *key_id,
                               struct an_error *err)
{
    struct an_arena *arena = an_arena_open();
    struct an_signing_key key = {0};
    bool found = false;
    enum an_status st = arena ? find_key(store, key_id, arena, &key, &found, err)
                              : an_fail(err, AN_NO_MEMORY, "signing: memory ran out");

    if (!st && !found) {
        st = an_fail(err, AN_DENIED,
                     "key %s is not recorded: 'andamento key add' records its public half", key_id);
    } else if (!st && strcmp(key.author, author) != 0) {
        st = an_fail(err, AN_DENIED, "key %s is recorded as %s's, and signs nothing for %s", key_id,
                     key.author, author);
    } else if (!st && key.retired_us != AN_NO_INSTANT) {
        char at[40];

        st = an_fail(err, AN_DENIED, "key %s was retired at %s by %s: %s", key_id,
                     an_instant_rfc3339(key.retired_us, at), key.retired_by, key.retired_because);
    }
    an_arena_close(arena);
    return st;
}

static char *copy_of(const void *at, size_t length)
{
    char *copy = an_alloc(length + 1, 1);

    if (copy) {
        memcpy(copy, at, length);
    }
    return copy;
}

void an_signer_drop(struct an_signer *signer)
{
    if (signer) {
        an_wipe(signer->pem, signer->pem_length);
        an_free(signer->pem);
        an_free(signer->author);
        an_free(signer);
    }
}

enum an_status an_store_sign_as(struct an_store *store, const char *author,
                                struct an_bytes private_pem, char key_id[AN_KEY_NAME_ROOM],
                                struct an_error *err)
{
    struct an_signature unused;
    struct an_public_key key;
    char id[AN_KEY_NAME_ROOM];

    if (!is_told(author)) {
        return an_fail(err, AN_BAD_USAGE, "a signed act wants its author");
    }
    /* to sign something is the one way of this layer to learn the public half */
    enum an_status st = an_key_sign(private_pem, an_bytes_of("key"), &unused, &key, err);
    if (st) {
        return st;
    }
    an_key_name(&key, id);
    st = may_sign(store, author, id, err);
    if (st) {
        return st;
    }
    struct an_signer *signer = an_alloc(1, sizeof *signer);
    if (signer) {
        signer->author = copy_of(author, strlen(author));
        signer->pem = copy_of(private_pem.at, private_pem.length);
        signer->pem_length = private_pem.length;
        memcpy(signer->key_id, id, sizeof id);
    }
    if (!signer || !signer->author || !signer->pem) {
        an_signer_drop(signer);
        return an_fail(err, AN_NO_MEMORY, "signing: memory ran out");
    }
    an_signer_drop(store->signer);
    store->signer = signer;
    if (key_id) {
        memcpy(key_id, id, sizeof id);
    }
    return AN_OK;
}

void an_store_sign_none(struct an_store *store)
{
    an_signer_drop(store->signer);
    store->signer = NULL;
}

size_t an_store_signed(const struct an_store *store)
{
    return store->signer ? store->signer->signed_acts : 0;
}

/* ---- signatures as records --------------------------------------------------------------------- */
struct made {
    int64_t signature_id;
    uint64_t signed_entry;
    const struct an_sha256 *leaf, *root;
    const char *key_id, *signature;
};

static enum an_status tell_signature(struct an_store *store, const struct made *made,
                                     uint64_t *entry, struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);

    an_json_object(&json);
    an_json_put_integer(&json, "signature_id", made->signature_id);
    an_json_put_integer(&json, "signed_entry", (int64_t)made->signed_entry);
    an_json_put_hash(&json, "leaf", made->leaf);
    an_json_put_hash(&json, "root", made->root);
    an_json_put_string(&json, "key_id", made->key_id);
    an_json_put_string(&json, "signature", made->signature);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, "act.signed", &payload, entry, err);
}

static enum an_status put_signature(struct an_store *store, struct made *made, struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO act_signature (signature_id, signed_entry, leaf, root, key_id, signature,"
        " entry) VALUES ($1, $2, $3, $4, $5, $6, $7)";
    struct an_query query;
    uint64_t entry = 0;
    enum an_status st = an_store_take_id(store, AN_COUNT_ACT_SIGNATURE, &made->signature_id, err);

    st = st ? st : tell_signature(store, made, &entry, err);
    st = st ? st : an_query_start(&query, store, sql, "storing a signature", err);
    if (st) {
        return st;
    }
    an_query_int(&query, made->signature_id);
    an_query_int(&query, (int64_t)made->signed_entry);
    an_query_hash(&query, made->leaf);
    an_query_hash(&query, made->root);
    an_query_text(&query, made->key_id);
    an_query_text(&query, made->signature);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

/* A key that this handle itself has retired meanwhile; the retirement may be signed with it still. */
static enum an_status still_in_force(struct an_store *store, uint64_t entry, struct an_error *err)
{
    static const char sql[] = "SELECT 1 FROM key_retirement WHERE key_id = $1 AND entry < $2";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for a key", err);

    if (st) {
        return st;
    }
    an_query_text(&query, store->signer->key_id);
    an_query_int(&query, (int64_t)entry);
    st = an_query_row(&query, &found, err);
    an_query_end(&query);
    return !st && found ? an_fail(err, AN_DENIED, "key %s is retired", store->signer->key_id) : st;
}

enum an_status an_signer_sign(struct an_store *store, uint64_t entry, const char *payload,
                              const struct an_sha256 *leaf, struct an_error *err)
{
    struct an_signer *signer = store->signer;
    const struct an_bytes pem = {(const unsigned char *)signer->pem, signer->pem_length};
    const struct an_sha256 root = an_tree_root(&store->tree);
    struct an_signature signature;
    struct an_text text = {0};
    struct an_text coded = {0};
    enum an_status st =
        an_act_is_of(payload, signer->author)
            ? still_in_force(store, entry, err)
            : an_fail(err, AN_BUG, "signing for %s what another one did", signer->author);

    an_act_text(entry, leaf, &root, &text);
    if (!st && !text.failed) {
        const struct an_bytes bytes = {(const unsigned char *)an_text_of(&text), text.length};

        st = an_key_sign(pem, bytes, &signature, NULL, err);
    }
    if (!st && !text.failed) {
        an_base64_add(&coded, (struct an_bytes){signature.at, sizeof signature.at});
    }
    if (!st && (text.failed || coded.failed)) {
        st = an_fail(err, AN_NO_MEMORY, "signing: memory ran out");
    }
    if (!st) {
        struct made made = {0, entry, leaf, &root, signer->key_id, an_text_of(&coded)};

        st = put_signature(store, &made, err);
        signer->signed_acts++;
    }
    an_text_free(&text);
    an_text_free(&coded);
    return st;
}
