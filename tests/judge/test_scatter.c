/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Scatter of counts as news: told once a change, the same however a sequence is cut into checks and
 * whatever comes late, and on the page of the stream.
 */
#include "judge/scatter.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char stations[] =
    "  test:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      lost: {title: emitters lost, count: n, opportunities: m, family: u_prime}\n"
    "      share: {count: n, opportunities: m, family: p}\n"
    "      quiet: {count: n, opportunities: m, family: u_prime, signals: no}\n"
    "      slow: {count: n, opportunities: m, family: u, weighted: ewma}\n";

enum { BASE = 80, ALL = 400, FROM = 200, UNTIL = 320 };

static void setup(void)
{
    scene_open(stations);
}

static int64_t at_of(int i)
{
    return SCENE_START + i * (10 * AN_MINUTE_US);
}

/* About 400 counts of 100,000, whose scatter is three times as wide from FROM to UNTIL. */
static void make(double count[ALL])
{
    struct scene_random random = {2026};
    for (int i = 0; i < ALL; i++) {
        const double wide = i >= FROM && i < UNTIL ? 3 : 1;
        count[i] = round(400 + 30 * wide * scene_normal(&random));
    }
}

static void put(const char *name, const double count[ALL], int from, int until, int but)
{
    scene_file("test");
    for (int i = from; i < until; i++) {
        char serial[24];
        (void)snprintf(serial, sizeof serial, "T-%05d", i);
        if (i != but) {
            (void)scene_count(name, "", serial, at_of(i), count[i], 1e5);
        }
    }
    scene_file_end();
}

struct told {
    size_t count;
    int side[8];
    int64_t at_us[8], first_us[8];
    double value[8], z[8];
};

static struct told told_of(const char *stream)
{
    struct told told = {0};
    struct an_hit_record *hits = NULL;
    size_t count = 0;
    OK(an_store_stream_hits(scene.store, scene_find(stream).stream_id, INT64_MIN, scene.arena,
                            &hits, &count, &scene.err));
    for (size_t h = 0; h < count; h++) {
        if (hits[h].rule != AN_RULE_SCATTER) {
            continue;
        }
        ck_assert_uint_lt(told.count, 8);
        ck_assert_int_eq(hits[h].panel, 1);
        told.side[told.count] = hits[h].side;
        told.at_us[told.count] = hits[h].at_us;
        told.value[told.count] = hits[h].value;
        told.z[told.count] = hits[h].z;
        told.first_us[told.count++] = hits[h].window_first_sample_id;
    }
    return told;
}

static void check_same(const struct told *a, const struct told *b)
{
    ck_assert_uint_eq(a->count, b->count);
    for (size_t i = 0; i < a->count; i++) {
        ck_assert(a->side[i] == b->side[i] && a->at_us[i] == b->at_us[i] &&
                  a->value[i] == b->value[i] && a->z[i] == b->z[i]);
    }
}

static struct told whole(const double count[ALL])
{
    put("lost", count, 0, BASE, -1);
    (void)scene_limits("test.lost", BASE);
    scene_lock("test.lost");
    put("lost", count, BASE, ALL, -1);
    (void)scene_check();
    return told_of("test.lost");
}

/* Once when it grows, once when it is over, nothing between. Blocks of 40 from the start of the limits:
 * the changes at 200 and 320 are told at the ends of their blocks, 239 and 359. */
START_TEST(told_once)
{
    double count[ALL];
    struct an_signal *signals = NULL;
    size_t n = 0;
    size_t found = 0;
    make(count);
    const struct told told = whole(count);
    ck_assert_uint_eq(told.count, 2);
    ck_assert(told.side[0] == 1 && told.at_us[0] == at_of(239));
    ck_assert(told.side[1] == -1 && told.at_us[1] == at_of(359));
    ck_assert(told.z[0] > 3 && told.z[1] < -3);
    ck_assert(an_scatter_p(told.z[0]) < AN_SCATTER_CHANCE);
    const struct an_check_result again = scene_check();
    ck_assert(again.new_hits == 0 && again.withdrawn_hits == 0);
    OK(an_signals(scene.store, scene.line, 0, AN_NO_INSTANT, AN_NO_INSTANT, scene.arena, &signals,
                  &n, &scene.err));
    for (size_t s = 0; s < n; s++) {
        if (signals[s].record.rule == AN_RULE_SCATTER) {
            found++;
            ck_assert(signals[s].item_count == 0 && strcmp(signals[s].unit, "times") == 0);
        }
        if (signals[s].record.rule == AN_RULE_SCATTER && signals[s].record.side > 0) {
            ck_assert_str_eq(signals[s].code, "S+");
            ck_assert_msg(strstr(signals[s].sentence, "The scatter of emitters lost has grown: "
                                                      "dispersion factor ") &&
                              strstr(signals[s].sentence, " in 40 samples from ") &&
                              strstr(signals[s].sentence, " in the limits (p "),
                          "%s", signals[s].sentence);
            ck_assert(signals[s].size > 2 && signals[s].size < 4);
        }
    }
    ck_assert_uint_eq(found, 2);
    struct an_stream_view view;
    const struct an_stream stream = scene_find("test.lost");
    OK(an_judge_view(scene.store, scene.line, &stream, at_of(220), AN_NO_INSTANT, 0, scene.arena,
                     &view, &scene.err));
    ck_assert_uint_eq(view.hit_count[1], 2); /* the first began before the view */
    ck_assert(view.hits[1][0].first == 0 && view.hits[1][0].last == 19 &&
              view.hits[1][1].last - view.hits[1][1].first == AN_SCATTER_BLOCK - 1);
}
END_TEST

