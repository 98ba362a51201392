/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Judging streams: limits proposed from a baseline and locked by a person, rules over what is new,
 * signals kept as episodes, and sentences that say what happened. Knows no pages.
 *
 * Arrays and texts handed out live in the caller's arena. One thread a call.
 */
#ifndef AN_JUDGE_JUDGE_H
#define AN_JUDGE_JUDGE_H

#include "andamento/base/json_out.h"
#include "andamento/base/memory.h"
#include "andamento/base/status.h"
#include "andamento/stat/autoregression.h"
#include "andamento/stat/capability.h"
#include "andamento/stat/change.h"
#include "andamento/stat/chart.h"
#include "andamento/stat/percentile.h"
#include "andamento/stat/position.h"
#include "andamento/stat/rules.h"
#include "andamento/stat/tests.h"
#include "andamento/stat/tolerance.h"
#include "andamento/stat/transform.h"
#include "andamento/stat/yield.h"
#include "andamento/store/store.h"
#include "line/line.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ---- limits ------------------------------------------------------------------------------------ */
struct an_position_baseline {
    const char *position; /* text of the position column */
    double offset;        /* mean reading there minus the mean over positions */
};

struct an_product_baseline { /* short_run: what a product is judged by */
    const char *name;
    double target, sigma;
    double samples; /* of it in the baseline */
};

struct an_excluded {
    int64_t sample_id;
    int64_t at_us;
    const char *serial;
    const char *reason;
};

struct an_limits_scale {           /* what readings are turned into before the model sees them */
    struct an_transform transform; /* AN_SCALE_NONE: nothing, the rest means nothing then */
    bool automatic;                /* found from the baseline, not given */
    double likeliest, lower,
        upper; /* Box-Cox found: the best power and its 95 % interval; else NAN */
    struct an_normality before, after; /* of the baseline's readings; NAN if not tested */
    double readings;                   /* how many those are */
};

struct an_limits {
    int64_t limits_id, stream_id;
    enum an_limits_state state;
    struct an_chart_model model;
    struct an_rule_choice rules;
    struct an_limits_scale scale;
    struct an_position_baseline *positions; /* NULL if the characteristic has no fixed places */
    size_t position_count;
    struct an_product_baseline *products; /* NULL but for short_run */
    size_t product_count;
    int64_t baseline_from_us, baseline_until_us;
    struct an_excluded *excluded;
    size_t excluded_count;
    struct an_normality normality; /* of the level values of the baseline; NAN if not tested */
    double lag1;                   /* their lag-1 autocorrelation */
    double lag1_bound;             /* 2 / sqrt(m): beyond it, not likely luck */
    struct an_ljung_box ljung_box; /* of the level values, over several lags; NAN if not tested */
    double sigma_relative_se, centre_half_width;
    const char **warnings; /* sentences: few samples, items differ, autocorrelated ... */
    size_t warning_count;
    int64_t known_us, in_force_us, locked_us;
    const char *author, *reason;
    const char *signed_key; /* with which the lock is signed; NULL: with none */
};

struct an_baseline_choice {
    int64_t from_us, until_us;          /* AN_NO_INSTANT: open end */
    size_t samples;                     /* the first so many of the period; 0: all */
    const int64_t *exclude;             /* sample ids left out ... */
    const char *const *exclude_reasons; /* ... each with its reason, never empty */
    size_t exclude_count;
    int64_t
        newest_file_id; /* to learn again what was learned then: samples of later files are passed
                             * over, and what is to be left out may have gone; 0: none of this */
};

/*
 * Learns limits from a baseline and stores the proposal. Samples are left out only where named in
 * the choice; samples that signal inside the baseline are listed as warnings with their ids, to be
 * excluded with a reason or kept.
 * AN_TOO_FEW (text says how many there are and how many are wanted), AN_NO_SPREAD (all equal),
 * AN_DOMAIN (family does not fit the data; text says why). Stores nothing then.
 */
