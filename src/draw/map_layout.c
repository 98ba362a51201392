/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Lays out a map. Responsible for what fits; draws nothing.
 *
 * The hard idea: the size of the cells decides everything else, and is itself decided by what must
 * stand around them. So names and key are given their room first, whatever they will be, and only
 * what stands inside the cells gives way to their size.
 */
#include "draw/map_layout.h"

#include "draw/canvas_inner.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define NAMES_LEFT_PT 16.0
#define NAMES_TOP_PT 10.0
#define SEAM_LEAST_PT 2.0
#define SEAM_MOST_PT 7.0
#define NUMBER_MOST_PT 9.0

bool an_map_has_unit(const char *unit)
{
    return unit && *unit && strcmp(unit, "1") != 0;
}

const char *an_map_number(struct an_arena *arena, double value, int decimals)
{
    char text[64];
    const int places = decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;
    (void)snprintf(text, sizeof text, fabs(value) < 1e12 ? "%.*f" : "%.*e", places, value);
    const char *shown = text;
    if (text[0] == '-' && strspn(text + 1, "0.") == strlen(text + 1)) {
        shown++; /* no minus before zero */
    }
    return an_arena_copy(arena, shown, strlen(shown));
}

double an_map_bound(const struct an_map_layout *layout, int class_no)
{
    return layout->low + (layout->high - layout->low) * (double)class_no / (double)layout->classes;
}

int an_map_class(const struct an_map_layout *layout, double value)
{
    if (!isfinite(value) || !isfinite(layout->low)) {
        return -1;
    }
    const double share = (value - layout->low) / (layout->high - layout->low);
    if (share <= 0) {
        return 0;
    }
    const int class_no = share >= 1 ? layout->classes - 1 : (int)(share * layout->classes);
    return class_no < layout->classes ? class_no : layout->classes - 1;
}

static bool on_the_grid(const struct an_map *map, int64_t row, int64_t column)
{
    return row >= map->first_row && row <= map->last_row && column >= map->first_column &&
           column <= map->last_column;
}

/* The ends of the scale: as told, or of the values; never two that are equal. */
static void find_scale(const struct an_map *map, struct an_map_layout *layout)
{
    double low = INFINITY;
    double high = -INFINITY;
    for (size_t i = 0; i < map->cell_count; i++) {
        const double value = map->cells[i].value;
        if (isfinite(value) && on_the_grid(map, map->cells[i].row, map->cells[i].column)) {
            low = value < low ? value : low;
            high = value > high ? value : high;
        }
    }
    layout->classes = map->difference ? AN_MAP_DIFFERENCES : AN_MAP_CLASSES;
    layout->low = layout->high = NAN;
    if (isfinite(map->low) && isfinite(map->high) && map->low < map->high) {
        low = map->low;
        high = map->high;
    } else if (!(low <= high)) {
        return;
    }
    if (map->difference) {
        high = fmax(fabs(low), fabs(high));
        low = -high;
    }
    if (!(low < high)) { /* all alike: a step of the last decimal about them */
        const double step = fmax(pow(10, -(double)map->decimals), fabs(low) * 1e-6);
        low -= step;
        high += step;
    }
    layout->low = low;
    layout->high = high;
}

static double told_or_found(double told, double found)
{
    if (told > 0 && isfinite(told)) {
        return told;
    }
    return found > 0 ? found : (double)NAN;
}

static void find_highs(const struct an_map *map, struct an_map_layout *layout)
{
    double seam = 0;
    double arrow = 0;
    for (size_t i = 0; i < map->seam_count; i++) {
        const double amount = fabs(map->seams[i].value);
        seam = isfinite(amount) && amount > seam ? amount : seam;
    }
    for (size_t i = 0; i < map->arrow_count; i++) {
        const double length = hypot(map->arrows[i].dx, map->arrows[i].dy);
        arrow = isfinite(length) && length > arrow ? length : arrow;
    }
    layout->seam_high = told_or_found(map->seam_high, seam);
    layout->arrow_high = told_or_found(map->arrow_high, arrow);
}

