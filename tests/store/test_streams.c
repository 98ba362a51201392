/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Streams and what hangs on them: samples in order of event time, held rows, traffic of stations,
 * limits and their decisions, signals with hits and withdrawals.
 */
#include "andamento/base/instant.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct an_store *store;
static struct an_arena *arena;
static struct an_error err;

static void set_up(void)
{
    scratch_make();
    OK(an_store_open(scratch_path("line.store"), AN_STORE_CREATE, &store, &err));
    arena = an_arena_open();
    ck_assert_ptr_nonnull(arena);
}

static void tear_down(void)
{
    an_arena_close(arena);
    an_store_close(store);
    scratch_remove();
}

struct in_hand {
    int64_t file_id, item_id, visit_id;
};

static struct in_hand begin_file(const char *serial)
{
    struct in_hand hand = {0};
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &hand.file_id, &err));
    OK(an_store_item(store, "tile", an_bytes_of(serial), hand.file_id, &hand.item_id, &err));
    struct an_visit visit = {.file_id = hand.file_id, .item_id = hand.item_id};
    OK(an_store_put_visit(store, &visit, &err));
    hand.visit_id = visit.visit_id;
    return hand;
}

static void end_file(const struct in_hand *hand, int64_t known_us)
{
    const struct an_file file = {.file_id = hand->file_id,
                                 .hash = an_sha256_of(&hand->file_id, sizeof hand->file_id),
                                 .name = "f",
                                 .path = "f",
                                 .station = "s",
                                 .modified_us = 1,
                                 .known_us = known_us,
                                 .first_us = 1,
                                 .last_us = 2};
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
}

static int64_t put_sample(const struct in_hand *hand, int64_t stream_id, int64_t at_us, double mean)
{
    struct an_sample sample = {.stream_id = stream_id,
                               .visit_id = hand->visit_id,
                               .item_id = hand->item_id,
                               .file_id = hand->file_id,
                               .at_us = at_us,
                               .shift_from_us = AN_NO_INSTANT,
                               .n = 1,
                               .mean = mean,
                               .min = mean,
                               .max = mean,
                               .count = NAN,
                               .opportunities = NAN};
    OK(an_store_put_sample(store, &sample, &err));
    return sample.sample_id;
}

/* ---- streams and samples ------------------------------------------------------------------------- */

START_TEST(streams_by_name)
{
    struct an_stream *streams = NULL;
    struct an_stream stream;
    size_t count = 0;
    int64_t ids[4];
    int64_t again = 0;
    struct in_hand hand = begin_file("T");
    OK(an_store_stream(store, "transfer", "dy", "", &ids[0], &err));
    OK(an_store_stream(store, "transfer", "dx", "colour=R,head=H2", &ids[1], &err));
    OK(an_store_stream(store, "aoi", "count", NULL, &ids[2], &err));
    OK(an_store_stream(store, "transfer", "dx", "", &ids[3], &err));
    OK(an_store_stream(store, "transfer", "dx", "colour=R,head=H2", &again, &err));
    ck_assert_int_eq(again, ids[1]);
    put_sample(&hand, ids[1], 70, 1);
    put_sample(&hand, ids[1], 50, 1);
    end_file(&hand, 9);
    OK(an_store_streams(store, arena, &streams, &count, &err));
    ck_assert_uint_eq(count, 4);
    ck_assert_str_eq(streams[0].name, "aoi.count");
    ck_assert_str_eq(streams[1].name, "transfer.dx");
    ck_assert_str_eq(streams[2].name, "transfer.dx@colour=R,head=H2");
    ck_assert_str_eq(streams[3].name, "transfer.dy");
    ck_assert_str_eq(streams[2].station, "transfer");
    ck_assert_str_eq(streams[2].characteristic, "dx");
    ck_assert_str_eq(streams[2].split, "colour=R,head=H2");
    ck_assert_int_eq(streams[2].samples, 2);
    ck_assert_int_eq(streams[2].first_us, 50);
    ck_assert_int_eq(streams[2].last_us, 70);
    ck_assert_int_eq(streams[3].samples, 0);
    ck_assert_int_eq(streams[3].first_us, AN_NO_INSTANT);
    OK(an_store_find_stream(store, "transfer.dx@colour=R,head=H2", arena, &stream, &err));
    ck_assert_int_eq(stream.stream_id, ids[1]);
    FAILS(an_store_find_stream(store, "transfer.dz", arena, &stream, &err), AN_NOT_FOUND);
    ck_assert_ptr_nonnull(strstr(err.text, "transfer.dz"));
    /* outside a file a stream has a ledger entry of its own */
    struct an_ledger_head before;
    struct an_ledger_head after;
    OK(an_ledger_head(store, &before, &err));
    FAILS(an_store_stream(store, "x", "y", "", &again, &err), AN_BUG);
    OK(an_store_begin(store, &err));
    OK(an_store_stream(store, "x", "y", "", &again, &err));
    OK(an_store_commit(store, &err));
    OK(an_ledger_head(store, &after, &err));
    ck_assert_uint_eq(after.size, before.size + 1);
}
END_TEST

