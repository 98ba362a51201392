/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Characteristics made of others. Responsible for finding the sources and for what is taken over
 * from them; must never compute a value.
 *
 * A source that is derived itself must stand above, so that whoever computes may go through the
 * list once from top to bottom; that also rules circles out, which are told apart all the same.
 */
#include "line/sections.h"
#include "line/unit.h"

#include <string.h>

static const struct an_word_choice derivations[] = {
    {"min_over_max", AN_DERIVE_MIN_OVER_MAX, false},
    {"neighbour_step", AN_DERIVE_NEIGHBOUR_STEP, false},
    {"radial", AN_DERIVE_RADIAL, false},
    {"range", AN_DERIVE_RANGE, false},
    {"mean", AN_DERIVE_MEAN, false},
    {"sd", AN_DERIVE_SD, false},
    {"difference", AN_DERIVE_DIFFERENCE, false},
    {"together", AN_DERIVE_TOGETHER, false},
    {"extremes", AN_DERIVE_EXTREMES, false},
};

static bool takes_two(enum an_derivation how)
{
    return how == AN_DERIVE_RADIAL || how == AN_DERIVE_DIFFERENCE || how == AN_DERIVE_TOGETHER;
}

void an_read_derived(struct an_reading *reading, const struct an_yaml_node *node,
                     struct an_characteristic *one, struct an_characteristic_places *places)
{
    struct an_map map = an_map_open(reading, node, node, "'derived'");
    const struct an_yaml_node *how = an_map_need(&map, "how", "a way such as 'min_over_max'");
    const struct an_yaml_node *of = an_map_need(&map, "of", "the characteristic it is made of");
    an_map_close(&map);
    one->derivation = (enum an_derivation)an_read_choice(reading, how, "how", derivations,
                                                         sizeof derivations / sizeof derivations[0],
                                                         AN_NOT_DERIVED);
    if (!of) {
        return;
    }
    const bool single = of->kind == AN_YAML_SCALAR;
    const size_t given = single ? 1 : of->count;
    if (of->kind == AN_YAML_MAP) {
        an_tell(reading, of, "'of' is the name of a characteristic, or a list of two");
        return;
    }
    const bool together = one->derivation == AN_DERIVE_TOGETHER;
    const size_t wanted = takes_two(one->derivation) ? 2 : 1;
    const size_t most = together ? AN_JOINT_MOST : wanted;
    if (one->derivation != AN_NOT_DERIVED && (given < wanted || given > most)) {
        an_tell(reading, of, "'%s' is made of %s, not of %zu", how->text,
                together      ? "two to six characteristics, of: [a, b, c]"
                : wanted == 2 ? "two characteristics, of: [a, b]"
                              : "one characteristic, of: a",
                given);
    }
    for (size_t i = 0; i < given && i < AN_JOINT_MOST && (i < 2 || together); i++) {
        const struct an_yaml_node *name = single ? of : of->item[i];
        places->of[i] = an_read_text(reading, name, "of", NULL) ? name : NULL;
        one->of_given = i + 1;
    }
}

/* --- once all of the station are read -------------------------------------------------------- */

static size_t find_source(struct an_reading *reading, const struct an_line *line, size_t first,
                          size_t count, const struct an_yaml_node *name)
{
    const char *words[1000];
    for (size_t i = 0; i < count; i++) {
        const char *known = line->characteristics[first + i].name;
        if (strcmp(known, name->text) == 0) {
            return first + i;
        }
        words[i] = known;
    }
    if (!reading->torn) {
        an_tell(reading, name, "this station has no characteristic '%s'%s", name->text,
                an_hint(reading, name->text, words, count, "it has"));
    }
    return AN_NONE;
}

/* True if `from` is made, by any way, of `to`. Each step goes on to sources not seen yet. */
static bool leads_to(const struct an_line *line, size_t first, size_t from, size_t to, bool *seen)
{
    size_t waiting[6 * 1001];
    size_t depth = 0;
    waiting[depth++] = from;
    while (depth > 0) {
        const size_t at = waiting[--depth];
        if (at == to) {
            return true;
        }
        const struct an_characteristic *one = &line->characteristics[at];
        if (seen[at - first] || one->kind != AN_DERIVED) {
            continue;
        }
        seen[at - first] = true;
        for (size_t i = 0; i < AN_JOINT_MOST; i++) {
            if (one->of[i] != AN_NONE && depth < sizeof waiting / sizeof *waiting) {
                waiting[depth++] = one->of[i];
            }
        }
    }
    return false;
}

