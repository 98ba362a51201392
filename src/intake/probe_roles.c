/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What each column is for: time, serial, tool, count, reading, place. Responsible for telling it
 * from names and content together. Must never give a role to a column on its name alone when its
 * content speaks against it, nor make a reading of whole numbers that nothing calls one.
 */
#include "intake/probe_inner.h"

#include <regex.h>
#include <stdlib.h>
#include <string.h>

static const char serial_words[] = "id serial sn barcode tile wafer carrier panel wall lot batch "
                                   "part board unit item epi reel tray donor paste module snr "
                                   "seriennummer los charge";
static const char not_item_words[] = "lot batch paste epi reel spare los charge run parent";
static const char gauge_words[] = "gauge gage meter prober camera sensor instrument messmittel";
static const char operator_words[] = "operator op user worker bediener inspector badge";
static const char tool_words[] = "tool head machine press robot nozzle equipment chamber oven "
                                 "maschine station bench cell stamp";
static const char attempt_words[] = "attempt try retry trial versuch repeat";
static const char sequence_words[] = "rec record seq sequence row_no line lfd nr no number idx "
                                     "index counter id shot";
static const char place_words[] = "row col column site pos position point zone trace key x y px "
                                  "zeile spalte ort place slot cell pixel";
static const char count_words[] =
    "count cnt missing defect defects fail fails failed opens open "
    "shorts short bad reject rejects dark tilted duplicate scrap dead "
    "error errors ng faults fehler anzahl particles";
static const char whole_words[] = "placed inspected total tested checked opportunities sum all "
                                  "gesamt inspiziert sampled attempts emitters traces";
static const char outcome_words[] = "result verdict outcome pass judgement judgment ok passed "
                                    "ergebnis decision disposition";
static const char remark_words[] = "cause state status method mode comment remark note reason text "
                                   "purpose recipe program version name";
static const char split_words[] = "colour color side edge axis channel lane type model variant "
                                  "product farbe seite";

static bool all_whole(const struct an_probe_column *c)
{
    return c->numbers > 0 && c->whole == c->numbers && c->texts * 10 <= c->numbers;
}

static bool is_numeric(const struct an_probe_column *c)
{
    return c->numbers > 0 && c->numbers >= c->texts;
}

static double serial_share(const struct an_probe_column *c)
{
    const size_t words = an_names_count(c->words);
    uint64_t good = 0;
    uint64_t all = 0;
    for (size_t w = 0; w < words; w++) {
        all += c->of_word[w].count;
        good += an_probe_serial_like(an_names_at(c->words, w)) ? c->of_word[w].count : 0;
    }
    return all ? (double)good / (double)all : 0;
}

static bool has_word(const struct an_probe_column *c, const char *words)
{
    const size_t count = an_names_count(c->words);
    for (size_t w = 0; w < count && w < 64; w++) {
        const char *text = (const char *)an_names_at(c->words, w).at;
        if (an_probe_name_has(text, words)) {
            return true;
        }
    }
    return false;
}

/* ---- kinds of the description given ----------------------------------------------------------- */
static bool fits_kind(const struct an_item_kind *kind, const struct an_probe_column *c)
{
    regex_t regex;
    char whole[300];
    uint64_t good = 0;
    uint64_t all = 0;

    if (!kind->id_pattern || strlen(kind->id_pattern) > 280) {
        return false;
    }
    struct an_text pattern = {0};
    an_text_addf(&pattern, "^(%s)$", kind->id_pattern);
    const bool fits = pattern.length < sizeof whole && !pattern.failed;
    if (fits) {
        memcpy(whole, pattern.at, pattern.length + 1);
    }
    an_text_free(&pattern);
    if (!fits ||
        regcomp(&regex, whole, REG_EXTENDED | REG_NOSUB | (kind->fold_case ? REG_ICASE : 0))) {
        return false;
    }
    const size_t words = an_names_count(c->words);
    for (size_t w = 0; w < words; w++) {
        const uint64_t n = c->of_word[w].count;
        all += n;
        good += regexec(&regex, (const char *)an_names_at(c->words, w).at, 0, NULL, 0) == 0 ? n : 0;
    }
    regfree(&regex);
    return all > 0 && good * 10 >= all * 9;
}

