/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Puts a finished visit into the store: the item, the visit, its links, one sample a subgroup. Must
 * never put a visit whose rows were taken before.
 */
#include "intake/visit_put.h"

#include "andamento/store/genealogy.h"
#include "intake/derive.h"
#include "intake/upstream.h"

#include <math.h>
#include <string.h>

static struct an_bytes serial_of(const struct an_stay *stay)
{
    return (struct an_bytes){stay->key.at, stay->serial_length};
}

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

static const struct an_shift *shift_at(struct an_finish *finish, int64_t at_us)
{
    if (!finish->has_shift || at_us < finish->shift.from_us || at_us >= finish->shift.until_us) {
        finish->shift = an_line_shift_at(finish->plan->line, at_us);
        finish->has_shift = true;
    }
    return &finish->shift;
}

static int64_t shift_start(struct an_finish *finish, int64_t at_us)
{
    const struct an_shift *shift = shift_at(finish, at_us);

    return shift->pattern == AN_NONE ? AN_NO_INSTANT : shift->from_us;
}

/* SHA-256 over the sum of the rows' prints and their number, low byte first. */
static struct an_sha256 digest_of(const struct an_stay *stay)
{
    const uint64_t parts[3] = {stay->print_low, stay->print_high, (uint64_t)stay->rows};
    unsigned char bytes[24];

    for (size_t i = 0; i < sizeof bytes; i++) {
        bytes[i] = (unsigned char)(parts[i / 8] >> 8 * (i % 8));
    }
    return an_sha256_of(bytes, sizeof bytes);
}

/* ---- links ------------------------------------------------------------------------------------ */
static enum an_status text_of(struct an_arena *arena, struct an_bytes bytes, const char **text,
                              struct an_error *err)
{
    *text = bytes.length ? an_arena_copy(arena, bytes.at, bytes.length) : NULL;
    return bytes.length && !*text ? out_of_memory(err) : AN_OK;
}

enum an_status an_visit_link(struct an_finish *finish, const struct an_tie *joint, int64_t item_id,
                             struct an_link *link, struct an_error *err)
{
    const struct an_link_rule *rule = finish->plan->links[joint->rule].rule;
    int64_t other = 0;
    enum an_status st = an_store_item(finish->store, finish->plan->line->kinds[rule->kind].name,
                                      joint->serial, finish->file_id, &other, err);

    *link = (struct an_link){.child_id = rule->other_is_parent ? item_id : other,
                             .parent_id = rule->other_is_parent ? other : item_id,
                             .share = isnan(joint->share) ? rule->share : joint->share,
                             .row = joint->row,
                             .column = joint->column,
                             .at_us = joint->at_us,
                             .file_id = finish->file_id,
                             .line = joint->line,
                             .sure = (int)joint->sure,
                             .may_end = finish->plan->links[joint->rule].may_end};
    if (!st) {
        st = text_of(finish->arena, joint->role, &link->role, err);
    }
    if (!st) {
        st = text_of(finish->arena, joint->region, &link->region, err);
    }
    if (!st && !link->role) {
        link->role = rule->role;
    }
    return st;
}

/* A row tells of another serial: it named the item before the row, after it, or ever. */
static enum an_status put_alias(struct an_finish *finish, const struct an_tie *joint,
                                int64_t item_id, int64_t other, struct an_error *err)
{
    const struct an_link_rule *rule = finish->plan->links[joint->rule].rule;
    const int64_t for_us = rule->alias_for_us;
    struct an_alias alias = {.item_id = item_id,
                             .other_id = other,
                             .from_us = AN_NO_INSTANT,
                             .until_us = AN_NO_INSTANT,
                             .file_id = finish->file_id,
                             .line = joint->line};

    if (rule->alias_time == AN_ALIAS_BEFORE) {
        alias.from_us = for_us ? joint->at_us - for_us : AN_NO_INSTANT;
        alias.until_us = joint->at_us;
    } else if (rule->alias_time == AN_ALIAS_AFTER) {
        alias.from_us = joint->at_us;
        alias.until_us = for_us ? joint->at_us + for_us : AN_NO_INSTANT;
    }
    return an_store_put_alias(finish->store, &alias, err);
}

static enum an_status put_joint(struct an_finish *finish, const struct an_tie *joint,
                                int64_t item_id, struct an_error *err)
{
    struct an_link link;
    const enum an_status st = an_visit_link(finish, joint, item_id, &link, err);

    if (!st && finish->plan->links[joint->rule].rule->other_is_same) {
        return put_alias(finish, joint, item_id, link.child_id, err);
    }
    if (!st && joint->ends) {
        return an_store_put_link_end(finish->store, &link, err);
    }
    return st ? st : an_store_put_link(finish->store, &link, err);
}