START_TEST(sample_returns)
{
    int64_t stream = 0;
    struct in_hand hand = begin_file("0042");
    OK(an_store_stream(store, "s", "c", "", &stream, &err));
    struct an_sample in = {.stream_id = stream,
                           .visit_id = hand.visit_id,
                           .item_id = hand.item_id,
                           .file_id = hand.file_id,
                           .at_us = -3,
                           .shift_from_us = -10,
                           .n = 12,
                           .missing = 3,
                           .mean = 0.1,
                           .ssd = 1e-300,
                           .min = -1.7976931348623157e308,
                           .max = 4.9406564584124654e-324, /* least number above 0 */
                           .count = 7,
                           .opportunities = 12000.5,
                           .decimals = -2,
                           .first_line = 4,
                           .last_line = 18446744073,
                           .ribbon = "W-1 + W-2"};
    struct an_sample bare = {.stream_id = stream,
                             .visit_id = hand.visit_id,
                             .item_id = hand.item_id,
                             .file_id = hand.file_id,
                             .at_us = 5,
                             .shift_from_us = AN_NO_INSTANT,
                             .mean = NAN,
                             .ssd = NAN,
                             .min = NAN,
                             .max = NAN,
                             .count = NAN,
                             .opportunities = NAN};
    OK(an_store_put_sample(store, &in, &err));
    OK(an_store_put_sample(store, &bare, &err));
    struct an_sample wrong = in;
    wrong.stream_id = 0;
    FAILS(an_store_put_sample(store, &wrong, &err), AN_BUG);
    end_file(&hand, 4711);
    struct an_sample *out = NULL;
    size_t count = 0;
    OK(an_store_samples(store, stream, AN_NO_INSTANT, AN_NO_INSTANT, 0, arena, &out, &count, &err));
    ck_assert_uint_eq(count, 2);
    ck_assert_int_eq(out->sample_id, in.sample_id);
    ck_assert_int_eq(out->stream_id, stream);
    ck_assert_int_eq(out->visit_id, hand.visit_id);
    ck_assert_int_eq(out->item_id, hand.item_id);
    ck_assert_int_eq(out->file_id, hand.file_id);
    ck_assert_int_eq(out->at_us, -3);
    ck_assert_int_eq(out->shift_from_us, -10);
    ck_assert_int_eq(out->n, 12);
    ck_assert_int_eq(out->missing, 3);
    ck_assert(out->mean == in.mean && out->ssd == in.ssd && out->min == in.min &&
              out->max == in.max && out->count == 7 && out->opportunities == 12000.5);
    ck_assert_int_eq(out->decimals, -2);
    ck_assert_uint_eq(out->first_line, 4);
    ck_assert_uint_eq(out->last_line, 18446744073);
    ck_assert_str_eq(out->ribbon, "W-1 + W-2");
    ck_assert_str_eq(out->serial, "0042");
    ck_assert_int_eq(out->known_us, 4711);
    ck_assert_double_nan(out[1].mean);
    ck_assert_double_nan(out[1].ssd);
    ck_assert_double_nan(out[1].min);
    ck_assert_double_nan(out[1].max);
    ck_assert_double_nan(out[1].count);
    ck_assert_double_nan(out[1].opportunities);
    ck_assert_int_eq(out[1].shift_from_us, AN_NO_INSTANT);
    ck_assert_ptr_null(out[1].ribbon);
}
END_TEST

