/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Time: an instant is UTC microseconds since 1970 (POSIX, no leap seconds) in an int64_t; a zone
 * is an IANA name; a civil time is what a clock on the wall shows.
 * Threads: zones are read-only once open; all functions are safe from any thread.
 */
#ifndef ANDAMENTO_BASE_INSTANT_H
#define ANDAMENTO_BASE_INSTANT_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define AN_SECOND_US INT64_C(1000000)
#define AN_MINUTE_US (60 * AN_SECOND_US)
#define AN_HOUR_US (60 * AN_MINUTE_US)
#define AN_DAY_US (24 * AN_HOUR_US)
#define AN_NO_INSTANT INT64_MIN

struct an_civil {
    int year, month, day; /* proleptic Gregorian, month and day from 1 */
    int hour, minute, second, microsecond;
    int offset_s; /* east of UTC; meaningful when has_offset */
    bool has_offset;
};

/* The system's clock; if ANDAMENTO_CLOCK holds an RFC 3339 instant, that one instead, so that
 * a run can be repeated to the byte. */
int64_t an_clock_now_us(void);

int64_t an_civil_to_utc(const struct an_civil *civil); /* by its own offset; 0 if it has none */
struct an_civil an_civil_of_utc(int64_t at_us);        /* offset 0 */
bool an_civil_is_valid(const struct an_civil *civil);  /* a day that exists, 00:00:00-23:59:59 */
int an_civil_weekday(const struct an_civil *civil);    /* ISO 8601: Monday 1 to Sunday 7 */
/* ISO 8601 week and the year it belongs to. */
void an_civil_week(const struct an_civil *civil, int *year, int *week);
int64_t an_civil_days(const struct an_civil *civil); /* days since 1970-01-01 of its date */

struct an_zone;
/* name is an IANA zone ("Europe/Rome", "UTC"). AN_NOT_FOUND if the system has no such zone. */
AN_CHECKED enum an_status an_zone_open(const char *name, struct an_zone **zone,
                                       struct an_error *err);
void an_zone_close(struct an_zone *zone); /* NULL is fine */
const char *an_zone_name(const struct an_zone *zone);
/* The civil time in the zone, has_offset set. */
struct an_civil an_zone_civil(const struct an_zone *zone, int64_t at_us);
/* The instants that show this civil time in the zone: 0 (the clock jumped over it), 1, or 2 (the
 * hour that comes twice; earlier first). Returns how many; at_us has room for two. */
int an_zone_instants(const struct an_zone *zone, const struct an_civil *civil, int64_t at_us[2]);

/*
 * Reading a time by a pattern, whole field. Letters: Y four-digit year, y two-digit year (2000 to
 * 2099), m month, d day, H hour, M minute, S second with an optional fraction after . or ,
 * z offset (Z, +hh:mm, +hhmm, +hh), b English month abbreviation, p AM/PM with I the hour of 12,
 * s whole or fractional seconds since 1970, n a spreadsheet's day number (1900 system, as days
 * since 1899-12-30, with fraction). A letter is written after %: "%d.%m.%Y %H:%M:%S". Any other
 * character stands for itself. The pattern "rfc3339" is "%Y-%m-%dT%H:%M:%S%z" with T, t or a
 * space between date and time.
 * AN_DOMAIN if the field does not match or names a day that does not exist.
 */
AN_CHECKED enum an_status an_civil_parse(struct an_bytes field, const char *pattern,
                                         struct an_civil *civil);
/* AN_BAD_CONFIG with a text that names the wrong letter, if the pattern cannot be used. */
AN_CHECKED enum an_status an_civil_pattern_check(const char *pattern, struct an_error *err);

/* "2026-03-04T01:10:00Z", or with six decimals when microseconds are not zero; 40 bytes. */
char *an_instant_rfc3339(int64_t at_us, char buffer[40]);
/* "2026-03-04T02:10:00+01:00": the same instant as the zone's clock shows it. */
char *an_instant_rfc3339_in(const struct an_zone *zone, int64_t at_us, char buffer[40]);
/* "4 March 02:10", for sentences and charts (minutes cut, not rounded). */
char *an_instant_spoken(const struct an_zone *zone, int64_t at_us, char buffer[40]);
/* Reads RFC 3339 with offset, or in the zone without one ("2026-03-04", "2026-03-04T06:00",
 * "2026-03-04 06:00:30"); AN_BAD_USAGE with a text otherwise. zone may be NULL: UTC. */
AN_CHECKED enum an_status an_instant_parse(struct an_bytes field, const struct an_zone *zone,
                                           int64_t *at_us, struct an_error *err);

#endif
