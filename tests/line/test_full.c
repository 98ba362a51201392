/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * tests/line/data/full.yaml writes out every key of the grammar, most with a value that is not its
 * default; here each field of the structs is compared with what stands there. The short
 * description at the end shows the defaults.
 */
#include "andamento/base/memory.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct an_line *line;

static void set_up(void)
{
    struct heard heard = {0};
    struct an_error err = {0};
    ck_assert_msg(an_line_read_file(AN_TEST_DATA "/full.yaml", hear, &heard, &line, &err) == AN_OK,
                  "%s: line %d: %s", err.text, (int)heard.at[0].line, heard.at[0].text);
}

static void tear_down(void)
{
    an_line_close(line);
}

static const struct an_characteristic *named(const char *name)
{
    const size_t at = an_line_characteristic(line, 0, an_bytes_of(name));
    ck_assert_msg(at != AN_NONE, "no characteristic %s", name);
    return &line->characteristics[at];
}

static void words_are(struct an_word_list list, const char *joined)
{
    char text[256] = "";
    for (size_t i = 0; i < list.count; i++) {
        ck_assert_uint_lt(strlen(text) + strlen(list.at[i]) + 2, sizeof text);
        strncat(text, i > 0 ? "|" : "", 2);
        strncat(text, list.at[i], 100);
    }
    ck_assert_str_eq(text, joined);
}

START_TEST(top)
{
    ck_assert_str_eq(line->name, "libeccio");
    ck_assert_str_eq(line->title, "Wall line Libeccio");
    ck_assert_str_eq(line->zone_name, "Europe/Rome");
    ck_assert_str_eq(an_zone_name(line->zone), "Europe/Rome");
    ck_assert_str_eq(line->folder, AN_TEST_DATA);
    size_t length = 0;
    char *text = slurp(AN_TEST_DATA "/full.yaml", &length);
    ck_assert(an_bytes_equal(line->source, (struct an_bytes){(unsigned char *)text, length}));
    an_free(text);
    static const struct {
        const char *name;
        int start, end;
    } shifts[] = {{"early", 360, 840}, {"late", 840, 1320}, {"night", 1320, 360}};
    ck_assert_uint_eq(line->shift_count, 3);
    for (size_t i = 0; i < 3; i++) {
        ck_assert_str_eq(line->shifts[i].name, shifts[i].name);
        ck_assert_int_eq(line->shifts[i].start_minute, shifts[i].start);
        ck_assert_int_eq(line->shifts[i].end_minute, shifts[i].end);
    }
    ck_assert_uint_eq(line->station_count, 2);
    ck_assert_uint_eq(line->characteristic_count, 14);
}
END_TEST

START_TEST(kinds)
{
    ck_assert_uint_eq(line->kind_count, 4);
    const struct an_item_kind *wafer = &line->kinds[0];
    ck_assert_str_eq(wafer->name, "wafer");
    ck_assert_str_eq(wafer->title, "emitter wafer");
    ck_assert_str_eq(wafer->id_pattern, "W[0-9]{4}");
    ck_assert(wafer->fold_case && !wafer->product);
    ck_assert_uint_eq(wafer->line_no, 10);
    const struct an_item_kind *carrier = &line->kinds[1];
    ck_assert_str_eq(carrier->title, "carrier");
    ck_assert_ptr_null(carrier->id_pattern);
    ck_assert(!carrier->fold_case && !carrier->product);
    ck_assert(line->kinds[2].product && line->kinds[3].product);
    ck_assert_uint_eq(an_line_kind(line, an_bytes_of("wall")), 3);
    ck_assert_uint_eq(an_line_kind(line, an_bytes_of("Wall")), AN_NONE);
}
END_TEST

START_TEST(station_dialect)
{
    const struct an_station *s = &line->stations[0];
    ck_assert_str_eq(s->name, "transfer");
    ck_assert_str_eq(s->title, "Mass transfer");
    ck_assert_str_eq(s->folder, "spool/transfer");
    ck_assert_str_eq(s->pattern, "TR-*.txt");
    const struct an_dialect *d = &s->dialect;
    ck_assert_int_eq(d->delimiter, ';');
    ck_assert_int_eq(d->decimal_mark, ',');
    ck_assert_int_eq(d->group_mark, '.');
    ck_assert_int_eq((int)d->encoding, AN_WINDOWS_1252);
    ck_assert_str_eq(d->comment, "#");
    ck_assert_int_eq(d->preamble_lines, 3);
    ck_assert(d->units_row && !d->trim);
    ck_assert_str_eq(d->footer, "^# rows=([0-9]+)");
    ck_assert_str_eq(d->end_marker, "# END");
    ck_assert_uint_eq(s->preamble_count, 2);
    ck_assert_str_eq(s->preamble[0].column, "recipe");
    ck_assert_str_eq(s->preamble[1].regex, "stage_temp=([0-9.]+)");
    ck_assert_str_eq(s->time.column, "at");
    ck_assert_str_eq(s->time.pattern, "%d.%m.%Y %H:%M:%S");
    ck_assert_str_eq(s->time.zone, "UTC");
    ck_assert_uint_eq(s->line_no, 18);
}
END_TEST

