/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Signals told: size, onset, items, upstream batch, sentence and JSON, on streams whose limits are
 * exactly known. The sentences stand as a table: whoever changes the wording sees what changes.
 */
#include "andamento/base/text.h"
#include "support.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static const char stations[] =
    "  transfer:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    links:\n"
    "      - {column: carrier, kind: carrier, role_column: colour}\n"
    "    characteristics:\n"
    "      dx: &dx\n"
    "        title: placement offset x\n"
    "        column: v\n"
    "        unit: um\n"
    "        family: individuals\n"
    "        split: [colour, head]\n"
    "        ribbon: {kind: carrier}\n"
    "        rules: [beyond_limit, run_one_side, alternating, hugging_centre]\n"
    "      dy: {column: w, unit: um, family: individuals, ribbon: {column: carrier}}\n"
    "      repairs:\n"
    "        title: repairs\n"
    "        count: k\n"
    "        opportunities: n\n"
    "        per: million\n"
    "        family: u\n"
    "  incoming:\n"
    "    time: {column: at}\n"
    "    item: {kind: lot, column: lot}\n"
    "    characteristics:\n"
    "      viscosity: {column: v, unit: Pa.s, family: individuals}\n"
    "  lumen:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      light: {title: luminance, column: v, unit: cd/m2, split: colour}\n"
    "  assembly:\n"
    "    time: {column: at}\n"
    "    item: {kind: wall, column: wall}\n"
    "    links:\n"
    "      - {column: tile, kind: tile}\n"
    "    characteristics:\n"
    "      gap: {column: v, unit: um}\n";

static void setup(void)
{
    scene_open(stations);
}

static int64_t at_of(int i)
{
    return SCENE_START + i * (10 * AN_MINUTE_US);
}

static const char *serial_of(int i)
{
    return an_arena_printf(scene.arena, "T-%04d", i);
}

/* Quiet values: small steps without pattern, mean 0 over each block of five. */
static double quiet(int i)
{
    static const double steps[5] = {0.3, -0.2, 0.05, -0.35, 0.2};

    return steps[i % 5];
}

static struct an_signal *tell(size_t *count)
{
    struct an_signal *signals = NULL;

    OK(an_signals(scene.store, scene.line, 0, AN_NO_INSTANT, AN_NO_INSTANT, scene.arena, &signals,
                  count, &scene.err));
    return signals;
}

/* The one signal of the level panel. */
static const struct an_signal *level_signal(void)
{
    size_t count = 0;
    const struct an_signal *signals = tell(&count);
    const struct an_signal *found = NULL;

    for (size_t i = 0; i < count; i++) {
        if (signals[i].record.panel == 0) {
            ck_assert_ptr_null(found);
            found = &signals[i];
        }
    }
    ck_assert_ptr_nonnull(found);
    return found;
}

static void in_wall(int from, int until, const char *wall)
{
    for (int i = from; i < until; i++) {
        scene_link("wall", wall, "tile", serial_of(i), NULL);
    }
}

/* ---- a step --------------------------------------------------------------------------------------------- */
static void put_step(const char *split, int n, int step, double by)
{
    for (int i = 0; i < n; i++) {
        (void)scene_plain("dx", split, serial_of(i), at_of(i), quiet(i) + (i >= step ? by : 0));
    }
}

