/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Shared by the suites of the stat layer; see support.h.
 */
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *file_text(const char *name)
{
    char path[1024];
    snprintf(path, sizeof path, "%s/%s", AN_TEST_DATA, name);
    FILE *file = fopen(path, "rb");
    ck_assert_msg(file != NULL, "cannot open %s", path);
    size_t room = 1 << 16, length = 0;
    char *text = malloc(room + 1);
    ck_assert_ptr_nonnull(text);
    for (size_t got; (got = fread(text + length, 1, room - length, file)) > 0;) {
        length += got;
        if (length == room) {
            room *= 2;
            text = realloc(text, room + 1);
            ck_assert_ptr_nonnull(text);
        }
    }
    fclose(file);
    text[length] = '\0';
    return text;
}

struct table table_read(const char *name)
{
    struct table table = {.text = file_text(name)};
    table.fields = calloc(strlen(table.text) + 1, sizeof *table.fields);
    ck_assert_ptr_nonnull(table.fields);
    size_t count = 0, lines = 0;
    for (char *line = table.text, *next; *line != '\0'; line = next) {
        char *const end = strchr(line, '\n');
        ck_assert_msg(end != NULL, "%s: the last line does not end", name);
        *end = '\0';
        next = end + 1;
        if (*line == '#') {
            continue;
        }
        const size_t before = count;
        for (char *field = line; field != NULL;) {
            char *const comma = strchr(field, ',');
            if (comma != NULL) {
                *comma = '\0';
            }
            table.fields[count++] = field;
            field = comma != NULL ? comma + 1 : NULL;
        }
        table.columns = lines == 0 ? count : table.columns;
        ck_assert_msg(count - before == table.columns, "%s: row %zu has %zu fields", name, lines,
                      count - before);
        lines++;
    }
    ck_assert_msg(lines > 1, "%s: no rows", name);
    table.rows = lines - 1;
    return table;
}

void table_free(struct table *table)
{
    free(table->fields);
    free(table->text);
}

const char *table_text(const struct table *table, size_t row, const char *column)
{
    for (size_t i = 0; i < table->columns; i++) {
        if (strcmp(table->fields[i], column) == 0) {
            return table->fields[(row + 1) * table->columns + i];
        }
    }
    ck_abort_msg("no column %s", column);
    return NULL;
}

double table_number(const struct table *table, size_t row, const char *column)
{
    const char *const text = table_text(table, row, column);
    if (*text == '\0') {
        return (double)NAN;
    }
    char *end;
    const double value = strtod(text, &end);
    ck_assert_msg(*end == '\0', "'%s' in column %s is no number", text, column);
    return value;
}

double *table_column(const struct table *table, const char *column)
{
    double *const x = calloc(table->rows, sizeof *x);
    ck_assert_ptr_nonnull(x);
    for (size_t i = 0; i < table->rows; i++) {
        x[i] = table_number(table, i, column);
    }
    return x;
}

int close_to(double actual, double wanted, double relative)
{
    if (isnan(wanted) || isnan(actual)) {
        return isnan(wanted) && isnan(actual);
    }
    if (isinf(wanted) || isinf(actual)) {
        return 0; /* no reference here is infinite */
    }
    return fabs(actual - wanted) <= fmax(relative * fabs(wanted), 1e-300);
}

void note_check(const char *file, const char *test, double actual, double wanted, double relative)
{
    const char *path = getenv("AN_CHECKS");
    FILE *out = path != NULL && !isnan(wanted) ? fopen(path, "a") : NULL;
    if (out != NULL) {
        const char *const slash = strrchr(file, '/');
        const double off = fabs(actual - wanted) / (wanted != 0.0 ? fabs(wanted) : 1.0);
        fprintf(out, "%s\t%s\t%.17g\t%.17g\n", slash != NULL ? slash + 1 : file, test, off,
                relative);
        fclose(out);
    }
}

double digits_agreed(double actual, double wanted)
{
    if (actual == wanted) {
        return 17.0;
    }
    return -log10(fabs(actual - wanted) / (wanted != 0.0 ? fabs(wanted) : 1.0));
}

void check_against(const char *name,
                   double (*find)(const void *of, const char *quantity, size_t at), const void *of)
{
    struct table expected = table_read(name);
    for (size_t i = 0; i < expected.rows; i++) {
        const char *const quantity = table_text(&expected, i, "quantity");
        const size_t at = (size_t)table_number(&expected, i, "at");
        const double computed = table_number(&expected, i, "computed");
        const double printed = table_number(&expected, i, "printed");
        const double got = find(of, quantity, at);
        note_check(name, "computed", got, computed, 1e-9);
        if (!isnan(printed)) {
            note_check(name, "printed", got, printed,
                       table_number(&expected, i, "within") /
                           (printed != 0.0 ? fabs(printed) : 1.0));
        }
        if (computed == 0.0) {
            ck_assert_msg(fabs(got) <= 1e-12, "%s: %s %zu: got %.17g, wanted 0", name, quantity, at,
                          got);
        } else {
            check_close(got, computed, 1e-9, "%s: %s %zu", name, quantity, at);
        }
        if (!isnan(printed)) {
            const double within = table_number(&expected, i, "within");
            ck_assert_msg(fabs(got - printed) <= within, "%s: %s %zu: got %.17g, printed %g", name,
                          quantity, at, got, printed);
        }
    }
    table_free(&expected);
}

double draw_uniform(struct draws *draws)
{
    /* splitmix64 [Steele, Lea, Flood, Fast splittable pseudorandom number generators, 2014; from
     * memory] */
    draws->state += 0x9e3779b97f4a7c15ULL;
    unsigned long long z = draws->state;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    z ^= z >> 31;
    return ((double)(z >> 11) + 0.5) * 0x1p-53;
}
