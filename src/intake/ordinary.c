/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The fast path: finds runs of rows that say nothing new and takes them together. Must never take a
 * row that the row path would not, nor leave a trace that differs from its.
 *
 * The hard idea: each column is gone over for a few hundred rows at once and cuts the run before the
 * first row it is not sure of; only what is left when all have spoken is taken. So every doubt, and
 * the first of everything (a visit, a subgroup, a link, a word that means something), is the row
 * path's, which alone makes things; here they are only added to.
 */
#include "intake/ordinary_inner.h"

enum { FEW_ROWS = 8, SMALL_WINDOW = 2048, LARGE_WINDOW = 64 * 1024, MOST_PLACES = 128 * 1024 };

/* ---- may it be used --------------------------------------------------------------------------- */
static bool is_fit_quantity(const struct an_quantity *quantity)
{
    const struct an_characteristic *of = quantity->of;
    bool cells = false;

    for (size_t i = 0; i < quantity->leaf_count; i++) {
        cells = cells || quantity->leaves[i].wants_cells;
        if (quantity->leaves[i].column == AN_NONE) {
            return false;
        }
    }
    if (cells && quantity->leaf_count > 1) {
        return false;
    }
    return of->kind == AN_DERIVED || (of->kind == AN_MEASURED && of->subgroup == AN_SUBGROUP_ITEM);
}

static bool is_fit(const struct an_reading *reading)
{
    const struct an_plan *plan = reading->plan;

    if (!reading->tuning->ordinary_rows || (plan->footer.is_set && !plan->footer_start[0]) ||
        plan->item == AN_NONE || reading->header.field_of[plan->item] == AN_NONE) {
        return false;
    }
    for (size_t i = 0; i < plan->quantity_count; i++) {
        if (!is_fit_quantity(&plan->quantities[i])) {
            return false;
        }
    }
    for (size_t i = 0; i < plan->split_count; i++) {
        if (plan->splits[i].count > AN_ORDINARY_SPLIT_COLUMNS) {
            return false;
        }
    }
    for (size_t i = 0; i < plan->link_count; i++) {
        if (plan->links[i].row != AN_NONE || plan->links[i].column_place != AN_NONE) {
            return false; /* each row a link of its own */
        }
        if (plan->links[i].rule->ends || plan->links[i].confidence != AN_NONE ||
            plan->links[i].rule->kind == plan->station->item_kind) {
            return false; /* the row path looks at each row */
        }
    }
    for (size_t i = 0; i < plan->column_count; i++) {
        if ((plan->columns[i].uses & AN_USE_TIME) &&
            (plan->columns[i].uses & (AN_USE_VALUE | AN_USE_GRID))) {
            return false;
        }
    }
    return true;
}

/* ---- open ------------------------------------------------------------------------------------- */
static bool is_split(const struct an_plan *plan, size_t column)
{
    for (size_t s = 0; s < plan->split_count; s++) {
        for (size_t i = 0; i < plan->splits[s].count; i++) {
            if (plan->splits[s].columns[i] == column) {
                return true;
            }
        }
    }
    return false;
}

static bool is_of_link(const struct an_plan *plan, size_t column)
{
    for (size_t i = 0; i < plan->link_count; i++) {
        if (plan->links[i].column == column || plan->links[i].role == column ||
            plan->links[i].region == column) {
            return true;
        }
    }
    return false;
}

static bool is_ribbon(const struct an_plan *plan, size_t column)
{
    for (size_t i = 0; i < plan->quantity_count; i++) {
        if (plan->quantities[i].ribbon_column == column) {
            return true;
        }
    }
    return false;
}

