/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A growing text. An allocation that fails sets `failed` and turns later calls into nothing, so
 * a long build-up is checked once at its end. One thread a text.
 */
#ifndef ANDAMENTO_BASE_TEXT_H
#define ANDAMENTO_BASE_TEXT_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

struct an_text { /* starts as all zeroes */
    char *at;    /* always NUL-terminated once anything was added; NULL before */
    size_t length, capacity;
    bool failed;
};

void an_text_free(struct an_text *text);  /* and back to all zeroes */
void an_text_clear(struct an_text *text); /* keeps the memory */
void an_text_add(struct an_text *text, const char *more);
void an_text_add_bytes(struct an_text *text, struct an_bytes more);
void an_text_add_char(struct an_text *text, char c);
void an_text_addf(struct an_text *text, const char *format, ...) AN_PRINTF(2, 3);
const char *an_text_of(const struct an_text *text); /* "" when empty */

/* Bytes from outside made fit to stand in one line for a person: control characters and broken
 * UTF-8 as \xHH, cut with "..." after `most` bytes. */
void an_text_add_visible(struct an_text *text, struct an_bytes raw, size_t most);

#endif
