/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The table of units. Responsible for: spellings, and factors that are exact up to one rounding.
 * Must never: guess (an unknown unit stays unknown), follow the locale, allocate.
 *
 * The hard idea: 1e-6 / 1e-3 is not 1e-3 in doubles. So a unit is kept as num / den * 10^exp * pi^pi
 * in whole numbers, the ratio of two units is reduced in whole numbers, and one division rounds it.
 */
#include "line/unit.h"

#include "line/nearest.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

#define SPELLING_MOST 32
#define PI 3.14159265358979323846 /* rounds to the nearest double */

struct unit {
    const char *name;
    const char *quantity;
    int64_t num, den; /* 1 of this unit = num / den * 10^exp * pi^pi of the base unit ... */
    int exp, pi;
    int64_t offset_num, offset_den; /* ... plus this much of the base unit (temperatures) */
};

#define DECIMAL(name, quantity, exp)                                                               \
    {                                                                                              \
        name, quantity, 1, 1, exp, 0, 0, 1                                                         \
    }
#define RATIO(name, quantity, num, den, exp)                                                       \
    {                                                                                              \
        name, quantity, num, den, exp, 0, 0, 1                                                     \
    }

static const struct unit units[] = {
    DECIMAL("pm", "length", -12),
    DECIMAL("nm", "length", -9),
    DECIMAL("um", "length", -6),
    DECIMAL("mm", "length", -3),
    DECIMAL("cm", "length", -2),
    DECIMAL("m", "length", 0),
    RATIO("mil", "length", 254, 1, -7), /* inch = 25.4 mm exactly (1959 agreement) */
    RATIO("in", "length", 254, 1, -4),
    DECIMAL("um2", "area", -12),
    DECIMAL("mm2", "area", -6),
    DECIMAL("cm2", "area", -4),
    DECIMAL("m2", "area", 0),
    DECIMAL("1", "ratio", 0),
    DECIMAL("fraction", "ratio", 0),
    DECIMAL("%", "ratio", -2),
    DECIMAL("permille", "ratio", -3),
    DECIMAL("ppm", "ratio", -6),
    DECIMAL("ppb", "ratio", -9),
    DECIMAL("ns", "time", -9),
    DECIMAL("us", "time", -6),
    DECIMAL("ms", "time", -3),
    DECIMAL("s", "time", 0),
    RATIO("min", "time", 60, 1, 0),
    RATIO("h", "time", 3600, 1, 0),
    RATIO("d", "time", 86400, 1, 0),
    DECIMAL("uV", "voltage", -6),
    DECIMAL("mV", "voltage", -3),
    DECIMAL("V", "voltage", 0),
    DECIMAL("kV", "voltage", 3),
    DECIMAL("pA", "current", -12),
    DECIMAL("nA", "current", -9),
    DECIMAL("uA", "current", -6),
    DECIMAL("mA", "current", -3),
    DECIMAL("A", "current", 0),
    DECIMAL("uohm", "resistance", -6),
    DECIMAL("mohm", "resistance", -3),
    DECIMAL("ohm", "resistance", 0),
    DECIMAL("kohm", "resistance", 3),
    DECIMAL("Mohm", "resistance", 6),
    DECIMAL("K", "temperature", 0),
    {"degC", "temperature", 1, 1, 0, 0, 27315, 100},
    {"degF", "temperature", 5, 9, 0, 0, 45967, 180}, /* K = (F + 459.67) * 5 / 9 */
    DECIMAL("mcd/m2", "luminance", -3),
    DECIMAL("cd/m2", "luminance", 0),
    DECIMAL("kcd/m2", "luminance", 3),
    {"fL", "luminance", 100000000, 9290304, 0, -1, 0, 1}, /* 1/pi cd/ft2, foot = 0.3048 m */
    DECIMAL("lx", "illuminance", 0),
    DECIMAL("klx", "illuminance", 3),
    DECIMAL("ulm", "luminous flux", -6),
    DECIMAL("mlm", "luminous flux", -3),
    DECIMAL("lm", "luminous flux", 0),
    DECIMAL("nW", "power", -9),
    DECIMAL("uW", "power", -6),
    DECIMAL("mW", "power", -3),
    DECIMAL("W", "power", 0),
    DECIMAL("kW", "power", 3),
    DECIMAL("uJ", "energy", -6),
    DECIMAL("mJ", "energy", -3),
    DECIMAL("J", "energy", 0),
    DECIMAL("kJ", "energy", 3),
    DECIMAL("uJ/cm2", "dose", -2),
    DECIMAL("mJ/cm2", "dose", 1),
    DECIMAL("J/cm2", "dose", 4),
    DECIMAL("J/m2", "dose", 0),
    DECIMAL("uW/cm2", "irradiance", -2),
    DECIMAL("mW/cm2", "irradiance", 1),
    DECIMAL("W/cm2", "irradiance", 4),
    DECIMAL("W/m2", "irradiance", 0),
    DECIMAL("urad", "angle", -6),
    DECIMAL("mrad", "angle", -3),
    DECIMAL("rad", "angle", 0),
    {"deg", "angle", 1, 180, 0, 1, 0, 1},
    {"arcmin", "angle", 1, 10800, 0, 1, 0, 1},
    {"arcsec", "angle", 1, 648000, 0, 1, 0, 1},
    DECIMAL("uN", "force", -6),
    DECIMAL("mN", "force", -3),
    DECIMAL("N", "force", 0),
    DECIMAL("kN", "force", 3),
    RATIO("gf", "force", 980665, 1, -8), /* standard gravity 9.80665 m/s2 (CGPM 1901) */
    RATIO("kgf", "force", 980665, 1, -5),
    DECIMAL("mN.m", "torque", -3),
    DECIMAL("N.cm", "torque", -2),
    DECIMAL("N.m", "torque", 0),
    DECIMAL("Pa", "pressure", 0),
    DECIMAL("hPa", "pressure", 2),
    DECIMAL("kPa", "pressure", 3),
    DECIMAL("MPa", "pressure", 6),
    DECIMAL("mbar", "pressure", 2),
    DECIMAL("bar", "pressure", 5),
    DECIMAL("ng", "mass", -12),
    DECIMAL("ug", "mass", -9),
    DECIMAL("mg", "mass", -6),
    DECIMAL("g", "mass", -3),
    DECIMAL("kg", "mass", 0),
    DECIMAL("mPa.s", "viscosity", -3),
    DECIMAL("Pa.s", "viscosity", 0),
    DECIMAL("um/s", "speed", -6),
    DECIMAL("mm/s", "speed", -3),
    DECIMAL("m/s", "speed", 0),
    DECIMAL("Hz", "frequency", 0),
    DECIMAL("kHz", "frequency", 3),
    DECIMAL("MHz", "frequency", 6),
    DECIMAL("K/s", "heating rate", 0),
    RATIO("K/min", "heating rate", 1, 60, 0),
};
#define UNIT_COUNT (sizeof units / sizeof units[0])

