/* SPDX-License-Identifier: GPL-3.0-or-later */
/* SHA-256 (FIPS 180-4), through libcrypto. One thread a digest. */
#ifndef ANDAMENTO_BASE_DIGEST_H
#define ANDAMENTO_BASE_DIGEST_H

#include "andamento/base/status.h"

#include <stddef.h>
#include <stdint.h>

struct an_sha256 {
    unsigned char at[32];
};

struct an_digest;                       /* a running SHA-256 */
struct an_digest *an_digest_open(void); /* NULL when memory is out */
void an_digest_add(struct an_digest *digest, const void *at, size_t length);
struct an_sha256 an_digest_close(struct an_digest *digest); /* the hash; frees; NULL gives zeroes */
struct an_sha256 an_sha256_of(const void *at, size_t length);
/* 64 lower-case hex digits and a NUL. Returns buffer. */
char *an_sha256_hex(const struct an_sha256 *hash, char buffer[65]);
AN_CHECKED enum an_status an_sha256_parse(const char *hex, struct an_sha256 *hash);

#endif
