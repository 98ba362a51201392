/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Draws a map that was laid out. Must never draw outside the box, nor tell a value by hue alone.
 *
 * The hard idea: tints of one ink by equal steps of lightness; text in a cell takes the ink that
 * stands out from its tint, and what is less than nothing is hatched as well as tinted.
 */
#include "draw/canvas_inner.h"
#include "draw/map_layout.h"

#include <math.h>

static const struct an_type small_type = {AN_MAP_TYPE_PT, AN_REGULAR, AN_GREY, AN_LEFT};

/* How much ink a class has: the highest has the least, as a bright place has. */
static double tint_of(const struct an_map_layout *layout, int tone)
{
    return 0.04 + 0.62 * (double)(layout->classes - 1 - tone) / (double)(layout->classes - 1);
}

static void fill(struct an_canvas *canvas, const struct an_map_layout *layout, bool difference,
                 const struct an_box *box, int tone)
{
    if (tone < 0) {
        return;
    }
    if (!difference) {
        an_draw_rectangle(canvas, box, AN_INK, tint_of(layout, tone));
        return;
    }
    const int from_middle = tone - layout->classes / 2;
    const double depth =
        (double)(from_middle < 0 ? -from_middle : from_middle) / (double)(layout->classes / 2);
    if (from_middle > 0) {
        an_draw_rectangle(canvas, box, AN_FENCE, 0.20 + 0.55 * depth);
    } else if (from_middle < 0) {
        an_draw_rectangle(canvas, box, AN_SIGNAL, 0.08 + 0.42 * depth);
        an_draw_hatch(canvas, box, 4.0 - depth * 1.6, AN_SIGNAL);
    }
}

static enum an_ink ink_on(const struct an_map_layout *layout, bool difference, int tone)
{
    return !difference && tone >= 0 && tint_of(layout, tone) > 0.5 ? AN_PAPER : AN_INK;
}

static void draw_hole(struct an_canvas *canvas, const struct an_box *box)
{
    const double right = box->x + box->width;
    const double bottom = box->y + box->height;
    const double x[5] = {box->x, right, right, box->x, box->x};
    const double y[5] = {box->y, box->y, bottom, bottom, box->y};
    an_draw_dashed_polyline(canvas, x, y, 5, 0.6, 2.0, 1.6, AN_SIGNAL);
    an_draw_line(canvas, box->x, box->y, right, bottom, 0.6, AN_SIGNAL);
    an_draw_line(canvas, box->x, bottom, right, box->y, 0.6, AN_SIGNAL);
}

/* A number in a frame of paper, in the corner where no number of the map reaches; without room, a
 * ring alone. */
static void draw_ring(struct an_canvas *canvas, double left, double top)
{
    const double side = 2.4;
    const double x = left + side / 2 + 1.2;
    const double y = top + side / 2 + 1.2;
    an_draw_dots(canvas, &x, &y, 1, side + 1.4, AN_PAPER);
    an_draw_ring(canvas, x, y, side, 0.7, AN_INK);
}

static void draw_count(struct an_canvas *canvas, const struct an_map_layout *layout,
                       const struct an_box *box, int64_t count)
{
    const struct an_type type = {AN_MAP_TYPE_PT, AN_REGULAR, AN_INK, AN_CENTRE};
    const char *text = an_arena_printf(layout->arena, "%lld", (long long)count);
    if (text && layout->counts) {
        const double width = fmax(AN_MAP_RING_PT, an_text_width(canvas, &type, text) + 4);
        const struct an_box pill = {box->x + 1.5, box->y + 1.5, width, 9.0};
        an_draw_rectangle(canvas, &pill, AN_PAPER, 1.0);
        an_draw_frame(canvas, &pill, 0.6, AN_GREY);
        an_text_draw_baseline(canvas, pill.x + width / 2, pill.y + 7.1, &type, text);
    } else if (fmin(box->width, box->height) >= 4) {
        draw_ring(canvas, box->x, box->y);
    }
}

static void draw_open(struct an_canvas *canvas, const struct an_box *box)
{
    const double side = fmax(2.5, fmin(9.0, fmin(box->width, box->height) * 0.35));
    const double right = box->x + box->width;
    const double x[3] = {right - side, right, right};
    const double y[3] = {box->y, box->y, box->y + side};
    an_draw_polygon(canvas, x, y, 3, AN_SIGNAL);
    an_draw_line(canvas, x[0], y[0], x[2], y[2], 0.8, AN_PAPER); /* on a dark cell, in grey */
}

