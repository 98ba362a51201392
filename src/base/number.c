/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Decimals. A field is read into a whole number and a count of decimals, exactly; the double is
 * made from that. Up to 15 digits and a power of ten up to 22 one division or product of two
 * exact doubles rounds once and is therefore right [Clinger, How to read floating point numbers
 * accurately, 1990]; beyond, the C library's strtod reads a text of our own making, which holds
 * digits and an exponent only and so means the same in every locale.
 */
#include "andamento/base/number.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { most_digits = 18, fewest_decimals = -18, most_decimals = 30 };

static const double powers[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

double an_decimal_value(int64_t scaled, int decimals)
{
    const int64_t exact = INT64_C(1) << 53;
    if (scaled >= -exact && scaled <= exact && decimals <= 22 && decimals >= -22) {
        return decimals >= 0 ? (double)scaled / powers[decimals]
                             : (double)scaled * powers[-decimals];
    }
    char text[48];
    (void)snprintf(text, sizeof text, "%llde%d", (long long)scaled, -decimals);
    return strtod(text, NULL);
}

struct cursor {
    const unsigned char *at, *end;
};

static bool is_digit(const struct cursor *c)
{
    return c->at < c->end && *c->at >= '0' && *c->at <= '9';
}

static bool takes(struct cursor *c, char wanted)
{
    if (c->at < c->end && *c->at == (unsigned char)wanted) {
        c->at++;
        return true;
    }
    return false;
}

struct digits {
    uint64_t whole;
    int significant; /* digits after leading zeros */
    int count;       /* digits read */
    bool too_many;
};

static void take_digit(struct cursor *c, struct digits *d)
{
    const unsigned digit = (unsigned)(*c->at++ - '0');
    d->count++;
    if (d->significant || digit) {
        if (++d->significant > most_digits) {
            d->too_many = true;
            return;
        }
    }
    d->whole = d->whole * 10 + digit;
}

/* digits with the group mark between groups of exactly three: 1 234 567 */
static bool take_whole_part(struct cursor *c, char group, struct digits *d)
{
    while (is_digit(c)) {
        take_digit(c, d);
    }
    if (!group || d->count == 0 || d->count > 3) {
        return true;
    }
    while (takes(c, group)) {
        const int before = d->count;
        while (is_digit(c) && d->count - before < 3) {
            take_digit(c, d);
        }
        if (d->count - before != 3 || is_digit(c)) {
            return false;
        }
    }
    return true;
}

static bool take_exponent(struct cursor *c, int *exponent)
{
    if (!takes(c, 'e') && !takes(c, 'E')) {
        return true;
    }
    const bool negative = takes(c, '-');
    if (!negative) {
        (void)takes(c, '+');
    }
    if (!is_digit(c)) {
        return false;
    }
    int value = 0;
    while (is_digit(c)) {
        if (value < 10000) {
            value = value * 10 + (*c->at - '0');
        }
        c->at++;
    }
    *exponent = negative ? -value : value;
    return true;
}

/* Trailing zeros beyond what fits are not digits that anybody measured: 1e25 has one. */
static bool fit(struct digits *d, int *decimals)
{
    while (*decimals < fewest_decimals && d->whole <= UINT64_C(99999999999999999)) {
        d->whole *= 10;
        ++*decimals;
    }
    if (d->whole == 0) {
        *decimals = *decimals < 0 ? 0 : *decimals > most_decimals ? most_decimals : *decimals;
    }
    return *decimals >= fewest_decimals && *decimals <= most_decimals;
}

enum an_status an_decimal_parse(struct an_bytes field, char mark, char group,
                                struct an_decimal *number)
{
    if (field.length == 0) { /* perhaps nowhere */
        return AN_DOMAIN;
    }
    struct cursor c = {field.at, field.at + field.length};
    const bool negative = takes(&c, '-');
    if (!negative) {
        (void)takes(&c, '+');
    }
    struct digits d = {0};
    if (!take_whole_part(&c, group, &d)) {
        return AN_DOMAIN;
    }
    int decimals = 0;
    if (takes(&c, mark)) {
        const int before = d.count;
        while (is_digit(&c)) {
            take_digit(&c, &d);
        }
        decimals = d.count - before;
        if (decimals == 0) {
            return AN_DOMAIN;
        }
    }
    int exponent = 0;
    if (d.count == 0 || !take_exponent(&c, &exponent) || c.at != c.end || d.too_many) {
        return AN_DOMAIN;
    }
    decimals -= exponent;
    if (!fit(&d, &decimals)) {
        return AN_DOMAIN;
    }
    number->scaled = negative ? -(int64_t)d.whole : (int64_t)d.whole;
    number->decimals = decimals;
    number->value = an_decimal_value(number->scaled, decimals);
    return AN_OK;
}

char *an_number_shortest(double value, char buffer[32])
{
    if (!isfinite(value)) {
        memcpy(buffer, "null", 5);
        return buffer;
    }
    for (int digits = 15; digits <= 17; digits++) {
        (void)snprintf(buffer, 32, "%.*g", digits, value);
        if (strtod(buffer, NULL) == value) { /* the locale is always C here: see DEVELOPERS.md */
            break;
        }
    }
    return buffer;
}

enum an_status an_integer_parse(struct an_bytes field, int64_t *number)
{
    if (field.length == 0) { /* perhaps nowhere */
        return AN_DOMAIN;
    }
    struct cursor c = {field.at, field.at + field.length};
    const bool negative = takes(&c, '-');
    if (!negative) {
        (void)takes(&c, '+');
    }
    if (!is_digit(&c)) {
        return AN_DOMAIN;
    }
    int64_t value = 0;
    while (is_digit(&c)) {
        const int64_t digit = *c.at++ - '0';
        if (__builtin_mul_overflow(value, INT64_C(10), &value) ||
            (negative ? __builtin_sub_overflow(value, digit, &value)
                      : __builtin_add_overflow(value, digit, &value))) {
            return AN_DOMAIN;
        }
    }
    if (c.at != c.end) {
        return AN_DOMAIN;
    }
    *number = value;
    return AN_OK;
}