enum an_status an_visit_put_ends(struct an_finish *finish, const struct an_stay *stay,
                                 struct an_error *err)
{
    int64_t item_id = 0;
    enum an_status st = AN_OK;

    for (const struct an_tie *joint = stay->joints; joint && !st; joint = joint->next) {
        if (!joint->ends) {
            continue;
        }
        if (!item_id) {
            st = an_store_item(finish->store,
                               finish->plan->line->kinds[finish->plan->station->item_kind].name,
                               serial_of(stay), finish->file_id, &item_id, err);
        }
        st = st ? st : put_joint(finish, joint, item_id, err);
    }
    return st;
}

/* ---- samples ---------------------------------------------------------------------------------- */
static enum an_status find_stream(struct an_finish *finish, const struct an_group *group,
                                  const char *split, int64_t *id, struct an_error *err)
{
    const size_t quantity = group->quantity;

    if (group->split >= finish->stream_counts[quantity]) {
        const size_t count = 2 * (size_t)group->split + 4;
        int64_t *more = an_resize(finish->streams[quantity], count, sizeof *more);

        if (!more) {
            return out_of_memory(err);
        }
        memset(more + finish->stream_counts[quantity], 0,
               (count - finish->stream_counts[quantity]) * sizeof *more);
        finish->streams[quantity] = more;
        finish->stream_counts[quantity] = count;
    }
    int64_t *known = &finish->streams[quantity][group->split];
    if (*known == 0) {
        const enum an_status st =
            an_store_stream(finish->store, finish->plan->station->name,
                            finish->plan->quantities[quantity].of->name, split, known, err);
        if (st) {
            return st;
        }
    }
    *id = *known;
    return AN_OK;
}

/* A sum of whole or decimal numbers, exact as long as it is kept exactly. */
static double total_of(const struct an_exact_sums *sums)
{
    if (!sums->inexact && sums->sum > -INT64_MAX && sums->sum < INT64_MAX) {
        return an_decimal_value((int64_t)sums->sum, sums->decimals);
    }
    const struct an_moments moments = an_exact_moments(sums);
    return moments.mean * (double)moments.n;
}

static bool set_counts(const struct an_quantity *quantity, const struct an_group *group,
                       struct an_sample *sample)
{
    const struct an_exact_sums *told = &group->sums[1];
    const bool has_fixed = isfinite(quantity->of->opportunities);

    sample->n = group->sums[0].n;
    sample->count = total_of(&group->sums[0]);
    if (quantity->opportunities_column != AN_NONE) {
        if (told->n == 0) {
            return false; /* no rate can be told */
        }
        const struct an_moments moments = an_exact_moments(told);
        sample->opportunities = quantity->of->count_rows ? moments.max : total_of(told);
    } else if (has_fixed) {
        sample->opportunities =
            quantity->of->opportunities * (quantity->of->count_rows ? 1.0 : (double)sample->n);
    }
    return sample->n > 0;
}

static bool set_moments(const struct an_quantity *quantity, const struct an_group *group,
                        struct an_sample *sample)
{
    const struct an_moments raw = an_exact_moments(&group->sums[0]);

    if (raw.n == 0) {
        return false;
    }
    const struct an_moments moments =
        an_moments_convert(&raw, quantity->of->factor, quantity->of->offset);
    sample->n = moments.n;
    sample->mean = moments.mean;
    sample->ssd = moments.ssd;
    sample->min = moments.min;
    sample->max = moments.max;
    return true;
}

/* False if the subgroup gives no sample: no reading, or no rate. */
static bool set_statistics(const struct an_plan *plan, const struct an_group *group,
                           struct an_sample *sample, enum an_status *st)
{
    const struct an_quantity *quantity = &plan->quantities[group->quantity];
    double value = 0;

    *st = AN_OK;
    sample->mean = sample->ssd = sample->min = sample->max = (double)NAN;
    sample->count = sample->opportunities = (double)NAN;
    sample->missing = group->missing;
    sample->at_us = group->at_us;
    sample->first_line = group->first_line;
    sample->last_line = group->last_line;
    for (size_t i = 0; i < group->sum_count && quantity->of->kind != AN_COUNTED; i++) {
        if (group->sums[i].n && group->sums[i].decimals > sample->decimals) {
            sample->decimals = group->sums[i].decimals;
        }
    }
    if (quantity->of->kind == AN_COUNTED) {
        return set_counts(quantity, group, sample);
    }
    if (quantity->of->kind == AN_MEASURED) {
        return set_moments(quantity, group, sample);
    }
    if (!an_derive(plan, group, &value, st)) {
        return false;
    }
    sample->n = 1;
    sample->ssd = 0;
    sample->mean = sample->min = sample->max = value;
    return true;
}

