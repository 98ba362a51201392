/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is a tile's picture, its offset, a seam, a repair: found from what the description declares.
 * Must never know a name of any line.
 *
 * The hard idea: whoever derives the largest step between neighbours from a characteristic has said
 * that it is looked at as a surface; and a value that the last column never has is about what lies
 * to the right of a place.
 */
#include "report/item_data.h"

#include <string.h>

const char *an_kind_title(const struct an_line *line, const char *kind)
{
    const size_t k = kind ? an_line_kind(line, an_bytes_of(kind)) : AN_NONE;
    return k == AN_NONE ? (kind ? kind : "item")
                        : (line->kinds[k].title ? line->kinds[k].title : line->kinds[k].name);
}

bool an_kind_is_product(const struct an_line *line, const char *kind)
{
    const size_t k = an_line_kind(line, an_bytes_of(kind));
    return k != AN_NONE && line->kinds[k].product;
}

bool an_kind_has_places(const struct an_line *line, const char *kind)
{
    const size_t k = an_line_kind(line, an_bytes_of(kind));
    bool products = false; /* a tile has places for carriers too, and is no wall for it */
    for (size_t i = 0; i < line->kind_count; i++) {
        products = products || line->kinds[i].product;
    }
    for (size_t s = 0; k != AN_NONE && s < line->station_count; s++) {
        const struct an_station *station = &line->stations[s];
        for (size_t i = 0; i < station->link_count; i++) {
            const struct an_link_rule *rule = &station->links[i];
            const size_t whole = rule->other_is_parent ? station->item_kind : rule->kind;
            const size_t part = rule->other_is_parent ? rule->kind : station->item_kind;
            if (whole == k && rule->row_column && rule->column_column &&
                (!products || line->kinds[part].product)) {
                return true;
            }
        }
    }
    return false;
}

/* The last stream of a characteristic whose split holds one of the words (none: any). */
static size_t stream_with(const struct an_item_values *values,
                          const struct an_characteristic *characteristic,
                          const struct an_word_list *words)
{
    size_t found = AN_NONE;
    for (size_t k = 0; k < values->stream_count; k++) {
        const struct an_value_stream *stream = &values->streams[k];
        if (stream->characteristic != characteristic || !stream->items) {
            continue;
        }
        bool fits = !words->count;
        for (size_t w = 0; w < words->count && !fits; w++) {
            const char *at = strstr(stream->stream.split, words->at[w]);
            const size_t length = strlen(words->at[w]);
            fits = at && at > stream->stream.split && at[-1] == '=' &&
                   (at[length] == ',' || at[length] == '\0');
        }
        found = fits ? k : found;
    }
    return found;
}

static size_t picture_of(const struct an_line *line, const struct an_item_values *values,
                         enum an_derivation how)
{
    size_t found = AN_NONE;
    for (size_t i = 0; i < line->characteristic_count; i++) {
        const struct an_characteristic *c = &line->characteristics[i];
        if (c->kind == AN_DERIVED && c->derivation == how && c->of[0] != AN_NONE) {
            const size_t k = stream_with(values, &line->characteristics[c->of[0]], &c->only_words);
            found = k != AN_NONE ? k : found;
        }
    }
    return found;
}

size_t an_choose_picture(const struct an_line *line, const struct an_item_values *values)
{
    size_t found = picture_of(line, values, AN_DERIVE_NEIGHBOUR_STEP);
    found = found != AN_NONE ? found : picture_of(line, values, AN_DERIVE_MIN_OVER_MAX);
    for (int grid = 1; grid >= 0 && found == AN_NONE; grid--) {
        for (size_t k = 0; k < values->stream_count; k++) {
            const struct an_characteristic *c = values->streams[k].characteristic;
            if (values->streams[k].items && c->kind == AN_MEASURED &&
                (!grid || (c->row_column && c->column_column))) {
                found = k;
            }
        }
    }
    for (size_t k = 0; k < values->stream_count && found == AN_NONE; k++) {
        found = values->streams[k].items ? k : AN_NONE;
    }
    return found;
}

bool an_is_repair(const struct an_station *station, const char *told)
{
    return told ? !strcmp(station->name, told) : station->attempt_column != NULL;
}

bool an_choose_offsets(const struct an_line *line, size_t kind, size_t *across, size_t *down)
{
    for (size_t i = 0; i < line->characteristic_count; i++) {
        const struct an_characteristic *c = &line->characteristics[i];
        if (c->kind != AN_DERIVED || line->stations[c->station].item_kind != kind ||
            (c->derivation != AN_DERIVE_RADIAL && c->derivation != AN_DERIVE_TOGETHER) ||
            c->of[0] == AN_NONE || c->of[1] == AN_NONE) {
            continue;
        }
        const struct an_characteristic *x = &line->characteristics[c->of[0]];
        const struct an_characteristic *y = &line->characteristics[c->of[1]];
        if (x->kind == AN_MEASURED && y->kind == AN_MEASURED && x->row_column && y->row_column) {
            *across = c->of[0];
            *down = c->of[1];
            return true;
        }
    }
    return false;
}

enum an_seam_side an_seam_side_of(bool in_first_row, bool in_last_row, bool in_first_column,
                                  bool in_last_column, int64_t rows, int64_t columns)
{
    if (columns > 1 && !in_last_column && in_first_column && in_first_row && in_last_row) {
        return AN_SEAM_RIGHT;
    }
    if (rows > 1 && !in_last_row && in_first_row && in_first_column && in_last_column) {
        return AN_SEAM_BELOW;
    }
    return AN_SEAM_NONE;
}
