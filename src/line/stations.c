/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The stations. Responsible for what stands directly under a station and for the set of columns its
 * parts are checked against; must never open a file of a station.
 */
#include "line/sections.h"

#include <string.h>

#define STATIONS_MOST 1000
#define CHARACTERISTICS_MOST 1000 /* of one station */
#define TOTAL_MOST 20000

const char *an_read_zone(struct an_reading *reading, const struct an_yaml_node *node,
                         struct an_zone **zone)
{
    *zone = NULL;
    const char *name = an_read_text(reading, node, "zone", NULL);
    if (!name) {
        return NULL;
    }
    const enum an_status st = an_zone_open(name, zone, NULL);
    if (st == AN_NO_MEMORY) {
        reading->mistakes->failed = true;
    } else if (st) {
        an_tell(reading, node,
                "no time zone '%s' on this system; write an IANA name such as 'Europe/Rome'", name);
    }
    return name;
}

/* --- where its files are --------------------------------------------------------------------- */

static bool has_parent_step(const char *folder)
{
    for (const char *at = folder; at; at = strchr(at, '/')) {
        at += *at == '/' ? 1 : 0;
        if (strncmp(at, "..", 2) == 0 && (at[2] == 0 || at[2] == '/')) {
            return true;
        }
    }
    return false;
}

/* Without "./" before and "/" behind, so that two spellings of one folder are one. */
static const char *read_folder(struct an_reading *reading, const struct an_yaml_node *node,
                               const char *fallback)
{
    const char *folder = an_read_text(reading, node, "folder", NULL);
    if (!folder) {
        return fallback;
    }
    if (folder[0] == '/' || has_parent_step(folder)) {
        an_tell(reading, node,
                "'folder' is a path below the description's own folder, without '..', not '%s'",
                folder);
        return fallback;
    }
    while (strncmp(folder, "./", 2) == 0) {
        folder += 2;
    }
    size_t length = strlen(folder);
    while (length > 0 && folder[length - 1] == '/') {
        length--;
    }
    if (length == 0 || (length == 1 && folder[0] == '.')) {
        an_tell(reading, node, "'folder' names the description's own folder; give the station one");
        return fallback;
    }
    return an_phrase(reading, "%.*s", (int)length, folder);
}

static const char *read_file_pattern(struct an_reading *reading, const struct an_yaml_node *node)
{
    const char *pattern = an_read_text(reading, node, "files", "*.csv");
    if (strchr(pattern, '/')) {
        an_tell(reading, node,
                "'files' is a pattern for names without '/'; folders go to 'folder'");
    }
    return pattern;
}

/* --- columns --------------------------------------------------------------------------------- */

static void read_preamble(struct an_reading *reading, const struct an_yaml_node *node,
                          struct an_station *station)
{
    const struct an_map map = an_map_open(reading, node, NULL, "'preamble' (column: 'pattern')");
    if (!map.node) {
        return;
    }
    station->preamble = an_room(reading, map.node->count, sizeof *station->preamble);
    for (size_t i = 0; station->preamble && i < map.node->count; i++) {
        struct an_preamble_field *field = &station->preamble[station->preamble_count++];
        const struct an_yaml_node *key = map.node->pair[i].key;
        field->column = an_read_text(reading, key, "preamble", "");
        field->regex = an_read_regex(reading, map.node->pair[i].value, key->text, 1);
    }
}

/* The columns the file has, if the station says so, with those the preamble adds. NULL if not. */
static struct an_names *read_column_names(struct an_reading *reading,
                                          const struct an_yaml_node *node,
                                          const struct an_station *station)
{
    const struct an_word_list list = an_read_words(reading, node, "columns");
    if (list.count == 0) {
        return NULL;
    }
    struct an_names *names = an_names_open();
    bool full = names != NULL;
    for (size_t i = 0; full && i < list.count; i++) {
        full = an_names_add(names, an_bytes_of(list.at[i])) != AN_NO_NAME;
    }
    for (size_t i = 0; full && i < station->preamble_count; i++) {
        full = an_names_add(names, an_bytes_of(station->preamble[i].column)) != AN_NO_NAME;
    }
    if (!full) {
        reading->mistakes->failed = true;
    }
    return names;
}

