/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ed25519 and base64 through libcrypto. Must never keep a key, print one, or ask for a password: a
 * program that stops for one on somebody's terminal hangs a night's job.
 */
#include "andamento/base/sign.h"

#include "andamento/base/digest.h"

#include <openssl/bio.h>
#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <string.h>

enum {
    MOST_BASE64 = 100,
    TEXTS_TRIED = 24 /* find every weak key there is: tests/base/test_sign.c */
};

static int no_password(char *room, int size, int writing, void *context)
{
    (void)room;
    (void)size;
    (void)writing;
    (void)context;
    return -1;
}

static enum an_status failed(struct an_error *err, const char *what)
{
    return an_fail(err, AN_NO_MEMORY, "%s failed: memory or the system's randomness is out", what);
}

/* ---- keys ------------------------------------------------------------------------------------ */
static enum an_status read_pem(struct an_bytes pem, bool is_private, EVP_PKEY **key,
                               struct an_error *err)
{
    BIO *from = pem.length && pem.length < 65536 ? BIO_new_mem_buf(pem.at, (int)pem.length) : NULL;

    *key = NULL;
    if (from && is_private) {
        *key = PEM_read_bio_PrivateKey(from, NULL, no_password, NULL);
    } else if (from) {
        *key = PEM_read_bio_PUBKEY(from, NULL, no_password, NULL);
    }
    BIO_free(from);
    if (*key && EVP_PKEY_base_id(*key) == EVP_PKEY_ED25519) {
        return AN_OK;
    }
    EVP_PKEY_free(*key);
    *key = NULL;
    return an_fail(err, AN_BAD_INPUT, "it is no %s Ed25519 key in PEM%s",
                   is_private ? "private" : "public", is_private ? " without a password" : "");
}

static enum an_status take_public(const EVP_PKEY *pair, struct an_public_key *key,
                                  struct an_error *err)
{
    size_t length = sizeof key->at;
    return EVP_PKEY_get_raw_public_key(pair, key->at, &length) == 1 && length == sizeof key->at
               ? AN_OK
               : failed(err, "reading the key");
}

static enum an_status add_bio(struct an_text *text, BIO *bio, struct an_error *err)
{
    char *at = NULL;
    const long length = BIO_get_mem_data(bio, &at);
    if (length > 0) {
        an_text_add_bytes(text, (struct an_bytes){(const unsigned char *)at, (size_t)length});
    }
    return length > 0 && !text->failed ? AN_OK : failed(err, "writing the key");
}

enum an_status an_key_new(struct an_text *private_pem, struct an_text *public_pem,
                          struct an_error *err)
{
    EVP_PKEY_CTX *context = EVP_PKEY_CTX_new_id(EVP_PKEY_ED25519, NULL);
    EVP_PKEY *pair = NULL;
    BIO *secret = BIO_new(BIO_s_mem());
    BIO *open = BIO_new(BIO_s_mem());
    enum an_status st = AN_OK;

    if (!context || !secret || !open || EVP_PKEY_keygen_init(context) != 1 ||
        EVP_PKEY_keygen(context, &pair) != 1 ||
        PEM_write_bio_PKCS8PrivateKey(secret, pair, NULL, NULL, 0, NULL, NULL) != 1 ||
        PEM_write_bio_PUBKEY(open, pair) != 1) {
        st = failed(err, "making a key");
    }
    st = st ? st : add_bio(private_pem, secret, err);
    st = st ? st : add_bio(public_pem, open, err);
    BIO_free(secret);
    BIO_free(open);
    EVP_PKEY_free(pair);
    EVP_PKEY_CTX_free(context);
    return st;
}

enum an_status an_key_public(struct an_bytes public_pem, struct an_public_key *key,
                             struct an_error *err)
{
    EVP_PKEY *read = NULL;
    enum an_status st = read_pem(public_pem, false, &read, err);
    st = st ? st : take_public(read, key, err);
    EVP_PKEY_free(read);
    return st;
}

/* ---- signatures ------------------------------------------------------------------------------- */
enum an_status an_key_sign(struct an_bytes private_pem, struct an_bytes message,
                           struct an_signature *signature, struct an_public_key *key,
                           struct an_error *err)
{
    EVP_PKEY *pair = NULL;
    EVP_MD_CTX *context = NULL;
    size_t length = sizeof signature->at;
    enum an_status st = read_pem(private_pem, true, &pair, err);

