/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The characteristics of one station. Responsible for which of the three sorts each is, for its
 * unit and its bounds; must never judge a value.
 *
 * The hard idea: keys that came in by a merge (<<) may be out of place - a derived characteristic
 * that borrows the split of a measured one borrows its column as well. So keys written out decide
 * the sort, and merged ones that do not fit it are passed over in silence.
 */
#include "line/sections.h"
#include "line/unit.h"

#include <math.h>
#include <string.h>

/* The pair of a key, if it has a value; to see whether it was written out or merged. */
static const struct an_yaml_pair *pair_of(const struct an_yaml_node *map, const char *key)
{
    for (size_t i = 0; map && i < map->count; i++) {
        if (strcmp(map->pair[i].key->text, key) == 0 && !map->pair[i].value->absent) {
            return &map->pair[i];
        }
    }
    return NULL;
}

/* The sort that the keys speak for; -1 and told if they do not speak, or for several. */
static int read_sort(struct an_reading *reading, const struct an_map *map)
{
    static const struct an_word_choice sorts[] = {{"column", AN_MEASURED, false},
                                                  {"count", AN_COUNTED, false},
                                                  {"derived", AN_DERIVED, false}};
    int sort = -1;
    int merged_sort = -1;
    const struct an_yaml_node *second = NULL;
    for (size_t i = 0; i < sizeof sorts / sizeof sorts[0]; i++) {
        const struct an_yaml_pair *pair = pair_of(map->node, sorts[i].word);
        if (pair && pair->merged) {
            merged_sort = sorts[i].value;
        } else if (pair && sort < 0) {
            sort = sorts[i].value;
        } else if (pair) {
            second = pair->key;
        }
    }
    if (second) {
        an_tell(reading, second,
                "%s has more than one of 'column' (measured), 'count' (counted) and 'derived'; "
                "keep one",
                map->what);
        return -1;
    }
    sort = sort >= 0 ? sort : merged_sort;
    if (sort < 0 && !reading->torn && map->at) {
        an_tell(reading, map->at,
                "%s has none of 'column' (measured), 'count' (counted) and 'derived'; add one",
                map->what);
    }
    return sort;
}

/* A key that only some sorts have. */
static const struct an_yaml_node *take_if(struct an_map *map, const char *key, bool fits,
                                          const char *whose)
{
    const struct an_yaml_node *value = an_map_take(map, key);
    if (!value || fits) {
        return value;
    }
    const struct an_yaml_pair *pair = pair_of(map->node, key);
    if (pair && !pair->merged) {
        an_tell(map->reading, pair->key, "'%s' is for %s characteristics; leave it out here", key,
                whose);
    }
    return NULL;
}

/* --- units ----------------------------------------------------------------------------------- */

static void tell_no_conversion(struct an_reading *reading, const struct an_yaml_node *at,
                               const struct an_characteristic *one, enum an_status why)
{
    const struct an_bytes unit = an_bytes_of(one->unit);
    const struct an_bytes column_unit = an_bytes_of(one->column_unit);
    if (why == AN_DOMAIN) {
        an_tell(reading, at, "'%s' (%s) cannot become '%s' (%s)", one->column_unit,
                an_unit_quantity(column_unit), one->unit, an_unit_quantity(unit));
        return;
    }
    const bool which = an_unit_known(column_unit);
    const char *unknown = which ? one->unit : one->column_unit;
    const char *near = an_unit_nearest(an_bytes_of(unknown));
    an_tell(reading, at,
            "no conversion from '%s' to '%s' is known: '%s' is not in the table of units%s%s%s; "
            "or give 'factor'",
            one->column_unit, one->unit, unknown, near ? " (did you mean '" : "", near ? near : "",
            near ? "'?)" : "");
}

static void read_conversion(struct an_reading *reading, struct an_map *map,
                            struct an_characteristic *one, bool measured)
{
    const struct an_yaml_node *unit_node = take_if(map, "column_unit", measured, "measured");
    const struct an_yaml_node *factor = take_if(map, "factor", measured, "measured");
    const struct an_yaml_node *offset = take_if(map, "offset", measured, "measured");
    one->column_unit = an_read_text(reading, unit_node, "column_unit", one->unit);
    one->factor = an_read_number(reading, factor, "factor", 1);
    one->offset = an_read_number(reading, offset, "offset", 0);
    if (factor && one->factor == 0) {
        an_tell(reading, factor, "'factor' is 0; every reading would become the same");
        one->factor = 1;
    }
    if ((factor || offset) && !unit_node && !reading->torn) {
        an_tell(reading, factor ? factor : offset,
                "'%s' needs 'column_unit': the unit of the column before it is converted",
                factor ? "factor" : "offset");
        return;
    }
    if (!unit_node || !one->unit || !one->column_unit) {
        return;
    }
    double known_factor = 1;
    double known_offset = 0;
    const enum an_status st = an_unit_factor(an_bytes_of(one->column_unit), an_bytes_of(one->unit),
                                             &known_factor, &known_offset);
    if (factor || offset) {
        if (!st && fabs(one->factor / known_factor - 1) > 1e-6) {
            an_tell(reading, factor ? factor : offset,
                    "1 %s is %.9g %s, so 'factor' cannot be %.9g; leave it out", one->column_unit,
                    known_factor, one->unit, one->factor);
        }
    } else if (!st) {
        one->factor = known_factor;
        one->offset = known_offset;
    } else if (!an_unit_same(an_bytes_of(one->unit), an_bytes_of(one->column_unit))) {
        tell_no_conversion(reading, unit_node, one, st);
    }
}

