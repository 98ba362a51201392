/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Times of ordinary rows: the last one again, or another second of its minute. Must never read a
 * time in another minute: that is the row path's, with all its care for clocks that jump.
 */
#include "intake/ordinary_inner.h"

static bool is_digit(unsigned char c)
{
    return c >= '0' && c <= '9';
}

/* How many characters a letter of the pattern takes of the text there; 0 for those whose place
 * cannot be told. */
static size_t width_of(char letter, struct an_bytes rest)
{
    switch (letter) {
    case 'Y':
        return 4;
    case 'y':
    case 'M':
    case 'p':
        return 2;
    case 'm':
    case 'd':
    case 'H':
    case 'I':
        return rest.length > 1 && is_digit(rest.at[1]) ? 2 : 1;
    case 'b':
        return 3;
    case '%':
        return 1;
    default:
        return 0;
    }
}

/* Where %S stands in a text that fits the pattern; AN_NONE if that cannot be told. */
static size_t find_second(const char *pattern, struct an_bytes text)
{
    size_t at = 0;

    if (strcmp(pattern, "rfc3339") == 0) {
        pattern = "%Y-%m-%dT%H:%M:%S";
    }
    for (const char *p = pattern; *p && at < text.length; p++) {
        size_t width = 1;

        if (*p == '%' && p[1]) {
            p++;
            if (*p == 'S') {
                return at;
            }
            width = width_of(*p, (struct an_bytes){text.at + at, text.length - at});
            if (!width) {
                return AN_NONE;
            }
        }
        at += width;
    }
    return AN_NONE;
}

static bool has_offset(const char *pattern)
{
    if (strcmp(pattern, "rfc3339") == 0) {
        return true;
    }
    for (const char *p = pattern; *p; p++) {
        if (*p == '%' && p[1] && *++p == 'z') {
            return true;
        }
    }
    return false;
}

/* The second at its place, with its fraction, in microseconds. */
static bool read_second(const struct an_ordinary_time *time, const unsigned char *text, int64_t *us)
{
    const unsigned char *at = text + time->second_at;
    int64_t unit = 100000;

    if (!is_digit(at[0]) || !is_digit(at[1])) {
        return false;
    }
    const int second = (at[0] - '0') * 10 + (at[1] - '0');
    *us = second * AN_SECOND_US;
    for (size_t k = 0; k < time->fraction; k++, unit /= 10) { /* beyond microseconds: cut */
        if (!is_digit(at[3 + k])) {
            return false;
        }
        *us += (at[3 + k] - '0') * unit;
    }
    return second < 60;
}

static void place_second(struct an_ordinary_time *time, const char *pattern)
{
    const struct an_bytes text = {time->text, time->length};

    time->second_at = find_second(pattern, text);
    time->fraction = 0;
    if (time->second_at == AN_NONE || time->second_at + 2 > time->length) {
        time->second_at = AN_NONE;
        return;
    }
    const size_t mark = time->second_at + 2;
    if (mark < time->length && (time->text[mark] == '.' || time->text[mark] == ',')) {
        while (mark + 1 + time->fraction < time->length &&
               is_digit(time->text[mark + 1 + time->fraction])) {
            time->fraction++;
        }
    }
    if (!read_second(time, time->text, &time->second_us)) {
        time->second_at = AN_NONE;
    }
}

/* A local time: does the clock go straight through this minute? */
static void look_at_minute(struct an_ordinary_time *time, const struct an_plan *plan)
{
    int64_t at_us[2] = {0, 0};
    const int64_t naive_us = time->at_us + time->naive_less_us;
    const int64_t from_us = naive_us - time->second_us;
    const int64_t ends[2] = {from_us, from_us + 60 * AN_SECOND_US - 1};

    time->is_steady = true;
    for (int i = 0; i < 2; i++) {
        struct an_civil civil = an_civil_of_utc(ends[i]);

        civil.has_offset = false;
        time->is_steady = time->is_steady && an_zone_instants(plan->zone, &civil, at_us) == 1 &&
                          ends[i] - at_us[0] == time->naive_less_us;
    }
}

