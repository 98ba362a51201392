/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A regular expression for serials, made of the ones that were seen. Must never be narrower than a
 * few samples allow: digits always stand for any digits, and letters are taken as they are only
 * when many serials agree on them.
 */
#include "intake/probe_inner.h"

#include <string.h>

enum { MOST_SHAPES = 4, MOST_RUNS = 12, MANY = 8, MOST_REPEATS = 10000 };

struct run {
    char kind; /* D digits, U upper case, L lower case, or the character itself */
    size_t least, most;
    char text[24];       /* of the first serial */
    bool constant, zero; /* zero: digits that begin with 0 were seen */
};

struct shape {
    struct run runs[MOST_RUNS];
    size_t run_count;
    uint64_t texts, rows;
    struct an_bytes first;
    uint64_t line;
    size_t file;
};

static char kind_of(unsigned char c)
{
    return c >= '0' && c <= '9'   ? 'D'
           : c >= 'A' && c <= 'Z' ? 'U'
           : c >= 'a' && c <= 'z' ? 'L'
                                  : (char)c;
}

static bool runs_of(struct an_bytes text, struct shape *shape)
{
    memset(shape, 0, sizeof *shape);
    for (size_t i = 0; i < text.length;) {
        const char kind = kind_of(text.at[i]);
        const bool class = kind == 'D' || kind == 'U' || kind == 'L';
        size_t n = 1;
        while (class && i + n < text.length && kind_of(text.at[i + n]) == kind) {
            n++;
        }
        if (shape->run_count == MOST_RUNS || n >= sizeof shape->runs[0].text ||
            text.at[i] >= 0x7F || text.at[i] < 0x20) {
            return false;
        }
        struct run *run = &shape->runs[shape->run_count++];
        run->kind = class ? kind : 'S';
        run->least = run->most = n;
        run->constant = true;
        run->zero = text.at[i] == '0';
        memcpy(run->text, text.at + i, n);
        i += n;
    }
    return shape->run_count > 0;
}

static bool same_shape(const struct shape *a, const struct shape *b)
{
    bool same = a->run_count == b->run_count;
    for (size_t i = 0; same && i < a->run_count; i++) {
        same = a->runs[i].kind == b->runs[i].kind &&
               (a->runs[i].kind != 'S' || a->runs[i].text[0] == b->runs[i].text[0]);
    }
    return same;
}

static bool is_reference(const struct shape *shape)
{
    static const char *const words[] = {"REF", "GOLD", "GOLDEN", "STD", "MASTER", "CAL", "CHK"};
    bool is = false;
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        is = is || (shape->runs[0].constant && strcmp(shape->runs[0].text, words[i]) == 0);
    }
    return is;
}

static void merge(struct shape *into, const struct shape *more)
{
    for (size_t i = 0; i < into->run_count; i++) {
        struct run *run = &into->runs[i];
        const struct run *other = &more->runs[i];
        run->least = other->least < run->least ? other->least : run->least;
        run->most = other->most > run->most ? other->most : run->most;
        run->constant = run->constant && strcmp(run->text, other->text) == 0;
        run->zero = run->zero || other->zero;
    }
}

const char *an_probe_regex_quote(struct an_arena *arena, const char *text, size_t length)
{
    char *out = an_arena_alloc(arena, 2 * length + 1, 1);
    size_t used = 0;
    for (size_t i = 0; out && i < length; i++) {
        if (strchr("\\^$.[]|()*+?{}", text[i])) {
            out[used++] = '\\';
        }
        out[used++] = text[i];
    }
    return out ? out : "";
}

/* `wide`: any number of characters where counts in braces would multiply beyond what a description
 * takes (see line/regex_check.c). */
static void add_shape(struct an_probe_state *probe, const struct shape *shape, bool wide,
                      struct an_text *out)
{
    const bool literal = shape->texts >= MANY || is_reference(shape);
    for (size_t i = 0; i < shape->run_count; i++) {
        const struct run *run = &shape->runs[i];
        if (run->kind == 'S' || (run->kind != 'D' && literal && run->constant)) {
            an_text_add(out, an_probe_regex_quote(probe->arena, run->text, strlen(run->text)));
            continue;
        }
        an_text_add(out, run->kind == 'D' ? "[0-9]" : run->kind == 'U' ? "[A-Z]" : "[a-z]");
        if (wide && run->most > 1) {
            an_text_add_char(out, '+');
        } else if (run->least != run->most) {
            an_text_addf(out, "{%zu,%zu}", run->least, run->most);
        } else if (run->least > 1) {
            an_text_addf(out, "{%zu}", run->least);
        }
    }
}

