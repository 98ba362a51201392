/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Works out a station's plan from the line description. Must never read a file or store anything.
 */
#include "intake/plan.h"

#include <string.h>

/* ---- patterns --------------------------------------------------------------------------------- */
static enum an_status set_pattern(struct an_plan *plan, struct an_pattern *pattern,
                                  const char *text, bool whole, const char *what,
                                  struct an_error *err)
{
    const char *full = text;

    if (!text) {
        return AN_OK;
    }
    if (whole) {
        full = an_arena_printf(plan->arena, "^(%s)$", text);
        if (!full) {
            return an_fail(err, AN_NO_MEMORY, "out of memory");
        }
    }
    const int trouble = regcomp(&pattern->regex, full, REG_EXTENDED | (whole ? REG_NOSUB : 0));
    if (trouble) {
        char reason[120];

        (void)regerror(trouble, &pattern->regex, reason, sizeof reason);
        return an_fail(err, trouble == REG_ESPACE ? AN_NO_MEMORY : AN_BAD_CONFIG,
                       "station \"%s\": %s: \"%s\" is no usable expression: %s",
                       plan->station->name, what, text, reason);
    }
    pattern->is_set = true;
    return AN_OK;
}

bool an_pattern_fits(const struct an_pattern *pattern, const char *text)
{
    return regexec(&pattern->regex, text, 0, NULL, 0) == 0;
}

bool an_pattern_group(const struct an_pattern *pattern, const char *text, struct an_bytes *group)
{
    regmatch_t match[2];

    if (pattern->regex.re_nsub < 1 || regexec(&pattern->regex, text, 2, match, 0) ||
        match[1].rm_so < 0) {
        return false;
    }
    group->at = (const unsigned char *)text + match[1].rm_so;
    group->length = (size_t)(match[1].rm_eo - match[1].rm_so);
    return true;
}

/* The plain characters after ^: nearly every row is told from a footer by them. */
static void find_footer_start(struct an_plan *plan, const char *footer)
{
    size_t used = 0;

    if (!footer || footer[0] != '^' || strchr(footer, '|')) {
        return;
    }
    for (const char *at = footer + 1; *at && !strchr("[](){}.*+?\\$^|", *at); at++) {
        if (used + 1 == sizeof plan->footer_start) {
            break;
        }
        plan->footer_start[used++] = *at;
    }
    /* a mark of repetition makes the character before it uncertain */
    if (used && strchr("*+?{", footer[used + 1]) && footer[used + 1]) {
        used--;
    }
    plan->footer_start[used] = '\0';
}

static enum an_status set_patterns(struct an_plan *plan, struct an_error *err)
{
    const struct an_station *station = plan->station;
    enum an_status st = AN_OK;

    plan->kind_patterns =
        an_arena_alloc(plan->arena, plan->line->kind_count + 1, sizeof *plan->kind_patterns);
    plan->preamble =
        an_arena_alloc(plan->arena, station->preamble_count + 1, sizeof *plan->preamble);
    if (!plan->kind_patterns || !plan->preamble) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < plan->line->kind_count && !st; i++) {
        st = set_pattern(plan, &plan->kind_patterns[i], plan->line->kinds[i].id_pattern, true, "id",
                         err);
    }
    plan->preamble_count = station->preamble_count;
    for (size_t i = 0; i < station->preamble_count && !st; i++) {
        st = set_pattern(plan, &plan->preamble[i], station->preamble[i].regex, false, "preamble",
                         err);
    }
    if (!st) {
        st = set_pattern(plan, &plan->reference, station->purpose.reference_id_pattern, true,
                         "reference_id", err);
    }
    if (!st) {
        st = set_pattern(plan, &plan->footer, station->dialect.footer, false, "footer", err);
        find_footer_start(plan, station->dialect.footer);
    }
    if (!st) {
        st =
            set_pattern(plan, &plan->file_number, station->number_regex, false, "file_number", err);
    }
    return st;
}

/* ---- columns ---------------------------------------------------------------------------------- */
static size_t count_names(const struct an_plan *plan)
{
    const struct an_station *station = plan->station;
    size_t most = 10 + station->key.count + station->link_count * 8 + station->allowed_count +
                  station->part_whole_count * 2 + station->preamble_count;

    for (size_t i = 0; i < station->characteristic_count; i++) {
        const struct an_characteristic *c =
            &plan->line->characteristics[station->characteristics[i]];
        most += 9 + c->sum_columns.count + c->splits.count;
    }
    return most;
}

