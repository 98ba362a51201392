/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the suites of the demonstration share. The reader of tables here is no part of the program:
 * it splits at delimiters, which is all that these files need.
 */
#include "support.h"

#include <check.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct folder folder_make(void)
{
    struct folder folder;
    const char *const base = getenv("TMPDIR");
    (void)snprintf(folder.path, sizeof folder.path, "%s/andamento-demo-XXXXXX",
                   base && *base && strlen(base) < 100 ? base : "/tmp");
    ck_assert_ptr_nonnull(mkdtemp(folder.path));
    return folder;
}

static void walk(const char *path, const char *below, struct paths *paths)
{
    DIR *const dir = opendir(path);
    ck_assert_ptr_nonnull(dir);
    for (const struct dirent *entry = readdir(dir); entry; entry = readdir(dir)) {
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0) {
            continue;
        }
        char full[512], name[512];
        struct stat about;
        (void)snprintf(full, sizeof full, "%s/%s", path, entry->d_name);
        (void)snprintf(name, sizeof name, "%s%s%s", below, *below ? "/" : "", entry->d_name);
        ck_assert_int_eq(lstat(full, &about), 0);
        if (S_ISDIR(about.st_mode)) {
            walk(full, name, paths);
        } else {
            paths->at = realloc(paths->at, (paths->count + 1) * sizeof *paths->at);
            ck_assert_ptr_nonnull(paths->at);
            paths->at[paths->count++] = strdup(name);
        }
    }
    (void)closedir(dir);
}

static int by_text(const void *a, const void *b)
{
    const char *const *const x = a, *const *const y = b;
    return strcmp(*x, *y);
}

struct paths paths_below(const struct folder *folder, const char *sub)
{
    struct paths paths = {0};
    char full[512];
    (void)snprintf(full, sizeof full, "%s/%s", folder->path, sub);
    walk(full, "", &paths);
    if (paths.count > 0) {
        qsort(paths.at, paths.count, sizeof *paths.at, by_text);
    }
    return paths;
}

void paths_free(struct paths *paths)
{
    for (size_t i = 0; i < paths->count; i++) {
        free(paths->at[i]);
    }
    free(paths->at);
    *paths = (struct paths){0};
}

static void remove_below(const char *path)
{
    DIR *const dir = opendir(path);
    if (!dir) {
        return;
    }
    for (const struct dirent *entry = readdir(dir); entry; entry = readdir(dir)) {
        char full[512];
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0) {
            continue;
        }
        (void)snprintf(full, sizeof full, "%s/%s", path, entry->d_name);
        if (unlink(full) != 0) {
            remove_below(full);
        }
    }
    (void)closedir(dir);
    (void)rmdir(path);
}

void folder_remove(const struct folder *folder)
{
    remove_below(folder->path);
}

struct an_demo_result demo_in(const struct folder *folder, const char *name, int days,
                              uint64_t seed, bool quiet)
{
    char path[512];
    (void)snprintf(path, sizeof path, "%s/%s", folder->path, name);
    const struct an_demo_options options = {
        .folder = path, .quiet_line = quiet, .days = days, .seed = seed};
    struct an_demo_result result;
    struct an_error err = {0};
    ck_assert_msg(an_demo_write(&options, &result, &err) == AN_OK, "%s", err.text);
    return result;
}

struct bytes file_read(const struct folder *folder, const char *path)
{
    char full[512];
    struct stat about;
    (void)snprintf(full, sizeof full, "%s/%s", folder->path, path);
    ck_assert_msg(stat(full, &about) == 0, "%s is missing", full);
    struct bytes bytes = {.length = (size_t)about.st_size};
    bytes.at = calloc(bytes.length + 1, 1);
    ck_assert_ptr_nonnull(bytes.at);
    FILE *const file = fopen(full, "rb");
    ck_assert_ptr_nonnull(file);
    ck_assert_uint_eq(fread(bytes.at, 1, bytes.length, file), bytes.length);
    ck_assert_int_eq(fclose(file), 0);
    return bytes;
}

bool file_exists(const struct folder *folder, const char *path)
{
    char full[512];
    struct stat about;
    (void)snprintf(full, sizeof full, "%s/%s", folder->path, path);
    return lstat(full, &about) == 0;
}

void bytes_free(struct bytes *bytes)
{
    free(bytes->at);
    *bytes = (struct bytes){0};
}

/* FNV-1a, 64 bits */
static uint64_t hash_more(uint64_t hash, const char *at, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        hash = (hash ^ (unsigned char)at[i]) * UINT64_C(0x100000001b3);
    }
    return hash;
}