/* In any cut the same news to the last bit. */
START_TEST(any_cut)
{
    static const int steps[] = {1, 7, 40, 133};
    double count[ALL];
    make(count);
    const struct told at_once = whole(count);
    scene_close();
    scene_open(stations);
    put("lost", count, 0, BASE, -1);
    (void)scene_limits("test.lost", BASE);
    scene_lock("test.lost");
    (void)scene_check();
    for (int i = BASE; i < ALL; i += steps[_i]) {
        put("lost", count, i, i + steps[_i] < ALL ? i + steps[_i] : ALL, -1);
        const struct an_check_result result = scene_check();
        ck_assert_uint_eq(result.withdrawn_hits, 0);
    }
    const struct told bit_by_bit = told_of("test.lost");
    check_same(&at_once, &bit_by_bit);
}
END_TEST

/* A sample that comes late moves all later blocks: what then stands is what one check would have found. */
START_TEST(late)
{
    static const int missing[] = {85, 205, 238, 330, 398};
    double count[ALL];
    make(count);
    const struct told at_once = whole(count);
    scene_close();
    scene_open(stations);
    put("lost", count, 0, BASE, -1);
    (void)scene_limits("test.lost", BASE);
    scene_lock("test.lost");
    for (int i = BASE; i < ALL; i += 11) {
        put("lost", count, i, i + 11 < ALL ? i + 11 : ALL, missing[_i]);
        (void)scene_check();
    }
    put("lost", count, missing[_i], missing[_i] + 1, -1);
    (void)scene_check();
    struct told then = told_of("test.lost");
    check_same(&at_once, &then);
    const struct an_check_result again = scene_check();
    ck_assert(again.new_hits == 0 && again.withdrawn_hits == 0);
}
END_TEST

/* New limits begin anew; a plain chart is held against the scatter that its model says. */
START_TEST(of_plain_charts)
{
    double count[ALL];
    make(count); /* sigma 30 where sqrt(400) is 20 */
    for (int i = FROM; i < UNTIL; i++) {
        count[i] = count[i - 120];
    }
    put("share", count, 0, ALL, -1);
    scene_lock_known("test.share", "share", 0.004, 0.0002);
    (void)scene_check();
    struct told told = told_of("test.share");
    ck_assert(told.count == 1 && told.side[0] == 1);
    ck_assert(told.at_us[0] == at_of(39) || told.at_us[0] == at_of(79));
    ck_assert(told.value[0] > 1.2 && told.value[0] < 2);
}
END_TEST

/* Charts with memory and those that are only charted are not watched. */
START_TEST(not_watched)
{
    double count[ALL];
    make(count);
    put("slow", count, 0, BASE, -1);
    put("quiet", count, 0, BASE, -1);
    (void)scene_limits("test.slow", BASE);
    (void)scene_limits("test.quiet", BASE);
    scene_lock("test.slow");
    scene_lock("test.quiet");
    put("slow", count, BASE, ALL, -1);
    put("quiet", count, BASE, ALL, -1);
    (void)scene_check();
    ck_assert(told_of("test.slow").count == 0 && told_of("test.quiet").count == 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("scatter of counts");
    TCase *tcase = tcase_create("scatter");
    tcase_set_timeout(tcase, 180);
    tcase_add_checked_fixture(tcase, setup, scene_close);
    tcase_add_test(tcase, told_once);
    tcase_add_loop_test(tcase, any_cut, 0, 4);
    tcase_add_loop_test(tcase, late, 0, 5);
    tcase_add_test(tcase, of_plain_charts);
    tcase_add_test(tcase, not_watched);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
