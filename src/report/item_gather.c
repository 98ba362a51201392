/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gathers a report on one item: finds it, settles what its parts are, then the parts of the data in
 * their order. Responsible for refusing an item that the report is not about; never draws.
 */
#include "report/item_data.h"
#include "report/wording.h"

#include <stdlib.h>
#include <string.h>

enum an_status an_item_no_memory(const struct an_item_gather *gather)
{
    return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
}

static const char *kinds_with_places(const struct an_item_gather *gather)
{
    const char *list = "";
    for (size_t k = 0; k < gather->line->kind_count && list; k++) {
        if (an_kind_has_places(gather->line, gather->line->kinds[k].name)) {
            list = an_arena_printf(gather->arena, "%s%s%s", list, *list ? ", " : "",
                                   gather->line->kinds[k].name);
        }
    }
    return list && *list ? list : "none (no station's link tells a row and a column)";
}

static enum an_status find_item(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    const enum an_status st = an_trace_find(gather->store, gather->line, gather->report->name,
                                            gather->arena, &data->item, gather->err);
    if (st) {
        return st;
    }
    const bool places = an_kind_has_places(gather->line, data->item.kind);
    data->kind_title = an_kind_title(gather->line, data->item.kind);
    if (data->kind == AN_REPORT_WALL && !places) {
        return an_fail(gather->err, AN_BAD_USAGE,
                       "%s is of kind %s, in which nothing is placed by row and column; kinds that "
                       "are walls: %s (for this item: report %s)",
                       data->item.serial, data->item.kind, kinds_with_places(gather),
                       an_kind_is_product(gather->line, data->item.kind) ? "tile" : "batch");
    }
    if (data->kind == AN_REPORT_TILE && places) {
        return an_fail(gather->err, AN_BAD_USAGE,
                       "%s is of kind %s, which is a wall; use report wall for it",
                       data->item.serial, data->item.kind);
    }
    if (data->kind == AN_REPORT_TILE && !an_kind_is_product(gather->line, data->item.kind)) {
        return an_fail(gather->err, AN_BAD_USAGE,
                       "%s is of kind %s, which is no product; use report batch for it",
                       data->item.serial, data->item.kind);
    }
    return an_store_item_stays(gather->store, data->item.item_id, gather->arena, &data->stays,
                               &data->stay_count, gather->err);
}

static const char *placing_station(const struct an_item_gather *gather)
{
    const struct an_line *line = gather->line;
    const size_t kind = an_line_kind(line, an_bytes_of(gather->data->item.kind));
    for (size_t s = 0; s < line->station_count; s++) {
        for (size_t i = 0; i < line->stations[s].link_count; i++) {
            const struct an_link_rule *rule = &line->stations[s].links[i];
            if ((rule->other_is_parent ? line->stations[s].item_kind : rule->kind) == kind &&
                rule->row_column && rule->column_column) {
                return line->stations[s].name;
            }
        }
    }
    return "?";
}

/* The tiles of a wall by their places. */
static enum an_status parts_of_wall(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    struct an_trace_grid grid = {0};
    enum an_status st =
        an_trace_places(gather->store, data->item.item_id, NULL, AN_NO_INSTANT, &grid, gather->err);
    if (!st && !grid.place_count) {
        st = an_fail(gather->err, AN_NOT_FOUND,
                     "%s %s has nothing in its places: no row of station %s that was taken places "
                     "anything in it, or all of it was taken out again",
                     data->kind_title, data->item.serial, placing_station(gather));
    }
    data->parts = st ? NULL : an_arena_alloc(gather->arena, grid.place_count, sizeof *data->parts);
    data->holes =
        st ? NULL : an_arena_alloc(gather->arena, grid.hole_count + 1, sizeof *data->holes);
    if (!st && (!data->parts || !data->holes)) {
        st = an_item_no_memory(gather);
    }
    for (size_t i = 0; !st && i < grid.place_count; i++) {
        const struct an_trace_place *place = &grid.places[i];
        struct an_item_part *part = &data->parts[data->part_count++];
        *part = (struct an_item_part){
            .item = {place->item.item_id,
                     an_arena_copy(gather->arena, place->item.kind, strlen(place->item.kind)),
                     an_arena_copy(gather->arena, place->item.serial, strlen(place->item.serial))},
            .row = place->link.row,
            .column = place->link.column,
            .since_us = place->from_us,
            .sure = place->sure,
            .doubled = place->doubled,
            .file =
                place->file ? an_arena_copy(gather->arena, place->file, strlen(place->file)) : "",
            .line = place->line};
        data->doubled += place->doubled;
        if (!part->item.kind || !part->item.serial || !part->file) {
            st = an_item_no_memory(gather);
        }
    }
    for (size_t i = 0; !st && i < grid.hole_count; i++) {
        data->holes[data->hole_count++] = grid.holes[i];
    }
    data->first_row = grid.first_row;
    data->last_row = grid.last_row;
    data->first_column = grid.first_column;
    data->last_column = grid.last_column;
    an_trace_grid_close(&grid);
    return st;
}

