/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A signal as a person would tell it: what moved, how far, since when, by which rule, on which
 * items, and what came with it. Must never say more than the story holds: no cause is named.
 */
#include "andamento/base/text.h"
#include "judge/joint_words.h"
#include "judge/scale.h"
#include "judge/scatter.h"
#include "judge/shown.h"
#include "judge/story.h"

#include <math.h>
#include <string.h>

static const char *const months[] = {"January",   "February", "March",    "April",
                                     "May",       "June",     "July",     "August",
                                     "September", "October",  "November", "December"};

static void add_clock(struct an_text *text, const struct an_civil *c)
{
    an_text_addf(text, "%02d:%02d", c->hour, c->minute);
}

static void add_time(struct an_text *text, const struct an_civil *c)
{
    add_clock(text, c);
    an_text_addf(text, " on %d %s", c->day, months[c->month - 1]);
}

static bool same_day(const struct an_civil *a, const struct an_civil *b)
{
    return a->year == b->year && a->month == b->month && a->day == b->day;
}

/* " (between 01:20 and 03:40)"; nothing when both show the same minute. */
static void add_interval(struct an_text *text, const struct an_story *story)
{
    const struct an_signal *s = story->signal;
    const struct an_civil from = an_zone_civil(story->line->zone, s->onset_earliest_us);
    const struct an_civil until = an_zone_civil(story->line->zone, s->onset_latest_us);
    const struct an_civil onset = an_zone_civil(story->line->zone, s->onset_us);

    if (same_day(&from, &until) && from.hour == until.hour && from.minute == until.minute) {
        return;
    }
    an_text_add(text, " (between ");
    if (same_day(&from, &until) && same_day(&from, &onset)) {
        add_clock(text, &from);
        an_text_add(text, " and ");
        add_clock(text, &until);
    } else {
        add_time(text, &from);
        an_text_add(text, " and ");
        add_time(text, &until);
    }
    an_text_add(text, ")");
}

/* "since 02:10 on 4 March (between ...)", or "from ... to ..." when it is over. */
static void add_until(struct an_text *text, const struct an_story *story,
                      const struct an_civil *begin)
{
    const struct an_civil last =
        an_zone_civil(story->line->zone, story->view.points[story->last].sample.at_us);

    an_text_add(text, " to ");
    if (same_day(begin, &last)) {
        add_clock(text, &last);
    } else {
        add_time(text, &last);
    }
}

static void add_since(struct an_text *text, const struct an_story *story)
{
    const struct an_signal *s = story->signal;
    const struct an_civil onset = an_zone_civil(story->line->zone, s->onset_us);

    an_text_add(text, s->ongoing ? "since " : "from ");
    add_time(text, &onset);
    add_interval(text, story);
    if (!s->ongoing) {
        add_until(text, story, &onset);
    }
}

static void add_plural(struct an_text *text, const char *word)
{
    const size_t n = strlen(word);
    const char *last_two = n > 1 ? word + n - 2 : "  ";
    const char before = last_two[0];
    const char last = last_two[1];

    if (last == 'y' && !strchr("aeiou", before)) {
        an_text_add_bytes(text, (struct an_bytes){(const unsigned char *)word, n - 1});
        an_text_add(text, "ies");
    } else if (last == 's' || last == 'x' || (last == 'h' && (before == 'c' || before == 's'))) {
        an_text_addf(text, "%ses", word);
    } else {
        an_text_addf(text, "%ss", word);
    }
}

/* A title opens a sentence with a capital, unless it is a symbol ("dx", "u'v'", "pH"). */
static void add_opening(struct an_text *text, const char *title)
{
    size_t letters = 0;

    while (title[letters] >= 'a' && title[letters] <= 'z') {
        letters++;
    }
    const char end = title[letters];
    const bool word = letters >= 4 && (end == '\0' || end == ' ' || end == ',' || end == '-');
    if (word) {
        an_text_add_char(text, (char)(title[0] - 'a' + 'A'));
        an_text_add(text, title + 1);
    } else {
        an_text_add(text, title);
    }
}

