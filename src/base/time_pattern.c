/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reading times by a declared pattern. Nothing is inferred from the values: a pattern says which
 * of 03/04 is the month, and a field that does not match it whole is refused.
 */
#include "andamento/base/instant.h"
#include "andamento/base/number.h"

#include <math.h>
#include <string.h>

struct reader {
    const unsigned char *at, *end;
    struct an_civil civil;
    int hour12; /* -1 not read */
    bool pm, has_pm;
    bool whole; /* %s or %n gave the date and the time */
};

static bool digits(struct reader *r, int fewest, int most, int *value)
{
    int count = 0;
    *value = 0;
    while (count < most && r->at < r->end && *r->at >= '0' && *r->at <= '9') {
        *value = *value * 10 + (*r->at++ - '0');
        count++;
    }
    return count >= fewest;
}

static bool literal(struct reader *r, char c)
{
    if (r->at < r->end && *r->at == (unsigned char)c) {
        r->at++;
        return true;
    }
    return false;
}

static bool fraction(struct reader *r)
{
    if (!literal(r, '.') && !literal(r, ',')) {
        return true;
    }
    int unit = 100000;
    int count = 0;
    while (r->at < r->end && *r->at >= '0' && *r->at <= '9') { /* beyond microseconds: cut */
        r->civil.microsecond += (*r->at++ - '0') * unit;
        unit /= 10;
        count++;
    }
    return count > 0 && count <= 9;
}

static bool offset(struct reader *r)
{
    r->civil.has_offset = true;
    if (literal(r, 'Z') || literal(r, 'z')) {
        return true;
    }
    const bool west = literal(r, '-');
    int hours = 0;
    int minutes = 0;
    if ((!west && !literal(r, '+')) || !digits(r, 2, 2, &hours)) {
        return false;
    }
    if (literal(r, ':')) {
        if (!digits(r, 2, 2, &minutes)) {
            return false;
        }
    } else if (r->at < r->end && !digits(r, 2, 2, &minutes)) {
        return false;
    }
    if (hours > 23 || minutes > 59) {
        return false;
    }
    r->civil.offset_s = (hours * 3600 + minutes * 60) * (west ? -1 : 1);
    return true;
}

static bool month_name(struct reader *r)
{
    static const char names[] = "janfebmaraprmayjunjulaugsepoctnovdec";
    if (r->end - r->at < 3) {
        return false;
    }
    for (int m = 0; m < 12; m++) {
        bool same = true;
        for (int i = 0; i < 3; i++) {
            same = same && (r->at[i] | 0x20) == (unsigned char)names[m * 3 + i];
        }
        if (same) {
            r->at += 3;
            r->civil.month = m + 1;
            return true;
        }
    }
    return false;
}

/* A decimal number up to the end of what looks like one, as days or seconds. */
static bool counted(struct reader *r, double unit_s, int64_t origin_s)
{
    const unsigned char *from = r->at;
    while (r->at < r->end && ((*r->at >= '0' && *r->at <= '9') || *r->at == '.' || *r->at == ',')) {
        r->at++;
    }
    struct an_decimal number;
    const struct an_bytes field = {from, (size_t)(r->at - from)};
    const char mark = field.length && memchr(from, ',', field.length) ? ',' : '.';
    /* the year 9999 ends at 2.6e11 seconds; what is far beyond must not reach the products below */
    if (an_decimal_parse(field, mark, 0, &number) != AN_OK || number.value > 1e12 / unit_s) {
        return false;
    }
    /* whole part apart, so that a time of today keeps its microseconds */
    const double whole = floor(number.value);
    const double part = (number.value - whole) * unit_s * 1e6;
    const int64_t at_us =
        (origin_s + (int64_t)whole * (int64_t)unit_s) * AN_SECOND_US + (int64_t)floor(part + 0.5);
    const bool has_offset = r->civil.has_offset;
    if (at_us < -INT64_C(62135596800) * AN_SECOND_US ||
        at_us > INT64_C(253402300799) * AN_SECOND_US) {
        return false;
    }
    r->civil = an_civil_of_utc(at_us);
    r->civil.has_offset = has_offset;
    r->whole = true;
    return true;
}

static bool letter(struct reader *r, char what)
{
    struct an_civil *civil = &r->civil;
    switch (what) {
    case 'Y':
        return digits(r, 4, 4, &civil->year);
    case 'y':
        if (!digits(r, 2, 2, &civil->year)) {
            return false;
        }
        civil->year += 2000;
        return true;
    case 'm':
        return digits(r, 1, 2, &civil->month);
    case 'd':
        return digits(r, 1, 2, &civil->day);
    case 'H':
        return digits(r, 1, 2, &civil->hour);
    case 'I':
        return digits(r, 1, 2, &r->hour12);
    case 'M':
        return digits(r, 2, 2, &civil->minute);
    case 'S':
        return digits(r, 2, 2, &civil->second) && fraction(r);
    case 'z':
        return offset(r);
    case 'b':
        return month_name(r);
    case 'p':
        if (r->end - r->at < 2 || (r->at[1] | 0x20) != 'm' ||
            ((r->at[0] | 0x20) != 'a' && (r->at[0] | 0x20) != 'p')) {
            return false;
        }
        r->pm = (r->at[0] | 0x20) == 'p';
        r->has_pm = true;
        r->at += 2;
        return true;
    case 's':
        civil->has_offset = true;
        return counted(r, 1.0, 0);
    case 'n':
        return counted(r, 86400.0, -INT64_C(25569) * 86400); /* 1899-12-30 */
    case '%':
        return literal(r, '%');
    default:
        return false;
    }
}

