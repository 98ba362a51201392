/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ed25519 signatures (RFC 8032) by keys in PEM, as openssl reads and writes them, through libcrypto;
 * and base64 (RFC 4648). Never asks for a password, keeps no key. Any thread.
 */
#ifndef ANDAMENTO_BASE_SIGN_H
#define ANDAMENTO_BASE_SIGN_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"
#include "andamento/base/text.h"

#include <stdbool.h>
#include <stddef.h>

struct an_public_key {
    unsigned char at[32];
};
struct an_signature {
    unsigned char at[64];
};
struct an_key_id { /* the key's short name in a signed note */
    unsigned char at[4];
};

/* A new pair: PKCS#8 and SubjectPublicKeyInfo in PEM, added to the texts. */
AN_CHECKED enum an_status an_key_new(struct an_text *private_pem, struct an_text *public_pem,
                                     struct an_error *err);
/* Signs with a private key in PEM; also its public half unless NULL. AN_BAD_INPUT unless it is an
 * Ed25519 key without a password. */
AN_CHECKED enum an_status an_key_sign(struct an_bytes private_pem, struct an_bytes message,
                                      struct an_signature *signature, struct an_public_key *key,
                                      struct an_error *err);
/* The key of a public PEM. AN_BAD_INPUT likewise. */
AN_CHECKED enum an_status an_key_public(struct an_bytes public_pem, struct an_public_key *key,
                                        struct an_error *err);
AN_CHECKED enum an_status an_signature_check(const struct an_public_key *key,
                                             struct an_bytes message,
                                             const struct an_signature *signature, bool *holds,
                                             struct an_error *err);
/* The key's own short name: the first 16 hexadecimal digits of SHA-256 of the key as
 * SubjectPublicKeyInfo in DER (RFC 8410, section 4). */
#define AN_KEY_NAME_ROOM 17
void an_key_name(const struct an_public_key *key, char name[AN_KEY_NAME_ROOM]);
/* Is it one of the few points of small order, for which anybody can make signatures that hold? */
AN_CHECKED enum an_status an_key_is_weak(const struct an_public_key *key, bool *weak,
                                         struct an_error *err);
/* Of a key under a name: the first four bytes of SHA-256 of name, LF, byte 1, key. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_key_id_of(struct an_bytes name, const struct an_public_key *key,
                                       struct an_key_id *id);

/* Overwrites a secret, in a way that no compiler leaves out. NULL is fine. */
void an_wipe(void *at, size_t length);

void an_base64_add(struct an_text *text, struct an_bytes bytes);
/* Padded base64 of exactly `length` bytes (100 at most), in the one way of writing it; else false. */
bool an_base64_read(struct an_bytes text, unsigned char *at, size_t length);

#endif
