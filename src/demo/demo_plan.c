/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The plan: calendar, tiles, walls, carriers and wafers of the demonstration line.
 *
 * Responsible for: who meets whom and when. Must never write a file or know of a fault: effects
 * start neutral and are set elsewhere.
 *
 * The hard idea: tiles stay in order through all stations and are independent of each other. A lot
 * lends its name to its tiles and nothing else, so every chart of the quiet line sees independent
 * values, and a change that begins with a lot is a seeded one.
 */
#include "demo/demo_plan.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define PRELUDE_SHIFTS 2 /* wafers and carriers of the first tiles are made before them */
#define MOST_TILES 48    /* in a shift, the one of 9 h when the clock is set back included */

static const int shift_start_hour[3] = {6, 14, 22};

const char *an_demo_station_name(enum an_demo_station station)
{
    static const char *const names[] = {"wafer_test", "carrier", "transfer",  "inspection",
                                        "repair",     "edge",    "luminance", "assembly"};
    return names[station];
}

char an_demo_colour_letter(int colour)
{
    return "RGB"[colour];
}

const char *an_demo_shift_name(const struct an_demo_shift *shift)
{
    static const char *const names[] = {"early", "late", "night"};
    return names[shift->pattern];
}

char *an_demo_shift_date(const struct an_demo_shift *shift, char mark, char buffer[16])
{
    const struct an_civil day = an_civil_of_utc(shift->start_day * AN_DAY_US);
    if (mark) {
        (void)snprintf(buffer, 16, "%04d%c%02d%c%02d", day.year % 10000, mark, day.month % 100,
                       mark, day.day % 100);
    } else {
        (void)snprintf(buffer, 16, "%04d%02d%02d", day.year % 10000, day.month % 100,
                       day.day % 100);
    }
    return buffer;
}

int an_demo_tile_misses(const struct an_demo_tile *tile)
{
    int sum = 0;
    for (int c = 0; c < AN_DEMO_COLOURS; c++) {
        for (int k = 0; k < 3; k++) {
            sum += tile->misses[c][k];
        }
    }
    return sum;
}

struct an_demo_random an_demo_plan_random(const struct an_demo_plan *plan,
                                          enum an_demo_station station, size_t index)
{
    return an_demo_random_of(plan->seed, 100 + (uint64_t)station, index);
}

int64_t an_demo_plan_instant(const struct an_demo_plan *plan, int day, int hour)
{
    static const struct an_civil first = {.year = 2026, .month = 3, .day = 2};
    struct an_civil civil = an_civil_of_utc((an_civil_days(&first) + day) * AN_DAY_US);
    civil.hour = hour;
    int64_t at_us[2] = {0, 0};
    if (an_zone_instants(plan->zone, &civil, at_us) == 0) {
        civil.hour++; /* the clock jumped over it; no shift starts in such an hour in this zone */
        (void)an_zone_instants(plan->zone, &civil, at_us);
    }
    return at_us[0];
}

int64_t an_demo_plan_closes_us(const struct an_demo_plan *plan, enum an_demo_station station)
{
    /* longest: some 180 repairs of 5 s, or 35 tiles of a wall at 25 s; transfer keeps its takt */
    return plan->until_us - (station == AN_DEMO_TRANSFER ? 0 : 16 * AN_MINUTE_US);
}

static bool plan_shifts(struct an_demo_plan *plan)
{
    plan->shift_count = (size_t)plan->days * 3 + PRELUDE_SHIFTS;
    plan->shifts = an_arena_alloc(plan->arena, plan->shift_count, sizeof *plan->shifts);
    if (!plan->shifts) {
        return false;
    }
    static const struct an_civil first = {.year = 2026, .month = 3, .day = 2};
    for (size_t i = 0; i < plan->shift_count; i++) {
        struct an_demo_shift *const shift = &plan->shifts[i];
        const int at = (int)i + 3 - PRELUDE_SHIFTS; /* counted from the day before the first */
        shift->pattern = at % 3;
        shift->start_day = an_civil_days(&first) + at / 3 - 1;
        shift->from_us = an_demo_plan_instant(plan, at / 3 - 1, shift_start_hour[at % 3]);
        shift->until_us =
            an_demo_plan_instant(plan, (at + 1) / 3 - 1, shift_start_hour[(at + 1) % 3]);
    }
    plan->from_us = plan->shifts[PRELUDE_SHIFTS].from_us;
    plan->until_us = plan->shifts[plan->shift_count - 1].until_us;
    return true;
}