AN_CHECKED enum an_status an_limits_propose(struct an_store *store, const struct an_line *line,
                                            int64_t stream_id,
                                            const struct an_baseline_choice *choice,
                                            struct an_arena *arena, struct an_limits *limits,
                                            struct an_error *err);
/* The newest proposal of the stream goes in force from in_force_us (AN_NO_INSTANT: from the
 * first sample of its baseline). author and reason must not be empty (AN_BAD_USAGE). */
AN_CHECKED enum an_status an_limits_lock(struct an_store *store, int64_t stream_id,
                                         int64_t in_force_us, const char *author,
                                         const char *reason, struct an_error *err);
/* What limits rest on that is in doubt by now, and what they would be without it. */
struct an_limits_doubt {
    struct an_doubt *samples; /* of the baseline, in doubt (store/doubt.h); by time */
    size_t count;
    bool learned; /* it was, and `without` holds what came out */
    struct an_limits
        without;         /* from the same samples as then, without those in doubt; withdrawn and
                               * measured again are left out, values in another unit are corrected */
    const char *why_not; /* they could not be learned; NULL: they could */
};
AN_CHECKED enum an_status an_limits_doubt_of(struct an_store *store, const struct an_line *line,
                                             const struct an_limits *limits, struct an_arena *arena,
                                             struct an_limits_doubt *doubt, struct an_error *err);
/* All revisions of a stream, oldest first. */
AN_CHECKED enum an_status an_limits_all(struct an_store *store, int64_t stream_id,
                                        struct an_arena *arena, struct an_limits **limits,
                                        size_t *count, struct an_error *err);

/* ---- a stream as judged -------------------------------------------------------------------------- */
struct an_judged_point {
    struct an_sample sample;
    struct an_chart_point point; /* NAN limits where none are in force */
    size_t phase;                /* index into the view's limits; AN_NONE before any */
    bool excluded;               /* left out of the baseline by name */
    int off_scale;               /* a reading has no place on the scale of the limits: 1 it lies
                                         above, -1 below; 0 all have one */
    bool gap_before;             /* something other than the next sample precedes: phase
                                         change; rules do not look across it */
    unsigned hit_rules[2];       /* bit r set: rule r signalled at this point, per panel */
    int hit_side[2];
};

struct an_stream_view {
    struct an_stream stream;
    const struct an_characteristic *characteristic; /* NULL: the description no longer has it */
    const struct an_station *station;
    const char *purpose;      /* NULL production */
    struct an_limits *limits; /* locked revisions that touch the period, oldest first */
    size_t limits_count;
    struct an_judged_point *points; /* by event time */
    size_t count;
    struct an_rule_hit *hits[2]; /* per panel, indexes into points */
    size_t hit_count[2];
    /* The scale that all levels are on, that of the newest limits; points of other limits are carried
     * over, without their spread. NULL: values are plotted as they are. */
    const struct an_limits_scale *on_scale;
    const char *unit; /* of the plotted level as shown, e.g. "um", "per million" */
    double scale;     /* plotted values are multiplied by it to be shown */
    int decimals;     /* sensible for showing plotted values */
};

/* Samples with from_us <= at_us < until_us (plus `context` samples before), judged by the
 * limits in force at each sample's time. Reads statistics only, except where fixed places need
 * the readings of the samples in view. */
AN_CHECKED enum an_status an_judge_view(struct an_store *store, const struct an_line *line,
                                        const struct an_stream *stream, int64_t from_us,
                                        int64_t until_us, size_t context, struct an_arena *arena,
                                        struct an_stream_view *view, struct an_error *err);

/* ---- check --------------------------------------------------------------------------------------- */
/* What a residual is; stands in each full sentence about one. */
#define AN_RESIDUAL_ASIDE " (its departure from what the last value leads to expect)"

