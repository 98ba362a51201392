/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Says what a week was like. Responsible for a lead that answers: is it stable, is it good, what is
 * worst. */
#include "report/week_wording.h"

#include "andamento/base/text.h"
#include "report/wording.h"

#include <math.h>

const char *an_say_percent(struct an_arena *arena, double share)
{
    if (!isfinite(share)) {
        return "-";
    }
    const double bad = 1 - share;
    const int places = bad <= 0 || bad >= 0.01 ? 1 : bad >= 0.001 ? 2 : 3;
    const char *number = an_say_number(arena, 100 * share, bad == 0 ? 0 : places);
    return number ? an_arena_printf(arena, "%s %%", number) : NULL;
}

const char *an_say_rate(struct an_arena *arena, double rate)
{
    if (!isfinite(rate)) {
        return "-";
    }
    return rate >= 100  ? an_say_count(arena, (int64_t)nearbyint(rate))
           : rate >= 10 ? an_say_number(arena, rate, 1)
                        : an_say_number(arena, rate, 2);
}

const char *an_say_index(struct an_arena *arena, double value)
{
    return isfinite(value) ? an_say_number(arena, value, 2) : "-";
}

const char *an_say_stability(struct an_arena *arena, const struct an_week_index *index)
{
    if (!index->samples) {
        return "no sample";
    }
    if (index->stable) {
        return index->signalling
                   ? an_arena_printf(arena, "stable (%zu signal%s)", index->signalling,
                                     index->signalling == 1 ? "" : "s")
                   : "stable";
    }
    if (index->signalling) {
        return an_arena_printf(arena, "%s of %s signal",
                               an_say_count(arena, (int64_t)index->signalling),
                               an_say_count(arena, index->samples));
    }
    return "not judged";
}

const char *an_say_before(struct an_arena *arena, enum an_turn turn, bool more_is_better,
                          const char *value)
{
    if (!value || turn == AN_TURN_NONE) {
        return value;
    }
    const bool up = (turn == AN_TURN_BETTER) == more_is_better;
    return an_arena_printf(arena, "%s %s", up ? "\xE2\x86\x91" : "\xE2\x86\x93", value);
}

/* The rolled yield of the kind that the most stations work on. */
static const struct an_week_yield *rolled_of(const struct an_week_data *week)
{
    const struct an_week_yield *best = NULL;

    for (size_t i = 0; i < week->yield_count; i++) {
        if (week->yields[i].rolled && isfinite(week->yields[i].first.value)) {
            best = &week->yields[i];
        }
    }
    return best;
}

static void add_stability(struct an_text *text, struct an_arena *arena,
                          const struct an_week_data *week)
{
    if (!week->judged) {
        an_text_add(text, "No stream was judged this week.");
        return;
    }
    an_text_addf(text, "%zu of %s judged this week %s stable", week->stable,
                 an_say_many(arena, (int64_t)week->judged, "stream"),
                 week->stable == 1 ? "was" : "were");
    if (week->newly_unstable) {
        an_text_addf(text, "; %zu that %s the week before %s not", week->newly_unstable,
                     week->newly_unstable == 1 ? "was" : "were",
                     week->newly_unstable == 1 ? "is" : "are");
    }
    if (week->recovered) {
        an_text_addf(text, "; %zu %s stable again", week->recovered,
                     week->recovered == 1 ? "is" : "are");
    }
    an_text_add(text, ".");
}

const char *an_say_week_lead(struct an_arena *arena, const struct an_period_data *data)
{
    const struct an_week_data *week = data->week;
    struct an_text text = {0};

    if (!data->samples) {
        return "No station sent a sample in this week, so nothing was judged.";
    }
    add_stability(&text, arena, week);
    const struct an_week_yield *rolled = rolled_of(week);
    if (rolled) {
        an_text_addf(&text,
                     " First passes of %zu stations rolled: %s %% of %s (%s to %s), each taken by "
                     "itself.",
                     rolled->steps, an_say_number(arena, 100 * rolled->first.value, 1),
                     an_say_plural(arena, rolled->kind),
                     an_say_number(arena, 100 * rolled->first.lower, 1),
                     an_say_number(arena, 100 * rolled->first.upper, 1));
    }
    if (data->signal_count) {
        const struct an_period_signal *worst = &data->signals[0];
        const struct an_stream_sheet *sheet = &data->sheets[worst->sheet];
        const char *size =
            isfinite(worst->signal.size)
                ? an_arena_printf(arena, ", off by %s",
                                  an_say_measure(arena, worst->signal.size, sheet->decimals,
                                                 worst->signal.unit))
                : "";
        an_text_addf(&text, " Most at risk: %s%s (%s).", sheet->title, size ? size : "",
                     an_say_many(arena, (int64_t)worst->signal.item_count, worst->kind));
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

const char *an_say_week_comparison(struct an_arena *arena, const struct an_period_data *data)
{
    const struct an_week_data *week = data->week;

    return an_arena_printf(
        arena,
        "%s on %s; the week before (%s): %s. Differences are marked beyond three standard errors: "
        "luck alone marks about %s.",
        an_say_many(arena, data->samples, "sample"),
        an_say_many(arena, (int64_t)week->stream_count, "stream"),
        data->before.label ? data->before.label : "none",
        an_say_many(arena, data->before_samples, "sample"),
        /* P(|Z| > 3) = 0.0027, of the level and of the index */
        an_say_number(arena, 2 * 0.0027 * (double)week->stream_count, 1));
}
