/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How far a station's files are trusted: what makes a row the same row, its clock, its running
 * numbers, the machine it names; and which gauges are calibrated. Must never look at a file.
 */
#include "line/sections.h"

#include <string.h>

static bool is_preamble(const struct an_station *station, const char *column)
{
    for (size_t i = 0; i < station->preamble_count; i++) {
        if (strcmp(station->preamble[i].column, column) == 0) {
            return true;
        }
    }
    return false;
}

static void read_clock(struct an_reading *reading, const struct an_yaml_node *node,
                       const char *what, struct an_station *station)
{
    station->clock_tolerance_us = AN_HOUR_US;
    if (node && node->kind == AN_YAML_SCALAR) {
        if (an_read_bool(reading, node, "clock", false)) {
            an_tell(reading, node, "'clock' is no, or {tolerance: TIME}");
        }
        station->clock_tolerance_us = 0;
        return;
    }
    struct an_map map = an_map_open(reading, node, NULL, an_phrase(reading, "'clock' of %s", what));
    const struct an_yaml_node *tolerance = an_map_take(&map, "tolerance");
    if (tolerance) {
        station->clock_tolerance_us = an_read_duration_us(reading, tolerance, "tolerance");
    }
    an_map_close(&map);
}

/* The number stands in the file's name, or in a preamble field. */
static void read_number(struct an_reading *reading, const struct an_yaml_node *node,
                        const char *what, struct an_station *station)
{
    if (!node) {
        return;
    }
    struct an_map map =
        an_map_open(reading, node, NULL, an_phrase(reading, "'file_number' of %s", what));
    const struct an_yaml_node *name = an_map_take(&map, "name");
    const struct an_yaml_node *preamble = an_map_take(&map, "preamble");
    station->number_regex = an_read_regex(reading, name, "name", 1);
    station->number_column = an_read_text(reading, preamble, "preamble", NULL);
    if (map.node && !name == !preamble && !reading->torn) {
        an_tell(reading, node,
                "'file_number' wants either 'name', a pattern for the file's name, or 'preamble', "
                "one of the preamble's columns");
    }
    if (station->number_column && !is_preamble(station, station->number_column)) {
        an_tell(reading, preamble, "'file_number' of %s names '%s', which is not under 'preamble'",
                what, station->number_column);
        station->number_column = NULL;
    }
    an_map_close(&map);
}

void an_read_trust(struct an_reading *reading, struct an_map *map, struct an_station *station)
{
    const char *what = map->what;
    station->key = an_read_columns(reading, an_map_take(map, "key"), "key");
    station->reason_column =
        an_read_column(reading, an_map_take(map, "reason_column"), "reason_column");
    read_clock(reading, an_map_take(map, "clock"), what, station);
    const struct an_yaml_node *late = an_map_take(map, "late_after");
    station->late_after_us =
        late ? an_read_duration_us(reading, late, "late_after") : 8 * AN_HOUR_US;
    read_number(reading, an_map_take(map, "file_number"), what, station);
    const struct an_yaml_node *identity = an_map_take(map, "identity");
    station->identity_column = an_read_column(reading, identity, "identity");
    if (station->identity_column && !is_preamble(station, station->identity_column) &&
        (!station->tool_column || strcmp(station->tool_column, station->identity_column) != 0)) {
        an_tell(reading, identity,
                "'identity' of %s is the 'tool_column' or a column of 'preamble', not '%s'", what,
                station->identity_column);
        station->identity_column = NULL;
    }
}

/* --- gauges ------------------------------------------------------------------------------------ */

/* The last day of the calibration, in the line's zone; it ends when that day does. */
static int64_t read_day(struct an_reading *reading, const struct an_yaml_node *node,
                        const struct an_line *line)
{
    const char *text = an_read_text(reading, node, "calibrated_until", NULL);
    struct an_civil civil;
    int64_t at_us[2] = {0, 0};
    if (!text) {
        return AN_NO_INSTANT;
    }
    memset(&civil, 0, sizeof civil);
    if (an_civil_parse(an_bytes_of(text), "%Y-%m-%d", &civil) != AN_OK) {
        an_tell(reading, node, "'calibrated_until' wants a day such as 2026-09-30, not '%s'", text);
        return AN_NO_INSTANT;
    }
    civil.hour = 12; /* noon is never jumped over */
    if (!line->zone || an_zone_instants(line->zone, &civil, at_us) < 1) {
        return AN_NO_INSTANT;
    }
    return at_us[0] + 12 * AN_HOUR_US;
}

void an_read_gauges(struct an_reading *reading, const struct an_yaml_node *node,
                    struct an_line *line)
{
    const struct an_map map = an_map_open(reading, node, NULL, "'gauges' (name: {...})");
    if (!map.node) {
        return;
    }
    line->gauges = an_room(reading, map.node->count, sizeof *line->gauges);
    for (size_t i = 0; line->gauges && i < map.node->count; i++) {
        const struct an_yaml_node *key = map.node->pair[i].key;
        struct an_gauge *gauge = &line->gauges[line->gauge_count++];
        struct an_map one = an_map_open(reading, map.node->pair[i].value, key,
                                        an_phrase(reading, "gauge '%s'", key->text));
        gauge->name = key->text;
        gauge->until_us = read_day(
            reading, an_map_need(&one, "calibrated_until", "a day such as 2026-09-30"), line);
        const struct an_yaml_node *station = an_map_take(&one, "station");
        gauge->station = an_read_text(reading, station, "station", NULL);
        if (gauge->station && an_line_station(line, an_bytes_of(gauge->station)) == AN_NONE &&
            !reading->torn) {
            an_tell(reading, station, "gauge '%s' names the station '%s', which is not described",
                    key->text, gauge->station);
        }
        an_map_close(&one);
    }
}

void an_check_closings(struct an_reading *reading, const struct an_line *line,
                       const struct an_yaml_node *kinds)
{
    for (size_t i = 0; kinds && kinds->kind == AN_YAML_MAP && i < line->kind_count; i++) {
        const struct an_item_kind *kind = &line->kinds[i];
        if (kind->closed_by && !reading->torn &&
            an_line_station(line, an_bytes_of(kind->closed_by)) == AN_NONE) {
            const struct an_yaml_node *at = an_yaml_get(kinds->pair[i].value, "closed_by");
            an_tell(reading, at ? at : kinds->pair[i].key,
                    "kind '%s' is closed by the station '%s', which is not described", kind->name,
                    kind->closed_by);
        }
    }
}