/* --- time and item --------------------------------------------------------------------------- */

static const char *read_time_pattern(struct an_reading *reading, const struct an_yaml_node *node)
{
    const char *pattern = an_read_text(reading, node, "pattern", "rfc3339");
    struct an_error err = {0};
    const enum an_status st = an_civil_pattern_check(pattern, &err);
    if (st == AN_NO_MEMORY) {
        reading->mistakes->failed = true;
    } else if (st) {
        an_tell(reading, node, "'pattern' cannot be used: %s", err.text);
    }
    return pattern;
}

static void read_time(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                      struct an_time_column *time)
{
    time->pattern = "rfc3339";
    if (!node) {
        return;
    }
    if (node->kind == AN_YAML_SCALAR) {
        if (strcmp(node->text, "file") != 0) {
            an_tell(reading, node,
                    "'time' is {column: ..., pattern: ...}, or 'file' if rows carry no time; "
                    "not '%s'",
                    node->text);
        }
        return;
    }
    struct an_map map = an_map_open(reading, node, NULL, an_phrase(reading, "'time' of %s", what));
    time->column =
        an_read_column(reading, an_map_need(&map, "column", "the column of the time"), "column");
    time->pattern = read_time_pattern(reading, an_map_take(&map, "pattern"));
    struct an_zone *zone = NULL;
    time->zone = an_read_zone(reading, an_map_take(&map, "zone"), &zone);
    an_zone_close(zone);
    an_map_close(&map);
}

static void read_item(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                      const struct an_line *line, struct an_station *station)
{
    station->item_kind = AN_NONE;
    if (!node) {
        return;
    }
    struct an_map map = an_map_open(reading, node, NULL, an_phrase(reading, "'item' of %s", what));
    station->item_kind =
        an_read_kind(reading, an_map_need(&map, "kind", "one of the declared kinds"), "kind", line);
    station->item_column =
        an_read_column(reading, an_map_need(&map, "column", "the column of the serial"), "column");
    station->item_refines =
        an_read_bool(reading, an_map_take(&map, "made_here"), "made_here", false);
    const struct an_yaml_node *known = an_map_take(&map, "known_first");
    station->item_known_first = an_read_bool(reading, known, "known_first", false);
    if (station->item_refines && station->item_known_first) {
        an_tell(reading, known,
                "'made_here' says that a new serial is expected, 'known_first' "
                "that none is; keep one");
    }
    const struct an_yaml_node *within = an_map_take(&map, "serial_within");
    if (within) {
        station->serial_within_us = an_read_duration_us(reading, within, "serial_within");
    }
    an_map_close(&map);
}

static void read_named_columns(struct an_reading *reading, struct an_map *map,
                               struct an_station *station)
{
    const struct an_yaml_node *gauge = an_map_take(map, "gauge");
    station->gauge = an_read_text(reading, gauge, "gauge", NULL);
    station->gauge_column =
        an_read_column(reading, an_map_take(map, "gauge_column"), "gauge_column");
    if (station->gauge && station->gauge_column) {
        an_tell(reading, gauge, "%s has both 'gauge' and 'gauge_column'; keep one", map->what);
    }
    station->sequence_column =
        an_read_column(reading, an_map_take(map, "sequence_column"), "sequence_column");
    station->tool_column = an_read_column(reading, an_map_take(map, "tool_column"), "tool_column");
    station->operator_column =
        an_read_column(reading, an_map_take(map, "operator_column"), "operator_column");
    station->attempt_column =
        an_read_column(reading, an_map_take(map, "attempt_column"), "attempt_column");
}

/* --- the station ----------------------------------------------------------------------------- */