static bool open_column(struct an_ordinary *o, const struct an_reading *reading, size_t i)
{
    const struct an_plan *plan = o->plan;
    const unsigned uses = plan->columns[i].uses;
    struct an_ordinary_column *column = &o->columns[i];

    column->column = i;
    column->field = reading->header.field_of[i];
    column->same = i == plan->item || i == plan->purpose;
    column->number = (uses & (AN_USE_VALUE | AN_USE_GRID)) != 0;
    column->words = reading->columns.at[i].text_name != NULL;
    column->time = (uses & AN_USE_TIME) != 0;
    column->listed = i == plan->gauge || i == plan->tool || i == plan->who || i == plan->attempt;
    for (size_t k = 0; k < plan->link_count; k++) {
        column->link = column->link || plan->links[k].column == i;
    }
    column->is_free = column->words && !column->same && !column->listed &&
                      column->field != AN_NONE && !column->filter_count && !is_split(plan, i) &&
                      !is_of_link(plan, i) && !is_ribbon(plan, i);
    for (size_t c = 0; c < sizeof column->starts_code; c++) {
        column->starts_code[c] = plan->columns[i].code_starts[c / 8] & 1U << c % 8;
    }
    column->known = an_arena_alloc(o->arena, AN_KNOWN_WORDS, sizeof *column->known);
    column->prints = an_arena_alloc(o->arena, AN_ORDINARY_ROWS, sizeof *column->prints);
    return column->known && column->prints;
}

/* A bit of its column for each filter of the quantity's leaves. */
static bool open_leaves(struct an_ordinary *o, struct an_ordinary_quantity *quantity, bool *is_fit)
{
    const struct an_quantity *of = quantity->of;

    quantity->leaves = an_arena_alloc(o->arena, of->leaf_count + 1, sizeof *quantity->leaves);
    for (size_t i = 0; quantity->leaves && i < of->leaf_count; i++) {
        const struct an_plan_leaf *leaf = &of->leaves[i];
        struct an_ordinary_leaf *mine = &quantity->leaves[i];

        mine->tests = an_arena_alloc(o->arena, leaf->filter_count + 1, sizeof *mine->tests);
        if (!mine->tests) {
            return false;
        }
        for (size_t k = 0; k < leaf->filter_count; k++) {
            struct an_ordinary_column *column = &o->columns[leaf->filters[k].column];

            if (!column->passes) {
                column->passes = an_arena_alloc(o->arena, AN_ORDINARY_ROWS, sizeof *column->passes);
            }
            if (!column->passes) {
                return false;
            }
            if (column->filter_count == sizeof column->filters / sizeof column->filters[0]) {
                *is_fit = false;
                return true;
            }
            mine->tests[mine->test_count++] =
                (struct an_ordinary_test){column->passes, 1U << column->filter_count};
            column->filters[column->filter_count++] = &leaf->filters[k];
            quantity->is_filtered = true;
        }
    }
    return quantity->leaves != NULL;
}

static void note_start(struct an_ordinary *o, struct an_bytes text)
{
    if (text.length) {
        o->starts[text.at[0]] = true;
    }
}

static bool open_parts(struct an_ordinary *o, const struct an_reading *reading, bool *is_fit)
{
    const struct an_plan *plan = o->plan;
    const size_t rows = AN_ORDINARY_ROWS;

    o->columns = an_arena_alloc(o->arena, plan->column_count + 1, sizeof *o->columns);
    o->quantities = an_arena_alloc(o->arena, plan->quantity_count + 1, sizeof *o->quantities);
    o->splits =
        an_arena_alloc(o->arena, (plan->split_count + 1) * AN_KNOWN_SPLITS, sizeof *o->splits);
    o->split_of = an_arena_alloc(o->arena, (plan->split_count + 1) * rows, sizeof *o->split_of);
    o->joints =
        an_arena_alloc(o->arena, (plan->link_count + 1) * AN_KNOWN_GROUPS, sizeof *o->joints);
    o->joint_of = an_arena_alloc(o->arena, (plan->link_count + 1) * rows, sizeof(struct an_tie *));
    o->at_us = an_arena_alloc(o->arena, rows, sizeof *o->at_us);
    o->odd = an_arena_alloc(o->arena, rows, 1);
    o->sums = an_arena_alloc(o->arena, rows, sizeof *o->sums);
    o->place_rows = MOST_PLACES / o->fields;
    o->place_rows = o->place_rows > 2 * rows ? 2 * rows : o->place_rows;
    o->places =
        an_arena_alloc(o->arena, 1 + o->place_rows * o->fields + AN_SCAN_ROOM, sizeof *o->places);
    if (!o->columns || !o->quantities || !o->splits || !o->split_of || !o->joints || !o->joint_of ||
        !o->at_us || !o->sums || !o->places) {
        return false;
    }
    for (size_t i = 0; i < plan->quantity_count; i++) {
        o->quantities[i].of = &plan->quantities[i];
        o->quantities[i].groups = an_arena_alloc(o->arena, rows, sizeof(struct an_group *));
        if (!o->quantities[i].groups || !open_leaves(o, &o->quantities[i], is_fit)) {
            return false;
        }
    }
    for (size_t i = 0; i < plan->column_count; i++) {
        if (!open_column(o, reading, i)) {
            return false;
        }
    }
    note_start(o, an_bytes_of(plan->footer_start));
    note_start(o, an_bytes_of(plan->station->dialect.end_marker));
    note_start(o, an_bytes_of(plan->station->dialect.comment));
    note_start(o, reading->header.text);
    note_start(o, reading->header.units);
    return true;
}

