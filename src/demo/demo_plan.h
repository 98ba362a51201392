/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The plan of the demonstration line: its geometry and figures (all invented), its calendar, and
 * every wafer, carrier, tile and wall with the time it passes each station. The station files are
 * written from the plan and from nothing else. One thread a plan.
 */
#ifndef AN_DEMO_PLAN_H
#define AN_DEMO_PLAN_H

#include "andamento/base/instant.h"
#include "andamento/base/memory.h"
#include "andamento/base/status.h"
#include "demo/random.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ---- geometry: a pixel is one red, one green and one blue emitter ----------------------------- */
enum {
    AN_DEMO_COLOURS = 3,
    AN_DEMO_TILE_COLUMNS = 240, /* pixels of 0.8 mm: a tile is 192.0 mm x 115.2 mm */
    AN_DEMO_TILE_ROWS = 144,
    AN_DEMO_SHOT_COLUMNS = 40, /* pixels of one shot */
    AN_DEMO_SHOT_ROWS = 24,
    AN_DEMO_SHOTS_ACROSS = 6,
    AN_DEMO_SHOTS_DOWN = 6,
    AN_DEMO_SHOTS = 36, /* of one colour */
    AN_DEMO_SHOT_EMITTERS = 960,
    AN_DEMO_EMITTERS = 34560, /* of one colour on a tile */
    AN_DEMO_WALL_ROWS = 5,
    AN_DEMO_WALL_COLUMNS = 7,
    AN_DEMO_WALL_TILES = 35,
    AN_DEMO_HEADS = 4,
    AN_DEMO_SITE_ROWS = 3, /* luminance sites on a tile */
    AN_DEMO_SITE_COLUMNS = 5,
    AN_DEMO_SITES = 15,
    AN_DEMO_KEYS = 30,            /* test keys of a wafer */
    AN_DEMO_LAYER_SITES = 9,      /* release-layer sites of a carrier */
    AN_DEMO_TRACES = 12,          /* measured traces of an edge */
    AN_DEMO_CARRIER_TILES = 6,    /* tiles that a carrier serves */
    AN_DEMO_WAFER_CARRIERS = 4,   /* carriers made of a wafer */
    AN_DEMO_EPI_WAFERS = 5,       /* wafers of an epitaxy run */
    AN_DEMO_PASTE_TILES = 90,     /* tiles of a paste lot */
    AN_DEMO_BASELINE_DAYS = 5,    /* nothing is seeded in the first so many days */
    AN_DEMO_REPAIR_SUBGROUP = 150 /* attempts in a sample */
};

/* ---- stations --------------------------------------------------------------------------------- */
enum an_demo_station {
    AN_DEMO_WAFER_TEST,
    AN_DEMO_CARRIER,
    AN_DEMO_TRANSFER,
    AN_DEMO_INSPECTION,
    AN_DEMO_REPAIR,
    AN_DEMO_EDGE,
    AN_DEMO_LUMINANCE,
    AN_DEMO_ASSEMBLY,
    AN_DEMO_STATION_COUNT
};
const char *an_demo_station_name(enum an_demo_station station); /* folder and name in line.yaml */
char an_demo_colour_letter(int colour);                         /* R, G, B */

/* ---- in-control figures -------------------------------------------------------------------------
 * within: sd of single readings in a tile, wafer or wall; between: sd from one to the next. */
struct an_demo_figure {
    double mean, between, within;
};
struct an_demo_figures {
    struct an_demo_figure wavelength_nm[AN_DEMO_COLOURS];
    struct an_demo_figure forward_v[AN_DEMO_COLOURS];
    struct an_demo_figure flux_percent;
    struct an_demo_figure layer_um;
    struct an_demo_figure dx_um[AN_DEMO_HEADS], dy_um[AN_DEMO_HEADS];
    struct an_demo_figure theta_mrad;
    double misses[3];           /* missing, tilted, duplicate of one colour on a tile: means */
    double miss_level_variance; /* of a tile's own level around 1: the cause of overdispersion */
    double dark;                /* of one colour, Poisson */
    double attempt_fails;       /* chance */
    struct an_demo_figure resistance_ohm[2], wrap_um;
    struct an_demo_figure luminance_cd_m2[AN_DEMO_COLOURS]; /* between, within as shares */
    struct an_demo_figure reference;                        /* shares */
    double site_percent[AN_DEMO_SITES];                     /* fixed offsets, by row */
    struct an_demo_figure gap_um[2];                        /* across, down */
};
extern const struct an_demo_figures an_demo_figures;
/* sd of a mean of n readings of one item */
double an_demo_mean_sd(const struct an_demo_figure *figure, int n);
/* Variance over mean of a count with the given mean, of which `steady` is plain Poisson. */
double an_demo_dispersion(double mean, double steady);

