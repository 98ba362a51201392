/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Findings about characteristics: readings, counts and what they are counts of, words that count,
 * codes of missing readings, and columns that were given no use. Must never take a sample's range
 * for a specification or for what is possible.
 */
#include "intake/probe_inner.h"
#include "line/unit.h"

#include <math.h>
#include <string.h>

#define LLU(n) ((unsigned long long)(n))

/* ---- missing codes ---------------------------------------------------------------------------- */
static bool is_usual_code(struct an_bytes text)
{
    static const char *const usual[] = {"NaN", "nan", "NAN", "N/A", "n/a", "NA", "null"};
    bool is = false;
    for (size_t i = 0; i < sizeof usual / sizeof *usual; i++) {
        is = is || an_bytes_are(text, usual[i]);
    }
    return is;
}

static const char *meaning_of(const char *text)
{
    return text[0] == '>' || an_probe_name_has(text, "over ovf ovr ovl sat high max") ? "over_range"
           : text[0] == '<' || an_probe_name_has(text, "under udf low min") ? "under_range"
                                                                            : "missing";
}

/* A code, or a damaged number? */
static bool is_code(struct an_bytes text)
{
    bool digit = false;
    for (size_t i = 0; i < text.length; i++) {
        digit = digit || (text.at[i] >= '0' && text.at[i] <= '9');
    }
    return text.length <= 16 && (!digit || text.at[0] == '<' || text.at[0] == '>');
}

static bool is_value(const struct an_probe_column *c)
{
    return c->role == AN_PROBE_MEASURED || c->role == AN_PROBE_COUNT || c->role == AN_PROBE_WHOLE;
}

struct codes {
    struct an_text list, odd;
    struct an_names *seen;
    bool unusual, bounded;
    uint64_t rows, odd_rows;
};

static void find_codes(struct an_probe_state *probe, const struct an_probe_column *c,
                       struct codes *codes)
{
    const size_t words = an_names_count(c->words);
    for (size_t w = 0; w < words; w++) {
        const struct an_bytes text = an_names_at(c->words, w);
        const struct an_probe_word *word = &c->of_word[w];
        struct an_decimal number;
        if (an_probe_number_like(text) &&
            an_decimal_parse(text, probe->decimal, probe->group, &number) == AN_OK) {
            continue;
        }
        if (!is_code(text)) {
            if (codes->odd_rows < 3) {
                an_text_addf(&codes->odd, "%s\"%s\" in \"%s\" (%s)", codes->odd.length ? ", " : "",
                             (const char *)text.at, c->name,
                             an_probe_where(probe, word->file, word->line));
            }
            codes->odd_rows += word->count;
            continue;
        }
        codes->rows += word->count;
        codes->unusual = codes->unusual || !is_usual_code(text);
        const char *code = (const char *)text.at;
        if (text.at[0] == '<' || text.at[0] == '>') {
            code = text.at[0] == '<' ? "<*" : ">*";
        }
        const size_t before = an_names_count(codes->seen);
        if (an_names_add(codes->seen, an_bytes_of(code)) == before) {
            an_text_addf(&codes->list, "%s%s: %s", codes->list.length ? ", " : "",
                         an_probe_quoted(probe, code), meaning_of(code));
        }
    }
}

static void say_missing(struct an_probe_state *probe)
{
    struct codes codes = {.seen = an_names_open()};
    probe->no_memory = probe->no_memory || !codes.seen;
    for (size_t i = 0; i < probe->column_count && !probe->no_memory; i++) {
        if (is_value(&probe->columns[i])) {
            find_codes(probe, &probe->columns[i], &codes);
        }
    }
    if (codes.unusual) {
        struct an_probe_finding *finding = an_probe_find(
            probe, "missing", true, an_probe_sayf(probe, "{%s}", an_text_of(&codes.list)),
            an_probe_sayf(probe, "%llu fields of number columns hold these texts",
                          LLU(codes.rows)));
        an_probe_doubt(probe, finding,
                       "what each means was told by its look only; the usual codes (NaN, N/A) "
                       "count no more unless they stand here");
    }
    if (codes.odd_rows) {
        an_probe_remark(
            probe,
            "%llu fields of number columns are neither numbers nor codes, and their rows will be held: %s",
            LLU(codes.odd_rows), an_text_of(&codes.odd));
    }
    an_names_close(codes.seen);
    an_text_free(&codes.list);
    an_text_free(&codes.odd);
}