START_TEST(step_with_items_and_batch)
{
    scene_file("transfer");
    put_step("colour=R,head=H2", 80, 60, 0.6);
    for (int i = 0; i < 80; i++) { /* carriers change every 20 tiles; another colour's at 58 */
        char carrier[16];
        (void)snprintf(carrier, sizeof carrier, "C-%d", 110 + i / 20);
        scene_link("tile", serial_of(i), "carrier", carrier, "R");
        scene_link("tile", serial_of(i), "carrier", i < 58 ? "C-900" : "C-901", "G");
    }
    in_wall(40, 63, "WALL-7");
    scene_file_end();
    scene_lock_known("transfer.dx@colour=R,head=H2", "dx", 0, 0.25);
    (void)scene_check();
    const struct an_signal *s = level_signal();
    ck_assert(s->has_change);
    ck_assert_int_eq(s->change.kind, AN_CHANGE_STEP);
    ck_assert_int_eq(s->onset_us, at_of(60)); /* exactly where it was put */
    ck_assert_double_eq_tol(s->size, 0.6, 1e-9);
    ck_assert_double_eq_tol(s->size_sigmas, 2.4, 1e-9);
    ck_assert_int_le(s->onset_earliest_us, s->onset_us);
    ck_assert_int_ge(s->onset_latest_us, s->onset_us);
    ck_assert_uint_eq(s->item_count, 20);
    ck_assert_str_eq(s->item_serials[0], "T-0060");
    ck_assert_str_eq(s->last_serial, "T-0079");
    ck_assert_uint_eq(s->product_in_next, 3);
    ck_assert_str_eq(s->next_kind, "wall");
    ck_assert_str_eq(s->ribbon_note, "began with carrier C-113");
    ck_assert(s->open && s->ongoing);
    ck_assert_str_eq(s->code, "B+");
    ck_assert_str_eq(s->sentence,
                     "Placement offset x of colour R, head H2 rose by 0.6 um (2.4 sigma) since "
                     "16:00 on 2 March (between 15:50 and 16:00): above the upper control limit, "
                     "later 9 points in a row above the centre; 20 tiles carry it, 3 of them are "
                     "in walls; it began with carrier C-113.");
}
END_TEST

/* Batches that change with every item explain nothing. */
START_TEST(batches_of_one_are_no_news)
{
    scene_file("transfer");
    put_step("colour=R,head=H2", 80, 60, 0.6);
    for (int i = 0; i < 80; i++) {
        char carrier[16];
        (void)snprintf(carrier, sizeof carrier, "C-%d", 100 + i);
        scene_link("tile", serial_of(i), "carrier", carrier, "R");
    }
    scene_file_end();
    scene_lock_known("transfer.dx@colour=R,head=H2", "dx", 0, 0.25);
    (void)scene_check();
    ck_assert_ptr_null(level_signal()->ribbon_note);
}
END_TEST

/* The ribbon that intake wrote into the samples; only who is new is named. */
START_TEST(batch_from_the_sample)
{
    scene_file("transfer");
    for (int i = 0; i < 60; i++) {
        scene.ribbon = i < 40 ? "C-1 + C-2" : "C-2 + C-3";
        (void)scene_plain("dy", "", serial_of(i), at_of(i), quiet(i) - (i >= 40 ? 0.7 : 0));
    }
    scene_file_end();
    scene_lock_known("transfer.dy", "dy", 0, 0.25);
    (void)scene_check();
    ck_assert_str_eq(level_signal()->ribbon_note, "began with carrier C-3");
}
END_TEST

/* ---- the table of sentences -------------------------------------------------------------------------------- */
enum shape { JUMP, TWO_POINTS, STEP_OVER, RAMP, RAMP_ENDED, ALTERNATING, HUGGING, RUN_FROM_START };

static double shaped(enum shape shape, int i)
{
    switch (shape) {
    case JUMP:
        return quiet(i) + (i == 50 ? 1.2 : 0);
    case TWO_POINTS: /* rising, but two points are no rate a day */
        return quiet(i) + (i == 50 ? 0.9 : i == 51 ? 1.8 : 0);
    case STEP_OVER:
        return quiet(i) - (i >= 30 && i < 42 ? 0.6 : 0);
    case RAMP:
        return quiet(i) + (i >= 30 ? 0.05 * (i - 29) : 0);
    case RAMP_ENDED:
        return quiet(i) - (i >= 20 && i < 40 ? 0.05 * (i - 19) : 0);
    case ALTERNATING:
        return i < 20 ? quiet(i) : (i % 2 ? 0.35 : -0.35) + 0.2 * quiet(i);
    case HUGGING:
        return i < 40 ? (i % 3 == 0 ? 0.3 : i % 3 == 1 ? -0.4 : 0.1) : 0.1 * quiet(i);
    case RUN_FROM_START:
        return 0.3 + 0.5 * quiet(i);
    }
    return 0;
}

