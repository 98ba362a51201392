/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Civil dates of the proleptic Gregorian calendar. Days are counted from 1 March, so that the leap
 * day is the last of its year, in eras of 400 years (146,097 days).
 */
#include "andamento/base/instant.h"

#include <stdlib.h>
#include <time.h>

static int64_t floor_div(int64_t a, int64_t b)
{
    return a / b - (a % b != 0 && (a % b < 0) != (b < 0));
}

int64_t an_civil_days(const struct an_civil *civil)
{
    const int64_t year = (int64_t)civil->year - (civil->month <= 2);
    const int64_t era = floor_div(year, 400);
    const int64_t of_era = year - era * 400;
    const int64_t month = (civil->month + 9) % 12;
    const int64_t of_year = (153 * month + 2) / 5 + civil->day - 1;
    const int64_t day_of_era = of_era * 365 + of_era / 4 - of_era / 100 + of_year;
    return era * 146097 + day_of_era - 719468;
}

static void date_of_days(int64_t days, struct an_civil *civil)
{
    days += 719468;
    const int64_t era = floor_div(days, 146097);
    const int64_t day = days - era * 146097;
    const int64_t year = (day - day / 1460 + day / 36524 - day / 146096) / 365;
    const int64_t of_year = day - (365 * year + year / 4 - year / 100);
    const int64_t month = (5 * of_year + 2) / 153;
    civil->day = (int)(of_year - (153 * month + 2) / 5 + 1);
    civil->month = (int)(month < 10 ? month + 3 : month - 9);
    civil->year = (int)(year + era * 400 + (civil->month <= 2));
}

int64_t an_civil_to_utc(const struct an_civil *civil)
{
    const int64_t seconds = an_civil_days(civil) * 86400 + civil->hour * INT64_C(3600) +
                            civil->minute * INT64_C(60) + civil->second -
                            (civil->has_offset ? civil->offset_s : 0);
    /* towards zero first: the whole seconds of the earliest instants do not fit microseconds */
    return seconds < 0 ? (seconds + 1) * AN_SECOND_US + (civil->microsecond - AN_SECOND_US)
                       : seconds * AN_SECOND_US + civil->microsecond;
}

struct an_civil an_civil_of_utc(int64_t at_us)
{
    struct an_civil civil = {.has_offset = true};
    const int64_t seconds = floor_div(at_us, AN_SECOND_US);
    const int64_t days = floor_div(seconds, 86400);
    const int of_day = (int)(seconds - days * 86400);
    date_of_days(days, &civil);
    civil.hour = of_day / 3600;
    civil.minute = of_day / 60 % 60;
    civil.second = of_day % 60;
    /* not by the difference: the whole seconds of the earliest instants do not fit microseconds */
    civil.microsecond = (int)(at_us % AN_SECOND_US + (at_us % AN_SECOND_US < 0) * AN_SECOND_US);
    return civil;
}

static int month_length(int year, int month)
{
    static const int length[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return length[month - 1] + (month == 2 && leap);
}

bool an_civil_is_valid(const struct an_civil *civil)
{
    return civil->year >= 1 && civil->year <= 9999 && civil->month >= 1 && civil->month <= 12 &&
           civil->day >= 1 && civil->day <= month_length(civil->year, civil->month) &&
           civil->hour >= 0 && civil->hour <= 23 && civil->minute >= 0 && civil->minute <= 59 &&
           civil->second >= 0 && civil->second <= 59 && civil->microsecond >= 0 &&
           civil->microsecond <= 999999 && civil->offset_s > -86400 && civil->offset_s < 86400;
}

int an_civil_weekday(const struct an_civil *civil)
{
    const int64_t days = an_civil_days(civil) + 3; /* 1970-01-01 was a Thursday */
    return (int)(days - floor_div(days, 7) * 7) + 1;
}

void an_civil_week(const struct an_civil *civil, int *year, int *week)
{
    /* the week belongs to the year of its Thursday */
    const int64_t thursday = an_civil_days(civil) + 4 - an_civil_weekday(civil);
    struct an_civil of = {0};
    date_of_days(thursday, &of);
    const struct an_civil first = {.year = of.year, .month = 1, .day = 1};
    *year = of.year;
    *week = (int)((thursday - an_civil_days(&first)) / 7 + 1);
}

int64_t an_clock_now_us(void)
{
    const char *fixed = getenv("ANDAMENTO_CLOCK"); /* never written by us, so safe from threads */
    int64_t at_us = 0;
    if (fixed && an_instant_parse(an_bytes_of(fixed), NULL, &at_us, NULL) == AN_OK) {
        return at_us;
    }
    struct timespec now = {0};
    (void)clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t)now.tv_sec * AN_SECOND_US + now.tv_nsec / 1000;
}