/* ---- readings --------------------------------------------------------------------------------- */
static const char *path_of(struct an_probe_state *probe, const char *name, const char *key)
{
    return an_probe_sayf(probe, "characteristics.%s.%s", name, key);
}

/* A name no other characteristic has. */
static const char *name_of(struct an_probe_state *probe, const struct an_probe_column *c)
{
    const char *name = an_probe_make_name(probe->arena, c->name);
    name = name ? name : "x";
    for (const struct an_probe_column *d = probe->columns; d < c; d++) {
        const char *other = an_probe_make_name(probe->arena, d->name);
        if (other && strcmp(name, other) == 0) {
            return an_probe_sayf(probe, "%.24s_%zu", name, (size_t)(c - probe->columns) + 1);
        }
    }
    return name;
}

static const char *splits(struct an_probe_state *probe)
{
    struct an_text list = {0};
    for (size_t i = 0; i < probe->column_count; i++) {
        if (probe->columns[i].role == AN_PROBE_SPLIT) {
            an_text_addf(&list, "%s%s", list.length ? ", " : "[",
                         an_probe_quoted(probe, probe->columns[i].name));
        }
    }
    an_text_add(&list, list.length ? "]" : "");
    const char *copy = list.length ? an_probe_sayf(probe, "%s", an_text_of(&list)) : NULL;
    an_text_free(&list);
    return copy;
}

static void say_unit(struct an_probe_state *probe, const struct an_probe_column *c,
                     const char *name)
{
    const char *doubt = NULL;
    const char *by_name = an_probe_unit_of_name(probe->arena, c->name, &doubt);
    const char *unit = c->unit ? c->unit : by_name;
    struct an_probe_finding *finding = an_probe_find(probe, path_of(probe, name, "unit"), true,
                                                     an_probe_quoted(probe, unit ? unit : "?"),
                                                     c->unit   ? "from the row of units"
                                                     : by_name ? "from the column's name"
                                                               : NULL);
    if (!unit) {
        an_probe_doubt(probe, finding, "no unit is told anywhere; write it here (1 for none)");
    } else if (c->unit && !an_unit_known(an_bytes_of(c->unit))) {
        an_probe_doubt(probe, finding, "not in the table of units, so it cannot be converted");
    } else if (c->unit && by_name && !an_unit_same(an_bytes_of(c->unit), an_bytes_of(by_name))) {
        an_probe_doubt(probe, finding, "the column's name says %s", by_name);
    } else if (!c->unit && doubt) {
        an_probe_doubt(probe, finding, "%s", doubt);
    }
}

static void say_subgroup(struct an_probe_state *probe, const char *name, bool counted)
{
    const uint64_t *rows = probe->group_rows;
    const char *split = splits(probe);
    const bool several = rows[1] >= 2;

    if (split) {
        (void)an_probe_find(probe, path_of(probe, name, "split"), true, split, NULL);
    }
    const char *evidence = an_probe_sayf(
        probe, "rows an item%s in a file: %llu in the middle case, %llu to %llu (%llu groups)",
        split ? " and split" : "", LLU(rows[1]), LLU(rows[0]), LLU(rows[2]), LLU(probe->groups));
    (void)an_probe_find(probe, path_of(probe, name, "subgroup"), true,
                        several || counted ? "item" : "row", evidence);
    if (!counted) {
        struct an_probe_finding *finding = an_probe_find(
            probe, path_of(probe, name, "family"), true, several ? "between_within" : "individuals",
            several ? "likely: items differ by more than the spread within one explains"
                    : "likely: one reading a sample");
        if (several && rows[1] < 3) {
            an_probe_doubt(probe, finding, "two rows an item are few for a spread within");
        }
    }
}

