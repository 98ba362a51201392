/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Stored signatures against keys and ledger. Must never take a stored hash for what was signed: what
 * a signature is checked against is said by its row, and that row is compared with the ledger of now.
 *
 * The one idea: a signature on an act holds the root of the tree up to it, so as long as the key is
 * not with whoever rewrites a ledger, each signed act is a head that has left the machine.
 */
#include "andamento/store/note.h"
#include "store/signing.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { MOST_FINDINGS = 20 }; /* of acts, of heads; the rest are counted */

static const char doing[] = "checking signatures";

struct checking {
    struct an_store *store;
    an_finding *finding;
    void *context;
    struct an_error *err;
    size_t told;
};

static void tell(struct checking *c, const char *format, ...) AN_PRINTF(2, 3);
static void tell(struct checking *c, const char *format, ...)
{
    char text[600];
    va_list args;

    if (c->told++ < MOST_FINDINGS) {
        va_start(args, format);
        (void)vsnprintf(text, sizeof text, format, args);
        va_end(args);
        c->finding(c->context, text);
    }
}

static void end_part(struct checking *c, const char *part)
{
    char text[100];

    if (c->told > MOST_FINDINGS) {
        (void)snprintf(text, sizeof text, "%s: %zu more like these", part, c->told - MOST_FINDINGS);
        c->finding(c->context, text);
    }
    c->told = 0;
}

/* What both kinds are checked for. */
struct by {
    const char *what; /* "signature 3 on ledger entry 17 (limits.locked)" */
    const char *key_id, *author;
    struct an_public_key key;
    bool known;
    int64_t signed_entry;               /* the key had to be in force then */
    int64_t added_entry, retired_entry; /* INT64_MAX: not retired */
};

static bool key_was_good(struct checking *c, const struct by *by)
{
    if (!by->known) {
        tell(c, "%s: key %s is not recorded", by->what, by->key_id);
    } else if (by->added_entry >= by->signed_entry) {
        tell(c, "%s: key %s was not recorded yet", by->what, by->key_id);
    } else if (by->retired_entry < by->signed_entry) {
        tell(c, "%s: key %s had been retired before, by ledger entry %lld", by->what, by->key_id,
             (long long)by->retired_entry);
    }
    return by->known;
}

/* Columns public_key, author, entry of the key and entry of its retirement, from `first` on. */
static void read_by(struct an_query *query, int first, struct an_arena *arena, struct by *by)
{
    struct an_sha256 bytes = {{0}}; /* as long as a key */

    by->known = an_column_hash(query, first, &bytes);
    memcpy(by->key.at, bytes.at, sizeof by->key.at);
    by->author = an_column_text(query, first + 1, arena);
    by->added_entry = an_column_int_or(query, first + 2, INT64_MAX);
    by->retired_entry = an_column_int_or(query, first + 3, INT64_MAX);
}

/* ---- acts -------------------------------------------------------------------------------------- */
struct signature {
    struct by by;
    int64_t entry; /* of the signature */
    struct an_sha256 leaf, root, leaf_is;
    const char *payload, *kind; /* NULL: there is no such entry */
    const char *coded;
    bool whole; /* hashes are hashes */
};

static void read_signature(struct an_query *query, struct an_arena *arena, struct signature *s)
{
    *s = (struct signature){0};
    s->by.signed_entry = an_column_int(query, 1);
    s->by.key_id = an_column_text(query, 4, arena);
    s->coded = an_column_text(query, 5, arena);
    s->entry = an_column_int(query, 6);
    s->kind = an_column_text(query, 7, arena);
    s->payload = an_column_text(query, 8, arena);
    s->whole = an_column_hash(query, 2, &s->leaf) && an_column_hash(query, 3, &s->root);
    (void)an_column_hash(query, 9, &s->leaf_is); /* what it should be is the ledger's own check */
    read_by(query, 10, arena, &s->by);
    s->by.what = an_arena_printf(arena, "signature %lld on ledger entry %lld%s%s%s",
                                 (long long)an_column_int(query, 0), (long long)s->by.signed_entry,
                                 s->kind ? " (" : "", s->kind ? s->kind : "", s->kind ? ")" : "");
    query->no_memory = query->no_memory || !s->by.what;
}

