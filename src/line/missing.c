/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a station writes where a reading is missing. The hard rule: an empty field is missing and
 * never becomes 0, whatever the description says.
 */
#include "line/sections.h"

#include <string.h>

static const char *const usual[] = {"", "NaN", "nan", "NAN", "N/A", "n/a", "NA", "null"};
#define USUAL_COUNT (sizeof usual / sizeof usual[0])

static const struct an_word_choice meanings[] = {{"missing", AN_MISSING, false},
                                                 {"over_range", AN_OVER_RANGE, false},
                                                 {"under_range", AN_UNDER_RANGE, false}};

static void add_code(struct an_reading *reading, struct an_missing_list *list,
                     const struct an_yaml_node *at, enum an_missing_meaning meaning)
{
    if (at->kind != AN_YAML_SCALAR) {
        an_tell(reading, at, "a code in 'missing' is a text, not %s", an_yaml_kind_words(at));
        return;
    }
    if (at->absent || at->text[0] == 0) {
        if (meaning != AN_MISSING) {
            an_tell(reading, at, "an empty field is always missing; it cannot mean anything else");
        }
        return;
    }
    if (strcmp(at->text, "*") == 0) {
        an_tell(reading, at, "the code '*' matches every field; write what the fields begin with");
        return;
    }
    for (size_t i = 0; i < list->count; i++) {
        if (strcmp(list->at[i].text, at->text) == 0) {
            an_tell(reading, at, "'%s' stands twice in 'missing'", at->text);
            return;
        }
    }
    list->at[list->count++] = (struct an_missing_code){.text = at->text, .meaning = meaning};
}

struct an_missing_list an_read_missing(struct an_reading *reading, const struct an_yaml_node *node)
{
    const size_t room = node && node->kind != AN_YAML_SCALAR ? node->count + 1 : USUAL_COUNT + 1;
    struct an_missing_list list = {.at = an_room(reading, room, sizeof *list.at)};
    if (!list.at) {
        return list;
    }
    list.at[list.count++] = (struct an_missing_code){.text = "", .meaning = AN_MISSING};
    if (!node) {
        for (size_t i = 1; i < USUAL_COUNT; i++) {
            list.at[list.count++] =
                (struct an_missing_code){.text = usual[i], .meaning = AN_MISSING};
        }
    } else if (node->kind == AN_YAML_SCALAR) {
        add_code(reading, &list, node, AN_MISSING);
    } else if (node->kind == AN_YAML_LIST) {
        for (size_t i = 0; i < node->count; i++) {
            add_code(reading, &list, node->item[i], AN_MISSING);
        }
    } else {
        for (size_t i = 0; i < node->count; i++) {
            const struct an_yaml_node *value = node->pair[i].value;
            const int meaning = an_read_choice(reading, value, node->pair[i].key->text, meanings,
                                               sizeof meanings / sizeof meanings[0], AN_MISSING);
            add_code(reading, &list, node->pair[i].key, (enum an_missing_meaning)meaning);
        }
    }
    return list;
}