/* What a source must be, by what is made of it. */
static void check_source(struct an_reading *reading, const struct an_characteristic *one,
                         const struct an_characteristic *source, const struct an_yaml_node *name)
{
    const bool two = takes_two(one->derivation);
    if (source->kind == AN_COUNTED) {
        an_tell(reading, name, "'%s' is counted; a derived characteristic is made of readings",
                source->name);
    } else if (!two && source->kind == AN_DERIVED) {
        an_tell(reading, name,
                "'%s' is derived and has one value an item; this is made of the readings of a "
                "measured characteristic",
                source->name);
    } else if (one->derivation == AN_DERIVE_NEIGHBOUR_STEP && source->kind == AN_MEASURED &&
               !(source->row_column && source->column_column)) {
        an_tell(reading, name,
                "neighbours are found on a grid, and '%s' has none; give it 'grid: {row: ..., "
                "column: ...}'",
                source->name);
    }
}

static bool same_splits(const struct an_characteristic *a, const struct an_characteristic *b)
{
    bool same = a->splits.count == b->splits.count;
    for (size_t i = 0; same && i < a->splits.count; i++) {
        same = strcmp(a->splits.at[i], b->splits.at[i]) == 0;
    }
    return same;
}

/* Each value is looked up in a stream of its own, sample by sample. */
static void check_together(struct an_reading *reading, const struct an_characteristic *one,
                           const struct an_characteristic_places *places)
{
    for (size_t k = 0; k < AN_JOINT_MOST && one->of[k] != AN_NONE; k++) {
        const struct an_characteristic *source = one->source[k];
        if (k && (!same_splits(one->source[0], source) || !same_splits(one, source))) {
            an_tell(reading, places->of[k],
                    "'%s' and '%s' are judged together sample by sample, so both and '%s' need the "
                    "same 'split'",
                    one->source[0]->name, source->name, one->name);
        }
        if (source->kind == AN_MEASURED && source->subgroup != AN_SUBGROUP_ITEM) {
            an_tell(reading, places->of[k],
                    "'%s' has several samples an item; together with another it wants 'subgroup: "
                    "item'",
                    source->name);
        }
        for (size_t i = 0; i < k; i++) {
            if (one->source[i] == source) {
                an_tell(reading, places->of[k],
                        "'%s' together with itself says nothing more; name another", source->name);
                break;
            }
        }
        if (one->spread == AN_JOINT_POOLED && source->kind != AN_MEASURED) {
            an_tell(
                reading, places->of[k],
                "'covariance: within' is of readings inside a sample, and '%s' has one value an "
                "item",
                source->name);
        }
    }
}

/* The group has the columns that its members share; they have at least one more. */
static void check_extremes(struct an_reading *reading, const struct an_characteristic *one,
                           const struct an_characteristic *source,
                           const struct an_characteristic_places *places)
{
    bool fewer = one->splits.count < source->splits.count;
    for (size_t i = 0; fewer && i < one->splits.count; i++) {
        size_t k = 0;
        while (k < source->splits.count && strcmp(source->splits.at[k], one->splits.at[i]) != 0) {
            k++;
        }
        fewer = k < source->splits.count;
    }
    if (!fewer) {
        an_tell(reading, places->split ? places->split : places->key,
                "'%s' gathers the streams that '%s' is split into: give it 'split' with fewer of "
                "those columns, or 'split: []' for all of them in one",
                one->name, source->name);
    }
    if (source->subgroup != AN_SUBGROUP_ITEM && source->kind == AN_MEASURED) {
        an_tell(reading, places->of[0],
                "'%s' has several samples an item; to be gathered it wants 'subgroup: item'",
                source->name);
    }
}

static void take_over(struct an_characteristic *one, const struct an_characteristic *source,
                      const struct an_characteristic_places *places)
{
    if (!one->unit) {
        const bool bare = one->derivation == AN_DERIVE_MIN_OVER_MAX ||
                          one->derivation == AN_DERIVE_TOGETHER ||
                          one->derivation == AN_DERIVE_EXTREMES;
        one->unit = bare ? "1" : source->unit;
        one->column_unit = one->unit;
    }
    if (!places->split) {
        one->splits = source->splits;
    }
    if (!places->only) {
        one->only_column = source->only_column;
        one->only_words = source->only_words;
    }
}

