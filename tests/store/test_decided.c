/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Limits and their decisions; signals with hits and withdrawals; how far a stream was judged. */
#include "andamento/base/instant.h"
#include "support_hand.h"

#include <math.h>
#include <string.h>

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
    Suite *suite = suite_create("decided");
    TCase *tcase = tcase_create("all");
    tcase_add_checked_fixture(tcase, fixture_set_up, fixture_tear_down);
    tcase_add_test(tcase, limits_and_their_decisions);
    tcase_add_test(tcase, signals_and_hits);
    tcase_add_test(tcase, answers_to_signals);
    tcase_add_test(tcase, judged_so_far);
    suite_add_tcase(suite, tcase);
    return hand_run(suite);
}
