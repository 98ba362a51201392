/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bytes with a length: comparing, trimming, hashing, and whether they are UTF-8. */
#include "andamento/base/bytes.h"

#include <string.h>

struct an_bytes an_bytes_of(const char *text)
{
    return (struct an_bytes){(const unsigned char *)text, text ? strlen(text) : 0};
}

bool an_bytes_equal(struct an_bytes a, struct an_bytes b)
{
    return a.length == b.length && (a.length == 0 || memcmp(a.at, b.at, a.length) == 0);
}

bool an_bytes_are(struct an_bytes a, const char *text)
{
    return an_bytes_equal(a, an_bytes_of(text));
}

static unsigned char lower(unsigned char c)
{
    return c >= 'A' && c <= 'Z' ? (unsigned char)(c + 32) : c;
}

bool an_bytes_are_nocase(struct an_bytes a, const char *text)
{
    const struct an_bytes b = an_bytes_of(text);
    if (a.length != b.length) {
        return false;
    }
    for (size_t i = 0; i < a.length; i++) {
        if (lower(a.at[i]) != lower(b.at[i])) {
            return false;
        }
    }
    return true;
}

int an_bytes_compare(struct an_bytes a, struct an_bytes b)
{
    const size_t shorter = a.length < b.length ? a.length : b.length;
    const int order = shorter ? memcmp(a.at, b.at, shorter) : 0;
    if (order) {
        return order;
    }
    return a.length < b.length ? -1 : a.length > b.length;
}

static bool is_blank(unsigned char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

struct an_bytes an_bytes_trim(struct an_bytes a)
{
    while (a.length && is_blank(a.at[0])) {
        a.at++;
        a.length--;
    }
    while (a.length && is_blank(a.at[a.length - 1])) {
        a.length--;
    }
    return a;
}

uint64_t an_bytes_hash(struct an_bytes a)
{
    uint64_t h = UINT64_C(0x9E3779B97F4A7C15) ^ a.length;
    size_t i = 0;
    for (; i + 8 <= a.length; i += 8) {
        uint64_t word = 0;
        for (unsigned k = 0; k < 8; k++) { /* little end first on every machine */
            word |= (uint64_t)a.at[i + k] << (8 * k);
        }
        h = (h ^ word) * UINT64_C(0xD6E8FEB86659FD93);
        h ^= h >> 32;
    }
    uint64_t rest = 0;
    for (unsigned k = 0; i < a.length; i++, k++) {
        rest |= (uint64_t)a.at[i] << (8 * k);
    }
    h = (h ^ rest) * UINT64_C(0xD6E8FEB86659FD93);
    h ^= h >> 32;
    h *= UINT64_C(0xD6E8FEB86659FD93);
    return h ^ (h >> 32);
}

/* Length of the well-formed sequence at `at` (RFC 3629, section 4), 0 if there is none. */
static size_t sequence(const unsigned char *at, size_t left)
{
    const unsigned char first = at[0];
    if (first < 0x80) {
        return 1;
    }
    size_t length = 0;
    unsigned char low = 0x80;
    unsigned char high = 0xBF;
    if (first >= 0xC2 && first <= 0xDF) {
        length = 2;
    } else if (first >= 0xE0 && first <= 0xEF) {
        length = 3;
        low = first == 0xE0 ? 0xA0 : 0x80;
        high = first == 0xED ? 0x9F : 0xBF;
    } else if (first >= 0xF0 && first <= 0xF4) {
        length = 4;
        low = first == 0xF0 ? 0x90 : 0x80;
        high = first == 0xF4 ? 0x8F : 0xBF;
    }
    if (!length || left < length || at[1] < low || at[1] > high) {
        return 0;
    }
    for (size_t i = 2; i < length; i++) {
        if ((at[i] & 0xC0) != 0x80) {
            return 0;
        }
    }
    return length;
}

size_t an_utf8_check(struct an_bytes a)
{
    size_t i = 0;
    while (i < a.length) {
        uint64_t word = 0;
        if (i + 8 <= a.length) {
            memcpy(&word, a.at + i, 8);
            if ((word & UINT64_C(0x8080808080808080)) == 0) {
                i += 8;
                continue;
            }
        }
        const size_t length = sequence(a.at + i, a.length - i);
        if (!length) {
            return i;
        }
        i += length;
    }
    return a.length;
}
