/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Charts on a transformed scale from proposal to sentence: readings are transformed one by one, what is
 * found stays with the limits, and a value without a place on the scale is a signal.
 */
#include "judge/scale.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char stations[] =
    "  bond:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      joint: {title: joint resistance, column: x, unit: ohm, subgroup: row, scale: ln,\n"
    "              spec: {upper: 5}}\n"
    "      found: {column: x, unit: ohm, subgroup: row, scale: box_cox}\n"
    "      moved: {column: x, unit: ohm, subgroup: row, scale: {box_cox: auto, shift: 3}}\n"
    "      curve: {column: x, unit: ohm, subgroup: row, scale: johnson}\n"
    "      slow: {column: x, unit: ohm, subgroup: row, scale: ln, weighted: ewma}\n"
    "      sums: {column: x, unit: ohm, subgroup: row, scale: ln, weighted: cusum}\n"
    "      ratio: {derived: {how: min_over_max, of: several}, scale: ln}\n"
    "      several: {column: x, unit: ohm}\n"
    "  wire:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      edge: {column: r, unit: ohm, family: xbar_s, scale: ln}\n"
    "  zone:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      heat: {column: r, unit: W, position_column: site, scale: ln}\n";

enum { BASE = 80, ALL = 120 };

static void setup(void)
{
    scene_open(stations);
}

static int64_t at_of(int i)
{
    return SCENE_START + i * (10 * AN_MINUTE_US);
}

static void serial_of(int i, char serial[24])
{
    (void)snprintf(serial, 24, "T-%05d", i);
}

static void put_one(const char *characteristic, int i, double value)
{
    char serial[24];
    serial_of(i, serial);
    (void)scene_plain(characteristic, "", serial, at_of(i), value);
}

static void put_values(const char *characteristic, const double value[], int from, int until)
{
    scene_file("bond");
    for (int i = from; i < until; i++) {
        put_one(characteristic, i, value[i]);
    }
    scene_file_end();
}

/* exp(0.4 + 0.35 z); from 100 on half as much again. */
static void make(double value[ALL])
{
    struct scene_random random = {4711};
    for (int i = 0; i < ALL; i++) {
        value[i] = exp(0.4 + 0.35 * scene_normal(&random) + (i >= 100 ? 0.7 : 0));
    }
}

static struct an_stream_view view_of(const char *stream)
{
    struct an_stream_view view;
    const struct an_stream found = scene_find(stream);
    OK(an_judge_view(scene.store, scene.line, &found, AN_NO_INSTANT, AN_NO_INSTANT, 0, scene.arena,
                     &view, &scene.err));
    return view;
}

/* By the definitions: mean of logarithms, their mean moving range over d2(2) = 2 / sqrt(pi). */
START_TEST(logarithms)
{
    double value[ALL], sum = 0, ranges = 0;
    struct an_limits *kept = NULL;
    size_t count = 0;
    make(value);
    put_values("joint", value, 0, BASE);
    const struct an_limits limits = scene_limits("bond.joint", BASE);
    for (int i = 0; i < BASE; i++) {
        sum += log(value[i]);
        ranges += i ? fabs(log(value[i]) - log(value[i - 1])) : 0;
    }
    const double centre = sum / BASE;
    const double sigma = ranges / (BASE - 1) * sqrt(acos(-1.0)) / 2;
    ck_assert(fabs(limits.model.centre - centre) < 1e-13);
    ck_assert(fabs(limits.model.sigma_level - sigma) < 1e-13);
    ck_assert(fabs(an_scale_back(&limits.scale, centre + 3 * sigma) - exp(centre + 3 * sigma)) <
              1e-12);
    ck_assert(limits.scale.readings == BASE && limits.scale.before.p < 0.001 &&
              limits.scale.after.p > 0.05);
    ck_assert_str_eq(an_scale_words(&limits.scale, scene.arena), "ln(value)");
    ck_assert_str_eq(an_scale_unit(&limits.scale, "ohm", scene.arena), "ln(ohm)");
    OK(an_limits_all(scene.store, limits.stream_id, scene.arena, &kept, &count, &scene.err));
    ck_assert_uint_eq(count, 1);
    ck_assert(an_scale_same(&kept[0].scale, &limits.scale));
    ck_assert(kept[0].scale.readings == BASE && !kept[0].scale.automatic &&
              isnan(kept[0].scale.likeliest) &&
              kept[0].scale.after.a2_star == limits.scale.after.a2_star);
}
END_TEST