static void say_measured(struct an_probe_state *probe, const struct an_probe_column *c)
{
    const char *name = name_of(probe, c);
    char least[32];
    char most[32];
    struct an_probe_finding *finding = an_probe_find(
        probe, path_of(probe, name, "column"), true, an_probe_quoted(probe, c->name),
        an_probe_sayf(probe, "%llu numbers in %llu rows, %s to %s, %d decimals", LLU(c->numbers),
                      LLU(c->rows), an_number_shortest(c->least, least),
                      an_number_shortest(c->most, most), c->decimals));
    if (c->texts) {
        an_probe_doubt(probe, finding, "%llu fields are texts", LLU(c->texts));
    }
    if (c->least == c->most) {
        an_probe_doubt(probe, finding, "all values are equal: a setting, not a reading?");
    }
    char nines[32];
    for (const double *end = (const double[]){c->least, c->most, NAN}; !isnan(*end); end++) {
        an_number_shortest(fabs(*end), nines);
        if (strlen(nines) >= 3 && strspn(nines, "9.") == strlen(nines)) {
            an_probe_doubt(probe, finding, "%s%s may be a code of a missing reading, not a number",
                           *end < 0 ? "-" : "", nines);
        }
    }
    say_unit(probe, c, name);
    say_subgroup(probe, name, false);
    if (probe->grid_row != AN_NONE) {
        struct an_probe_finding *grid = an_probe_find(
            probe, path_of(probe, name, "grid"), probe->grid_twice == 0,
            an_probe_sayf(probe, "{row: %s, column: %s}",
                          an_probe_quoted(probe, probe->columns[probe->grid_row].name),
                          an_probe_quoted(probe, probe->columns[probe->grid_column].name)),
            an_probe_sayf(probe, "places: %llu rows lie where the item had one already",
                          LLU(probe->grid_twice)));
        if (probe->grid_twice) {
            an_probe_doubt(probe, grid, "so these may be no places of single readings");
        }
    }
    for (size_t i = 0; i < probe->column_count; i++) {
        const struct an_probe_column *place = &probe->columns[i];
        if (place->role == AN_PROBE_PLACE && i != probe->grid_row && i != probe->grid_column) {
            (void)an_probe_find(
                probe, path_of(probe, name, "position_column"), false,
                an_probe_quoted(probe, place->name),
                an_probe_sayf(probe, "%zu places; take it if each shall have a baseline of its own",
                              an_names_count(place->words)));
        }
    }
}

/* ---- counts ----------------------------------------------------------------------------------- */
struct parts {
    size_t whole, part;
    uint64_t rows, over;
};

static bool compare_parts(void *context, struct an_probe_state *probe, size_t file, uint64_t line,
                          const struct an_fields *fields)
{
    struct parts *parts = context;
    struct an_decimal whole = {0};
    struct an_decimal part = {0};
    bool found[2] = {false, false};

    (void)line;
    for (size_t i = 0; i < fields->count; i++) {
        const size_t column = probe->files[file].column_of[i];
        const struct an_bytes cell = an_bytes_trim(fields->at[i]);
        if (column == parts->whole) {
            found[0] = an_decimal_parse(cell, probe->decimal, probe->group, &whole) == AN_OK;
        } else if (column == parts->part) {
            found[1] = an_decimal_parse(cell, probe->decimal, probe->group, &part) == AN_OK;
        }
    }
    if (found[0] && found[1]) {
        parts->rows++;
        parts->over += part.value > whole.value;
    }
    return true;
}

static const struct an_probe_column *largest_whole(struct an_probe_state *probe)
{
    const struct an_probe_column *best = NULL;
    for (size_t i = 0; i < probe->column_count; i++) {
        const struct an_probe_column *c = &probe->columns[i];
        if (c->role == AN_PROBE_WHOLE && (!best || c->most > best->most)) {
            best = c;
        }
    }
    return best;
}

static void say_count(struct an_probe_state *probe, const struct an_probe_column *c)
{
    const char *name = name_of(probe, c);
    const struct an_probe_column *whole = largest_whole(probe);
    struct parts parts = {0};
    char least[32];
    char most[32];

    (void)an_probe_find(probe, path_of(probe, name, "count"), true, an_probe_quoted(probe, c->name),
                        an_probe_sayf(probe, "whole numbers %s to %s, and a name that counts",
                                      an_number_shortest(c->least, least),
                                      an_number_shortest(c->most, most)));
    if (whole) {
        parts.whole = (size_t)(whole - probe->columns);
        parts.part = (size_t)(c - probe->columns);
        an_probe_all_rows(probe, compare_parts, &parts);
    }
    const bool fits = whole && parts.rows && parts.over * 100 <= parts.rows;
    const char *evidence =
        whole ? an_probe_sayf(probe, "\"%s\" exceeds \"%s\" in %llu of %llu rows", c->name,
                              whole->name, LLU(parts.over), LLU(parts.rows))
              : NULL;
    struct an_probe_finding *finding =
        an_probe_find(probe, path_of(probe, name, "opportunities"), fits,
                      whole ? an_probe_quoted(probe, whole->name) : "COLUMN or a number", evidence);
    if (fits) {
        an_probe_doubt(probe, finding, "is it what \"%s\" counts among?", c->name);
        struct an_probe_finding *part = an_probe_find(
            probe, "part_whole.-", true,
            an_probe_sayf(probe, "{part: %s, whole: %s}", an_probe_quoted(probe, c->name),
                          an_probe_quoted(probe, whole->name)),
            evidence);
        if (parts.over) {
            an_probe_doubt(probe, part, "those rows will be held");
        }
    } else {
        an_probe_doubt(probe, finding,
                       "no column is seen to hold what is counted among; without it the "
                       "counts are charted as such (c), which is right for equal areas only");
    }
    say_subgroup(probe, name, true);
}

