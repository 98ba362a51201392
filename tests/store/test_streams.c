/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Streams by name, and their samples in order of event time. */
#include "andamento/base/instant.h"
#include "support_hand.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

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

int main(void)
{
    Suite *suite = suite_create("streams");
    TCase *tcase = tcase_create("all");
    tcase_add_checked_fixture(tcase, fixture_set_up, fixture_tear_down);
    tcase_add_test(tcase, streams_by_name);
    tcase_add_test(tcase, sample_returns);
    tcase_add_test(tcase, samples_in_order_of_event_time);
    tcase_add_test(tcase, samples_are_counted);
    tcase_add_test(tcase, many_samples_in_one_pass);
    suite_add_tcase(suite, tcase);
    return hand_run(suite);
}