/* The power is the likeliest one, taken as the logarithm where that cannot be told from it; a root
 * where the readings are squares. */
START_TEST(powers_found)
{
    double value[ALL];
    make(value);
    put_values("found", value, 0, BASE);
    struct an_limits limits = scene_limits("bond.found", BASE);
    ck_assert(limits.scale.lower < 0 && limits.scale.upper > 0 && limits.scale.likeliest != 0);
    ck_assert(limits.scale.transform.lambda == 0 && limits.scale.automatic);
    for (int i = 0; i < BASE; i++) {
        value[i] = pow(3 + an_normal_quantile(((i * 37 % BASE) + 0.5) / BASE), 2) - 3;
    }
    put_values("moved", value, 0, BASE);
    limits = scene_limits("bond.moved", BASE);
    ck_assert(fabs(limits.scale.likeliest - 0.5) < 0.1 && limits.scale.transform.lambda == 0.5 &&
              limits.scale.transform.shift == 3);
    ck_assert(strstr(an_scale_words(&limits.scale, scene.arena), "square root of (value + 3)"));
    ck_assert(strstr(an_scale_story(&limits.scale, scene.arena), "taken 0.5;"));
    ck_assert(fabs(an_scale_back(&limits.scale, an_scale_of(&limits.scale, 33)) - 33) < 1e-10);
}
END_TEST

/* sinh of normal values is Johnson's SU by its definition: scores come back, and the shape with every
 * digit. */
START_TEST(curves_found)
{
    double value[ALL];
    struct an_limits *kept = NULL;
    size_t count = 0;
    for (int i = 0; i < ALL; i++) {
        value[i] = 10 + 2 * sinh(an_normal_quantile(((i * 37 % ALL) + 0.5) / ALL) / 1.2);
    }
    put_values("curve", value, 0, ALL);
    const struct an_limits limits = scene_limits("bond.curve", ALL);
    ck_assert_int_eq((int)limits.scale.transform.fit.shape, AN_SHAPE_JOHNSON_SU);
    ck_assert(fabs(limits.model.centre) < 0.02);
    for (int i = 0; i < ALL; i++) {
        const double z = an_normal_quantile(((i * 37 % ALL) + 0.5) / ALL);
        ck_assert_msg(fabs(an_scale_of(&limits.scale, value[i]) - z) < 0.15, "%d", i);
    }
    OK(an_limits_all(scene.store, limits.stream_id, scene.arena, &kept, &count, &scene.err));
    ck_assert(count == 1 && an_scale_same(&kept[0].scale, &limits.scale));
    ck_assert_str_eq(an_scale_unit(&kept[0].scale, "ohm", scene.arena), "z");
}
END_TEST

static void put_several(const char *station, const char *characteristic, int i,
                        const double values[], const char *const *sites, size_t n)
{
    char serial[24];
    serial_of(i, serial);
    const struct scene_reading r = {.characteristic = characteristic,
                                    .split = "",
                                    .serial = serial,
                                    .at_us = at_of(i),
                                    .sites = sites,
                                    .values = values,
                                    .n = n,
                                    .decimals = 6};
    (void)station;
    (void)scene_measure(&r);
}

/* The chart's mean is that of logarithms, not the logarithm of the mean. */
START_TEST(reading_by_reading)
{
    enum { n = 5 };
    struct scene_random random = {9};
    double grand = 0, s_bar = 0;
    double logs[BASE][n];
    scene_file("wire");
    for (int i = 0; i < BASE; i++) {
        double values[n];
        for (int k = 0; k < n; k++) {
            values[k] = round(1e6 * exp(0.7 + 0.3 * scene_normal(&random))) / 1e6;
            logs[i][k] = log(values[k]);
        }
        put_several("wire", "edge", i, values, NULL, n);
    }
    scene_file_end();
    for (int i = 0; i < BASE; i++) {
        double mean = 0, squares = 0;
        for (int k = 0; k < n; k++) {
            mean += logs[i][k] / n;
        }
        for (int k = 0; k < n; k++) {
            squares += (logs[i][k] - mean) * (logs[i][k] - mean);
        }
        grand += mean / BASE;
        s_bar += sqrt(squares / (n - 1)) / BASE;
    }
    const struct an_limits limits = scene_limits("wire.edge", BASE);
    ck_assert(fabs(limits.model.centre - grand) < 1e-12);
    ck_assert(fabs(limits.model.spread_centre - s_bar) < 1e-12);
    ck_assert(limits.scale.readings == BASE * n);
    scene_lock("wire.edge");
    scene_file("wire");
    put_several("wire", "edge", BASE, (const double[]){2, 2, 0, 2, 2}, NULL, n);
    put_several("wire", "edge", BASE + 1, (const double[]){2, 2, (double)NAN, 2, 2}, NULL, n);
    scene_file_end();
    struct an_check_result result = scene_check();
    const struct an_stream_view view = view_of("wire.edge");
    ck_assert(view.points[BASE].off_scale == -1 && isnan(view.points[BASE].point.level.value));
    ck_assert(fabs(view.points[BASE + 1].point.level.value - log(2)) < 1e-12); /* a gap is none */
    ck_assert_uint_ge(result.new_signals, 1);
    result = scene_check();
    ck_assert(result.new_hits == 0 && result.withdrawn_hits == 0);
}
END_TEST