START_TEST(station_items)
{
    const struct an_station *s = &line->stations[0];
    ck_assert_uint_eq(s->item_kind, 2);
    ck_assert_str_eq(s->item_column, "tile");
    ck_assert(s->item_refines);
    ck_assert_uint_eq(s->link_count, 4);
    const struct an_link_rule *l = &s->links[0];
    ck_assert_str_eq(l->column, "donor");
    ck_assert_uint_eq(l->kind, 1);
    ck_assert(l->other_is_parent);
    ck_assert_ptr_null(l->role);
    ck_assert_str_eq(l->role_column, "colour");
    ck_assert_str_eq(l->share_column, "share");
    ck_assert_str_eq(l->row_column, "srow");
    ck_assert_str_eq(l->column_column, "scol");
    ck_assert_str_eq(l->region_column, "region");
    words_are(l->roles, "R|G|B");
    ck_assert(isnan(l->share) && l->made_first && l->known_first && !l->single && !l->ends);
    ck_assert_str_eq(l->confidence_column, "result");
    words_are(l->confidence_words[AN_SCANNED], "S|A");
    words_are(l->confidence_words[AN_TYPED], "H");
    words_are(l->confidence_words[AN_INFERRED], "");
    ck_assert_int_eq((int)l->confidence, AN_CONFIDENCE_UNTOLD);
    l = &s->links[1];
    ck_assert(!l->other_is_parent);
    ck_assert_uint_eq(l->kind, 3);
    ck_assert_str_eq(l->role, "panel");
    ck_assert_ptr_null(l->role_column);
    ck_assert_ptr_null(l->share_column);
    ck_assert_double_eq(l->share, 0.0625);
    ck_assert(l->single && l->ends && !l->made_first && !l->known_first && !l->other_is_same);
    ck_assert_str_eq(l->ends_column, "state");
    words_are(l->ends_words, "OUT|SCRAP");
    ck_assert_int_eq((int)l->confidence, AN_TYPED);
    ck_assert_ptr_null(l->confidence_column);
    l = &s->links[2];
    ck_assert(l->other_is_same && !l->other_is_parent);
    ck_assert_int_eq((int)l->alias_time, AN_ALIAS_BEFORE);
    ck_assert_int_eq(l->alias_for_us, 30 * AN_DAY_US);
    l = &s->links[3];
    ck_assert(l->ends && !l->ends_column && l->other_is_parent && !l->other_is_same);
    ck_assert_int_eq(s->serial_within_us, 90 * AN_DAY_US);
}
END_TEST

START_TEST(station_rows)
{
    const struct an_station *s = &line->stations[0];
    ck_assert_str_eq(s->purpose.column, "state");
    words_are(s->purpose.production, "PROD|RUN");
    ck_assert_str_eq(s->purpose.reference_id_pattern, "T-9.*");
    ck_assert_str_eq(s->sequence_column, "shot");
    ck_assert_str_eq(s->gauge_column, "gauge");
    ck_assert_str_eq(s->tool_column, "tool");
    ck_assert_str_eq(s->operator_column, "operator");
    ck_assert_str_eq(s->attempt_column, "attempt");
    ck_assert_ptr_null(s->gauge);
    ck_assert_uint_eq(s->part_whole_count, 2);
    ck_assert_str_eq(s->part_whole[1].part, "tilted");
    ck_assert_str_eq(s->part_whole[1].whole, "placed");
    ck_assert_uint_eq(s->allowed_count, 2);
    ck_assert_str_eq(s->allowed[0].column, "colour");
    words_are(s->allowed[0].words, "R|G|B");
    words_are(s->allowed[1].words, "N");
    ck_assert_str_eq(s->cautions, "class 4 laser inside: follow the site's procedures");
    ck_assert_int_eq(s->silent_after_us, 8 * AN_HOUR_US);
    ck_assert_uint_eq(s->characteristic_count, 14);
    ck_assert_uint_eq(s->characteristics[13], 13);
}
END_TEST

