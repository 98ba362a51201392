/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Zones: the rules come from the system's zone data through GLib; how a wall clock's time maps to
 * instants is settled here by trying both offsets around it, which needs no case for either jump.
 */
#include "andamento/base/instant.h"
#include "andamento/base/memory.h"

#include <glib.h>
#include <stdio.h>
#include <string.h>

struct an_zone {
    GTimeZone *rules;
    char *name;
};

enum an_status an_zone_open(const char *name, struct an_zone **zone, struct an_error *err)
{
    *zone = NULL;
    GTimeZone *rules = name && name[0] ? g_time_zone_new_identifier(name) : NULL;
    if (!rules) {
        return an_fail(err, AN_NOT_FOUND,
                       "no time zone '%s' on this system; give an IANA name like Europe/Rome, and "
                       "see that the zone data (tzdata) are installed",
                       name ? name : "");
    }
    struct an_zone *opened = an_alloc(1, sizeof *opened);
    char *copy = an_alloc(strlen(name) + 1, 1);
    if (!opened || !copy) {
        an_free(opened);
        an_free(copy);
        g_time_zone_unref(rules);
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    memcpy(copy, name, strlen(name));
    opened->rules = rules;
    opened->name = copy;
    *zone = opened;
    return AN_OK;
}

void an_zone_close(struct an_zone *zone)
{
    if (zone) {
        g_time_zone_unref(zone->rules);
        an_free(zone->name);
        an_free(zone);
    }
}

const char *an_zone_name(const struct an_zone *zone)
{
    return zone->name;
}

static int offset_at(const struct an_zone *zone, int64_t at_us)
{
    const int64_t seconds = at_us / AN_SECOND_US - (at_us % AN_SECOND_US < 0);
    const gint interval = g_time_zone_find_interval(zone->rules, G_TIME_TYPE_UNIVERSAL, seconds);
    return interval < 0 ? 0 : g_time_zone_get_offset(zone->rules, interval);
}

struct an_civil an_zone_civil(const struct an_zone *zone, int64_t at_us)
{
    int offset = offset_at(zone, at_us);
    int64_t local_us = 0;
    if (__builtin_add_overflow(at_us, offset * AN_SECOND_US, &local_us)) {
        local_us = at_us; /* within hours of the last instant there is: shown as UTC */
        offset = 0;
    }
    struct an_civil civil = an_civil_of_utc(local_us);
    civil.offset_s = offset;
    civil.has_offset = true;
    return civil;
}

int an_zone_instants(const struct an_zone *zone, const struct an_civil *civil, int64_t at_us[2])
{
    struct an_civil plain = *civil;
    plain.has_offset = false;
    const int64_t local = an_civil_to_utc(&plain);
    /* no zone is further than a day from UTC, and none changes twice in two days */
    const int around[2] = {offset_at(zone, local - AN_DAY_US), offset_at(zone, local + AN_DAY_US)};
    int found = 0;
    for (int i = 0; i < 2; i++) {
        const int64_t candidate = local - around[i] * AN_SECOND_US;
        if (offset_at(zone, candidate) == around[i] && (found == 0 || at_us[0] != candidate)) {
            at_us[found++] = candidate;
        }
    }
    if (found == 2 && at_us[0] > at_us[1]) {
        const int64_t later = at_us[0];
        at_us[0] = at_us[1];
        at_us[1] = later;
    }
    return found;
}

static char *rfc3339(struct an_civil civil, char buffer[40])
{
    int length = snprintf(buffer, 40, "%04d-%02d-%02dT%02d:%02d:%02d", civil.year % 10000,
                          civil.month, civil.day, civil.hour, civil.minute, civil.second);
    if (civil.microsecond) {
        length += snprintf(buffer + length, 40 - (size_t)length, ".%06d", civil.microsecond);
    }
    const int offset = civil.offset_s / 60;
    if (civil.offset_s == 0) {
        (void)snprintf(buffer + length, 40 - (size_t)length, "Z");
    } else {
        (void)snprintf(buffer + length, 40 - (size_t)length, "%c%02d:%02d", offset < 0 ? '-' : '+',
                       (offset < 0 ? -offset : offset) / 60 % 100,
                       (offset < 0 ? -offset : offset) % 60);
    }
    return buffer;
}

char *an_instant_rfc3339(int64_t at_us, char buffer[40])
{
    return rfc3339(an_civil_of_utc(at_us), buffer);
}

char *an_instant_rfc3339_in(const struct an_zone *zone, int64_t at_us, char buffer[40])
{
    return rfc3339(an_zone_civil(zone, at_us), buffer);
}

char *an_instant_spoken(const struct an_zone *zone, int64_t at_us, char buffer[40])
{
    static const char *const months[] = {"January",   "February", "March",    "April",
                                         "May",       "June",     "July",     "August",
                                         "September", "October",  "November", "December"};
    const struct an_civil civil = an_zone_civil(zone, at_us);
    (void)snprintf(buffer, 40, "%d %s %02d:%02d", civil.day, months[civil.month - 1], civil.hour,
                   civil.minute);
    return buffer;
}