/* A letter that catches a mistyped digit; I, O and Q are left out for they read as digits. */
static char check_letter(int year, size_t number)
{
    size_t sum = (size_t)year * 7;
    for (size_t weight = 2; number > 0; number /= 10, weight++) {
        sum += number % 10 * weight;
    }
    return "ABCDEFGHJKLMNPRSTUVWXYZ"[sum % 23];
}

static void name_tile(struct an_demo_tile *tile, size_t index)
{
    const size_t number = index + 1;
    (void)snprintf(tile->serial, sizeof tile->serial, "SV26-%05zu-%c", number % 100000,
                   check_letter(26, number));
}

/* Minutes from the end of transfer's start to each later station; the queue is always this long. */
static const int queue_minutes[AN_DEMO_STATION_COUNT] = {[AN_DEMO_INSPECTION] = 32,
                                                         [AN_DEMO_REPAIR] = 58,
                                                         [AN_DEMO_EDGE] = 104,
                                                         [AN_DEMO_LUMINANCE] = 163};

static void plan_tile(struct an_demo_plan *plan, size_t index, int64_t at_us)
{
    struct an_demo_tile *const tile = &plan->tiles[index];
    struct an_demo_random random = an_demo_random_of(plan->seed, 1, index);
    name_tile(tile, index);
    tile->at_us[AN_DEMO_TRANSFER] = at_us;
    for (int s = AN_DEMO_INSPECTION; s <= AN_DEMO_LUMINANCE; s++) {
        /* jitter stays far below the time between two tiles, so their order holds */
        tile->at_us[s] =
            at_us + queue_minutes[s] * AN_MINUTE_US + an_demo_below(&random, 120) * AN_SECOND_US;
    }
    tile->head = (int)(index % AN_DEMO_HEADS);
    for (int c = 0; c < AN_DEMO_COLOURS; c++) {
        tile->carrier[c] = ((int)index + 2 * c) / AN_DEMO_CARRIER_TILES;
    }
    tile->paste_lot = 1 + (int)index / AN_DEMO_PASTE_TILES;
    tile->masked = an_demo_below(&random, 16) == 0 ? AN_DEMO_SHOT_EMITTERS : 0;
    tile->wall = -1;
    tile->effect = (struct an_demo_effect){
        .miss_factor = 1.0, .dy_within_factor = 1.0, .green_factor = 1.0, .gauge_factor = 1.0};
}

static bool plan_tiles(struct an_demo_plan *plan)
{
    plan->tiles = an_arena_alloc(plan->arena, plan->shift_count * MOST_TILES, sizeof *plan->tiles);
    if (!plan->tiles) {
        return false;
    }
    for (size_t s = PRELUDE_SHIFTS; s < plan->shift_count; s++) {
        const struct an_demo_shift *const shift = &plan->shifts[s];
        struct an_demo_random random = an_demo_random_of(plan->seed, 2, s);
        const int in_8_h = 38 + an_demo_below(&random, 5);
        const int tiles = (int)(in_8_h * (shift->until_us - shift->from_us) / (8 * AN_HOUR_US));
        const int64_t takt_us = (shift->until_us - shift->from_us) / tiles;
        for (int t = 0; t < tiles; t++) {
            const int64_t late_us = (2 + an_demo_below(&random, 20)) * AN_SECOND_US;
            const int64_t at_us = shift->from_us + t * takt_us + late_us;
            plan_tile(plan, plan->tile_count, at_us - at_us % AN_SECOND_US);
            plan->tile_count++;
        }
    }
    return true;
}

/* Each head has a stamp of its own, changed each third day, every head at another shift. */
static void plan_stamps(struct an_demo_plan *plan)
{
    int laid[AN_DEMO_HEADS] = {0}, stamp[AN_DEMO_HEADS] = {1, 2, 3, 4}, next = 5;
    int64_t change_us[AN_DEMO_HEADS];
    int day[AN_DEMO_HEADS];
    for (int h = 0; h < AN_DEMO_HEADS; h++) {
        day[h] = 2 + (h + 1) % 3;
        change_us[h] = an_demo_plan_instant(plan, day[h], 14);
    }
    for (size_t i = 0; i < plan->tile_count; i++) {
        struct an_demo_tile *const tile = &plan->tiles[i];
        const int h = tile->head;
        if (tile->at_us[AN_DEMO_TRANSFER] >= change_us[h]) {
            stamp[h] = next++;
            laid[h] = 0;
            day[h] += 3;
            change_us[h] = an_demo_plan_instant(plan, day[h], 14);
        }
        tile->stamp = stamp[h];
        tile->stamp_tile = laid[h]++;
    }
}

