/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any bytes as a line description: it is refused, each mistake with its place and a text, or it is
 * a line on which shifts and stations can be looked up and whose stations intake can plan.
 */
#include "intake/plan.h"
#include "line/line.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* libfyaml leaks the text of some quoted scalars that it refuses; that is not ours to mend. */
const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:libfyaml.so";
}

struct told {
    size_t count;
    uint64_t lines; /* in the file */
};

static void must(int good, const char *what, const char *text)
{
    if (!good) {
        (void)fprintf(stderr, "%s: %s\n", what, text ? text : "");
        abort();
    }
}

static void tell(void *context, const char *path, uint64_t line, uint64_t column, const char *text)
{
    struct told *told = context;

    must(strcmp(path, "fuzz.yaml") == 0, "the name", path);
    must(line >= 1 && line <= told->lines + 1 && column >= 1, "the place", text);
    must(text[0] && !strpbrk(text, "\n\r\x1b"), "one plain line", text);
    told->count++;
}

static void look_at_shifts(const struct an_line *line)
{
    /* around a change to summer time, and a plain day */
    static const int64_t instants[] = {INT64_C(1774749600000000), INT64_C(1772582400000000), 0};

    for (size_t i = 0; i < sizeof instants / sizeof *instants && line->shift_count; i++) {
        const struct an_shift shift = an_line_shift_at(line, instants[i]);
        const struct an_shift next = an_line_shift_after(line, &shift);
        char label[64];

        must(shift.from_us <= instants[i] && instants[i] < shift.until_us, "the shift", line->name);
        must(next.from_us >= shift.until_us, "the next shift", line->name);
        (void)an_line_shift_label(line, &shift, label);
    }
}

static void look_at(const struct an_line *line)
{
    look_at_shifts(line);
    for (size_t i = 0; i < line->station_count; i++) {
        const struct an_station *station = &line->stations[i];
        struct an_error err = {.status = AN_OK};
        struct an_plan *plan = NULL;

        must(an_line_station(line, an_bytes_of(station->name)) == i, "finding", station->name);
        for (size_t k = 0; k < station->characteristic_count; k++) {
            const struct an_characteristic *one =
                &line->characteristics[station->characteristics[k]];
            must(one->station == i, "whose characteristic", one->name);
            must(!(one->lsl > one->usl), "limits in order", one->name);
            must(one->derivation == AN_NOT_DERIVED || one->of[0] < line->characteristic_count,
                 "derived of nothing", one->name);
        }
        const enum an_status st = an_plan_open(line, i, &plan, &err);
        must(st == AN_OK || (st == AN_BAD_CONFIG && err.text[0]), "the plan", err.text);
        an_plan_close(plan);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct an_error err = {.status = AN_OK};
    struct an_line *line = NULL;
    struct told told = {0, 1};
    const struct an_bytes bytes = {data, size};

    for (size_t i = 0; i < size; i++) {
        told.lines += data[i] == '\n' || data[i] == '\r' || data[i] >= 0x80; /* NEL and the like */
    }
    const enum an_status st = an_line_read(bytes, "fuzz.yaml", ".", tell, &told, &line, &err);
    must(st == AN_OK || st == AN_BAD_CONFIG, "the status", err.text);
    must((st == AN_OK) == (told.count == 0), "how many mistakes", err.text);
    must((st == AN_OK) == (line != NULL), "a line without success", err.text);
    if (line) {
        must(an_bytes_equal(line->source, bytes), "the source", line->name);
        look_at(line);
    }
    an_line_close(line);
    return 0;
}
