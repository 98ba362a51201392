/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every call of the store's interface, so that suites about faults and queries can sweep them. */
#include "andamento/base/instant.h"
#include "andamento/store/gauge.h"
#include "andamento/store/note.h"
#include "andamento/store/signing.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static enum an_status decide_limits(struct an_store *store, const struct filled *f,
                                    int64_t *limits_id, struct an_error *err)
{
    struct an_limits_record limits = {.stream_id = f->stream_id,
                                      .baseline_from_us = AN_NO_INSTANT,
                                      .baseline_until_us = 99999,
                                      .baseline_samples = 25,
                                      .model = "{\"centre\":0}"};
    enum an_status st = an_store_put_limits(store, &limits, err);
    *limits_id = limits.limits_id;
    if (!st) {
        st = an_store_lock_limits(store, limits.limits_id, 1500, "A. Person", "first limits", err);
    }
    if (!st) {
        st = an_store_put_limits(store, &limits, err);
    }
    return st ? st : an_store_refuse_limits(store, limits.limits_id, "A. Person", "too few", err);
}

static enum an_status decide_signal(struct an_store *store, const struct filled *f,
                                    int64_t limits_id, struct an_error *err)
{
    struct an_signal_record signal = {.stream_id = f->stream_id,
                                      .limits_id = limits_id,
                                      .first_sample_id = f->sample_id,
                                      .first_us = 2001,
                                      .signal_sample_id = f->sample_id,
                                      .signal_us = 2001,
                                      .side = 1,
                                      .rule = 2};
    struct an_hit_record hit = {.sample_id = f->sample_id,
                                .at_us = 2001,
                                .window_first_sample_id = f->sample_id,
                                .rule = 2,
                                .side = 1,
                                .value = 3.5,
                                .z = 3.1};
    const struct an_judged judged = {.stream_id = f->stream_id,
                                     .limits_id = limits_id,
                                     .newest_sample_id = f->sample_id,
                                     .until_us = 2001,
                                     .samples = 1};
    enum an_status st = an_store_put_signal(store, &signal, err);
    hit.signal_id = signal.signal_id;
    struct an_hit_record hits[2] = {hit, hit}; /* they share an entry */
    hits[1].rule = 1;
    hits[1].z = NAN;
    if (!st) {
        st = an_store_put_hits(store, hits, 2, err);
    }
    if (!st) {
        st = an_store_withdraw_hit(store, hits[1].hit_id, "late samples", err);
    }
    const struct an_running running = {.stream_id = f->stream_id,
                                       .limits_id = limits_id,
                                       .from_us = 2001,
                                       .at_us = 2001,
                                       .sample_id = f->sample_id,
                                       .state = "[1,0.25]"};
    st = st ? st : an_store_put_running(store, &running, err);
    struct an_gauge_record study = {.gauge = "G1",
                                    .kind = AN_GAUGE_BIAS,
                                    .reading = "x",
                                    .reference_value = 2.5,
                                    .tolerance = NAN,
                                    .pool_above = 0.25,
                                    .file = "bias.csv",
                                    .data = an_bytes_of("x\n1\n2\n"),
                                    .grade = AN_GRADE_LOOK,
                                    .verdict = "reads low",
                                    .author = "A. Person",
                                    .reason = "new gauge"};
    st = st ? st : an_store_put_gauge_study(store, &study, err);
    return st ? st : an_store_put_judged(store, &judged, err);
}

static struct an_bytes bytes_of(const struct an_text *text)
{
    return (struct an_bytes){(const unsigned char *)an_text_of(text), text->length};
}

enum an_status decide_keys(struct an_store *store, struct an_error *err)
{
    struct an_text secret[2] = {{0}};
    struct an_text open[2] = {{0}};
    struct an_text note = {0};
    struct an_signing_key keys[2] = {{.author = "B. Person", .reason = "her first"},
                                     {.author = "B. Person", .reason = "yearly"}};
    struct an_ledger_head head;
    struct an_signed_head put;
    char retired[AN_KEY_NAME_ROOM];
    struct an_arena *arena = an_arena_open();
    enum an_status st = arena ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");