    if (!st) {
        context = EVP_MD_CTX_new();
        if (!context || EVP_DigestSignInit(context, NULL, NULL, NULL, pair) != 1 ||
            EVP_DigestSign(context, signature->at, &length, message.at, message.length) != 1 ||
            length != sizeof signature->at) {
            st = failed(err, "signing");
        }
    }
    st = st || !key ? st : take_public(pair, key, err);
    EVP_MD_CTX_free(context);
    EVP_PKEY_free(pair);
    return st;
}

enum an_status an_signature_check(const struct an_public_key *key, struct an_bytes message,
                                  const struct an_signature *signature, bool *holds,
                                  struct an_error *err)
{
    EVP_PKEY *open = EVP_PKEY_new_raw_public_key(EVP_PKEY_ED25519, NULL, key->at, sizeof key->at);
    EVP_MD_CTX *context = EVP_MD_CTX_new();
    enum an_status st = AN_OK;

    *holds = false;
    if (!open || !context || EVP_DigestVerifyInit(context, NULL, NULL, NULL, open) != 1) {
        st = failed(err, "checking a signature");
    } else {
        *holds = EVP_DigestVerify(context, signature->at, sizeof signature->at, message.at,
                                  message.length) == 1;
    }
    EVP_MD_CTX_free(context);
    EVP_PKEY_free(open);
    return st;
}

enum an_status an_key_id_of(struct an_bytes name, const struct an_public_key *key,
                            struct an_key_id *id)
{
    struct an_text bytes = {0};
    an_text_add_bytes(&bytes, name);
    an_text_add(&bytes, "\n\x01");
    an_text_add_bytes(&bytes, (struct an_bytes){key->at, sizeof key->at});
    const enum an_status st = bytes.failed ? AN_NO_MEMORY : AN_OK;
    if (!st) {
        const struct an_sha256 hash = an_sha256_of(an_text_of(&bytes), bytes.length);
        memcpy(id->at, hash.at, sizeof id->at);
    }
    an_text_free(&bytes);
    return st;
}

void an_key_name(const struct an_public_key *key, char name[AN_KEY_NAME_ROOM])
{
    /* SEQUENCE, SEQUENCE of the OID 1.3.101.112, BIT STRING without unused bits: RFC 8410 */
    unsigned char der[12 + sizeof key->at] = {0x30, 0x2A, 0x30, 0x05, 0x06, 0x03,
                                              0x2B, 0x65, 0x70, 0x03, 0x21, 0x00};
    char hex[65];

    memcpy(der + 12, key->at, sizeof key->at);
    const struct an_sha256 hash = an_sha256_of(der, sizeof der);
    memcpy(name, an_sha256_hex(&hash, hex), AN_KEY_NAME_ROOM - 1);
    name[AN_KEY_NAME_ROOM - 1] = '\0';
}

/* A signature of R = the neutral point and S = 0 holds where the hash times the key is neutral (RFC
 * 8032, 5.1.7): of small order n, for one text in n, n at most 8; of any other key, for none. */
enum an_status an_key_is_weak(const struct an_public_key *key, bool *weak, struct an_error *err)
{
    const struct an_signature nobodys = {{1}};
    enum an_status st = AN_OK;

    *weak = false;
    for (unsigned k = 0; !st && !*weak && k < TEXTS_TRIED; k++) {
        const unsigned char text = (unsigned char)k;
        st = an_signature_check(key, (struct an_bytes){&text, 1}, &nobodys, weak, err);
    }
    return st;
}

void an_wipe(void *at, size_t length)
{
    if (at) {
        OPENSSL_cleanse(at, length);
    }
}

/* ---- base64 ------------------------------------------------------------------------------------ */
void an_base64_add(struct an_text *text, struct an_bytes bytes)
{
    unsigned char four[5];
    for (size_t k = 0; k < bytes.length; k += 3) {
        const size_t left = bytes.length - k;
        (void)EVP_EncodeBlock(four, bytes.at + k, left < 3 ? (int)left : 3);
        an_text_add(text, (const char *)four);
    }
}

bool an_base64_read(struct an_bytes text, unsigned char *at, size_t length)
{
    unsigned char read[MOST_BASE64 + 3];
    unsigned char again[(MOST_BASE64 + 2) / 3 * 4 + 1];

    if (length > MOST_BASE64 || text.length != (length + 2) / 3 * 4 ||
        EVP_DecodeBlock(read, text.at, (int)text.length) < (int)length) {
        return false;
    }
    /* libcrypto takes blanks and stray bits; what it would write itself is the one right way */
    (void)EVP_EncodeBlock(again, read, (int)length);
    if (memcmp(again, text.at, text.length) != 0) {
        return false;
    }
    memcpy(at, read, length);
    return true;
}