struct an_signal {
    struct an_signal_record record;
    struct an_stream stream;
    const struct an_characteristic *characteristic;
    const struct an_station *station;
    struct an_hit_record *hits;
    size_t hit_count;
    bool open;        /* no answer recorded */
    bool ongoing;     /* its last hit is within the rules' memory of the newest sample */
    const char *code; /* of the first hit: "B+", "R9-" */
    /* How large. A step: mean of the points from the onset on, minus the centre; a ramp: what it has
     * risen to at the last hit; no start estimated: mean over the episode's points minus the centre;
     * a pattern without a side (alternating ...): mean step from point to point; NAN where every point
     * lies off the scale of its chart. */
    double size, size_sigmas; /* in shown unit; in sigmas of the plotted statistic */
    const char *unit;         /* the shown unit, "" for none */
    double per_day;           /* of a ramp: shown unit per day; NAN for a step */
    bool has_change;          /* a start was estimated */
    struct an_change change;  /* indexes are into the samples looked at; use the ids below */
    int64_t onset_sample_id, onset_us, onset_earliest_us, onset_latest_us;
    int64_t *item_ids;         /* items from the onset on to the last hit, each once, in order */
    const char **item_serials; /* of the same */
    size_t item_count;
    bool items_at_most;     /* some of them may be others of the same lines: see sample_items.h */
    size_t product_in_next; /* of them, how many are linked into an item of product kind */
    size_t at_risk;         /* items of product: of them, or of what they went into */
    const char *next_kind;  /* that kind's title ("wall"), or NULL */
    const char *first_serial, *last_serial;
    const char *ribbon_note; /* "began with wafer W-118", when the change meets a change of
                                   upstream batch within its interval; else NULL */
    const char *sentence;    /* the whole story in one or two sentences, local time */
    const char *brief; /* the same without the rules met, for where their codes stand beside */
};

struct an_check_result {
    size_t streams, streams_without_limits, samples; /* samples judged in this run */
    size_t new_signals, new_hits, withdrawn_hits;
    int64_t late_samples; /* that made earlier judgements be made again */
};

/*
 * Applies limits and rules to what is new since the last check of each stream (nothing else is
 * read), in one transaction. Late samples: judged again from 15 samples before the earliest.
 */
AN_CHECKED enum an_status an_check_all(struct an_store *store, const struct an_line *line,
                                       bool dry_run, struct an_check_result *result,
                                       struct an_error *err);
/* Episodes with a hit in [from, until), not withdrawn, told in full; worst first: by items of
 * product at risk, then by size in sigmas. stream_id 0: all. */
AN_CHECKED enum an_status an_signals(struct an_store *store, const struct an_line *line,
                                     int64_t stream_id, int64_t from_us, int64_t until_us,
                                     struct an_arena *arena, struct an_signal **signals,
                                     size_t *count, struct an_error *err);
struct an_signals_wish {
    int64_t stream_id; /* 0: all */
    int64_t from_us, until_us;
    bool open_only;     /* answered ones are passed over, and cost nothing */
    bool without_lists; /* hits and items are counted and not listed: their arrays are NULL */
};
AN_CHECKED enum an_status an_signals_wished(struct an_store *store, const struct an_line *line,
                                            const struct an_signals_wish *wish,
                                            struct an_arena *arena, struct an_signal **signals,
                                            size_t *count, struct an_error *err);
void an_signal_json(struct an_json *json, const struct an_line *line,
                    const struct an_signal *signal); /* one object */

/* ---- capability ----------------------------------------------------------------------------------- */
/* What may be asked beyond the usual. All zero: nothing. */
struct an_capability_wish {
    struct an_shape_choice shape;       /* declared: instead of the description's */
    struct an_tolerance_wish tolerance; /* coverage 0: no tolerance limits */
    bool sigma_level;                   /* of counted ones, with `sigma_shift` added */
    double sigma_shift;
};

struct an_shape_result { /* of a shape other than normal */
    bool used, automatic;
    struct an_fit fit;
    struct an_fit_test test;
    enum an_shape second; /* automatic: the runner-up, AN_SHAPE_COUNT if none */
    double second_behind; /* its BIC less that of the best */
    struct an_percentile_capability by;
};

