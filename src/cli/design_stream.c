/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stream to design a chart for, and what is wished of it, read from the command line. */
#include "cli/design_stream.h"

#include "judge/delay.h"
#include "judge/scale.h"
#include "line/unit.h"

#include <math.h>
#include <string.h>

/* Samples between false alarms of single limits at 3 sigma. */
#define USUAL_BETWEEN 370.4
#define BETWEEN_LEAST 5.0
#define BETWEEN_MOST 1e6
#define SHIFT_LEAST 0.1
#define SHIFT_MOST 6.0

static enum an_status find_limits(struct an_cli *cli, struct an_design_stream *s)
{
    struct an_limits *limits = NULL;
    size_t revisions = 0;
    const enum an_status st =
        an_limits_all(cli->store, s->stream.stream_id, cli->arena, &limits, &revisions, &cli->err);

    if (st) {
        return st;
    }
    if (!revisions) {
        return an_fail(&cli->err, AN_TOO_FEW,
                       "%s has no limits, so no sigma to design with: propose them first by "
                       "'andamento limits propose'",
                       s->stream.name);
    }
    size_t at = revisions;
    while (at > 0 && limits[at - 1].state != AN_LIMITS_LOCKED) {
        at--;
    }
    s->limits = limits[at > 0 ? at - 1 : revisions - 1];
    const char *why_not = an_delay_why_not(&s->limits);
    return why_not ? an_fail(&cli->err, AN_DOMAIN, "no chart can be designed for %s, as %s",
                             s->stream.name, why_not)
                   : AN_OK;
}

enum an_status an_design_stream_read(struct an_cli *cli, struct an_design_stream *s)
{
    struct an_stream *streams = NULL;
    const struct an_station *station = NULL;
    const char *purpose = NULL;
    size_t count = 0;

    *s = (struct an_design_stream){.shift_in_unit = (double)NAN};
    if (!cli->options.operand_count) {
        return AN_OK;
    }
    enum an_status st = an_cli_open(cli, AN_STORE_READ, true);
    st = st ? st : an_cli_streams(cli, false, &streams, &count);
    if (!st && count != 1) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "'%s' names %zu streams; a chart is designed for one: name it in full",
                     cli->options.operands[0], count);
    }
    if (st) {
        return st;
    }
    s->given = true;
    s->stream = streams[0];
    s->shifts_a_week = 7.0 * (cli->line->shift_count ? (double)cli->line->shift_count : 1.0);
    if (!an_judge_resolve(cli->line, &s->stream, &station, &s->characteristic, &purpose,
                          cli->arena)) {
        return an_fail(&cli->err, AN_BAD_CONFIG, "stream %s is no longer in the line description",
                       s->stream.name);
    }
    st = find_limits(cli, s);
    return st ? st : an_pace_of(cli->store, cli->line, s->stream.stream_id, &s->pace, &cli->err);
}

/* ---- what is wished ---- */

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

static enum an_status refuse_shift(struct an_cli *cli, const char *text)
{
    return an_fail(&cli->err, AN_BAD_USAGE,
                   "--shift wants sigmas of the plotted points from %g to %g, such as 1, or with a "
                   "stream a size in its unit, such as '0.8 um'; not '%s'",
                   SHIFT_LEAST, SHIFT_MOST, text);
}

/* A size in the stream's unit, or one that converts into it, becomes sigmas. */
static enum an_status from_unit(struct an_cli *cli, struct an_design_stream *s, double size,
                                struct an_bytes unit, double *sigmas)
{
    const struct an_bytes own = an_bytes_of(s->characteristic->unit ? s->characteristic->unit : "");
    double factor = 1.0, offset = 0.0; /* a difference has no offset */

