/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A growing text that remembers a failed allocation instead of reporting each one. */
#include "andamento/base/text.h"

#include "andamento/base/memory.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void an_text_free(struct an_text *text)
{
    an_free(text->at);
    *text = (struct an_text){0};
}

void an_text_clear(struct an_text *text)
{
    text->length = 0;
    text->failed = false;
    if (text->at) {
        text->at[0] = '\0';
    }
}

static bool reserve(struct an_text *text, size_t more)
{
    if (text->failed) {
        return false;
    }
    size_t wanted = 0;
    if (__builtin_add_overflow(text->length, more, &wanted) || wanted == SIZE_MAX) {
        text->failed = true;
        return false;
    }
    wanted++;
    if (wanted <= text->capacity) {
        return true;
    }
    size_t capacity = text->capacity ? text->capacity : 64;
    while (capacity < wanted) {
        capacity = capacity > SIZE_MAX / 2 ? wanted : capacity * 2;
    }
    char *grown = an_resize(text->at, capacity, 1);
    if (!grown) {
        text->failed = true;
        return false;
    }
    text->at = grown;
    text->capacity = capacity;
    text->at[text->length] = '\0';
    return true;
}

void an_text_add_bytes(struct an_text *text, struct an_bytes more)
{
    if (!reserve(text, more.length)) {
        return;
    }
    if (more.length) {
        memcpy(text->at + text->length, more.at, more.length);
    }
    text->length += more.length;
    text->at[text->length] = '\0';
}

void an_text_add(struct an_text *text, const char *more)
{
    an_text_add_bytes(text, an_bytes_of(more));
}

void an_text_add_char(struct an_text *text, char c)
{
    an_text_add_bytes(text, (struct an_bytes){(const unsigned char *)&c, 1});
}

void an_text_addf(struct an_text *text, const char *format, ...)
{
    va_list args;
    va_list again;
    va_start(args, format);
    va_copy(again, args);
    const int length = vsnprintf(NULL, 0, format, args);
    if (length < 0) {
        text->failed = true;
    } else if (reserve(text, (size_t)length)) {
        (void)vsnprintf(text->at + text->length, (size_t)length + 1, format, again);
        text->length += (size_t)length;
    }
    va_end(again);
    va_end(args);
}

const char *an_text_of(const struct an_text *text)
{
    return text->at ? text->at : "";
}

void an_text_add_visible(struct an_text *text, struct an_bytes raw, size_t most)
{
    size_t i = 0;
    while (i < raw.length && i < most) {
        const struct an_bytes rest = {raw.at + i, raw.length - i};
        const unsigned char c = raw.at[i];
        if (c >= 0x20 && c < 0x7F) {
            an_text_add_char(text, (char)c);
            i++;
            continue;
        }
        size_t length = 0; /* of a well-formed character beyond ASCII here */
        for (size_t k = 2; k <= 4 && k <= rest.length && c >= 0xC2; k++) {
            if (an_utf8_check((struct an_bytes){rest.at, k}) == k) {
                length = k;
                break;
            }
        }
        if (length && !(c == 0xC2 && rest.at[1] < 0xA0)) {
            an_text_add_bytes(text, (struct an_bytes){rest.at, length});
            i += length;
        } else {
            an_text_addf(text, "\\x%02X", (unsigned)c);
            i++;
        }
    }
    if (i < raw.length) {
        an_text_add(text, "...");
    }
}