/* Number and label. */
static void draw_words(struct an_canvas *canvas, const struct an_map *map,
                       const struct an_map_layout *layout, const struct an_map_place *place)
{
    const struct an_map_cell *cell = place->cell;
    const enum an_ink ink = ink_on(layout, map->difference, place->tone);
    const bool label = layout->labels && cell->label;
    const double number_height = layout->number_pt * 1.2;
    const double label_height = label ? AN_MAP_TYPE_PT * 1.2 : 0;
    double y = place->box.y + (place->box.height - number_height - label_height) / 2;
    const double middle = place->box.x + place->box.width / 2;
    if (layout->number_pt > 0) {
        const struct an_type type = {layout->number_pt, AN_BOLD, ink, AN_CENTRE};
        const char *text =
            isfinite(cell->value) ? an_map_number(layout->arena, cell->value, map->decimals) : "-";
        an_text_draw_baseline(canvas, middle, y + layout->number_pt * 0.92, &type,
                              text ? text : "");
        y += number_height;
    }
    if (label) {
        const struct an_type type = {AN_MAP_TYPE_PT, AN_REGULAR, ink, AN_CENTRE};
        an_text_draw_baseline(canvas, middle, y + AN_MAP_TYPE_PT * 0.92, &type, cell->label);
    }
}

static void draw_cell(struct an_canvas *canvas, const struct an_map *map,
                      const struct an_map_layout *layout, const struct an_map_place *place)
{
    const struct an_map_cell *cell = place->cell;
    const struct an_box *box = &place->box;
    if (!cell) {
        return;
    }
    if (cell->marks & AN_MAP_HOLE) {
        draw_hole(canvas, box);
        return;
    }
    if (map->small && place->tone >= 0) {
        /* a little over its neighbours, which paint over it again: no hairline shows between */
        const struct an_box over = {
            box->x, box->y, fmin(box->width + 0.4, layout->grid.x + layout->grid.width - box->x),
            fmin(box->height + 0.4, layout->grid.y + layout->grid.height - box->y)};
        an_draw_rectangle(canvas, &over, AN_PAPER, 1.0);
        fill(canvas, layout, map->difference, &over, place->tone);
    } else {
        fill(canvas, layout, map->difference, box, place->tone);
    }
    if (!map->small || place->tone < 0) {
        an_draw_frame(canvas, box, 0.4, AN_RAIL);
    }
    if (!isfinite(cell->value) && !map->arrow_count && !(layout->number_pt > 0)) {
        const double x = box->x + box->width / 2;
        const double y = box->y + box->height / 2;
        an_draw_dots(canvas, &x, &y, 1, fmin(2.0, fmin(box->width, box->height) / 3), AN_GREY);
    }
    if (map->small) {
        return;
    }
    draw_words(canvas, map, layout, place);
    if (cell->marks & AN_MAP_BEYOND) {
        const struct an_box inner = {box->x + 1.2, box->y + 1.2, fmax(0, box->width - 2.4),
                                     fmax(0, box->height - 2.4)};
        const struct an_box halo = {inner.x + 1.0, inner.y + 1.0, fmax(0, inner.width - 2.0),
                                    fmax(0, inner.height - 2.0)};
        an_draw_frame(canvas, &halo, 0.8, AN_PAPER);
        an_draw_frame(canvas, &inner, 1.2, AN_SIGNAL);
    }
    if (cell->marks & AN_MAP_OPEN) {
        draw_open(canvas, box);
    }
    if (cell->count > 0) {
        draw_count(canvas, layout, box, cell->count);
    }
    if (cell->marks & AN_MAP_CHOSEN) {
        an_draw_frame(canvas, box, 1.6, AN_INK);
    }
}

static void draw_bar(struct an_canvas *canvas, const struct an_map_bar *bar)
{
    const struct an_box *box = &bar->box;
    const enum an_ink ink = bar->seam->beyond ? AN_SIGNAL : AN_INK;
    if ((bar->upright ? box->width : box->height) > 0) {
        an_draw_rectangle(canvas, box, ink, 1.0);
    } else if (bar->upright) {
        an_draw_dashes(canvas, box->x, box->y, box->x, box->y + box->height, 0.4, 1, 2, AN_RAIL);
    } else {
        an_draw_dashes(canvas, box->x, box->y, box->x + box->width, box->y, 0.4, 1, 2, AN_RAIL);
    }
}

