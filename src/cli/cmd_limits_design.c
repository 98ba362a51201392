/* SPDX-License-Identifier: GPL-3.0-or-later */
/* limits design: which chart finds a shift soonest, for the false alarms one can bear. Needs no store:
 * everything comes from exact run lengths of independent normal points with known limits. */
#include "andamento/base/number.h"
#include "andamento/stat/design.h"
#include "cli/commands.h"

#include <math.h>

/* Points between false alarms of single limits at 3 sigma. */
#define USUAL_BETWEEN 370.4

static const double shifts[] = {0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0};
enum { SHIFTS = sizeof shifts / sizeof *shifts };

struct candidate {
    const char *chart, *written; /* written: as the line description says it */
    double at_shift, at[SHIFTS];
};

static enum an_status read_number(struct an_cli *cli, const char *option, double least, double most,
                                  double *value)
{
    const char *text = an_option_value(&cli->options, option);
    struct an_decimal number;
    if (!text) {
        return AN_OK;
    }
    if (an_decimal_parse(an_bytes_of(text), '.', 0, &number) || number.value < least ||
        number.value > most) {
        return an_fail(&cli->err, AN_BAD_USAGE, "--%s wants a number from %g to %g, not '%s'",
                       option, least, most, text);
    }
    *value = number.value;
    return AN_OK;
}

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

enum { CANDIDATES = 6 };

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

static void tell_json(struct an_cli *cli, const struct candidate all[CANDIDATES], double shift,
                      double between)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.design.1");
    an_json_object(&json);
    an_json_put_number(&json, "shift_sigmas", shift);
    an_json_put_number(&json, "samples_between_false_alarms", between);
    an_json_key(&json, "charts");
    an_json_array(&json);
    for (size_t i = 0; i < CANDIDATES; i++) {
        an_json_object(&json);
        an_json_put_string(&json, "chart", all[i].chart);
        an_json_put_string(&json, "weighted", all[i].written[0] == '{' ? all[i].written : NULL);
        an_json_put_number(&json, "delay_at_shift", all[i].at_shift);
        an_json_key(&json, "average_run_lengths");
        an_json_array(&json);
        for (size_t s = 0; s < SHIFTS; s++) {
            an_json_object(&json);
            an_json_put_number(&json, "shift_sigmas", shifts[s]);
            an_json_put_number(&json, "samples", all[i].at[s]);
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
    for (size_t i = 0; i < CANDIDATES; i++) {
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

static enum an_exit run_design(struct an_cli *cli)
{
    struct candidate all[CANDIDATES] = {{0}};
    double shift = NAN, between = USUAL_BETWEEN;
    enum an_status st = read_number(cli, "shift", 0.1, 6.0, &shift);
    st = st ? st : read_number(cli, "between", 5.0, 1e6, &between);
    if (!st && isnan(shift)) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "give the shift worth catching, in sigmas of the plotted points: --shift 1");
    }
    st = st ? st : fill(cli, shift, between, all);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        tell_json(cli, all, shift, between);
    } else {
        tell_table(cli, all, shift);
    }
    return AN_EXIT_DONE;
}

static const struct an_option design_options[] = {
    {"shift", 0, "SIGMAS", "the shift worth catching, in sigmas of the plotted points (required)"},
    {"between", 0, "SAMPLES", "samples between false alarms that can be borne (else 370.4)"},
    AN_OPTION_END,
};

const struct an_command an_command_limits_design = {
    .name = "limits design",
    .operands = "",
    .summary = "which chart with memory finds a shift soonest, for the false alarms one can bear",
    .example = "andamento limits design --shift 0.75 --between 500",
    .more = "The parameters are those of lowest delay at the shift, by exact run lengths; the\n"
            "column 'weighted' is what the line description takes.\n",
    .options = design_options,
    .operands_most = 0,
    .run = run_design,
};