/* On the logarithm a place that reads a tenth more has an offset of ln 1.1. */
START_TEST(places)
{
    static const char *const sites[] = {"a", "b", "c"};
    static const double factor[] = {1.1, 1.0, 1 / 1.1};
    struct scene_random random = {31};
    scene_file("zone");
    for (int i = 0; i < BASE; i++) {
        const double level = exp(2 + 0.2 * scene_normal(&random));
        double values[3];
        for (int k = 0; k < 3; k++) {
            values[k] = level * factor[k];
        }
        put_several("zone", "heat", i, values, sites, 3);
    }
    scene_file_end();
    const struct an_limits limits = scene_limits("zone.heat", BASE);
    ck_assert_uint_eq(limits.position_count, 3);
    for (size_t p = 0; p < 3; p++) {
        const int k = limits.positions[p].position[0] - 'a';
        ck_assert(fabs(limits.positions[p].offset - log(factor[k])) < 1e-6);
    }
    scene_lock("zone.heat");
    scene_file("zone");
    put_several("zone", "heat", BASE, (const double[]){11, -1, 10 / 1.1}, sites, 3);
    scene_file_end();
    ck_assert_uint_ge(scene_check().new_hits, 1);
    const struct an_stream_view view = view_of("zone.heat");
    ck_assert_int_eq(view.points[BASE].off_scale, -1);
    ck_assert_str_eq(view.unit, "ln(W)");
}
END_TEST

static size_t off_hits(const struct an_stream_view *view)
{
    size_t n = 0;
    for (size_t h = 0; h < view->hit_count[0]; h++) {
        n += view->hits[0][h].rule == AN_RULE_OFF_SCALE;
    }
    return n;
}

/* Zero and below, one by one over many checks or at once, early or late: the same signals, each told
 * once, and points around it are judged as if it were not there. */
START_TEST(off_the_scale)
{
    const char *name = _i ? "slow" : "joint";
    const char *stream = _i ? "bond.slow" : "bond.joint";
    double value[ALL];
    struct an_signal *signals = NULL;
    size_t count = 0;
    size_t found = 0;
    make(value);
    value[90] = 0;
    value[95] = -0.25;
    value[96] = -0.5;
    put_values(name, value, 0, BASE);
    (void)scene_limits(stream, BASE);
    scene_lock(stream);
    for (int i = BASE; i < ALL; i += 3) {
        if (i != 89) { /* with 90: comes late */
            put_values(name, value, i, i + 3 < ALL ? i + 3 : ALL);
            (void)scene_check();
        }
    }
    put_values(name, value, 89, 92);
    (void)scene_check();
    const struct an_check_result again = scene_check();
    ck_assert(again.new_hits == 0 && again.withdrawn_hits == 0);
    const struct an_stream_view view = view_of(stream);
    ck_assert_uint_eq(off_hits(&view), 3);
    ck_assert(view.points[90].off_scale == -1 && isnan(view.points[90].point.level.z) &&
              (view.points[90].hit_rules[0] >> AN_RULE_OFF_SCALE & 1U));
    if (!_i) { /* moving ranges do not reach over it */
        ck_assert(isnan(view.points[91].point.spread.value) &&
                  isfinite(view.points[92].point.spread.value));
    }
    OK(an_signals(scene.store, scene.line, view.stream.stream_id, AN_NO_INSTANT, AN_NO_INSTANT,
                  scene.arena, &signals, &count, &scene.err));
    for (size_t s = 0; s < count; s++) {
        if (signals[s].record.rule != AN_RULE_OFF_SCALE) {
            continue;
        }
        found++;
        ck_assert_str_eq(signals[s].code, "X-");
        ck_assert_msg(strstr(signals[s].sentence, "held 0 ohm, which has no place on the scale of "
                                                  "its chart, ln(value), the first of 3 samples"),
                      "%s", signals[s].sentence);
    }
    ck_assert_uint_eq(found, 1);
}
END_TEST

