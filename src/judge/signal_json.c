/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One signal as JSON for other programs: keys stay, times are RFC 3339 in UTC, sizes in the shown
 * unit. Must never leave a key out: what is not known is null. */
#include "judge/judge.h"
#include "judge/scatter.h"
#include "judge/shown.h"

#include <math.h>

static void put_time(struct an_json *json, const char *key, int64_t at_us)
{
    char buffer[40];

    an_json_put_string(json, key,
                       at_us == AN_NO_INSTANT ? NULL : an_instant_rfc3339(at_us, buffer));
}

static const char *side_name(int side)
{
    return side > 0 ? "above" : side < 0 ? "below" : "neither";
}

static void put_when(struct an_json *json, const struct an_signal *s)
{
    const struct an_hit_record *last = s->hit_count ? &s->hits[s->hit_count - 1] : NULL;

    an_json_put_integer(json, "first_sample_id", s->record.first_sample_id);
    put_time(json, "first_at", s->record.first_us);
    an_json_put_integer(json, "signal_sample_id", s->record.signal_sample_id);
    put_time(json, "signal_at", s->record.signal_us);
    an_json_key(json, "last_sample_id");
    if (last) {
        an_json_integer(json, last->sample_id);
    } else {
        an_json_null(json);
    }
    put_time(json, "last_at", last ? last->at_us : AN_NO_INSTANT);
    an_json_put_integer(json, "onset_sample_id", s->onset_sample_id);
    put_time(json, "onset_at", s->onset_us);
    put_time(json, "onset_earliest", s->onset_earliest_us);
    put_time(json, "onset_latest", s->onset_latest_us);
}

static void put_hits(struct an_json *json, const struct an_signal *s)
{
    const double scale = s->characteristic ? an_shown_scale(s->characteristic) : 1.0;

    an_json_key(json, "hits");
    an_json_array(json);
    for (size_t i = 0; i < s->hit_count; i++) {
        const struct an_hit_record *h = &s->hits[i];

        an_json_object(json);
        an_json_put_integer(json, "sample_id", h->sample_id);
        put_time(json, "at", h->at_us);
        an_json_put_string(json, "rule", an_rule_name((enum an_rule)h->rule));
        an_json_put_string(json, "side", side_name(h->side));
        if (h->rule == AN_RULE_SCATTER) { /* of a block, not of a point */
            an_json_put_number(json, "dispersion", h->value);
            an_json_put_number(json, "p", an_scatter_p(h->z));
            an_json_put_integer(json, "window_first_sample_id", h->window_first_sample_id);
            an_json_put_integer(json, "window_samples", AN_SCATTER_BLOCK);
        } else {
            an_json_put_number(json, "value", h->value * scale);
        }
        an_json_put_number(json, "sigmas", h->z);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

void an_signal_json(struct an_json *json, const struct an_line *line,
                    const struct an_signal *signal)
{
    const struct an_signal *s = signal;
    const char *kind = NULL;

    if (s->station && s->station->item_kind < line->kind_count) {
        kind = line->kinds[s->station->item_kind].name;
    }
    an_json_object(json);
    an_json_put_integer(json, "signal_id", s->record.signal_id);
    an_json_put_string(json, "stream", s->stream.name);
    an_json_put_string(json, "station", s->stream.station);
    an_json_put_string(json, "characteristic", s->stream.characteristic);
    an_json_put_string(json, "split", s->stream.split);
    an_json_put_integer(json, "limits_id", s->record.limits_id);
    an_json_put_string(json, "rule", an_rule_name((enum an_rule)s->record.rule));
    an_json_put_string(json, "code", s->code);
    an_json_put_string(json, "panel", s->record.panel ? "spread" : "level");
    an_json_put_string(json, "side", side_name(s->record.side));
    an_json_put_bool(json, "open", s->open);
    an_json_put_bool(json, "ongoing", s->ongoing);
    put_when(json, s);
    an_json_put_string(json, "change",
                       !s->has_change                     ? NULL
                       : s->change.kind == AN_CHANGE_RAMP ? "ramp"
                                                          : "step");
    an_json_put_number(json, "size", s->size);
    an_json_put_string(json, "unit", s->unit);
    an_json_put_number(json, "size_sigmas", s->size_sigmas);
    an_json_put_number(json, "per_day", s->per_day);
    an_json_put_string(json, "item_kind", kind);
    an_json_put_integer(json, "item_count", (int64_t)s->item_count);
    an_json_put_bool(json, "items_at_most", s->items_at_most);
    an_json_key(json, "items");
    an_json_array(json);
    for (size_t i = 0; i < s->item_count; i++) {
        an_json_string(json, s->item_serials[i]);
    }
    an_json_end(json, ']');
    an_json_put_string(json, "next_kind", s->next_kind);
    an_json_put_integer(json, "in_next", (int64_t)s->product_in_next);
    an_json_put_string(json, "ribbon_note", s->ribbon_note);
    put_hits(json, s);
    an_json_put_string(json, "sentence", s->sentence);
    an_json_end(json, '}');
}