    if (an_is_scaled(&s->limits)) {
        return an_fail(
            &cli->err, AN_BAD_USAGE,
            "%s is charted on a scale of its own, on which a size in %s is no fixed step: "
            "give --shift in sigmas",
            s->stream.name, s->characteristic->unit ? s->characteristic->unit : "its unit");
    }
    if (!an_unit_same(unit, own) && an_unit_factor(unit, own, &factor, &offset)) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "--shift is in '%.*s', which does not convert into "
                       "%s, the unit of %s",
                       (int)(unit.length < 40 ? unit.length : 40), (const char *)unit.at,
                       own.length ? s->characteristic->unit : "a plain number", s->stream.name);
    }
    s->shift_in_unit = fabs(size * factor);
    *sigmas = s->shift_in_unit / s->limits.model.sigma_level;
    if (*sigmas < SHIFT_LEAST || *sigmas > SHIFT_MOST) {
        return an_fail(
            &cli->err, AN_BAD_USAGE,
            "a shift of %.4g %s is %.3g sigmas of the plotted points (sigma %.4g): charts "
            "are designed for %g to %g sigmas%s",
            s->shift_in_unit, s->characteristic->unit ? s->characteristic->unit : "", *sigmas,
            s->limits.model.sigma_level, SHIFT_LEAST, SHIFT_MOST,
            *sigmas > SHIFT_MOST ? "; every chart sees a larger one at once" : "");
    }
    return AN_OK;
}

static enum an_status read_shift(struct an_cli *cli, struct an_design_stream *s, double *sigmas)
{
    const char *text = an_option_value(&cli->options, "shift");
    struct an_decimal number;

    if (!text) {
        return an_fail(
            &cli->err, AN_BAD_USAGE,
            "give the shift worth catching, in sigmas of the plotted points: --shift 1%s",
            s->given ? ", or in the stream's unit" : "");
    }
    const struct an_bytes all = an_bytes_trim(an_bytes_of(text));
    const size_t digits = strspn((const char *)all.at, "+-.0123456789");
    const struct an_bytes unit =
        an_bytes_trim((struct an_bytes){all.at + digits, all.length - digits});
    if (an_decimal_parse((struct an_bytes){all.at, digits}, '.', 0, &number)) {
        return refuse_shift(cli, text);
    }
    if (unit.length && s->given) {
        return from_unit(cli, s, number.value, unit, sigmas);
    }
    *sigmas = number.value;
    return unit.length || number.value < SHIFT_LEAST || number.value > SHIFT_MOST
               ? refuse_shift(cli, text)
               : AN_OK;
}

/* So many false alarms a week or a shift, as samples between them. */
static enum an_status from_pace(struct an_cli *cli, const struct an_design_stream *s,
                                const char *option, double shifts, double *between)
{
    double wanted = NAN;
    const enum an_status st = read_number(cli, option, 1e-6, 1e6, &wanted);

    if (st || isnan(wanted)) {
        return st;
    }
    if (!s->given) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "--%s wants a stream, whose pace it is; or give --between SAMPLES", option);
    }
    *between = s->pace.samples_per_shift * shifts / wanted;
    if (!(*between >= BETWEEN_LEAST && *between <= BETWEEN_MOST)) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "--%s %g is one false alarm in %.3g samples at the pace of %s (%.3g a %s): "
                       "charts are designed for %g to %g samples",
                       option, wanted, *between, s->stream.name, s->pace.samples_per_shift,
                       s->pace.by_day ? "day" : "shift", BETWEEN_LEAST, BETWEEN_MOST);
    }
    return AN_OK;
}

enum an_status an_design_wish_read(struct an_cli *cli, struct an_design_stream *s,
                                   struct an_design_wish *wish)
{
    static const char *const ways[] = {"between", "false-alarms-per-shift",
                                       "false-alarms-per-week"};
    size_t given = 0;

    *wish = (struct an_design_wish){(double)NAN, USUAL_BETWEEN};
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
        given += an_option_value(&cli->options, ways[i]) != NULL;
    }
    if (given > 1) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "give one of --between, --false-alarms-per-shift and "
                       "--false-alarms-per-week: each says how many false alarms can be borne");
    }
    enum an_status st = read_shift(cli, s, &wish->shift);
    st = st ? st : read_number(cli, "between", BETWEEN_LEAST, BETWEEN_MOST, &wish->between);
    st = st ? st : from_pace(cli, s, "false-alarms-per-shift", 1.0, &wish->between);
    return st ? st : from_pace(cli, s, "false-alarms-per-week", s->shifts_a_week, &wish->between);
}
