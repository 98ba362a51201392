/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What must hold between the parts of a characteristic, and between stations, once both are read.
 * Must never read a value: only compare what others read.
 */
#include "line/sections.h"

#include <math.h>
#include <string.h>

static bool wants_opportunities(enum an_family family)
{
    return family == AN_P || family == AN_NP || family == AN_U || family == AN_P_PRIME ||
           family == AN_U_PRIME || family == AN_G;
}

static bool is_proportion(enum an_family family)
{
    return family == AN_P || family == AN_P_PRIME;
}

static bool wants_several_readings(enum an_family family)
{
    return family == AN_XBAR_R || family == AN_XBAR_S || family == AN_BETWEEN_WITHIN;
}

static void check_counted(struct an_reading *reading, const struct an_characteristic *one,
                          const struct an_characteristic_places *places)
{
    const struct an_yaml_node *at = places->family ? places->family : places->key;
    const char *family = an_family_name(one->family);
    if (!an_family_is_attribute(one->family)) {
        an_tell(reading, at,
                "%s is counted, and '%s' is a chart for readings; use p, np, c, u, p_prime, "
                "u_prime, g or t",
                places->what, family);
        return;
    }
    const bool has = one->opportunities_column || !isnan(one->opportunities);
    if (wants_opportunities(one->family) && !has && !reading->torn && !places->opportunities) {
        an_tell(reading, at, "'%s' needs 'opportunities': a column, or a number", family);
    }
    if (is_proportion(one->family) && one->usl > 1) {
        an_tell(reading, places->spec,
                "'upper' of a proportion is at most 1; 'per' changes what is shown, not the spec");
    }
}

static void check_readings(struct an_reading *reading, const struct an_characteristic *one,
                           const struct an_characteristic_places *places)
{
    const struct an_yaml_node *at = places->family ? places->family : places->key;
    const char *family = an_family_name(one->family);
    if (an_family_is_attribute(one->family)) {
        an_tell(reading, at, "%s is %s, and '%s' is a chart for counts; use %s", places->what,
                one->kind == AN_DERIVED ? "derived" : "measured", family,
                one->kind == AN_DERIVED
                    ? "individuals"
                    : "xbar_r, xbar_s, individuals or between_within, or 'count' for 'column'");
    } else if ((one->derivation == AN_DERIVE_TOGETHER) != an_family_is_joint(one->family)) {
        an_tell(
            reading, at,
            an_family_is_joint(one->family)
                ? "'%s' is of several characteristics; say 'derived: {how: together, of: [a, b]}'"
                : "characteristics together are judged by t2 or mewma, not by '%s'",
            family);
    } else if ((one->derivation == AN_DERIVE_EXTREMES) != (one->family == AN_GROUP)) {
        an_tell(reading, at,
                one->family == AN_GROUP
                    ? "'%s' is of parallel streams; say 'derived: {how: extremes, of: a}'"
                    : "extremes of parallel streams are judged by group, not by '%s'",
                family);
    } else if (one->kind == AN_DERIVED && one->family != AN_INDIVIDUALS &&
               one->family != AN_GROUP && one->family != AN_RESIDUALS && one->family != AN_WEAR &&
               one->family != AN_SHORT_RUN && !an_family_is_joint(one->family)) {
        an_tell(reading, at, "%s has one value an item, so its family is 'individuals', not '%s'",
                places->what, family);
    } else if (one->subgroup == AN_SUBGROUP_ROW && wants_several_readings(one->family)) {
        an_tell(reading, at,
                "'%s' needs several readings a sample, and 'subgroup: row' gives one; use "
                "individuals, or {every: N}",
                family);
    } else if (one->family == AN_XBAR_R && one->subgroup == AN_SUBGROUP_EVERY &&
               one->subgroup_size > 25) {
        an_tell(reading, at,
                "'xbar_r' takes samples of 2 to 25, not of %d; use xbar_s (a range wastes what "
                "large samples say)",
                one->subgroup_size);
    }
}

/* Bounds that cannot meet are mostly bounds in two units. */
static void check_bounds(struct an_reading *reading, const struct an_characteristic *one,
                         const struct an_characteristic_places *places)
{
    if (one->lsl > one->possible_max || one->usl < one->possible_min ||
        one->target > one->possible_max || one->target < one->possible_min) {
        an_tell(reading, places->possible,
                "the possible range and the spec of %s do not meet; are both in '%s'?",
                places->what, one->unit ? one->unit : "1");
    }
}

/* A stream is named station.characteristic@column=value,column=value. */
static void check_splits(struct an_reading *reading, const struct an_characteristic *one,
                         const struct an_characteristic_places *places)
{
    for (size_t i = 0; places->split && i < one->splits.count; i++) {
        const char *column = one->splits.at[i];
        if (strpbrk(column, ",=@")) {
            an_tell(reading, places->split,
                    "a column with ',', '=' or '@' in its name ('%s') cannot split: stream names "
                    "use these signs",
                    column);
        }
        if (one->column && strcmp(column, one->column) == 0) {
            an_tell(reading, places->split,
                    "'split' names the column of the value itself, '%s'; each value would have a "
                    "chart of its own",
                    column);
        }
    }
}

void an_check_characteristic(struct an_reading *reading, const struct an_characteristic *one,
                             const struct an_characteristic_places *places)
{
    if (one->kind == AN_COUNTED) {
        check_counted(reading, one, places);
    } else {
        check_readings(reading, one, places);
    }
    if ((one->derivation == AN_DERIVE_TOGETHER || one->derivation == AN_DERIVE_EXTREMES) &&
        places->spec) {
        an_tell(reading, places->spec, "%s is %s and has no spec; give it to each of them",
                places->what,
                one->derivation == AN_DERIVE_TOGETHER ? "a distance of several variables"
                                                      : "made of several streams");
    }
    check_bounds(reading, one, places);
    check_splits(reading, one, places);
}

void an_check_stations(struct an_reading *reading, const struct an_line *line,
                       const struct an_yaml_node *stations)
{
    for (size_t i = 1; i < line->station_count; i++) {
        const struct an_station *station = &line->stations[i];
        for (size_t j = 0; j < i; j++) {
            const struct an_station *other = &line->stations[j];
            if (strcmp(station->folder, other->folder) == 0 &&
                strcmp(station->pattern, other->pattern) == 0) {
                an_tell(reading, stations->pair[i].key,
                        "stations '%s' and '%s' both take '%s' in folder '%s'; a file belongs to "
                        "one station",
                        station->name, other->name, station->pattern, station->folder);
                break;
            }
        }
    }
}