static bool match(struct reader *r, const char *pattern)
{
    for (const char *p = pattern; *p; p++) {
        if (*p == '%' && p[1]) {
            if (!letter(r, *++p)) {
                return false;
            }
        } else if (!literal(r, *p)) {
            return false;
        }
    }
    return r->at == r->end;
}

static bool match_rfc3339(struct reader *r)
{
    if (!letter(r, 'Y') || !literal(r, '-') || !digits(r, 2, 2, &r->civil.month) ||
        !literal(r, '-') || !digits(r, 2, 2, &r->civil.day)) {
        return false;
    }
    if (!literal(r, 'T') && !literal(r, 't') && !literal(r, ' ')) {
        return false;
    }
    return digits(r, 2, 2, &r->civil.hour) && literal(r, ':') && letter(r, 'M') &&
           literal(r, ':') && letter(r, 'S') && letter(r, 'z') && r->at == r->end;
}

enum an_status an_civil_parse(struct an_bytes field, const char *pattern, struct an_civil *civil)
{
    struct reader r = {.at = field.at,
                       .end = field.at + field.length,
                       .hour12 = -1,
                       .civil = {.year = 1970, .month = 1, .day = 1}};
    if (field.length == 0) {
        return AN_DOMAIN;
    }
    const bool fits = strcmp(pattern, "rfc3339") == 0 ? match_rfc3339(&r) : match(&r, pattern);
    if (!fits) {
        return AN_DOMAIN;
    }
    if (r.hour12 >= 0) {
        if (r.hour12 < 1 || r.hour12 > 12 || !r.has_pm) {
            return AN_DOMAIN;
        }
        r.civil.hour = r.hour12 % 12 + (r.pm ? 12 : 0);
    }
    if (!an_civil_is_valid(&r.civil)) {
        return AN_DOMAIN;
    }
    *civil = r.civil;
    return AN_OK;
}

enum an_status an_civil_pattern_check(const char *pattern, struct an_error *err)
{
    if (strcmp(pattern, "rfc3339") == 0) {
        return AN_OK;
    }
    bool date = false;
    bool whole = false;
    for (const char *p = pattern; *p; p++) {
        if (*p != '%') {
            continue;
        }
        p++;
        if (!*p || !strchr("YymdHMSzbpIsn%", *p)) {
            return an_fail(err, AN_BAD_CONFIG,
                           "time pattern '%s' has '%%%c'; known letters are Y y m b d H I M S p z "
                           "s n",
                           pattern, *p ? *p : ' ');
        }
        date = date || *p == 'd';
        whole = whole || *p == 's' || *p == 'n';
        if (!*p) {
            break;
        }
    }
    if (!date && !whole) {
        return an_fail(err, AN_BAD_CONFIG,
                       "time pattern '%s' names no day; a time needs a date, as in "
                       "'%%Y-%%m-%%d %%H:%%M:%%S' or 'rfc3339'",
                       pattern);
    }
    return AN_OK;
}

enum an_status an_instant_parse(struct an_bytes field, const struct an_zone *zone, int64_t *at_us,
                                struct an_error *err)
{
    static const char *const patterns[] = {
        "rfc3339",        "%Y-%m-%dT%H:%M%z", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S",
        "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M",   "%Y-%m-%d"};
    struct an_civil civil;
    for (size_t i = 0; i < sizeof patterns / sizeof *patterns; i++) {
        if (an_civil_parse(field, patterns[i], &civil) != AN_OK) {
            continue;
        }
        int64_t at[2];
        if (civil.has_offset || !zone) {
            *at_us = an_civil_to_utc(&civil);
            return AN_OK;
        }
        const int found = an_zone_instants(zone, &civil, at);
        if (found == 1) {
            *at_us = at[0];
            return AN_OK;
        }
        return an_fail(err, AN_BAD_USAGE,
                       "the clock of %s shows '%.*s' %s; write it with its offset, as in "
                       "2026-03-04T06:00:00+01:00",
                       an_zone_name(zone), (int)field.length, (const char *)field.at,
                       found ? "twice" : "never");
    }
    return an_fail(err, AN_BAD_USAGE,
                   "'%.*s' is not a time; write 2026-03-04, 2026-03-04T06:00 or "
                   "2026-03-04T06:00:00+01:00",
                   (int)(field.length < 60 ? field.length : 60), (const char *)field.at);
}
