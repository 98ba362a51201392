/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any bytes as a station's file: nothing may crash, and every row must end in one bin. The first
 * byte chooses the station (so the dialect), the second the size of the pieces and the bounds on
 * memory; the rest is the file.
 */
#include "andamento/base/memory.h"
#include "andamento/store/store.h"
#include "intake/collect.h"
#include "intake/tuning.h"
#include "line/line.h"

#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Intake allocates a few large buffers a file: a long quarantine and filling them cost half of the
 * time and find nothing more. */
const char *__asan_default_options(void);
const char *__asan_default_options(void)
{
    return "quarantine_size_mb=8:malloc_context_size=8:max_malloc_fill_size=64";
}

static const char description[] =
    "line: fuzzed\n"
    "zone: Europe/Rome\n"
    "shifts: {early: 06:00, late: 14:00, night: 22:00}\n"
    "kinds: {tile: {id: \"T-[0-9]+\", fold_case: yes}, carrier: {}}\n"
    "stations:\n"
    "  a:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    links: [{column: donor, kind: carrier, role_column: c, share_column: share}]\n"
    "    part_whole: [{part: bad, whole: seen}]\n"
    "    purpose: {column: state, production: [P]}\n"
    "    characteristics:\n"
    "      x: {column: x, unit: um, split: c, possible: {min: -9, max: 9}, grid: {row: r, column: "
    "r}}\n"
    "      step: {derived: {how: neighbour_step, of: x}, unit: \"%\"}\n"
    "      bad: {count: bad, opportunities: seen}\n"
    "      two: {column: x, unit: um, subgroup: {every: 2}}\n"
    "  b:\n"
    "    format: {delimiter: semicolon, decimal: comma, encoding: windows-1252, units_row: yes,\n"
    "             comment: \"#\", footer: \"^# rows=([0-9]+)\"}\n"
    "    preamble: {wall: \"wall ([A-Z0-9]+)\"}\n"
    "    time: {column: at, pattern: \"%d.%m.%Y %H:%M\"}\n"
    "    item: {kind: carrier, column: wall}\n"
    "    characteristics: {g: {column: g, column_unit: nm, unit: um, ribbon: {kind: tile}}}\n"
    "  c:\n"
    "    format: {delimiter: tab, encoding: utf-16, end_marker: END, trim: no, preamble_lines: 1}\n"
    "    time: file\n"
    "    item: {kind: carrier, column: id}\n"
    "    characteristics: {e: {count: {rows: yes}, opportunities: 10}}\n"
    "  d:\n"
    "    format: {delimiter: bar, encoding: latin-1, group: point, decimal: comma}\n"
    "    time: {column: at, pattern: \"%y-%b-%d %I:%M %p\", zone: UTC}\n"
    "    item: {kind: carrier, column: id}\n"
    "    sequence_column: no\n"
    "    characteristics: {v: {column: v, unit: V, subgroup: row, split: [id, no]}}\n";

static const char *const stations[] = {"a", "b", "c", "d"};

static void must(int good, const char *what, const struct an_error *err)
{
    if (!good) {
        (void)fprintf(stderr, "%s: %s\n", what, err->text);
        abort();
    }
}

static void give(struct an_collect *collect, const char *path)
{
    struct an_take_result result;
    struct an_error err = {.status = AN_OK};
    const struct an_file *file = &result.file;

    must(an_collect_file(collect, path, &result, &err) == AN_OK, "taking", &err);
    must(result.how == AN_TAKEN || result.how == AN_HELD_WHOLE, "how it was taken", &err);
    must(file->rows == file->taken + file->duplicate + file->held + file->blank, "the balance",
         &err);
    must((result.how == AN_HELD_WHOLE) == (file->code != NULL), "the code", &err);
    must(!file->code || an_held_advice(file->code), "the advice", &err);
}

/* One line and one store for all inputs, and one collector a station: each input is taken in a dry
 * run, which does everything but the commit, so that the store stays as it is and inputs do not
 * depend on each other. The folder is in memory where there is such a file system. */
static struct an_line *line;
static struct an_store *store;
static struct an_collect *collects[sizeof stations / sizeof *stations];
static char folder[64];
static int file = -1;

static void clean(void)
{
    char command[96];

    for (size_t i = 0; i < sizeof stations / sizeof *stations; i++) {
        an_collect_close(collects[i]);
    }
    an_store_close(store);
    an_line_close(line);
    (void)snprintf(command, sizeof command, "rm -rf '%s'", folder);
    if (system(command) != 0) {
        (void)fprintf(stderr, "%s could not be removed\n", folder);
    }
}

static void set_up(void)
{
    struct an_error err = {.status = AN_OK};
    int64_t revision = 0;
    bool is_new = false;
    char path[96];

    (void)snprintf(folder, sizeof folder, "/dev/shm/an-fuzz-XXXXXX");
    if (!mkdtemp(folder)) {
        (void)snprintf(folder, sizeof folder, "/tmp/an-fuzz-XXXXXX");
        must(mkdtemp(folder) != NULL, "a folder", &err);
    }
    must(an_line_read(an_bytes_of(description), "fuzz.yaml", ".", NULL, NULL, &line, &err) == AN_OK,
         "the description", &err);
    (void)snprintf(path, sizeof path, "%s/store", folder);
    must(an_store_open(path, AN_STORE_CREATE, &store, &err) == AN_OK, "the store", &err);
    must(an_store_put_line(store, line->source, ".", &revision, &is_new, &err) == AN_OK,
         "the revision", &err);
    /* made in a transaction that is rolled back, the scratch table would go with it each time, and
     * with the table every prepared statement */
    must(an_store_begin(store, &err) == AN_OK && an_store_scratch_clear(store, &err) == AN_OK &&
             an_store_commit(store, &err) == AN_OK,
         "scratch", &err);
    for (size_t i = 0; i < sizeof stations / sizeof *stations; i++) {
        const struct an_collect_options options = {.dry_run = true, .station = stations[i]};
        must(an_collect_open(store, line, &options, &collects[i], &err) == AN_OK, "the collector",
             &err);
    }
    (void)snprintf(path, sizeof path, "%s/file", folder);
    file = open(path, O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
    must(file >= 0, "the file", &err);
    must(atexit(clean) == 0, "atexit", &err);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const struct an_error none = {.status = AN_OK};
    struct an_collect_tuning tuning = an_collect_usual_tuning();
    char path[96];

    if (!store) {
        set_up();
    }
    if (size < 2) {
        return 0;
    }
    struct an_collect *collect = collects[data[0] % (sizeof stations / sizeof *stations)];
    tuning.piece_bytes = data[1] & 1 ? (size_t)data[1] + 1 : 4096;
    tuning.open_visits = data[1] & 2 ? 2 : tuning.open_visits;
    tuning.block_rows = data[1] & 4 ? 3 : tuning.block_rows;
    an_collect_tune(collect, &tuning);
    must(ftruncate(file, 0) == 0 && pwrite(file, data + 2, size - 2, 0) == (ssize_t)(size - 2),
         "writing", &none);
    (void)snprintf(path, sizeof path, "%s/file", folder);
    give(collect, path);
    return 0;
}