/* Other words for a unit, as they stand after the signs are spelt out. */
static const struct {
    const char *word, *name;
} words[] = {
    {"micron", "um"},
    {"microns", "um"},
    {"inch", "in"},
    {"sec", "s"},
    {"hr", "h"},
    {"day", "d"},
    {"percent", "%"},
    {"pct", "%"},
    {"permil", "permille"},
    {"per_million", "ppm"},
    {"dpm", "ppm"},
    {"ratio", "1"},
    {"-", "1"},
    {"nit", "cd/m2"},
    {"nits", "cd/m2"},
    {"cd.m-2", "cd/m2"},
    {"ftL", "fL"},
    {"Ohm", "ohm"},
    {"Ohms", "ohm"},
    {"ohms", "ohm"},
    {"mOhm", "mohm"},
    {"kOhm", "kohm"},
    {"MOhm", "Mohm"},
    {"uOhm", "uohm"},
    {"cP", "mPa.s"},
    {"mPas", "mPa.s"},
    {"Pas", "Pa.s"},
    {"Nm", "N.m"},
    {"mNm", "mN.m"},
    {"Ncm", "N.cm"},
    {"degC/s", "K/s"},
    {"degC/min", "K/min"},
    {"Kelvin", "K"},
    {"Celsius", "degC"},
};
#define WORD_COUNT (sizeof words / sizeof words[0])

static const struct {
    const char *sign, *spelt;
} signs[] = {
    {"\xC2\xB5", "u"},
    {"\xCE\xBC", "u"}, /* micro sign, Greek mu */
    {"\xC2\xB0", "deg"},
    {"\xCE\xA9", "ohm"}, /* degree sign, Greek Omega */
    {"\xC2\xB2", "2"},
    {"\xE2\x84\xA6", "ohm"}, /* raised 2, ohm sign */
    {"\xC2\xB7", "."},
    {"\xE2\x8B\x85", "."}, /* raised points */
    {"\xE2\x84\x83", "degC"},
    {"\xE2\x84\x89", "degF"}, /* one-sign degrees */
    {"\xE2\x80\xB0", "permille"},
    {"\xE2\x88\x92", "-"},
    {"\xC2\xA0", ""},
    {"\xE2\x80\xAF", ""}, /* blanks that do not break */
    {" ", ""},
    {"\t", ""},
    {"^", ""},
    {"*", "."},
};
#define SIGN_COUNT (sizeof signs / sizeof signs[0])

static struct an_bytes without_brackets(struct an_bytes unit)
{
    unit = an_bytes_trim(unit);
    if (unit.length > 2) {
        const unsigned char first = unit.at[0];
        const unsigned char last = unit.at[unit.length - 1];
        if ((first == '[' && last == ']') || (first == '(' && last == ')')) {
            unit.at++;
            unit.length -= 2;
        }
    }
    return unit;
}