struct an_tolerance_limits { /* NAN where not asked or not to be had */
    double coverage, confidence;
    double lower, upper;             /* normal, or by the fit's scale; one-sided as the spec is */
    double order_lower, order_upper; /* by order statistics, any shape */
    double order_confidence;         /* reached */
    size_t order_least;              /* readings that order statistics want */
};

struct an_counted_result { /* of counted characteristics; zero for others */
    bool proportion;
    double count, opportunities;
    struct an_index rate; /* per opportunity; exact bounds */
    bool has_dispersion;
    struct an_dispersion dispersion;
    double sigma_level; /* NAN unless asked */
};

struct an_stream_capability {
    struct an_stream stream;
    const struct an_characteristic *characteristic;
    struct an_spec spec;
    int64_t samples;
    double n;
    bool stable;       /* limits in force for every sample of the period, and no more signals than
                          luck makes in three of four such periods */
    size_t signalling; /* samples with a hit */
    double luck;       /* how many the rules in force make of a stable stream, about */
    struct an_capability_basis basis;
    struct an_capability indices; /* cp.. NAN unless stable */
    struct an_normality normality;
    double rate_lower, rate_upper; /* exact bounds of a counted one's rate (basis.mean), per
                                      opportunity; NAN for measured ones */
    const char *why_not;           /* reason in place of the index, or NULL */
    const char **notes;
    size_t note_count;
    double lag1, lag1_bound; /* autocorrelation of neighbouring samples' levels, and 2 / sqrt(m) */
    struct an_shape_result shape; /* where used, pp.. of the indices are its percentile indices */
    bool
        has_position; /* a radial characteristic: both its sources in the circle of its upper limit */
    struct an_position_capability position; /* of the items' means */
    struct an_tolerance_limits tolerance;
    struct an_counted_result counted;
    const char *method; /* "normal", "lognormal, percentiles", "counts" ... */
};
/* Reads the single readings of the period for measured characteristics. wish NULL: the usual. */
AN_CHECKED enum an_status
an_stream_capability_wished(struct an_store *store, const struct an_line *line,
                            const struct an_stream *stream, int64_t from_us, int64_t until_us,
                            const struct an_capability_wish *wish, struct an_arena *arena,
                            struct an_stream_capability *capability, struct an_error *err);
AN_CHECKED enum an_status an_stream_capability_of(struct an_store *store,
                                                  const struct an_line *line,
                                                  const struct an_stream *stream, int64_t from_us,
                                                  int64_t until_us, struct an_arena *arena,
                                                  struct an_stream_capability *capability,
                                                  struct an_error *err);

/* ---- readings ------------------------------------------------------------------------------------- */
/* All single readings of a stream in a period, in the characteristic's unit, in order; positions
 * (texts, or NULL) beside them and the index of the sample each belongs to. Derived and counted
 * characteristics give one value a sample. most = 0: all. */
struct an_readings {
    double *value;
    const char **position; /* NULL if the characteristic has none */
    size_t *sample;        /* index into samples */
    struct an_sample *samples;
    size_t count, sample_count;
    size_t dropped_count; /* samples whose readings are kept no longer: none of theirs are here */
    const char *dropped_text; /* since when and by whom, to be told; NULL: none are */
};
AN_CHECKED enum an_status an_judge_readings(struct an_store *store, const struct an_line *line,
                                            const struct an_stream *stream, int64_t from_us,
                                            int64_t until_us, size_t most, struct an_arena *arena,
                                            struct an_readings *readings, struct an_error *err);

/* The stream's characteristic in the description, by its name; false if it is gone. Streams of
 * other purpose than production carry purpose=WORD as their last split. */
bool an_judge_resolve(const struct an_line *line, const struct an_stream *stream,
                      const struct an_station **station,
                      const struct an_characteristic **characteristic, const char **purpose,
                      struct an_arena *arena);
/* "transfer offset x, red, head H2": the stream in words. */
const char *an_judge_title(const struct an_line *line, const struct an_stream *stream,
                           struct an_arena *arena);

#endif