static const struct {
    enum shape shape;
    int n;
    int tiles_in_wall; /* counted from the last */
    const char *split;
    const char *sentence;
} rows[] = {
    {JUMP, 60, 0, "colour=G,head=H1",
     "Placement offset x of colour G, head H1 stood 1.5 um (6.0 sigma) above the centre in one "
     "sample at 14:20 on 2 March: above the upper control limit; 1 tile carries it (T-0050), not "
     "yet in a wall."},
    {JUMP, 60, 10, "colour=G,head=H1",
     "Placement offset x of colour G, head H1 stood 1.5 um (6.0 sigma) above the centre in one "
     "sample at 14:20 on 2 March: above the upper control limit; 1 tile carries it (T-0050), and "
     "is in a wall."},
    {TWO_POINTS, 70, 0, "colour=G,head=H1",
     "Placement offset x of colour G, head H1 rose by 1.4 um (5.6 sigma) from 14:20 on 2 March to "
     "14:30: above the upper control limit; 2 tiles carry it, none of them in a wall yet."},
    {STEP_OVER, 70, 0, "colour=G,head=H1",
     "Placement offset x of colour G, head H1 fell by 0.62 um (2.5 sigma) from 11:10 on 2 March "
     "(between 11:00 and 11:10) to 12:50: below the lower control limit, later 9 points in a row "
     "below the centre; 11 tiles carry it, none of them in a wall yet."},
    {RAMP, 50, 1, "colour=G,head=H1",
     "Placement offset x of colour G, head H1 has been rising since 10:50 on 2 March (between "
     "10:20 and 11:40), by 0.97 um (3.9 sigma) so far, 6.6 um a day: above the upper control "
     "limit, later 9 points in a row above the centre; 21 tiles carry it, 1 of them is in a wall."},
    {RAMP_ENDED, 70, 0, "colour=G,head=H1",
     "Placement offset x of colour G, head H1 fell steadily from 09:20 on 2 March (between 08:40 "
     "and 10:00) to 12:30, by 1 um (4.0 sigma) in all, 7.3 um a day: below the lower control "
     "limit, later 9 points in a row below the centre; 20 tiles carry it, none of them in a wall "
     "yet."},
    {ALTERNATING, 40, 0, "colour=G,head=H1",
     "Placement offset x of colour G, head H1 alternates up and down, as over-adjustment does, "
     "since 08:20 on 2 March, in steps of 0.62 um (2.5 sigma) on average: 14 points in a row going "
     "up and down by turns; 26 tiles carry it, none of them in a wall yet."},
    {HUGGING, 60, 0, "colour=G,head=H1",
     "Placement offset x of colour G, head H1 stays closer to its centre than its limits let "
     "expect, since 12:40 on 2 March: 15 points in a row within 1 sigma of the centre; 20 tiles "
     "carry it, none of them in a wall yet."},
    {RUN_FROM_START, 10, 2, "colour=G,head=H1",
     "Placement offset x of colour G, head H1 stood 0.3 um (1.2 sigma) above the centre since "
     "06:00 on 2 March: 9 points in a row above the centre; 10 tiles carry it, 2 of them are in "
     "walls."},
};

START_TEST(sentences)
{
    const int n = rows[_i].n;

    scene_file("transfer");
    for (int i = 0; i < n; i++) {
        (void)scene_plain("dx", rows[_i].split, serial_of(i), at_of(i), shaped(rows[_i].shape, i));
    }
    in_wall(n - rows[_i].tiles_in_wall, n, "WALL-7");
    scene_file_end();
    scene_lock_known("transfer.dx@colour=G,head=H1", "dx", 0, 0.25);
    (void)scene_check();
    ck_assert_str_eq(level_signal()->sentence, rows[_i].sentence);
}
END_TEST

/* ---- what a signal covers ---------------------------------------------------------------------------------- */
static void put_levels(int n, const double by[])
{
    scene_file("transfer");
    for (int i = 0; i < n; i++) {
        (void)scene_plain("dx", "colour=G,head=H1", serial_of(i), at_of(i), quiet(i) + by[i]);
    }
    scene_file_end();
    scene_lock_known("transfer.dx@colour=G,head=H1", "dx", 0, 0.25);
    (void)scene_check();
}

/* A larger change later in the same episode is the likeliest; an item that a rule spoke at before it is
 * not left out of those at risk. */
START_TEST(no_hit_is_left_out)
{
    double by[70] = {0};
    for (int i = 50; i < 70; i++) {
        by[i] = i < 58 ? (i % 2 ? 0 : 0.8) : 3.0;
    }
    put_levels(70, by);
    const struct an_signal *s = level_signal();
    ck_assert_int_eq(s->hits[0].at_us, at_of(50));
    ck_assert_int_eq(s->onset_us, at_of(58));
    for (size_t h = 0; h < s->hit_count; h++) {
        const int i = (int)((s->hits[h].at_us - SCENE_START) / (10 * AN_MINUTE_US));
        bool listed = false;
        for (size_t k = 0; k < s->item_count; k++) {
            listed = listed || strcmp(s->item_serials[k], serial_of(i)) == 0;
        }
        ck_assert_msg(listed, "tile %d is not told", i);
    }
    ck_assert_str_eq(s->item_serials[0], "T-0050");
    ck_assert_uint_lt(s->item_count, 20); /* not those between */
}
END_TEST

