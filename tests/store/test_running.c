/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where charts with memory stand: the latest state that no later judging has made wrong.
 */
#include "support.h"

#include <string.h>

struct row {
    int64_t from_us, at_us;
    const char *state;
};

/* The rows in the order they were written; then what holds before a time. */
static const struct {
    struct row rows[5];
    int64_t before_us;
    const char *holds; /* NULL: nothing */
} cases[] = {
    {{{10, 20, "[1]"}}, 20, NULL},
    {{{10, 20, "[1]"}}, 21, "[1]"},
    {{{10, 20, "[1]"}, {21, 30, "[2]"}}, 100, "[2]"},
    {{{10, 20, "[1]"}, {21, 30, "[2]"}}, 30, "[1]"},
    /* a late sample at 25: what stood at 30 is wrong, what stood at 20 holds */
    {{{10, 20, "[1]"}, {21, 30, "[2]"}, {25, 40, "[3]"}}, 35, "[1]"},
    {{{10, 20, "[1]"}, {21, 30, "[2]"}, {25, 40, "[3]"}}, 41, "[3]"},
    /* judged again from the very time of a state: it is not trusted */
    {{{10, 20, "[1]"}, {20, 40, "[2]"}}, 35, NULL},
    /* and from the start: nothing earlier holds */
    {{{10, 20, "[1]"}, {21, 30, "[2]"}, {5, 8, "[3]"}}, 100, "[3]"},
};

START_TEST(the_latest_that_holds)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct filled filled;
    struct an_running running;
    bool found = true;
    OK(an_store_open(scratch_path("line.store"), AN_STORE_CREATE, &store, &err));
    OK(fill_committed(store, 1, &filled, &err));
    OK(decide_all(store, &filled, &err));
    struct an_arena *arena = an_arena_open();
    OK(an_store_begin(store, &err));
    for (size_t i = 0; i < 5 && cases[_i].rows[i].state; i++) {
        const struct row *row = &cases[_i].rows[i];
        /* limits 2 are the other ones of the stream: decide_all() uses the first */
        running = (struct an_running){.stream_id = filled.stream_id,
                                      .limits_id = 2,
                                      .from_us = row->from_us + 10000,
                                      .at_us = row->at_us + 10000,
                                      .sample_id = filled.sample_id,
                                      .state = row->state};
        OK(an_store_put_running(store, &running, &err));
    }
    OK(an_store_commit(store, &err));
    OK(an_store_running(store, filled.stream_id, 2, cases[_i].before_us + 10000, arena, &running,
                        &found, &err));
    ck_assert_int_eq(found, cases[_i].holds != NULL);
    if (found) {
        ck_assert_str_eq(running.state, cases[_i].holds);
        ck_assert_int_eq(running.sample_id, filled.sample_id);
    }
    OK(an_store_running(store, filled.stream_id, 99, INT64_MAX, arena, &running, &found, &err));
    ck_assert(!found); /* other limits */
    an_arena_close(arena);
    an_store_close(store);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("store.running");
    TCase *tcase = tcase_create("running");
    tcase_add_checked_fixture(tcase, scratch_make, scratch_remove);
    tcase_add_loop_test(tcase, the_latest_that_holds, 0, (int)(sizeof cases / sizeof *cases));
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