/* Cells as large as the room lets them be; gap and cells share it. */
static void find_cells(const struct an_map *map, const struct an_box *room,
                       struct an_map_layout *layout)
{
    const double columns = (double)layout->columns;
    const double rows = (double)layout->rows;
    double width = room->width / columns;
    double height = room->height / rows;
    if (map->aspect > 0) {
        width = fmin(width, height * map->aspect);
        height = width / map->aspect;
    } else {
        width = fmin(width, height * 2);
        height = fmin(height, width);
    }
    const double narrow = fmin(width, height);
    layout->gap = map->seam_count ? fmax(SEAM_LEAST_PT, fmin(SEAM_MOST_PT, narrow * 0.16))
                  : map->small    ? 0
                                  : fmin(1.0, narrow * 0.04);
    layout->cell_width = width - layout->gap;
    layout->cell_height = height - layout->gap;
    if (!(layout->cell_width > 0.2) || !(layout->cell_height > 0.2)) {
        layout->rows = layout->columns = 0;
        return;
    }
    layout->grid = (struct an_box){room->x, room->y, columns * width - layout->gap,
                                   rows * height - layout->gap};
}

static void place_cells(const struct an_map *map, struct an_map_layout *layout)
{
    for (int64_t row = 0; row < layout->rows; row++) {
        for (int64_t column = 0; column < layout->columns; column++) {
            struct an_map_place *place = &layout->places[row * layout->columns + column];
            place->box = (struct an_box){
                layout->grid.x + (double)column * (layout->cell_width + layout->gap),
                layout->grid.y + (double)row * (layout->cell_height + layout->gap),
                layout->cell_width, layout->cell_height};
            place->cell = NULL;
            place->tone = -1;
        }
    }
    for (size_t i = 0; i < map->cell_count; i++) {
        const struct an_map_cell *cell = &map->cells[i];
        if (on_the_grid(map, cell->row, cell->column)) {
            struct an_map_place *place =
                &layout->places[(cell->row - map->first_row) * layout->columns + cell->column -
                                map->first_column];
            place->cell = cell;
            place->tone = an_map_class(layout, cell->value);
        }
    }
}

/* A bar in the middle of the gap, as long as the side it lies along. */
static void place_bars(const struct an_map *map, struct an_map_layout *layout)
{
    for (size_t i = 0; i < map->seam_count; i++) {
        const struct an_map_seam *seam = &map->seams[i];
        const int64_t next_row = seam->row + (seam->below ? 1 : 0);
        const int64_t next_column = seam->column + (seam->below ? 0 : 1);
        if (!on_the_grid(map, seam->row, seam->column) ||
            !on_the_grid(map, next_row, next_column)) {
            continue;
        }
        const struct an_box *cell = &layout
                                         ->places[(seam->row - map->first_row) * layout->columns +
                                                  seam->column - map->first_column]
                                         .box;
        struct an_map_bar *bar = &layout->bars[layout->bar_count++];
        double thickness = 0;
        if (isfinite(seam->value) && isfinite(layout->seam_high)) {
            const double share = fmin(1, fabs(seam->value) / layout->seam_high);
            thickness = fmax(AN_LEAST_LINE_PT, share * (layout->gap - 0.6));
        }
        const double inset = fmin(2.0, fmin(cell->width, cell->height) * 0.08);
        bar->seam = seam;
        bar->upright = !seam->below;
        if (seam->below) {
            bar->box = (struct an_box){cell->x + inset,
                                       cell->y + cell->height + layout->gap / 2 - thickness / 2,
                                       cell->width - 2 * inset, thickness};
        } else {
            bar->box = (struct an_box){cell->x + cell->width + layout->gap / 2 - thickness / 2,
                                       cell->y + inset, thickness, cell->height - 2 * inset};
        }
    }
}

/* Of the widest frame around a count; digits of the small type are 4.6 pt wide at most. */
static double count_width(const struct an_map *map)
{
    int64_t most = 9;
    for (size_t i = 0; i < map->cell_count; i++) {
        most = map->cells[i].count > most ? map->cells[i].count : most;
    }
    double width = 4;
    for (; most > 0; most /= 10) {
        width += 4.6;
    }
    return fmax(AN_MAP_RING_PT, width);
}

