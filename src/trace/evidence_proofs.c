/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The folder's head, leaves and paths. Must never write a leaf whose path does not lead to the head:
 * each is hashed from its own bytes and checked by the other algorithm.
 */
#include "andamento/base/output_folder.h"
#include "andamento/store/evidence.h"
#include "andamento/store/note.h"
#include "trace/evidence.h"

#include <inttypes.h>
#include <string.h>

static enum an_status no_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

static enum an_status put(struct an_evidence_work *work, const char *name,
                          const struct an_text *text)
{
    return text->failed
               ? no_memory(work->err)
               : an_folder_file_put(work->folder, name, an_text_of(text), text->length, work->err);
}

/* A public key in PEM: SubjectPublicKeyInfo as RFC 8410, section 4, has it. */
static void add_public_pem(struct an_text *pem, const struct an_public_key *key)
{
    static const unsigned char opening[] = {0x30, 0x2A, 0x30, 0x05, 0x06, 0x03,
                                            0x2B, 0x65, 0x70, 0x03, 0x21, 0x00};
    unsigned char info[sizeof opening + sizeof key->at];
    memcpy(info, opening, sizeof opening);
    memcpy(info + sizeof opening, key->at, sizeof key->at);
    an_text_add(pem, "-----BEGIN PUBLIC KEY-----\n");
    an_base64_add(pem, (struct an_bytes){info, sizeof info});
    an_text_add(pem, "\n-----END PUBLIC KEY-----\n");
}

static enum an_status put_head(struct an_evidence_work *work)
{
    const struct an_ledger_head *head = &work->told->head;
    const struct an_evidence_ask *ask = work->ask;
    struct an_text text = {0};
    struct an_text note = {0};
    struct an_text pem = {0};
    char hex[65];

    an_text_addf(&text, "%" PRIu64 ":%s\n", head->size, an_sha256_hex(&head->root, hex));
    enum an_status st = put(work, "head.txt", &text);
    if (!st && ask->private_key.length) {
        struct an_signature signature;
        struct an_public_key key;
        st = an_note_make(ask->log_name ? ask->log_name : "andamento", head, ask->private_key,
                          &note, work->err);
        st = st ? st : put(work, "head.note", &note);
        if (!st) {
            /* only for its public half */
            const struct an_bytes any = an_bytes_of(an_text_of(&text));
            st = an_key_sign(ask->private_key, any, &signature, &key, work->err);
        }
        if (!st) {
            add_public_pem(&pem, &key);
            st = put(work, "public.key", &pem);
        }
    }
    an_text_free(&text);
    an_text_free(&note);
    an_text_free(&pem);
    return st;
}

/* What an entry tells of many hits by one hash: the lines that are hashed. */
static enum an_status put_hits(struct an_evidence_work *work, int64_t number,
                               const struct an_ledger_entry *entry, struct an_arena *arena)
{
    struct an_text lines = {0};
    char hex[65];
    char *name = an_arena_printf(arena, "hits/%lld", (long long)number);
    enum an_status st =
        name ? an_evidence_hit_lines(work->store, number, &lines, work->err) : no_memory(work->err);
    if (!st) {
        const struct an_sha256 hash = an_sha256_of(an_text_of(&lines), lines.length);
        if (!strstr(entry->payload, an_sha256_hex(&hash, hex))) {
            st = an_fail(work->err, AN_NO_STORE,
                         "the hits of ledger entry %lld are not what it tells: run verify",
                         (long long)number);
        }
    }
    st = st ? st : put(work, name, &lines);
    an_text_free(&lines);
    return st;
}

static enum an_status put_leaf(struct an_evidence_work *work, int64_t number,
                               struct an_arena *arena, struct an_folder_file *paths)
{
    const struct an_ledger_head *head = &work->told->head;
    struct an_ledger_entry *entry = NULL;
    struct an_proof proof;
    struct an_text leaf = {0};
    struct an_text line = {0};
    size_t count = 0;
    char hex[65];
    char *name = an_arena_printf(arena, "leaves/%lld", (long long)number);
    enum an_status st =
        name ? an_ledger_read(work->store, (uint64_t)number, 1, arena, &entry, &count, work->err)
             : no_memory(work->err);
    bool holds =
        !st && count == 1 && entry->entry == (uint64_t)number && entry->kind && entry->payload;
    if (holds) {
        st = an_ledger_prove(work->store, (uint64_t)number, head->size, &proof, work->err);
        an_text_add_char(&leaf, '\0');
        an_text_addf(&leaf, "%lld\n%s\n", (long long)entry->at_us, entry->kind);
        an_text_add(&leaf, entry->payload);
        const struct an_sha256 hash = an_sha256_of(an_text_of(&leaf), leaf.length);
        holds = st || leaf.failed ||
                an_inclusion_holds(&hash, (uint64_t)number, head->size, &proof, &head->root);
    }
    if (!st && !holds) {
        st =
            an_fail(work->err, AN_NO_STORE,
                    "ledger entry %lld does not lead to the ledger's root: run verify, which tells "
                    "what was changed",
                    (long long)number);
    }
    st = st ? st : put(work, name, &leaf);
    if (!st && strcmp(entry->kind, "signal.hits") == 0) {
        st = put_hits(work, number, entry, arena);
    }
    if (!st) {
        an_text_addf(&line, "%lld", (long long)number);
        for (size_t k = 0; k < proof.count; k++) {
            an_text_addf(&line, " %s", an_sha256_hex(&proof.hashes[k], hex));
        }
        an_text_add_char(&line, '\n');
        (void)an_folder_file_write(paths, an_text_of(&line), line.length); /* told by close */
        st = line.failed ? no_memory(work->err) : AN_OK;
    }
    an_text_free(&leaf);
    an_text_free(&line);
    return st;
}

enum an_status an_evidence_put_proofs(struct an_evidence_work *work)
{
    struct an_folder_file *paths = NULL;
    int64_t entry = -1;
    bool found = true;
    enum an_status st = put_head(work);

    st = st ? st : an_folder_file_open(work->folder, "paths.txt", &paths, work->err);
    while (!st && found) {
        st = an_evidence_next_entry(work->store, entry, &found, &entry, work->err);
        if (!st && found) {
            struct an_arena *arena = an_arena_open();
            st = arena ? put_leaf(work, entry, arena, paths) : no_memory(work->err);
            an_arena_close(arena);
            work->told->leaves++;
        }
    }
    if (st) {
        an_folder_file_drop(paths);
        return st;
    }
    return an_folder_file_close(paths, NULL, work->err);
}