/* ---- arrows and spots -------------------------------------------------------------------------- */
static void draw_arrow(struct an_canvas *canvas, double x, double y, double dx, double dy)
{
    const double length = hypot(dx, dy);
    const double head = fmin(3.2, length * 0.5);
    an_draw_line(canvas, x, y, x + dx, y + dy, 0.8, AN_INK);
    if (length > 1.5) {
        const double ux = dx / length;
        const double uy = dy / length;
        const double tip_x = x + dx;
        const double tip_y = y + dy;
        const double px[3] = {tip_x, tip_x - head * ux - head * 0.45 * uy,
                              tip_x - head * ux + head * 0.45 * uy};
        const double py[3] = {tip_y, tip_y - head * uy + head * 0.45 * ux,
                              tip_y - head * uy - head * 0.45 * ux};
        an_draw_polygon(canvas, px, py, 3, AN_INK);
    }
}

static void place_of(const struct an_map *map, const struct an_map_layout *layout, double row,
                     double column, double *x, double *y)
{
    *x = layout->grid.x +
         (column - (double)map->first_column) * (layout->cell_width + layout->gap) +
         layout->cell_width / 2;
    *y = layout->grid.y + (row - (double)map->first_row) * (layout->cell_height + layout->gap) +
         layout->cell_height / 2;
}

static void draw_over(struct an_canvas *canvas, const struct an_map *map,
                      const struct an_map_layout *layout)
{
    double x;
    double y;
    for (size_t i = 0; i < map->arrow_count && isfinite(layout->arrow_high); i++) {
        const struct an_map_arrow *arrow = &map->arrows[i];
        const double scale = layout->arrow_pt / layout->arrow_high;
        if (!isfinite(arrow->dx) || !isfinite(arrow->dy)) {
            continue;
        }
        place_of(map, layout, arrow->row, arrow->column, &x, &y);
        an_draw_dots(canvas, &x, &y, 1, 1.6, AN_GREY);
        draw_arrow(canvas, x, y, arrow->dx * scale, -arrow->dy * scale);
    }
    for (size_t i = 0; i < map->spot_count; i++) {
        place_of(map, layout, map->spots[i].row, map->spots[i].column, &x, &y);
        const double half = fmin(1.8, fmax(1.0, layout->cell_width / 8));
        an_draw_line(canvas, x - half, y - half, x + half, y + half, 0.8, AN_SIGNAL);
        an_draw_line(canvas, x - half, y + half, x + half, y - half, 0.8, AN_SIGNAL);
    }
}

static void draw_names(struct an_canvas *canvas, const struct an_map *map,
                       const struct an_map_layout *layout)
{
    const struct an_type across = {AN_MAP_TYPE_PT, AN_REGULAR, AN_GREY, AN_CENTRE};
    const struct an_type down = {AN_MAP_TYPE_PT, AN_REGULAR, AN_GREY, AN_RIGHT};
    if (!layout->names) {
        return;
    }
    for (int64_t i = 0; i < layout->columns; i += layout->name_every[1]) {
        const struct an_box *box = &layout->places[i].box;
        const char *text =
            an_arena_printf(layout->arena, "%lld", (long long)(map->first_column + i));
        an_text_draw_baseline(canvas, box->x + box->width / 2, layout->grid.y - 3, &across,
                              text ? text : "");
    }
    for (int64_t i = 0; i < layout->rows; i += layout->name_every[0]) {
        const struct an_box *box = &layout->places[i * layout->columns].box;
        const char *text = an_arena_printf(layout->arena, "%lld", (long long)(map->first_row + i));
        an_text_draw_baseline(canvas, layout->grid.x - 4, box->y + box->height / 2 + 2.5, &down,
                              text ? text : "");
    }
}

/* ---- the key ------------------------------------------------------------------------------------ */
struct key_pen {
    struct an_canvas *canvas;
    const struct an_map *map;
    const struct an_map_layout *layout;
    double x, right, y; /* y: top of the classes */
};

/* Words at the pen if they fit wholly with `lead` before them; moves it. */
static bool key_words(struct key_pen *pen, double lead, const char *text)
{
    const double width = text ? an_text_width(pen->canvas, &small_type, text) : 0;
    if (!text || pen->x + lead + width > pen->right) {
        return false;
    }
    an_text_draw_baseline(pen->canvas, pen->x + lead, pen->y + 7.5, &small_type, text);
    pen->x += lead + width + 12;
    return true;
}