static size_t need(struct an_plan *plan, const char *name, unsigned use)
{
    size_t i = 0;

    if (!name) {
        return AN_NONE;
    }
    while (i < plan->column_count && strcmp(plan->columns[i].name, name) != 0) {
        i++;
    }
    if (i == plan->column_count) {
        plan->columns[i].name = name;
        for (size_t k = 0; k < plan->station->preamble_count; k++) {
            if (strcmp(plan->station->preamble[k].column, name) == 0) {
                plan->columns[i].from_preamble = true;
                plan->columns[i].preamble = k;
            }
        }
        plan->column_count++;
    }
    plan->columns[i].uses |= use;
    return i;
}

static bool has_code(const struct an_plan_column *column, const struct an_missing_code *code)
{
    for (size_t i = 0; i < column->code_count; i++) {
        if (strcmp(column->codes[i]->text, code->text) == 0) {
            return true;
        }
    }
    return false;
}

/* The codes of a characteristic count for each number column it reads. */
static bool add_codes(struct an_plan *plan, size_t at, const struct an_characteristic *c)
{
    struct an_plan_column *column = at == AN_NONE ? NULL : &plan->columns[at];

    if (!column || !c->missing_count) {
        return true;
    }
    const struct an_missing_code **more =
        an_arena_alloc(plan->arena, column->code_count + c->missing_count, sizeof *more);
    if (!more) {
        return false;
    }
    if (column->code_count) {
        memcpy(more, column->codes, column->code_count * sizeof *more);
    }
    column->codes = more;
    for (size_t i = 0; i < c->missing_count; i++) {
        const char *text = c->missing[i].text;

        if (has_code(column, &c->missing[i])) {
            continue;
        }
        more[column->code_count++] = &c->missing[i];
        const unsigned char first = (unsigned char)text[0];
        if (first == '*' && text[1] == '\0') {
            memset(column->code_starts, 0xFF, sizeof column->code_starts);
        }
        column->code_starts[first / 8] =
            (unsigned char)(column->code_starts[first / 8] | 1U << first % 8);
    }
    return true;
}

/* ---- quantities ------------------------------------------------------------------------------- */
enum { AN_MOST_LEAVES = 16, AN_MOST_DEPTH = 8 };

struct leaf_walk { /* filters met on the way down */
    struct an_plan_filter filters[AN_MOST_DEPTH + 1];
    size_t filter_count;
};

static bool add_leaf(struct an_plan *plan, struct an_quantity *quantity,
                     const struct an_characteristic *c, const struct leaf_walk *walk, bool cells,
                     const struct an_characteristic *maker)
{
    struct an_plan_leaf *leaf = &quantity->leaves[quantity->leaf_count];

    if (quantity->leaf_count == AN_MOST_LEAVES) {
        return false;
    }
    quantity->leaf_count++;
    leaf->of = c;
    leaf->column = c->kind == AN_MEASURED ? need(plan, c->column, AN_USE_VALUE) : AN_NONE;
    leaf->wants_cells = cells;
    leaf->row_column =
        need(plan, maker->row_column ? maker->row_column : c->row_column, AN_USE_GRID);
    leaf->column_column =
        need(plan, maker->column_column ? maker->column_column : c->column_column, AN_USE_GRID);
    leaf->filters = an_arena_alloc(plan->arena, walk->filter_count + 1, sizeof *leaf->filters);
    if (!leaf->filters) {
        return false;
    }
    memcpy(leaf->filters, walk->filters, walk->filter_count * sizeof *leaf->filters);
    leaf->filter_count = walk->filter_count;
    return add_codes(plan, leaf->column, c);
}

static bool walk_leaves(struct an_plan *plan, struct an_quantity *quantity,
                        const struct an_characteristic *c, struct leaf_walk walk, int depth,
                        const struct an_characteristic *maker)
{
    if (depth == AN_MOST_DEPTH) {
        return false;
    }
    if (c->only_column) {
        walk.filters[walk.filter_count++] =
            (struct an_plan_filter){need(plan, c->only_column, AN_USE_TEXT), &c->only_words};
    }
    if (c->kind != AN_DERIVED) {
        return add_leaf(plan, quantity, c, &walk, maker->derivation == AN_DERIVE_NEIGHBOUR_STEP,
                        maker);
    }
    for (int i = 0; i < 2; i++) {
        if (c->of[i] != AN_NONE &&
            !walk_leaves(plan, quantity, &plan->line->characteristics[c->of[i]], walk, depth + 1,
                         c)) {
            return false;
        }
    }
    return true;
}

