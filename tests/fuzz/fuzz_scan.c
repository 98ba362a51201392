/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The scanner against the CSV library: each line that it calls plain must have the library's fields,
 * and all its ways must find the same. The first byte chooses the delimiter, the second how many
 * fields and lines there are at most.
 */
#include "intake/fields.h"
#include "intake/scan.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(int good, const char *what)
{
    if (!good) {
        (void)fprintf(stderr, "%s\n", what);
        abort();
    }
}

static void check_line(struct an_fields *fields, const uint8_t *text, const uint32_t *at,
                       size_t count)
{
    const uint32_t from = at[0] + 1;
    uint32_t end = at[count];
    struct an_error err;

    end -= end > from && text[end - 1] == '\r';
    must(an_fields_part(fields, (struct an_bytes){text + from, end - from}, &err) == AN_OK,
         "the library does not take the line");
    must(fields->count == count || (fields->count == 0 && end == from && count == 1),
         "the library has other fields");
    for (size_t f = 0; f < fields->count; f++) {
        const uint32_t begin = at[f] + 1;
        const uint32_t stop = f + 1 == count ? end : at[f + 1];

        must(fields->at[f].length == stop - begin &&
                 (stop == begin || memcmp(fields->at[f].at, text + begin, stop - begin) == 0),
             "a field differs from the library's");
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const enum an_scan_how ways[] = {AN_SCAN_WORDS, AN_SCAN_SSE2, AN_SCAN_AVX2};
    static struct an_fields fields;
    struct an_scan first = {0, false};
    struct an_error err;

    if (size < 2 || size > 100000) {
        return 0;
    }
    const char delimiter = ",;\t|"[data[0] % 4];
    const size_t count = 1 + data[1] % 7;
    const size_t most = 1 + data[1] / 7;
    const uint8_t *text = data + 2;
    uint32_t *wanted = calloc(1 + most * count + AN_SCAN_ROOM, sizeof *wanted);
    uint32_t *at = calloc(1 + most * count + AN_SCAN_ROOM, sizeof *at);
    must(wanted && at, "memory");
    for (size_t w = 0; w < sizeof ways / sizeof ways[0]; w++) {
        struct an_scan scan = {0, false};
        uint32_t *here = w ? at : wanted;

        if (!an_scan_lines_by(ways[w], text, size - 2, delimiter, count, most, here, &scan)) {
            continue;
        }
        first = w ? first : scan;
        must(scan.rows <= most && scan.rows == first.rows && scan.is_stuck == first.is_stuck,
             "two ways find other lines");
        must(memcmp(here, wanted, (1 + scan.rows * count) * sizeof *here) == 0,
             "two ways find other places");
    }
    if (!fields.at) {
        must(an_fields_open(&fields, &err) == AN_OK, "memory");
    }
    must(an_fields_begin(&fields, delimiter, false, &err) == AN_OK, "the library");
    for (size_t r = 0; r < first.rows; r++) {
        check_line(&fields, text, wanted + r * count, count);
    }
    free(wanted);
    free(at);
    return 0;
}
