/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Keys and signatures, shared within the layer. */
#ifndef AN_STORE_SIGNING_H
#define AN_STORE_SIGNING_H

#include "andamento/store/signing.h"
#include "store/handle.h"

/* With what a handle signs. */
struct an_signer {
    char *author, *pem; /* the private key */
    size_t pem_length;
    char key_id[AN_KEY_NAME_ROOM];
    size_t signed_acts;
};
void an_signer_drop(struct an_signer *signer); /* wiped; NULL is fine */

/* Is the kind of entry an act of a person, to be signed. */
bool an_is_act(const char *kind);
/* Signs the newest entry, which was just added to the tree. AN_BUG if it is of another author. */
AN_CHECKED enum an_status an_signer_sign(struct an_store *store, uint64_t entry,
                                         const char *payload, const struct an_sha256 *leaf,
                                         struct an_error *err);
/* Does the payload of an act name this author. */
bool an_act_is_of(const char *payload, const char *author);

/* The key that signed the act of a row, in a list of columns; NULL: none did. */
#define AN_SIGNED_KEY(table)                                                                       \
    "(SELECT sg.key_id FROM act_signature sg WHERE sg.signed_entry = " table ".entry)"

/* Columns of "k" and "r" in the order of an_read_key(). */
#define AN_KEY_COLUMNS                                                                             \
    "k.key_no, k.known_us, k.key_id, k.public_key, k.author, k.reason, k.system_user, k.host,"     \
    " r.known_us, r.author, r.reason"
#define AN_KEY_TABLES "signing_key k LEFT JOIN key_retirement r ON r.key_id = k.key_id"
void an_read_key(struct an_query *query, struct an_arena *arena, void *row);

#endif