/* ---- what exists -------------------------------------------------------------------------------- */
struct an_demo_shift {
    int64_t from_us, until_us;
    int64_t start_day; /* days since 1970-01-01 of its local date */
    int pattern;       /* 0 early, 1 late, 2 night */
};

/* What seeded faults do to one tile; all neutral (0, or 1 for factors) on a quiet line. */
struct an_demo_effect {
    double dx_um, miss_factor, dy_within_factor, green_factor, gauge_factor, resistance_ohm;
};

struct an_demo_tile {
    char serial[16];
    int64_t at_us[AN_DEMO_STATION_COUNT]; /* start at each station from transfer on */
    int head;                             /* 0 to 3 */
    int stamp;                            /* number of the stamp */
    int stamp_tile;                       /* tiles that the stamp laid before this one */
    int carrier[AN_DEMO_COLOURS];         /* index among the carriers of the colour */
    int paste_lot;
    int misses[AN_DEMO_COLOURS][3]; /* missing, tilted, duplicate */
    int dark[AN_DEMO_COLOURS];
    int masked;                   /* emitters of each colour that inspection could not see */
    int wall, wall_row, wall_col; /* wall -1: in no wall; rows and columns from 1 */
    struct an_demo_effect effect;
};

struct an_demo_wafer {
    char serial[16];
    int colour, index, epi_run;
    int64_t at_us;
    double wavelength_nm, flux_factor; /* effects of a seeded fault: 0 and 1 */
};

struct an_demo_carrier {
    char serial[16];
    int colour, index, wafer; /* wafer: index among all wafers */
    int64_t at_us;
};

struct an_demo_wall {
    char serial[16];
    int64_t at_us;
    int tiles[AN_DEMO_WALL_TILES]; /* by row, then column */
};

struct an_demo_plan {
    uint64_t seed;
    int days;
    bool quiet;
    struct an_zone *zone;
    struct an_arena *arena;
    int64_t from_us, until_us; /* of production */
    struct an_demo_shift *shifts;
    size_t shift_count; /* the first two serve wafers and carriers only */
    struct an_demo_tile *tiles;
    size_t tile_count;
    struct an_demo_wafer *wafers; /* by time of test */
    size_t wafer_count;
    struct an_demo_carrier *carriers; /* by time of preparation */
    size_t carrier_count;
    struct an_demo_wall *walls;
    size_t wall_count;
    int *wafer_of[AN_DEMO_COLOURS]; /* index among a colour's wafers -> index among all */
    int *carrier_of[AN_DEMO_COLOURS];
};

/* AN_NOT_FOUND if the system has no zone data, AN_BAD_USAGE if days is not 1 to 365, AN_NO_MEMORY.
 * On AN_OK the plan is to be ended with an_demo_plan_close(). Counts and effects are neutral. */
AN_CHECKED enum an_status an_demo_plan_open(uint64_t seed, int days, bool quiet,
                                            struct an_demo_plan *plan, struct an_error *err);
void an_demo_plan_close(struct an_demo_plan *plan); /* an all-zero plan is fine */
/* Draws how many emitters each tile misses; to be called once the effects stand. */
void an_demo_plan_counts(struct an_demo_plan *plan);
/* The generator of the index-th thing at a station. */
struct an_demo_random an_demo_plan_random(const struct an_demo_plan *plan,
                                          enum an_demo_station station, size_t index);
/* The instant of a local hour on the day-th day of production (from 0). */
int64_t an_demo_plan_instant(const struct an_demo_plan *plan, int day, int hour);
/* Work at a station that would begin at this instant or later is not in the files: it could end in
 * a shift after the last one, and that shift would then be the newest with hardly a row in it. */
int64_t an_demo_plan_closes_us(const struct an_demo_plan *plan, enum an_demo_station station);
const char *an_demo_shift_name(const struct an_demo_shift *shift);
/* "2026-03-02" with another mark in place of "-", or none if it is 0; 16 bytes. */
char *an_demo_shift_date(const struct an_demo_shift *shift, char mark, char buffer[16]);
/* All emitters of a tile that are missing, tilted or duplicate. */
int an_demo_tile_misses(const struct an_demo_tile *tile);

#endif
