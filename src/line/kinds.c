/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The kinds of items, and references to them. Must never build a kind in: a line declares all. */
#include "line/sections.h"

#include <string.h>

void an_read_kinds(struct an_reading *reading, const struct an_yaml_node *node,
                   const struct an_yaml_node *at, struct an_line *line)
{
    const struct an_map map = an_map_open(reading, node, at, "'kinds'");
    if (!map.node) {
        return;
    }
    if (map.node->count == 0 && !reading->torn) {
        an_tell(reading, map.node, "'kinds' is empty; declare at least one kind of item");
    }
    line->kinds = an_room(reading, map.node->count, sizeof *line->kinds);
    for (size_t i = 0; line->kinds && i < map.node->count; i++) {
        const struct an_yaml_node *key = map.node->pair[i].key;
        struct an_item_kind *kind = &line->kinds[line->kind_count++];
        an_check_name(reading, key, "kind");
        struct an_map one = an_map_open(reading, map.node->pair[i].value, key,
                                        an_phrase(reading, "kind '%s'", key->text));
        kind->name = key->text;
        kind->line_no = key->line;
        kind->title = an_read_text(reading, an_map_take(&one, "title"), "title", key->text);
        kind->id_pattern = an_read_regex(reading, an_map_take(&one, "id"), "id", 0);
        kind->fold_case = an_read_bool(reading, an_map_take(&one, "fold_case"), "fold_case", false);
        kind->product = an_read_bool(reading, an_map_take(&one, "product"), "product", false);
        kind->closed_by = an_read_text(reading, an_map_take(&one, "closed_by"), "closed_by", NULL);
        an_map_close(&one);
    }
}

size_t an_read_kind(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                    const struct an_line *line)
{
    const char *word = an_read_text(reading, node, name, NULL);
    if (!word) {
        return AN_NONE;
    }
    const size_t kind = an_line_kind(line, an_bytes_of(word));
    if (kind == AN_NONE && !(reading->torn && line->kind_count == 0)) {
        const char *words[64];
        size_t count = 0;
        for (; count < line->kind_count && count < 64; count++) {
            words[count] = line->kinds[count].name;
        }
        an_tell(reading, node, "'%s' names the kind '%s', which is not declared%s", name, word,
                count == 0 ? "; add it to 'kinds'"
                           : an_hint(reading, word, words, count, "declared under 'kinds' are"));
    }
    return kind;
}