    for (int k = 0; !st && k < 2; k++) {
        st = an_key_new(&secret[k], &open[k], err);
        st = st ? st : an_key_public(bytes_of(&open[k]), &keys[k].key, err);
        st = st ? st : an_store_add_key(store, &keys[k], err); /* the second signed by the first */
        st = st ? st : an_store_sign_as(store, "B. Person", bytes_of(&secret[k]), NULL, err);
    }
    st =
        st ? st : an_store_retire_key(store, keys[0].key_id, "B. Person", "replaced", retired, err);
    an_store_sign_none(store);
    st = st ? st : an_ledger_head(store, &head, err);
    st = st ? st : an_note_make("x", &head, bytes_of(&secret[1]), &note, err);
    st = st ? st : an_store_put_head(store, bytes_of(&note), arena, &put, err);
    for (int k = 0; k < 2; k++) {
        an_text_free(&secret[k]);
        an_text_free(&open[k]);
    }
    an_text_free(&note);
    an_arena_close(arena);
    return st;
}

enum an_status decide_all(struct an_store *store, const struct filled *f, struct an_error *err)
{
    int64_t limits_id = 0;
    int64_t revision = 0;
    bool is_new = false;
    enum an_status st =
        an_store_put_line(store, an_bytes_of("name: x\n"), ".", &revision, &is_new, err);
    if (!st) {
        st = decide_limits(store, f, &limits_id, err);
    }
    if (!st) {
        st = an_store_begin(store, err);
    }
    if (st) {
        return st;
    }
    st = decide_signal(store, f, limits_id, err);
    if (!st) {
        st = an_store_put_sighting(store, f->file_id, "in/again.csv", err);
    }
    if (!st) {
        st = an_store_commit(store, err);
    }
    if (st) {
        an_store_rollback(store);
    }
    return st;
}

/* ---- reading ---------------------------------------------------------------------------------------- */

#define TRY(call)                                                                                  \
    do {                                                                                           \
        const enum an_status st_ = (call);                                                         \
        if (st_) {                                                                                 \
            return st_;                                                                            \
        }                                                                                          \
    } while (0)