START_TEST(measured)
{
    const struct an_characteristic *c = named("dx");
    ck_assert_str_eq(c->title, "Offset in x");
    ck_assert_uint_eq(c->station, 0);
    ck_assert_int_eq((int)c->kind, AN_MEASURED);
    ck_assert_str_eq(c->unit, "um");
    ck_assert_str_eq(c->column, "dx");
    ck_assert_str_eq(c->column_unit, "nm");
    ck_assert_double_eq(c->factor, 1e-3); /* nm to um, SI Brochure 2019 */
    ck_assert_double_eq(c->offset, 0);
    words_are(c->splits, "colour|tool");
    ck_assert_str_eq(c->only_column, "state");
    words_are(c->only_words, "PROD|RUN");
    ck_assert_int_eq((int)c->subgroup, AN_SUBGROUP_EVERY);
    ck_assert_int_eq(c->subgroup_size, 5);
    ck_assert_int_eq((int)c->family, AN_XBAR_R);
    ck_assert_double_eq(c->target, 0);
    ck_assert_double_eq(c->lsl, -3);
    ck_assert_double_eq(c->usl, 3);
    ck_assert_double_eq(c->possible_min, -50);
    ck_assert_double_eq(c->possible_max, 50);
    static const struct an_missing_code codes[] = {
        {"", AN_MISSING}, {"n.a.", AN_MISSING}, {"OVER", AN_OVER_RANGE}, {"<*", AN_UNDER_RANGE}};
    ck_assert_uint_eq(c->missing_count, 4);
    for (size_t i = 0; i < 4; i++) {
        ck_assert_str_eq(c->missing[i].text, codes[i].text);
        ck_assert_int_eq((int)c->missing[i].meaning, (int)codes[i].meaning);
    }
    ck_assert_str_eq(c->position_column, "site");
    ck_assert_str_eq(c->row_column, "srow");
    ck_assert_str_eq(c->column_column, "scol");
    ck_assert_str_eq(c->ribbon_column, "donor");
    ck_assert_uint_eq(c->ribbon_kind, AN_NONE);
    ck_assert_double_eq(c->limit_sigmas, 3.5);
    ck_assert(c->shape.declared && !c->shape.automatic && c->shape.shape == AN_SHAPE_JOHNSON_SU);
    ck_assert_int_eq(c->decimals, 3);
    ck_assert(c->signal_is_news);
    ck_assert_uint_eq(c->line_no, 73);
}
END_TEST

START_TEST(rules)
{
    const struct an_rule_choice *r = &named("dx")->rules;
    ck_assert_int_eq(r->run_length, 8);
    ck_assert_int_eq(r->trend_length, 7);
    for (int i = 0; i < AN_RULE_COUNT; i++) {
        const bool on =
            i == AN_RULE_RUN_ONE_SIDE || i == AN_RULE_STEADY_TREND || i == AN_RULE_ALTERNATING;
        ck_assert_int_eq(r->on[i], on);
    }
    r = &named("dy")->rules;
    for (int i = 0; i < AN_RULE_COUNT; i++) {
        ck_assert_int_eq(r->on[i], i == AN_RULE_BEYOND_LIMIT || i == AN_RULE_HUGGING_CENTRE);
    }
    const struct an_rule_choice usual = an_rules_default();
    r = &named("luminance")->rules;
    for (int i = 0; i < AN_RULE_COUNT; i++) {
        ck_assert_int_eq(r->on[i], usual.on[i]);
    }
    ck_assert_int_eq(r->run_length, usual.run_length);
    ck_assert_int_eq(r->trend_length, usual.trend_length);
}
END_TEST

START_TEST(measured_by_factor)
{
    const struct an_characteristic *c = named("dy");
    ck_assert_str_eq(c->title, "dy");
    ck_assert_str_eq(c->column_unit, "tick");
    ck_assert_double_eq(c->factor, 0.25);
    ck_assert_double_eq(c->offset, -1.5);
    ck_assert_int_eq((int)c->subgroup, AN_SUBGROUP_ROW);
    ck_assert_int_eq((int)c->family, AN_INDIVIDUALS);
    ck_assert_ptr_null(c->ribbon_column);
    ck_assert_uint_eq(c->ribbon_kind, 1);
    ck_assert(!c->signal_is_news);
    ck_assert_int_eq(c->decimals, -1);
    ck_assert_double_nan(c->target);
    ck_assert_double_nan(c->lsl);
    ck_assert_double_nan(c->possible_max);
    ck_assert_double_eq(c->limit_sigmas, 3);
    ck_assert(!c->shape.declared && c->shape.shape == AN_SHAPE_NORMAL);
    ck_assert_uint_eq(c->missing_count, 3); /* the station's: "", n.a., -- */
    ck_assert_str_eq(c->missing[2].text, "--");
    ck_assert_int_eq((int)named("luminance")->family, AN_BETWEEN_WITHIN);
    ck_assert_int_eq((int)named("luminance")->subgroup, AN_SUBGROUP_ITEM);
}
END_TEST