/* An excursion that another signal tells is over: the next one does not begin in it. */
START_TEST(signals_do_not_overlap)
{
    double by[90] = {0};
    size_t count = 0;
    for (int i = 40; i < 44; i++) {
        by[i] = 2.0;
        by[i + 22] = 0.9;
    }
    put_levels(90, by);
    const struct an_signal *signals = tell(&count);
    ck_assert_uint_eq(count, 2);
    const size_t later = signals[0].record.signal_us > signals[1].record.signal_us ? 0 : 1;
    ck_assert_int_gt(signals[later].onset_us, at_of(43));
    ck_assert_int_gt(signals[later].onset_earliest_us, at_of(43));
}
END_TEST

/* ---- other sorts -------------------------------------------------------------------------------------------- */
START_TEST(counted_per_million)
{
    scene_file("transfer");
    for (int i = 0; i < 50; i++) {
        const double usual = 6 + i % 3; /* 70 per million of 1e5 */
        (void)scene_count("repairs", "", serial_of(i), at_of(i), usual + (i >= 40 ? 10 : 0), 1e5);
    }
    scene_file_end();
    scene_lock_known("transfer.repairs", "repairs", 70e-6, 26.5e-6);
    (void)scene_check();
    /* counts of the ten: 170 in a million looked at, 100 above 70; sigma sqrt(70e-6 / 1e5) */
    ck_assert_str_eq(
        level_signal()->sentence,
        "Repairs rose by 100 per million (3.8 sigma) since 12:40 on 2 March: above the "
        "upper control limit, later 9 points in a row above the centre; 10 tiles "
        "carry it, none of them in a wall yet.");
}
END_TEST

/* A step between two single values beyond the moving range's limit, neither beyond its own: charted,
 * not signalled. At 3 sigma that panel alone would speak at 2 P(Z > 3.686 / sqrt 2) = 0.0092 a point. */
START_TEST(spread_of_lots)
{
    size_t count = 0;

    scene_file("incoming");
    for (int i = 0; i < 30; i++) {
        char lot[16];
        (void)snprintf(lot, sizeof lot, "L-%02d", i);
        (void)scene_plain("viscosity", "", lot, at_of(i),
                          40 + (i == 20   ? 0.7
                                : i == 21 ? -0.7
                                          : quiet(i)));
    }
    scene_file_end();
    scene_lock_known("incoming.viscosity", "viscosity", 40, 0.3);
    (void)scene_check();
    (void)tell(&count);
    ck_assert_uint_eq(count, 0);
}
END_TEST

/* Spread inside items, of a stream with parts and of one that has none. */
START_TEST(spread_within_items)
{
    struct scene_random random = {2};
    size_t count = 0;

    scene_file("lumen");
    for (int i = 0; i < 60; i++) {
        double values[6];
        const double level = 500 + 2 * scene_normal(&random);
        for (int k = 0; k < 6; k++) {
            values[k] = level + (i >= 50 ? 4 : 1) * scene_normal(&random);
        }
        const struct scene_reading r = {.characteristic = "light",
                                        .split = "colour=W",
                                        .serial = serial_of(i),
                                        .at_us = at_of(i),
                                        .values = values,
                                        .n = 6,
                                        .decimals = 1};
        (void)scene_measure(&r);
    }
    scene_file_end();
    (void)scene_limits("lumen.light@colour=W", 40);
    scene_lock("lumen.light@colour=W");
    (void)scene_check();
    const struct an_signal *signals = tell(&count);
    for (size_t i = 0; i < count; i++) {
        if (signals[i].record.panel == 1) {
            ck_assert_str_eq(signals[i].sentence,
                             "The spread of luminance (colour W) within a tile rose by 3.1 cd/m2 "
                             "(10.3 sigma) since 14:20 on 2 March: above the upper control limit; "
                             "9 tiles carry it, none of them in a wall yet.");
            ck_assert_int_ge(signals[i].onset_us, at_of(50));
        }
    }
    ck_assert_uint_ge(count, 1);
}
END_TEST

