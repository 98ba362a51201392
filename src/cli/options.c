/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading a command line by a table. Prints nothing: whoever calls says what went wrong. */
#include "cli/options.h"

#include <stdint.h>
#include <string.h>

size_t an_name_distance(const char *a, const char *b)
{
    enum { most = 40 };
    size_t row[most + 1];
    const size_t length_a = strlen(a);
    const size_t length_b = strlen(b);
    if (length_a > most || length_b > most) {
        return 99;
    }
    for (size_t j = 0; j <= length_b; j++) {
        row[j] = j;
    }
    for (size_t i = 1; i <= length_a; i++) {
        size_t diagonal = row[0];
        row[0] = i;
        for (size_t j = 1; j <= length_b; j++) {
            const size_t above = row[j];
            size_t best = diagonal + (a[i - 1] != b[j - 1]);
            best = above + 1 < best ? above + 1 : best;
            best = row[j - 1] + 1 < best ? row[j - 1] + 1 : best;
            row[j] = best;
            diagonal = above;
        }
    }
    return row[length_b];
}

static const struct an_option *by_name(const struct an_option *const *tables, const char *name,
                                       size_t length)
{
    for (; *tables; tables++) {
        for (const struct an_option *o = *tables; o->name; o++) {
            if (strlen(o->name) == length && strncmp(o->name, name, length) == 0) {
                return o;
            }
        }
    }
    return NULL;
}

static const struct an_option *by_letter(const struct an_option *const *tables, char letter)
{
    for (; *tables; tables++) {
        for (const struct an_option *o = *tables; o->name; o++) {
            if (o->letter && o->letter == letter) {
                return o;
            }
        }
    }
    return NULL;
}

static enum an_status unknown(const struct an_option *const *tables, const char *argument,
                              struct an_error *err)
{
    const char *nearest = NULL;
    size_t distance = 4;
    char name[64] = "";
    (void)strncpy(name, argument + 2, sizeof name - 1);
    name[strcspn(name, "=")] = '\0';
    for (; *tables; tables++) {
        for (const struct an_option *o = *tables; o->name; o++) {
            const bool begins = name[0] && strncmp(name, o->name, strlen(name)) == 0;
            const size_t d = begins ? 0 : an_name_distance(name, o->name);
            if (d < distance) {
                distance = d;
                nearest = o->name;
            }
        }
    }
    if (nearest) {
        return an_fail(err, AN_BAD_USAGE, "no option '%s' here; did you mean '--%s'?", argument,
                       nearest);
    }
    return an_fail(err, AN_BAD_USAGE, "no option '%s' here; --help lists those there are",
                   argument);
}

struct parse {
    const struct an_option *const *tables;
    struct an_given *given;
    size_t given_count;
    int next, argc;
    char *const *argv;
    struct an_error *err;
};

static enum an_status take_value(struct parse *p, const struct an_option *option,
                                 const char *attached)
{
    const char *value = attached;
    if (!option->value && attached) {
        return an_fail(p->err, AN_BAD_USAGE, "option '--%s' takes no value", option->name);
    }
    if (option->value && !attached) {
        if (p->next >= p->argc) {
            return an_fail(p->err, AN_BAD_USAGE, "option '--%s' wants a value: --%s %s",
                           option->name, option->name, option->value);
        }
        value = p->argv[p->next++];
    }
    p->given[p->given_count++] = (struct an_given){option, value};
    return AN_OK;
}

static enum an_status take_long(struct parse *p, const char *argument)
{
    const char *name = argument + 2;
    const size_t length = strcspn(name, "=");
    const struct an_option *option = by_name(p->tables, name, length);
    if (!option) {
        return unknown(p->tables, argument, p->err);
    }
    return take_value(p, option, name[length] ? name + length + 1 : NULL);
}

static enum an_status take_letters(struct parse *p, const char *argument)
{
    for (const char *c = argument + 1; *c; c++) {
        const struct an_option *option = by_letter(p->tables, *c);
        if (!option) {
            return an_fail(p->err, AN_BAD_USAGE,
                           "no option '-%c' here; --help lists those there are", *c);
        }
        if (option->value) {
            return take_value(p, option, c[1] ? c + 1 : NULL);
        }
        const enum an_status st = take_value(p, option, NULL);
        if (st) {
            return st;
        }
    }
    return AN_OK;
}

enum an_status an_options_parse(int argc, char *const argv[], const struct an_option *const *tables,
                                struct an_arena *arena, struct an_options *options,
                                struct an_error *err)
{
    size_t letters = 0;
    for (int i = 0; i < argc; i++) {
        letters += strlen(argv[i]) + 1;
    }
    struct parse p = {.tables = tables, .argc = argc, .argv = argv, .err = err};
    p.given = an_arena_alloc(arena, letters + 1, sizeof *p.given);
    const char **operands = an_arena_alloc(arena, (size_t)argc + 1, sizeof *operands);
    size_t operand_count = 0;
    if (!p.given || !operands) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    bool ended = false;
    while (p.next < argc) {
        const char *argument = argv[p.next++];
        enum an_status st = AN_OK;
        if (ended || argument[0] != '-' || !argument[1]) {
            operands[operand_count++] = argument;
        } else if (strcmp(argument, "--") == 0) {
            ended = true;
        } else if (argument[1] == '-') {
            st = take_long(&p, argument);
        } else {
            st = take_letters(&p, argument);
        }
        if (st) {
            return st;
        }
    }
    *options = (struct an_options){p.given, p.given_count, operands, operand_count};
    return AN_OK;
}

const char *an_option_value_at(const struct an_options *options, const char *name, size_t k)
{
    for (size_t i = 0; i < options->given_count; i++) {
        if (strcmp(options->given[i].option->name, name) == 0 && k-- == 0) {
            return options->given[i].value;
        }
    }
    return NULL;
}

const char *an_option_value(const struct an_options *options, const char *name)
{
    for (size_t i = options->given_count; i-- > 0;) {
        if (strcmp(options->given[i].option->name, name) == 0) {
            return options->given[i].value;
        }
    }
    return NULL;
}

bool an_option_on(const struct an_options *options, const char *name)
{
    for (size_t i = 0; i < options->given_count; i++) {
        if (strcmp(options->given[i].option->name, name) == 0) {
            return true;
        }
    }
    return false;
}

void an_options_help(const struct an_option *table, struct an_text *out)
{
    for (const struct an_option *o = table; o->name; o++) {
        struct an_text head = {0};
        if (o->letter) {
            an_text_addf(&head, "  -%c, --%s", o->letter, o->name);
        } else {
            an_text_addf(&head, "      --%s", o->name);
        }
        if (o->value) {
            an_text_addf(&head, " %s", o->value);
        }
        an_text_addf(out, "%-30s %s\n", an_text_of(&head), o->help);
        an_text_free(&head);
    }
}