enum an_status an_ordinary_open(const struct an_reading *reading, struct an_ordinary **out,
                                struct an_error *err)
{
    bool fit = is_fit(reading);

    *out = NULL;
    if (!fit) {
        return AN_OK;
    }
    struct an_ordinary *o = an_alloc(1, sizeof *o);
    if (o) {
        o->plan = reading->plan;
        o->fields = reading->header.field_count;
        o->most = FEW_ROWS;
        o->window = SMALL_WINDOW;
        o->arena = an_arena_open();
    }
    if (!o || !o->arena || !open_parts(o, reading, &fit)) {
        an_ordinary_close(o);
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    if (!fit) {
        an_ordinary_close(o);
        return AN_OK;
    }
    *out = o;
    return AN_OK;
}

void an_ordinary_close(struct an_ordinary *o)
{
    if (!o) {
        return;
    }
    for (size_t i = 0; o->columns && i < o->plan->column_count; i++) {
        an_free(o->columns[i].last);
    }
    an_text_free(&o->purpose);
    an_arena_close(o->arena);
    an_free(o);
}

void an_ordinary_moved(struct an_ordinary *o)
{
    o->rows = o->next = 0;
}

void an_ordinary_new_block(struct an_ordinary *o)
{
    for (size_t i = 0; i < o->plan->column_count; i++) {
        memset(o->columns[i].known, 0, AN_KNOWN_WORDS * sizeof *o->columns[i].known);
    }
    memset(o->splits, 0, (o->plan->split_count + 1) * AN_KNOWN_SPLITS * sizeof *o->splits);
    for (size_t i = 0; i < o->plan->link_count * AN_KNOWN_GROUPS; i++) {
        o->joints[i].visit = 0; /* their keys are of codes */
    }
}

/* ---- taking ----------------------------------------------------------------------------------- */
static bool begins_with(struct an_bytes text, const char *start)
{
    const size_t length = start ? strlen(start) : 0;

    return length && text.length >= length && memcmp(text.at, start, length) == 0;
}

/* Lines that may be no rows; counts the line ends of the others. */
static size_t check_lines(const struct an_ordinary *o, const struct an_reading *reading, size_t n,
                          size_t *with_cr)
{
    const struct an_dialect *dialect = &o->plan->station->dialect;

    *with_cr = 0;
    for (size_t r = 0; r < n; r++) {
        const uint32_t *at = o->places + (o->next + r) * o->fields;
        const size_t from = (size_t)(uint32_t)(at[0] + 1);
        const size_t end = at[o->fields];
        const bool cr = end > from && o->base[end - 1] == '\r';

        if (o->starts[o->base[from]]) {
            const struct an_bytes text = {o->base + from, end - from - cr};

            if (begins_with(text, o->plan->footer_start) || begins_with(text, dialect->comment) ||
                (dialect->end_marker && an_bytes_are(text, dialect->end_marker)) ||
                an_header_repeats(&reading->header, text)) {
                return r;
            }
        }
        *with_cr += cr;
    }
    return n;
}

/* Sees the running numbers as the row path does. */
static void see_sequence(struct an_ordinary *o, struct an_reading *reading, size_t n)
{
    const size_t column = o->plan->sequence;
    struct an_when *when = &reading->when;

    if (column == AN_NONE || o->plan->time == AN_NONE || o->columns[column].field == AN_NONE) {
        return;
    }
    for (size_t r = 0; r < n; r++) {
        int64_t number = 0;

        if (an_integer_parse(an_ordinary_field(o, o->columns[column].field, r), &number) != AN_OK) {
            continue;
        }
        when->disordered = when->disordered || (when->has_sequence && number < when->last_sequence);
        when->has_sequence = true;
        when->last_sequence = number;
    }
}

static void fill_times(struct an_ordinary *o, struct an_columns *columns, size_t n)
{
    const size_t column = o->plan->time;

    if (column == AN_NONE) {
        return;
    }
    struct an_block_column *block = &columns->at[column];
    memcpy(block->scaled + columns->rows, o->at_us, n * sizeof *block->scaled);
    memset(block->decimals + columns->rows, 6, n);
    if (!block->text_name) {
        memset(block->codes + columns->rows, 0xFF, n * sizeof *block->codes);
    }
}

/* How many of the next n rows every column is sure of. */
static size_t check(struct an_ordinary *o, struct an_reading *reading, size_t n, bool *no_memory)
{
    struct an_columns *columns = &reading->columns;
    const size_t count = o->plan->column_count;

    memset(o->odd, 0, n);
    for (size_t i = 0; i < count; i++) {
        if (o->columns[i].same && o->columns[i].field != AN_NONE) {
            n = an_ordinary_same(o, &o->columns[i], n);
        }
    }
    n = an_ordinary_times(o, n);
    for (size_t i = 0; i < count && n; i++) {
        if (o->columns[i].is_free) {
            n = an_ordinary_fit(o, &o->columns[i], n);
        }
    }
    for (size_t i = 0; i < count && n; i++) {
        if (o->columns[i].number) {
            n = an_ordinary_numbers(o, &o->columns[i], columns, n);
        }
    }
    for (size_t i = 0; i < count && n; i++) {
        if (o->columns[i].words && !o->columns[i].is_free) {
            n = an_ordinary_words(o, &o->columns[i], columns, n, no_memory);
        }
    }
    return n ? an_ordinary_find(o, reading, n) : 0;
}

/* What the original needs of the rows. False: memory. */
static bool keep_rows(struct an_ordinary *o, struct an_reading *reading, size_t n, size_t with_cr)
{
    struct an_mirror *mirror = &reading->mirror;
    const size_t from = reading->columns.rows;

    if (!reading->columns.mirror || mirror->failed) {
        return true;
    }
    if (!an_mirror_room(mirror, from + n)) {
        return false;
    }
    for (size_t i = 0; i < mirror->word_count; i++) {
        struct an_mirror_words *words = &mirror->words[i];

        for (size_t r = 0; r < n; r++) {
            if (!an_mirror_word(words, from + r, an_ordinary_field(o, words->field, r))) {
                return false;
            }
        }
    }
    if (!mirror->crlf_known) {
        mirror->crlf = with_cr > 0;
        mirror->crlf_known = true;
    }
    const bool mixed = with_cr != (mirror->crlf ? n : 0);
    for (size_t r = 0; r < n; r++) {
        const uint32_t *at = o->places + (o->next + r) * o->fields;
        const size_t begin = (size_t)(uint32_t)(at[0] + 1);
        const size_t end = at[o->fields];
        const bool cr = end > begin && o->base[end - 1] == '\r';

        if (!o->odd[r] && (!mixed || cr == mirror->crlf)) {
            mirror->bytes += end + 1 - begin;
        } else if (!an_mirror_odd(mirror, from + r, o->base + begin, end + 1 - begin)) {
            return false;
        }
    }
    return true;
}

static enum an_status take(struct an_ordinary *o, struct an_reading *reading, size_t n,
                           size_t with_cr, struct an_error *err)
{
    struct an_columns *columns = &reading->columns;
    struct an_lines *lines = &reading->lines;
    bool no_memory = false;

    for (size_t i = 0; i < o->plan->column_count && !no_memory; i++) {
        if (o->columns[i].is_free) {
            (void)an_ordinary_words(o, &o->columns[i], columns, n, &no_memory);
        }
    }
    if (no_memory || !keep_rows(o, reading, n, with_cr)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    fill_times(o, columns, n);
    see_sequence(o, reading, n);
    an_ordinary_tell_times(o, reading, n);
    const enum an_status st = an_ordinary_add(o, reading, n, err);
    if (st) {
        return st;
    }
    for (size_t r = 0; r < n; r++) {
        columns->lines[columns->rows + r] = (int64_t)(lines->line + r);
    }
    columns->rows += n;
    const uint32_t *at = o->places + o->next * o->fields;
    lines->start += at[n * o->fields] - at[0];
    lines->line += n;
    lines->saw_crlf = lines->saw_crlf || with_cr;
    lines->saw_lf = lines->saw_lf || with_cr < n;
    o->next += n;
    return an_reading_bound(reading, err);
}

/* Plain lines from the start of the reading's lines on; false if there is none. */
static bool find_lines(struct an_ordinary *o, const struct an_lines *lines)
{
    const unsigned char *from = lines->at + lines->start;

    if (o->next < o->rows && o->base + (uint32_t)(o->places[o->next * o->fields] + 1) == from) {
        return true;
    }
    if (o->next + 1 < o->rows &&
        o->base + (uint32_t)(o->places[(o->next + 1) * o->fields] + 1) == from) {
        o->next++; /* the row path has taken one */
        return true;
    }
    for (bool again = true; again;) {
        const size_t left = lines->end - lines->start;
        const size_t length = left < o->window ? left : o->window;
        const struct an_scan scan =
            an_scan_lines(from, length, lines->delimiter, o->fields, o->place_rows, o->places);

        o->base = from;
        o->rows = scan.rows;
        o->next = 0;
        again = !scan.rows && !scan.is_stuck && length < left && o->window < LARGE_WINDOW;
        o->window = scan.is_stuck ? SMALL_WINDOW : 2 * o->window;
        o->window = o->window > LARGE_WINDOW ? LARGE_WINDOW : o->window;
    }
    return o->rows > 0;
}

/* Of a file that is read again: rows that were known before or are to be held are the row path's. */
static size_t before_decided(struct an_reading *reading, size_t n)
{
    struct an_look *look = &reading->look;
    const uint64_t row = reading->accepted;

    if (look->done && look->verdict_count) {
        (void)an_look_verdict(look, row); /* passes those that are behind */
        if (look->next < look->verdict_count && look->verdicts[look->next].row - row < n) {
            n = (size_t)(look->verdicts[look->next].row - row);
        }
    }
    for (size_t r = 0; reading->map.before_rows && r < n; r++) {
        if (an_rowmap_is_before(&reading->map, row + r)) {
            return r;
        }
    }
    return n;
}

enum an_status an_ordinary_take(struct an_ordinary *o, struct an_reading *reading,
                                struct an_error *err)
{
    bool no_memory = false;
    enum an_status st = AN_OK;

    while (!st && o->stay && find_lines(o, &reading->lines)) {
        size_t wanted = o->rows - o->next;
        size_t with_cr = 0;

        wanted = wanted > o->most ? o->most : wanted;
        wanted = an_columns_room(&reading->columns, wanted);
        if (!wanted) {
            return an_fail(err, AN_NO_MEMORY, "out of memory");
        }
        size_t n = check_lines(o, reading, before_decided(reading, wanted), &with_cr);
        const size_t found = check(o, reading, n, &no_memory);
        if (no_memory) {
            return an_fail(err, AN_NO_MEMORY, "out of memory");
        }
        if (found < n) { /* the line ends once more, of those only */
            n = check_lines(o, reading, found, &with_cr);
        }
        const size_t block = reading->columns.block;
        if (n) {
            st = take(o, reading, n, with_cr, err);
        }
        if (!st && reading->columns.block != block) {
            an_ordinary_new_block(o);
        }
        if (!st && reading->stays.recent != o->stay) {
            o->stay = NULL; /* written away */
        }
        if (n < wanted) {
            o->most = n / 2 > FEW_ROWS ? n / 2 : FEW_ROWS;
            return st;
        }
        o->most = 2 * o->most > AN_ORDINARY_ROWS ? AN_ORDINARY_ROWS : 2 * o->most;
    }
    return st;
}
