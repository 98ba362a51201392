/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The unit that a column's name tells: in brackets, or as its last part ("dx_um", "Lv [cd/m2]").
 * Must never read one letter as a unit without a word beside it that agrees.
 */
#include "intake/probe_inner.h"
#include "line/unit.h"

#include <string.h>

struct suffix {
    const char *ending, *unit;
    const char *agrees; /* words of which the name must hold one; NULL: none needed */
    const char *doubt;
};

static const struct suffix suffixes[] = {
    {"cd_m2", "cd/m2", NULL, NULL},
    {"mcd_m2", "mcd/m2", NULL, NULL},
    {"mj_cm2", "mJ/cm2", NULL, NULL},
    {"mjcm2", "mJ/cm2", NULL, NULL},
    {"j_cm2", "J/cm2", NULL, NULL},
    {"mw_cm2", "mW/cm2", NULL, NULL},
    {"w_m2", "W/m2", NULL, NULL},
    {"um_s", "um/s", NULL, NULL},
    {"mm_s", "mm/s", NULL, NULL},
    {"pa_s", "Pa.s", NULL, NULL},
    {"mpa_s", "mPa.s", NULL, NULL},
    {"k_min", "K/min", NULL, NULL},
    {"nm", "nm", NULL, NULL},
    {"um", "um", NULL, NULL},
    {"mm", "mm", NULL, NULL},
    {"cm", "cm", NULL, NULL},
    {"mm2", "mm2", NULL, NULL},
    {"um2", "um2", NULL, NULL},
    {"pct", "%", NULL, NULL},
    {"percent", "%", NULL, NULL},
    {"ppm", "ppm", NULL, NULL},
    {"ppb", "ppb", NULL, NULL},
    {"mv", "mV", NULL, NULL},
    {"uv", "uV", "volt voltage v vf offset", NULL},
    {"kv", "kV", NULL, NULL},
    {"pa", "pA", "leak leakage current i ir", NULL},
    {"na", "nA", NULL, "nA, or \"not available\"?"},
    {"ua", "uA", NULL, NULL},
    {"ma", "mA", NULL, NULL},
    {"mohm", "mohm", NULL, "milliohm, or megohm (Mohm)?"},
    {"uohm", "uohm", NULL, NULL},
    {"kohm", "kohm", NULL, NULL},
    {"ohm", "ohm", NULL, NULL},
    {"degc", "degC", NULL, NULL},
    {"degf", "degF", NULL, NULL},
    {"deg", "deg", NULL, NULL},
    {"mrad", "mrad", NULL, NULL},
    {"urad", "urad", NULL, NULL},
    {"rad", "rad", NULL, NULL},
    {"nit", "cd/m2", NULL, NULL},
    {"nits", "cd/m2", NULL, NULL},
    {"lx", "lx", NULL, NULL},
    {"lux", "lx", NULL, NULL},
    {"mw", "mW", NULL, "milliwatt, or megawatt?"},
    {"uw", "uW", NULL, NULL},
    {"ms", "ms", NULL, NULL},
    {"us", "us", NULL, NULL},
    {"ns", "ns", NULL, NULL},
    {"sec", "s", NULL, NULL},
    {"kpa", "kPa", NULL, NULL},
    {"hpa", "hPa", NULL, NULL},
    {"mbar", "mbar", NULL, NULL},
    {"bar", "bar", NULL, NULL},
    {"mg", "mg", NULL, NULL},
    {"ug", "ug", NULL, NULL},
    {"kg", "kg", NULL, NULL},
    {"hz", "Hz", NULL, NULL},
    {"khz", "kHz", NULL, NULL},
    {"mn", "mN", NULL, "millinewton, or meganewton?"},
    {"gf", "gf", NULL, NULL},
    {"mpas", "mPa.s", NULL, NULL},
    {"cp", "cP", "visc viscosity", NULL},
    {"c", "degC", "temp temperature t", NULL},
    {"f", "degF", "temp temperature", NULL},
    {"k", "K", "temp temperature", NULL},
    {"v", "V", "volt voltage vf u uf v vr bias", NULL},
    {"a", "A", "current amp if", NULL},
    {"n", "N", "force load kraft", NULL},
    {"s", "s", "time duration dwell cycle", NULL},
    {"w", "W", "power", NULL},
    {"g", "g", "mass weight", NULL},
};

/* Does the name end in the part, with a mark before it? */
static bool ends_in(const char *name, const char *ending)
{
    const size_t length = strlen(name);
    const size_t part = strlen(ending);
    if (length <= part + 1 || !strchr("_- .", name[length - part - 1])) {
        return false;
    }
    return an_bytes_are_nocase((struct an_bytes){(const unsigned char *)name + length - part, part},
                               ending);
}

static const char *in_brackets(struct an_arena *arena, const char *name)
{
    static const char opens[] = "[(";
    static const char closes[] = "])";
    for (size_t i = 0; i < 2; i++) {
        const char *from = strchr(name, opens[i]);
        const char *until = from ? strchr(from, closes[i]) : NULL;
        if (until > from + 1) {
            const struct an_bytes unit = {(const unsigned char *)from + 1,
                                          (size_t)(until - from) - 1};
            return an_unit_known(unit) ? an_arena_copy(arena, unit.at, unit.length) : NULL;
        }
    }
    return NULL;
}

const char *an_probe_unit_of_name(struct an_arena *arena, const char *name, const char **doubt)
{
    *doubt = NULL;
    const char *unit = in_brackets(arena, name);
    for (size_t i = 0; !unit && i < sizeof suffixes / sizeof *suffixes; i++) {
        const struct suffix *suffix = &suffixes[i];
        if (ends_in(name, suffix->ending) &&
            (!suffix->agrees || an_probe_name_has(name, suffix->agrees))) {
            /* the agreeing word must be another part than the ending itself */
            char rest[128];
            const size_t length = strlen(name) - strlen(suffix->ending) - 1;
            if (suffix->agrees) {
                if (length >= sizeof rest) {
                    continue;
                }
                memcpy(rest, name, length);
                rest[length] = '\0';
                if (!an_probe_name_has(rest, suffix->agrees)) {
                    continue;
                }
            }
            unit = suffix->unit;
            *doubt = suffix->doubt;
        }
    }
    return unit;
}