START_TEST(samples_in_order_of_event_time)
{
    static const int64_t times[] = {50, 10, 30, 30, 20, 40}; /* arrival is id 1, 2, ... */
    int64_t stream = 0;
    int64_t other = 0;
    struct in_hand hand = begin_file("T");
    OK(an_store_stream(store, "s", "c", "", &stream, &err));
    OK(an_store_stream(store, "s", "d", "", &other, &err));
    for (size_t k = 0; k < 6; k++) {
        put_sample(&hand, stream, times[k], (double)k);
    }
    put_sample(&hand, other, 25, 9);
    end_file(&hand, 9);
    static const struct {
        int64_t from, until;
        size_t most;
        const char *ids;
    } rows[] = {
        {AN_NO_INSTANT, AN_NO_INSTANT, 0, "253461"},
        {10, 51, 0, "253461"},
        {10, 50, 0, "25346"}, /* the end is not in it */
        {11, 50, 0, "5346"},
        {30, 31, 0, "34"}, /* same time: by id */
        {51, 60, 0, ""},
        {30, 10, 0, ""},
        {AN_NO_INSTANT, AN_NO_INSTANT, 1, "1"},
        {AN_NO_INSTANT, 50, 3, "346"},
        {AN_NO_INSTANT, 40, 1, "4"},
        {AN_NO_INSTANT, AN_NO_INSTANT, 100, "253461"},
    };
    struct an_sample *samples = NULL;
    size_t count = 0;
    for (size_t k = 0; k < sizeof rows / sizeof *rows; k++) {
        OK(an_store_samples(store, stream, rows[k].from, rows[k].until, rows[k].most, arena,
                            &samples, &count, &err));
        ck_assert_uint_eq(count, strlen(rows[k].ids));
        for (size_t i = 0; i < count; i++) {
            ck_assert_int_eq(samples[i].sample_id, rows[k].ids[i] - '0');
        }
    }
    OK(an_store_samples_before(store, stream, 30, 5, arena, &samples, &count, &err));
    ck_assert_uint_eq(count, 2);
    ck_assert_int_eq(samples[0].sample_id, 2);
    ck_assert_int_eq(samples[1].sample_id, 5);
    OK(an_store_samples_before(store, stream, 45, 2, arena, &samples, &count, &err));
    ck_assert_uint_eq(count, 2);
    ck_assert_int_eq(samples[0].sample_id, 4);
    ck_assert_int_eq(samples[1].sample_id, 6);
    OK(an_store_samples_before(store, stream, 45, 0, arena, &samples, &count, &err));
    ck_assert_uint_eq(count, 0);
    int64_t newest = -1;
    int64_t earliest = -1;
    OK(an_store_newest_sample(store, stream, 3, &newest, &earliest, &err));
    ck_assert_int_eq(newest, 6);
    ck_assert_int_eq(earliest, 20); /* of 4, 5, 6 */
    OK(an_store_newest_sample(store, stream, 6, &newest, &earliest, &err));
    ck_assert_int_eq(newest, 6);
    ck_assert_int_eq(earliest, AN_NO_INSTANT);
    OK(an_store_newest_sample(store, 99, 0, &newest, &earliest, &err));
    ck_assert_int_eq(newest, 0);
    ck_assert_int_eq(earliest, AN_NO_INSTANT);
    OK(an_store_newest_sample(store, 0, 0, &newest, &earliest, &err));
    ck_assert_int_eq(newest, 7);
    ck_assert_int_eq(earliest, 10);
}
END_TEST

/* The count of a stream's samples is carried on over files, rollbacks and openings. */
START_TEST(samples_are_counted)
{
    struct an_stream stream;
    int64_t id = 0;
    for (int round = 0; round < 6; round++) {
        char serial[16];
        (void)snprintf(serial, sizeof serial, "T%d", round);
        struct in_hand hand = begin_file(serial);
        OK(an_store_stream(store, "s", "c", "", &id, &err));
        for (int k = 0; k <= round; k++) {
            put_sample(&hand, id, 100 - k, 0);
        }
        if (round % 2) {
            an_store_rollback(store);
        } else {
            end_file(&hand, 9);
        }
        if (round == 3) {
            an_store_close(store);
            OK(an_store_open(scratch_path("line.store"), AN_STORE_WRITE, &store, &err));
        }
    }
    OK(an_store_find_stream(store, "s.c", arena, &stream, &err));
    ck_assert_int_eq(stream.samples, 1 + 3 + 5);
    ck_assert_int_eq(ask(an_store_path(store), "SELECT count(*) FROM sample"), 9);
}
END_TEST