static bool set_split(struct an_plan *plan, struct an_quantity *quantity)
{
    const struct an_word_list *names = &quantity->of->splits;
    struct an_plan_split *split = &plan->splits[plan->split_count];

    split->columns = an_arena_alloc(plan->arena, names->count + 1, sizeof *split->columns);
    if (!split->columns) {
        return false;
    }
    for (size_t i = 0; i < names->count; i++) {
        split->columns[i] = need(plan, names->at[i], AN_USE_TEXT);
    }
    split->count = names->count;
    for (size_t i = 0; i < plan->split_count; i++) {
        if (plan->splits[i].count == split->count &&
            memcmp(plan->splits[i].columns, split->columns,
                   split->count * sizeof *split->columns) == 0) {
            quantity->split = i;
            return true;
        }
    }
    quantity->split = plan->split_count++;
    return true;
}

static bool set_counted(struct an_plan *plan, struct an_quantity *quantity)
{
    const struct an_characteristic *c = quantity->of;
    const size_t most = c->sum_columns.count + 1;

    quantity->sum_columns = an_arena_alloc(plan->arena, most, sizeof *quantity->sum_columns);
    if (!quantity->sum_columns) {
        return false;
    }
    quantity->opportunities_column = need(plan, c->opportunities_column, AN_USE_VALUE);
    if (!add_codes(plan, quantity->opportunities_column, c)) {
        return false;
    }
    if (c->count_rows) {
        return true;
    }
    if (c->events.count) {
        quantity->event_column = need(plan, c->column ? c->column : c->success, AN_USE_TEXT);
        return add_codes(plan, quantity->event_column, c);
    }
    for (size_t i = 0; i < c->sum_columns.count; i++) {
        quantity->sum_columns[quantity->sum_count++] =
            need(plan, c->sum_columns.at[i], AN_USE_VALUE | AN_USE_COUNTS);
    }
    if (!quantity->sum_count && c->column) {
        quantity->sum_columns[quantity->sum_count++] =
            need(plan, c->column, AN_USE_VALUE | AN_USE_COUNTS);
    }
    for (size_t i = 0; i < quantity->sum_count; i++) {
        if (!add_codes(plan, quantity->sum_columns[i], c)) {
            return false;
        }
    }
    return true;
}

static bool set_quantity(struct an_plan *plan, struct an_quantity *quantity)
{
    const struct an_characteristic *c = quantity->of;
    struct leaf_walk walk;

    memset(&walk, 0, sizeof walk);
    quantity->event_column = AN_NONE;
    quantity->opportunities_column = AN_NONE;
    quantity->leaves = an_arena_alloc(plan->arena, AN_MOST_LEAVES, sizeof *quantity->leaves);
    if (!quantity->leaves || !walk_leaves(plan, quantity, c, walk, 0, c) ||
        !set_split(plan, quantity) || (c->kind == AN_COUNTED && !set_counted(plan, quantity))) {
        return false;
    }
    if (c->kind == AN_MEASURED && quantity->leaves[0].column != AN_NONE) {
        plan->columns[quantity->leaves[0].column].unit = c->column_unit ? c->column_unit : c->unit;
    }
    quantity->ribbon_column = need(plan, c->ribbon_column, AN_USE_TEXT);
    (void)need(plan, c->position_column, AN_USE_TEXT);
    (void)need(plan, c->row_column, AN_USE_GRID);
    (void)need(plan, c->column_column, AN_USE_GRID);
    return true;
}

/* ---- links ------------------------------------------------------------------------------------- */
static void set_link(struct an_plan *plan, size_t number)
{
    struct an_plan_link *link = &plan->links[number];
    const struct an_link_rule *rule = &plan->station->links[number];

    *link = (struct an_plan_link){
        .rule = rule,
        .column = need(plan, rule->column, AN_USE_TEXT),
        .role = need(plan, rule->role_column, AN_USE_TEXT),
        .share = need(plan, rule->share_column, AN_USE_VALUE),
        .row = need(plan, rule->row_column, AN_USE_GRID),
        .column_place = need(plan, rule->column_column, AN_USE_GRID),
        .region = need(plan, rule->region_column, AN_USE_TEXT),
        .ends = need(plan, rule->ends_column, AN_USE_TEXT),
        .confidence = need(plan, rule->confidence_column, AN_USE_TEXT),
    };
    if (!rule->other_is_same) {
        link->may_end = an_plan_may_end(plan, rule);
        link->may_loop = an_plan_may_loop(plan, rule);
    }
    link->checked = link->may_loop || rule->single || rule->made_first;
    plan->any_checked = plan->any_checked || link->checked;
    plan->any_ends = plan->any_ends || rule->ends;
}

