/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The walk over the tree. Responsible for keys (known, missing, nearest) and for the plain kinds of
 * values; must never know what a description is about.
 */
#include "line/yaml_walk.h"

#include "andamento/base/number.h"
#include "andamento/base/text.h"
#include "line/nearest.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define NAME_MOST 32
#define TEXT_MOST 400

void an_tell(struct an_reading *reading, const struct an_yaml_node *at, const char *format, ...)
{
    char text[512];
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    an_mistakes_add(reading->mistakes, at ? at->line : 1, at ? at->column : 1, "%s", text);
}

const char *an_phrase(struct an_reading *reading, const char *format, ...)
{
    char text[512];
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    const char *copy = an_arena_copy(reading->arena, text, strlen(text));
    if (!copy) {
        reading->mistakes->failed = true;
        return "";
    }
    return copy;
}

void *an_room(struct an_reading *reading, size_t count, size_t size)
{
    void *room = an_arena_alloc(reading->arena, count > 0 ? count : 1, size);
    if (!room) {
        reading->mistakes->failed = true;
    }
    return room;
}

const char *an_hint(struct an_reading *reading, const char *word, const char *const *words,
                    size_t count, const char *otherwise)
{
    const char *near = an_nearest(word, words, count);
    if (near) {
        return an_phrase(reading, " (did you mean '%s'?)", near);
    }
    if (!otherwise || count == 0) {
        return "";
    }
    struct an_text list = {0};
    an_text_addf(&list, "; %s", otherwise);
    for (size_t i = 0; i < count; i++) {
        if (list.length + strlen(words[i]) > 300) {
            an_text_add(&list, ", ...");
            break;
        }
        an_text_addf(&list, "%s'%s'", i > 0 ? ", " : " ", words[i]);
    }
    if (list.failed) {
        reading->mistakes->failed = true;
    }
    const char *hint = an_phrase(reading, "%s", an_text_of(&list));
    an_text_free(&list);
    return hint;
}

/* --- maps ------------------------------------------------------------------------------------ */

struct an_map an_map_open(struct an_reading *reading, const struct an_yaml_node *node,
                          const struct an_yaml_node *at, const char *what)
{
    struct an_map map = {.reading = reading, .node = node, .at = at ? at : node, .what = what};
    if (node && node->kind != AN_YAML_MAP) {
        if (!node->absent) {
            an_tell(reading, node, "%s is a map (key: value), not %s", what,
                    an_yaml_kind_words(node));
            map.at = NULL; /* nothing can be missing from what is not a map */
        }
        map.node = NULL;
    }
    return map;
}

const struct an_yaml_node *an_map_take(struct an_map *map, const char *key)
{
    if (map->asked_count < AN_MAP_KEYS_MOST) {
        map->asked[map->asked_count++] = key;
    }
    const struct an_yaml_node *value = an_yaml_get(map->node, key);
    return value && !value->absent ? value : NULL;
}

const struct an_yaml_node *an_map_need(struct an_map *map, const char *key, const char *want)
{
    const struct an_yaml_node *value = an_map_take(map, key);
    if (!value && map->at && !map->reading->torn) {
        const struct an_yaml_node *empty = an_yaml_get(map->node, key);
        if (empty && empty->told) {
            return NULL;
        }
        if (empty) {
            an_tell(map->reading, empty, "'%s' of %s has no value; it wants %s", key, map->what,
                    want);
        } else {
            an_tell(map->reading, map->at, "%s has no '%s'; add %s", map->what, key, want);
        }
    }
    return value;
}

void an_map_close(struct an_map *map)
{
    for (size_t i = 0; map->node && i < map->node->count; i++) {
        const struct an_yaml_node *key = map->node->pair[i].key;
        bool asked = false;
        for (size_t j = 0; j < map->asked_count && !asked; j++) {
            asked = strcmp(map->asked[j], key->text) == 0;
        }
        if (!asked) {
            an_tell(
                map->reading, key, "unknown key '%s' in %s%s", key->text, map->what,
                an_hint(map->reading, key->text, map->asked, map->asked_count, "known keys are"));
        }
    }
}

/* --- single values --------------------------------------------------------------------------- */

static bool is_text(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                    const char *want)
{
    if (!node) {
        return false;
    }
    if (node->kind != AN_YAML_SCALAR || node->absent) {
        an_tell(reading, node, "'%s' wants %s, not %s", name, want, an_yaml_kind_words(node));
        return false;
    }
    return true;
}

const char *an_read_text(struct an_reading *reading, const struct an_yaml_node *node,
                         const char *name, const char *fallback)
{
    if (!is_text(reading, node, name, "a text")) {
        return fallback;
    }
    const size_t length = strlen(node->text);
    if (length == 0) {
        an_tell(reading, node, "'%s' is empty; leave the key out or write a text", name);
        return fallback;
    }
    if (length > TEXT_MOST) {
        an_tell(reading, node, "'%s' is longer than %d bytes", name, TEXT_MOST);
        return fallback;
    }
    for (size_t i = 0; i < length; i++) {
        const unsigned char c = (unsigned char)node->text[i];
        if (c < 0x20 || c == 0x7F) {
            an_tell(reading, node, "'%s' holds a line break or control character; it is one line",
                    name);
            return fallback;
        }
    }
    return node->text;
}