static const char *item_title(const struct an_story *story)
{
    const struct an_item_kind *kind = &story->line->kinds[story->signal->station->item_kind];

    return kind->title ? kind->title : kind->name;
}

static const char *article(const char *word)
{
    return word[0] && strchr("aeiouAEIOU", word[0]) ? "an" : "a";
}

/* "colour R, head H2, reference items" */
static void add_part_of_line(struct an_text *text, const struct an_story *story)
{
    for (size_t i = 0; i < story->split.count; i++) {
        an_text_addf(text, "%s%s %s", i ? ", " : "", story->split.parts[i].column,
                     story->split.parts[i].value);
    }
    if (story->purpose) {
        an_text_addf(text, "%s%s items", story->split.count ? ", " : "", story->purpose);
    }
}

/* "The residual of UV dose (its departure from what the last value leads to expect)" */
static void add_residual(struct an_text *text, const struct an_story *story, const char *title,
                         bool in_full)
{
    an_text_addf(text, "The residual of %s", title);
    if (story->split.count > 0 || story->purpose) {
        an_text_add(text, " of ");
        add_part_of_line(text, story);
    }
    an_text_add(text, in_full ? AN_RESIDUAL_ASIDE : "");
}

/* "Placement offset x of colour R, head H2"; "The spread of luminance (colour R) within a tile" */
static void add_subject(struct an_text *text, const struct an_story *story, bool in_full)
{
    const struct an_signal *s = story->signal;
    const char *title =
        s->characteristic->title ? s->characteristic->title : s->characteristic->name;
    const bool parted = story->split.count > 0 || story->purpose;
    const bool ranges = story->limits->model.family == AN_INDIVIDUALS;

    if (s->record.panel == 0 && story->limits->model.family == AN_RESIDUALS) {
        add_residual(text, story, title, in_full);
        return;
    }
    if (s->record.panel == 0) {
        add_opening(text, title);
        an_text_add(text, parted ? " of " : "");
        add_part_of_line(text, story);
        return;
    }
    an_text_addf(text, "The %s of %s", ranges ? "step from one sample to the next" : "spread",
                 title);
    if (parted) {
        an_text_add(text, " (");
        add_part_of_line(text, story);
        an_text_add(text, ")");
    }
    if (!ranges) {
        an_text_addf(text, " within %s %s", article(item_title(story)), item_title(story));
    }
}

static void add_number(struct an_text *text, double value)
{
    an_text_addf(text, "%.4g", value);
}

static void add_plain_unit(struct an_text *text, const struct an_story *story)
{
    const char *unit = an_shown_unit(story->signal->characteristic, story->arena);

    if (unit && unit[0]) {
        an_text_addf(text, "%s%s", strcmp(unit, "%") == 0 ? "" : " ", unit);
    }
}

/* "; 2.1 ohm where the centre is 1.5 ohm": what a size on a scale comes to. */
static void add_size_back(struct an_text *text, const struct an_story *story)
{
    const struct an_limits_scale *scale = story->view.on_scale;
    const struct an_signal *s = story->signal;

    if (!scale || s->record.panel || s->record.side == 0) {
        return;
    }
    const double centre = story->limits->model.centre;
    const double from = an_scale_back(scale, centre);
    const double to = an_scale_back(scale, centre + s->size);
    if (isfinite(from) && isfinite(to)) {
        an_text_add(text, "; ");
        add_number(text, to);
        add_plain_unit(text, story);
        an_text_add(text, " where the centre is ");
        add_number(text, from);
        add_plain_unit(text, story);
    }
}