static enum an_status find_ribbon(struct an_finish *finish, const struct an_group *group,
                                  const char *split, int64_t item_id, const char **ribbon,
                                  struct an_error *err)
{
    const struct an_characteristic *of = finish->plan->quantities[group->quantity].of;
    bool failed = false;

    if (!of->ribbon_column && of->ribbon_kind != AN_NONE) {
        return an_ribbon_of(finish->store, item_id, finish->plan->line->kinds[of->ribbon_kind].name,
                            split, finish->arena, ribbon, err);
    }
    *ribbon = an_words_join(&group->ribbon, finish->arena, &failed);
    return failed ? out_of_memory(err) : AN_OK;
}

static enum an_status put_sample(struct an_finish *finish, const struct an_group *group,
                                 int64_t item_id, int64_t visit_id, struct an_error *err)
{
    const struct an_bytes text = an_names_at(finish->stays->splits, group->split);
    const char *split = (const char *)text.at; /* a NUL stands behind it */
    struct an_sample sample = {
        .visit_id = visit_id, .item_id = item_id, .file_id = finish->file_id};
    enum an_status st = AN_OK;

    if (!set_statistics(finish->plan, group, &sample, &st)) {
        return st ? out_of_memory(err) : AN_OK;
    }
    sample.shift_from_us = shift_start(finish, sample.at_us);
    st = find_stream(finish, group, split, &sample.stream_id, err);
    if (!st) {
        st = find_ribbon(finish, group, split, item_id, &sample.ribbon, err);
    }
    st = st ? st : an_store_put_sample(finish->store, &sample, err);
    if (!st && finish->gauge_due) {
        st = an_store_put_suspect(finish->store, sample.sample_id, "gauge.due", finish->file_id,
                                  err);
    }
    if (!st && finish->plan->quantities[group->quantity].of->kind == AN_MEASURED) {
        st = an_watch_sample(finish->watch, &sample, group->quantity, err);
    }
    return st;
}

/* ---- the visit -------------------------------------------------------------------------------- */
static enum an_status put_visit(struct an_finish *finish, const struct an_stay *stay,
                                const struct an_sha256 *digest, int64_t item_id, int64_t *visit_id,
                                struct an_error *err)
{
    const struct an_plan *plan = finish->plan;
    const struct an_shift *shift = shift_at(finish, stay->last_us);
    const bool in_shift = shift->pattern != AN_NONE;
    const struct an_bytes purpose = {stay->key.at + stay->serial_length + 1,
                                     stay->key.length - stay->serial_length - 1};
    char label[64];
    bool failed = false;
    struct an_visit visit = {
        .file_id = finish->file_id,
        .item_id = item_id,
        .first_us = stay->first_us,
        .last_us = stay->last_us,
        .shift_from_us = in_shift ? shift->from_us : AN_NO_INSTANT,
        .shift = in_shift ? an_line_shift_label(plan->line, shift, label) : NULL,
        .first_line = stay->first_line,
        .last_line = stay->last_line,
        .rows = stay->rows,
        .rows_digest = *digest,
        .gauge = an_words_join(&stay->gauge, finish->arena, &failed),
        .tool = an_words_join(&stay->tool, finish->arena, &failed),
        .who = an_words_join(&stay->who, finish->arena, &failed),
        .attempt = an_words_join(&stay->attempt, finish->arena, &failed),
    };

    if (!visit.gauge) {
        visit.gauge = plan->station->gauge;
    }
    enum an_status st = text_of(finish->arena, purpose, &visit.purpose, err);
    if (st || failed) {
        return st ? st : out_of_memory(err);
    }
    st = an_store_put_visit(finish->store, &visit, err);
    *visit_id = visit.visit_id;
    return st;
}

/* ---- what is noted about it ------------------------------------------------------------------- */
static const char *doubt_about(const struct an_finish *finish, struct an_bytes name, int64_t at_us)
{
    const struct an_line *line = finish->plan->line;

    for (size_t i = 0; i < line->gauge_count; i++) {
        const struct an_gauge *gauge = &line->gauges[i];

        if (!an_bytes_are(name, gauge->name)) {
            continue;
        }
        if (gauge->station && strcmp(gauge->station, finish->plan->station->name) != 0) {
            return "belongs to another station";
        }
        return gauge->until_us != AN_NO_INSTANT && at_us >= gauge->until_us
                   ? "is past its calibration"
                   : NULL;
    }
    return "is not among the calibrated ones";
}

