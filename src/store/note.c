/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Signed notes of heads: writing and reading the format, nothing else. Its one hard idea: what is
 * signed is the text up to and with the LF before the empty line, and not one byte is read
 * generously, since two readings of one signed text would be two heads.
 */
#include "andamento/store/note.h"

#include <inttypes.h>
#include <string.h>

static const char dash[] = "\xE2\x80\x94 "; /* U+2014 and a blank open a line of a signature */
enum { SIGNATURE_BYTES = 4 + 64, SIGNATURE_CODED = (SIGNATURE_BYTES + 2) / 3 * 4 };

bool an_note_name_fits(struct an_bytes name)
{
    for (size_t k = 0; k < name.length; k++) {
        if (name.at[k] <= ' ' || name.at[k] == '+' || name.at[k] == 0x7F) {
            return false;
        }
    }
    return name.length > 0 && an_utf8_check(name) == name.length;
}

enum an_status an_note_make(const char *name, const struct an_ledger_head *head,
                            struct an_bytes private_pem, struct an_text *note, struct an_error *err)
{
    unsigned char line[SIGNATURE_BYTES];
    struct an_signature signature;
    struct an_public_key key;
    struct an_key_id id;
    struct an_text text = {0};
    enum an_status st = AN_OK;

    if (!an_note_name_fits(an_bytes_of(name))) {
        return an_fail(err, AN_BAD_USAGE,
                       "'%s' cannot name a head: write it without blanks and without '+'", name);
    }
    an_text_addf(&text, "%s\n%" PRIu64 "\n", name, head->size);
    an_base64_add(&text, (struct an_bytes){head->root.at, sizeof head->root.at});
    an_text_add_char(&text, '\n');
    if (!text.failed) {
        const struct an_bytes signed_text = {(const unsigned char *)an_text_of(&text), text.length};
        st = an_key_sign(private_pem, signed_text, &signature, &key, err);
    }
    if (!st && (text.failed || an_key_id_of(an_bytes_of(name), &key, &id))) {
        st = an_fail(err, AN_NO_MEMORY, "signing a head: memory ran out");
    }
    if (!st) {
        memcpy(line, id.at, sizeof id.at);
        memcpy(line + sizeof id.at, signature.at, sizeof signature.at);
        an_text_addf(note, "%s\n%s%s ", an_text_of(&text), dash, name);
        an_base64_add(note, (struct an_bytes){line, sizeof line});
        an_text_add_char(note, '\n');
        st = note->failed ? an_fail(err, AN_NO_MEMORY, "signing a head: memory ran out") : AN_OK;
    }
    an_text_free(&text);
    return st;
}

/* ---- reading ----------------------------------------------------------------------------------- */
/* The next line without its LF; false if none ends before the end. */
static bool next_line(struct an_bytes *rest, struct an_bytes *line)
{
    const unsigned char *end = rest->length ? memchr(rest->at, '\n', rest->length) : NULL;
    if (!end) {
        return false;
    }
    *line = (struct an_bytes){rest->at, (size_t)(end - rest->at)};
    *rest = (struct an_bytes){end + 1, rest->length - line->length - 1};
    return true;
}

static bool read_size(struct an_bytes text, uint64_t *size)
{
    *size = 0;
    for (size_t k = 0; k < text.length; k++) {
        const unsigned digit = (unsigned)text.at[k] - '0';
        if (digit > 9 || *size > (UINT64_MAX - digit) / 10) {
            return false;
        }
        *size = *size * 10 + digit;
    }
    return text.length == 1 || (text.length > 1 && text.at[0] != '0');
}

/* "name base64" after the dash: is it this key's, and does it hold? Leaves *state if not this key's. */
static enum an_status read_signature(struct an_bytes line, struct an_bytes text,
                                     const struct an_public_key *key, bool *fits,
                                     enum an_note_state *state, struct an_error *err)
{
    unsigned char bytes[SIGNATURE_BYTES];
    struct an_signature signature;
    struct an_key_id id;
    bool holds = false;
    const size_t head = sizeof dash - 1;

    *fits = line.length > head && memcmp(line.at, dash, head) == 0;
    if (!*fits) {
        return AN_OK;
    }
    line = (struct an_bytes){line.at + head, line.length - head};
    const unsigned char *blank = memchr(line.at, ' ', line.length);
    const struct an_bytes name = {line.at, blank ? (size_t)(blank - line.at) : 0};
    *fits = blank && an_note_name_fits(name);
    if (!*fits) {
        return AN_OK;
    }
    const struct an_bytes coded = {blank + 1, line.length - name.length - 1};
    /* signatures of other lengths are of other algorithms: not ours to judge */
    if (coded.length != SIGNATURE_CODED || !an_base64_read(coded, bytes, sizeof bytes)) {
        return AN_OK;
    }
    if (an_key_id_of(name, key, &id)) {
        return an_fail(err, AN_NO_MEMORY, "reading a signed head: memory ran out");
    }
    if (memcmp(bytes, id.at, sizeof id.at) != 0) {
        return AN_OK;
    }
    memcpy(signature.at, bytes + sizeof id.at, sizeof signature.at);
    const enum an_status st = an_signature_check(key, text, &signature, &holds, err);
    if (!st && *state != AN_NOTE_FORGED) {
        *state = holds ? AN_NOTE_SIGNED : AN_NOTE_FORGED;
    }
    return st;
}

enum an_status an_note_read(struct an_bytes note, const struct an_public_key *key,
                            struct an_ledger_head *head, enum an_note_state *state,
                            struct an_error *err)
{
    struct an_bytes rest = note;
    struct an_bytes line;
    uint64_t at = 1;
    bool fits = false;
    enum an_status st = AN_OK;

    *state = AN_NOTE_UNSIGNED;
    if (!next_line(&rest, &line) || line.length == 0 || an_utf8_check(line) != line.length) {
        return an_fail_at(err, AN_BAD_INPUT, at, 1, "a signed head opens with its name");
    }
    at++;
    if (!next_line(&rest, &line) || !read_size(line, &head->size)) {
        return an_fail_at(err, AN_BAD_INPUT, at, 1, "this is no number of entries");
    }
    at++;
    if (!next_line(&rest, &line) || !an_base64_read(line, head->root.at, sizeof head->root.at)) {
        return an_fail_at(err, AN_BAD_INPUT, at, 1, "this is no root: 32 bytes in base64");
    }
    at++;
    while ((fits = next_line(&rest, &line)) && line.length) { /* more that is signed with it */
        at++;
    }
    if (!fits) {
        return an_fail_at(err, AN_BAD_INPUT, at, 1, "an empty line and signatures must follow");
    }
    const struct an_bytes text = {note.at, note.length - rest.length - 1};
    while (!st && fits && rest.length) {
        at++;
        fits = next_line(&rest, &line);
        st = fits ? read_signature(line, text, key, &fits, state, err) : AN_OK;
    }
    return st || fits ? st : an_fail_at(err, AN_BAD_INPUT, at, 1, "this is no signature");
}
