/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the suites of the stat layer share: reading their small tables, and comparing numbers.
 *
 * A table is a file in tests/stat/data: lines beginning with # say where it is from, then one
 * line of column names, then rows of fields without quotes.
 */
#ifndef AN_TESTS_STAT_SUPPORT_H
#define AN_TESTS_STAT_SUPPORT_H

#include <check.h>
#include <stddef.h>
#include <stdio.h>

struct table {
    char *text;    /* the whole file, fields ended in place */
    char **fields; /* first the names, then row by row */
    size_t columns, rows;
};

/* Fails the test if the file cannot be read or a row has another number of fields. */
struct table table_read(const char *name);
void table_free(struct table *table);
const char *table_text(const struct table *table, size_t row, const char *column);
/* NAN for an empty field. */
double table_number(const struct table *table, size_t row, const char *column);
/* The column as numbers; ends with free(). */
double *table_column(const struct table *table, const char *column);

/* Equal to within `relative` of the wanted value (absolute below 1e-300). Both NAN is equal. */
int close_to(double actual, double wanted, double relative);
/* One line for docs/checks.sh, if AN_CHECKS names a file to be added to. */
void note_check(const char *file, const char *test, double actual, double wanted, double relative);
#define check_close(actual, wanted, relative, ...)                                                 \
    do {                                                                                           \
        const double actual_ = (actual), wanted_ = (wanted);                                       \
        note_check(__FILE__, __func__, actual_, wanted_, (relative));                              \
        if (!close_to(actual_, wanted_, (relative))) {                                             \
            char what_[200];                                                                       \
            snprintf(what_, sizeof what_, __VA_ARGS__);                                            \
            ck_abort_msg("%s: got %.17g, wanted %.17g", what_, actual_, wanted_);                  \
        }                                                                                          \
    } while (0)

/* Digits to which they agree: -log10 of the relative error; 17 when equal. */
double digits_agreed(double actual, double wanted);

/*
 * Goes through a table of columns quantity, at, computed, printed, within, origin. find() gives
 * this program's number of a quantity, `at` counted from 1 (0: a single number). Every row is
 * compared: computed at 1e-9 relative (1e-12 absolute where it is 0), printed within its bound.
 */
void check_against(const char *name,
                   double (*find)(const void *of, const char *quantity, size_t at), const void *of);

/* A stream of numbers of our own for shuffles and made data: the same on every machine. */
struct draws {
    unsigned long long state;
};
double draw_uniform(struct draws *draws); /* 0 < u < 1 */

#endif