static void find_kind(struct an_probe_state *probe, struct an_probe_column *c)
{
    const struct an_line *line = probe->options->line;
    c->kind = AN_NONE;
    for (size_t k = 0; line && k < line->kind_count && !is_numeric(c); k++) {
        if (c->kind == AN_NONE && an_names_count(c->words) && fits_kind(&line->kinds[k], c)) {
            c->kind = k;
        }
    }
}

/* ---- one column ------------------------------------------------------------------------------- */
static enum an_probe_role text_role(const struct an_probe_column *c)
{
    const size_t words = an_names_count(c->words);
    const bool serials = serial_share(c) >= 0.9;
    const bool few = !c->more_words && words <= 12 && c->rows - c->empty >= 3 * words;

    if (c->kind != AN_NONE) {
        return AN_PROBE_SERIAL;
    }
    if (words <= 50 && an_probe_name_has(c->name, gauge_words)) {
        return AN_PROBE_GAUGE;
    }
    if (words <= 200 && an_probe_name_has(c->name, operator_words)) {
        return AN_PROBE_OPERATOR;
    }
    if (few && an_probe_name_has(c->name, outcome_words)) {
        return AN_PROBE_OUTCOME;
    }
    if (few && has_word(c, "prod production") &&
        an_probe_name_has(c->name, "state mode purpose status art")) {
        return AN_PROBE_PURPOSE;
    }
    if (words <= 50 && an_probe_name_has(c->name, tool_words) &&
        !an_probe_name_has(c->name, "id stamp")) {
        return AN_PROBE_TOOL;
    }
    if (serials && (!few || an_probe_name_has(c->name, serial_words))) {
        return AN_PROBE_SERIAL;
    }
    return few ? AN_PROBE_WORDS_FEW : AN_PROBE_NO_ROLE;
}

static enum an_probe_role number_role(struct an_probe_state *probe, const struct an_probe_column *c)
{
    const bool whole = all_whole(c);
    const char *doubt = NULL;
    const bool unit = c->unit || an_probe_unit_of_name(probe->arena, c->name, &doubt);
    const bool by_one = c->steps >= 5 && c->up_one * 100 >= c->steps * 95 && c->down == 0;
    const size_t words = an_names_count(c->words);

    if (whole && !unit &&
        (c->leading_zero * 4 > c->numbers ||
         an_probe_name_has(c->name, "serial sn barcode snr seriennummer") ||
         (an_probe_name_has(c->name, "tile wafer panel wall id") && !by_one &&
          !an_probe_name_has(c->name, place_words)))) {
        return AN_PROBE_SERIAL;
    }
    if (whole && an_probe_name_has(c->name, attempt_words) && c->least >= 0 && c->most < 100) {
        return AN_PROBE_ATTEMPT;
    }
    if (whole && by_one && an_probe_name_has(c->name, sequence_words)) {
        return AN_PROBE_SEQUENCE;
    }
    if (an_probe_name_has(c->name, place_words) && words <= 1000 &&
        (whole || words * 4 < c->numbers)) {
        return AN_PROBE_PLACE;
    }
    if (whole && c->least >= 0 && !unit && an_probe_name_has(c->name, whole_words)) {
        return AN_PROBE_WHOLE;
    }
    if (whole && c->least >= 0 && !unit && an_probe_name_has(c->name, count_words)) {
        return AN_PROBE_COUNT;
    }
    return c->decimals > 0 || unit ? AN_PROBE_MEASURED : AN_PROBE_NO_ROLE;
}

/* ---- the time column -------------------------------------------------------------------------- */
static double time_worth(const struct an_probe_column *c, size_t index)
{
    const struct an_probe_time *t = &c->time;
    if (!c->name[0] || !t->pattern || t->hits * 10 < t->tried * (t->other ? 4 : 8)) {
        return 0;
    }
    double worth = 1 + (t->date_only ? 0 : 2) - (t->other ? 0.5 : 0) - (double)index * 1e-4;
    worth += an_probe_name_has(c->name, "at measured tested done ended time zeit") ? 0.5 : 0;
    worth -= an_probe_name_has(c->name, "export exported printed started start due cal calibrated")
                 ? 1
                 : 0;
    return worth > 0 ? worth : 0.01;
}

static void choose_time(struct an_probe_state *probe)
{
    double best = 0;
    struct an_probe_column *chosen = NULL;
    for (size_t i = 0; i < probe->column_count; i++) {
        const double worth = time_worth(&probe->columns[i], i);
        if (worth > best) {
            best = worth;
            chosen = &probe->columns[i];
        }
    }
    if (chosen) {
        chosen->role = AN_PROBE_TIME;
    }
}