START_TEST(many_samples_in_one_pass)
{
    enum { MANY = 100000 };
    int64_t stream = 0;
    struct an_sample *samples = NULL;
    size_t count = 0;
    struct in_hand hand = begin_file("T");
    OK(an_store_stream(store, "s", "c", "", &stream, &err));
    for (int k = 0; k < MANY; k++) {
        put_sample(&hand, stream, (int64_t)k * 7919 % MANY, k);
    }
    end_file(&hand, 9);
    OK(an_store_samples(store, stream, 0, MANY, 0, arena, &samples, &count, &err));
    ck_assert_uint_eq(count, MANY);
    for (int k = 0; k < MANY; k++) {
        ck_assert_int_eq(samples[k].at_us, k);
    }
    /* the log was folded into the file, and cut: it does not grow with what is written */
    for (int round = 0; round < 3; round++) {
        hand = begin_file("T");
        put_sample(&hand, stream, 5, 5);
        end_file(&hand, 9);
    }
    FILE *log = fopen(scratch_path("line.store-wal"), "rb");
    ck_assert_ptr_nonnull(log);
    ck_assert_int_eq(fseek(log, 0, SEEK_END), 0);
    ck_assert_int_le(ftell(log), 17 << 20);
    (void)fclose(log);
}
END_TEST

/* ---- held rows and traffic ------------------------------------------------------------------------- */

struct plan {
    const char *station; /* NULL: none fits */
    int64_t first_us, modified_us;
    const char *held_codes; /* a letter a held row */
    const char *held_whole; /* code of a file held whole */
};

static const struct plan plans[] = {
    {"transfer", 100, 1, "aab", NULL},
    {"transfer", 200, 1, "", NULL},
    {"aoi", 200, 1, "b", NULL},
    {"aoi", AN_NO_INSTANT, 250, "", "file.empty"}, /* by its own time */
    {NULL, AN_NO_INSTANT, 220, "", "file.station"},
    {"repair", 900, 1, "a", NULL},
};

static void put_plans(void)
{
    for (size_t k = 0; k < sizeof plans / sizeof *plans; k++) {
        const struct plan *plan = &plans[k];
        struct an_file file = {.hash = an_sha256_of(&k, sizeof k),
                               .name = "f",
                               .path = "f",
                               .station = plan->station,
                               .modified_us = plan->modified_us,
                               .state = plan->held_whole ? AN_FILE_HELD : AN_FILE_TAKEN,
                               .code = plan->held_whole,
                               .why = plan->held_whole ? "so it is" : NULL,
                               .rows = 5 + (int64_t)strlen(plan->held_codes),
                               .taken = 2,
                               .duplicate = 2,
                               .blank = 1,
                               .held = (int64_t)strlen(plan->held_codes),
                               .first_us = plan->first_us,
                               .last_us = plan->first_us == AN_NO_INSTANT ? AN_NO_INSTANT
                                                                          : plan->first_us + 20};
        OK(an_store_begin(store, &err));
        OK(an_store_next_file(store, &file.file_id, &err));
        for (const char *c = plan->held_codes; *c; c++) {
            const char code[2] = {*c, '\0'};
            struct an_held held = {.file_id = file.file_id,
                                   .line = 7,
                                   .column = 2,
                                   .column_name = "dx",
                                   .code = code,
                                   .why = "why",
                                   .text = {(const unsigned char *)"1,\0\xff", 4}};
            OK(an_store_put_held(store, &held, &err));
        }
        OK(an_store_put_file(store, &file, &err));
        OK(an_store_commit(store, &err));
    }
}

START_TEST(held_rows)
{
    static const struct {
        const char *station, *code;
        int64_t file_id;
        size_t most;
        const char *ids;
    } rows[] = {
        {NULL, NULL, 0, 0, "12345"},  {NULL, NULL, 0, 2, "12"},    {"transfer", NULL, 0, 0, "123"},
        {"transfer", "b", 0, 0, "3"}, {"aoi", NULL, 0, 0, "4"},    {NULL, "a", 0, 0, "125"},
        {NULL, "b", 0, 1, "3"},       {NULL, NULL, 1, 0, "123"},   {NULL, "a", 1, 0, "12"},
        {"aoi", "a", 1, 0, ""},       {"nowhere", NULL, 0, 0, ""}, {NULL, "z", 0, 0, ""},
    };
    struct an_held *held = NULL;
    size_t count = 0;
    put_plans();
    for (size_t k = 0; k < sizeof rows / sizeof *rows; k++) {
        OK(an_store_held(store, rows[k].station, rows[k].code, rows[k].file_id, rows[k].most, arena,
                         &held, &count, &err));
        ck_assert_msg(count == strlen(rows[k].ids), "row %zu: %zu", k, count);
        for (size_t i = 0; i < count; i++) {
            ck_assert_int_eq(held[i].held_id, rows[k].ids[i] - '0');
        }
    }
    OK(an_store_held(store, NULL, "b", 0, 1, arena, &held, &count, &err));
    ck_assert_int_eq(held->file_id, 1);
    ck_assert_uint_eq(held->line, 7);
    ck_assert_uint_eq(held->column, 2);
    ck_assert_str_eq(held->column_name, "dx");
    ck_assert_str_eq(held->why, "why");
    ck_assert_uint_eq(held->text.length, 4);
    ck_assert_mem_eq(held->text.at, "1,\0\xff", 4);
    ck_assert_str_eq(held->file_name, "f");
    ck_assert_str_eq(held->station, "transfer");
}
END_TEST