void an_ordinary_learn_time(struct an_ordinary *o, const struct an_reading *reading)
{
    const struct an_plan *plan = o->plan;
    struct an_ordinary_time *time = &o->time;

    time->is_set = true;
    time->at_us = reading->row.at_us;
    if (plan->time == AN_NONE) {
        return;
    }
    const struct an_bytes text = reading->row.cells[plan->time].text;
    const char *pattern = plan->station->time.pattern;
    if (text.length + 8 > sizeof time->text || reading->when.in_twice || reading->when.settled) {
        time->is_set = false;
        return;
    }
    memcpy(time->text, text.at, text.length);
    time->length = text.length;
    place_second(time, pattern);
    time->is_local = !has_offset(pattern);
    time->is_steady = false;
    if (time->is_local && time->second_at != AN_NONE) {
        time->naive_less_us = reading->when.last_naive_us - time->at_us;
        look_at_minute(time, plan);
    }
}

/* Another second of the same minute, written in the same way? */
static bool read_other(struct an_ordinary_time *time, struct an_bytes text)
{
    int64_t second_us = 0;

    if (text.length != time->length || time->second_at == AN_NONE ||
        (time->is_local && !time->is_steady)) {
        return false;
    }
    const size_t at = time->second_at;
    const size_t mark = at + 2;
    const size_t end = mark + (time->fraction ? 1 + time->fraction : 0);
    if (memcmp(text.at, time->text, at) != 0 ||
        (time->fraction && text.at[mark] != time->text[mark]) ||
        memcmp(text.at + end, time->text + end, time->length - end) != 0 ||
        !read_second(time, text.at, &second_us)) {
        return false;
    }
    memcpy(time->text + at, text.at + at, end - at);
    time->at_us += second_us - time->second_us;
    time->second_us = second_us;
    return true;
}

size_t an_ordinary_times(struct an_ordinary *o, size_t n)
{
    const size_t column = o->plan->time;
    const size_t field = column == AN_NONE ? AN_NONE : o->columns[column].field;
    struct an_ordinary_time time = o->time; /* that of row r; o->time follows the rows taken */

    if (!time.is_set) {
        return 0;
    }
    struct an_walk walk = an_walk_field(o, field);
    for (size_t r = 0; r < n; r++) {
        if (field != AN_NONE) {
            const struct an_bytes text = an_walk_next(&walk);

            if ((text.length != time.length || memcmp(text.at, time.text, text.length) != 0) &&
                !read_other(&time, text)) {
                return r;
            }
        }
        o->at_us[r] = time.at_us;
    }
    return n;
}

/* The row path sees each time that differs from the one before, and keeps the last one's text. */
void an_ordinary_tell_times(struct an_ordinary *o, struct an_reading *reading, size_t n)
{
    const size_t column = o->plan->time;
    struct an_when *when = &reading->when;
    struct an_ordinary_time *time = &o->time;

    if (column == AN_NONE || o->columns[column].field == AN_NONE) {
        return;
    }
    const struct an_bytes last = an_ordinary_field(o, o->columns[column].field, n - 1);
    if (time->is_local) {
        for (size_t r = 0; r < n; r++) {
            const int64_t naive_us = o->at_us[r] + time->naive_less_us;

            when->disordered =
                when->disordered || (when->has_last && naive_us < when->last_naive_us);
            when->has_last = true;
            when->last_naive_us = naive_us;
        }
    }
    when->in_twice = false;
    if (last.length <= sizeof when->cache) {
        memcpy(when->cache, last.at, last.length);
        when->cached = (struct an_bytes){when->cache, last.length};
        when->cached_us = o->at_us[n - 1];
    }
    memcpy(time->text, last.at, last.length);
    if (time->second_at != AN_NONE) {
        time->second_us += o->at_us[n - 1] - time->at_us;
    }
    time->at_us = o->at_us[n - 1];
}
