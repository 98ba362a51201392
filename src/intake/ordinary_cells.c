/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Cells of ordinary rows, a column at a time: the same as before, a number, or a word. Must never
 * take a cell that the row path would read otherwise: what is not certain ends the run of rows.
 */
#include "intake/ordinary_inner.h"

static bool is_equal(const unsigned char *a, const unsigned char *b, size_t length)
{
    if (length <= 8) {
        return ((an_load_word(a) ^ an_load_word(b)) & an_low_bytes(length)) == 0;
    }
    if (length <= 16) {
        return an_load_word(a) == an_load_word(b) &&
               an_load_word(a + length - 8) == an_load_word(b + length - 8);
    }
    return memcmp(a, b, length) == 0;
}

size_t an_ordinary_same(const struct an_ordinary *o, const struct an_ordinary_column *column,
                        size_t n)
{
    struct an_walk walk = an_walk_field(o, column->field);

    for (size_t r = 0; r < n; r++) {
        const struct an_bytes text = an_walk_next(&walk);

        if (text.length != column->last_length || !is_equal(text.at, column->last, text.length)) {
            return r;
        }
    }
    return n;
}

/* ---- numbers ---------------------------------------------------------------------------------- */
/* Eight digits, the first one lowest, as a number; false if one of them is none. [Lemire, Parsing
 * series of integers with SIMD, the same by words; the steps are common practice] */
static bool eight_digits(uint64_t word, uint64_t *number)
{
    const uint64_t high = word & UINT64_C(0xF0F0F0F0F0F0F0F0);
    const uint64_t carried = (word + UINT64_C(0x0606060606060606)) & UINT64_C(0xF0F0F0F0F0F0F0F0);

    if ((high | carried >> 4) != UINT64_C(0x3333333333333333)) {
        return false;
    }
    word = (word & UINT64_C(0x0F0F0F0F0F0F0F0F)) * 2561 >> 8;
    word = (word & UINT64_C(0x00FF00FF00FF00FF)) * 6553601 >> 16;
    *number = (word & UINT64_C(0x0000FFFF0000FFFF)) * UINT64_C(42949672960001) >> 32;
    return true;
}

/* Up to eight characters: digits with at most one mark among them, none at the end. */
static bool short_decimal(const unsigned char *at, size_t length, uint64_t marks, uint64_t *whole,
                          size_t *decimals)
{
    const uint64_t word = an_load_word(at);
    const uint64_t other = word ^ marks;
    const uint64_t found = (other - UINT64_C(0x0101010101010101)) & ~other &
                           UINT64_C(0x8080808080808080) & an_low_bytes(length);
    size_t before = length;
    uint64_t digits = word;

    *decimals = 0;
    if (found) {
        before = (size_t)__builtin_ctzll(found) / 8;
        *decimals = length - 1 - before;
        if (*decimals == 0) {
            return false;
        }
        digits = (word & an_low_bytes(before)) | (word >> 8 & ~an_low_bytes(before));
        length--;
    }
    if (length == 0) {
        return false;
    }
    /* the digits to the top, zeros in front of them */
    digits = digits << 8 * (8 - length) | (UINT64_C(0x3030303030303030) & an_low_bytes(8 - length));
    return eight_digits(digits, whole);
}

/* The least number of `from` to `to` (which has it) for which `good` is true; it stays so. */
struct asked {
    const struct an_characteristic *of;
    int decimals;
    bool is_share;
};

static double value_of(const struct asked *asked, int64_t scaled)
{
    const double value = an_decimal_value(scaled, asked->decimals);

    return asked->is_share ? value : value * asked->of->factor + asked->of->offset;
}

static bool is_possible(const struct asked *asked, int64_t scaled)
{
    const double value = value_of(asked, scaled);

    return asked->is_share
               ? value >= 0 && value <= 1
               : !(value < asked->of->possible_min) && !(value > asked->of->possible_max);
}

/* Is it refused for lying too low (as the scaled number goes)? */
static bool is_below(const struct asked *asked, int64_t scaled)
{
    const double value = value_of(asked, scaled);

    if (asked->is_share) {
        return value < 0;
    }
    return asked->of->factor < 0 ? value > asked->of->possible_max
                                 : value < asked->of->possible_min;
}