/* What is plotted is each z times sigma, however the sequence was cut into checks. */
START_TEST(with_memory)
{
    double value[ALL];
    make(value);
    put_values("sums", value, 0, BASE);
    const struct an_limits limits = scene_limits("bond.sums", BASE);
    scene_lock("bond.sums");
    double high = 0;
    for (int i = BASE; i < ALL; i += 7) {
        put_values("sums", value, i, i + 7 < ALL ? i + 7 : ALL);
        (void)scene_check();
    }
    const struct an_stream_view view = view_of("bond.sums");
    const double k = limits.model.weighting.reference;
    for (int i = 0; i < ALL; i++) { /* Page's sum, restarted by a signal */
        const double z = (log(value[i]) - limits.model.centre) / limits.model.sigma_level;
        high = fmax(0, high + z - k);
        ck_assert_msg(fabs(view.points[i].point.upper / limits.model.sigma_level - high) < 1e-9 ||
                          fabs(view.points[i].point.upper - high) < 1e-9,
                      "%d: %g, %g", i, view.points[i].point.upper, high);
        high = high > limits.model.weighting.limits ? 0 : high;
    }
    ck_assert_uint_ge(view.hit_count[0], 1);
}
END_TEST

/* Sizes in words are carried back to the unit of measure. */
START_TEST(sentences)
{
    double value[ALL];
    struct an_signal *signals = NULL;
    size_t count = 0;
    make(value);
    put_values("joint", value, 0, BASE);
    (void)scene_limits("bond.joint", BASE);
    scene_lock("bond.joint");
    put_values("joint", value, BASE, ALL);
    (void)scene_check();
    OK(an_signals(scene.store, scene.line, 0, AN_NO_INSTANT, AN_NO_INSTANT, scene.arena, &signals,
                  &count, &scene.err));
    ck_assert_uint_ge(count, 1);
    const struct an_signal *s = &signals[0];
    char wanted[80];
    const struct an_stream_view view = view_of("bond.joint");
    const double centre = view.limits[0].model.centre;
    (void)snprintf(wanted, sizeof wanted, " sigma; %.4g ohm where the centre is %.4g ohm)",
                   exp(centre + s->size), exp(centre));
    ck_assert_msg(strstr(s->sentence, wanted) && strstr(s->sentence, " on its scale ("), "%s | %s",
                  s->sentence, wanted);
    ck_assert_str_eq(s->unit, "ln(ohm)");
}
END_TEST

/* Limits of another scale in one view: points are carried over, what was judged stays. */
START_TEST(two_scales_in_view)
{
    double value[ALL];
    make(value);
    put_values("joint", value, 0, BASE);
    scene_lock_known("bond.joint", "joint", 1.5, 0.5); /* as they were before the scale */
    const struct an_stream_view before = view_of("bond.joint");
    ck_assert_ptr_null(before.on_scale);
    ck_assert_str_eq(before.unit, "ohm");
    (void)scene_limits("bond.joint", BASE);
    OK(an_limits_lock(scene.store, scene_find("bond.joint").stream_id, at_of(40), "E. Rossi",
                      "on the logarithm from now on", &scene.err));
    const struct an_stream_view view = view_of("bond.joint");
    ck_assert_ptr_nonnull(view.on_scale);
    ck_assert_str_eq(view.unit, "ln(ohm)");
    for (int i = 0; i < BASE; i++) {
        const struct an_panel_point *level = &view.points[i].point.level;
        ck_assert(fabs(level->value - log(value[i])) < 1e-12);
        if (i < 40) {
            ck_assert(fabs(level->ucl - log(3.0)) < 1e-12 && isnan(level->lcl) &&
                      fabs(level->z - (value[i] - 1.5) / 0.5) < 1e-12 &&
                      isnan(view.points[i].point.spread.value));
        }
    }
}
END_TEST

