/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The sentences that open reports on one item. Responsible for answering the question first: what is
 * it made of and is anything open on it; what carries it and where is that.
 */
#include "report/item_pages.h"
#include "report/wall_geometry.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

static const char *or_empty(const char *text)
{
    return text ? text : "";
}

/* "3 epitaxy runs, 12 wafers and 2 paste lots": kinds in the order of the table, each item once. */
static const char *made_of(struct an_arena *arena, const struct an_item_data *data)
{
    const char *lists[16];
    size_t count = 0;
    for (size_t i = 0; i < data->batch_count && count < 16;) {
        size_t items = 0;
        size_t k = i;
        for (; k < data->batch_count &&
               !strcmp(data->batches[k].kind_title, data->batches[i].kind_title);
             k++) {
            bool again = false; /* it may stand here in several roles */
            for (size_t b = i; b < k && !again; b++) {
                again = data->batches[b].item.item_id == data->batches[k].item.item_id;
            }
            items += !again;
        }
        lists[count++] = or_empty(an_say_many(arena, (int64_t)items, data->batches[i].kind_title));
        i = k;
    }
    return count ? an_say_list(arena, lists, count, 16) : "";
}

static const char *open_words(struct an_arena *arena, const struct an_item_data *data,
                              const char *what)
{
    size_t own = 0;
    size_t upstream = 0;
    for (size_t i = 0; i < data->signal_count; i++) {
        own += data->signals[i].signal.open && data->signals[i].on_parts;
        upstream += data->signals[i].signal.open && !data->signals[i].on_parts;
    }
    if (!data->signal_count) {
        return an_arena_printf(arena, "no signal touches %s", what);
    }
    if (!own && !upstream) {
        return an_arena_printf(arena, "%s touch%s %s, %s answered",
                               or_empty(an_say_many(arena, (int64_t)data->signal_count, "signal")),
                               data->signal_count == 1 ? "es" : "", what,
                               data->signal_count == 1 ? "and it is" : "all");
    }
    const char *first =
        own ? an_arena_printf(arena, "%s on %s",
                              or_empty(an_say_many(arena, (int64_t)own, "signal")), what)
            : "";
    const char *second =
        upstream ? an_arena_printf(arena, "%s%s on what it is made of", own ? " and " : "",
                                   own ? or_empty(an_say_count(arena, (int64_t)upstream))
                                       : or_empty(an_say_many(arena, (int64_t)upstream, "signal")))
                 : "";
    return an_arena_printf(arena, "%s%s %s no answer yet", or_empty(first), or_empty(second),
                           own + upstream == 1 ? "has" : "have");
}

static const char *wall_lead(struct an_arena *arena, const struct an_item_data *data)
{
    const char *of = made_of(arena, data);
    const char *what =
        an_arena_printf(arena, "its %s", or_empty(an_say_plural(arena, data->part_title)));
    const char *open = open_words(arena, data, or_empty(what));
    const char *holes =
        !data->hole_count
            ? ""
            : an_arena_printf(arena, " %s of it %s empty.",
                              or_empty(an_say_many(arena, (int64_t)data->hole_count, "place")),
                              data->hole_count == 1 ? "is" : "are");
    return an_arena_printf(
        arena, "%s is made of %s%s%s; %s.%s", data->item.serial,
        or_empty(an_say_many(arena, (int64_t)data->part_count, data->part_title)),
        of && *of ? " from " : ", of which nothing upstream is told", of && *of ? of : "",
        or_empty(open), or_empty(holes));
}

static const struct an_carried_count *counted(const struct an_item_data *data, bool places)
{
    for (size_t i = 0; i < data->carried_count; i++) {
        if (data->carried[i].product &&
            an_kind_has_places(data->line, data->carried[i].kind) == places) {
            return &data->carried[i];
        }
    }
    return NULL;
}

static const char *batch_lead(struct an_arena *arena, const struct an_item_data *data)
{
    const struct an_carried_count *tiles = counted(data, false);
    const struct an_carried_count *walls = counted(data, true);
    if (!tiles && !walls) {
        return data->carrier_count
                   ? an_arena_printf(
                         arena, "No product carries %s %s; it went into %s.", data->kind_title,
                         data->item.serial,
                         or_empty(an_say_many(arena, (int64_t)data->carrier_count, "other item")))
                   : an_arena_printf(arena, "Nothing is known to carry %s %s.", data->kind_title,
                                     data->item.serial);
    }
    const struct an_carried_count *first = tiles ? tiles : walls;
    const size_t all = first->certain + first->possible;
    const char *doubt =
        first->possible ? an_arena_printf(arena, " (%s certainly, %s possibly)",
                                          or_empty(an_say_count(arena, (int64_t)first->certain)),
                                          or_empty(an_say_count(arena, (int64_t)first->possible)))
                        : "";
    const char *where = "";
    if (tiles) {
        const size_t of_walls = walls ? walls->certain + walls->possible : 0;
        const char *some =
            tiles->placed == all && !tiles->ended
                ? all == 1 ? "it is" : "all of them are"
                : or_empty(an_arena_printf(arena, "%s %s",
                                           or_empty(an_say_count(arena, (int64_t)tiles->placed)),
                                           tiles->placed == 1 ? "is" : "are"));
        const char *rest = all > tiles->placed
                               ? or_empty(an_arena_printf(
                                     arena, ", %s not yet",
                                     or_empty(an_say_count(arena, (int64_t)(all - tiles->placed)))))
                               : "";
        where = !tiles->placed
                    ? "; none is in its place yet"
                    : an_arena_printf(arena, "; %s in %s%s", some,
                                      or_empty(an_say_many(arena, (int64_t)of_walls,
                                                           walls ? walls->kind_title : "whole")),
                                      rest);
    }
    const char *ended =
        first->ended ? an_arena_printf(
                           arena, " %s had it and no longer %s.",
                           or_empty(an_say_many(arena, (int64_t)first->ended, first->kind_title)),
                           first->ended == 1 ? "does" : "do")
                     : "";
    const char *began =
        data->began_count
            ? an_arena_printf(arena, " %s began with it.",
                              or_empty(an_say_many(arena, (int64_t)data->began_count, "signal")))
            : "";
    return an_arena_printf(arena, "%s %s %s %s%s%s.%s%s",
                           or_empty(an_say_many(arena, (int64_t)all, first->kind_title)),
                           all == 1 ? "carries" : "carry", data->kind_title, data->item.serial,
                           or_empty(doubt), or_empty(where), or_empty(ended), or_empty(began));
}