START_TEST(held_counts)
{
    struct an_held_count *counts = NULL;
    size_t count = 0;
    put_plans();
    OK(an_store_held_counts(store, 0, 300, arena, &counts, &count, &err));
    ck_assert_uint_eq(count, 5);
    ck_assert_ptr_null(counts[0].station);
    ck_assert_str_eq(counts[0].code, "file.station");
    ck_assert_int_eq(counts[0].rows, 0);
    ck_assert_int_eq(counts[0].files, 1);
    ck_assert_str_eq(counts[1].station, "aoi");
    ck_assert_str_eq(counts[1].code, "b");
    ck_assert_str_eq(counts[2].code, "file.empty");
    ck_assert_str_eq(counts[3].station, "transfer");
    ck_assert_str_eq(counts[3].code, "a");
    ck_assert_int_eq(counts[3].rows, 2);
    ck_assert_int_eq(counts[3].files, 1);
    ck_assert_str_eq(counts[4].code, "b");
    OK(an_store_held_counts(store, 300, 800, arena, &counts, &count, &err));
    ck_assert_uint_eq(count, 0);
}
END_TEST

START_TEST(traffic_of_stations)
{
    struct an_station_traffic *t = NULL;
    size_t count = 0;
    put_plans();
    OK(an_store_put_sighting(store, 2, "again", &err));
    OK(an_store_traffic(store, 210, 300, arena, &t, &count, &err)); /* touched by 200 to 220 */
    ck_assert_uint_eq(count, 4);
    ck_assert_str_eq(t[0].station, "aoi");
    ck_assert_int_eq(t[0].files, 2);
    ck_assert_int_eq(t[0].files_held, 1);
    ck_assert_int_eq(t[0].rows, 11);
    ck_assert_int_eq(t[0].taken, 4);
    ck_assert_int_eq(t[0].duplicate, 4);
    ck_assert_int_eq(t[0].held, 1);
    ck_assert_int_eq(t[0].blank, 2);
    ck_assert_int_eq(t[0].last_us, 220);
    ck_assert_str_eq(t[1].station, "repair"); /* silent in the period, and told */
    ck_assert_int_eq(t[1].files, 0);
    ck_assert_int_eq(t[1].last_us, 920);
    ck_assert_str_eq(t[2].station, "transfer");
    ck_assert_int_eq(t[2].files, 1);
    ck_assert_int_eq(t[2].sightings, 1);
    ck_assert_ptr_null(t[3].station);
    ck_assert_int_eq(t[3].files, 1);
    ck_assert_int_eq(t[3].files_held, 1);
    ck_assert_int_eq(t[3].last_us, AN_NO_INSTANT);
    OK(an_store_traffic(store, 121, 200, arena, &t, &count, &err)); /* the end is not in it */
    ck_assert_uint_eq(count, 3);
    ck_assert_int_eq(t[2].files, 0);
}
END_TEST

/* ---- limits --------------------------------------------------------------------------------------------- */

