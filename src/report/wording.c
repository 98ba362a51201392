/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The report's words. Responsible for every number, time and sentence that is not the judge's own;
 * must never decide what is worth saying about a stream (the judge did) nor where it stands.
 * Its one hard idea: the leading sentence has a form for each way in which a shift can be empty,
 * so that "no signal" is never said of what was not judged.
 */
#include "report/wording.h"

#include "andamento/base/number.h"
#include "andamento/base/text.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

const char *an_say_count(struct an_arena *arena, int64_t count)
{
    char digits[24];
    const int length = snprintf(digits, sizeof digits, "%" PRId64, count < 0 ? -count : count);
    char text[40];
    size_t used = 0;
    if (count < 0) {
        text[used++] = '-';
    }
    for (int i = 0; i < length; i++) {
        if (i && (length - i) % 3 == 0) {
            text[used++] = ',';
        }
        text[used++] = digits[i];
    }
    return an_arena_copy(arena, text, used);
}

static bool ends_with(const char *text, const char *end)
{
    const size_t a = strlen(text);
    const size_t b = strlen(end);
    return a >= b && !strcmp(text + a - b, end);
}

const char *an_say_plural(struct an_arena *arena, const char *noun)
{
    const size_t length = strlen(noun);
    if (ends_with(noun, "s") || ends_with(noun, "x") || ends_with(noun, "ch") ||
        ends_with(noun, "sh")) {
        return an_arena_printf(arena, "%ses", noun);
    }
    if (length > 1 && noun[length - 1] == 'y' && !strchr("aeiou", noun[length - 2])) {
        return an_arena_printf(arena, "%.*sies", (int)(length - 1), noun);
    }
    return an_arena_printf(arena, "%ss", noun);
}

const char *an_say_many(struct an_arena *arena, int64_t count, const char *noun)
{
    return an_arena_printf(arena, "%s %s", an_say_count(arena, count),
                           count == 1 ? noun : an_say_plural(arena, noun));
}

const char *an_say_number(struct an_arena *arena, double value, int decimals)
{
    if (!isfinite(value)) {
        return "-";
    }
    if (fabs(value) >= 1e15) {
        return an_say_plain(arena, value);
    }
    const int places = decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;
    char text[64];
    (void)snprintf(text, sizeof text, "%.*f", places, value);
    for (char *at = text; *at; at++) { /* a host program may have changed the locale */
        if (*at == ',') {
            *at = '.';
        }
    }
    const bool zero = text[0] == '-' && strspn(text, "-0.") == strlen(text);
    return an_arena_printf(arena, "%s", zero ? text + 1 : text);
}

int an_decimals_of(double size)
{
    const double decimals = size > 0 && isfinite(size) ? 1.0 - floor(log10(size)) : 0;
    return decimals < 0 ? 0 : decimals > 9 ? 9 : (int)decimals;
}

const char *an_say_digits(struct an_arena *arena, double value)
{
    const double size = fabs(value);
    if (!isfinite(value) || size >= 1e15 || (size > 0 && size < 1e-6)) {
        return isfinite(value) ? an_arena_printf(arena, "%.3g", value) : "-";
    }
    const int decimals = size > 0 ? 2 - (int)floor(log10(size)) : 0;
    if (decimals <= 0) {
        const double unit = pow(10, -decimals);
        return an_say_count(arena, (int64_t)(nearbyint(value / unit) * unit));
    }
    char text[64];
    int length = snprintf(text, sizeof text, "%.*f", decimals, value);
    while (length > 1 && text[length - 1] == '0') {
        length--;
    }
    length -= text[length - 1] == '.' || text[length - 1] == ',';
    for (int i = 0; i < length; i++) { /* a host program may have changed the locale */
        text[i] = (char)(text[i] == ',' ? '.' : text[i]);
    }
    return an_arena_copy(arena, text, (size_t)length);
}