/* ---- words that count ------------------------------------------------------------------------- */
static void say_outcome(struct an_probe_state *probe, const struct an_probe_column *c)
{
    static const char good_words[] = "good ok pass passed io yes accept accepted gut";
    const char *name = name_of(probe, c);
    struct an_text bad = {0};
    size_t good = 0;
    uint64_t bad_rows = 0;
    const size_t words = an_names_count(c->words);

    for (size_t w = 0; w < words; w++) {
        const char *word = (const char *)an_names_at(c->words, w).at;
        if (an_probe_name_has(word, good_words)) {
            good++;
        } else {
            an_text_addf(&bad, "%s%s", bad.length ? ", " : "", an_probe_quoted(probe, word));
            bad_rows += c->of_word[w].count;
        }
    }
    const bool told = good > 0 && bad.length > 0;
    struct an_probe_finding *finding = an_probe_find(
        probe,
        told ? path_of(probe, name, "count") : an_probe_sayf(probe, "characteristics.%s", name),
        told,
        told ? an_probe_sayf(probe, "{column: %s, words: [%s]}", an_probe_quoted(probe, c->name),
                             an_text_of(&bad))
             : an_probe_sayf(probe, "{count: {column: %s, words: [WORD]}}",
                             an_probe_quoted(probe, c->name)),
        an_probe_sayf(probe, "%llu of %llu rows", LLU(bad_rows), LLU(c->rows)));
    if (told) {
        an_probe_doubt(probe, finding, "do exactly these words mean a failure?");
        struct an_probe_finding *subgroup =
            an_probe_find(probe, path_of(probe, name, "subgroup"), true, "item",
                          an_probe_sayf(probe, "rows an item in a file: %llu in the middle case",
                                        LLU(probe->group_rows[1])));
        if (probe->group_rows[1] < 20) {
            an_probe_doubt(probe, subgroup,
                           "a share needs many rows a sample: {every: N} may serve better");
        }
    } else {
        an_probe_doubt(probe, finding, "which of the %zu words mean a failure?", words);
    }
    an_text_free(&bad);
}

/* ---- the rest --------------------------------------------------------------------------------- */
static void say_unused(struct an_probe_state *probe)
{
    struct an_text list = {0};
    size_t count = 0;
    for (size_t i = 0; i < probe->column_count; i++) {
        const struct an_probe_column *c = &probe->columns[i];
        const bool is_time = c->time.pattern || c->time.clock_only || c->time.milliseconds;
        if ((c->role == AN_PROBE_NO_ROLE && !is_time) || c->role == AN_PROBE_EMPTY) {
            char least[32];
            char most[32];
            if (c->role == AN_PROBE_EMPTY) {
                an_text_addf(&list, "%s\"%s\" (empty)", count++ ? ", " : "", c->name);
            } else if (c->numbers >= c->texts && c->numbers) {
                an_text_addf(&list, "%s\"%s\" (whole numbers %s to %s)", count++ ? ", " : "",
                             c->name, an_number_shortest(c->least, least),
                             an_number_shortest(c->most, most));
            } else {
                an_text_addf(&list, "%s\"%s\" (%zu texts)", count++ ? ", " : "", c->name,
                             an_names_count(c->words));
            }
        }
    }
    if (count) {
        an_probe_remark(probe, "no use is proposed for %s", an_text_of(&list));
    }
    an_text_free(&list);
}

void an_probe_charts(struct an_probe_state *probe)
{
    size_t count = 0;

    say_missing(probe);
    for (size_t i = 0; i < probe->column_count && !probe->no_memory; i++) {
        const struct an_probe_column *c = &probe->columns[i];
        count += is_value(c) || c->role == AN_PROBE_OUTCOME;
        if (c->role == AN_PROBE_MEASURED) {
            say_measured(probe, c);
        } else if (c->role == AN_PROBE_COUNT) {
            say_count(probe, c);
        } else if (c->role == AN_PROBE_OUTCOME) {
            say_outcome(probe, c);
        }
    }
    if (!count) {
        an_probe_remark(probe, "no column holds readings or counts that could be charted");
    }
    say_unused(probe);
}
