/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Text from outside is bytes with a length: a field may hold NUL, CR, LF, a byte-order mark or
 * broken UTF-8. Nothing here allocates, follows the locale, or keeps anything. Any thread.
 */
#ifndef ANDAMENTO_BASE_BYTES_H
#define ANDAMENTO_BASE_BYTES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_bytes {
    const unsigned char *at;
    size_t length;
};

struct an_bytes an_bytes_of(const char *text); /* up to its NUL; NULL gives no bytes */
bool an_bytes_equal(struct an_bytes a, struct an_bytes b);
bool an_bytes_are(struct an_bytes a, const char *text);
bool an_bytes_are_nocase(struct an_bytes a, const char *text); /* ASCII letters only */
int an_bytes_compare(struct an_bytes a, struct an_bytes b);    /* as memcmp, shorter first */
struct an_bytes an_bytes_trim(struct an_bytes a); /* without outer spaces, tabs, CR, LF */
uint64_t an_bytes_hash(struct an_bytes a);        /* 64 bits, same on every machine; not secret */
/* Offset of the first byte that is not well-formed UTF-8 (RFC 3629), or length if all is. */
size_t an_utf8_check(struct an_bytes a);

#endif
