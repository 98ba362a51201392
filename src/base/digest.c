/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * SHA-256 through libcrypto; nothing else of it is used here. A hash of bytes in memory is made by
 * libcrypto's older functions: those of EVP allocate, so that they fail when memory is out, and
 * whoever asks for a hash has no way to be told.
 */
#define OPENSSL_SUPPRESS_DEPRECATED /* of the older functions */
#include "andamento/base/digest.h"

#include <openssl/evp.h>
#include <openssl/sha.h>
#include <string.h>

struct an_digest { /* only ever a name for libcrypto's context */
    char opaque;
};

struct an_digest *an_digest_open(void)
{
    EVP_MD_CTX *context = EVP_MD_CTX_new();
    if (context && EVP_DigestInit_ex(context, EVP_sha256(), NULL) != 1) {
        EVP_MD_CTX_free(context);
        context = NULL;
    }
    return (struct an_digest *)(void *)context;
}

void an_digest_add(struct an_digest *digest, const void *at, size_t length)
{
    if (digest && length) {
        (void)EVP_DigestUpdate((EVP_MD_CTX *)(void *)digest, at, length);
    }
}

struct an_sha256 an_digest_close(struct an_digest *digest)
{
    struct an_sha256 hash = {{0}};
    if (digest) {
        (void)EVP_DigestFinal_ex((EVP_MD_CTX *)(void *)digest, hash.at, NULL);
        EVP_MD_CTX_free((EVP_MD_CTX *)(void *)digest);
    }
    return hash;
}

struct an_sha256 an_sha256_of(const void *at, size_t length)
{
    struct an_sha256 hash = {{0}};
    SHA256_CTX context;
    (void)SHA256_Init(&context);
    if (length) {
        (void)SHA256_Update(&context, at, length);
    }
    (void)SHA256_Final(hash.at, &context);
    return hash;
}

char *an_sha256_hex(const struct an_sha256 *hash, char buffer[65])
{
    static const char digits[] = "0123456789abcdef";
    for (size_t i = 0; i < sizeof hash->at; i++) {
        buffer[2 * i] = digits[hash->at[i] >> 4];
        buffer[2 * i + 1] = digits[hash->at[i] & 15];
    }
    buffer[64] = '\0';
    return buffer;
}

static int digit(char c)
{
    if (c >= '0' && c <= '9') {
        return c - '0';
    }
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

enum an_status an_sha256_parse(const char *hex, struct an_sha256 *hash)
{
    struct an_sha256 read = {{0}};
    if (!hex || strlen(hex) != 64) {
        return AN_DOMAIN;
    }
    for (size_t i = 0; i < sizeof read.at; i++) {
        const int high = digit(hex[2 * i]);
        const int low = digit(hex[2 * i + 1]);
        if (high < 0 || low < 0) {
            return AN_DOMAIN;
        }
        read.at[i] = (unsigned char)(high * 16 + low);
    }
    *hash = read;
    return AN_OK;
}