const char *an_say_measure(struct an_arena *arena, double value, int decimals, const char *unit)
{
    const char *number = an_say_number(arena, value, decimals);
    if (!unit || !*unit || !strcmp(unit, "1")) {
        return number;
    }
    return an_arena_printf(arena, "%s %s", number, unit);
}

const char *an_say_plain(struct an_arena *arena, double value)
{
    char text[32];
    return isfinite(value) ? an_arena_printf(arena, "%s", an_number_shortest(value, text)) : "-";
}

const char *an_say_time(struct an_arena *arena, const struct an_zone *zone, int64_t at_us)
{
    char text[40];
    return at_us == AN_NO_INSTANT
               ? "never"
               : an_arena_printf(arena, "%s", an_instant_spoken(zone, at_us, text));
}

const char *an_say_date(struct an_arena *arena, const struct an_zone *zone, int64_t at_us)
{
    char text[40];
    if (at_us == AN_NO_INSTANT) {
        return "never";
    }
    an_instant_spoken(zone, at_us, text);
    char *blank = strrchr(text, ' '); /* before the time of day */
    if (blank) {
        *blank = '\0';
    }
    const struct an_civil civil = an_zone_civil(zone, at_us);
    return an_arena_printf(arena, "%s %d", text, civil.year);
}

const char *an_say_locked(struct an_arena *arena, const struct an_zone *zone, int64_t locked_us,
                          int64_t in_force_us)
{
    return in_force_us == AN_NO_INSTANT
               ? an_arena_printf(arena, "locked %s", an_say_date(arena, zone, locked_us))
               : an_arena_printf(arena, "locked %s, for values from %s on",
                                 an_say_date(arena, zone, locked_us),
                                 an_say_date(arena, zone, in_force_us));
}

const char *an_say_period(struct an_arena *arena, const struct an_zone *zone, int64_t from_us,
                          int64_t until_us)
{
    const struct an_civil from = an_zone_civil(zone, from_us);
    const struct an_civil until = an_zone_civil(zone, until_us);
    const char *begin = an_say_time(arena, zone, from_us);
    const char *zone_name = an_zone_name(zone);
    if (an_civil_days(&from) == an_civil_days(&until)) {
        return an_arena_printf(arena, "%s to %02d:%02d %d, %s", begin, until.hour, until.minute,
                               until.year, zone_name);
    }
    return an_arena_printf(arena, "%s to %s %d, %s", begin, an_say_time(arena, zone, until_us),
                           until.year, zone_name);
}

const char *an_say_span(struct an_arena *arena, int64_t span_us)
{
    const int64_t minutes = span_us < 0 ? 0 : span_us / AN_MINUTE_US;
    if (minutes < 90) {
        return an_arena_printf(arena, "%" PRId64 " min", minutes);
    }
    if (minutes < INT64_C(48) * 60) {
        return an_arena_printf(arena, "%" PRId64 " h", (minutes + 30) / 60);
    }
    return an_arena_printf(arena, "%" PRId64 " days",
                           (minutes + INT64_C(12) * 60) / (INT64_C(24) * 60));
}