static enum an_status settle_parts(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    enum an_status st = AN_OK;
    data->placed_from_us = data->placed_until_us = AN_NO_INSTANT;
    data->sites.part = AN_NONE;
    data->picture = AN_NONE;
    if (data->kind == AN_REPORT_WALL) {
        st = parts_of_wall(gather);
    } else {
        data->parts = an_arena_alloc(gather->arena, 1, sizeof *data->parts);
        if (!data->parts) {
            return an_item_no_memory(gather);
        }
        data->parts[0] = (struct an_item_part){
            .item = data->item, .row = -1, .column = -1, .since_us = AN_NO_INSTANT};
        data->part_count = 1;
        data->sites.part = data->kind == AN_REPORT_TILE ? 0 : AN_NONE;
    }
    for (size_t p = 0; !st && p < data->part_count; p++) {
        struct an_item_part *part = &data->parts[p];
        const int64_t since_us = part->since_us;
        st = an_store_item_stays(gather->store, part->item.item_id, gather->arena, &part->stays,
                                 &part->stay_count, gather->err);
        for (size_t s = 0; !st && s < part->stay_count; s++) {
            const size_t k = an_line_station(gather->line, an_bytes_of(part->stays[s].station));
            if (k != AN_NONE &&
                an_is_repair(&gather->line->stations[k], data->definition->repair)) {
                part->repairs += part->stays[s].rows;
            }
        }
        if (since_us != AN_NO_INSTANT) {
            data->placed_from_us =
                data->placed_from_us == AN_NO_INSTANT || since_us < data->placed_from_us
                    ? since_us
                    : data->placed_from_us;
            data->placed_until_us =
                since_us > data->placed_until_us ? since_us : data->placed_until_us;
        }
        if (!st && gather->report->chosen && !strcmp(part->item.serial, gather->report->chosen)) {
            data->sites.part = p;
        }
    }
    if (!st && data->kind == AN_REPORT_WALL && gather->report->chosen &&
        data->sites.part == AN_NONE) {
        st = an_fail(gather->err, AN_NOT_FOUND, "%s is not in %s %s; its first is %s, its last %s",
                     gather->report->chosen, data->kind_title, data->item.serial,
                     data->parts[0].item.serial, data->parts[data->part_count - 1].item.serial);
    }
    data->part_title = st ? "" : an_kind_title(gather->line, data->parts[0].item.kind);
    return st;
}

static enum an_status gather_all_values(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    struct an_item *items = an_arena_alloc(gather->arena, data->part_count, sizeof *items);
    struct an_item_stay **stays = an_arena_alloc(gather->arena, data->part_count, sizeof *stays);
    size_t *counts = an_arena_alloc(gather->arena, data->part_count, sizeof *counts);
    if (!items || !stays || !counts) {
        return an_item_no_memory(gather);
    }
    for (size_t p = 0; p < data->part_count; p++) {
        items[p] = data->parts[p].item;
        stays[p] = data->parts[p].stays;
        counts[p] = data->parts[p].stay_count;
    }
    enum an_status st =
        an_gather_values(gather, items, stays, counts, data->part_count, &data->values);
    if (!st && data->kind == AN_REPORT_WALL) {
        st = an_gather_values(gather, &data->item, &data->stays, &data->stay_count, 1, &data->own);
    }
    if (st || data->kind == AN_REPORT_BATCH) {
        return st;
    }
    const char *told = data->definition->picture;
    data->picture = told ? AN_NONE : an_choose_picture(gather->line, &data->values);
    const char *known = "";
    for (size_t k = 0; told && k < data->values.stream_count; k++) {
        if (!strcmp(data->values.streams[k].stream.name, told)) {
            data->picture = k;
        }
        known = data->values.streams[k].stream.name;
    }
    if (told && data->picture == AN_NONE) {
        return an_fail(gather->err, AN_BAD_CONFIG,
                       "%s: picture '%s' is no stream of a %s; one of them is '%s', `andamento "
                       "streams` lists them all",
                       gather->report->definition_name ? gather->report->definition_name
                                                       : an_report_definition_name(data->kind),
                       told, data->part_title, known);
    }
    return AN_OK;
}