static const struct {
    const char *name;
    enum an_derivation how;
    const char *first, *second, *unit;
} derived_rows[] = {
    {"radial", AN_DERIVE_RADIAL, "dx", "dy", "um"},
    {"uniformity", AN_DERIVE_MIN_OVER_MAX, "luminance", NULL, "%"},
    {"step", AN_DERIVE_NEIGHBOUR_STEP, "luminance", NULL, "cd/m2"},
    {"lum_range", AN_DERIVE_RANGE, "luminance", NULL, "cd/m2"},
    {"lum_mean", AN_DERIVE_MEAN, "luminance", NULL, "cd/m2"},
    {"lum_sd", AN_DERIVE_SD, "luminance", NULL, "cd/m2"},
    {"lead", AN_DERIVE_DIFFERENCE, "lum_mean", "luminance", "cd/m2"},
};

START_TEST(derived)
{
    const struct an_characteristic *c = named(derived_rows[_i].name);
    ck_assert_int_eq((int)c->kind, AN_DERIVED);
    ck_assert_int_eq((int)c->derivation, (int)derived_rows[_i].how);
    ck_assert_ptr_eq(&line->characteristics[c->of[0]], named(derived_rows[_i].first));
    if (derived_rows[_i].second) {
        ck_assert_ptr_eq(&line->characteristics[c->of[1]], named(derived_rows[_i].second));
    } else {
        ck_assert_uint_eq(c->of[1], AN_NONE);
    }
    ck_assert_str_eq(c->unit, derived_rows[_i].unit);
    ck_assert_int_eq((int)c->family, AN_INDIVIDUALS);
    ck_assert_ptr_null(c->column);
    if (c->derivation == AN_DERIVE_RADIAL) { /* taken over from dx */
        words_are(c->splits, "colour|tool");
        ck_assert_str_eq(c->only_column, "state");
    }
}
END_TEST

START_TEST(counted)
{
    const struct an_characteristic *c = named("faults");
    ck_assert_int_eq((int)c->kind, AN_COUNTED);
    ck_assert_str_eq(c->unit, "1");
    ck_assert_ptr_null(c->column);
    words_are(c->sum_columns, "missing|tilted");
    ck_assert_str_eq(c->opportunities_column, "placed");
    ck_assert_double_nan(c->opportunities);
    ck_assert_double_eq(c->per, 1e6);
    ck_assert_int_eq((int)c->family, AN_U);
    c = named("doubles");
    ck_assert_str_eq(c->column, "double");
    ck_assert_uint_eq(c->sum_columns.count, 0);
    ck_assert_ptr_null(c->opportunities_column);
    ck_assert_double_eq(c->per, 1);
    ck_assert_int_eq((int)c->family, AN_C);
    c = named("events");
    ck_assert(c->count_rows);
    ck_assert_double_eq(c->opportunities, 500);
    ck_assert_int_eq((int)c->family, AN_U_PRIME);
    c = named("failed");
    ck_assert_str_eq(c->column, "result");
    ck_assert_str_eq(c->success, "result");
    words_are(c->events, "bad|worse");
    ck_assert_double_eq(c->opportunities, 1); /* a row is the unit */
    ck_assert_double_eq(c->per, 100);
    ck_assert_int_eq(c->subgroup_size, 40);
    ck_assert_int_eq((int)c->family, AN_P);
}
END_TEST

START_TEST(defaults)
{
    const struct an_station *s = &line->stations[1];
    ck_assert_str_eq(s->title, "oven");
    ck_assert_str_eq(s->folder, "oven");
    ck_assert_str_eq(s->pattern, "*.csv");
    ck_assert_int_eq(s->dialect.delimiter, ',');
    ck_assert_int_eq(s->dialect.decimal_mark, '.');
    ck_assert_int_eq(s->dialect.group_mark, 0);
    ck_assert_int_eq((int)s->dialect.encoding, AN_UTF8);
    ck_assert_ptr_null(s->dialect.comment);
    ck_assert_ptr_null(s->dialect.footer);
    ck_assert_ptr_null(s->dialect.end_marker);
    ck_assert(!s->dialect.units_row && s->dialect.trim);
    ck_assert_ptr_null(s->time.column); /* time: file */
    ck_assert_ptr_null(s->time.zone);
    ck_assert(!s->item_refines);
    ck_assert_str_eq(s->gauge, "TC-1");
    ck_assert_ptr_null(s->purpose.column);
    ck_assert_ptr_null(s->cautions);
    ck_assert_int_eq(s->silent_after_us, 0);
    ck_assert_uint_eq(s->characteristic_count, 0);
    ck_assert_uint_eq(an_line_station(line, an_bytes_of("oven")), 1);
    ck_assert_uint_eq(an_line_station(line, an_bytes_of("nowhere")), AN_NONE);
    ck_assert_uint_eq(an_line_characteristic(line, 1, an_bytes_of("dx")), AN_NONE);
    ck_assert_uint_eq(an_line_characteristic(line, 7, an_bytes_of("dx")), AN_NONE);
}
END_TEST