/* "0.8 um (2.6 sigma)" */
static void add_size(struct an_text *text, const struct an_story *story)
{
    const struct an_signal *s = story->signal;
    char number[40];

    an_text_add(text, an_shown_size(s->size, story->view.decimals, number));
    if (story->view.on_scale) {
        an_text_add(text, " on its scale");
    } else if (strcmp(story->view.unit, "%") == 0) { /* a difference, not a share of what was */
        an_text_add(text, " percentage points");
    } else if (story->view.unit[0]) {
        an_text_addf(text, " %s", story->view.unit);
    }
    if (strcmp(story->view.unit, "sigma") != 0) { /* else the size is told in sigmas already */
        an_text_addf(text, " (%.1f sigma", fabs(s->size_sigmas));
        add_size_back(text, story);
        an_text_add(text, ")");
    }
}

/* What the size is measured from. */
static const char *centre_words(const struct an_story *story)
{
    switch (story->limits->model.family) {
    case AN_WEAR:
        return "the line of its wear";
    case AN_SHORT_RUN:
        return "its product's target";
    default:
        return "the centre";
    }
}

static bool is_single(const struct an_story *story)
{
    const struct an_signal *s = story->signal;

    return s->record.rule == AN_RULE_BEYOND_LIMIT && story->first == story->last &&
           story->onset == story->last;
}

static void add_patterned(struct an_text *text, const struct an_story *story)
{
    const int rule = story->signal->record.rule;

    if (rule == AN_RULE_ALTERNATING) {
        an_text_addf(text, " %s up and down, as over-adjustment does, ",
                     story->signal->ongoing ? "alternates" : "alternated");
        add_since(text, story);
        an_text_add(text, ", in steps of ");
        add_size(text, story);
        an_text_add(text, " on average");
    } else if (rule == AN_RULE_HUGGING_CENTRE) {
        an_text_add(text, " stays closer to its centre than its limits let expect, ");
        add_since(text, story);
    } else {
        an_text_add(text, " keeps off its centre on both sides, as two mixed sources do, ");
        add_since(text, story);
    }
}

static void add_movement(struct an_text *text, const struct an_story *story)
{
    const struct an_signal *s = story->signal;
    const bool up = s->record.side > 0;
    char number[40];

    if (is_single(story)) {
        const struct an_civil at =
            an_zone_civil(story->line->zone, story->view.points[story->last].sample.at_us);
        an_text_add(text, " stood ");
        add_size(text, story);
        an_text_addf(text, " %s %s in one sample at ", up ? "above" : "below", centre_words(story));
        add_time(text, &at);
    } else if (s->has_change && s->change.kind == AN_CHANGE_RAMP) {
        an_text_addf(text, s->ongoing ? " has been %s " : " %s ",
                     s->ongoing ? (up ? "rising" : "falling")
                                : (up ? "rose steadily" : "fell steadily"));
        add_since(text, story);
        an_text_add(text, ", by ");
        add_size(text, story);
        an_text_add(text, s->ongoing ? " so far" : " in all");
        if (isfinite(s->per_day)) {
            an_text_addf(text, ", %s", an_shown_size(s->per_day, story->view.decimals, number));
            an_text_addf(text, "%s%s a day", story->view.unit[0] ? " " : "",
                         story->view.on_scale ? "on it" : story->view.unit);
        }
    } else if (s->has_change) {
        an_text_addf(text, " %s by ", up ? "rose" : "fell");
        add_size(text, story);
        an_text_add(text, " ");
        add_since(text, story);
    } else {
        an_text_add(text, " stood "); /* fits one thing and many: titles may be plural */
        add_size(text, story);
        an_text_addf(text, " %s %s ", up ? "above" : "below", centre_words(story));
        add_since(text, story);
    }
}

