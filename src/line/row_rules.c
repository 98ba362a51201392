/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a station promises of each of its rows: purpose, parts and wholes, closed code lists, and how
 * often files come. Must never look at a row.
 */
#include "andamento/base/number.h"
#include "line/sections.h"

#include <string.h>

void an_read_purpose(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                     struct an_purpose_rule *purpose)
{
    struct an_map map =
        an_map_open(reading, node, NULL, an_phrase(reading, "'purpose' of %s", what));
    const struct an_yaml_node *column = an_map_take(&map, "column");
    const struct an_yaml_node *production = an_map_take(&map, "production");
    purpose->column = an_read_column(reading, column, "column");
    purpose->production = an_read_words(reading, production, "production");
    purpose->reference_id_pattern =
        an_read_regex(reading, an_map_take(&map, "reference_id"), "reference_id", 0);
    if (column && !production && !reading->torn) {
        an_tell(
            reading, column,
            "'purpose' has a 'column' but no 'production'; list the words that mean production");
    }
    if (production && !column && !reading->torn) {
        an_tell(reading, production,
                "'purpose' lists 'production' words but no 'column' to find them in");
    }
    an_map_close(&map);
}

void an_read_part_whole(struct an_reading *reading, const struct an_yaml_node *node,
                        const char *what, struct an_station *station)
{
    if (!node) {
        return;
    }
    if (node->kind != AN_YAML_LIST) {
        an_tell(reading, node, "'part_whole' is a list, each '- {part: ..., whole: ...}', not %s",
                an_yaml_kind_words(node));
        return;
    }
    station->part_whole = an_room(reading, node->count, sizeof *station->part_whole);
    for (size_t i = 0; station->part_whole && i < node->count; i++) {
        struct an_map map = an_map_open(reading, node->item[i], node->item[i],
                                        an_phrase(reading, "'part_whole' of %s", what));
        const char *part = an_read_column(reading, an_map_need(&map, "part", "a column"), "part");
        const struct an_yaml_node *whole_node = an_map_need(&map, "whole", "a column");
        const char *whole = an_read_column(reading, whole_node, "whole");
        an_map_close(&map);
        if (part && whole && strcmp(part, whole) == 0) {
            an_tell(reading, whole_node, "'part' and 'whole' are the same column, '%s'", part);
        }
        station->part_whole[station->part_whole_count].part = part;
        station->part_whole[station->part_whole_count++].whole = whole;
    }
}

void an_read_allowed(struct an_reading *reading, const struct an_yaml_node *node,
                     struct an_station *station)
{
    const struct an_map map = an_map_open(reading, node, NULL, "'allowed' (column: [words])");
    if (!map.node) {
        return;
    }
    station->allowed = an_room(reading, map.node->count, sizeof *station->allowed);
    for (size_t i = 0; station->allowed && i < map.node->count; i++) {
        const struct an_yaml_node *key = map.node->pair[i].key;
        const struct an_yaml_node *value = map.node->pair[i].value;
        const size_t at = station->allowed_count++;
        station->allowed[at].column = an_read_column(reading, key, "allowed");
        if (value->kind == AN_YAML_LIST && value->count == 0) {
            an_tell(reading, value, "no word is allowed for '%s'; list the words, or leave it out",
                    key->text);
        }
        station->allowed[at].words = an_read_words(reading, value, key->text);
    }
}

int64_t an_read_duration_us(struct an_reading *reading, const struct an_yaml_node *node,
                            const char *name)
{
    static const struct {
        const char *word;
        int64_t us;
    } units[] = {{"s", AN_SECOND_US}, {"min", AN_MINUTE_US}, {"h", AN_HOUR_US}, {"d", AN_DAY_US}};
    const char *text = an_read_text(reading, node, name, NULL);
    if (!text) {
        return 0;
    }
    struct an_bytes whole = an_bytes_trim(an_bytes_of(text));
    size_t digits = 0;
    while (digits < whole.length &&
           ((whole.at[digits] >= '0' && whole.at[digits] <= '9') || whole.at[digits] == '.')) {
        digits++;
    }
    const struct an_bytes unit =
        an_bytes_trim((struct an_bytes){whole.at + digits, whole.length - digits});
    struct an_decimal number = {0};
    const struct an_bytes written = {whole.at, digits};
    const bool good = an_decimal_parse(written, '.', 0, &number) == AN_OK;
    for (size_t i = 0; good && i < sizeof units / sizeof units[0]; i++) {
        const double us = number.value * (double)units[i].us;
        if (an_bytes_are(unit, units[i].word) && us >= 1e6 && us <= 366.0 * (double)AN_DAY_US) {
            return (int64_t)us;
        }
    }
    an_tell(reading, node, "'%s' wants a time such as 30 min, 8 h or 2 d (1 s to 366 d), not '%s'",
            name, text);
    return 0;
}