/* Spells the signs out. False if the result does not fit; no unit of ours is that long. */
static bool spell(struct an_bytes unit, char spelling[SPELLING_MOST])
{
    unit = without_brackets(unit);
    size_t length = 0;
    for (size_t i = 0; i < unit.length;) {
        char one[2] = {(char)unit.at[i], 0};
        const char *piece = one;
        size_t taken = 1;
        for (size_t s = 0; s < SIGN_COUNT; s++) {
            const size_t size = strlen(signs[s].sign);
            if (unit.length - i >= size && memcmp(unit.at + i, signs[s].sign, size) == 0) {
                piece = signs[s].spelt;
                taken = size;
                break;
            }
        }
        const size_t more = strlen(piece);
        if (length + more >= SPELLING_MOST || unit.at[i] == 0) {
            return false;
        }
        memcpy(spelling + length, piece, more);
        length += more;
        i += taken;
    }
    spelling[length] = 0;
    return true;
}

static const struct unit *find(struct an_bytes unit)
{
    char spelling[SPELLING_MOST];
    if (!spell(unit, spelling)) {
        return NULL;
    }
    const char *name = spelling;
    for (size_t w = 0; w < WORD_COUNT; w++) {
        if (strcmp(words[w].word, spelling) == 0) {
            name = words[w].name;
            break;
        }
    }
    for (size_t u = 0; u < UNIT_COUNT; u++) {
        if (strcmp(units[u].name, name) == 0) {
            return &units[u];
        }
    }
    return NULL;
}

bool an_unit_known(struct an_bytes unit)
{
    return find(unit) != NULL;
}

const char *an_unit_quantity(struct an_bytes unit)
{
    const struct unit *found = find(unit);
    return found ? found->quantity : NULL;
}

/* 1 and fraction are two words for the same thing, as are any two units of equal size. */
static bool equal_size(const struct unit *a, const struct unit *b)
{
    return strcmp(a->quantity, b->quantity) == 0 && a->num * b->den == b->num * a->den &&
           a->exp == b->exp && a->pi == b->pi &&
           a->offset_num * b->offset_den == b->offset_num * a->offset_den;
}

bool an_unit_same(struct an_bytes a, struct an_bytes b)
{
    const struct unit *first = find(a);
    const struct unit *second = find(b);
    if (first && second) {
        return equal_size(first, second);
    }
    if (first || second) {
        return false;
    }
    char spelling_a[SPELLING_MOST];
    char spelling_b[SPELLING_MOST];
    if (spell(a, spelling_a) && spell(b, spelling_b)) {
        return strcmp(spelling_a, spelling_b) == 0;
    }
    return an_bytes_equal(an_bytes_trim(a), an_bytes_trim(b));
}

static int64_t common_divisor(int64_t a, int64_t b)
{
    while (b != 0) {
        const int64_t rest = a % b;
        a = b;
        b = rest;
    }
    return a < 0 ? -a : a;
}

/* num / den * 10^exp, rounded once: both sides are whole numbers that a double holds exactly, for
 * the powers of ten up to 22 that the table can give. */
static double rounded_once(int64_t num, int64_t den, int exp)
{
    const int64_t divisor = common_divisor(num, den);
    double above = (double)(num / divisor);
    double below = (double)(den / divisor);
    for (; exp > 0; exp--) {
        above *= 10;
    }
    for (; exp < 0; exp++) {
        below *= 10;
    }
    return above / below;
}

enum an_status an_unit_factor(struct an_bytes from, struct an_bytes to, double *factor,
                              double *offset)
{
    *factor = 1;
    *offset = 0;
    const struct unit *a = find(from);
    const struct unit *b = find(to);
    if (!a || !b) {
        return AN_NOT_FOUND;
    }
    if (strcmp(a->quantity, b->quantity) != 0) {
        return AN_DOMAIN;
    }
    *factor = rounded_once(a->num * b->den, a->den * b->num, a->exp - b->exp);
    for (int pi = a->pi - b->pi; pi != 0; pi += pi > 0 ? -1 : 1) {
        *factor = pi > 0 ? *factor * PI : *factor / PI;
    }
    const int64_t shift = a->offset_num * b->offset_den - b->offset_num * a->offset_den;
    if (shift != 0) {
        *offset = rounded_once(shift * b->den, a->offset_den * b->offset_den * b->num, -b->exp);
    }
    return AN_OK;
}

const char *an_unit_nearest(struct an_bytes unit)
{
    char spelling[SPELLING_MOST];
    if (!spell(unit, spelling)) {
        return NULL;
    }
    const char *names[UNIT_COUNT + WORD_COUNT];
    for (size_t u = 0; u < UNIT_COUNT; u++) {
        names[u] = units[u].name;
    }
    for (size_t w = 0; w < WORD_COUNT; w++) {
        names[UNIT_COUNT + w] = words[w].word;
    }
    return an_nearest(spelling, names, UNIT_COUNT + WORD_COUNT);
}