START_TEST(limits_and_their_decisions)
{
    int64_t stream = 0;
    struct an_limits_record *out = NULL;
    size_t count = 0;
    struct in_hand hand = begin_file("T");
    OK(an_store_stream(store, "s", "c", "", &stream, &err));
    put_sample(&hand, stream, 5, 1);
    end_file(&hand, 9);
    struct an_limits_record in = {.stream_id = stream,
                                  .known_us = AN_NO_INSTANT,
                                  .baseline_from_us = 1,
                                  .baseline_until_us = 2,
                                  .baseline_samples = 25,
                                  .model = "{\"centre\":0.5}",
                                  .exclusions = "[]"};
    OK(an_store_put_limits(store, &in, &err));
    ck_assert_int_eq(in.limits_id, 1);
    OK(an_store_limits(store, stream, arena, &out, &count, &err));
    ck_assert_uint_eq(count, 1);
    ck_assert_int_eq(out->state, AN_LIMITS_PROPOSED);
    ck_assert_int_eq(out->locked_us, AN_NO_INSTANT);
    ck_assert_int_eq(out->in_force_us, AN_NO_INSTANT);
    ck_assert_ptr_null(out->author);
    ck_assert_ptr_null(out->reason);
    ck_assert_int_eq(out->baseline_from_us, 1);
    ck_assert_int_eq(out->baseline_until_us, 2);
    ck_assert_int_eq(out->baseline_samples, 25);
    ck_assert_str_eq(out->model, in.model);
    ck_assert_str_eq(out->exclusions, "[]");
    ck_assert_int_gt(out->known_us, 0);
    FAILS(an_store_lock_limits(store, 1, 7, "", "why", &err), AN_BAD_USAGE);
    FAILS(an_store_lock_limits(store, 1, 7, "me", NULL, &err), AN_BAD_USAGE);
    FAILS(an_store_refuse_limits(store, 1, "me", "", &err), AN_BAD_USAGE);
    FAILS(an_store_lock_limits(store, 9, 7, "me", "why", &err), AN_NOT_FOUND);
    OK(an_store_lock_limits(store, 1, 7, "me", "why", &err));
    FAILS(an_store_lock_limits(store, 1, 8, "me", "why", &err), AN_BAD_USAGE);
    FAILS(an_store_refuse_limits(store, 1, "me", "why", &err), AN_BAD_USAGE);
    /* inside a transaction of the caller's, which may still be undone */
    OK(an_store_begin(store, &err));
    OK(an_store_put_limits(store, &in, &err));
    OK(an_store_lock_limits(store, in.limits_id, 8, "me", "why", &err));
    an_store_rollback(store);
    in.exclusions = NULL;
    OK(an_store_put_limits(store, &in, &err));
    ck_assert_int_eq(in.limits_id, 2);
    OK(an_store_refuse_limits(store, 2, "you", "too few", &err));
    OK(an_store_limits(store, 0, arena, &out, &count, &err));
    ck_assert_uint_eq(count, 2);
    ck_assert_int_eq(out[0].state, AN_LIMITS_LOCKED);
    ck_assert_int_eq(out[0].in_force_us, 7);
    ck_assert_int_gt(out[0].locked_us, 0);
    ck_assert_str_eq(out[0].author, "me");
    ck_assert_str_eq(out[0].reason, "why");
    ck_assert_ptr_nonnull(out[0].system_user);
    ck_assert_ptr_nonnull(out[0].host);
    ck_assert_int_eq(out[1].state, AN_LIMITS_REFUSED);
    ck_assert_int_eq(out[1].in_force_us, AN_NO_INSTANT);
    ck_assert_str_eq(out[1].author, "you");
    ck_assert_ptr_null(out[1].exclusions);
    in.stream_id = 99;
    FAILS(an_store_put_limits(store, &in, &err), AN_BUG); /* no such stream */
}
END_TEST

/* ---- signals ----------------------------------------------------------------------------------------------- */

static int64_t put_signal(int64_t stream, int64_t sample, int64_t at_us, const int64_t *hits,
                          size_t count)
{
    struct an_signal_record signal = {.stream_id = stream,
                                      .first_sample_id = sample,
                                      .first_us = at_us - 1,
                                      .signal_sample_id = sample,
                                      .signal_us = at_us,
                                      .panel = 1,
                                      .side = -1,
                                      .rule = 3};
    OK(an_store_put_signal(store, &signal, &err));
    for (size_t k = 0; k < count; k++) {
        struct an_hit_record hit = {.signal_id = signal.signal_id,
                                    .sample_id = sample,
                                    .at_us = hits[k],
                                    .window_first_sample_id = sample,
                                    .rule = (int)(count - k),
                                    .panel = 1,
                                    .side = -1,
                                    .value = 1.25,
                                    .z = k ? -3.5 : (double)NAN};
        OK(an_store_put_hit(store, &hit, &err));
    }
    return signal.signal_id;
}