static void read_station(struct an_reading *reading, struct an_line *line, size_t index,
                         const struct an_yaml_pair *pair)
{
    struct an_station *station = &line->stations[index];
    const struct an_yaml_node *key = pair->key;
    const char *what = an_phrase(reading, "station '%s'", key->text);
    an_check_name(reading, key, "station");
    station->name = key->text;
    station->line_no = key->line;
    struct an_map map = an_map_open(reading, pair->value, key, what);
    station->title = an_read_text(reading, an_map_take(&map, "title"), "title", key->text);
    station->folder = read_folder(reading, an_map_take(&map, "folder"), key->text);
    station->pattern = read_file_pattern(reading, an_map_take(&map, "files"));
    an_read_dialect(reading, an_map_take(&map, "format"), what, &station->dialect);
    read_preamble(reading, an_map_take(&map, "preamble"), station);
    struct an_names *columns = read_column_names(reading, an_map_take(&map, "columns"), station);
    reading->columns = columns;
    read_time(reading, an_map_need(&map, "time", "{column: ...}, or 'file' if rows carry no time"),
              what, &station->time);
    read_item(reading, an_map_need(&map, "item", "{kind: ..., column: ...}"), what, line, station);
    an_read_links(reading, an_map_take(&map, "links"), what, line, station);
    an_read_purpose(reading, an_map_take(&map, "purpose"), what, &station->purpose);
    read_named_columns(reading, &map, station);
    an_read_trust(reading, &map, station);
    an_read_part_whole(reading, an_map_take(&map, "part_whole"), what, station);
    an_read_allowed(reading, an_map_take(&map, "allowed"), station);
    station->cautions = an_read_text(reading, an_map_take(&map, "cautions"), "cautions", NULL);
    station->silent_after_us =
        an_read_duration_us(reading, an_map_take(&map, "silent_after"), "silent_after");
    station->keep = an_read_keep(reading, an_map_take(&map, "keep"), what, &line->keep);
    const struct an_missing_list codes = an_read_missing(reading, an_map_take(&map, "missing"));
    an_read_characteristics(reading, an_map_take(&map, "characteristics"), line, index, &codes);
    an_map_close(&map);
    reading->columns = NULL;
    an_names_close(columns);
}

/* How many characteristics there will be; told if that is beyond reason. */
static size_t count_characteristics(struct an_reading *reading, const struct an_yaml_node *stations)
{
    size_t total = 0;
    for (size_t i = 0; i < stations->count; i++) {
        const struct an_yaml_node *list = an_yaml_get(stations->pair[i].value, "characteristics");
        const size_t count = list && list->kind == AN_YAML_MAP ? list->count : 0;
        total += count;
        if (count > CHARACTERISTICS_MOST || total > TOTAL_MOST) {
            an_tell(reading, list, "more than %d characteristics at a station, or %d in all",
                    CHARACTERISTICS_MOST, TOTAL_MOST);
            return SIZE_MAX;
        }
    }
    return total;
}

void an_read_stations(struct an_reading *reading, const struct an_yaml_node *node,
                      const struct an_yaml_node *at, struct an_line *line)
{
    const struct an_map map = an_map_open(reading, node, at, "'stations'");
    if (!map.node) {
        return;
    }
    if (map.node->count == 0 && !reading->torn) {
        an_tell(reading, map.node, "'stations' is empty; describe at least one station");
    }
    if (map.node->count > STATIONS_MOST) {
        an_tell(reading, map.node, "more than %d stations", STATIONS_MOST);
        return;
    }
    const size_t total = count_characteristics(reading, map.node);
    if (total == SIZE_MAX) {
        return;
    }
    line->stations = an_room(reading, map.node->count, sizeof *line->stations);
    line->characteristics = an_room(reading, total, sizeof *line->characteristics);
    for (size_t i = 0; line->stations && line->characteristics && i < map.node->count; i++) {
        line->station_count++;
        read_station(reading, line, i, &map.node->pair[i]);
    }
    an_check_stations(reading, line, map.node);
}
