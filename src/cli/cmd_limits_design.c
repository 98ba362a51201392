/* SPDX-License-Identifier: GPL-3.0-or-later */
/* limits design: which chart finds a shift soonest, for the false alarms one can bear. Everything comes
 * from exact run lengths of independent normal points with known limits; of a stream it takes sigma and pace,
 * and needs no store without one. */
#include "andamento/base/number.h"
#include "andamento/stat/design.h"
#include "cli/commands.h"
#include "cli/design_stream.h"
#include "cli/limits_answer.h"
#include "judge/delay.h"

#include <math.h>

static const double shifts[] = {0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0};
enum { SHIFTS = sizeof shifts / sizeof *shifts };

struct candidate {
    const char *chart, *written; /* written: as the line description says it */
    double at_shift, at[SHIFTS];
};

/* ---- run lengths of the candidates ---- */

static enum an_status weighted(struct an_cli *cli, const struct an_weighting *w, double shift,
                               struct candidate *c)
{
    enum an_status st = AN_OK;
    for (size_t i = 0; !st && i <= SHIFTS; i++) {
        const double d = i < SHIFTS ? shifts[i] : shift;
        struct an_run_length run;
        st = an_run_length_weighted(w, (struct an_point_law){d, 1.0}, true, cli->arena, &run);
        *(i < SHIFTS ? &c->at[i] : &c->at_shift) = st ? (double)NAN : run.mean;
    }
    return st;
}

static enum an_status ruled(struct an_cli *cli, const struct an_rule_choice *rules, double shift,
                            struct candidate *c)
{
    struct an_rule_chain *chain;
    enum an_status st = an_rule_chain_open(rules, 3.0, cli->arena, &chain);
    for (size_t i = 0; !st && i <= SHIFTS; i++) {
        const double d = i < SHIFTS ? shifts[i] : shift;
        struct an_run_length run;
        st = an_run_length_rules(chain, (struct an_point_law){d, 1.0}, AN_ZERO_STATE, true,
                                 cli->arena, &run);
        *(i < SHIFTS ? &c->at[i] : &c->at_shift) = st ? (double)NAN : run.mean;
    }
    return st;
}

enum { NOW = 6, CANDIDATES = 7 }; /* the last is the stream's present chart */

static enum an_status present(struct an_cli *cli, const struct an_limits *limits, double shift,
                              struct candidate *c)
{
    const struct an_weighting *w = &limits->model.weighting;
    enum an_status st = AN_OK;
    for (size_t i = 0; !st && i <= SHIFTS; i++) {
        st = an_delay_of(limits, i < SHIFTS ? shifts[i] : shift,
                         i < SHIFTS ? &c->at[i] : &c->at_shift);
    }
    c->chart = "as it is now";
    c->written =
        w->kind == AN_EWMA
            ? an_arena_printf(cli->arena, "{ewma: %.4g, limits: %.5g}", w->lambda, w->limits)
        : w->kind == AN_CUSUM
            ? an_arena_printf(cli->arena, "{cusum: %.4g, interval: %.5g}", w->reference, w->limits)
        : w->kind == AN_MOVING_AVERAGE
            ? an_arena_printf(cli->arena, "{moving_average: %d}", w->span)
            : "-";
    return st || c->written ? st : AN_NO_MEMORY;
}

/* Of the charts with memory the one that sees the shift soonest; a head start only helps where the shift
 * is there from the first sample on. */
static const struct candidate *soonest(const struct candidate all[CANDIDATES])
{
    return all[1].at_shift < all[0].at_shift ? &all[1] : &all[0];
}

