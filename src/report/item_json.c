/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The facts of a report on one item as JSON: the same data that the pages are made of. */
#include "report/item_pages.h"
#include "report/wall_geometry.h"

#include <math.h>

static void put_number(struct an_json *json, const char *key, double value)
{
    if (isfinite(value)) {
        an_json_put_number(json, key, value);
    } else {
        an_json_key(json, key);
        an_json_null(json);
    }
}

static void put_time(struct an_json *json, const char *key, int64_t at_us)
{
    char at[40];
    an_json_put_string(json, key, at_us == AN_NO_INSTANT ? NULL : an_instant_rfc3339(at_us, at));
}

static void put_values(struct an_json *json, const struct an_item_values *values, size_t item)
{
    an_json_key(json, "values");
    an_json_array(json);
    for (size_t k = 0; k < values->stream_count; k++) {
        const struct an_item_value *value = &values->at[item * values->stream_count + k];
        if (!value->times) {
            continue;
        }
        an_json_object(json);
        an_json_put_string(json, "stream", values->streams[k].stream.name);
        put_number(json, "value", value->value);
        an_json_put_string(json, "unit", values->streams[k].unit);
        put_number(json, "centre", value->centre);
        put_number(json, "lcl", value->lcl);
        put_number(json, "ucl", value->ucl);
        put_number(json, "sigmas", value->z);
        an_json_put_string(json, "rule", value->code);
        an_json_put_bool(json, "beyond_limits", value->beyond);
        put_time(json, "at", value->sample.at_us);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void put_parts(struct an_json *json, const struct an_item_data *data)
{
    an_json_key(json, "parts");
    an_json_array(json);
    for (size_t p = 0; p < data->part_count; p++) {
        const struct an_item_part *part = &data->parts[p];
        an_json_object(json);
        an_json_put_string(json, "kind", part->item.kind);
        an_json_put_string(json, "serial", part->item.serial);
        if (part->row >= 0) {
            an_json_put_integer(json, "row", part->row);
            an_json_put_integer(json, "column", part->column);
        }
        put_time(json, "since", part->since_us);
        an_json_put_integer(json, "repairs", part->repairs);
        an_json_put_integer(json, "signals", (int64_t)part->signals);
        an_json_put_integer(json, "open_signals", (int64_t)part->open);
        put_values(json, &data->values, p);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void put_batches(struct an_json *json, const struct an_item_data *data)
{
    an_json_key(json, "made_of");
    an_json_array(json);
    for (size_t i = 0; i < data->batch_count; i++) {
        const struct an_item_batch *batch = &data->batches[i];
        an_json_object(json);
        an_json_put_string(json, "kind", batch->item.kind);
        an_json_put_string(json, "serial", batch->item.serial);
        an_json_put_string(json, "role", batch->role);
        an_json_put_integer(json, "parts", (int64_t)batch->parts);
        put_number(json, "share", batch->share);
        an_json_put_bool(json, "share_whole", batch->share_whole);
        an_json_put_integer(json, "possible_only", (int64_t)batch->possible);
        an_json_put_integer(json, "taken_out", (int64_t)batch->ended);
        an_json_put_integer(json, "other_walls", (int64_t)batch->others);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
    an_json_key(json, "shared_with");
    an_json_array(json);
    for (size_t i = 0; i < data->sharer_count; i++) {
        an_json_object(json);
        an_json_put_string(json, "serial", data->sharers[i].item.serial);
        an_json_put_integer(json, "batches", (int64_t)data->sharers[i].batches);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void put_carriers(struct an_json *json, const struct an_item_data *data)
{
    an_json_key(json, "carried_by");
    an_json_array(json);
    for (size_t i = 0; i < data->carrier_count; i++) {
        const struct an_item_carrier *carrier = &data->carriers[i];
        an_json_object(json);
        an_json_put_string(json, "kind", carrier->item.kind);
        an_json_put_string(json, "serial", carrier->item.serial);
        an_json_put_bool(json, "product", carrier->product);
        an_json_put_string(json, "roles", carrier->roles);
        an_json_put_string(json, "sure",
                           !carrier->holds    ? "taken out"
                           : carrier->certain ? "certain"
                                              : "possible");
        put_number(json, "share", carrier->share);
        an_json_put_string(json, "in", carrier->whole.item_id ? carrier->whole.serial : NULL);
        if (carrier->whole.item_id && carrier->row >= 0) {
            an_json_put_integer(json, "row", carrier->row);
            an_json_put_integer(json, "column", carrier->column);
        }
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
    an_json_key(json, "neighbours");
    an_json_array(json);
    for (size_t i = 0; i < data->neighbour_count; i++) {
        an_json_object(json);
        an_json_put_string(json, "serial", data->neighbours[i].item.serial);
        put_time(json, "first_used", data->neighbours[i].first_us);
        an_json_put_integer(json, "went_into", (int64_t)data->neighbours[i].used_in);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void put_signals(struct an_json *json, const struct an_item_data *data)
{
    an_json_key(json, "signals");
    an_json_array(json);
    for (size_t i = 0; i < data->signal_count; i++) {
        const struct an_item_signal *one = &data->signals[i];
        an_json_object(json);
        an_json_put_integer(json, "signal_id", one->signal.record.signal_id);
        an_json_put_string(json, "stream", one->signal.stream.name);
        an_json_put_string(json, "code", one->signal.code);
        an_json_put_integer(json, "touches", (int64_t)one->touched);
        an_json_put_bool(json, "on_parts", one->on_parts);
        an_json_put_bool(json, "began_with_it", one->began);
        an_json_put_bool(json, "open", one->signal.open);
        an_json_put_string(json, "answer", one->answer);
        an_json_put_string(json, "answered_by", one->answered_by);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void put_wall(struct an_json *json, const struct an_item_data *data)
{
    const int64_t rows = data->last_row - data->first_row + 1;
    const int64_t columns = data->last_column - data->first_column + 1;
    an_json_put_integer(json, "rows", rows);
    an_json_put_integer(json, "columns", columns);
    an_json_put_integer(json, "seams", an_wall_seam_count(rows, columns));
    an_json_put_string(json, "picture",
                       data->picture == AN_NONE ? NULL
                                                : data->values.streams[data->picture].stream.name);
    an_json_key(json, "empty_places");
    an_json_array(json);
    for (size_t i = 0; i < data->hole_count; i++) {
        an_json_object(json);
        an_json_put_integer(json, "row", data->holes[i].row);
        an_json_put_integer(json, "column", data->holes[i].column);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
    for (int side = 0; side < 3; side++) {
        static const char *const keys[3] = {"seams_right", "seams_below", "steps"};
        const struct an_wall_seams *seams = side == 2 ? &data->steps : &data->seams[side];
        an_json_key(json, keys[side]);
        an_json_array(json);
        for (size_t i = 0; i < seams->count; i++) {
            an_json_object(json);
            an_json_put_integer(json, "row", seams->at[i].row);
            an_json_put_integer(json, "column", seams->at[i].column);
            an_json_put_bool(json, "below", seams->at[i].below);
            put_number(json, "value", seams->at[i].value);
            an_json_put_bool(json, "beyond", seams->at[i].beyond);
            an_json_end(json, '}');
        }
        an_json_end(json, ']');
    }
}

void an_item_json(struct an_json *json, const struct an_item_data *data)
{
    an_json_put_string(json, "report", an_report_word(data->kind));
    an_json_put_string(json, "kind", data->item.kind);
    an_json_put_string(json, "serial", data->item.serial);
    an_json_put_bool(json, "cut", data->cut);
    if (data->kind == AN_REPORT_WALL) {
        put_wall(json, data);
    }
    put_parts(json, data);
    put_batches(json, data);
    if (data->kind != AN_REPORT_WALL) {
        put_carriers(json, data);
    }
    put_signals(json, data);
    an_json_key(json, "missing");
    an_json_array(json);
    for (size_t i = 0; i < data->lack_count; i++) {
        an_json_object(json);
        an_json_put_string(json, "item", data->lacks[i].item);
        an_json_put_string(json, "text", data->lacks[i].text);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
    an_json_key(json, "sources");
    an_json_array(json);
    for (size_t i = 0; i < data->file_count; i++) {
        char hex[65];
        an_json_object(json);
        an_json_put_string(json, "name", data->files[i].name);
        an_json_put_string(json, "sha256", an_sha256_hex(&data->files[i].hash, hex));
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
    an_json_key(json, "ledger");
    an_json_object(json);
    an_json_put_integer(json, "size", (int64_t)data->page.head.size);
    an_json_put_string(json, "root", data->page.root_hex);
    an_json_end(json, '}');
}