/* The largest size at which every number stands inside its cell beside its marks. */
static bool size_numbers(struct an_canvas *canvas, const struct an_map *map,
                         struct an_map_layout *layout)
{
    double widest = 0;
    double label = 0;
    const struct an_type at_ten = {10.0, AN_BOLD, AN_INK, AN_CENTRE};
    const struct an_type label_type = {AN_MAP_TYPE_PT, AN_REGULAR, AN_INK, AN_CENTRE};
    layout->number_pt = 0;
    layout->labels = false;
    if (map->small) {
        return true;
    }
    for (int64_t i = 0; i < layout->rows * layout->columns; i++) {
        const struct an_map_cell *cell = layout->places[i].cell;
        if (cell && isfinite(cell->value)) {
            const char *text = an_map_number(layout->arena, cell->value, map->decimals);
            if (!text) {
                return false;
            }
            widest = fmax(widest, an_text_width(canvas, &at_ten, text));
        }
        if (cell && cell->label) {
            label = fmax(label, an_text_width(canvas, &label_type, cell->label));
        }
    }
    if (widest > 0) {
        const double by_width = 10.0 * (layout->cell_width - 4) / widest;
        const double by_height = (layout->cell_height - 2) / 1.25;
        const double size = fmin(NUMBER_MOST_PT, fmin(by_width, by_height));
        layout->number_pt = size >= AN_MAP_TYPE_PT ? size : 0;
    }
    const double number_width = widest / 10.0 * layout->number_pt;
    layout->counts = layout->cell_height >= AN_MAP_RING_PT + 1 &&
                     (layout->cell_width - number_width) / 2 >= count_width(map) + 2.5;
    const double number_height = layout->number_pt * 1.25;
    layout->labels = label > 0 && label <= layout->cell_width - 3 &&
                     layout->cell_height >= number_height + AN_MAP_TYPE_PT * 1.25 + 2;
    return true;
}

static void thin_names(const struct an_map *map, struct an_map_layout *layout)
{
    const double pitch[2] = {layout->cell_height + layout->gap, layout->cell_width + layout->gap};
    const double wanted[2] = {AN_MAP_TYPE_PT + 1, AN_MAP_TYPE_PT + 6};
    layout->names = !map->small && layout->rows > 0;
    for (int i = 0; i < 2; i++) {
        layout->name_every[i] =
            pitch[i] >= wanted[i] ? 1 : (int64_t)ceil(wanted[i] / fmax(pitch[i], 0.2));
    }
}

enum an_status an_map_lay(struct an_canvas *canvas, struct an_arena *arena,
                          const struct an_box *box, const struct an_map *map,
                          struct an_map_layout *layout)
{
    const struct an_type title = {map->small ? AN_MAP_TYPE_PT : 8.0, AN_BOLD, AN_INK, AN_LEFT};
    *layout = (struct an_map_layout){
        .arena = arena, .low = NAN, .high = NAN, .seam_high = NAN, .arrow_high = NAN};
    if (map->last_row >= map->first_row && map->last_column >= map->first_column &&
        map->last_row - map->first_row < AN_MAP_MOST_LINES &&
        map->last_column - map->first_column < AN_MAP_MOST_LINES) {
        layout->rows = map->last_row - map->first_row + 1;
        layout->columns = map->last_column - map->first_column + 1;
    }
    find_scale(map, layout);
    find_highs(map, layout);
    const double title_height =
        map->title && *map->title ? an_text_height(canvas, 0, &title, map->title) + 2 : 0;
    const bool keyed = !map->small && (isfinite(layout->low) || isfinite(layout->seam_high) ||
                                       isfinite(layout->arrow_high) || map->spot_count);
    layout->title_height = title_height;
    layout->key_height = keyed ? AN_MAP_KEY_PT + 4 : 0;
    struct an_box room = {box->x + (map->small ? 0 : NAMES_LEFT_PT),
                          box->y + title_height + (map->small ? 0 : NAMES_TOP_PT), 0, 0};
    room.width = box->x + box->width - room.x - (map->small ? 0 : 1);
    room.height = box->y + box->height - layout->key_height - room.y;
    if (!(room.width > 1) || !(room.height > 1)) {
        layout->rows = layout->columns = 0;
    }
    if (layout->rows) {
        find_cells(map, &room, layout);
    }
    const size_t places = (size_t)(layout->rows * layout->columns);
    layout->places = an_arena_alloc(arena, places ? places : 1, sizeof *layout->places);
    layout->bars =
        an_arena_alloc(arena, map->seam_count ? map->seam_count : 1, sizeof *layout->bars);
    if (!layout->places || !layout->bars) {
        return AN_NO_MEMORY;
    }
    layout->used = title_height + (layout->rows ? room.y - box->y - title_height : 0) +
                   layout->grid.height + (layout->rows ? layout->key_height : 0);
    if (!layout->rows) {
        layout->key_height = 0;
        return AN_OK;
    }
    place_cells(map, layout);
    place_bars(map, layout);
    thin_names(map, layout);
    layout->arrow_pt = fmin(layout->cell_width, layout->cell_height) * 0.6;
    return size_numbers(canvas, map, layout) ? AN_OK : AN_NO_MEMORY;
}