static enum an_status fill(struct an_cli *cli, double shift, double between,
                           struct candidate all[CANDIDATES])
{
    struct an_weighting ewma = {.kind = AN_EWMA};
    struct an_weighting quick = {.kind = AN_CUSUM, .head_start = 0.5};
    struct an_weighting cusum = {.kind = AN_CUSUM};
    struct an_rule_choice rules = an_rules_default();
    double unused;
    enum an_status st = an_design_weighting(&ewma, shift, between, &unused);
    st = st ? st : an_design_weighting(&cusum, shift, between, &unused);
    st = st ? st : an_design_weighting(&quick, shift, between, &unused);
    st = st ? st : weighted(cli, &ewma, shift, &all[0]);
    st = st ? st : weighted(cli, &cusum, shift, &all[1]);
    st = st ? st : weighted(cli, &quick, shift, &all[2]);
    all[0].chart = "ewma";
    all[0].written =
        an_arena_printf(cli->arena, "{ewma: %.4g, limits: %.5g}", ewma.lambda, ewma.limits);
    all[1].chart = "cusum";
    all[1].written =
        an_arena_printf(cli->arena, "{cusum: %.4g, interval: %.5g}", cusum.reference, cusum.limits);
    all[2].chart = "cusum, head start";
    all[2].written = an_arena_printf(cli->arena, "{cusum: %.4g, interval: %.5g, head_start: yes}",
                                     quick.reference, quick.limits);
    st = st ? st : ruled(cli, &rules, shift, &all[4]);
    rules.on[AN_RULE_TWO_OF_THREE_BEYOND_2S] = true;
    rules.on[AN_RULE_FOUR_OF_FIVE_BEYOND_1S] = true;
    st = st ? st : ruled(cli, &rules, shift, &all[5]);
    rules = an_rules_default();
    rules.on[AN_RULE_RUN_ONE_SIDE] = false;
    st = st ? st : ruled(cli, &rules, shift, &all[3]);
    all[3].chart = "single limits at 3 sigma";
    all[4].chart = "with run_one_side";
    all[5].chart = "with the two zone rules too";
    all[3].written = all[4].written = all[5].written = "-";
    if (st) {
        return an_fail(&cli->err, st,
                       "no chart could be designed for a shift of %g and one false "
                       "alarm in %g samples: %s",
                       shift, between, an_status_name(st));
    }
    return all[0].written && all[1].written && all[2].written
               ? AN_OK
               : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
}

/* ---- telling ---- */

static size_t told(const struct an_design_stream *s)
{
    return s->given ? CANDIDATES : NOW;
}

static void json_stream(struct an_json *json, const struct an_design_stream *s,
                        const struct an_design_wish *wish, const struct candidate *best)
{
    if (!s->given) {
        return;
    }
    an_json_put_string(json, "stream", s->stream.name);
    an_json_put_integer(json, "limits_id", s->limits.limits_id);
    an_json_put_string(json, "state", s->limits.state == AN_LIMITS_LOCKED ? "locked" : "proposed");
    an_json_put_string(json, "unit", s->characteristic->unit);
    an_json_put_number(json, "sigma_level", s->limits.model.sigma_level);
    an_json_put_number(json, "n_nominal", s->limits.model.n_nominal);
    an_json_put_number(json, "shift_in_unit", s->shift_in_unit);
    an_json_put_string(json, "period", s->pace.by_day ? "day" : "shift");
    an_json_put_number(json, "samples_a_period", s->pace.samples_per_shift);
    an_json_put_number(json, "hours_a_period", s->pace.shift_hours);
    an_json_put_number(json, "periods_a_week", s->shifts_a_week);
    an_json_put_number(json, "false_alarms_a_week",
                       s->pace.samples_per_shift * s->shifts_a_week / wish->between);
    an_json_put_number(json, "lag1_autocorrelation", s->limits.lag1);
    an_json_put_number(json, "lag1_bound", s->limits.lag1_bound);
    an_json_put_string(json, "weighted", best->written);
}