/* A derivation converts nothing: its unit follows from what it is made of. */
static void check_unit(struct an_reading *reading, const struct an_line *line,
                       const struct an_characteristic *one,
                       const struct an_characteristic_places *places)
{
    const struct an_characteristic *source = &line->characteristics[one->of[0]];
    const struct an_bytes unit = an_bytes_of(one->unit);
    const struct an_bytes percent = an_bytes_of("%");
    if (one->derivation == AN_DERIVE_TOGETHER || one->derivation == AN_DERIVE_EXTREMES) {
        if (places->unit && !an_unit_same(unit, an_bytes_of("1"))) {
            an_tell(reading, places->unit, "%s has no unit; leave it out",
                    one->derivation == AN_DERIVE_TOGETHER ? "a distance of several variables"
                                                          : "a value in sigmas");
        }
        return;
    }
    if (one->of[1] != AN_NONE && source->unit && line->characteristics[one->of[1]].unit &&
        !an_unit_same(an_bytes_of(source->unit),
                      an_bytes_of(line->characteristics[one->of[1]].unit))) {
        an_tell(reading, places->of[1], "'%s' is in %s and '%s' in %s; give both one unit",
                source->name, source->unit, line->characteristics[one->of[1]].name,
                line->characteristics[one->of[1]].unit);
    }
    if (!places->unit || !source->unit) {
        return;
    }
    if (one->derivation == AN_DERIVE_MIN_OVER_MAX) {
        if (!an_unit_same(unit, an_bytes_of("1")) && !an_unit_same(unit, percent)) {
            an_tell(reading, places->unit, "min_over_max is a ratio: its unit is '1' or '%%'");
        }
    } else if (!an_unit_same(unit, an_bytes_of(source->unit)) &&
               !(one->derivation == AN_DERIVE_NEIGHBOUR_STEP && an_unit_same(unit, percent))) {
        an_tell(reading, places->unit, "made of '%s', it is in '%s'%s; leave 'unit' out",
                source->name, source->unit,
                one->derivation == AN_DERIVE_NEIGHBOUR_STEP ? " or, relative, in '%'" : "");
    }
}

static void check_order(struct an_reading *reading, const struct an_line *line, size_t first,
                        size_t count, size_t at, size_t source, const struct an_yaml_node *name)
{
    if (source < at || line->characteristics[source].kind != AN_DERIVED) {
        return;
    }
    bool *seen = an_room(reading, count, sizeof *seen);
    if (source == at) {
        an_tell(reading, name, "'%s' is made of itself", name->text);
    } else if (seen && leads_to(line, first, source, at, seen)) {
        an_tell(reading, name, "'%s' is made of itself by way of '%s'",
                line->characteristics[at].name, line->characteristics[source].name);
    } else if (seen) {
        an_tell(reading, name, "'%s' is derived itself; it must stand above '%s'",
                line->characteristics[source].name, line->characteristics[at].name);
    }
}

void an_settle_derived(struct an_reading *reading, struct an_line *line, size_t first, size_t count,
                       const struct an_characteristic_places *places)
{
    for (size_t i = 0; i < count; i++) {
        struct an_characteristic *one = &line->characteristics[first + i];
        for (size_t k = 0; k < AN_JOINT_MOST && one->kind == AN_DERIVED; k++) {
            one->of[k] = places[i].of[k] ? find_source(reading, line, first, count, places[i].of[k])
                                         : AN_NONE;
        }
    }
    for (size_t i = 0; i < count; i++) {
        struct an_characteristic *one = &line->characteristics[first + i];
        if (one->kind != AN_DERIVED || one->of[0] == AN_NONE) {
            continue;
        }
        for (size_t k = 0; k < AN_JOINT_MOST; k++) {
            if (one->of[k] != AN_NONE) {
                check_source(reading, one, &line->characteristics[one->of[k]], places[i].of[k]);
                check_order(reading, line, first, count, first + i, one->of[k], places[i].of[k]);
            }
        }
        for (size_t k = 0; k < AN_JOINT_MOST && one->of[k] != AN_NONE; k++) {
            one->source[k] = &line->characteristics[one->of[k]];
            one->of_name[k] = one->source[k]->name;
            one->of_count = k + 1;
        }
        take_over(one, &line->characteristics[one->of[0]], &places[i]);
        check_unit(reading, line, one, &places[i]);
        if (one->derivation == AN_DERIVE_EXTREMES) {
            check_extremes(reading, one, &line->characteristics[one->of[0]], &places[i]);
        }
        if (one->derivation == AN_DERIVE_TOGETHER && one->of[1] != AN_NONE) {
            check_together(reading, one, &places[i]);
        }
    }
}