#define EXPECT(condition)                                                                          \
    do {                                                                                           \
        if (!(condition)) {                                                                        \
            return an_fail(err, AN_BUG, "not so: %s", #condition);                                 \
        }                                                                                          \
    } while (0)

static int count_bytes(void *context, const void *at, size_t length)
{
    (void)at;
    *(size_t *)context += length;
    return 0;
}

static enum an_status count_value(void *context, struct an_bytes key, struct an_bytes value)
{
    *(size_t *)context += key.length + value.length;
    return AN_OK;
}

static enum an_status read_files(struct an_store *store, const struct filled *f,
                                 struct an_arena *arena, struct an_error *err)
{
    bool found = false;
    int64_t file_id = 0;
    struct an_file *files = NULL;
    struct an_file file;
    size_t count = 0;
    size_t bytes = 0;
    struct an_station_traffic *stations = NULL;
    struct an_held_count *counts = NULL;
    struct an_held *held = NULL;
    struct an_sha256 digest;
    TRY(an_store_find_file(store, &f->hash, &found, &file_id, err));
    EXPECT(found && file_id == f->file_id);
    TRY(an_store_files(store, AN_NO_INSTANT, AN_NO_INSTANT, arena, &files, &count, err));
    EXPECT(count >= 1);
    TRY(an_store_file(store, f->file_id, arena, &file, err));
    TRY(an_store_original_read(store, &f->hash, count_bytes, &bytes, err));
    EXPECT((int64_t)bytes == file.bytes);
    TRY(an_store_file_digest(store, f->file_id, &digest, err));
    TRY(an_store_traffic(store, 0, 1000000, arena, &stations, &count, err));
    EXPECT(count == 1 && stations[0].rows >= 7);
    TRY(an_store_held_counts(store, 0, 1000000, arena, &counts, &count, err));
    EXPECT(count == 2);
    TRY(an_store_held(store, NULL, NULL, 0, 0, arena, &held, &count, err));
    EXPECT(count >= 2);
    TRY(an_store_held(store, "transfer", NULL, 0, 0, arena, &held, &count, err));
    EXPECT(count >= 2);
    TRY(an_store_held(store, NULL, "row.fields", 0, 0, arena, &held, &count, err));
    EXPECT(count >= 1);
    TRY(an_store_held(store, NULL, NULL, f->file_id, 1, arena, &held, &count, err));
    EXPECT(count == 1);
    return AN_OK;
}

static enum an_status read_streams(struct an_store *store, const struct filled *f,
                                   struct an_arena *arena, struct an_error *err)
{
    struct an_stream *streams = NULL;
    struct an_stream stream;
    struct an_sample *samples = NULL;
    struct an_number_block numbers;
    uint32_t *codes = NULL;
    struct an_bytes *texts = NULL;
    size_t count = 0;
    size_t rows = 0;
    int64_t newest = 0;
    int64_t earliest = 0;
    TRY(an_store_streams(store, arena, &streams, &count, err));
    EXPECT(count == 2);
    TRY(an_store_find_stream(store, "transfer.dx@colour=R", arena, &stream, err));
    EXPECT(stream.samples >= 1);
    TRY(an_store_samples(store, f->stream_id, 0, 1000000, 0, arena, &samples, &count, err));
    EXPECT(count >= 1);
    TRY(an_store_samples(store, f->stream_id, 0, 1000000, 1, arena, &samples, &count, err));
    EXPECT(count == 1);
    TRY(an_store_samples_before(store, f->stream_id, 1000000, 5, arena, &samples, &count, err));
    EXPECT(count >= 1);
    TRY(an_store_newest_sample(store, f->stream_id, 0, &newest, &earliest, err));
    TRY(an_store_newest_sample(store, 0, 0, &newest, &earliest, err));
    EXPECT(newest >= f->sample_id && earliest == 2001);
    TRY(an_store_block_count(store, f->file_id, &count, err));
    EXPECT(count == 1);
    TRY(an_store_numbers(store, f->file_id, "dx", 0, arena, &numbers, err));
    EXPECT(numbers.rows == 3 && numbers.scaled[1] == AN_CELL_MISSING);
    TRY(an_store_texts(store, f->file_id, "colour", 0, arena, &codes, &rows, &texts, &count, err));
    EXPECT(rows == 3 && count == 2);
    return AN_OK;
}

static enum an_status read_items(struct an_store *store, const struct filled *f,
                                 struct an_arena *arena, struct an_error *err)
{
    struct an_visit visit;
    struct an_item item;
    struct an_linked *linked = NULL;
    size_t count = 0;
    bool found = false;
    TRY(an_store_visit(store, f->visit_id, arena, &visit, err));
    TRY(an_store_find_visit(store, "transfer", f->tile_id, &visit.rows_digest, &found, err));
    EXPECT(found);
    TRY(an_store_item_by_id(store, f->tile_id, arena, &item, err));
    EXPECT(strncmp(item.serial, "0T-", 3) == 0);
    TRY(an_store_linked(store, f->tile_id, false, NULL, arena, &linked, &count, err));
    EXPECT(count == 1 && strcmp(linked[0].item.serial, "W-1") == 0);
    TRY(an_store_linked(store, f->wall_id, true, "tile", arena, &linked, &count, err));
    EXPECT(count >= 1);
    TRY(an_store_count_in(store, &f->tile_id, 1, "wall", &count, err));
    EXPECT(count == 1);
    return AN_OK;
}

static enum an_status read_decisions(struct an_store *store, const struct filled *f,
                                     size_t expected, struct an_arena *arena, struct an_error *err)
{
    struct an_limits_record *limits = NULL;
    struct an_signal_record *signals = NULL;
    struct an_hit_record *hits = NULL;
    struct an_judged judged;
    struct an_line_revision revision;
    size_t count = 0;
    bool found = false;
    TRY(an_store_limits(store, f->stream_id, arena, &limits, &count, err));
    EXPECT(count == 2 * expected);
    TRY(an_store_limits(store, 0, arena, &limits, &count, err));
    EXPECT(count == 2 * expected);
    TRY(an_store_signals(store, f->stream_id, 0, 1000000, arena, &signals, &count, err));
    EXPECT(count == expected);
    TRY(an_store_signals(store, 0, 0, 1000000, arena, &signals, &count, err));
    EXPECT(count == expected);
    TRY(an_store_hits(store, 1, arena, &hits, &count, err));
    EXPECT(count == 2 * expected);
    TRY(an_store_stream_hits(store, f->stream_id, 0, arena, &hits, &count, err));
    EXPECT(count == expected);
    TRY(an_store_judged(store, f->stream_id, &judged, &found, err));
    EXPECT(found == (expected != 0));
    struct an_running running;
    const int64_t limits_id = expected ? limits[0].limits_id : 1;
    TRY(an_store_running(store, f->stream_id, limits_id, 2002, arena, &running, &found, err));
    EXPECT(!found || (running.at_us == 2001 && strcmp(running.state, "[1,0.25]") == 0));
    struct an_gauge_record *studies = NULL;
    TRY(an_store_gauge_studies(store, "G1", arena, &studies, &count, err));
    EXPECT(count == expected && (!expected || studies[0].reference_value == 2.5));
    TRY(an_store_gauge_studies(store, NULL, arena, &studies, &count, err));
    EXPECT(count == expected && (!expected || strcmp(studies[0].verdict, "reads low") == 0));
    if (expected) {
        struct an_gauge_record whole;
        TRY(an_store_gauge_study(store, studies[0].study_id, arena, &whole, err));
        EXPECT(an_bytes_are(whole.data, "x\n1\n2\n") && isnan(whole.tolerance));
    }
    if (expected) {
        TRY(an_store_line(store, arena, &revision, err));
    }
    return AN_OK;
}

static enum an_status read_ledger_and_scratch(struct an_store *store, struct an_arena *arena,
                                              struct an_error *err)
{
    struct an_ledger_head head;
    struct an_ledger_entry *entries = NULL;
    size_t count = 0;
    bool sound = false;
    TRY(an_ledger_head(store, &head, err));
    TRY(an_ledger_read(store, 0, 100, arena, &entries, &count, err));
    EXPECT(count == head.size);
    TRY(an_ledger_check(store, &sound, err));
    EXPECT(sound);
    TRY(an_store_scratch_add(store, an_bytes_of("b"), an_bytes_of("two"), err));
    TRY(an_store_scratch_add(store, an_bytes_of("a"), an_bytes_of("one"), err));
    size_t bytes = 0;
    TRY(an_store_scratch_each(store, count_value, &bytes, err));
    EXPECT(bytes == 8);
    return an_store_scratch_clear(store, err);
}

static void no_finding(void *context, const char *text)
{
    (void)text;
    ++*(int *)context;
}

static enum an_status read_keys(struct an_store *store, struct an_arena *arena,
                                struct an_error *err)
{
    struct an_signing_key *keys = NULL;
    struct an_signed_head *heads = NULL;
    struct an_signature_counts counts;
    size_t key_count = 0;
    size_t head_count = 0;
    int findings = 0;
    TRY(an_store_keys(store, arena, &keys, &key_count, err));
    TRY(an_store_heads(store, arena, &heads, &head_count, err));
    TRY(an_store_signatures_check(store, no_finding, &findings, &counts, err));
    EXPECT(findings == 0);
    EXPECT(key_count == 2 * head_count);
    EXPECT(counts.acts == (int64_t)key_count && counts.heads == (int64_t)head_count);
    return AN_OK;
}

enum an_status read_all(struct an_store *store, const struct filled *f, bool decided,
                        struct an_error *err)
{
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(err, AN_NO_MEMORY, "no arena");
    }
    enum an_status st = read_files(store, f, arena, err);
    if (!st) {
        st = read_streams(store, f, arena, err);
    }
    if (!st) {
        st = read_items(store, f, arena, err);
    }
    if (!st) {
        st = read_decisions(store, f, decided ? 1 : 0, arena, err);
    }
    if (!st) {
        st = read_ledger_and_scratch(store, arena, err);
    }
    st = st ? st : read_keys(store, arena, err);
    an_arena_close(arena);
    return st;
}

/* ---- the digest as the ledger has it ---- */

void digest_in_ledger(struct an_store *store, int64_t file_id, char hex[65])
{
    struct an_error err;
    struct an_arena *arena = an_arena_open();
    char wanted[40];
    struct an_ledger_entry *entries = NULL;
    size_t count = 0;
    (void)snprintf(wanted, sizeof wanted, "{\"file_id\":%lld,", (long long)file_id);
    OK(an_ledger_read(store, 0, 100000, arena, &entries, &count, &err));
    for (size_t k = 0; k < count; k++) {
        if (strncmp(entries[k].payload, wanted, strlen(wanted)) == 0) {
            const char *at = strstr(entries[k].payload, "\"digest\":\"");
            ck_assert_ptr_nonnull(at);
            memcpy(hex, at + 10, 64);
            hex[64] = '\0';
            an_arena_close(arena);
            return;
        }
    }
    ck_abort_msg("no entry for file %lld", (long long)file_id);
}