bool an_read_bool(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                  bool fallback)
{
    static const struct an_word_choice words[] = {{"yes", 1, false}, {"no", 0, false},
                                                  {"true", 1, true}, {"false", 0, true},
                                                  {"on", 1, true},   {"off", 0, true}};
    if (!is_text(reading, node, name, "yes or no")) {
        return fallback;
    }
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        if (an_bytes_are_nocase(an_bytes_of(node->text), words[i].word)) {
            return words[i].value == 1;
        }
    }
    an_tell(reading, node, "'%s' wants yes or no, not '%s'", name, node->text);
    return fallback;
}

double an_read_number(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                      double fallback)
{
    if (!is_text(reading, node, name, "a number")) {
        return fallback;
    }
    struct an_decimal number;
    if (an_decimal_parse(an_bytes_of(node->text), '.', 0, &number)) {
        const bool comma = strchr(node->text, ',') != NULL;
        an_tell(reading, node, "'%s' wants a number, not '%s'%s", name, node->text,
                comma ? "; here the decimal mark is a point" : "");
        return fallback;
    }
    return number.value;
}

int an_read_whole(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                  int least, int most, int fallback)
{
    if (!is_text(reading, node, name, "a whole number")) {
        return fallback;
    }
    int64_t number = 0;
    if (an_integer_parse(an_bytes_of(node->text), &number) || number < least || number > most) {
        an_tell(reading, node, "'%s' wants a whole number from %d to %d, not '%s'", name, least,
                most, node->text);
        return fallback;
    }
    return (int)number;
}

int an_read_choice(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                   const struct an_word_choice *choices, size_t count, int fallback)
{
    if (!is_text(reading, node, name, "a word")) {
        return fallback;
    }
    const char *words[24] = {NULL};
    size_t known = 0;
    for (size_t i = 0; i < count; i++) {
        if (strcmp(choices[i].word, node->text) == 0) {
            return choices[i].value;
        }
        if (!choices[i].other && known < sizeof words / sizeof words[0]) {
            words[known++] = choices[i].word;
        }
    }
    an_tell(reading, node, "'%s' cannot be '%s'%s", name, node->text,
            an_hint(reading, node->text, words, known, "it can be"));
    return fallback;
}

typedef const char *read_one(struct an_reading *reading, const struct an_yaml_node *node,
                             const char *name);

static const char *one_word(struct an_reading *reading, const struct an_yaml_node *node,
                            const char *name)
{
    return an_read_text(reading, node, name, NULL);
}

static struct an_word_list read_list(struct an_reading *reading, const struct an_yaml_node *node,
                                     const char *name, read_one *read)
{
    struct an_word_list list = {0};
    if (!node) {
        return list;
    }
    if (node->kind == AN_YAML_MAP) {
        an_tell(reading, node, "'%s' wants a list ([a, b]), not a map", name);
        return list;
    }
    const bool single = node->kind == AN_YAML_SCALAR;
    const size_t count = single ? 1 : node->count;
    list.at = an_room(reading, count, sizeof *list.at);
    for (size_t i = 0; list.at && i < count; i++) {
        const struct an_yaml_node *item = single ? node : node->item[i];
        const char *word = read(reading, item, name);
        bool again = false;
        for (size_t j = 0; word && j < list.count && !again; j++) {
            again = strcmp(list.at[j], word) == 0;
        }
        if (again) {
            an_tell(reading, item, "'%s' stands twice in '%s'", word, name);
        } else if (word) {
            list.at[list.count++] = word;
        }
    }
    return list;
}

struct an_word_list an_read_words(struct an_reading *reading, const struct an_yaml_node *node,
                                  const char *name)
{
    return read_list(reading, node, name, one_word);
}

const char *an_read_column(struct an_reading *reading, const struct an_yaml_node *node,
                           const char *name)
{
    if (node && node->kind != AN_YAML_SCALAR) {
        an_tell(reading, node, "'%s' names a column; it cannot be %s", name,
                an_yaml_kind_words(node));
        return NULL;
    }
    if (node && (node->absent || node->text[0] == 0)) {
        an_tell(reading, node, "'%s' names no column; write the column's name as in the header",
                name);
        return NULL;
    }
    const char *column = an_read_text(reading, node, name, NULL);
    if (!column || !reading->columns ||
        an_names_find(reading->columns, an_bytes_of(column)) != AN_NO_NAME) {
        return column;
    }
    const char *words[256];
    size_t count = 0;
    for (; count < an_names_count(reading->columns) && count < 256; count++) {
        words[count] = (const char *)an_names_at(reading->columns, count).at;
    }
    an_tell(reading, node, "'%s' names the column '%s', which is not among the station's columns%s",
            name, column, an_hint(reading, column, words, count, "these are"));
    return column;
}

struct an_word_list an_read_columns(struct an_reading *reading, const struct an_yaml_node *node,
                                    const char *name)
{
    return read_list(reading, node, name, an_read_column);
}

void an_check_name(struct an_reading *reading, const struct an_yaml_node *key, const char *what)
{
    const size_t length = strlen(key->text);
    bool good = length > 0 && length <= NAME_MOST;
    for (size_t i = 0; i < length && good; i++) {
        const char c = key->text[i];
        const bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
        const bool other = (c >= '0' && c <= '9') || c == '_' || c == '-';
        good = letter || (other && i > 0);
    }
    if (!good) {
        an_tell(reading, key,
                "'%s' cannot name a %s; a name begins with a letter and has at most %d letters, "
                "digits, '_' or '-'",
                key->text, what, NAME_MOST);
    }
}