/* " held -0.2 ohm, which has no place on the scale of its chart, ln(value), in one sample at ..." */
static void add_off_scale(struct an_text *text, const struct an_story *story)
{
    const struct an_signal *s = story->signal;
    const struct an_sample *first = &story->view.points[story->first].sample;
    const char *words = an_scale_words(&story->limits->scale, story->arena);

    an_text_add(text, " held ");
    add_number(text, s->record.side > 0 ? first->max : first->min);
    add_plain_unit(text, story);
    an_text_addf(text, ", which has no place on the scale of its chart, %s,", words ? words : "");
    if (s->hit_count > 1) {
        an_text_addf(text, " the first of %zu samples with such values, ", s->hit_count);
        add_since(text, story);
    } else {
        const struct an_civil at = an_zone_civil(story->line->zone, first->at_us);
        an_text_add(text, " in one sample at ");
        add_time(text, &at);
    }
}

/* One of parallel streams stands apart from its own level. */
static void add_member(struct an_text *text, const struct an_story *story)
{
    an_words_member(text, story);
    if (is_single(story)) {
        const struct an_civil at =
            an_zone_civil(story->line->zone, story->view.points[story->last].sample.at_us);
        an_text_add(text, " in one sample at ");
        add_time(text, &at);
    } else {
        an_text_add(text, " ");
        add_since(text, story);
    }
}

/* Two variables have left their usual region; how far says the distance, which way the parts. */
static void add_distance(struct an_text *text, const struct an_story *story)
{
    if (is_single(story)) {
        const struct an_civil at =
            an_zone_civil(story->line->zone, story->view.points[story->last].sample.at_us);
        an_text_add(text, " left its usual region in one sample at ");
        add_time(text, &at);
    } else {
        an_text_add(text, " left its usual region ");
        add_since(text, story);
    }
    an_words_joint(text, story);
}

/* Some of its points go up and down by turns: a story of its own, whatever the first hit was. */
static bool alternates(const struct an_story *story)
{
    const struct an_signal *s = story->signal;

    for (size_t h = 0; h < s->hit_count; h++) {
        if (!s->hits[h].withdrawn && s->hits[h].rule == AN_RULE_ALTERNATING) {
            return true;
        }
    }
    return false;
}

/* No level moved, so neither a size nor a fitted onset is told: the first window's start is. */
static void add_alternation(struct an_text *text, const struct an_story *story)
{
    const struct an_civil first = an_zone_civil(story->line->zone, story->signal->record.first_us);

    if (story->signal->ongoing) {
        an_text_add(text, " alternates up and down, as over-adjustment does, since ");
        add_time(text, &first);
    } else {
        an_text_add(text, " alternated up and down, as over-adjustment does, from ");
        add_time(text, &first);
        add_until(text, story, &first);
    }
}

/* "9 points in a row above the centre, later beyond the upper limit" */
static void add_rules(struct an_text *text, const struct an_story *story)
{
    const struct an_signal *s = story->signal;
    unsigned told = 0;
    size_t rules = 0;
    char words[96];

    for (size_t h = 0; h < s->hit_count && rules < 3; h++) {
        const unsigned bit = 1U << (unsigned)s->hits[h].rule;
        if (s->hits[h].withdrawn || (told & bit)) {
            continue;
        }
        told |= bit;
        an_text_add(text, rules == 0 ? "" : rules == 1 ? ", later " : ", ");
        an_text_add(text, an_rule_words((enum an_rule)s->hits[h].rule, s->hits[h].side,
                                        &story->limits->rules, words));
        rules++;
    }
}

/* "; 212 tiles carry it, 31 of them are in walls" */
static void add_items(struct an_text *text, const struct an_story *story)
{
    const struct an_signal *s = story->signal;
    const bool one = s->item_count == 1;

    if (s->item_count == 0) {
        return;
    }
    an_text_addf(text, "; %s%zu ", s->items_at_most && !one ? "at most " : "", s->item_count);
    if (one) {
        an_text_add(text, item_title(story));
        an_text_addf(text, " carries it (%s)", s->first_serial ? s->first_serial : "no serial");
    } else {
        add_plural(text, item_title(story));
        an_text_add(text, " carry it");
    }
    if (!s->next_kind) {
        return;
    }
    if (s->product_in_next == 0) {
        an_text_addf(text, one ? ", not yet in %s %s" : ", none of them in %s %s yet",
                     article(s->next_kind), s->next_kind);
    } else if (one) {
        an_text_addf(text, ", and is in %s %s", article(s->next_kind), s->next_kind);
    } else if (s->product_in_next == s->item_count) {
        an_text_add(text, ", all of them in ");
        add_plural(text, s->next_kind);
    } else if (s->product_in_next == 1) {
        an_text_addf(text, ", 1 of them is in %s %s", article(s->next_kind), s->next_kind);
    } else {
        an_text_addf(text, ", %zu of them are in ", s->product_in_next);
        add_plural(text, s->next_kind);
    }
}

