/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The references of the benchmark: how long it takes to read the bytes and count newlines, and to
 * run the CSV library over them with callbacks that do nothing. Prints seconds.
 *
 *   bench_read newlines|library FILE...
 */
#include <csv.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static char buffer[256 * 1024];

static void no_field(void *at, size_t length, void *context)
{
    (void)at;
    (void)length;
    (void)context;
}

static void no_row(int end, void *context)
{
    (void)end;
    (void)context;
}

static size_t newlines(const char *at, size_t length)
{
    size_t found = 0;

    for (const char *end = at + length; (at = memchr(at, '\n', (size_t)(end - at))) != NULL; at++) {
        found++;
    }
    return found;
}

static double now(void)
{
    struct timespec time;

    (void)clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec * 1e-9;
}

int main(int argc, char **argv)
{
    struct csv_parser parser;
    size_t found = 0;

    if (argc < 3 || csv_init(&parser, CSV_STRICT)) {
        return 2;
    }
    const bool library = strcmp(argv[1], "library") == 0;
    const double from = now();
    for (int i = 2; i < argc; i++) {
        const int file = open(argv[i], O_RDONLY);
        ssize_t got = 0;

        if (file < 0) {
            perror(argv[i]);
            return 1;
        }
        while ((got = read(file, buffer, sizeof buffer)) > 0) {
            if (library) {
                found += csv_parse(&parser, buffer, (size_t)got, no_field, no_row, NULL);
            } else {
                found += newlines(buffer, (size_t)got);
            }
        }
        (void)csv_fini(&parser, no_field, no_row, NULL);
        (void)close(file);
    }
    csv_free(&parser);
    (void)printf("%.4f\n", now() - from);
    return found ? 0 : 1;
}
