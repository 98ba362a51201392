/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Studies of gauges: a file of readings and how to read it, turned into what it says. Any thread;
 * results live in the caller's arena.
 */
#ifndef AN_JUDGE_GAUGE_H
#define AN_JUDGE_GAUGE_H

#include "andamento/stat/chart.h"
#include "andamento/stat/components.h"
#include "andamento/stat/gauge.h"
#include "andamento/stat/rules.h"
#include "andamento/store/gauge.h"
#include "line/line.h"

#define AN_GAUGE_CONFIDENCE 0.95
#define AN_GAUGE_POOL_ABOVE 0.25 /* common practice, no source */

struct an_gauge_pair { /* two people who sorted the same parts */
    size_t a, b;
    struct an_kappa kappa;
    bool has_kappa; /* false: both always said the same word */
};

struct an_gauge_person {
    struct an_share within;   /* parts on which all repeats agree; of 0 with one repeat */
    struct an_share standard; /* parts on which all repeats are the reference's word */
    struct an_kappa kappa;    /* against the reference, repeat by repeat */
    bool has_kappa;
};

/* ---- one item, again and again over time (gauge_stability.c) ---- */
struct an_gauge_occasion {
    int64_t at_us;
    size_t first; /* its first reading */
    struct an_chart_sample sample;
    struct an_chart_point point;
};

struct an_gauge_stability {
    struct an_gauge_occasion *at;
    size_t count;
    struct an_chart_model model; /* xbar_r, xbar_s or individuals, learned from the study itself */
    struct an_rule_choice rules;
    struct an_rule_hit *hits[2]; /* per panel, indexes into at */
    size_t hit_count[2];
    double reference;            /* of the item */
    struct an_gauge_bias bias;   /* of the means of occasions */
    struct an_gauge_line drift;  /* of the means less the reference, over days since the first */
    double days;                 /* from the first occasion to the last */
    struct an_bounds start, end; /* of the bias by the line */
    double change, change_lower, change_upper; /* of the line over the study */
    struct an_components parts; /* between occasions, within; levels 0: one reading each */
    bool stable, drifts;
};
#define AN_STABILITY_LEAST 10 /* occasions; 20 or more are usual */

struct an_gauge_result {
    const struct an_gauge_record *record;
    const char **parts, **people, **words; /* words: categories, of a sorting study */
    size_t part_count, person_count, word_count, repeats, n;
    double *value;     /* crossed: [part][person][repeat]; else in the order of the file */
    double *reference; /* linearity: beside value */
    size_t *sorted;    /* sorting: [part][person][repeat], number of the word */
    size_t *standard;  /* sorting: by part, or NULL */
    struct an_gauge_study study, ranges;
    struct an_gauge_bias bias;
    struct an_gauge_line line;
    struct an_gauge_stability stability;
    struct an_gauge_person *person;
    struct an_gauge_pair *pair;
    size_t pair_count;
    struct an_share between, all_standard; /* parts on which everybody agrees, and is right */
    struct an_kappa fleiss;
    bool has_fleiss;
    enum an_gauge_grade grade;
    const char *verdict;     /* one sentence */
    const char *cautions[8]; /* what to know before relying on it */
    size_t caution_count;
};

const char *an_gauge_kind_name(enum an_gauge_kind kind); /* "crossed" */
bool an_gauge_kind_of(const char *name, enum an_gauge_kind *kind);
const char *an_gauge_grade_words(enum an_gauge_grade grade);
/* By per cent of tolerance or study: under 10 fit, to 30 with care, over it not (common practice,
 * no source). */
enum an_gauge_grade an_gauge_grade_of(double percent);

/* Everything of a study from record->data and how it is to be read. AN_BAD_INPUT with file, line
 * and column, and what to do about it. */
AN_CHECKED enum an_status an_gauge_evaluate(const struct an_gauge_record *record,
                                            struct an_arena *arena, struct an_gauge_result *result,
                                            struct an_error *err);

/* The readings of a study's file by the columns that its record names (gauge_file.c). */
struct an_gauge_rows {
    size_t n;
    size_t *part, *person, *word; /* numbers of names; NULL where the record has no such column */
    double *value, *reference;
    int64_t *at_us;   /* stability: from the column `person` */
    size_t *standard; /* number of the reference's word */
    uint64_t *line;
    const char **parts, **people, **words;
    size_t part_count, person_count, word_count;
};
AN_CHECKED enum an_status an_gauge_read(const struct an_gauge_record *record,
                                        struct an_arena *arena, struct an_gauge_rows *rows,
                                        struct an_error *err);

/* Of a stability study that was read; result: value, record and n are filled. */
AN_CHECKED enum an_status an_gauge_stability_of(const struct an_gauge_rows *rows,
                                                struct an_arena *arena,
                                                struct an_gauge_result *result,
                                                struct an_error *err);
void an_gauge_caution(struct an_gauge_result *result, const char *text);

/* ---- the state of a gauge ------------------------------------------------------------------------- */
struct an_gauge_state {
    const char *name, *station; /* station: NULL if not known */
    bool studied;
    struct an_gauge_record newest; /* if studied */
    enum an_gauge_grade grade; /* if studied: the newest's, or the newest stability study's where
                                      that is worse */
    size_t studies;
    int64_t until_us; /* calibrated until; AN_NO_INSTANT: not told */
    bool overdue;     /* at the time asked about */
    bool needs_look;
    const char
        *text; /* "study 3 of 2026-03-04: takes 12 % of the tolerance ...; calibrated until ..." */
};
/* Of one gauge at a time. studies: of an_store_gauge_studies, newest first, all gauges. */
AN_CHECKED enum an_status an_gauge_state_of(const struct an_line *line, const char *gauge,
                                            const struct an_gauge_record studies[], size_t count,
                                            int64_t at_us, struct an_arena *arena,
                                            struct an_gauge_state *state, struct an_error *err);

/* ---- the gauge behind a stream (gauge_stream.c) ------------------------------------------------------ */
/* What is on record about the gauge that measured a stream last. Numbers are NAN where nothing
 * on record says them. */
struct an_stream_gauge {
    const char *gauge; /* NULL: the station names none */
    struct an_gauge_state state;
    /* the crossed study that speaks for this stream: the newest of its own characteristic, else the
     * newest that names no stream */
    bool measured;
    struct an_gauge_record study;
    bool own;                     /* it names this characteristic: its unit is the stream's */
    const char *held_against;     /* "tolerance", "tolerance of the study", "study variation" */
    double percent, lower, upper; /* of that */
    double categories, categories_lower, categories_upper;
    double variance, variance_lower, variance_upper; /* in the stream's unit; NAN if not own */
    int64_t age_us; /* of the study that speaks; below 0: recorded later; AN_NO_INSTANT: none */
    enum an_gauge_grade grade; /* of percent; 0 if not measured */
    const char *text;          /* one line, never NULL: "CAM-2 takes 12.3 % of the tolerance ..." */
    const char *warning;       /* why values of it want care; NULL: nothing on record says so */
};
AN_CHECKED enum an_status an_stream_gauge_of(struct an_store *store, const struct an_line *line,
                                             const struct an_stream *stream,
                                             const struct an_station *station,
                                             const struct an_characteristic *characteristic,
                                             int64_t at_us, struct an_arena *arena,
                                             struct an_stream_gauge *gauge, struct an_error *err);

#endif
