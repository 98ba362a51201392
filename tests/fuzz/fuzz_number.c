/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any bytes as a number. What is accepted, and what it means, is worked out a second time: the
 * grammar by a regular expression, the digits as texts with their power of ten, the double by the
 * C library's strtod. The first byte chooses the decimal and the thousands mark.
 */
#include "andamento/base/number.h"

#include <errno.h>
#include <math.h>
#include <regex.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

enum { MOST = 200 };

static const struct {
    char mark, group;
    const char *grammar;
} forms[] = {
    {'.', 0, "^[+-]?([0-9]+([.][0-9]+)?|[.][0-9]+)([eE][+-]?[0-9]+)?$"},
    {',', 0, "^[+-]?([0-9]+(,[0-9]+)?|,[0-9]+)([eE][+-]?[0-9]+)?$"},
    {'.', ',', "^[+-]?(([0-9]+|[0-9]{1,3}(,[0-9]{3})+)([.][0-9]+)?|[.][0-9]+)([eE][+-]?[0-9]+)?$"},
    {',', '.', "^[+-]?(([0-9]+|[0-9]{1,3}([.][0-9]{3})+)(,[0-9]+)?|,[0-9]+)([eE][+-]?[0-9]+)?$"},
    {',', ' ', "^[+-]?(([0-9]+|[0-9]{1,3}( [0-9]{3})+)(,[0-9]+)?|,[0-9]+)([eE][+-]?[0-9]+)?$"},
};
enum { FORMS = sizeof forms / sizeof *forms };

static void must(int good, const char *what, const char *field)
{
    if (!good) {
        (void)fprintf(stderr, "%s: \"%s\"\n", what, field);
        abort();
    }
}

static int fits(size_t form, const char *field)
{
    static regex_t compiled[FORMS];
    static int ready[FORMS];

    if (!ready[form]) {
        must(regcomp(&compiled[form], forms[form].grammar, REG_EXTENDED | REG_NOSUB) == 0,
             "the grammar", forms[form].grammar);
        ready[form] = 1;
    }
    return regexec(&compiled[form], field, 0, NULL, 0) == 0;
}

/* A number as its digits, without zeros at either end, and the power of ten of the last one. */
struct digits {
    char at[MOST + 64];
    size_t count; /* 0: the number is zero */
    long power;
    size_t written; /* digits after leading zeros, trailing zeros included */
    long decimals;  /* as written: digits after the mark less the exponent */
    int negative;
};

static void shorten(struct digits *d)
{
    while (d->count && d->at[d->count - 1] == '0') {
        d->count--;
        d->power++;
    }
    d->at[d->count] = '\0';
}

static void read_text(const char *field, char mark, struct digits *d)
{
    int after = 0;

    memset(d, 0, sizeof *d);
    d->negative = *field == '-';
    for (; *field && *field != 'e' && *field != 'E'; field++) {
        if (*field == mark) {
            after = 1;
        } else if (*field >= '0' && *field <= '9') {
            d->decimals += after;
            if (d->count || *field != '0') {
                d->at[d->count++] = *field;
            }
        }
    }
    if (*field) {
        long exponent = strtol(field + 1, NULL, 10); /* LONG_MAX when it is larger */
        exponent = exponent > 100000 ? 100000 : exponent < -100000 ? -100000 : exponent;
        d->decimals -= exponent;
    }
    d->power = -d->decimals;
    d->written = d->count;
    shorten(d);
}

static void read_scaled(const struct an_decimal *number, struct digits *d)
{
    memset(d, 0, sizeof *d);
    d->negative = number->scaled < 0;
    (void)snprintf(d->at, sizeof d->at, "%lld", llabs((long long)number->scaled));
    d->count = strcmp(d->at, "0") == 0 ? 0 : strlen(d->at);
    d->power = -number->decimals;
    shorten(d);
}

/* Does it fit by the limits that number.h promises: 18 digits, -18 to 30 decimals? A number with
 * fewer decimals than -18 takes zeros at its end instead. */
static int within_limits(const struct digits *d)
{
    if (d->count == 0) {
        return 1;
    }
    const long filled = d->decimals < -18 ? (long)d->written - 18 - d->decimals : (long)d->written;
    return filled <= 18 && d->decimals <= 30;
}

static void check_decimal(size_t form, const char *field, struct an_bytes bytes)
{
    struct an_decimal number = {.scaled = 77, .decimals = 7};
    struct digits said;
    struct digits got;
    char plain[MOST + 1];
    size_t length = 0;
    const enum an_status st = an_decimal_parse(bytes, forms[form].mark, forms[form].group, &number);
    const int whole = strlen(field) == bytes.length; /* no NUL inside */

    if (!whole || !fits(form, field)) {
        must(st == AN_DOMAIN, "no number, but accepted", field);
        must(number.scaled == 77 && number.decimals == 7, "refused, but written", field);
        return;
    }
    read_text(field, forms[form].mark, &said);
    must((st == AN_OK) == within_limits(&said), st ? "refused" : "beyond the limits, but accepted",
         field);
    if (st) {
        return;
    }
    read_scaled(&number, &got);
    must(got.count == said.count && strcmp(got.at, said.at) == 0, "other digits", field);
    must(got.count == 0 || got.power == said.power, "another power of ten", field);
    must(got.count == 0 || got.negative == said.negative, "another sign", field);
    must(said.count == 0 || said.decimals < -18 || number.decimals == said.decimals,
         "trailing zeros lost", field);
    for (const char *c = field; *c; c++) {
        if (*c != forms[form].group || !forms[form].group) {
            plain[length++] = *c == forms[form].mark ? '.' : *c;
        }
    }
    plain[length] = '\0';
    must(number.value == strtod(plain, NULL), "another double", field);
    must(number.value == an_decimal_value(number.scaled, number.decimals), "two doubles", field);
}

static void check_integer(const char *field, struct an_bytes bytes)
{
    int64_t number = 77;
    char *end = NULL;
    const char *digits = field + (*field == '-' || *field == '+');

    errno = 0;
    const long long wanted = strtoll(field, &end, 10);
    const int good = strlen(field) == bytes.length && *digits >= '0' && *digits <= '9' &&
                     *end == '\0' && errno == 0;
    const enum an_status st = an_integer_parse(bytes, &number);
    must((st == AN_OK) == good, "a whole number", field);
    must(number == (good ? wanted : 77), "the whole number", field);
}

static void check_shortest(const uint8_t *data)
{
    char text[32];
    char shorter[32];
    double value = 0.0;

    memcpy(&value, data, sizeof value);
    (void)an_number_shortest(value, text);
    if (!isfinite(value)) {
        must(strcmp(text, "null") == 0, "not finite", text);
        return;
    }
    must(strtod(text, NULL) == value, "does not read back", text);
    for (int digits = 15; digits < 17; digits++) {
        (void)snprintf(shorter, sizeof shorter, "%.*g", digits, value);
        if (strtod(shorter, NULL) == value) {
            must(strlen(text) <= strlen(shorter), "not the shortest", text);
            break;
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char field[MOST + 1];

    if (size < 1 || size > MOST) {
        return 0;
    }
    const struct an_bytes bytes = {data + 1, size - 1};
    memcpy(field, bytes.at, bytes.length);
    field[bytes.length] = '\0';
    check_decimal(data[0] % FORMS, field, bytes);
    check_integer(field, bytes);
    if (bytes.length >= 8) {
        check_shortest(bytes.at);
    }
    return 0;
}