static void key_classes(struct key_pen *pen)
{
    const struct an_map_layout *layout = pen->layout;
    const struct an_type bound_type = {AN_MAP_TYPE_PT, AN_REGULAR, AN_GREY, AN_CENTRE};
    struct an_arena *arena = layout->arena;
    double widest = 0;
    if (!isfinite(layout->low)) {
        return;
    }
    for (int i = 0; i <= layout->classes; i++) {
        const char *text = an_map_number(arena, an_map_bound(layout, i), pen->map->decimals);
        widest = fmax(widest, text ? an_text_width(pen->canvas, &bound_type, text) : 0);
    }
    pen->x += widest / 2; /* the first bound stands under the left end */
    const double width =
        fmin(fmax(18.0, widest + 5), (pen->right - pen->x - widest) / layout->classes);
    const bool all = widest + 2 <= width;
    for (int i = 0; i < layout->classes; i++) {
        const struct an_box box = {pen->x + i * width, pen->y, width, 9};
        fill(pen->canvas, layout, pen->map->difference, &box, i);
        an_draw_frame(pen->canvas, &box, 0.4, AN_RAIL);
    }
    for (int i = 0; i <= layout->classes; i++) {
        const bool end = i == 0 || i == layout->classes;
        if (!all && !end) {
            continue;
        }
        struct an_type type = bound_type;
        type.align = all ? AN_CENTRE : i == 0 ? AN_LEFT : AN_RIGHT;
        const char *text = an_map_number(arena, an_map_bound(layout, i), pen->map->decimals);
        an_text_draw_baseline(pen->canvas, pen->x + i * width, pen->y + 17.5, &type,
                              text ? text : "");
    }
    pen->x += layout->classes * width + widest / 2 + 3;
    if (an_map_has_unit(pen->map->unit)) {
        key_words(pen, 0, pen->map->unit);
    } else {
        pen->x += 8;
    }
}

static void key_seams(struct key_pen *pen)
{
    const struct an_map_layout *layout = pen->layout;
    const char *number =
        isfinite(layout->seam_high)
            ? an_map_number(layout->arena, layout->seam_high, pen->map->seam_decimals)
            : NULL;
    const char *unit = an_map_has_unit(pen->map->seam_unit) ? pen->map->seam_unit : "";
    const char *text =
        number ? an_arena_printf(layout->arena, "%s 0 to %s %s",
                                 pen->map->seam_words ? pen->map->seam_words : "seam", number, unit)
               : NULL;
    if (!text || pen->x + 20 + an_text_width(pen->canvas, &small_type, text) > pen->right) {
        return;
    }
    const double most = layout->gap - 0.6;
    const double x[4] = {pen->x, pen->x + 16, pen->x + 16, pen->x};
    const double middle = pen->y + 4.5;
    const double y[4] = {middle - AN_LEAST_LINE_PT / 2, middle - most / 2, middle + most / 2,
                         middle + AN_LEAST_LINE_PT / 2};
    an_draw_polygon(pen->canvas, x, y, 4, AN_INK);
    key_words(pen, 20, text);
}

/* A length that is a round number, half to one of the largest arrow. */
static double round_length(double high)
{
    const double power = pow(10, floor(log10(high)));
    const double lead = high / power;
    return (lead >= 5 ? 5 : lead >= 2 ? 2 : 1) * power;
}

static void key_arrow(struct key_pen *pen)
{
    const struct an_map_layout *layout = pen->layout;
    if (!isfinite(layout->arrow_high) || !pen->map->arrow_count) {
        return;
    }
    const double shown = round_length(layout->arrow_high);
    const double length = shown / layout->arrow_high * layout->arrow_pt;
    const char *text =
        an_arena_printf(layout->arena, "%g %s", shown,
                        an_map_has_unit(pen->map->arrow_unit) ? pen->map->arrow_unit : "");
    if (text && pen->x + length + 4 + an_text_width(pen->canvas, &small_type, text) <= pen->right) {
        draw_arrow(pen->canvas, pen->x, pen->y + 4.5, length, 0);
        key_words(pen, length + 4, text);
    }
}