static bool is_time(const struct an_probe_column *c)
{
    return c->time.pattern || c->time.milliseconds || c->time.clock_only;
}

/* ---- the item --------------------------------------------------------------------------------- */
static double item_worth(struct an_probe_state *probe, const struct an_probe_column *c,
                         size_t index)
{
    const char *kind = probe->options->kind;
    const struct an_line *line = probe->options->line;
    double worth = 2 - (double)index * 0.01;

    if (kind && line && c->kind != AN_NONE) {
        worth += strcmp(line->kinds[c->kind].name, kind) == 0 ? 10 : -1;
    }
    if (kind && strlen(kind) < 33) {
        worth += an_probe_name_has(c->name, kind) ? 5 : 0;
    }
    worth -= an_probe_name_has(c->name, not_item_words) ? 1 : 0;
    worth -= c->empty * 10 > c->rows ? 1 : 0;
    return worth;
}

static void choose_item(struct an_probe_state *probe)
{
    double best = -1e9;
    struct an_probe_column *chosen = NULL;
    for (size_t i = 0; i < probe->column_count; i++) {
        struct an_probe_column *c = &probe->columns[i];
        const double worth = c->role == AN_PROBE_SERIAL ? item_worth(probe, c, i) : -1e9;
        if (worth > best) {
            best = worth;
            chosen = c;
        }
    }
    if (chosen) {
        chosen->role = AN_PROBE_ITEM;
        probe->item_name = chosen->name;
    }
    for (size_t i = 0; i < probe->column_count; i++) {
        if (probe->columns[i].role == AN_PROBE_SERIAL &&
            !an_probe_name_has(probe->columns[i].name, tool_words)) {
            probe->columns[i].role = AN_PROBE_LINK;
        }
    }
}

/* ---- splits and grid --------------------------------------------------------------------------- */
static void choose_splits(struct an_probe_state *probe)
{
    double streams = 1;
    for (size_t i = 0; i < probe->column_count; i++) {
        struct an_probe_column *c = &probe->columns[i];
        const size_t words = an_names_count(c->words);
        const bool named = an_probe_name_has(c->name, split_words);
        if (c->role != AN_PROBE_WORDS_FEW || words < 2 || words > 8 || c->empty * 50 > c->rows ||
            an_probe_name_has(c->name, remark_words) || (!named && !c->varies_in_item)) {
            continue;
        }
        if (streams * (double)words <= 24) {
            streams *= (double)words;
            c->role = AN_PROBE_SPLIT;
        }
    }
}

static void choose_grid(struct an_probe_state *probe)
{
    static const char *const pairs[][2] = {{"row zeile", "col column spalte"}, {"y", "x"}};
    probe->grid_row = probe->grid_column = AN_NONE;
    for (size_t k = 0; k < 2 && probe->grid_row == AN_NONE; k++) {
        size_t found[2] = {AN_NONE, AN_NONE};
        for (size_t i = 0; i < probe->column_count; i++) {
            for (size_t side = 0; side < 2; side++) {
                if (probe->columns[i].role == AN_PROBE_PLACE && found[side] == AN_NONE &&
                    an_probe_name_has(probe->columns[i].name, pairs[k][side])) {
                    found[side] = i;
                }
            }
        }
        if (found[0] != AN_NONE && found[1] != AN_NONE) {
            probe->grid_row = found[0];
            probe->grid_column = found[1];
        }
    }
}

void an_probe_roles_find(struct an_probe_state *probe)
{
    for (size_t i = 0; i < probe->column_count; i++) {
        find_kind(probe, &probe->columns[i]);
    }
    choose_time(probe);
    for (size_t i = 0; i < probe->column_count; i++) {
        struct an_probe_column *c = &probe->columns[i];
        if (c->role == AN_PROBE_TIME || is_time(c) || !c->name[0]) {
            continue;
        }
        c->role = c->empty == c->rows ? AN_PROBE_EMPTY
                  : is_numeric(c)     ? number_role(probe, c)
                                      : text_role(c);
    }
    choose_item(probe);
    an_probe_prelude_find(probe);
    an_probe_items_count(probe);
    choose_splits(probe);
    choose_grid(probe);
    an_probe_groups_count(probe);
}
