/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the suites of the demonstration share: folders that go away, files as tables. */
#ifndef AN_TEST_DEMO_SUPPORT_H
#define AN_TEST_DEMO_SUPPORT_H

#include "demo/demo.h"

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct folder {
    char path[160];
};
struct folder folder_make(void); /* new and empty, below TMPDIR or /tmp */
void folder_remove(const struct folder *folder);

/* Writes the demonstration into folder/line and asserts that it went well. */
struct an_demo_result demo_in(const struct folder *folder, const char *name, int days,
                              uint64_t seed, bool quiet);

struct bytes {
    char *at; /* a NUL stands behind them */
    size_t length;
};
struct bytes file_read(const struct folder *folder, const char *path); /* asserts it is there */
bool file_exists(const struct folder *folder, const char *path);
void bytes_free(struct bytes *bytes);

/* Paths below folder/sub, sorted; free with paths_free(). */
struct paths {
    char **at;
    size_t count;
};
struct paths paths_below(const struct folder *folder, const char *sub);
void paths_free(struct paths *paths);
/* One number for all names and bytes below folder/sub. */
uint64_t tree_hash(const struct folder *folder, const char *sub);

/* Fields of all rows of all files of a station whose name holds `part`: preambles, headers, units
 * rows, end markers and footers left out. field(table, row, column) is text. */
struct table {
    char **fields;
    size_t rows, columns;
    struct bytes *kept;
    size_t kept_count;
};
struct table table_read(const struct folder *folder, const char *line, const char *station,
                        const char *part);
void table_free(struct table *table);
const char *field(const struct table *table, size_t row, size_t column);
double number(const struct table *table, size_t row, size_t column); /* , or . as mark */

json_t *truth_read(const struct folder *folder, const char *line);

#endif