static bool warned(const struct an_limits *limits, const char *piece)
{
    for (size_t i = 0; i < limits->warning_count; i++) {
        if (strstr(limits->warnings[i], piece)) {
            return true;
        }
    }
    return false;
}

START_TEST(warnings)
{
    double value[ALL];
    for (int i = 0; i < BASE; i++) { /* symmetric, far from 0 */
        value[i] = 100 + an_normal_quantile(((i * 37 % BASE) + 0.5) / BASE);
    }
    put_values("found", value, 0, BASE);
    struct an_limits limits = scene_limits("bond.found", BASE);
    ck_assert(warned(&limits, "do not ask for a scale: power 1"));
    for (int i = 0; i < BASE; i++) { /* skewed to the left: the logarithm makes it worse */
        value[i] = 20 - exp(an_normal_quantile(((i * 37 % BASE) + 0.5) / BASE));
    }
    put_values("joint", value, 0, BASE);
    limits = scene_limits("bond.joint", BASE);
    ck_assert(warned(&limits, "the scale did not help"));
    for (int i = 0; i < BASE; i++) { /* two heaps: no power mends that */
        value[i] = (i % 2 ? 1 : 50) * (1 + 0.001 * i);
    }
    put_values("slow", value, 0, BASE);
    limits = scene_limits("bond.slow", BASE);
    ck_assert(warned(&limits, "normal"));
}
END_TEST

/* A baseline with a value that has no place is refused, and learned without its sample. */
START_TEST(refused)
{
    double value[ALL];
    struct an_limits limits;
    make(value);
    value[7] = 0;
    put_values("found", value, 0, BASE);
    const struct an_stream stream = scene_find("bond.found");
    struct an_baseline_choice choice = {.from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT};
    ck_assert_int_eq((int)an_limits_propose(scene.store, scene.line, stream.stream_id, &choice,
                                            scene.arena, &limits, &scene.err),
                     AN_DOMAIN);
    ck_assert_msg(strstr(scene.err.text, "(T-00007) in the baseline of bond.found holds 0, and a "
                                         "power or logarithm wants values above 0"),
                  "%s", scene.err.text);
    const struct an_stream_view view = view_of("bond.found");
    const char *reason = "probe did not touch";
    choice.exclude = &view.points[7].sample.sample_id;
    choice.exclude_reasons = &reason;
    choice.exclude_count = 1;
    OK(an_limits_propose(scene.store, scene.line, stream.stream_id, &choice, scene.arena, &limits,
                         &scene.err));
    ck_assert(limits.scale.readings == BASE - 1);
    scene_lock("bond.found");
    (void)scene_check();
    const struct an_stream_view after = view_of("bond.found");
    ck_assert(after.points[7].excluded && off_hits(&after) == 0); /* left out by name: no signal */
    for (int i = 0; i < BASE; i++) {
        value[i] = 4;
    }
    put_values("moved", value, 0, BASE);
    choice = (struct an_baseline_choice){.from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT};
    ck_assert_int_eq((int)an_limits_propose(scene.store, scene.line,
                                            scene_find("bond.moved").stream_id, &choice,
                                            scene.arena, &limits, &scene.err),
                     AN_NO_SPREAD);
    ck_assert(strstr(scene.err.text, "are equal: there is no spread to find a scale from"));
    put_values("curve", value, 0, 4);
    ck_assert_int_eq((int)an_limits_propose(scene.store, scene.line,
                                            scene_find("bond.curve").stream_id, &choice,
                                            scene.arena, &limits, &scene.err),
                     AN_TOO_FEW);
    ck_assert(strstr(scene.err.text, "4 readings: too few to find a scale from"));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("charts on a scale");
    TCase *tcase = tcase_create("scale");
    tcase_set_timeout(tcase, 60);
    tcase_add_checked_fixture(tcase, setup, scene_close);
    tcase_add_test(tcase, logarithms);
    tcase_add_test(tcase, powers_found);
    tcase_add_test(tcase, curves_found);
    tcase_add_test(tcase, reading_by_reading);
    tcase_add_test(tcase, places);
    tcase_add_loop_test(tcase, off_the_scale, 0, 2);
    tcase_add_test(tcase, with_memory);
    tcase_add_test(tcase, sentences);
    tcase_add_test(tcase, two_scales_in_view);
    tcase_add_test(tcase, warnings);
    tcase_add_test(tcase, refused);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