/* ---- the station's own columns ---------------------------------------------------------------- */
static bool set_lists(struct an_plan *plan)
{
    const struct an_station *station = plan->station;

    plan->links = an_arena_alloc(plan->arena, station->link_count + 1, sizeof *plan->links);
    plan->allowed = an_arena_alloc(plan->arena, station->allowed_count + 1, sizeof *plan->allowed);
    plan->part_whole =
        an_arena_alloc(plan->arena, station->part_whole_count + 1, sizeof *plan->part_whole);
    if (!plan->links || !plan->allowed || !plan->part_whole) {
        return false;
    }
    for (size_t i = 0; i < station->link_count; i++) {
        set_link(plan, i);
    }
    for (size_t i = 0; i < station->allowed_count; i++) {
        plan->allowed[i].column = need(plan, station->allowed[i].column, AN_USE_TEXT);
        plan->allowed[i].words = &station->allowed[i].words;
    }
    for (size_t i = 0; i < station->part_whole_count; i++) {
        plan->part_whole[i][0] = need(plan, station->part_whole[i].part, AN_USE_VALUE);
        plan->part_whole[i][1] = need(plan, station->part_whole[i].whole, AN_USE_VALUE);
    }
    plan->link_count = station->link_count;
    plan->allowed_count = station->allowed_count;
    plan->part_whole_count = station->part_whole_count;
    return true;
}

/* ---- what tells rows, machines and files apart ------------------------------------------------- */
static void add_key(struct an_plan *plan, size_t column)
{
    bool there = column == AN_NONE || column == plan->item;

    for (size_t i = 0; i < plan->key_count; i++) {
        there = there || plan->key[i] == column;
    }
    if (!there) {
        plan->key[plan->key_count++] = column;
    }
}

static size_t column_named(const struct an_plan *plan, const char *name)
{
    for (size_t i = 0; name && i < plan->column_count; i++) {
        if (strcmp(plan->columns[i].name, name) == 0) {
            return i;
        }
    }
    return AN_NONE;
}

/* Declared, or the usual: when, in which order, where on the item, in which stream. */
static bool set_key(struct an_plan *plan)
{
    const struct an_station *station = plan->station;

    plan->key_declared = station->key.count > 0;
    for (size_t i = 0; i < station->key.count; i++) {
        (void)need(plan, station->key.at[i], AN_USE_TEXT);
    }
    plan->key = an_arena_alloc(plan->arena, plan->column_count + 1, sizeof *plan->key);
    if (!plan->key) {
        return false;
    }
    for (size_t i = 0; i < station->key.count; i++) {
        add_key(plan, column_named(plan, station->key.at[i]));
    }
    if (plan->key_declared) {
        return true;
    }
    add_key(plan, plan->time);
    add_key(plan, plan->sequence);
    for (size_t i = 0; i < plan->split_count; i++) {
        for (size_t k = 0; k < plan->splits[i].count; k++) {
            add_key(plan, plan->splits[i].columns[k]);
        }
    }
    for (size_t i = 0; i < plan->link_count; i++) {
        add_key(plan, plan->links[i].row);
        add_key(plan, plan->links[i].column_place);
        add_key(plan, plan->links[i].region);
    }
    for (size_t i = 0; i < plan->quantity_count; i++) {
        const struct an_characteristic *c = plan->quantities[i].of;

        add_key(plan, column_named(plan, c->position_column));
        add_key(plan, column_named(plan, c->row_column));
        add_key(plan, column_named(plan, c->column_column));
    }
    return true;
}

static size_t preamble_named(const struct an_plan *plan, const char *name)
{
    for (size_t i = 0; name && i < plan->station->preamble_count; i++) {
        if (strcmp(plan->station->preamble[i].column, name) == 0) {
            return i;
        }
    }
    return AN_NONE;
}

