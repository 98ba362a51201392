/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The fast path against the row path: whatever the file, both must put the same into the store, and
 * the original must come back from it. Each input is taken twice inside a transaction that is undone.
 *
 * The first byte chooses the station, the second the bounds on memory and how the rest is meant: as
 * the file itself, or as choices out of lists of fields, so that most rows are nearly right; and
 * whether it is one file or two.
 */
#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "intake/taking.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

const char *__asan_default_options(void);
const char *__asan_default_options(void)
{
    return "quarantine_size_mb=8:malloc_context_size=8:max_malloc_fill_size=64";
}

static const char description[] =
    "line: fuzzed\n"
    "zone: Europe/Rome\n"
    "shifts: {early: 06:00, late: 14:00, night: 22:00}\n"
    "kinds: {tile: {id: \"T-?[0-9]+\", fold_case: yes}, carrier: {}}\n"
    "stations:\n"
    "  a:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: id}\n"
    "    tool_column: head\n"
    "    links: [{column: donor, kind: carrier, role_column: colour, share_column: share}]\n"
    "    allowed: {colour: [R, G, B]}\n"
    "    purpose: {column: state, production: [P]}\n"
    "    characteristics:\n"
    "      x: {column: x, unit: um, split: [head, colour], possible: {min: -9, max: 9}}\n"
    "      y: {column: y, unit: um, only: {column: colour, words: [R, G]}, grid: {row: r, column: k}}\n"
    "      range: {derived: {how: range, of: x}, unit: um, split: colour}\n"
    "  b:\n"
    "    format: {delimiter: semicolon, decimal: comma, comment: \"#\", footer: \"^# rows=([0-9]+)\"}\n"
    "    time: {column: at, pattern: \"%Y-%m-%d %H:%M:%S\"}\n"
    "    sequence_column: k\n"
    "    item: {kind: tile, column: id}\n"
    "    characteristics:\n"
    "      x: {column: x, unit: um}\n"
    "      step: {derived: {how: neighbour_step, of: y}, unit: um}\n"
    "      y: {column: y, unit: um, missing: [\"-99\", \"E*\"], grid: {row: r, column: k}}\n";

static const char *const stations[] = {"a", "b"};
static const char header[] = "id%cat%chead%cdonor%ccolour%cshare%cstate%cx%cy%cr%ck%cnote%s";
static const char *const fields[12][12] = {
    {"T1", "T1", "T1", "T1", "T-2", "t1", "T3", "", " T1", "A", "T1 ", "\"T1\""},
    {"2026-03-04T10:00:00Z", "2026-03-04T10:00:00Z", "2026-03-04T10:00:07Z", "2026-10-25 02:30:00",
     "2026-03-04T10:00:07.5Z", "2026-03-04 10:00:00", "2026-03-04 10:00:09", "2026-10-25 02:10:00",
     "2026-03-29 02:30:00", "", "x", "2026-10-25 03:10:00"},
    {"H1", "H1", "H2", "H1", "H2", "H3", "", "H=", "h1", "H1", "H1 ", "H1"},
    {"D1", "D1", "D1", "D2", "D1", "", "D1", "D3", "D1", " D1", "D1", "D1"},
    {"R", "G", "B", "R", "G", "B", "R", "G", "", "X", "R", "G"},
    {"0.5", "0.5", "0.5", "0", "1", "", "0.25", "1.5", "0.5", "0,5", "0.5", "0.50"},
    {"P", "P", "P", "P", "", "E", "P", "P", "P", "P,", "P", "P"},
    {"1", "-1.5", "3", "0.25", "-0.125", "9.5", "+1", "1e1", "007", "-0.0", "", "12345678.25"},
    {"2", "0.5", "-99", "E7", "0,25", "-0.75", "2", ".5", "5.", "1234567890.125", "x", "0.5"},
    {"1", "2", "3", "1", "2", "10", "0", "01", "-1", "", "1.5", "7"},
    {"1", "2", "3", "4", "5", "6", "7", "8", "9", "0", "11", "4"},
    {"", "n", "n", "a note", "\"q\"", "n\"", "\xC3\xA4", "\xE4", "# rows=3", "n", "1.50", "=1"}};

static void must(int good, const char *what, const struct an_error *err)
{
    if (!good) {
        (void)fprintf(stderr, "%s: %s\n", what, err ? err->text : "");
        abort();
    }
}

static struct an_line *line;
static struct an_store *store;
static struct an_collect *collects[2]; /* one a station */
static char folder[64];
static const char *const names[2] = {"first", "second"};

static void clean(void)
{
    char command[96];

    an_collect_close(collects[0]);
    an_collect_close(collects[1]);
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

    must(setenv("ANDAMENTO_CLOCK", "2026-12-01T00:00:00Z", 1) == 0, "the clock", &err);
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
    must(an_store_begin(store, &err) == AN_OK && an_store_scratch_clear(store, &err) == AN_OK &&
             an_store_commit(store, &err) == AN_OK,
         "scratch", &err);
    for (size_t i = 0; i < 2; i++) {
        const struct an_collect_options options = {.station = stations[i]};
        must(an_collect_open(store, line, &options, &collects[i], &err) == AN_OK, "the collector",
             &err);
    }
    must(atexit(clean) == 0, "atexit", &err);
}

