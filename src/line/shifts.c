/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The shift pattern as written. Responsible for ends that are left out and for overlaps; must
 * never turn a clock time into an instant (shift.c does).
 *
 * The day is a circle of 1440 minutes: a shift is a start and a length on it, and two overlap when
 * the way from one's start to the other's is shorter than its length.
 */
#include "line/sections.h"

#include <string.h>

#define DAY_MINUTES 1440
#define SHIFTS_MOST 24
#define UNKNOWN (-1)

/* "06:00" or "6:00"; 24:00 is midnight. */
static int read_clock(struct an_reading *reading, const struct an_yaml_node *node, const char *name)
{
    const char *text = an_read_text(reading, node, name, NULL);
    if (!text) {
        return UNKNOWN;
    }
    int parts[2] = {0, 0};
    int digits[2] = {0, 0};
    int part = 0;
    bool good = true;
    for (const char *c = text; *c && good; c++) {
        if (*c == ':' && part == 0) {
            part = 1;
        } else if (*c >= '0' && *c <= '9' && digits[part] < 2) {
            parts[part] = parts[part] * 10 + (*c - '0');
            digits[part]++;
        } else {
            good = false;
        }
    }
    const int minute = parts[0] * 60 + parts[1];
    if (!good || digits[0] == 0 || digits[1] != 2 || parts[1] > 59 || minute > DAY_MINUTES) {
        an_tell(reading, node, "'%s' wants a time of day such as 06:00, not '%s'", name, text);
        return UNKNOWN;
    }
    return minute % DAY_MINUTES;
}

static void read_shift(struct an_reading *reading, const struct an_yaml_pair *pair,
                       struct an_shift_pattern_entry *shift)
{
    const char *what = an_phrase(reading, "shift '%s'", pair->key->text);
    shift->name = pair->key->text;
    shift->start_minute = UNKNOWN;
    shift->end_minute = UNKNOWN;
    an_check_name(reading, pair->key, "shift");
    if (pair->value->kind == AN_YAML_SCALAR && !pair->value->absent) {
        shift->start_minute = read_clock(reading, pair->value, pair->key->text);
        return;
    }
    struct an_map map = an_map_open(reading, pair->value, pair->key, what);
    const struct an_yaml_node *from = an_map_need(&map, "from", "its start, such as 06:00");
    shift->start_minute = read_clock(reading, from, "from");
    shift->end_minute = read_clock(reading, an_map_take(&map, "to"), "to");
    an_map_close(&map);
}

static int way(int from, int to)
{
    return (to - from + DAY_MINUTES) % DAY_MINUTES;
}

static int length_of(const struct an_shift_pattern_entry *shift)
{
    const int length = way(shift->start_minute, shift->end_minute);
    return length == 0 ? DAY_MINUTES : length;
}

/* A shift without an end lasts until the next start on the clock. */
static void fill_ends(struct an_line *line)
{
    for (size_t i = 0; i < line->shift_count; i++) {
        struct an_shift_pattern_entry *shift = &line->shifts[i];
        if (shift->start_minute == UNKNOWN || shift->end_minute != UNKNOWN) {
            continue;
        }
        int nearest = DAY_MINUTES;
        for (size_t j = 0; j < line->shift_count; j++) {
            const int other = line->shifts[j].start_minute;
            if (j != i && other != UNKNOWN && other != shift->start_minute) {
                const int distance = way(shift->start_minute, other);
                nearest = distance < nearest ? distance : nearest;
            }
        }
        shift->end_minute = (shift->start_minute + nearest) % DAY_MINUTES;
    }
}

static void tell_overlaps(struct an_reading *reading, const struct an_yaml_node *node,
                          const struct an_line *line)
{
    for (size_t i = 1; i < line->shift_count; i++) {
        const struct an_shift_pattern_entry *later = &line->shifts[i];
        for (size_t j = 0; j < i && later->start_minute != UNKNOWN; j++) {
            const struct an_shift_pattern_entry *shift = &line->shifts[j];
            if (shift->start_minute == UNKNOWN) {
                continue;
            }
            if (way(shift->start_minute, later->start_minute) < length_of(shift) ||
                way(later->start_minute, shift->start_minute) < length_of(later)) {
                an_tell(reading, node->pair[i].key,
                        "shift '%s' (%02d:%02d to %02d:%02d) overlaps shift '%s' (%02d:%02d to "
                        "%02d:%02d); a moment belongs to one shift",
                        later->name, later->start_minute / 60, later->start_minute % 60,
                        later->end_minute / 60, later->end_minute % 60, shift->name,
                        shift->start_minute / 60, shift->start_minute % 60, shift->end_minute / 60,
                        shift->end_minute % 60);
            }
        }
    }
}

void an_read_shifts(struct an_reading *reading, const struct an_yaml_node *node,
                    const struct an_yaml_node *at, struct an_line *line)
{
    const struct an_map map = an_map_open(reading, node, at, "'shifts'");
    if (!map.node) {
        return;
    }
    if (map.node->count == 0 || map.node->count > SHIFTS_MOST) {
        an_tell(reading, map.node, "'shifts' wants 1 to %d shifts, each 'name: 06:00'",
                SHIFTS_MOST);
        return;
    }
    line->shifts = an_room(reading, map.node->count, sizeof *line->shifts);
    for (size_t i = 0; line->shifts && i < map.node->count; i++) {
        read_shift(reading, &map.node->pair[i], &line->shifts[line->shift_count++]);
    }
    fill_ends(line);
    tell_overlaps(reading, map.node, line);
}
