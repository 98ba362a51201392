/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any bytes as a time. The first byte chooses zone and pattern: one that lines use, or the text
 * before the first newline. What was read is checked against the C library's calendar and, in one
 * zone, its zone data; the eight last bytes are an instant, whatever it is.
 */
#include "andamento/base/instant.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const char *const zone_names[] = {"Europe/Rome", "UTC", "Australia/Lord_Howe",
                                         "America/St_Johns"};
enum { ZONES = sizeof zone_names / sizeof *zone_names };
static const char *const patterns[] = {"rfc3339",
                                       "%Y-%m-%d %H:%M:%S",
                                       "%d.%m.%Y %H:%M",
                                       "%m/%d/%Y %I:%M:%S %p",
                                       "%y-%b-%d %H:%M:%S%z",
                                       "%s",
                                       "%n"};
enum { PATTERNS = sizeof patterns / sizeof *patterns };

static struct an_zone *zones[ZONES];

static void must(int good, const char *what, int64_t at_us)
{
    if (!good) {
        (void)fprintf(stderr, "%s, at %lld\n", what, (long long)at_us);
        abort();
    }
}

static void close_zones(void)
{
    for (size_t i = 0; i < ZONES; i++) {
        an_zone_close(zones[i]);
    }
}

static void open_zones(void)
{
    struct an_error err = {.status = AN_OK};

    for (size_t i = 0; i < ZONES; i++) {
        must(an_zone_open(zone_names[i], &zones[i], &err) == AN_OK, err.text, 0);
    }
    must(setenv("TZ", zone_names[0], 1) == 0, "the zone of the C library", 0);
    tzset();
    (void)atexit(close_zones);
}

static int same_clock(const struct an_civil *a, const struct tm *b)
{
    return a->year == b->tm_year + 1900 && a->month == b->tm_mon + 1 && a->day == b->tm_mday &&
           a->hour == b->tm_hour && a->minute == b->tm_min && a->second == b->tm_sec;
}

static int same_civil(const struct an_civil *a, const struct an_civil *b)
{
    return a->year == b->year && a->month == b->month && a->day == b->day && a->hour == b->hour &&
           a->minute == b->minute && a->second == b->second && a->microsecond == b->microsecond;
}

/* Any instant there can be: shown and read back, and as the C library shows it. */
static void check_instant(int64_t at_us, size_t zone)
{
    const struct an_civil civil = an_civil_of_utc(at_us);
    const time_t seconds = (time_t)(at_us / AN_SECOND_US - (at_us % AN_SECOND_US < 0));
    struct tm tm;
    char text[40];
    char name[32];
    int year = 0;
    int week = 0;
    int64_t again = 0;

    must(gmtime_r(&seconds, &tm) != NULL && same_clock(&civil, &tm), "the calendar", at_us);
    must(an_civil_to_utc(&civil) == at_us, "there and back", at_us);
    must(an_civil_weekday(&civil) % 7 == tm.tm_wday, "the day of the week", at_us);
    an_civil_week(&civil, &year, &week);
    must(week >= 1 && week <= 53, "the week", at_us);
    if (civil.year >= 1000 && civil.year <= 9998) {
        must(strftime(name, sizeof name, "%G-%V", &tm) > 0, "strftime", at_us);
        must(atoi(name) == year && atoi(name + 5) == week, "the week of the C library", at_us);
        must(an_instant_parse(an_bytes_of(an_instant_rfc3339(at_us, text)), NULL, &again, NULL) ==
                     AN_OK &&
                 again == at_us,
             text, at_us);
        const struct an_civil local = an_zone_civil(zones[zone], at_us);
        (void)an_instant_spoken(zones[zone], at_us, text);
        must(an_civil_to_utc(&local) == at_us, "the zone's offset", at_us);
        /* the C library goes on by the zone's rule beyond 2037, where GLib's list of changes ends */
        if (zone == 0 && civil.year >= 1950 && civil.year < 2037) {
            must(localtime_r(&seconds, &tm) != NULL && same_clock(&local, &tm), "the zone", at_us);
        }
    }
    (void)an_instant_rfc3339(at_us, text);
    (void)an_instant_rfc3339_in(zones[zone], at_us, text);
}

static void check_civil(const struct an_civil *civil, size_t zone)
{
    int64_t at_us[2] = {0, 0};
    const int64_t utc = an_civil_to_utc(civil);

    must(an_civil_is_valid(civil), "not valid, but accepted", utc);
    check_instant(utc, zone);
    const int found = an_zone_instants(zones[zone], civil, at_us);
    must(found >= 0 && found <= 2 && (found < 2 || at_us[0] < at_us[1]), "how many", utc);
    for (int i = 0; i < found; i++) {
        const struct an_civil shown = an_zone_civil(zones[zone], at_us[i]);
        must(same_civil(civil, &shown), "the zone's clock shows another time", at_us[i]);
    }
    if (found == 0 || found == 2) { /* by the step of every offset that zones have */
        int seen = 0;
        struct an_civil plain = *civil;
        plain.has_offset = false;
        const int64_t local = an_civil_to_utc(&plain);
        for (int quarter = -64; quarter <= 64; quarter++) {
            const struct an_civil shown =
                an_zone_civil(zones[zone], local + quarter * 15 * AN_MINUTE_US);
            seen += same_civil(civil, &shown);
        }
        must(civil->year < 1950 || seen == found, "instants of a jump", utc);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct an_error err = {.status = AN_OK};
    struct an_civil civil;
    char own[64];
    int64_t at_us = 0;

    if (!zones[0]) {
        open_zones();
    }
    if (size < 1) {
        return 0;
    }
    const size_t zone = data[0] % ZONES;
    const size_t form = data[0] / ZONES % (PATTERNS + 2);
    struct an_bytes field = {data + 1, size - 1};
    const char *pattern = patterns[form < PATTERNS ? form : 0];
    if (form >= PATTERNS) {
        const uint8_t *end = field.length ? memchr(field.at, '\n', field.length) : NULL;
        const size_t length = end ? (size_t)(end - field.at) : 0;
        if (!end || length >= sizeof own) {
            return 0;
        }
        memcpy(own, field.at, length);
        own[length] = '\0';
        pattern = own;
        field = (struct an_bytes){end + 1, field.length - length - 1};
    }
    const enum an_status usable = an_civil_pattern_check(pattern, &err);
    must(usable == AN_OK || (usable == AN_BAD_CONFIG && err.text[0]), "the pattern", 0);
    if (usable == AN_OK && an_civil_parse(field, pattern, &civil) == AN_OK) {
        check_civil(&civil, zone);
    }
    if (an_instant_parse(field, zones[zone], &at_us, &err) == AN_OK) {
        check_instant(at_us, zone);
    }
    if (size >= 9) {
        memcpy(&at_us, data + size - 8, 8);
        check_instant(at_us, zone);
    }
    return 0;
}