/* --- what a family is when none is given (the table of docs/line-description.md) --------------- */

static const struct {
    const char *keys;
    enum an_family family;
} family_rows[] = {
    {"column: v, unit: '1'", AN_BETWEEN_WITHIN},
    {"column: v, unit: '1', subgroup: row", AN_INDIVIDUALS},
    {"column: v, unit: '1', subgroup: {every: 4}", AN_XBAR_S},
    {"count: v", AN_C},
    {"count: v, opportunities: n", AN_U_PRIME},
    {"count: {rows: yes}, opportunities: 10", AN_U_PRIME},
    {"count: {column: v, words: bad}", AN_P_PRIME},
    {"count: {column: v, words: bad}, opportunities: n", AN_P_PRIME},
};

static const char around[] = "line: a\nzone: UTC\nshifts: {d: 06:00}\nkinds: {tile: }\n"
                             "stations: {s: {time: file, item: {kind: tile, column: id},\n"
                             "  characteristics: {v: {%s}}}}\n";

START_TEST(usual_family)
{
    char text[512];
    (void)snprintf(text, sizeof text, around, family_rows[_i].keys);
    struct an_line *small = read_good(text);
    ck_assert_int_eq((int)small->characteristics[0].family, (int)family_rows[_i].family);
    ck_assert_uint_eq(small->characteristics[0].missing_count, 8); /* "" and words for no number */
    an_line_close(small);
}
END_TEST

/* Merge keys, aliases and a mark at the start of the file are YAML, and read as such. */
START_TEST(yaml_ways)
{
    struct an_line *small = read_good(
        "\xEF\xBB\xBFline: \"a\"\nzone: 'UTC'\nshifts: {d: '06:00'}\nkinds: {tile: ~}\n"
        "stations:\n  s: {time: file, item: &i {kind: tile, column: id},\n"
        "    characteristics: {v: &v {column: x, unit: um, spec: {upper: 3}, grid: {row: r, "
        "column: c}},\n"
        "      w: {<<: *v, column: y}, u: {<<: [{title: U}, *v]},\n"
        "      d: {<<: *v, derived: {how: range, of: v}}}}\n"
        "  t: {time: file, item: *i}\n");
    ck_assert_uint_eq(small->station_count, 2);
    ck_assert_str_eq(small->stations[1].item_column, "id");
    ck_assert_str_eq(small->characteristics[1].column, "y");
    ck_assert_double_eq(small->characteristics[1].usl, 3);
    ck_assert_str_eq(small->characteristics[2].title, "U");
    ck_assert_str_eq(small->characteristics[2].column, "x");
    ck_assert_int_eq((int)small->characteristics[3].kind, AN_DERIVED);
    ck_assert_ptr_null(small->characteristics[3].column);
    ck_assert_ptr_null(small->characteristics[3].row_column);
    an_line_close(small);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("line description");
    TCase *fields = tcase_create("every field");
    tcase_add_checked_fixture(fields, set_up, tear_down);
    tcase_add_test(fields, top);
    tcase_add_test(fields, kinds);
    tcase_add_test(fields, station_dialect);
    tcase_add_test(fields, station_items);
    tcase_add_test(fields, station_rows);
    tcase_add_test(fields, measured);
    tcase_add_test(fields, rules);
    tcase_add_test(fields, measured_by_factor);
    tcase_add_loop_test(fields, derived, 0, sizeof derived_rows / sizeof derived_rows[0]);
    tcase_add_test(fields, counted);
    tcase_add_test(fields, defaults);
    suite_add_tcase(suite, fields);
    TCase *ways = tcase_create("ways of writing");
    tcase_add_loop_test(ways, usual_family, 0, sizeof family_rows / sizeof family_rows[0]);
    tcase_add_test(ways, yaml_ways);
    suite_add_tcase(suite, ways);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