static bool set_trust(struct an_plan *plan)
{
    const struct an_station *station = plan->station;

    plan->identity = preamble_named(plan, station->identity_column);
    plan->identity_is_tool = station->identity_column && plan->identity == AN_NONE;
    plan->number = preamble_named(plan, station->number_column);
    plan->makers = an_arena_alloc(plan->arena, plan->line->station_count + 1, sizeof *plan->makers);
    if (!plan->makers) {
        return false;
    }
    for (size_t i = 0; i < plan->line->station_count && !station->item_refines; i++) {
        const struct an_station *other = &plan->line->stations[i];

        if (other->item_refines && other->item_kind == station->item_kind) {
            plan->makers[plan->maker_count++] = i;
        }
    }
    for (size_t i = 0; i < plan->line->kind_count; i++) {
        plan->any_closed = plan->any_closed || plan->line->kinds[i].closed_by;
    }
    return set_key(plan);
}

static bool set_columns(struct an_plan *plan)
{
    const struct an_station *station = plan->station;
    const size_t quantities = station->characteristic_count;

    plan->columns = an_arena_alloc(plan->arena, count_names(plan) + quantities * 4 * AN_MOST_LEAVES,
                                   sizeof *plan->columns);
    plan->quantities = an_arena_alloc(plan->arena, quantities + 1, sizeof *plan->quantities);
    plan->splits = an_arena_alloc(plan->arena, quantities + 1, sizeof *plan->splits);
    if (!plan->columns || !plan->quantities || !plan->splits) {
        return false;
    }
    plan->item = need(plan, station->item_column, AN_USE_TEXT);
    plan->time = need(plan, station->time.column, AN_USE_TIME);
    plan->sequence = need(plan, station->sequence_column, AN_USE_TEXT);
    plan->purpose = need(plan, station->purpose.column, AN_USE_TEXT);
    plan->gauge = need(plan, station->gauge_column, AN_USE_TEXT);
    plan->tool = need(plan, station->tool_column, AN_USE_TEXT);
    plan->who = need(plan, station->operator_column, AN_USE_TEXT);
    plan->attempt = need(plan, station->attempt_column, AN_USE_TEXT);
    plan->reason = need(plan, station->reason_column, AN_USE_TEXT);
    if (!set_lists(plan)) {
        return false;
    }
    for (size_t i = 0; i < quantities; i++) {
        plan->quantities[i].index = station->characteristics[i];
        plan->quantities[i].of = &plan->line->characteristics[station->characteristics[i]];
        if (!set_quantity(plan, &plan->quantities[i])) {
            return false;
        }
    }
    plan->quantity_count = quantities;
    return set_trust(plan);
}

enum an_status an_plan_open(const struct an_line *line, size_t station, struct an_plan **out,
                            struct an_error *err)
{
    struct an_plan *plan = an_alloc(1, sizeof *plan);
    enum an_status st = AN_OK;

    *out = NULL;
    if (!plan) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    plan->line = line;
    plan->station = &line->stations[station];
    plan->zone = line->zone;
    plan->arena = an_arena_open();
    if (!plan->arena || !set_columns(plan)) {
        st = an_fail(err, AN_NO_MEMORY,
                     "station \"%s\": out of memory, or characteristics made of "
                     "too many others",
                     plan->station->name);
    }
    if (!st) {
        st = set_patterns(plan, err);
    }
    if (!st && plan->station->time.zone) {
        st = an_zone_open(plan->station->time.zone, &plan->own_zone, err);
        plan->zone = plan->own_zone;
    }
    if (st) {
        an_plan_close(plan);
        return st;
    }
    *out = plan;
    return AN_OK;
}

static void free_pattern(struct an_pattern *pattern)
{
    if (pattern->is_set) {
        regfree(&pattern->regex);
        pattern->is_set = false;
    }
}

void an_plan_close(struct an_plan *plan)
{
    if (!plan) {
        return;
    }
    for (size_t i = 0; plan->kind_patterns && i < plan->line->kind_count; i++) {
        free_pattern(&plan->kind_patterns[i]);
    }
    for (size_t i = 0; plan->preamble && i < plan->preamble_count; i++) {
        free_pattern(&plan->preamble[i]);
    }
    free_pattern(&plan->reference);
    free_pattern(&plan->footer);
    free_pattern(&plan->file_number);
    an_zone_close(plan->own_zone);
    an_arena_close(plan->arena);
    an_free(plan);
}