static int add_to_digest(void *context, const void *at, size_t length)
{
    an_digest_add(context, at, length);
    return 0;
}

/* What taking a file gives: its digest and counts. */
struct outcome {
    enum an_take how;
    struct an_sha256 digest;
    int64_t rows, taken, duplicate, held, blank;
    char code[64];
};

static struct outcome take_one(struct an_collect *collect, const char *name)
{
    struct outcome outcome = {0};
    struct an_error err = {.status = AN_OK};
    char path[96];

    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    struct an_taking *taking = an_taking_open(collect, path);
    must(taking != NULL, "memory", &err);
    an_taking_read(taking);
    must(an_taking_settle(taking, &err) == AN_OK, "settling", &err);
    const struct an_file *got = &taking->result.file;
    outcome.how = taking->result.how;
    outcome.rows = got->rows;
    outcome.taken = got->taken;
    outcome.duplicate = got->duplicate;
    outcome.held = got->held;
    outcome.blank = got->blank;
    must(got->rows == got->taken + got->duplicate + got->held + got->blank, "the balance", &err);
    (void)snprintf(outcome.code, sizeof outcome.code, "%s", got->code ? got->code : "");
    must(an_store_file_digest(store, got->file_id, &outcome.digest, &err) == AN_OK, "the digest",
         &err);
    struct an_digest *original = an_digest_open();
    must(original &&
             an_store_original_read(store, &got->hash, add_to_digest, original, &err) == AN_OK,
         "the original", &err);
    const struct an_sha256 hash = an_digest_close(original);
    must(memcmp(hash.at, got->hash.at, sizeof hash.at) == 0, "the original's bytes differ", &err);
    an_taking_close(taking);
    return outcome;
}

/* Takes one file or two, one after the other, and undoes it. */
static void take(struct an_collect *collect, size_t count, struct outcome outcomes[2])
{
    for (size_t i = 0; i < count; i++) {
        outcomes[i] = take_one(collect, names[i]);
    }
    an_collect_rollback(collect);
}

static void compare(const struct outcome *fast, const struct outcome *slow)
{
    must(fast->how == slow->how && strcmp(fast->code, slow->code) == 0, "taken otherwise", NULL);
    must(fast->rows == slow->rows && fast->taken == slow->taken && fast->held == slow->held &&
             fast->duplicate == slow->duplicate && fast->blank == slow->blank,
         "other counts", NULL);
    must(memcmp(fast->digest.at, slow->digest.at, sizeof fast->digest.at) == 0, "other content",
         NULL);
}

/* Rows out of the lists, a byte a field that differs from the row before. */
static void make_file(struct an_text *text, const uint8_t *data, size_t size, char delimiter,
                      bool crlf)
{
    const char *end = crlf ? "\r\n" : "\n";
    const int d = delimiter;
    uint8_t now[12] = {0};

    an_text_addf(text, header, d, d, d, d, d, d, d, d, d, d, d, end);
    for (size_t i = 0; i < size; i++) {
        const size_t changes = data[i] % 4;

        for (size_t k = 0; k < changes && i + 1 < size; k++) {
            i++;
            now[data[i] % 12] = (uint8_t)(data[i] / 12 % 12);
        }
        for (size_t f = 0; f < 12; f++) {
            if (f) {
                an_text_add_char(text, delimiter);
            }
            an_text_add(text, fields[f][now[f]]);
        }
        an_text_add(text, data[i] == 250 ? "\r" : data[i] == 251 ? "" : end);
    }
}

static void write_file(const char *name, const uint8_t *data, size_t size, uint8_t station,
                       uint8_t how)
{
    struct an_text text = {0};
    char path[96];

    if (how & 8) {
        make_file(&text, data, size, station % 2 ? ';' : ',', how & 16);
    } else {
        an_text_add_bytes(&text, (struct an_bytes){data, size});
    }
    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "wb");
    must(file && !text.failed && fwrite(an_text_of(&text), 1, text.length, file) == text.length &&
             fclose(file) == 0,
         "writing", NULL);
    an_text_free(&text);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct an_collect_tuning tuning = an_collect_usual_tuning();
    struct outcome fast[2];
    struct outcome slow[2];

    if (!store) {
        set_up();
    }
    if (size < 2 || size > 20000) {
        return 0;
    }
    struct an_collect *collect = collects[data[0] % 2];
    const uint8_t how = data[1];
    const size_t count = how & 128 ? 2 : 1;
    const size_t first = (size - 2) / count;
    write_file(names[0], data + 2, first, data[0], how);
    if (count == 2) {
        write_file(names[1], data + 2 + first, size - 2 - first, data[0], how);
    }
    tuning.piece_bytes = how & 1 ? (size_t)how + 1 : 4096;
    tuning.open_visits = how & 2 ? 2 : tuning.open_visits;
    tuning.block_rows = how & 4 ? 3 : tuning.block_rows;
    tuning.outbox_bytes = how & 32 ? 1 : tuning.outbox_bytes;
    tuning.keep_bytes = how & 64 ? 1 << 20 : 1;
    an_collect_tune(collect, &tuning);
    take(collect, count, fast);
    tuning.ordinary_rows = false;
    an_collect_tune(collect, &tuning);
    take(collect, count, slow);
    for (size_t i = 0; i < count; i++) {
        compare(&fast[i], &slow[i]);
    }
    return 0;
}