static void tell_json(struct an_cli *cli, const struct candidate all[CANDIDATES],
                      const struct an_design_stream *s, const struct an_design_wish *wish)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.design.1");
    an_json_object(&json);
    an_json_put_number(&json, "shift_sigmas", wish->shift);
    an_json_put_number(&json, "samples_between_false_alarms", wish->between);
    json_stream(&json, s, wish, soonest(all));
    an_json_key(&json, "charts");
    an_json_array(&json);
    for (size_t i = 0; i < told(s); i++) {
        an_json_object(&json);
        an_json_put_string(&json, "chart", all[i].chart);
        an_json_put_string(&json, "weighted", all[i].written[0] == '{' ? all[i].written : NULL);
        an_json_put_number(&json, "samples_between_false_alarms", all[i].at[0]);
        an_json_put_number(&json, "delay_at_shift", all[i].at_shift);
        if (s->given) {
            an_json_put_number(&json, "hours_between_false_alarms",
                               an_pace_hours(&s->pace, all[i].at[0]));
            an_json_put_number(&json, "hours_of_delay", an_pace_hours(&s->pace, all[i].at_shift));
        }
        an_json_key(&json, "average_run_lengths");
        an_json_array(&json);
        for (size_t d = 0; d < SHIFTS; d++) {
            an_json_object(&json);
            an_json_put_number(&json, "shift_sigmas", shifts[d]);
            an_json_put_number(&json, "samples", all[i].at[d]);
            an_json_end(&json, '}');
        }
        an_json_end(&json, ']');
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    an_json_end(&json, '}');
    an_cli_json_end(cli, &json);
}

static void tell_table(struct an_cli *cli, const struct candidate all[CANDIDATES], double shift)
{
    static const char *const titles[] = {"chart", "weighted", "at the shift", "none", "0.25", "0.5",
                                         "0.75",  "1",        "1.5",          "2",    "3"};
    struct an_cli_table table = {
        .titles = titles, .columns = sizeof titles / sizeof *titles, .right = 0x7FCU};
    for (size_t i = 0; i < NOW; i++) {
        an_cli_cell(&table, all[i].chart);
        an_cli_cell(&table, all[i].written);
        an_cli_cellf(&table, "%.4g", all[i].at_shift);
        for (size_t s = 0; s < SHIFTS; s++) {
            an_cli_cellf(&table, "%.4g", all[i].at[s]);
        }
    }
    an_cli_table_print(cli, &table);
    an_text_free(&table.cells);
    if (cli->format == AN_FORMAT_TABLE) {
        an_text_addf(
            &cli->out,
            "\naverage samples until a signal, by the shift in sigmas of the plotted "
            "points ('at the shift': %g);\nindependent normal points, limits exactly known; "
            "correlated points signal more often by luck\n",
            shift);
    }
}

/* ---- of a stream: in samples, and in time at its own pace ---- */

static void say_advice(struct an_cli *cli, const struct an_design_stream *s,
                       const struct candidate *best)
{
    const char *period = s->pace.by_day ? "day" : "shift";
    const double after = an_pace_hours(&s->pace, best->at_shift);

    an_text_addf(&cli->out,
                 "\nin the line description, station %s, characteristic %s:\n"
                 "    weighted: %s\n"
                 "one false alarm in %.3g %ss, the shift caught after %.3g h on average; then "
                 "'andamento init', propose and lock again\n",
                 s->stream.station, s->stream.characteristic, best->written,
                 best->at[0] / s->pace.samples_per_shift, period, after);
}

static void say_basis(struct an_cli *cli, const struct an_design_stream *s,
                      const struct an_design_wish *wish)
{
    const char *unit = s->characteristic->unit ? s->characteristic->unit : "";
    const char *period = s->pace.by_day ? "day" : "shift";

    an_text_addf(&cli->out, "\nshift of %.4g sigma = %.4g %s (sigma %.4g, limits %lld, %s)",
                 wish->shift, wish->shift * s->limits.model.sigma_level, unit,
                 s->limits.model.sigma_level, (long long)s->limits.limits_id,
                 s->limits.state == AN_LIMITS_LOCKED ? "locked" : "only proposed");
    an_text_addf(&cli->out,
                 "; %.3g samples a %s, %.0f %ss a week: one false alarm in %.4g samples is %.2g a "
                 "week\n",
                 s->pace.samples_per_shift, period, s->shifts_a_week, period, wish->between,
                 s->pace.samples_per_shift * s->shifts_a_week / wish->between);
    an_text_add(&cli->out,
                "level panel, shift there from the first sample on; independent normal points, "
                "limits exactly known\n");
    if (an_cli_limits_remember(&s->limits)) {
        an_text_addf(&cli->out,
                     "its samples are not independent (lag-1 correlation %.2f, luck stays within "
                     "+-%.2f): false alarms will come %s often than told here; 'family: "
                     "residuals' first\n",
                     s->limits.lag1, s->limits.lag1_bound, s->limits.lag1 > 0 ? "more" : "less");
    }
}

