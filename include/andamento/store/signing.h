/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whose acts are whose: public keys with their authors, signatures on acts, signed heads kept beside
 * the ledger. No private key is ever stored: a handle holds one while it signs, and no longer.
 *
 * What is signed of an act is its entry of the ledger and the tree of all entries up to it
 * (an_act_text()), so a signature also tells of what was recorded before the act. One thread a handle.
 */
#ifndef ANDAMENTO_STORE_SIGNING_H
#define ANDAMENTO_STORE_SIGNING_H

#include "andamento/base/sign.h"
#include "andamento/store/store.h"
#include "andamento/store/verify.h"

/* ---- keys ----------------------------------------------------------------------------------- */
struct an_signing_key {
    int64_t key_no, known_us;
    char key_id[AN_KEY_NAME_ROOM]; /* an_key_name() of key; set by the store */
    struct an_public_key key;
    const char *author, *reason;    /* whose it is; how it was handed over, or why it is new */
    const char *system_user, *host; /* reading only, as what follows */
    int64_t retired_us;             /* AN_NO_INSTANT: in force */
    const char *retired_by, *retired_because;
    int64_t acts, heads;    /* signed with it */
    const char *signed_key; /* with which its recording was signed; NULL: with none */
};
/* Records the key of `author`. Own transaction, unless one is open. AN_BAD_USAGE: no author, no
 * reason, or the key was recorded already; AN_BAD_INPUT: a key for which anybody can sign. */
AN_CHECKED enum an_status an_store_add_key(struct an_store *store, struct an_signing_key *key,
                                           struct an_error *err);
/* key_id: its first digits will do (four at least), if no other key begins so; the whole id is put
 * there. What it signed so far stays signed. AN_NOT_FOUND: no such key; AN_BAD_USAGE: no author, no
 * reason, several keys, or it is retired. */
AN_CHECKED enum an_status an_store_retire_key(struct an_store *store, const char *key_id,
                                              const char *author, const char *reason,
                                              char whole_id[AN_KEY_NAME_ROOM],
                                              struct an_error *err);
/* All of them, oldest first. */
AN_CHECKED enum an_status an_store_keys(struct an_store *store, struct an_arena *arena,
                                        struct an_signing_key **keys, size_t *count,
                                        struct an_error *err);

/* ---- acts ----------------------------------------------------------------------------------- */
/* From here on each act of a person that this handle records is signed, in the act's transaction:
 * decisions on limits, answers, releases, studies, corrections, dropping, keys. The key is copied, and
 * wiped when the handle is closed. key_id (may be NULL): the key's. AN_BAD_INPUT: no private Ed25519
 * key; AN_DENIED: not recorded, not this author's, or retired. */
AN_CHECKED enum an_status an_store_sign_as(struct an_store *store, const char *author,
                                           struct an_bytes private_pem,
                                           char key_id[AN_KEY_NAME_ROOM], struct an_error *err);
/* From here on none is, and the key is wiped. */
void an_store_sign_none(struct an_store *store);
/* Acts signed by this handle since an_store_sign_as(), also those since undone. */
size_t an_store_signed(const struct an_store *store);

/* The bytes that are signed: four lines, each ended by LF:
 *   andamento signed act 1
 *   entry N
 *   leaf HEX    hash of entry N
 *   root HEX    root of the tree of the first N + 1 entries */
void an_act_text(uint64_t entry, const struct an_sha256 *leaf, const struct an_sha256 *root,
                 struct an_text *text);

/* ---- heads ---------------------------------------------------------------------------------- */
struct an_signed_head {
    int64_t head_id, known_us;
    struct an_ledger_head head;
    const char *key_id, *author; /* with which it is signed, and whose that is */
    const char *note;            /* as it was given */
    const char *system_user, *host;
};
/* Records a signed note (andamento/store/note.h). Only a head that this ledger had, signed by a key
 * that is recorded and not retired: AN_BAD_INPUT for what is no note or changed after signing,
 * AN_DENIED for a signature by no such key, AN_NOT_FOUND for a head that the tree never had,
 * AN_BAD_USAGE for one that is recorded already. Own transaction, unless one is open. */
AN_CHECKED enum an_status an_store_put_head(struct an_store *store, struct an_bytes note,
                                            struct an_arena *arena, struct an_signed_head *head,
                                            struct an_error *err);
/* All of them, oldest first. */
AN_CHECKED enum an_status an_store_heads(struct an_store *store, struct an_arena *arena,
                                         struct an_signed_head **heads, size_t *count,
                                         struct an_error *err);

/* ---- checking ------------------------------------------------------------------------------- */
struct an_signature_counts {
    int64_t acts, heads; /* signatures looked at */
};
/* Each signature against the ledger and the keys: that it holds, that the key was recorded before
 * and not retired before, that the act is of the key's author, that the tree was so. Rows of the
 * tables themselves are an_store_acts_check()'s. */
AN_CHECKED enum an_status an_store_signatures_check(struct an_store *store, an_finding *finding,
                                                    void *context,
                                                    struct an_signature_counts *counts,
                                                    struct an_error *err);

#endif