/* --- bounds ---------------------------------------------------------------------------------- */

static void read_spec(struct an_reading *reading, const struct an_yaml_node *node,
                      struct an_characteristic *one)
{
    struct an_map map = an_map_open(reading, node, node, "'spec'");
    const struct an_yaml_node *target = an_map_take(&map, "target");
    const struct an_yaml_node *lower = an_map_take(&map, "lower");
    const struct an_yaml_node *upper = an_map_take(&map, "upper");
    one->target = an_read_number(reading, target, "target", (double)NAN);
    one->lsl = an_read_number(reading, lower, "lower", (double)NAN);
    one->usl = an_read_number(reading, upper, "upper", (double)NAN);
    an_map_close(&map);
    if (one->lsl >= one->usl) {
        an_tell(reading, lower, "'lower' (%s) is not below 'upper' (%s)", lower->text, upper->text);
    } else if (one->target < one->lsl || one->target > one->usl) {
        an_tell(reading, target, "'target' (%s) lies outside 'lower' and 'upper'", target->text);
    }
    if (map.node && !target && !lower && !upper && !reading->torn) {
        an_tell(reading, node, "'spec' says nothing; give target, lower or upper");
    }
}

static void read_possible(struct an_reading *reading, const struct an_yaml_node *node,
                          struct an_characteristic *one)
{
    struct an_map map = an_map_open(reading, node, node, "'possible'");
    const struct an_yaml_node *least = an_map_take(&map, "min");
    const struct an_yaml_node *most = an_map_take(&map, "max");
    one->possible_min = an_read_number(reading, least, "min", (double)NAN);
    one->possible_max = an_read_number(reading, most, "max", (double)NAN);
    an_map_close(&map);
    if (one->possible_min >= one->possible_max) {
        an_tell(reading, least, "'min' (%s) is not below 'max' (%s)", least->text, most->text);
    }
}

static void read_only(struct an_reading *reading, const struct an_yaml_node *node,
                      struct an_characteristic *one)
{
    struct an_map map = an_map_open(reading, node, node, "'only'");
    const struct an_yaml_node *column = an_map_take(&map, "column");
    const struct an_yaml_node *words = an_map_take(&map, "words");
    one->only_column = an_read_column(reading, column, "column");
    one->only_words = an_read_words(reading, words, "words");
    an_map_close(&map);
    if (map.node && (!column || !words || one->only_words.count == 0) && !reading->torn) {
        an_tell(reading, node, "'only' wants {column: ..., words: [...]}");
    }
}

/* --- one characteristic ---------------------------------------------------------------------- */

static void read_source(struct an_reading *reading, struct an_map *map,
                        struct an_characteristic *one, struct an_characteristic_places *places,
                        const struct an_missing_list *station_codes)
{
    const bool measured = one->kind == AN_MEASURED && !places->broken;
    const bool counted = one->kind == AN_COUNTED && !places->broken;
    const bool derived = one->kind == AN_DERIVED && !places->broken;
    const bool any = places->broken; /* then nothing can be said about what fits */
    const struct an_yaml_node *column = an_map_take(map, "column");
    const struct an_yaml_node *count = an_map_take(map, "count");
    const struct an_yaml_node *source = an_map_take(map, "derived");
    if (measured) {
        one->column = an_read_column(reading, column, "column");
    } else if (counted) {
        an_read_count(reading, count, one);
    } else if (derived) {
        an_read_derived(reading, source, one, places);
    }
    places->unit =
        measured ? an_map_need(map, "unit", "its unit, or '1'") : an_map_take(map, "unit");
    one->unit = an_read_text(reading, places->unit, "unit", derived ? NULL : "1");
    read_conversion(reading, map, one, measured || any);
    places->opportunities = take_if(map, "opportunities", counted || any, "counted");
    an_read_opportunities(reading, places->opportunities, one);
    one->per = an_read_per(reading, take_if(map, "per", counted || any, "counted"));
    const struct an_yaml_node *missing = take_if(map, "missing", !derived, "measured and counted");
    const struct an_missing_list codes =
        missing ? an_read_missing(reading, missing) : *station_codes;
    if (!derived) {
        one->missing = codes.at;
        one->missing_count = codes.count;
    }
}