/* A wall takes 35 of the 42 tiles that have waited longest, laid in no order. */
static bool plan_walls(struct an_demo_plan *plan)
{
    enum { POOL = 42 };
    plan->walls =
        an_arena_alloc(plan->arena, plan->tile_count / AN_DEMO_WALL_TILES + 1, sizeof *plan->walls);
    if (!plan->walls) {
        return false;
    }
    int pool[POOL];
    int waiting = 0;
    for (size_t i = 0; i < plan->tile_count; i++) {
        pool[waiting++] = (int)i;
        if (waiting < POOL) {
            continue;
        }
        const int64_t at_us = plan->tiles[i].at_us[AN_DEMO_LUMINANCE] + 40 * AN_MINUTE_US;
        if (at_us >= an_demo_plan_closes_us(plan, AN_DEMO_ASSEMBLY)) {
            break; /* still in the buffer when the files end */
        }
        struct an_demo_random random = an_demo_random_of(plan->seed, 3, plan->wall_count);
        an_demo_shuffle(&random, pool, POOL);
        struct an_demo_wall *const wall = &plan->walls[plan->wall_count];
        (void)snprintf(wall->serial, sizeof wall->serial, "PW26-%04zu",
                       (plan->wall_count + 1) % 10000);
        wall->at_us = at_us;
        for (int p = 0; p < AN_DEMO_WALL_TILES; p++) {
            struct an_demo_tile *const tile = &plan->tiles[pool[p]];
            wall->tiles[p] = pool[p];
            tile->wall = (int)plan->wall_count;
            tile->wall_row = 1 + p / AN_DEMO_WALL_COLUMNS;
            tile->wall_col = 1 + p % AN_DEMO_WALL_COLUMNS;
            tile->at_us[AN_DEMO_ASSEMBLY] = at_us;
        }
        plan->wall_count++;
        waiting = POOL - AN_DEMO_WALL_TILES;
        for (int p = 0; p < waiting; p++) {
            pool[p] = pool[AN_DEMO_WALL_TILES + p];
        }
    }
    return true;
}

static int by_carrier_time(const void *a, const void *b)
{
    const struct an_demo_carrier *const x = a, *const y = b;
    if (x->at_us != y->at_us) {
        return x->at_us < y->at_us ? -1 : 1;
    }
    return x->colour - y->colour;
}

static int by_wafer_time(const void *a, const void *b)
{
    const struct an_demo_wafer *const x = a, *const y = b;
    if (x->at_us != y->at_us) {
        return x->at_us < y->at_us ? -1 : 1;
    }
    return x->colour - y->colour;
}

/* The first tile that needs the index-th carrier of a colour. */
static const struct an_demo_tile *first_user(const struct an_demo_plan *plan, int colour, int index)
{
    const int at = index * AN_DEMO_CARRIER_TILES - 2 * colour;
    return &plan->tiles[at < 0 ? 0 : at];
}

static void name_wafer(const struct an_demo_plan *plan, struct an_demo_wafer *wafer, int c, int i)
{
    const int64_t needed_us =
        first_user(plan, c, i * AN_DEMO_WAFER_CARRIERS)->at_us[AN_DEMO_TRANSFER];
    (void)snprintf(wafer->serial, sizeof wafer->serial, "W%c26-%04d", an_demo_colour_letter(c),
                   (i + 1) % 10000);
    wafer->colour = c;
    wafer->index = i;
    wafer->epi_run = 1 + i / AN_DEMO_EPI_WAFERS;
    wafer->at_us = needed_us - 9 * AN_HOUR_US - (2 - c) * 9 * AN_MINUTE_US;
    wafer->flux_factor = 1.0;
}