/* Worst first: more product at risk before a larger step. */
START_TEST(worst_first)
{
    size_t count = 0;

    scene_file("transfer");
    for (int i = 0; i < 40; i++) {
        (void)scene_plain("dx", "colour=R,head=H1", serial_of(i), at_of(i),
                          quiet(i) + (i == 39 ? 4 : 0));
        (void)scene_plain("dx", "colour=R,head=H2", serial_of(i), at_of(i),
                          quiet(i) + (i >= 25 ? 0.6 : 0));
    }
    scene_file_end();
    scene_lock_known("transfer.dx@colour=R,head=H1", "dx", 0, 0.25);
    scene_lock_known("transfer.dx@colour=R,head=H2", "dx", 0, 0.25);
    (void)scene_check();
    const struct an_signal *signals = tell(&count);
    ck_assert_uint_ge(count, 2);
    ck_assert_str_eq(signals[0].stream.split, "colour=R,head=H2");
    for (size_t i = 1; i < count; i++) {
        ck_assert_uint_le(signals[i].item_count, signals[i - 1].item_count);
    }
    /* only what has a hit in the period is told */
    struct an_signal *early = NULL;
    OK(an_signals(scene.store, scene.line, 0, AN_NO_INSTANT, at_of(20), scene.arena, &early, &count,
                  &scene.err));
    ck_assert_uint_eq(count, 0);
}
END_TEST

/* Without its lists a signal is told the same; only open ones are told where only they are wanted. */
START_TEST(lists_are_left_out_where_not_wanted)
{
    size_t count = 0;
    size_t brief_count = 0;
    struct an_signal *brief = NULL;
    struct an_signals_wish wish = {
        .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .without_lists = true};

    scene_file("transfer");
    put_step("colour=R,head=H2", 80, 60, 0.6);
    put_step("colour=R,head=H1", 80, 30, -0.7);
    scene_file_end();
    scene_lock_known("transfer.dx@colour=R,head=H1", "dx", 0, 0.25);
    scene_lock_known("transfer.dx@colour=R,head=H2", "dx", 0, 0.25);
    (void)scene_check();
    const struct an_signal *signals = tell(&count);
    ck_assert_uint_ge(count, 2);
    OK(an_signals_wished(scene.store, scene.line, &wish, scene.arena, &brief, &brief_count,
                         &scene.err));
    ck_assert_uint_eq(brief_count, count);
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_eq(brief[i].record.signal_id, signals[i].record.signal_id);
        ck_assert_str_eq(brief[i].sentence, signals[i].sentence);
        ck_assert_str_eq(brief[i].code, signals[i].code);
        ck_assert_str_eq(brief[i].unit, signals[i].unit);
        ck_assert_str_eq(brief[i].first_serial, signals[i].first_serial);
        ck_assert_uint_eq(brief[i].item_count, signals[i].item_count);
        ck_assert_uint_eq(brief[i].hit_count, signals[i].hit_count);
        ck_assert_ptr_null(brief[i].hits);
        ck_assert_ptr_null(brief[i].item_ids);
        ck_assert_ptr_null(brief[i].item_serials);
        ck_assert_str_eq(signals[i].item_serials[0], signals[i].first_serial);
        ck_assert_str_eq(signals[i].item_serials[signals[i].item_count - 1],
                         signals[i].last_serial);
    }
    struct an_answer answer = {.signal_id = signals[0].record.signal_id,
                               .author = "A. Sarti",
                               .cause = "pad worn",
                               .reason = "seen"};
    OK(an_store_put_answer(scene.store, &answer, &scene.err));
    wish.open_only = true;
    OK(an_signals_wished(scene.store, scene.line, &wish, scene.arena, &brief, &brief_count,
                         &scene.err));
    ck_assert_uint_eq(brief_count, count - 1);
    for (size_t i = 0; i < brief_count; i++) {
        ck_assert(brief[i].open);
        ck_assert_int_eq(brief[i].record.signal_id, signals[i + 1].record.signal_id);
    }
}
END_TEST

