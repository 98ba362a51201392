/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support.h"

#include "andamento/base/memory.h"

#include <check.h>
#include <stdio.h>
#include <string.h>

void hear(void *context, const char *path, uint64_t line, uint64_t column, const char *text)
{
    struct heard *heard = context;
    ck_assert_ptr_nonnull(path);
    if (heard->count < sizeof heard->at / sizeof heard->at[0]) {
        heard->at[heard->count].line = line;
        heard->at[heard->count].column = column;
        (void)snprintf(heard->at[heard->count].text, sizeof heard->at[0].text, "%s", text);
    }
    heard->count++;
}

enum an_status read_text(const char *yaml, struct heard *heard, struct an_line **line,
                         struct an_error *err)
{
    if (heard) {
        heard->count = 0;
    }
    return an_line_read(an_bytes_of(yaml), "LINE.yaml", ".", heard ? hear : NULL, heard, line, err);
}

struct an_line *read_good(const char *yaml)
{
    struct heard heard;
    struct an_line *line = NULL;
    struct an_error err = {0};
    const enum an_status st = read_text(yaml, &heard, &line, &err);
    ck_assert_msg(st == AN_OK, "%s; %d:%d %s\n%s", err.text,
                  heard.count ? (int)heard.at[0].line : 0,
                  heard.count ? (int)heard.at[0].column : 0,
                  heard.count ? heard.at[0].text : "no mistake told", yaml);
    return line;
}

char *slurp(const char *path, size_t *length)
{
    FILE *file = fopen(path, "rb");
    ck_assert_msg(file != NULL, "cannot open %s", path);
    ck_assert_int_eq(fseek(file, 0, SEEK_END), 0);
    const long size = ftell(file);
    ck_assert_int_ge(size, 0);
    rewind(file);
    char *text = an_alloc((size_t)size + 1, 1);
    ck_assert_ptr_nonnull(text);
    ck_assert_uint_eq(fread(text, 1, (size_t)size, file), (size_t)size);
    fclose(file);
    if (length) {
        *length = (size_t)size;
    }
    return text;
}
