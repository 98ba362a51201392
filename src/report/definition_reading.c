/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Texts, numbers, words and lists of a report definition, each with its mistakes. Must never go on
 * after the first one. Its one hard idea: a mapping or sequence has no token of its own, so its place
 * is that of the first scalar inside it.
 */
#include "report/definition_reading.h"

#include "andamento/base/number.h"
#include "andamento/base/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const struct fy_mark *place_of(struct fy_node *node)
{
    void *at = NULL;
    while (node && fy_node_get_type(node) != FYNT_SCALAR) {
        at = NULL;
        if (fy_node_get_type(node) == FYNT_MAPPING) {
            struct fy_node_pair *pair = fy_node_mapping_iterate(node, &at);
            node = pair ? fy_node_pair_key(pair) : NULL;
        } else {
            node = fy_node_sequence_iterate(node, &at);
        }
    }
    struct fy_token *token = node ? fy_node_get_scalar_token(node) : NULL;
    return token ? fy_token_start_mark(token) : NULL;
}

/* The first mistake is kept; later ones are nothing. */
void an_definition_mistake(struct an_definition_reader *reader, struct fy_node *node,
                           const char *format, ...)
{
    if (reader->st) {
        return;
    }
    const struct fy_mark *mark = node ? place_of(node) : NULL;
    const unsigned line = mark ? (unsigned)mark->line + 1 : 1;
    const unsigned column = mark ? (unsigned)mark->column + 1 : 1;
    struct an_text text = {0};
    an_text_addf(&text, "%s:%u:%u: ", reader->name, line, column);
    char what[360];
    va_list list;
    va_start(list, format);
    (void)vsnprintf(what, sizeof what, format, list);
    va_end(list);
    an_text_add(&text, what);
    reader->st = text.failed ? AN_NO_MEMORY : AN_BAD_CONFIG;
    (void)an_fail_at(reader->err, reader->st, line, column, "%s",
                     text.failed ? "out of memory" : an_text_of(&text));
    an_text_free(&text);
}

/* A NUL-terminated copy of a scalar's text; NULL (and a mistake) if it is none. */
const char *an_definition_text(struct an_definition_reader *reader, struct fy_node *node,
                               const char *key)
{
    size_t length = 0;
    const char *at =
        node && fy_node_get_type(node) == FYNT_SCALAR ? fy_node_get_scalar(node, &length) : NULL;
    if (!at) {
        an_definition_mistake(reader, node, "'%s' should be one text", key);
        return NULL;
    }
    const struct an_bytes bytes = {(const unsigned char *)at, length};
    const size_t good = an_utf8_check(bytes);
    if (good != length || memchr(at, '\0', length)) {
        an_definition_mistake(reader, node, "'%s' holds a byte that is no text", key);
        return NULL;
    }
    char *copy = an_arena_copy(reader->arena, at, length);
    if (!copy && !reader->st) {
        reader->st = an_fail(reader->err, AN_NO_MEMORY, "out of memory");
    }
    return copy;
}

size_t an_definition_whole(struct an_definition_reader *reader, struct fy_node *node,
                           const char *key, size_t low, size_t high)
{
    const char *text = an_definition_text(reader, node, key);
    int64_t value = 0;
    if (text && (an_integer_parse(an_bytes_of(text), &value) || value < (int64_t)low ||
                 value > (int64_t)high)) {
        an_definition_mistake(reader, node,
                              "'%s' is '%.40s'; it should be a whole number from %zu to %zu", key,
                              text, low, high);
        return low;
    }
    return text ? (size_t)value : low;
}

/* Index of the word in the list, or count (and a mistake naming the words the report knows). */
size_t an_definition_word(struct an_definition_reader *reader, struct fy_node *node,
                          const char *key, const struct an_known_word *words, size_t count)
{
    const char *text = an_definition_text(reader, node, key);
    if (!text) {
        return count;
    }
    const char *list[16];
    size_t known = 0;
    for (size_t i = 0; i < count; i++) {
        if (!(words[i].reports & reader->here)) {
            continue;
        }
        if (!strcmp(text, words[i].word)) {
            return i;
        }
        list[known++] = words[i].word;
    }
    char names[240] = "";
    size_t used = 0;
    for (size_t i = 0; i < known && used < sizeof names; i++) {
        used += (size_t)snprintf(names + used, sizeof names - used, "%s%s",
                                 i == 0           ? ""
                                 : i + 1 == known ? " or "
                                                  : ", ",
                                 list[i]);
    }
    an_definition_mistake(reader, node, "there is no %s '%.40s'; it should be %s", key, text,
                          names);
    return count;
}

void an_definition_mapping(struct an_definition_reader *reader, struct fy_node *node,
                           const char *what, const char *known, an_definition_take *take,
                           void *into)
{
    if (!node || fy_node_get_type(node) != FYNT_MAPPING) {
        an_definition_mistake(reader, node,
                              "%s should be a list of 'key: value' lines with the keys %s", what,
                              known);
        return;
    }
    void *at = NULL;
    for (struct fy_node_pair *pair = fy_node_mapping_iterate(node, &at); pair && !reader->st;
         pair = fy_node_mapping_iterate(node, &at)) {
        struct fy_node *key_node = fy_node_pair_key(pair);
        const char *key = an_definition_text(reader, key_node, "key");
        if (key && !take(reader, key, key_node, fy_node_pair_value(pair), into)) {
            an_definition_mistake(reader, key_node, "%s has no key '%.40s'; the keys are %s", what,
                                  key, known);
        }
    }
}

void an_definition_sequence(
    struct an_definition_reader *reader, struct fy_node *node, const char *key, size_t most,
    void (*each)(struct an_definition_reader *reader, struct fy_node *item, void *into), void *into)
{
    if (!node || fy_node_get_type(node) != FYNT_SEQUENCE) {
        an_definition_mistake(reader, node, "'%s' should be a list, each entry after a dash", key);
        return;
    }
    void *at = NULL;
    size_t count = 0;
    for (struct fy_node *item = fy_node_sequence_iterate(node, &at); item && !reader->st;
         item = fy_node_sequence_iterate(node, &at)) {
        if (count++ == most) {
            an_definition_mistake(reader, item, "'%s' has more than %zu entries", key, most);
            return;
        }
        each(reader, item, into);
    }
}

/* A number above 0; 0 after a mistake. */
double an_definition_number(struct an_definition_reader *reader, struct fy_node *node,
                            const char *key)
{
    const char *text = an_definition_text(reader, node, key);
    struct an_decimal number = {0};
    if (text && (an_decimal_parse(an_bytes_of(text), '.', 0, &number) || !(number.value > 0) ||
                 number.value > 1e9)) {
        an_definition_mistake(reader, node, "'%s' is '%.40s'; it should be a number above 0", key,
                              text);
        return 0;
    }
    return text ? number.value : 0;
}