static void tell_stream(struct an_cli *cli, const struct candidate all[CANDIDATES],
                        const struct an_design_stream *s, const struct an_design_wish *wish)
{
    const char *const titles[] = {"chart",
                                  "weighted",
                                  "false alarm every",
                                  s->pace.by_day ? "in days" : "in shifts",
                                  "shift caught after",
                                  "in hours"};
    struct an_cli_table table = {
        .titles = titles, .columns = sizeof titles / sizeof *titles, .right = 0x3CU};
    for (size_t i = 0; i < CANDIDATES; i++) {
        const struct candidate *c = &all[i == 0 ? NOW : i - 1]; /* the present one first */
        an_cli_cell(&table, c->chart);
        an_cli_cell(&table, c->written);
        an_cli_cellf(&table, "%.4g", c->at[0]);
        an_cli_cellf(&table, "%.3g", c->at[0] / s->pace.samples_per_shift);
        an_cli_cellf(&table, "%.4g", c->at_shift);
        an_cli_cellf(&table, "%.3g", an_pace_hours(&s->pace, c->at_shift));
    }
    an_cli_table_print(cli, &table);
    an_text_free(&table.cells);
    if (cli->format == AN_FORMAT_TABLE) {
        say_basis(cli, s, wish);
        say_advice(cli, s, soonest(all));
    }
}

static enum an_exit run_design(struct an_cli *cli)
{
    struct candidate all[CANDIDATES] = {{0}};
    struct an_design_stream stream;
    struct an_design_wish wish;
    enum an_status st = an_design_stream_read(cli, &stream);
    st = st ? st : an_design_wish_read(cli, &stream, &wish);
    st = st ? st : fill(cli, wish.shift, wish.between, all);
    if (!st && stream.given) {
        st = present(cli, &stream.limits, wish.shift, &all[NOW]);
        st = st ? an_fail(&cli->err, st, "run lengths of the present chart of %s: %s",
                          stream.stream.name, an_status_name(st))
                : AN_OK;
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        tell_json(cli, all, &stream, &wish);
    } else if (stream.given) {
        tell_stream(cli, all, &stream, &wish);
    } else {
        tell_table(cli, all, wish.shift);
    }
    return AN_EXIT_DONE;
}

static const struct an_option design_options[] = {
    {"shift", 0, "SIZE",
     "the shift worth catching: in sigmas of the plotted points, or of a stream in a unit, as in "
     "'0.8 um' (required)"},
    {"between", 0, "SAMPLES", "samples between false alarms that can be borne (else 370.4)"},
    {"false-alarms-per-shift", 0, "N", "false alarms that can be borne in a shift of the stream"},
    {"false-alarms-per-week", 0, "N", "false alarms that can be borne in a week of the stream"},
    AN_OPTION_END,
};

const struct an_command an_command_limits_design = {
    .name = "limits design",
    .operands = "[STREAM]",
    .summary = "which chart with memory finds a shift soonest, for the false alarms one can bear",
    .example = "andamento limits design transfer.dx@head=H1 --shift '0.2 um' "
               "--false-alarms-per-week 0.5",
    .more =
        "The parameters are those of lowest delay at the shift, by exact run lengths; the\n"
        "column 'weighted' is what the line description takes. With a stream: sigma and sample\n"
        "size are those of its locked limits (else of its newest proposal), run lengths are told in\n"
        "time at its pace of the last fortnight, beside those of its present chart. Without one,\n"
        "no store is needed: andamento limits design --shift 0.75 --between 500.\n",
    .options = design_options,
    .operands_most = 1,
    .run = run_design,
};