/* Scaled numbers go one way with their values, so those that are possible lie side by side: their
 * ends are found by halving, with the very test of the row path. */
static void narrow(struct an_possible *possible, const struct asked *asked)
{
    int64_t low = possible->least;
    int64_t high = possible->most;

    if (low > high) {
        return;
    }
    while (low < high) { /* the first that is not below */
        const int64_t middle = low + (high - low) / 2;

        if (is_below(asked, middle)) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    const int64_t first = low;
    high = possible->most;
    if (!is_possible(asked, first)) {
        possible->most = possible->least - 1;
        return;
    }
    while (low < high) { /* the last that is possible */
        const int64_t middle = low + (high - low) / 2 + 1;

        if (is_possible(asked, middle)) {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    possible->least = first;
    possible->most = low;
}

static void find_possible(const struct an_ordinary *o, const struct an_ordinary_column *column,
                          struct an_possible *possible, int decimals)
{
    const struct an_plan *plan = o->plan;

    possible->is_set = true;
    possible->least = -INT64_C(999999999999999);
    possible->most = INT64_C(999999999999999);
    for (size_t q = 0; q < plan->quantity_count; q++) {
        for (size_t i = 0; i < plan->quantities[q].leaf_count; i++) {
            const struct an_plan_leaf *leaf = &plan->quantities[q].leaves[i];

            if (leaf->column == column->column) {
                narrow(possible, &(struct asked){leaf->of, decimals, false});
            }
        }
    }
    for (size_t i = 0; i < plan->link_count; i++) {
        if (plan->links[i].share == column->column) {
            narrow(possible, &(struct asked){NULL, decimals, true});
        }
    }
}

static const double tens[AN_KNOWN_SCALES] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,
                                             1e7,  1e8,  1e9,  1e10, 1e11, 1e12, 1e13,
                                             1e14, 1e15, 1e16, 1e17, 1e18};

/* The field as the row path reads it; false if it would make anything but a usual number of it. It
 * begins with none of the column's codes. */
static bool read_number(const struct an_plan *plan, uint64_t marks, struct an_bytes text,
                        int64_t *scaled, size_t *decimals, unsigned char *odd)
{
    const bool minus = text.at[0] == '-';
    const unsigned char *at = text.at + minus;
    const size_t length = text.length - minus;
    uint64_t whole = 0;

    if (length <= 8 && short_decimal(at, length, marks, &whole, decimals)) {
        const size_t before = *decimals ? length - *decimals - 1 : length;

        *scaled = minus ? -(int64_t)whole : (int64_t)whole;
        *odd |= before == 0 || (before > 1 && *at == '0') || (minus && !whole);
        return true;
    }
    const struct an_dialect *dialect = &plan->station->dialect;
    struct an_decimal number;
    if (an_decimal_parse(text, dialect->decimal_mark, dialect->group_mark, &number) != AN_OK ||
        number.decimals < 0 || number.decimals >= AN_KNOWN_SCALES) {
        return false;
    }
    *scaled = number.scaled;
    *decimals = (size_t)number.decimals;
    *odd |= !an_layout_is_plain(text, dialect->decimal_mark);
    return true;
}

static size_t fill_numbers(struct an_ordinary_column *column, struct an_block_column *block,
                           size_t from, size_t n)
{
    if (!column->has_constant) {
        return 0;
    }
    for (size_t r = 0; r < n; r++) {
        block->scaled[from + r] = column->constant.scaled;
        block->decimals[from + r] = (signed char)column->constant.decimals;
    }
    return n;
}

size_t an_ordinary_numbers(struct an_ordinary *o, struct an_ordinary_column *column,
                           struct an_columns *columns, size_t n)
{
    const uint64_t marks =
        (unsigned char)o->plan->station->dialect.decimal_mark * UINT64_C(0x0101010101010101);
    struct an_block_column *block = &columns->at[column->column];
    int64_t *out = block->scaled + columns->rows;
    signed char *out_decimals = block->decimals + columns->rows;
    struct an_walk walk = an_walk_field(o, column->field);
    uint64_t last_head = 0;
    size_t last_length = SIZE_MAX; /* none yet */
    unsigned char odd = 0;
    size_t r = 0;

    if (!block->text_name) { /* no words beside the numbers */
        memset(block->codes + columns->rows, 0xFF, n * sizeof *block->codes);
    }
    if (column->field == AN_NONE) {
        return fill_numbers(column, block, columns->rows, n);
    }
    for (; r < n; r++) {
        const struct an_bytes text = an_walk_next(&walk);
        const uint64_t head = an_load_word(text.at) & an_low_bytes(text.length);
        int64_t scaled = 0;
        size_t decimals = 0;

        if (head == last_head && text.length == last_length && text.length <= 8) {
            out[r] = out[r - 1];
            out_decimals[r] = out_decimals[r - 1];
            column->prints[r] = column->prints[r - 1];
            o->odd[r] |= odd;
            continue;
        }
        odd = 0;
        if (text.length == 0 || column->starts_code[text.at[0]] ||
            !read_number(o->plan, marks, text, &scaled, &decimals, &odd)) {
            break;
        }
        struct an_possible *possible = &column->possible[decimals];
        if (!possible->is_set) {
            find_possible(o, column, possible, (int)decimals);
        }
        if (scaled < possible->least || scaled > possible->most) {
            break;
        }
        out[r] = scaled;
        out_decimals[r] = (signed char)decimals;
        column->prints[r] = an_print_value((double)scaled / tens[decimals]);
        o->odd[r] |= odd;
        last_head = head;
        last_length = text.length;
    }
    return r;
}

/* ---- words ------------------------------------------------------------------------------------ */
static bool is_blank(unsigned char c)
{
    return c == ' ' || c == '\t';
}

/* Nothing in the word by itself asks for the row path. */
static bool is_fit(const struct an_plan *plan, size_t column, struct an_bytes text)
{
    if (plan->station->dialect.trim && text.length &&
        (is_blank(text.at[0]) || is_blank(text.at[text.length - 1]))) {
        return false;
    }
    for (size_t i = 0; i < plan->allowed_count; i++) {
        if (plan->allowed[i].column == column && text.length &&
            !an_word_in(text, plan->allowed[i].words)) {
            return false;
        }
    }
    return true;
}

static bool is_fit_split(const struct an_plan *plan, size_t column, struct an_bytes text)
{
    for (size_t s = 0; s < plan->split_count; s++) {
        for (size_t i = 0; i < plan->splits[s].count; i++) {
            if (plan->splits[s].columns[i] == column &&
                (text.length == 0 || text.length > 128 ||
                 memchr(text.at, '=', text.length) != NULL)) {
                return false;
            }
        }
    }
    return true;
}

size_t an_ordinary_fit(const struct an_ordinary *o, const struct an_ordinary_column *column,
                       size_t n)
{
    for (size_t r = 0; r < n; r++) {
        if (!is_fit(o->plan, column->column, an_ordinary_field(o, column->field, r))) {
            return r;
        }
    }
    return n;
}

static struct an_known_word *slot_of(struct an_ordinary_column *column, uint64_t head,
                                     size_t length)
{
    const uint64_t hash = (head ^ length) * UINT64_C(0x9E3779B97F4A7C15);

    return &column->known[hash >> 58]; /* AN_KNOWN_WORDS are 2^6 */
}

static uint64_t head_of(struct an_bytes text)
{
    uint64_t head = 0;

    for (size_t i = 0; i < text.length && i < 8; i++) {
        head |= (uint64_t)text.at[i] << 8 * i;
    }
    return head;
}

/* Finds out about a text. One that the block does not have yet is added only if it may be, since
 * the row it stands in must be sure to be taken. NULL when memory is out. */
static struct an_known_word *know(struct an_ordinary *o, struct an_ordinary_column *column,
                                  struct an_columns *columns, struct an_bytes text, uint64_t head)
{
    struct an_names *words = columns->at[column->column].words;
    struct an_known_word *word = slot_of(column, head, text.length);
    struct an_known_word made = {.head = head, .length = text.length, .code = UINT32_MAX};

    made.is_fit = column->is_free || (is_fit(o->plan, column->column, text) &&
                                      is_fit_split(o->plan, column->column, text));
    if (made.is_fit && text.length) {
        const size_t code =
            column->is_free ? an_names_add(words, text) : an_names_find(words, text);

        if (code == AN_NO_NAME && column->is_free) {
            return NULL;
        }
        made.is_fit = code != AN_NO_NAME;
        made.code = (uint32_t)code;
        made.at = made.is_fit ? an_names_at(words, code).at : NULL;
    }
    made.print = an_print_text(text);
    for (size_t i = 0; i < column->filter_count; i++) {
        made.passes |= an_word_in(text, column->filters[i]->words) ? 1U << i : 0;
    }
    made.is_set = made.is_fit;
    *word = made;
    return word;
}

struct an_known_word *an_ordinary_word(struct an_ordinary *o, struct an_ordinary_column *column,
                                       struct an_columns *columns, struct an_bytes text)
{
    const uint64_t head = head_of(text);
    struct an_known_word *word = slot_of(column, head, text.length);

    if (word->is_set && word->head == head && word->length == text.length &&
        (text.length <= 8 || memcmp(word->at + 8, text.at + 8, text.length - 8) == 0)) {
        return word;
    }
    return know(o, column, columns, text, head);
}

/* Is it among the words that the visit has in that column? */
static bool is_listed(const struct an_ordinary *o, size_t column, struct an_bytes text)
{
    const struct an_plan *plan = o->plan;
    const struct an_words *const lists[] = {&o->stay->gauge, &o->stay->tool, &o->stay->who,
                                            &o->stay->attempt};
    const size_t columns[] = {plan->gauge, plan->tool, plan->who, plan->attempt};

    for (size_t i = 0; text.length && i < sizeof columns / sizeof columns[0]; i++) {
        bool found = columns[i] != column;
        for (const struct an_word *word = lists[i]->first; word && !found; word = word->next) {
            found = an_bytes_equal(word->text, text);
        }
        if (!found) {
            return false;
        }
    }
    return true;
}

size_t an_ordinary_words(struct an_ordinary *o, struct an_ordinary_column *column,
                         struct an_columns *columns, size_t n, bool *no_memory)
{
    uint32_t *out = columns->at[column->column].codes + columns->rows;
    const bool print = !column->number && !column->time;
    const struct an_bytes last = {column->last, column->last_length};
    const bool constant = column->same || column->field == AN_NONE;
    struct an_walk walk = an_walk_field(o, constant ? 0 : column->field);
    uint64_t last_head = 0;
    size_t last_length = SIZE_MAX;

    for (size_t r = 0; r < n; r++) {
        struct an_bytes text = constant ? last : an_walk_next(&walk);
        const uint64_t head =
            constant ? head_of(text) : an_load_word(text.at) & an_low_bytes(text.length);
        if (head == last_head && text.length == last_length && text.length <= 8) {
            out[r] = out[r - 1]; /* as the row before */
            if (print) {
                column->prints[r] = column->prints[r - 1];
            }
            if (column->passes) {
                column->passes[r] = column->passes[r - 1];
            }
            continue;
        }
        struct an_known_word *word = slot_of(column, head, text.length);

        if (!word->is_set || word->head != head || word->length != text.length ||
            (text.length > 8 && memcmp(word->at + 8, text.at + 8, text.length - 8) != 0)) {
            word = know(o, column, columns, text, head);
            if (!word) {
                *no_memory = true;
                return 0;
            }
            if (!word->is_fit) {
                return r;
            }
        }
        if (column->listed && word->visit != o->visit) {
            if (!is_listed(o, column->column, text)) {
                return r;
            }
            word->visit = o->visit;
        }
        if (column->link && text.length && !word->is_link) {
            return r;
        }
        if (constant) {
            for (size_t k = 0; k < n; k++) {
                out[k] = word->code;
            }
            column->print = print ? word->print : column->print;
            for (size_t k = 0; column->passes && k < n; k++) {
                column->passes[k] = word->passes;
            }
            return n;
        }
        out[r] = word->code;
        if (print) {
            column->prints[r] = word->print;
        }
        if (column->passes) {
            column->passes[r] = word->passes;
        }
        last_head = head;
        last_length = text.length;
    }
    return n;
}