/* ---- what is missing ------------------------------------------------------------------------------------ */
static enum an_status add_lack(struct an_item_gather *gather, const char *item, const char *text)
{
    struct an_item_data *data = gather->data;
    if (!item || !text) {
        return an_item_no_memory(gather);
    }
    if (data->lack_count < AN_MOST_LACKS) {
        data->lacks[data->lack_count++] = (struct an_item_lack){item, text};
    }
    return AN_OK;
}

/* Stations at which other parts were, or, of a single item, at which items of its kind are read. */
static enum an_status find_lacking(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    const struct an_line *line = gather->line;
    const size_t kind = an_line_kind(line, an_bytes_of(data->parts[0].item.kind));
    enum an_status st = AN_OK;
    for (size_t s = 0; !st && s < line->station_count && kind != AN_NONE; s++) {
        const struct an_station *station = &line->stations[s];
        size_t there = 0;
        if (station->item_kind != kind) {
            continue;
        }
        for (int pass = 0; !st && pass < 2; pass++) {
            for (size_t p = 0; !st && p < data->part_count; p++) {
                const struct an_item_part *part = &data->parts[p];
                bool was = false;
                for (size_t i = 0; i < part->stay_count && !was; i++) {
                    was = !strcmp(part->stays[i].station, station->name);
                }
                there += pass == 0 && was;
                if (pass == 1 && !was && (there || data->part_count == 1) &&
                    !an_is_repair(station, data->definition->repair)) {
                    const char *title = station->title ? station->title : station->name;
                    st = add_lack(
                        gather, part->item.serial,
                        data->part_count == 1
                            ? an_arena_printf(gather->arena,
                                              "has no record of %s; other %s are read "
                                              "there",
                                              title, an_say_plural(gather->arena, data->part_title))
                            : an_arena_printf(gather->arena,
                                              "has no record of %s; %zu of the others "
                                              "have",
                                              title, there));
                }
            }
        }
    }
    for (size_t i = 0; !st && i < data->hole_count; i++) {
        st = add_lack(gather,
                      an_arena_printf(gather->arena, "row %lld, column %lld",
                                      (long long)data->holes[i].row,
                                      (long long)data->holes[i].column),
                      "is empty: nothing that was taken is placed there now");
    }
    for (size_t p = 0; !st && p < data->part_count; p++) {
        if (data->parts[p].doubled) {
            st = add_lack(gather, data->parts[p].item.serial,
                          "has a place that another one has too; one of the two records is wrong");
        }
    }
    if (!st && data->sites.dropped) {
        st = add_lack(gather, data->item.serial,
                      an_arena_printf(gather->arena, "has readings that are kept no longer: %s",
                                      data->sites.dropped));
    }
    return st;
}