static void note_gauges(struct an_finish *finish, const struct an_stay *stay)
{
    const char *fixed = finish->plan->station->gauge;
    const struct an_word only = {NULL, an_bytes_of(fixed ? fixed : "")};
    const struct an_word *word = stay->gauge.first ? stay->gauge.first : fixed ? &only : NULL;

    finish->gauge_due = false;
    for (; word && finish->plan->line->gauge_count; word = word->next) {
        const char *doubt = doubt_about(finish, word->text, stay->last_us);

        if (doubt) {
            finish->gauge_due = true;
            an_note(finish->notes, "gauge.due", stay->first_line,
                    "gauge \"%s\" %s; what it measured was taken", an_shown(word->text).text,
                    doubt);
        }
    }
}

static enum an_status note_late_evidence(struct an_finish *finish, const struct an_stay *stay,
                                         int64_t item_id, struct an_error *err)
{
    const struct an_line *line = finish->plan->line;
    enum an_status st = AN_OK;

    for (size_t i = 0; finish->plan->any_closed && !st && i < line->kind_count; i++) {
        const struct an_item_kind *kind = &line->kinds[i];
        const char *serial = NULL;
        int64_t at_us = 0;

        if (!kind->closed_by) {
            continue;
        }
        st = an_store_item_closed(finish->store, item_id, kind->name, kind->closed_by,
                                  finish->file_id, finish->arena, &serial, &at_us, err);
        if (!st && serial) {
            an_note(finish->notes, "late.evidence", stay->first_line,
                    "the %s \"%s\" was closed at \"%s\" before this came; what was said of it "
                    "then stays as it was",
                    kind->title, an_shown(an_bytes_of(serial)).text, kind->closed_by);
        }
    }
    return st;
}

static enum an_status watch_visit(struct an_finish *finish, const struct an_stay *stay,
                                  int64_t item_id, struct an_error *err)
{
    struct an_watch *watch = finish->watch;
    const struct an_doubt *replaces = an_look_replaces(finish->look, stay);
    enum an_status st = AN_OK;

    if (!watch->visits_put || stay->first_us < watch->earliest_us) {
        watch->earliest_us = stay->first_us;
    }
    watch->visits_put++;
    for (const struct an_word *word = stay->tool.first; word && finish->plan->identity_is_tool;
         word = word->next) {
        if (!an_words_add(&watch->tools, finish->look->arena, word->text)) {
            return out_of_memory(err);
        }
    }
    for (size_t i = 0; replaces && !st && i < replaces->earlier_count; i++) {
        st = an_store_supersede(finish->store, &replaces->earlier[i], finish->file_id, err);
    }
    if (!st && replaces) {
        an_note(finish->notes, "rows.superseded", stay->first_line,
                "the rows of \"%s\" replace those that were taken before, which stay in the store "
                "and leave the charts",
                an_shown(serial_of(stay)).text);
    }
    note_gauges(finish, stay);
    return st ? st : note_late_evidence(finish, stay, item_id, err);
}

enum an_status an_visit_put(struct an_finish *finish, const struct an_stay *stay, bool only_look,
                            enum an_look_found *found, uint32_t *doubt, int64_t *visit_id,
                            struct an_error *err)
{
    const struct an_plan *plan = finish->plan;
    const struct an_sha256 digest = digest_of(stay);
    int64_t item_id = 0;

    if (an_arena_used(finish->arena) > 1 << 20) {
        an_arena_close(finish->arena);
        finish->arena = an_arena_open();
    }
    if (!finish->arena) {
        return out_of_memory(err);
    }
    enum an_status st =
        an_store_item(finish->store, plan->line->kinds[plan->station->item_kind].name,
                      serial_of(stay), finish->file_id, &item_id, err);
    *found = AN_LOOK_NEW;
    if (!st && !finish->look->done) {
        st = an_look_visit(finish, stay, item_id, &digest, found, doubt, err);
    }
    if (st || *found != AN_LOOK_NEW || only_look) {
        return st;
    }
    st = watch_visit(finish, stay, item_id, err);
    st = st ? st : put_visit(finish, stay, &digest, item_id, visit_id, err);
    for (const struct an_tie *joint = stay->joints; joint && !st; joint = joint->next) {
        st = put_joint(finish, joint, item_id, err);
    }
    for (const struct an_group *group = stay->groups; group && !st; group = group->next) {
        st = put_sample(finish, group, item_id, *visit_id, err);
    }
    return st;
}