static enum an_status signature_holds(struct checking *c, const struct signature *s, bool *holds)
{
    struct an_signature signature;
    struct an_text text = {0};
    enum an_status st = AN_OK;

    *holds = false;
    an_act_text((uint64_t)s->by.signed_entry, &s->leaf, &s->root, &text);
    if (text.failed) {
        st = an_fail(c->err, AN_NO_MEMORY, "%s: memory ran out", doing);
    } else if (s->whole && s->coded &&
               an_base64_read(an_bytes_of(s->coded), signature.at, sizeof signature.at)) {
        const struct an_bytes bytes = {(const unsigned char *)an_text_of(&text), text.length};

        st = an_signature_check(&s->by.key, bytes, &signature, holds, c->err);
    }
    an_text_free(&text);
    return st;
}

/* What is signed against what is there. */
static enum an_status compare_tree(struct checking *c, const struct signature *s)
{
    struct an_sha256 root;
    const enum an_status st =
        an_ledger_root_at(c->store, (uint64_t)s->by.signed_entry + 1, &root, c->err);

    if (st) {
        return st;
    }
    if (memcmp(&s->leaf, &s->leaf_is, sizeof s->leaf) != 0) {
        tell(c, "%s: the entry is another one than was signed", s->by.what);
    } else if (memcmp(&s->root, &root, sizeof root) != 0) {
        tell(c, "%s: something before it in the ledger was changed after it was signed",
             s->by.what);
    }
    return AN_OK;
}

static enum an_status check_signature(struct checking *c, const struct signature *s)
{
    bool holds = false;

    if (!s->payload || !s->kind) {
        tell(c, "%s: the ledger has no such entry", s->by.what);
        return AN_OK;
    }
    if (!key_was_good(c, &s->by)) {
        return AN_OK;
    }
    if (!an_is_act(s->kind) || s->entry <= s->by.signed_entry) {
        tell(c, "%s: that is no act which this entry could sign", s->by.what);
    } else if (!an_act_is_of(s->payload, s->by.author)) {
        tell(c, "%s: key %s is %s's, and the act names another author", s->by.what, s->by.key_id,
             s->by.author);
    }
    const enum an_status st = signature_holds(c, s, &holds);
    if (!st && !holds) {
        tell(c, "%s: the signature is not that of key %s", s->by.what, s->by.key_id);
    }
    return st || !holds ? st : compare_tree(c, s);
}

static enum an_status check_acts(struct checking *c, int64_t *count)
{
    static const char sql[] =
        "SELECT s.signature_id, s.signed_entry, s.leaf, s.root, s.key_id, s.signature, s.entry,"
        " l.kind, l.payload, l.leaf, k.public_key, k.author, k.entry, r.entry FROM act_signature s"
        " LEFT JOIN ledger l ON l.entry = s.signed_entry"
        " LEFT JOIN signing_key k ON k.key_id = s.key_id"
        " LEFT JOIN key_retirement r ON r.key_id = s.key_id"
        " WHERE s.signature_id > 0 ORDER BY s.signature_id";
    struct an_query query;
    bool more = false;
    enum an_status st = an_query_start(&query, c->store, sql, doing, c->err);

    if (st) {
        return st;
    }
    while (!(st = an_query_row(&query, &more, c->err)) && more) {
        struct an_arena *arena = an_arena_open(); /* one row's: memory does not grow */
        struct signature signature;

        if (arena) {
            read_signature(&query, arena, &signature);
        }
        st = arena && !query.no_memory ? check_signature(c, &signature)
                                       : an_fail(c->err, AN_NO_MEMORY, "%s: memory ran out", doing);
        an_arena_close(arena);
        if (st) {
            break;
        }
        ++*count;
    }
    an_query_end(&query);
    end_part(c, "signatures on acts");
    return st;
}

