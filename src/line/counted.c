/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is counted, out of how many. Must never invent a denominator but the one of a row that is
 * itself the unit. */
#include "andamento/base/number.h"
#include "line/sections.h"

#include <math.h>
#include <string.h>

static void read_count_map(struct an_reading *reading, const struct an_yaml_node *node,
                           struct an_characteristic *one)
{
    struct an_map map = an_map_open(reading, node, node, "'count'");
    const struct an_yaml_node *rows = an_map_take(&map, "rows");
    const struct an_yaml_node *column = an_map_take(&map, "column");
    const struct an_yaml_node *words = an_map_take(&map, "words");
    an_map_close(&map);
    one->count_rows = an_read_bool(reading, rows, "rows", false);
    one->column = an_read_column(reading, column, "column");
    one->events = an_read_words(reading, words, "words");
    one->success = one->column;
    if (one->count_rows && (column || words)) {
        an_tell(reading, column ? column : words,
                "'count' has 'rows' and a column as well; to count some rows only, use 'only'");
    } else if (!one->count_rows && (!column || one->events.count == 0) && !reading->torn) {
        an_tell(reading, node,
                "'count' wants a column of counts, a list of such columns, {rows: yes}, or "
                "{column: ..., words: [...]}");
    }
}

void an_read_count(struct an_reading *reading, const struct an_yaml_node *node,
                   struct an_characteristic *one)
{
    if (node->kind == AN_YAML_MAP) {
        read_count_map(reading, node, one);
    } else if (node->kind == AN_YAML_LIST) {
        one->sum_columns = an_read_columns(reading, node, "count");
        if (node->count == 0) {
            an_tell(reading, node, "'count' names no column; list the columns to be added");
        } else if (one->sum_columns.count == 1) {
            one->column = one->sum_columns.at[0];
            one->sum_columns = (struct an_word_list){0};
        }
    } else {
        one->column = an_read_column(reading, node, "count");
    }
}

void an_read_opportunities(struct an_reading *reading, const struct an_yaml_node *node,
                           struct an_characteristic *one)
{
    one->opportunities = one->events.count > 0 && !node ? 1 : (double)NAN;
    if (!node) {
        return;
    }
    struct an_decimal number;
    if (node->kind != AN_YAML_SCALAR ||
        an_decimal_parse(an_bytes_of(node->text), '.', 0, &number)) {
        one->opportunities_column = an_read_column(reading, node, "opportunities");
        return;
    }
    if (number.value <= 0) {
        an_tell(reading, node, "'opportunities' are more than 0, not %s", node->text);
        return;
    }
    one->opportunities = number.value;
}

double an_read_per(struct an_reading *reading, const struct an_yaml_node *node)
{
    static const struct {
        const char *word;
        double value;
    } words[] = {{"hundred", 1e2}, {"thousand", 1e3}, {"million", 1e6}};
    for (size_t i = 0; node && i < sizeof words / sizeof words[0]; i++) {
        if (node->kind == AN_YAML_SCALAR && strcmp(node->text, words[i].word) == 0) {
            return words[i].value;
        }
    }
    const double per = an_read_number(reading, node, "per", 1);
    if (per <= 0) {
        an_tell(reading, node, "'per' is more than 0: a number, hundred, thousand or million");
        return 1;
    }
    return per;
}
