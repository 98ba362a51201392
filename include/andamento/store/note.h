/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A head of the ledger as a signed note: lines of name, entries and root in base64, an empty line,
 * signatures. The open formats signed-note and tlog-checkpoint of C2SP (from memory), so that tools
 * for transparency logs read it. Touches no store. Any thread.
 */
#ifndef ANDAMENTO_STORE_NOTE_H
#define ANDAMENTO_STORE_NOTE_H

#include "andamento/base/sign.h"
#include "andamento/store/store.h"

/* May it name a log and its key: not empty, well-formed UTF-8, without blanks, controls and '+'. */
bool an_note_name_fits(struct an_bytes name);

/* Adds the note of a head, signed with a private key in PEM. AN_BAD_USAGE for a name that does not
 * fit, AN_BAD_INPUT for what is no key, AN_NO_MEMORY. */
AN_CHECKED enum an_status an_note_make(const char *name, const struct an_ledger_head *head,
                                       struct an_bytes private_pem, struct an_text *note,
                                       struct an_error *err);

enum an_note_state {
    AN_NOTE_SIGNED,  /* by this key */
    AN_NOTE_FORGED,  /* it names this key, and the signature is not of this text */
    AN_NOTE_UNSIGNED /* by this key; others may have signed */
};
/* The head of a note, and what a key's signature on it is worth. AN_BAD_INPUT with the line if it is
 * no note; the head is only to be believed when *state is AN_NOTE_SIGNED. */
AN_CHECKED enum an_status an_note_read(struct an_bytes note, const struct an_public_key *key,
                                       struct an_ledger_head *head, enum an_note_state *state,
                                       struct an_error *err);

#endif
