/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A small line of our own for the suites of the judge: a store in a folder that is removed at the
 * end, a description, and files put together row by row without any CSV. */
#ifndef AN_TEST_JUDGE_SUPPORT_H
#define AN_TEST_JUDGE_SUPPORT_H

#include "judge/judge.h"

#include <check.h>
#include <stdint.h>

/* Every fallible call of a suite goes through this. */
#define OK(call)                                                                                   \
    do {                                                                                           \
        const enum an_status ok_st = (call);                                                       \
        ck_assert_msg(ok_st == AN_OK, "%s: %s: %s", #call, an_status_name(ok_st), scene.err.text); \
    } while (0)

/* 2026-03-02 06:00 in Rome: start of an early shift. */
#define SCENE_START INT64_C(1772427600000000)

struct scene {
    struct an_error err;
    struct an_arena *arena;
    struct an_line *line;
    struct an_store *store;
    char folder[64];
    /* the file in hand */
    const char *station;
    const char *ribbon;    /* of samples put by scene_plain */
    struct an_sample last; /* as it was put */
    struct an_file file;
    int files;
    int64_t rows;
    int64_t *scaled, *lines, *visits;
    uint32_t *site_codes, *split_codes[2];
    size_t room;
    struct an_bytes texts[64];
    size_t text_count;
};
extern struct scene scene;

/* yaml of the stations is put behind the scene's head (zone Europe/Rome; kinds lot, wafer,
 * carrier, tile, wall). */
void scene_open(const char *stations);
void scene_close(void);

void scene_file(const char *station); /* begins one */
void scene_file_end(void);
int64_t scene_stream(const char *characteristic, const char *split);
struct an_stream scene_find(const char *name);
int64_t scene_item(const char *kind, const char *serial);

struct scene_reading {
    const char *characteristic;
    const char *split;  /* "" none, else up to two "column=value" */
    const char *serial; /* of the station's item kind */
    int64_t at_us;
    const char *const *sites; /* texts of the position column, or NULL */
    const double *values;     /* NAN: a missing cell */
    size_t n;
    int decimals;
    const char *ribbon;
    const char *purpose;
};
int64_t scene_measure(const struct scene_reading *reading); /* returns the sample's id */
int64_t scene_count(const char *characteristic, const char *split, const char *serial,
                    int64_t at_us, double count, double opportunities);
/* Values that need not come back: one sample of n equal-weight readings by its statistics. */
int64_t scene_plain(const char *characteristic, const char *split, const char *serial,
                    int64_t at_us, double value);
void scene_link(const char *child_kind, const char *child, const char *parent_kind,
                const char *parent, const char *role);

/* Proposes over all samples and locks. */
struct an_limits scene_limits(const char *stream, size_t samples);
void scene_lock(const char *stream);
/* Limits whose truth is known (d2(2) = 2/sqrt(pi)), in force from a day before the start. */
void scene_lock_known(const char *stream, const char *characteristic, double centre, double sigma);
struct an_check_result scene_check(void);

/* Repeatable random numbers: xorshift64* by Vigna (2014), from memory; normal by the polar way. */
struct scene_random {
    uint64_t state;
};
double scene_uniform(struct scene_random *random);
double scene_normal(struct scene_random *random);

#endif