static void read_places(struct an_reading *reading, struct an_map *map,
                        struct an_characteristic *one, bool derived)
{
    one->position_column =
        an_read_column(reading, take_if(map, "position_column", !derived, "measured and counted"),
                       "position_column");
    const struct an_yaml_node *node = take_if(map, "grid", !derived, "measured and counted");
    if (node) {
        struct an_map grid = an_map_open(reading, node, node, "'grid'");
        one->row_column =
            an_read_column(reading, an_map_need(&grid, "row", "the column of the row"), "row");
        one->column_column = an_read_column(
            reading, an_map_need(&grid, "column", "the column of the column"), "column");
        an_map_close(&grid);
    }
}

static void read_one(struct an_reading *reading, const struct an_yaml_pair *pair,
                     const struct an_line *line, struct an_characteristic *one,
                     struct an_characteristic_places *places,
                     const struct an_missing_list *station_codes)
{
    const struct an_yaml_node *key = pair->key;
    places->key = key;
    places->what = an_phrase(reading, "characteristic '%s'", key->text);
    an_check_name(reading, key, "characteristic");
    one->name = key->text;
    one->line_no = key->line;
    for (size_t k = 0; k < AN_JOINT_MOST; k++) {
        one->of[k] = AN_NONE;
    }
    struct an_map map = an_map_open(reading, pair->value, key, places->what);
    const int sort = read_sort(reading, &map);
    places->broken = sort < 0;
    one->kind = sort < 0 ? AN_MEASURED : (enum an_value_kind)sort;
    if (places->broken) {
        map.at = NULL; /* what else is missing depends on the sort */
    }
    const bool derived = one->kind == AN_DERIVED;
    one->title = an_read_text(reading, an_map_take(&map, "title"), "title", key->text);
    read_source(reading, &map, one, places, station_codes);
    read_places(reading, &map, one, derived);
    places->split = an_map_take(&map, "split");
    one->splits = an_read_columns(reading, places->split, "split");
    places->only = an_map_take(&map, "only");
    read_only(reading, places->only, one);
    places->spec = an_map_take(&map, "spec");
    read_spec(reading, places->spec, one);
    places->possible = an_map_take(&map, "possible");
    read_possible(reading, places->possible, one);
    places->subgroup = take_if(&map, "subgroup", !derived, "measured and counted");
    an_read_subgroup(reading, places->subgroup, one);
    places->family = an_map_take(&map, "family");
    one->family = an_read_family(reading, places->family, one);
    an_read_weighting(reading, an_map_take(&map, "weighted"), one);
    an_read_shape(reading, an_map_take(&map, "shape"), one);
    an_read_scale(reading, an_map_take(&map, "scale"), one);
    const struct an_yaml_node *limits = an_map_take(&map, "limits");
    an_read_limits_by(reading, limits, an_map_take(&map, "covariance"),
                      places->family ? places->family : key, one);
    one->rules = an_read_rules(reading, an_map_take(&map, "rules"));
    const struct an_yaml_node *ribbon = an_map_take(&map, "ribbon");
    an_read_ribbon(reading, ribbon, line, one);
    an_read_along(reading, &map, ribbon, places->family ? places->family : key, one);
    const struct an_yaml_node *sigmas = an_map_take(&map, "limit_sigmas");
    one->limit_sigmas = an_read_number(reading, sigmas, "limit_sigmas", 3);
    if (one->limit_sigmas < 1 || one->limit_sigmas > 6) {
        an_tell(reading, sigmas, "'limit_sigmas' is from 1 to 6, not %s", sigmas->text);
    }
    if (one->weighting.kind == AN_GAPS) {
        one->weighting.limits = one->limit_sigmas;
    }
    one->signal_is_news = an_read_bool(reading, an_map_take(&map, "signals"), "signals", true);
    one->decimals = an_read_whole(reading, an_map_take(&map, "decimals"), "decimals", 0, 9, -1);
    an_map_close(&map);
}

void an_read_characteristics(struct an_reading *reading, const struct an_yaml_node *node,
                             struct an_line *line, size_t station,
                             const struct an_missing_list *station_codes)
{
    struct an_station *of = &line->stations[station];
    const struct an_map map = an_map_open(
        reading, node, NULL, an_phrase(reading, "'characteristics' of station '%s'", of->name));
    const size_t count = map.node ? map.node->count : 0;
    const size_t first = line->characteristic_count;
    struct an_characteristic_places *places = an_room(reading, count, sizeof *places);
    of->characteristics = an_room(reading, count, sizeof *of->characteristics);
    if (!places || !of->characteristics) {
        return;
    }
    for (size_t i = 0; i < count; i++) {
        struct an_characteristic *one = &line->characteristics[first + i];
        one->station = station;
        of->characteristics[of->characteristic_count++] = first + i;
        read_one(reading, &map.node->pair[i], line, one, &places[i], station_codes);
    }
    line->characteristic_count += count;
    an_settle_derived(reading, line, first, count, places);
    for (size_t i = 0; i < count; i++) {
        if (!places[i].broken) {
            an_check_characteristic(reading, &line->characteristics[first + i], &places[i]);
        }
    }
}