static bool too_many_repeats(const struct shape *shapes, size_t count)
{
    size_t product = 1;
    for (size_t i = 0; i < count; i++) {
        for (size_t k = 0; k < shapes[i].run_count && product <= MOST_REPEATS; k++) {
            product *= shapes[i].runs[k].kind == 'S' ? 1 : shapes[i].runs[k].most;
        }
    }
    return product > MOST_REPEATS;
}

/* One serial of a shape of its own among many of another: left out, and named. */
static bool is_stray(const struct an_probe_column *column, const struct shape *shapes, size_t count,
                     const struct shape *shape)
{
    uint64_t most = 0;
    for (size_t i = 0; i < count; i++) {
        most = shapes[i].texts > most ? shapes[i].texts : most;
    }
    return count > 1 && shape->texts == 1 &&
           (shape->rows * 500 < column->rows || (shape->rows == 1 && most >= 20));
}

/* Shapes of all texts; false if there are too many. */
static bool find_shapes(const struct an_probe_column *column, struct shape shapes[MOST_SHAPES * 4],
                        size_t *count)
{
    const size_t words = an_names_count(column->words);
    *count = 0;
    for (size_t w = 0; w < words; w++) {
        const struct an_bytes text = an_names_at(column->words, w);
        struct shape shape;
        size_t k = 0;
        if (!runs_of(text, &shape)) {
            return false;
        }
        while (k < *count && !same_shape(&shapes[k], &shape)) {
            k++;
        }
        if (k == *count) {
            if (*count == MOST_SHAPES * 4) {
                return false;
            }
            shape.first = text;
            shape.line = column->of_word[w].line;
            shape.file = column->of_word[w].file;
            shapes[(*count)++] = shape;
        } else {
            merge(&shapes[k], &shape);
        }
        shapes[k].texts++;
        shapes[k].rows += column->of_word[w].count;
    }
    return *count > 0;
}

const char *an_probe_serials(struct an_probe_state *probe, const struct an_probe_column *column,
                             const char **doubt, const char **reference)
{
    struct shape shapes[MOST_SHAPES * 4];
    struct an_text out = {0};
    struct an_text notes = {0};
    size_t count = 0;
    size_t used = 0;
    uint64_t few = 0;

    *doubt = NULL;
    *reference = NULL;
    const bool found = find_shapes(column, shapes, &count);
    const bool wide = found && too_many_repeats(shapes, count);
    for (size_t i = 0; found && i < count; i++) {
        const struct shape *shape = &shapes[i];
        if (is_stray(column, shapes, count, shape)) {
            an_text_addf(&notes,
                         "%s\"%.*s\" (%s, %llu row%s) has another shape and is left out: "
                         "damaged?",
                         notes.length ? "; " : "", (int)shape->first.length,
                         (const char *)shape->first.at,
                         an_probe_where(probe, shape->file, shape->line),
                         (unsigned long long)shape->rows, shape->rows == 1 ? "" : "s");
            continue;
        }
        an_text_add(&out, used++ ? "|" : "");
        const size_t from = out.length;
        add_shape(probe, shape, wide, &out);
        if (is_reference(shape)) {
            *reference = an_probe_sayf(probe, "%s", an_text_of(&out) + from);
        } else {
            few = shape->texts < MANY ? shape->texts : few;
        }
        for (size_t k = 0; k < shape->run_count; k++) {
            const struct run *run = &shape->runs[k];
            if (run->kind == 'D' && !run->zero && !run->constant && run->most > 1) {
                an_text_addf(&notes,
                             "%sno number in it begins with 0, so it may grow beyond %zu digits",
                             notes.length ? "; " : "", run->most);
                break;
            }
        }
    }
    if (few) {
        an_text_addf(&notes, "%sseen in %llu serial%s only, so letters are left open",
                     notes.length ? "; " : "", (unsigned long long)few, few == 1 ? "" : "s");
    }
    const bool fits = found && used > 0 && used <= MOST_SHAPES && out.length <= 200;
    const char *regex = fits ? an_probe_sayf(probe, "%s", an_text_of(&out)) : NULL;
    if (!fits) {
        *doubt = "the serials have too many shapes for a pattern; any serial will do";
    } else if (notes.length) {
        *doubt = an_probe_sayf(probe, "%s", an_text_of(&notes));
    }
    an_text_free(&out);
    an_text_free(&notes);
    return regex;
}