static const char *tile_lead(struct an_arena *arena, const struct an_item_data *data)
{
    const struct an_item_carrier *wall = NULL;
    for (size_t i = 0; i < data->carrier_count && !wall; i++) {
        wall =
            data->carriers[i].holds && an_kind_has_places(data->line, data->carriers[i].item.kind)
                ? &data->carriers[i]
                : NULL;
    }
    const char *where =
        wall ? an_arena_printf(arena, "is in %s %s", wall->kind_title, wall->item.serial)
             : "is in no wall";
    const char *of = made_of(arena, data);
    size_t beyond = 0;
    for (size_t k = 0; k < data->values.stream_count; k++) {
        beyond += data->values.at[k].beyond;
    }
    const char *open = open_words(arena, data, "it");
    return an_arena_printf(
        arena, "%s %s%s%s; %s of its %s beyond control limits; %s.", data->item.serial,
        or_empty(where), of && *of ? ", made of " : "", of && *of ? of : "",
        beyond ? or_empty(an_say_count(arena, (int64_t)beyond)) : "none",
        or_empty(an_arena_printf(
            arena, "%s lie%s", or_empty(an_say_many(arena, (int64_t)data->values.samples, "value")),
            beyond == 1 || !beyond ? "s" : "")),
        or_empty(open));
}

const char *an_say_item_lead(struct an_arena *arena, const struct an_item_data *data)
{
    return data->kind == AN_REPORT_WALL    ? wall_lead(arena, data)
           : data->kind == AN_REPORT_BATCH ? batch_lead(arena, data)
                                           : tile_lead(arena, data);
}

/* What the tiles come to, as far as it is told. */
static const char *geometry(struct an_arena *arena, const struct an_item_data *data)
{
    const struct an_tile_told *tile = &data->definition->tile;
    const int64_t rows = data->last_row - data->first_row + 1;
    const int64_t columns = data->last_column - data->first_column + 1;
    const char *text = an_arena_printf(
        arena, "%lld x %lld places, %s, %s where four meet.", (long long)rows, (long long)columns,
        or_empty(an_say_many(arena, an_wall_seam_count(rows, columns), "seam")),
        or_empty(an_say_many(arena, an_wall_corner_count(rows, columns), "corner")));
    if (text && tile->pixels_across > 0 && tile->pixels_down > 0) {
        const double across = tile->pixels_across * (double)columns;
        const double down = tile->pixels_down * (double)rows;
        text = an_arena_printf(arena, "%s %.0f x %.0f pixels", text, across, down);
        if (text && tile->colours > 0) {
            text = an_arena_printf(arena, "%s, %s emitters", text,
                                   or_empty(an_say_count(arena, (int64_t)an_emitter_count(
                                                                    across, down, tile->colours))));
        }
        if (text && tile->pitch_mm > 0) {
            text = an_arena_printf(arena, "%s, diagonal %.0f mm", text,
                                   an_wall_diagonal(rows, columns,
                                                    tile->pixels_across * tile->pitch_mm,
                                                    tile->pixels_down * tile->pitch_mm));
        }
        const double black = an_black_share(tile->colours, tile->emitter_long_um,
                                            tile->emitter_wide_um, tile->pitch_mm);
        if (text && isfinite(black)) {
            text = an_arena_printf(arena, "%s, %.1f %% of the surface black", text, black * 100);
        }
        text = text ? an_arena_printf(arena, "%s.", text) : NULL;
    }
    return text;
}

const char *an_say_item_second(struct an_arena *arena, const struct an_item_data *data)
{
    const struct an_zone *zone = data->line->zone;
    const char *cut = data->cut ? " A trace met its bound: lists and counts are a least." : "";
    if (data->kind == AN_REPORT_WALL) {
        const char *placed =
            data->placed_from_us == AN_NO_INSTANT
                ? "When it was put together is not told."
                : an_arena_printf(arena, "Put together %s.",
                                  or_empty(an_say_period(arena, zone, data->placed_from_us,
                                                         data->placed_until_us)));
        return an_arena_printf(arena, "%s %s%s", or_empty(placed), or_empty(geometry(arena, data)),
                               cut);
    }
    if (data->kind == AN_REPORT_TILE) {
        return an_arena_printf(
            arena, "Values are told against the limits that were in force when they were made.%s",
            cut);
    }
    const char *lists[16];
    size_t count = 0;
    for (size_t i = 0; i < data->carried_count && count < 16; i++) {
        const struct an_carried_count *one = &data->carried[i];
        lists[count++] = or_empty(an_say_many(
            arena, (int64_t)(one->certain + one->possible + one->ended), one->kind_title));
    }
    const char *of = an_arena_printf(
        arena,
        "%s%s%sCertain: a path of links that were read or typed leads there. Possible: only "
        "an inferred link does.",
        count ? "All that it went into: " : "",
        count ? or_empty(an_say_list(arena, lists, count, 16)) : "", count ? ". " : "");
    return an_arena_printf(arena, "%s%s", or_empty(of), cut);
}