/* "The scatter of missing emitters (head H2) has grown: dispersion factor 2.1 in 40 samples from ... to
 * ..., 1.4 in the limits (p 0.0003)" */
static void add_scatter(struct an_text *text, const struct an_story *story)
{
    const struct an_signal *s = story->signal;
    const struct an_hit_record *hit = &s->hits[s->hit_count - 1];
    const bool parted = story->split.count > 0 || story->purpose;
    const bool more = hit->side > 0;
    const double p = an_scatter_p(hit->z);

    an_text_addf(text, "The scatter of %s",
                 s->characteristic->title ? s->characteristic->title : s->characteristic->name);
    an_text_add(text, parted ? " (" : "");
    add_part_of_line(text, story);
    an_text_addf(text, "%s has %s: dispersion factor %.2g in %d samples ", parted ? ")" : "",
                 more ? "grown" : "shrunk", hit->value, AN_SCATTER_BLOCK);
    const struct an_civil from =
        an_zone_civil(story->line->zone, story->view.points[story->onset].sample.at_us);
    const struct an_civil until = an_zone_civil(story->line->zone, hit->at_us);
    an_text_add(text, "from ");
    add_time(text, &from);
    an_text_add(text, " to ");
    if (same_day(&from, &until)) {
        add_clock(text, &until);
    } else {
        add_time(text, &until);
    }
    an_text_addf(text, ", %.2g in the limits (p %s%.1g); limits that were right signal too %s now",
                 story->limits->model.dispersion, p < 1e-6 ? "below " : "", fmax(p, 1e-6),
                 more ? "often" : "late");
}

const char *an_story_sentence(const struct an_story *story, bool with_rules)
{
    struct an_text text = {0};
    const char *sentence = NULL;
    const char *note = story->signal->ribbon_note;
    const bool scatter = story->signal->record.rule == AN_RULE_SCATTER;

    if (!scatter) {
        add_subject(&text, story, with_rules);
    }
    if (scatter) {
        add_scatter(&text, story);
    } else if (story->limits->model.family == AN_GROUP) {
        add_member(&text, story);
    } else if (an_family_is_joint(story->limits->model.family)) {
        add_distance(&text, story);
    } else if (story->limits->model.family == AN_G || story->limits->model.family == AN_T) {
        an_words_gap(&text, story);
        if (!is_single(story)) {
            an_text_add(&text, ", ");
            add_since(&text, story);
        }
    } else if (story->signal->record.rule == AN_RULE_OFF_SCALE) {
        add_off_scale(&text, story);
    } else if (story->signal->record.side == 0) {
        add_patterned(&text, story);
    } else if (alternates(story)) {
        add_alternation(&text, story);
    } else {
        add_movement(&text, story);
    }
    if (with_rules &&
        story->signal->record.rule < AN_RULE_COUNT) { /* the others are told already */
        an_text_add(&text, ": ");
        add_rules(&text, story);
    }
    add_items(&text, story);
    if (note) {
        an_text_addf(&text, "; %s%s", strncmp(note, "began", 5) == 0 ? "it " : "", note);
    }
    an_text_add(&text, ".");
    if (!text.failed) {
        sentence = an_arena_copy(story->arena, text.at, text.length);
    }
    an_text_free(&text);
    return sentence;
}