/* ---- sources ---------------------------------------------------------------------------------------------- */
static int by_id(const void *a, const void *b)
{
    const int64_t x = *(const int64_t *)a;
    const int64_t y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static enum an_status gather_files(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    size_t room = data->stay_count + 1;
    for (size_t p = 0; p < data->part_count; p++) {
        room += data->parts[p].stay_count;
    }
    int64_t *ids = an_arena_alloc(gather->arena, room, sizeof *ids);
    data->files = an_arena_alloc(gather->arena, room, sizeof *data->files);
    if (!ids || !data->files) {
        return an_item_no_memory(gather);
    }
    size_t count = 0;
    for (size_t s = 0; s < data->stay_count; s++) {
        ids[count++] = data->stays[s].file_id;
    }
    for (size_t p = 0; p < data->part_count; p++) {
        for (size_t s = 0; s < data->parts[p].stay_count; s++) {
            ids[count++] = data->parts[p].stays[s].file_id;
        }
    }
    qsort(ids, count, sizeof *ids, by_id);
    enum an_status st = AN_OK;
    for (size_t i = 0; !st && i < count; i++) {
        if (!i || ids[i] != ids[i - 1]) {
            st = an_store_file(gather->store, ids[i], gather->arena, &data->files[data->file_count],
                               gather->err);
            data->file_count += !st;
        }
    }
    return st;
}

/* ---- what every page says ------------------------------------------------------------------------------- */
static const char *base_name(const char *path)
{
    const char *slash = path ? strrchr(path, '/') : NULL;
    return slash ? slash + 1 : path ? path : "store";
}

static void widen(int64_t *from_us, int64_t *until_us, const struct an_item_stay *stays,
                  size_t count)
{
    for (size_t i = 0; i < count; i++) {
        *from_us = stays[i].first_us < *from_us ? stays[i].first_us : *from_us;
        *until_us = stays[i].last_us > *until_us ? stays[i].last_us : *until_us;
    }
}

static enum an_status fill_page(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    struct an_period_data *page = &data->page;
    struct an_arena *arena = gather->arena;
    struct an_limits_record *limits = NULL;
    size_t limits_count = 0;
    int64_t from_us = INT64_MAX;
    int64_t until_us = AN_NO_INSTANT;
    widen(&from_us, &until_us, data->stays, data->stay_count);
    for (size_t p = 0; p < data->part_count; p++) {
        widen(&from_us, &until_us, data->parts[p].stays, data->parts[p].stay_count);
    }
    for (size_t i = 0; i < data->carrier_count && data->kind == AN_REPORT_BATCH; i++) {
        const int64_t at_us = data->carriers[i].last_us;
        if (at_us != AN_NO_INSTANT) {
            from_us = at_us < from_us ? at_us : from_us;
            until_us = at_us > until_us ? at_us : until_us;
        }
    }
    if (from_us > until_us) { /* it was never at a station: only links name it */
        from_us = until_us = 0;
    }
    enum an_status st = an_ledger_head(gather->store, &page->head, gather->err);
    page->newest_us = from_us;
    if (!st && page->head.size) {
        struct an_ledger_entry *entries = NULL;
        size_t count = 0;
        st = an_ledger_read(gather->store, page->head.size - 1, 1, arena, &entries, &count,
                            gather->err);
        page->newest_us = !st && count ? entries[0].at_us : from_us;
    }
    st = st ? st : an_store_limits(gather->store, 0, arena, &limits, &limits_count, gather->err);
    for (size_t i = 0; !st && i < limits_count; i++) {
        page->limits_locked += limits[i].state == AN_LIMITS_LOCKED;
    }
    (void)an_sha256_hex(&page->head.root, page->root_hex);
    page->line = gather->line;
    page->definition = data->definition;
    page->title = data->definition->title;
    page->now = (struct an_period){from_us, until_us, data->item.serial};
    page->word = an_report_word(data->kind);
    page->as_of_us = until_us;
    page->samples = data->values.samples + data->own.samples;
    page->store_name = an_arena_printf(arena, "%s", base_name(an_store_path(gather->store)));
    page->program_version =
        gather->report->program_version ? gather->report->program_version : "unknown";
    const char *span = an_say_period(arena, gather->line->zone, from_us, until_us);
    page->period = until_us ? an_arena_printf(arena, "%s %s, recorded %s", data->kind_title,
                                              data->item.serial, span ? span : "")
                            : an_arena_printf(arena, "%s %s, at no station itself",
                                              data->kind_title, data->item.serial);
    return !st && (!page->store_name || !page->period) ? an_item_no_memory(gather) : st;
}

enum an_status an_gather_item(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    const bool down = data->kind != AN_REPORT_WALL;
    data->lacks = an_arena_alloc(gather->arena, AN_MOST_LACKS, sizeof *data->lacks);
    enum an_status st = data->lacks ? find_item(gather) : an_item_no_memory(gather);
    st = st ? st : settle_parts(gather);
    st = st ? st : an_gather_corrected(gather);
    st = st ? st : gather_all_values(gather);
    st = st || data->kind == AN_REPORT_BATCH ? st : an_gather_sites(gather);
    st = st || data->kind != AN_REPORT_WALL ? st : an_gather_seams(gather);
    st = st || !down ? st : an_gather_carried(gather);
    st = st ? st : an_gather_made_of(gather);
    st = st ? st : an_gather_touched(gather);
    st = st ? st : find_lacking(gather);
    st = st ? st : gather_files(gather);
    return st ? st : fill_page(gather);
}