uint64_t tree_hash(const struct folder *folder, const char *sub)
{
    uint64_t hash = UINT64_C(0xcbf29ce484222325);
    struct paths paths = paths_below(folder, sub);
    for (size_t i = 0; i < paths.count; i++) {
        char path[512];
        (void)snprintf(path, sizeof path, "%s/%s", sub, paths.at[i]);
        struct bytes bytes = file_read(folder, path);
        hash = hash_more(hash, paths.at[i], strlen(paths.at[i]) + 1);
        hash = hash_more(hash, bytes.at, bytes.length);
        bytes_free(&bytes);
    }
    paths_free(&paths);
    return hash;
}

static const struct {
    const char *station;
    char delimiter;
    int lines_before; /* header and units, besides comments */
    size_t columns;
} dialects[] = {
    {"wafer_test", '\t', 1, 12}, {"carrier", ',', 1, 8},  {"transfer", ',', 1, 19},
    {"inspection", '|', 1, 9},   {"repair", ';', 1, 12},  {"edge", ';', 2, 9},
    {"luminance", ';', 2, 11},   {"assembly", ',', 1, 8},
};

/* Cuts one file up in place; rows of another number of fields (a cut one) are left out. */
static void add_rows(struct table *table, struct bytes *bytes, char delimiter, int skip,
                     size_t *room)
{
    char *line = bytes->at;
    while (line && *line) {
        char *const next = strchr(line, '\n');
        if (next) {
            *next = '\0';
        }
        line[strcspn(line, "\r")] = '\0';
        const bool row = line[0] != '#' && strcmp(line, "END") != 0 && skip-- <= 0;
        size_t columns = 1;
        for (const char *c = line; *c; c++) {
            columns += *c == delimiter;
        }
        if (row && columns == table->columns) {
            if ((table->rows + 1) * table->columns > *room) {
                *room = 2 * *room + 1024 * table->columns;
                table->fields = realloc(table->fields, *room * sizeof *table->fields);
                ck_assert_ptr_nonnull(table->fields);
            }
            char *at = line;
            for (size_t c = 0; c < table->columns; c++) {
                table->fields[table->rows * table->columns + c] = at;
                char *const end = strchr(at, delimiter);
                if (end) {
                    *end = '\0';
                    at = end + 1;
                }
            }
            table->rows++;
        }
        line = next ? next + 1 : NULL;
    }
}

struct table table_read(const struct folder *folder, const char *line, const char *station,
                        const char *part)
{
    struct table table = {0};
    size_t room = 0, d = 0;
    char sub[256];
    while (strcmp(dialects[d].station, station) != 0) {
        d++;
    }
    table.columns = dialects[d].columns;
    (void)snprintf(sub, sizeof sub, "%s/spool/%s", line, station);
    struct paths paths = paths_below(folder, sub);
    table.kept = calloc(paths.count + 1, sizeof *table.kept);
    ck_assert_ptr_nonnull(table.kept);
    for (size_t i = 0; i < paths.count; i++) {
        if (strstr(paths.at[i], part)) {
            char path[512];
            (void)snprintf(path, sizeof path, "%s/%s", sub, paths.at[i]);
            table.kept[table.kept_count] = file_read(folder, path);
            add_rows(&table, &table.kept[table.kept_count++], dialects[d].delimiter,
                     dialects[d].lines_before, &room);
        }
    }
    paths_free(&paths);
    return table;
}

void table_free(struct table *table)
{
    for (size_t i = 0; i < table->kept_count; i++) {
        bytes_free(&table->kept[i]);
    }
    free(table->kept);
    free(table->fields);
    *table = (struct table){0};
}

/* Plain branches, not assertions: an assertion that holds is told to the runner, and these two are
 * called some ten million times. */
const char *field(const struct table *table, size_t row, size_t column)
{
    if (row >= table->rows || column >= table->columns) {
        ck_abort_msg("no row %zu, column %zu", row, column);
    }
    return table->fields[row * table->columns + column];
}

double number(const struct table *table, size_t row, size_t column)
{
    char text[64], *end = NULL;
    (void)snprintf(text, sizeof text, "%s", field(table, row, column));
    for (char *c = text; *c; c++) {
        *c = *c == ',' ? '.' : *c;
    }
    const double value = strtod(text, &end);
    if (end == text || *end != '\0') {
        ck_abort_msg("'%s' is not a number", text);
    }
    return value;
}

json_t *truth_read(const struct folder *folder, const char *line)
{
    char path[256];
    json_error_t err;
    (void)snprintf(path, sizeof path, "%s/%s/truth.json", folder->path, line);
    json_t *const truth = json_load_file(path, JSON_REJECT_DUPLICATES, &err);
    ck_assert_msg(truth != NULL, "truth.json:%d:%d: %s", err.line, err.column, err.text);
    return truth;
}