/* ---- heads ------------------------------------------------------------------------------------- */
struct head {
    struct by by;
    struct an_ledger_head head;
    const char *note;
};

static void read_head(struct an_query *query, struct an_arena *arena, struct head *h)
{
    *h = (struct head){0};
    h->head.size = (uint64_t)an_column_int(query, 1);
    (void)an_column_hash(query, 2, &h->head.root); /* a wrong length is no root of the note's */
    h->by.key_id = an_column_text(query, 3, arena);
    h->note = an_column_text(query, 4, arena);
    h->by.signed_entry = an_column_int(query, 5);
    read_by(query, 6, arena, &h->by);
    h->by.what =
        an_arena_printf(arena, "signed head %lld (%llu entries)",
                        (long long)an_column_int(query, 0), (unsigned long long)h->head.size);
    query->no_memory = query->no_memory || !h->by.what;
}

/* A head as its note tells it against the ledger. */
static enum an_status compare_head(struct checking *c, const struct head *h,
                                   const struct an_ledger_head *told)
{
    struct an_sha256 root;
    char hex[65];

    if (told->size != h->head.size || memcmp(&told->root, &h->head.root, sizeof told->root) != 0) {
        tell(c, "%s: the record tells another head than the note that was signed", h->by.what);
    }
    const enum an_status st = an_ledger_root_at(c->store, told->size, &root, c->err);
    if (st == AN_NOT_FOUND) {
        tell(c, "%s: the ledger never had so many entries", h->by.what);
        return AN_OK;
    }
    if (!st && memcmp(&root, &told->root, sizeof root) != 0) {
        tell(c,
             "%s: the ledger's first %llu entries have the root %.16s: something among them was "
             "changed after the head was signed",
             h->by.what, (unsigned long long)told->size, an_sha256_hex(&root, hex));
    }
    return st;
}

static enum an_status check_head(struct checking *c, const struct head *h)
{
    struct an_ledger_head told = {0};
    enum an_note_state state = AN_NOTE_UNSIGNED;

    if (!key_was_good(c, &h->by)) {
        return AN_OK;
    }
    const enum an_status st =
        an_note_read(an_bytes_of(h->note ? h->note : ""), &h->by.key, &told, &state, c->err);
    if (st == AN_BAD_INPUT || (!st && state != AN_NOTE_SIGNED)) {
        tell(c, "%s: the signature is not that of key %s", h->by.what, h->by.key_id);
        return AN_OK;
    }
    return st ? st : compare_head(c, h, &told);
}

static enum an_status check_heads(struct checking *c, int64_t *count)
{
    static const char sql[] = "SELECT h.head_id, h.entries, h.root, h.key_id, h.note, h.entry,"
                              " k.public_key, k.author, k.entry, r.entry FROM signed_head h"
                              " LEFT JOIN signing_key k ON k.key_id = h.key_id"
                              " LEFT JOIN key_retirement r ON r.key_id = h.key_id"
                              " WHERE h.head_id > 0 ORDER BY h.head_id";
    struct an_query query;
    bool more = false;
    enum an_status st = an_query_start(&query, c->store, sql, doing, c->err);

    if (st) {
        return st;
    }
    while (!(st = an_query_row(&query, &more, c->err)) && more) {
        struct an_arena *arena = an_arena_open();
        struct head head;

        if (arena) {
            read_head(&query, arena, &head);
        }
        st = arena && !query.no_memory ? check_head(c, &head)
                                       : an_fail(c->err, AN_NO_MEMORY, "%s: memory ran out", doing);
        an_arena_close(arena);
        if (st) {
            break;
        }
        ++*count;
    }
    an_query_end(&query);
    end_part(c, "signed heads");
    return st;
}

enum an_status an_store_signatures_check(struct an_store *store, an_finding *finding, void *context,
                                         struct an_signature_counts *counts, struct an_error *err)
{
    struct checking c = {store, finding, context, err, 0};

    *counts = (struct an_signature_counts){0, 0};
    const enum an_status st = check_acts(&c, &counts->acts);

    return st ? st : check_heads(&c, &counts->heads);
}