START_TEST(answers_to_signals)
{
    int64_t stream = 0;
    struct an_answer *answers = NULL;
    struct an_signal_record *signals = NULL;
    size_t count = 0;
    struct in_hand hand = begin_file("T");
    OK(an_store_stream(store, "s", "c", "", &stream, &err));
    const int64_t sample = put_sample(&hand, stream, 5, 1);
    end_file(&hand, 9);
    OK(an_store_begin(store, &err));
    const int64_t signal = put_signal(stream, sample, 5, (int64_t[]){5}, 1);
    OK(an_store_commit(store, &err));
    struct an_answer first = {
        .signal_id = signal, .author = "L. Engineer", .cause = "stamp worn", .action = "changed"};
    struct an_answer second = {.signal_id = signal, .author = "Q", .reason = "seen again"};
    OK(an_store_put_answer(store, &first, &err));
    OK(an_store_put_answer(store, &second, &err));
    /* what is refused leaves nothing behind */
    struct an_answer nobody = {.signal_id = signal, .author = "", .cause = "x"};
    struct an_answer empty = {.signal_id = signal, .author = "Q", .cause = ""};
    struct an_answer lost = {.signal_id = 77, .author = "Q", .cause = "x"};
    FAILS(an_store_put_answer(store, &nobody, &err), AN_BAD_USAGE);
    FAILS(an_store_put_answer(store, &empty, &err), AN_BAD_USAGE);
    FAILS(an_store_put_answer(store, &lost, &err), AN_NOT_FOUND);
    OK(an_store_answers(store, 0, arena, &answers, &count, &err));
    ck_assert_uint_eq(count, 2);
    OK(an_store_answers(store, signal, arena, &answers, &count, &err));
    ck_assert_uint_eq(count, 2);
    ck_assert_str_eq(answers[0].cause, "stamp worn");
    ck_assert_str_eq(answers[0].action, "changed");
    ck_assert_ptr_null(answers[0].containment);
    ck_assert_ptr_null(answers[0].reason);
    ck_assert_str_eq(answers[0].author, "L. Engineer");
    ck_assert_str_eq(answers[1].reason, "seen again");
    ck_assert(answers[0].system_user[0] && answers[0].host[0] && answers[1].known_us > 0);
    OK(an_store_signals(store, 0, 0, 1000, arena, &signals, &count, &err));
    ck_assert(count == 1 && signals[0].answers == 2);
}
END_TEST

START_TEST(signals_and_hits)
{
    int64_t streams[2];
    int64_t samples[2];
    struct an_signal_record *signals = NULL;
    struct an_hit_record *hits = NULL;
    size_t count = 0;
    struct in_hand hand = begin_file("T");
    OK(an_store_stream(store, "s", "c", "", &streams[0], &err));
    OK(an_store_stream(store, "s", "d", "", &streams[1], &err));
    samples[0] = put_sample(&hand, streams[0], 5, 1);
    samples[1] = put_sample(&hand, streams[1], 5, 1);
    end_file(&hand, 9);
    FAILS(an_store_put_signal(store, &(struct an_signal_record){.stream_id = 1}, &err), AN_BUG);
    OK(an_store_begin(store, &err));
    ck_assert_int_eq(put_signal(streams[0], samples[0], 100, (int64_t[]){100, 110, 110}, 3), 1);
    ck_assert_int_eq(put_signal(streams[1], samples[1], 90, (int64_t[]){90}, 1), 2);
    ck_assert_int_eq(put_signal(streams[0], samples[0], 50, (int64_t[]){50}, 1), 3);
    FAILS(an_store_put_hit(store, &(struct an_hit_record){.signal_id = 77}, &err), AN_NOT_FOUND);
    OK(an_store_commit(store, &err));
    OK(an_store_signals(store, 0, 0, 1000, arena, &signals, &count, &err));
    ck_assert_uint_eq(count, 3); /* by signal_us */
    ck_assert_int_eq(signals[0].signal_id, 3);
    ck_assert_int_eq(signals[1].signal_id, 2);
    ck_assert_int_eq(signals[2].signal_id, 1);
    ck_assert_int_eq(signals[2].stream_id, streams[0]);
    ck_assert_int_eq(signals[2].limits_id, 0);
    ck_assert_int_eq(signals[2].first_us, 99);
    ck_assert_int_eq(signals[2].signal_us, 100);
    ck_assert_int_eq(signals[2].first_sample_id, samples[0]);
    ck_assert_int_eq(signals[2].signal_sample_id, samples[0]);
    ck_assert_int_eq(signals[2].panel, 1);
    ck_assert_int_eq(signals[2].side, -1);
    ck_assert_int_eq(signals[2].rule, 3);
    ck_assert(!signals[2].withdrawn);
    ck_assert_int_eq(signals[2].answers, 0);
    OK(an_store_signals(store, streams[0], 101, 111, arena, &signals, &count, &err));
    ck_assert_uint_eq(count, 1); /* by its later hits */
    ck_assert_int_eq(signals[0].signal_id, 1);
    OK(an_store_signals(store, streams[0], 101, 110, arena, &signals, &count, &err));
    ck_assert_uint_eq(count, 0);
    OK(an_store_hits(store, 1, arena, &hits, &count, &err));
    ck_assert_uint_eq(count, 3);
    ck_assert_int_eq(hits[0].at_us, 100);
    ck_assert_double_nan(hits[0].z);
    ck_assert(hits[1].z == -3.5 && hits[1].value == 1.25);
    OK(an_store_stream_hits(store, streams[0], 100, arena, &hits, &count, &err));
    ck_assert_uint_eq(count, 3);
    ck_assert_int_eq(hits[1].rule, 1); /* same time: by rule */
    ck_assert_int_eq(hits[2].rule, 2);
    /* withdrawn one by one: the signal stands until the last */
    OK(an_store_begin(store, &err));
    OK(an_store_withdraw_hit(store, hits[1].hit_id, "late samples", &err));
    OK(an_store_withdraw_hit(store, hits[1].hit_id, "late samples", &err)); /* once is enough */
    FAILS(an_store_withdraw_hit(store, 99, "late samples", &err), AN_NOT_FOUND);
    OK(an_store_commit(store, &err));
    OK(an_store_stream_hits(store, streams[0], 100, arena, &hits, &count, &err));
    ck_assert_uint_eq(count, 2);
    OK(an_store_signals(store, streams[0], 100, 111, arena, &signals, &count, &err));
    ck_assert(count == 1 && !signals[0].withdrawn);
    OK(an_store_begin(store, &err));
    OK(an_store_withdraw_hit(store, hits[0].hit_id, "late samples", &err));
    OK(an_store_withdraw_hit(store, hits[1].hit_id, "late samples", &err));
    OK(an_store_commit(store, &err));
    OK(an_store_signals(store, streams[0], 100, 111, arena, &signals, &count, &err));
    ck_assert(count == 1 && signals[0].withdrawn);
    OK(an_store_hits(store, 1, arena, &hits, &count, &err));
    ck_assert(count == 3 && hits[0].withdrawn && hits[1].withdrawn && hits[2].withdrawn);
}
END_TEST

