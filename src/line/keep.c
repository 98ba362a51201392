/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How long what is kept: the 'keep' of the line and of a station. Must never shorten what was
 * written: a year is read as 366 days and a month as 31, so that nothing goes a day too early.
 */
#include "line/sections.h"

#include <string.h>

enum { YEARS_MOST = 200 };

static const struct {
    const char *word, *words;
    int64_t days;
} units[] = {
    {"day", "days", 1}, {"week", "weeks", 7}, {"month", "months", 31}, {"year", "years", 366}};

/* 0, told, if the text is no such time. */
static int64_t read_time_kept(struct an_reading *reading, const struct an_yaml_node *node,
                              const char *name)
{
    const char *text = an_read_text(reading, node, name, NULL);
    size_t digits = 0;
    int64_t number = 0;
    if (!text) {
        return 0;
    }
    const struct an_bytes whole = an_bytes_trim(an_bytes_of(text));
    while (digits < whole.length && digits < 7 && whole.at[digits] >= '0' &&
           whole.at[digits] <= '9') {
        number = number * 10 + (whole.at[digits++] - '0');
    }
    const struct an_bytes unit =
        an_bytes_trim((struct an_bytes){whole.at + digits, whole.length - digits});
    if (digits == 0 || unit.length == 0) {
        an_tell(reading, node, "'%s' wants a whole number and a unit, such as 2 years, not '%s'",
                name, text);
        return 0;
    }
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (!an_bytes_are(unit, units[i].word) && !an_bytes_are(unit, units[i].words)) {
            continue;
        }
        if (number == 0) {
            an_tell(reading, node,
                    "'%s' is nothing at all; keep at least 1 day, or leave it out to keep for good",
                    name);
            return 0;
        }
        if (number * units[i].days > (int64_t)YEARS_MOST * 366) {
            an_tell(reading, node, "'%s' is more than %d years; leave it out to keep for good",
                    name, YEARS_MOST);
            return 0;
        }
        return number * units[i].days * AN_DAY_US;
    }
    an_tell(reading, node, "'%s' has the unit '%.*s'; it can be days, weeks, months or years", name,
            (int)(unit.length < 40 ? unit.length : 40), (const char *)unit.at);
    return 0;
}

struct an_keep an_read_keep(struct an_reading *reading, const struct an_yaml_node *node,
                            const char *what, const struct an_keep *usual)
{
    struct an_keep keep = *usual;
    if (!node) {
        return keep;
    }
    struct an_map map = an_map_open(reading, node, NULL, an_phrase(reading, "'keep' of %s", what));
    const struct an_yaml_node *readings = an_map_take(&map, "readings");
    const struct an_yaml_node *originals = an_map_take(&map, "originals");
    const size_t told = reading->mistakes->count;
    if (readings) {
        keep.readings_us = read_time_kept(reading, readings, "readings");
    }
    if (originals) {
        keep.originals_us = read_time_kept(reading, originals, "originals");
    }
    an_map_close(&map);
    if (reading->mistakes->count != told) {
        return keep;
    }
    if (!readings && !originals) {
        an_tell(reading, node,
                "'keep' says nothing; write 'readings: 2 years', 'originals: 10 years', or both");
    } else if (keep.originals_us && (!keep.readings_us || keep.originals_us < keep.readings_us)) {
        an_tell(
            reading, originals ? originals : readings,
            "'originals' would go before the readings that were taken from them%s; keep them at "
            "least as long",
            keep.readings_us ? "" : ", which are kept for good");
    }
    return keep;
}
