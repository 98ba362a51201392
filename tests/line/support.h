/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the suites of the line layer share: mistakes gathered, a description read from a text. */
#ifndef AN_TESTS_LINE_SUPPORT_H
#define AN_TESTS_LINE_SUPPORT_H

#include "line/line.h"

#include <stddef.h>

struct heard {
    size_t count;
    struct {
        uint64_t line, column;
        char text[512];
    } at[64];
};

/* An an_line_mistake; context is a struct heard. */
void hear(void *context, const char *path, uint64_t line, uint64_t column, const char *text);
/* Reads a text; heard and err may be NULL. */
enum an_status read_text(const char *yaml, struct heard *heard, struct an_line **line,
                         struct an_error *err);
/* Reads a text that must have no mistake; fails the test, naming the first, if it has. */
struct an_line *read_good(const char *yaml);
/* A file's whole text, NUL-terminated; end with an_free(). */
char *slurp(const char *path, size_t *length);

#endif