/* JSON: every key there, times in UTC, sizes as told. */
START_TEST(json_of_a_signal)
{
    static const char *const keys[] = {"signal_id",
                                       "stream",
                                       "station",
                                       "characteristic",
                                       "split",
                                       "limits_id",
                                       "rule",
                                       "code",
                                       "panel",
                                       "side",
                                       "open",
                                       "ongoing",
                                       "first_sample_id",
                                       "first_at",
                                       "signal_sample_id",
                                       "signal_at",
                                       "last_sample_id",
                                       "last_at",
                                       "onset_sample_id",
                                       "onset_at",
                                       "onset_earliest",
                                       "onset_latest",
                                       "change",
                                       "size",
                                       "unit",
                                       "size_sigmas",
                                       "per_day",
                                       "item_kind",
                                       "item_count",
                                       "items_at_most",
                                       "items",
                                       "next_kind",
                                       "in_next",
                                       "ribbon_note",
                                       "hits",
                                       "sentence"};
    struct an_text text = {0};
    struct an_json json = an_json_into(&text, false);
    json_error_t wrong;

    scene_file("transfer");
    put_step("colour=R,head=H2", 80, 60, 0.6);
    in_wall(78, 80, "WALL-1");
    scene_file_end();
    scene_lock_known("transfer.dx@colour=R,head=H2", "dx", 0, 0.25);
    (void)scene_check();
    an_signal_json(&json, scene.line, level_signal());
    json_t *object = json_loads(an_text_of(&text), 0, &wrong);
    ck_assert_msg(json_is_object(object), "%s", wrong.text);
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        ck_assert_msg(json_object_get(object, keys[i]) != NULL, "no key %s", keys[i]);
    }
    ck_assert_uint_eq(json_object_size(object), sizeof keys / sizeof *keys);
    ck_assert_str_eq(json_string_value(json_object_get(object, "onset_at")),
                     "2026-03-02T15:00:00Z");
    ck_assert_str_eq(json_string_value(json_object_get(object, "change")), "step");
    ck_assert_str_eq(json_string_value(json_object_get(object, "side")), "above");
    ck_assert_str_eq(json_string_value(json_object_get(object, "item_kind")), "tile");
    ck_assert_double_eq_tol(json_number_value(json_object_get(object, "size")), 0.6, 1e-9);
    ck_assert_int_eq(json_integer_value(json_object_get(object, "in_next")), 2);
    ck_assert_uint_eq(json_array_size(json_object_get(object, "items")), 20);
    ck_assert(json_is_null(json_object_get(object, "per_day")));
    json_decref(object);
    an_text_free(&text);
}
END_TEST

/* A stream that the description lost is still told, without what only the description knows. */
START_TEST(stream_gone_from_the_description)
{
    struct an_line *line = scene.line;
    size_t count = 0;

    scene_file("transfer");
    put_step("colour=R,head=H2", 80, 60, 0.6);
    scene_file_end();
    scene_lock_known("transfer.dx@colour=R,head=H2", "dx", 0, 0.25);
    (void)scene_check();
    const char *name = line->stations[0].name;
    line->stations[0].name = "renamed";
    const struct an_signal *signals = tell(&count);
    ck_assert_uint_ge(count, 1);
    ck_assert_ptr_null(signals[0].characteristic);
    ck_assert_ptr_nonnull(strstr(signals[0].sentence, "it is no longer judged"));
    const struct an_stream stream = scene_find("transfer.dx@colour=R,head=H2");
    struct an_stream_view view;
    ck_assert_int_eq(an_judge_view(scene.store, line, &stream, AN_NO_INSTANT, AN_NO_INSTANT, 0,
                                   scene.arena, &view, &scene.err),
                     AN_BAD_CONFIG);
    line->stations[0].name = name;
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("signals");
    TCase *tc = tcase_create("signals");

    tcase_add_checked_fixture(tc, setup, scene_close);
    tcase_add_test(tc, step_with_items_and_batch);
    tcase_add_test(tc, batches_of_one_are_no_news);
    tcase_add_test(tc, batch_from_the_sample);
    tcase_add_loop_test(tc, sentences, 0, (int)(sizeof rows / sizeof *rows));
    tcase_add_test(tc, counted_per_million);
    tcase_add_test(tc, spread_of_lots);
    tcase_add_test(tc, spread_within_items);
    tcase_add_test(tc, no_hit_is_left_out);
    tcase_add_test(tc, signals_do_not_overlap);
    tcase_add_test(tc, worst_first);
    tcase_add_test(tc, lists_are_left_out_where_not_wanted);
    tcase_add_test(tc, json_of_a_signal);
    tcase_add_test(tc, stream_gone_from_the_description);
    suite_add_tcase(suite, tc);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
