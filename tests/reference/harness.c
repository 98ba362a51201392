/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Puts the statistics of this program beside those of a reference: reads commands from standard
 * input, one a line, and answers each with one line of numbers (17 digits), or "status NAME".
 *
 * `data 1 2 3 ...` keeps numbers for the commands after it; `limits TARGET LSL USL` likewise (NaN:
 * none). To add a command: a function in a file harness_*.c, and its line in the table below.
 */
#include "harness.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *name;
    answer *run;
} commands[] = {
    {"fit", answer_fit},
    {"tail", answer_tail},
    {"test", answer_test},
    {"capability", answer_capability},
    {"percentiles", answer_percentiles},
    {"tolerance", answer_tolerance},
    {"circle", answer_circle},
    {"fraction", answer_fraction},
    {"robust", answer_robust},
    {"boxcox", answer_boxcox},
    {"function", answer_function},
    {"joint", answer_joint},
    {"distance", answer_distance},
    {"mewma", answer_mewma},
    {"counts", answer_counts},
    {"gap", answer_gap},
    {"power", answer_power},
    {"heads", answer_heads},
    {"wear", answer_wear},
    {"remember", answer_remember},
    {"portmanteau", answer_portmanteau},
    {"scatter", answer_scatter},
    {"nested", answer_nested},
    {"crossed", answer_crossed},
    {"bias", answer_bias},
    {"linearity", answer_linearity},
    {"share", answer_share},
    {"cohen", answer_cohen},
    {"fleiss", answer_fleiss},
    {"range", answer_range},
    {"panel", answer_panel},
    {"chart", answer_chart},
    {"moving", answer_moving},
    {"spread", answer_spread},
};

void say_numbers(const double x[], size_t n)
{
    for (size_t i = 0; i < n; i++) {
        printf("%s%.17g", i ? " " : "", x[i]);
    }
    printf("\n");
}

void say_status(enum an_status st)
{
    printf("status %s\n", an_status_name(st));
}

double next_number(char **rest)
{
    char *end = *rest;
    const double x = strtod(*rest, &end);
    if (end == *rest) {
        fprintf(stderr, "a number is missing at '%s'\n", *rest);
        exit(2);
    }
    *rest = end;
    return x;
}

char *next_word(char **rest)
{
    *rest += strspn(*rest, " ");
    char *const word = *rest;
    *rest += strcspn(*rest, " ");
    if (**rest) {
        *(*rest)++ = '\0';
    }
    return word;
}

static void keep_data(struct kept *kept, char *rest)
{
    kept->n = 0;
    for (rest += strspn(rest, " "); *rest; rest += strspn(rest, " ")) {
        if (kept->n == KEPT_MOST) {
            fprintf(stderr, "more than %d numbers\n", KEPT_MOST);
            exit(2);
        }
        kept->x[kept->n++] = next_number(&rest);
    }
}

static void obey(struct kept *kept, char *line)
{
    char *rest = line;
    const char *const word = next_word(&rest);
    if (strcmp(word, "data") == 0) {
        keep_data(kept, rest);
        return;
    }
    if (strcmp(word, "limits") == 0) {
        kept->spec.target = next_number(&rest);
        kept->spec.lsl = next_number(&rest);
        kept->spec.usl = next_number(&rest);
        return;
    }
    for (size_t i = 0; i < sizeof commands / sizeof *commands; i++) {
        if (strcmp(word, commands[i].name) == 0) {
            commands[i].run(kept, rest);
            return;
        }
    }
    fprintf(stderr, "no command '%s'\n", word);
    exit(2);
}

int main(void)
{
    static char line[1 << 20];
    static struct kept kept;
    while (fgets(line, sizeof line, stdin)) {
        line[strcspn(line, "\n")] = '\0';
        if (line[0]) {
            obey(&kept, line);
        }
    }
    return 0;
}