START_TEST(judged_so_far)
{
    int64_t stream = 0;
    struct an_judged judged = {0};
    bool found = true;
    struct in_hand hand = begin_file("T");
    OK(an_store_stream(store, "s", "c", "", &stream, &err));
    end_file(&hand, 9);
    OK(an_store_judged(store, stream, &judged, &found, &err));
    ck_assert(!found);
    judged = (struct an_judged){stream, 0, 0, AN_NO_INSTANT, 0};
    FAILS(an_store_put_judged(store, &judged, &err), AN_BUG);
    OK(an_store_begin(store, &err));
    OK(an_store_put_judged(store, &judged, &err));
    judged = (struct an_judged){stream, 0, 12, 345, 6};
    OK(an_store_put_judged(store, &judged, &err));
    OK(an_store_commit(store, &err));
    judged = (struct an_judged){0};
    OK(an_store_judged(store, stream, &judged, &found, &err));
    ck_assert(found);
    ck_assert_int_eq(judged.stream_id, stream);
    ck_assert_int_eq(judged.limits_id, 0);
    ck_assert_int_eq(judged.newest_sample_id, 12);
    ck_assert_int_eq(judged.until_us, 345);
    ck_assert_int_eq(judged.samples, 6);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("streams");
    TCase *samples = tcase_create("samples");
    tcase_add_checked_fixture(samples, set_up, tear_down);
    tcase_add_test(samples, streams_by_name);
    tcase_add_test(samples, sample_returns);
    tcase_add_test(samples, samples_in_order_of_event_time);
    tcase_add_test(samples, samples_are_counted);
    tcase_add_test(samples, many_samples_in_one_pass);
    suite_add_tcase(suite, samples);
    TCase *held = tcase_create("held");
    tcase_add_checked_fixture(held, set_up, tear_down);
    tcase_add_test(held, held_rows);
    tcase_add_test(held, held_counts);
    tcase_add_test(held, traffic_of_stations);
    suite_add_tcase(suite, held);
    TCase *decided = tcase_create("decided");
    tcase_add_checked_fixture(decided, set_up, tear_down);
    tcase_add_test(decided, limits_and_their_decisions);
    tcase_add_test(decided, signals_and_hits);
    tcase_add_test(decided, answers_to_signals);
    tcase_add_test(decided, judged_so_far);
    suite_add_tcase(suite, decided);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
