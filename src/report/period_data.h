/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Everything a report on a period says, gathered before anything is drawn: plain structs whose arrays
 * and texts live in one arena. Pages read them and never the store.
 */
#ifndef AN_REPORT_PERIOD_DATA_H
#define AN_REPORT_PERIOD_DATA_H

#include "andamento/draw/chart_panel.h"
#include "judge/judge.h"
#include "line/line.h"
#include "report/definition.h"
#include "report/report.h"

/* One panel of a stream, ready to be drawn. Values are as shown (scaled, in `unit`). */
struct an_panel_sheet {
    const char *statistic; /* "mean"; NULL: the chart family has no such panel */
    const char *brief;     /* the same for a small chart; NULL: as statistic */
    struct an_plot_point *points;
    size_t count;
    struct an_plot_signal *signals;
    size_t signal_count;
};

/* One line of the table of facts. */
struct an_fact {
    const char *name, *text;
};

/* The level of a stream over a period: of its plotted points, as shown. */
struct an_level_summary {
    size_t n;
    double mean, sd, lag1; /* NAN where too few */
};

/* What a point of the level panel is, where it is no plain value. */
enum an_sheet_form {
    AN_FORM_PLAIN,
    AN_FORM_GAPS,     /* an event: values lie decades apart */
    AN_FORM_SUMS,     /* the larger of two sums */
    AN_FORM_WEAR,     /* a value of a tool in use: the chart begins anew with each tool */
    AN_FORM_DISTANCE, /* how far from something: no value that a specification judges */
};

/* A stream: what its charts, large or small, and its facts need. */
struct an_stream_sheet {
    struct an_stream stream;
    const char *title;         /* the stream in words */
    const char *station_title; /* of its station, or the name if the description lost it */
    size_t station;            /* index into stations of the data */
    const char *unit;
    int decimals;
    enum an_sheet_form form;
    struct an_panel_sheet panel[2]; /* level, spread */
    const char **phase_labels;
    size_t phase_count;
    int64_t period_samples, before_samples; /* in this period; in the last one */
    int64_t period_points;                  /* of the level panel, in this period */
    double readings_per_sample; /* of the samples in this period; NAN if none, or if a sample is no
                                   such number of readings */
    const char *counted_in;     /* "reading", or "opportunity" of counts */
    struct an_level_summary level_now, level_before;
    double last_value;        /* newest plotted level up to the end; NAN none */
    int64_t last_us;          /* its time; AN_NO_INSTANT none */
    bool has_limits;          /* locked limits judge its newest samples */
    bool described;           /* the line description still has it */
    bool news;                /* false: charted, never signalled */
    double expected_false;    /* by luck alone, in this period; 0 without limits */
    const char *no_expected;  /* why there is no such number though there are limits; or NULL */
    bool single_values;       /* the level panel shows single readings */
    double lsl, usl, target;  /* spec, in `unit`; NAN where there is none */
    const char *ribbon_title; /* NULL: no upstream batch is known */
    const char **notes;
    size_t note_count;
    struct an_fact *facts; /* only for streams that signalled */
    size_t fact_count;
    const char *cautions; /* of the station, or NULL */
};

struct an_carried_item {
    const char *serial;
    const char *kind; /* its kind's title */
    const char *in;   /* serial of the item it went into, or NULL */
};

struct an_period_signal {
    struct an_signal signal;
    size_t sheet;     /* index into sheets */
    const char *name; /* page's destination name */
    bool is_new;      /* first met in this period */
    bool product;     /* its items are of a product kind */
    const char *kind; /* its items' kind in words ("tile"), never NULL */
    struct an_carried_item *items;
    size_t item_count;
    double onset_at, onset_earliest, onset_latest; /* indexes into the sheet's points, or NAN */
    size_t *also;                                  /* signals whose start may be the same moment */
    size_t also_count;
    const char *answer, *answered_by; /* the newest answer and who gave it, or NULL */
};

/* A signal of an earlier period that nobody has answered and that did not come again. */
struct an_due_signal {
    int64_t signal_id, signal_us;
    const char *title, *code, *words;
};

struct an_station_sheet {
    const char *name, *title;
    bool described, silent; /* silent: longer than its own measure without a sign */
    int64_t silent_after_us;
    int64_t last_us; /* last sign of it up to the end of the report; AN_NO_INSTANT never */
    struct an_station_traffic traffic;
    size_t streams, quiet_streams;
};

struct an_held_reason {
    const char *station, *code;
    int64_t rows, files;
    const char *example; /* sentence about the first row, with its file and line */
    const char *advice;  /* or NULL */
};

struct an_kind_at_risk {
    const char *kind; /* title of the kind */
    bool product;
    size_t items, in_next; /* distinct over all open signals; how many are linked on */
    const char *next;      /* title of the kind they went into, or NULL */
    size_t next_items;     /* how many of those */
    const char *first, *last;
};

struct an_text_list {
    const char **at;
    size_t count;
};

struct an_week_data;

struct an_period_data {
    const struct an_line *line;
    const struct an_report_definition *definition;
    struct an_period now, before; /* before.label NULL: there is none */
    const char *word;             /* "shift" or "week" */
    const char *period;           /* local, in words */
    const char *title;            /* of the report */
    const char *store_name;       /* base name of the store's file */
    const char *program_version;
    struct an_ledger_head head;
    char root_hex[65];
    int64_t newest_us; /* of the newest record used; the report's creation time */
    int64_t as_of_us;  /* end of the period, or the newest that was known when it is not over */
    bool running;      /* the period was not over */
    int64_t axis_from_us, axis_until_us; /* of all small charts */
    size_t limits_locked;                /* revisions in the store */

    struct an_stream_sheet *sheets; /* by station, name */
    size_t sheet_count;
    struct an_period_signal *signals; /* with a hit in the period, worst first */
    size_t signal_count;
    size_t moved_streams, new_streams; /* distinct */
    size_t open_signals;
    int64_t samples, before_samples;
    size_t judged_streams; /* with samples in the period and limits */
    double expected_false;
    size_t before_moved; /* streams with a hit in the last period */

    struct an_kind_at_risk *at_risk;
    size_t at_risk_count;

    struct an_station_sheet *stations; /* in the description's order, unknown ones after */
    size_t station_count;
    struct an_held_reason *held;
    size_t held_count;
    struct an_file *held_files;
    size_t held_file_count, held_files_more; /* listed; held beside those */
    struct an_text_list noted; /* gauges past calibration, late evidence, files that never came */
    struct an_text_list no_limits; /* titles of streams with samples, without locked limits */
    struct an_text_list absent;    /* sent samples in the days before, none in this period */
    struct an_text_list gone;      /* the description no longer has them */

    struct an_due_signal *due; /* oldest first */
    size_t due_count;
    struct an_text_list proposed;  /* limits proposed, not locked: "title, since when" */
    struct an_text_list uncertain; /* "title: from 12 samples" */

    struct an_week_data *week; /* NULL unless the report is on a week */
};

/* Reads the store; never draws. Statuses are those of reading. */
AN_CHECKED enum an_status an_period_gather(struct an_store *store, const struct an_line *line,
                                           const struct an_report_options *options,
                                           const struct an_report_definition *definition,
                                           struct an_arena *arena, struct an_period_data *data,
                                           struct an_error *err);

#endif
