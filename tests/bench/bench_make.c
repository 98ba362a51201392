/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Makes the input of the benchmark: station files of an invented transfer station, the same bytes on
 * every run.
 *
 *   bench_make dense FOLDER FILES ROWS   files of many rows, 1,200 rows a tile
 *   bench_make small FOLDER FILES ROWS   the same columns, one tile a file
 */
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TILE_ROWS = 1200, LINE_MOST = 128 };

static uint64_t state = 7;

/* xorshift64*: plain, and the same everywhere. [Marsaglia 2003; Vigna 2016] */
static uint64_t next(void)
{
    state ^= state >> 12;
    state ^= state << 25;
    state ^= state >> 27;
    return state * UINT64_C(2685821657736338717);
}

/* Roughly normal, in thousandths: the sum of four evenly spread numbers. */
static int micrometres(void)
{
    int sum = 0;

    for (int i = 0; i < 4; i++) {
        sum += (int)(next() >> 33) % 401 - 200;
    }
    return sum;
}

static char *put_thousandths(char *at, int value)
{
    if (value < 0) {
        *at++ = '-';
        value = -value;
    }
    return at + sprintf(at, "%d.%03d", value / 1000, value % 1000);
}

static char *put_row(char *at, long tile, int row)
{
    const int second = (int)(tile * 6 % 86400);

    at += sprintf(at, "T-%07ld,H%ld,%d,%d,%c,", tile, 1 + tile % 4, row / 40 % 30, row % 40,
                  "RGB"[row % 3]);
    at = put_thousandths(at, micrometres());
    *at++ = ',';
    at = put_thousandths(at, micrometres());
    return at + sprintf(at, ",2026-03-%02ldT%02d:%02d:%02dZ\n", 2 + tile * 6 / 86400 % 28,
                        second / 3600, second / 60 % 60, second % 60);
}

int main(int argc, char **argv)
{
    static const char header[] = "tile_id,head,site_row,site_col,colour,dx_um,dy_um,placed_at\n";
    char path[4096];
    char line[LINE_MOST];

    if (argc != 5 || (strcmp(argv[1], "dense") != 0 && strcmp(argv[1], "small") != 0)) {
        (void)fprintf(stderr, "bench_make dense|small FOLDER FILES ROWS\n");
        return 2;
    }
    const bool dense = strcmp(argv[1], "dense") == 0;
    const long files = strtol(argv[3], NULL, 10);
    const long rows = strtol(argv[4], NULL, 10);
    for (long f = 0; f < files; f++) {
        (void)snprintf(path, sizeof path, "%s/shift_%05ld.csv", argv[2], f);
        FILE *file = fopen(path, "wb");
        if (!file) {
            perror(path);
            return 1;
        }
        (void)fputs(header, file);
        for (long i = 0; i < rows; i++) {
            const long of_all = f * rows + i;
            const char *end = put_row(line, dense ? of_all / TILE_ROWS : f,
                                      (int)(dense ? of_all % TILE_ROWS : i));
            (void)fwrite(line, 1, (size_t)(end - line), file);
        }
        if (fclose(file)) {
            perror(path);
            return 1;
        }
    }
    return 0;
}