static void key_mark(struct key_pen *pen, const char *words, int which)
{
    const double width = which == 0 ? 12 : 10;
    if (!words ||
        pen->x + width + 4 + an_text_width(pen->canvas, &small_type, words) > pen->right) {
        return;
    }
    const struct an_box box = {pen->x, pen->y, 9, 9};
    if (which == 0) {
        const struct an_box pill = {pen->x, pen->y, 11, 9};
        const struct an_type type = {AN_MAP_TYPE_PT, AN_REGULAR, AN_INK, AN_CENTRE};
        if (pen->layout->counts) {
            an_draw_frame(pen->canvas, &pill, 0.6, AN_GREY);
            an_text_draw_baseline(pen->canvas, pill.x + 5.5, pill.y + 7.1, &type, "n");
        } else {
            draw_ring(pen->canvas, pen->x + 5, pen->y + 2);
        }
    } else if (which == 1) {
        draw_open(pen->canvas, &(struct an_box){pen->x - 12, pen->y + 1, 20, 20});
    } else if (which == 2) {
        an_draw_frame(pen->canvas, &(struct an_box){box.x + 0.6, box.y + 0.6, 7.8, 7.8}, 1.2,
                      AN_SIGNAL);
    } else {
        an_draw_line(pen->canvas, pen->x + 3, pen->y + 3, pen->x + 7, pen->y + 7, 0.8, AN_SIGNAL);
        an_draw_line(pen->canvas, pen->x + 3, pen->y + 7, pen->x + 7, pen->y + 3, 0.8, AN_SIGNAL);
    }
    key_words(pen, width + 4, words);
}

static void draw_key(struct an_canvas *canvas, const struct an_map *map,
                     const struct an_map_layout *layout, double x, double right, double y)
{
    struct key_pen pen = {canvas, map, layout, x, right, y};
    bool hole = false;
    for (int64_t i = 0; i < layout->rows * layout->columns && !hole; i++) {
        hole = layout->places[i].cell && (layout->places[i].cell->marks & AN_MAP_HOLE);
    }
    key_classes(&pen);
    key_seams(&pen);
    key_arrow(&pen);
    key_mark(&pen, map->count_words, 0);
    key_mark(&pen, map->open_words, 1);
    key_mark(&pen, map->beyond_words, 2);
    key_mark(&pen, map->spot_count ? map->spot_words : NULL, 3);
    if (hole) {
        const char *words = "empty place";
        if (pen.x + 15 + an_text_width(canvas, &small_type, words) <= right) {
            draw_hole(canvas, &(struct an_box){pen.x, y, 11, 9});
            key_words(&pen, 15, words);
        }
    }
}

double an_map_draw(struct an_canvas *canvas, const struct an_box *box, const struct an_map *map)
{
    struct an_map_layout layout;
    struct an_arena *arena = an_arena_open();
    double used = 0;
    if (!arena || an_map_lay(canvas, arena, box, map, &layout)) {
        an_canvas_fail(canvas, AN_NO_MEMORY, "out of memory while drawing a map");
        an_arena_close(arena);
        return 0;
    }
    an_canvas_clip(canvas, box);
    if (layout.title_height > 0) {
        const struct an_type title = {map->small ? AN_MAP_TYPE_PT : 8.0, AN_BOLD, AN_INK, AN_LEFT};
        an_text_draw_fitted(canvas, box->x, box->y + (map->small ? 8.0 : 8.6), box->width, &title,
                            map->title);
    }
    if (layout.rows) {
        draw_names(canvas, map, &layout);
        for (int64_t i = 0; i < layout.rows * layout.columns; i++) {
            draw_cell(canvas, map, &layout, &layout.places[i]);
        }
        for (size_t i = 0; i < layout.bar_count; i++) {
            draw_bar(canvas, &layout.bars[i]);
        }
        if (map->small) {
            an_draw_frame(canvas, &layout.grid, 0.4, AN_RAIL);
        }
        an_canvas_clip(canvas, &layout.grid);
        draw_over(canvas, map, &layout);
        an_canvas_unclip(canvas);
        if (layout.key_height > 0) {
            draw_key(canvas, map, &layout, layout.grid.x, box->x + box->width,
                     layout.grid.y + layout.grid.height + 5);
        }
    }
    an_canvas_unclip(canvas);
    used = layout.used;
    an_arena_close(arena);
    return used;
}

double an_map_key_draw(struct an_canvas *canvas, const struct an_box *box, const struct an_map *map)
{
    struct an_map_layout layout;
    struct an_arena *arena = an_arena_open();
    if (!arena || an_map_lay(canvas, arena, box, map, &layout)) {
        an_canvas_fail(canvas, AN_NO_MEMORY, "out of memory while drawing a map's key");
        an_arena_close(arena);
        return 0;
    }
    struct key_pen pen = {canvas, map, &layout, box->x, box->x + box->width, box->y};
    key_classes(&pen);
    key_arrow(&pen);
    key_mark(&pen, map->spot_words, 3);
    an_arena_close(arena);
    return AN_MAP_KEY_PT;
}