const char *an_say_list(struct an_arena *arena, const char *const *at, size_t count, size_t most)
{
    struct an_text text = {0};
    /* "and 1 more" says no less in the room of the one itself */
    const size_t shown = count <= most + 1 ? count : most;
    for (size_t i = 0; i < shown; i++) {
        if (i) {
            an_text_add(&text, shown == count && i + 1 == count ? " and " : ", ");
        }
        an_text_add(&text, at[i]);
    }
    if (shown < count) {
        an_text_addf(&text, " and %zu more", count - shown);
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

const char *an_say_n(struct an_arena *arena, double n, const char *counted_in)
{
    const double rest = fabs(n - nearbyint(n));
    if (n < 10 && rest > 0.05) {
        return an_arena_printf(arena, "about %s %s", an_say_number(arena, n, 1),
                               an_say_plural(arena, counted_in));
    }
    return an_arena_printf(arena, "%s%s", rest < 1e-9 ? "" : "about ",
                           an_say_many(arena, (int64_t)nearbyint(n), counted_in));
}

const char *an_say_rule_code(struct an_arena *arena, enum an_rule rule,
                             const struct an_rule_choice *choice)
{
    char code[16];
    const char *text = an_rule_code(rule, +1, choice, code);
    const size_t length = strlen(text);
    const bool sided = length && (text[length - 1] == '+' || text[length - 1] == '-');
    return an_arena_copy(arena, text, sided ? length - 1 : length);
}

const char *an_say_rule(struct an_arena *arena, enum an_rule rule,
                        const struct an_rule_choice *choice)
{
    switch (rule) {
    case AN_RULE_BEYOND_LIMIT:
        return "a point beyond a control limit";
    case AN_RULE_TWO_OF_THREE_BEYOND_2S:
        return "2 of 3 points beyond 2 sigma on one side";
    case AN_RULE_FOUR_OF_FIVE_BEYOND_1S:
        return "4 of 5 points beyond 1 sigma on one side";
    case AN_RULE_RUN_ONE_SIDE:
        return an_arena_printf(arena, "%d points in a row on one side of the centre",
                               choice->run_length);
    case AN_RULE_STEADY_TREND:
        return an_arena_printf(arena, "%d points, each further the same way", choice->trend_length);
    case AN_RULE_ALTERNATING:
        return "14 points, up and down by turns";
    case AN_RULE_HUGGING_CENTRE:
        return "15 points in a row within 1 sigma of the centre";
    case AN_RULE_AVOIDING_CENTRE:
        return "8 points in a row, none within 1 sigma of the centre";
    case AN_RULE_OFF_SCALE:
        return "a value without a place on the scale of the chart";
    case AN_RULE_SCATTER:
        return "counts scatter otherwise than before";
    case AN_RULE_TOLD:
        break;
    }
    return "a rule this version does not know";
}

const char *an_say_family(enum an_family family)
{
    static const char *const words[AN_FAMILY_COUNT] = {
        [AN_XBAR_R] = "subgroup means, limits from the mean range inside subgroups",
        [AN_XBAR_S] = "subgroup means, limits from the standard deviation inside subgroups",
        [AN_INDIVIDUALS] = "single values, limits from their moving range",
        [AN_BETWEEN_WITHIN] = ("item means, limits from item-to-item variation; the spread inside "
                               "items is judged by itself"),
        [AN_P] = "proportion of nonconforming units, binomial limits",
        [AN_NP] = "number of nonconforming units, binomial limits",
        [AN_C] = "count of nonconformities, Poisson limits",
        [AN_U] = "nonconformities per opportunity, Poisson limits",
        [AN_P_PRIME] = "proportion, binomial limits widened by the dispersion found",
        [AN_U_PRIME] = "rate, Poisson limits widened by the dispersion found",
        [AN_T2] =
            "several variables at once: squared distance from their means, in their covariance",
        [AN_MEWMA] =
            "several variables at once: squared distance of their weighted mean from their means",
        [AN_RESIDUALS] = "departure of each value from what the one before leads to expect",
        [AN_G] =
            ("opportunities from one event to the next: each point is an event, samples without "
             "one have none; scale of equal ratios"),
        [AN_T] = ("hours from one event to the next: each point is an event, samples without one "
                  "have none; scale of equal ratios"),
        [AN_WEAR] = "values of a tool that wears, limits about the line of wear over its life",
        [AN_GROUP] = "parallel streams as one: the one furthest from its own level, in its sigmas",
        [AN_SHORT_RUN] =
            "products on one chart: distance from each one's target in its own sigmas"};
    return (unsigned)family < AN_FAMILY_COUNT ? words[family] : "chart of an unknown kind";
}

/* Without the full stop a sentence ends in, so that more may follow. */
static const char *without_stop(struct an_arena *arena, const char *sentence)
{
    size_t length = strlen(sentence);
    while (length && (sentence[length - 1] == '.' || sentence[length - 1] == ' ')) {
        length--;
    }
    return an_arena_copy(arena, sentence, length);
}

static const char *nothing_moved(struct an_arena *arena, const struct an_period_data *data)
{
    if (!data->sheet_count) {
        return "The store holds no samples yet, so there is nothing to judge.";
    }
    if (!data->samples) {
        return an_arena_printf(arena, "No station sent a sample in this %s, so nothing was judged.",
                               data->word);
    }
    const char *samples = an_say_many(arena, data->samples, "sample");
    size_t measured = 0;
    for (size_t i = 0; i < data->sheet_count; i++) {
        measured += data->sheets[i].period_samples > 0;
    }
    const char *streams = an_say_many(arena, (int64_t)data->judged_streams, "stream");
    if (!data->judged_streams) {
        return an_arena_printf(arena,
                               "Nothing was judged: %s came in from %s, and none of them has "
                               "locked limits.",
                               samples, an_say_many(arena, (int64_t)measured, "stream"));
    }
    int64_t judged = 0;
    for (size_t i = 0; i < data->sheet_count; i++) {
        judged += data->sheets[i].has_limits ? data->sheets[i].period_samples : 0;
    }
    if (judged == data->samples) {
        return an_arena_printf(arena, "No signal in %s, %s.", streams, samples);
    }
    return an_arena_printf(
        arena,
        "No signal in the %s that have limits, %s. %s in %s were not judged: "
        "no limits.",
        streams, an_say_many(arena, judged, "sample"),
        an_say_many(arena, data->samples - judged, "sample"),
        an_say_many(arena, (int64_t)(measured - data->judged_streams), "stream"));
}

const char *an_say_lead(struct an_arena *arena, const struct an_period_data *data)
{
    if (!data->signal_count) {
        return nothing_moved(arena, data);
    }
    const struct an_period_signal *worst = &data->signals[0];
    const char *brief = worst->signal.brief ? worst->signal.brief : worst->signal.sentence;
    const char *sentence = brief ? without_stop(arena, brief) : data->sheets[worst->sheet].title;
    if (data->moved_streams == 1) {
        return an_arena_printf(arena, "1 stream moved this %s: %s.", data->word, sentence);
    }
    return an_arena_printf(arena, "%s moved this %s. The worst: %s.",
                           an_say_many(arena, (int64_t)data->moved_streams, "stream"), data->word,
                           sentence);
}

const char *an_say_comparison(struct an_arena *arena, const struct an_period_data *data)
{
    struct an_text text = {0};
    an_text_addf(&text, "This %s: %s of %s moved", data->word,
                 an_say_count(arena, (int64_t)data->moved_streams),
                 an_say_many(arena, (int64_t)data->judged_streams, "stream"));
    if (data->new_streams && data->new_streams < data->moved_streams) {
        an_text_addf(&text, " (%zu for the first time, %zu still from before)", data->new_streams,
                     data->moved_streams - data->new_streams);
    } else if (data->moved_streams) {
        an_text_add(&text, data->new_streams ? " (for the first time)" : " (still from before)");
    }
    an_text_addf(&text, ", %s. ", an_say_many(arena, data->samples, "sample"));
    if (data->before.label) {
        an_text_addf(&text, "Last %s (%s): %s moved, %s. ", data->word, data->before.label,
                     an_say_many(arena, (int64_t)data->before_moved, "stream"),
                     an_say_many(arena, data->before_samples, "sample"));
    }
    if (data->judged_streams) {
        const int places = data->expected_false < 9.95 ? 1 : 0;
        an_text_addf(&text,
                     "By luck alone, with these rules, about %s points of a %s like this would "
                     "signal although nothing changed.",
                     an_say_number(arena, data->expected_false, places), data->word);
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}