static bool plan_wafers(struct an_demo_plan *plan)
{
    const int last = (int)plan->tile_count - 1;
    size_t wafers = 0, carriers = 0;
    int wafers_of[AN_DEMO_COLOURS], carriers_of[AN_DEMO_COLOURS];
    for (int c = 0; c < AN_DEMO_COLOURS; c++) {
        carriers_of[c] = (last + 2 * c) / AN_DEMO_CARRIER_TILES + 1;
        wafers_of[c] = (carriers_of[c] - 1) / AN_DEMO_WAFER_CARRIERS + 1;
        wafers += (size_t)wafers_of[c];
        carriers += (size_t)carriers_of[c];
        plan->wafer_of[c] = an_arena_alloc(plan->arena, (size_t)wafers_of[c], sizeof(int));
        plan->carrier_of[c] = an_arena_alloc(plan->arena, (size_t)carriers_of[c], sizeof(int));
    }
    plan->wafers = an_arena_alloc(plan->arena, wafers, sizeof *plan->wafers);
    plan->carriers = an_arena_alloc(plan->arena, carriers, sizeof *plan->carriers);
    for (int c = 0; c < AN_DEMO_COLOURS; c++) {
        if (!plan->wafer_of[c] || !plan->carrier_of[c] || !plan->wafers || !plan->carriers) {
            return false;
        }
        for (int i = 0; i < wafers_of[c]; i++) {
            name_wafer(plan, &plan->wafers[plan->wafer_count++], c, i);
        }
        for (int i = 0; i < carriers_of[c]; i++) {
            struct an_demo_carrier *const carrier = &plan->carriers[plan->carrier_count++];
            carrier->colour = c;
            carrier->index = i;
            carrier->at_us = first_user(plan, c, i)->at_us[AN_DEMO_TRANSFER] - 5 * AN_HOUR_US -
                             (2 - c) * 4 * AN_MINUTE_US;
        }
    }
    qsort(plan->wafers, plan->wafer_count, sizeof *plan->wafers, by_wafer_time);
    qsort(plan->carriers, plan->carrier_count, sizeof *plan->carriers, by_carrier_time);
    for (size_t i = 0; i < plan->wafer_count; i++) {
        plan->wafer_of[plan->wafers[i].colour][plan->wafers[i].index] = (int)i;
    }
    for (size_t i = 0; i < plan->carrier_count; i++) {
        struct an_demo_carrier *const carrier = &plan->carriers[i];
        plan->carrier_of[carrier->colour][carrier->index] = (int)i;
        carrier->wafer = plan->wafer_of[carrier->colour][carrier->index / AN_DEMO_WAFER_CARRIERS];
        (void)snprintf(carrier->serial, sizeof carrier->serial, "CR-%05zu", (i + 1) % 100000);
    }
    return true;
}

/*
 * Overdispersed on purpose: each tile has a level of its own around 1, shared by its colours and
 * kinds. The level is normal, not gamma: the count then has half the skewness at the same
 * dispersion, and limits at three sigmas are crossed about as often as theory says.
 */
void an_demo_plan_counts(struct an_demo_plan *plan)
{
    const double level_sd = sqrt(an_demo_figures.miss_level_variance);
    for (size_t i = 0; i < plan->tile_count; i++) {
        struct an_demo_tile *const tile = &plan->tiles[i];
        struct an_demo_random random = an_demo_random_of(plan->seed, 4, i);
        const double drawn = 1.0 + level_sd * an_demo_normal(&random);
        const double level = (drawn < 0.02 ? 0.02 : drawn) * tile->effect.miss_factor;
        for (int c = 0; c < AN_DEMO_COLOURS; c++) {
            for (int k = 0; k < 3; k++) {
                tile->misses[c][k] = an_demo_poisson(&random, an_demo_figures.misses[k] * level);
            }
            tile->dark[c] = an_demo_poisson(&random, an_demo_figures.dark);
        }
    }
}

enum an_status an_demo_plan_open(uint64_t seed, int days, bool quiet, struct an_demo_plan *plan,
                                 struct an_error *err)
{
    *plan = (struct an_demo_plan){.seed = seed, .days = days, .quiet = quiet};
    if (days < 1 || days > 365) {
        return an_fail(err, AN_BAD_USAGE, "the demonstration line runs 1 to 365 days, not %d",
                       days);
    }
    enum an_status st = an_zone_open("Europe/Rome", &plan->zone, err);
    if (st) {
        return st;
    }
    plan->arena = an_arena_open();
    if (!plan->arena || !plan_shifts(plan) || !plan_tiles(plan) || !plan_walls(plan) ||
        !plan_wafers(plan)) {
        an_demo_plan_close(plan);
        return an_fail(err, AN_NO_MEMORY, "out of memory while planning the demonstration line");
    }
    plan_stamps(plan);
    return AN_OK;
}

void an_demo_plan_close(struct an_demo_plan *plan)
{
    an_arena_close(plan->arena);
    an_zone_close(plan->zone);
    *plan = (struct an_demo_plan){0};
}
