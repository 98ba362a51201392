/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which other items a row speaks of. Must never follow a link: that is the store's data. */
#include "line/sections.h"

static void read_link(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                      const struct an_line *line, struct an_link_rule *link)
{
    static const struct an_word_choice sides[] = {{"parent", 1, false}, {"child", 0, false}};
    struct an_map map = an_map_open(reading, node, node, what);
    link->column = an_read_column(
        reading, an_map_need(&map, "column", "the column that holds the other item's serial"),
        "column");
    link->kind = an_read_kind(reading, an_map_need(&map, "kind", "the kind of the other item"),
                              "kind", line);
    link->other_is_parent =
        an_read_choice(reading, an_map_take(&map, "other_is"), "other_is", sides, 2, 1) == 1;
    link->role = an_read_text(reading, an_map_take(&map, "role"), "role", NULL);
    const struct an_yaml_node *role_column = an_map_take(&map, "role_column");
    link->role_column = an_read_column(reading, role_column, "role_column");
    if (link->role && link->role_column) {
        an_tell(reading, role_column, "%s has both 'role' and 'role_column'; keep one", what);
    }
    link->share_column = an_read_column(reading, an_map_take(&map, "share_column"), "share_column");
    link->row_column = an_read_column(reading, an_map_take(&map, "row_column"), "row_column");
    link->column_column =
        an_read_column(reading, an_map_take(&map, "column_column"), "column_column");
    link->region_column =
        an_read_column(reading, an_map_take(&map, "region_column"), "region_column");
    link->known_first =
        an_read_bool(reading, an_map_take(&map, "known_first"), "known_first", false);
    an_map_close(&map);
}

void an_read_links(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                   const struct an_line *line, struct an_station *station)
{
    if (!node) {
        return;
    }
    if (node->kind != AN_YAML_LIST) {
        an_tell(reading, node, "'links' is a list, each '- {column: ..., kind: ...}', not %s",
                an_yaml_kind_words(node));
        return;
    }
    station->links = an_room(reading, node->count, sizeof *station->links);
    for (size_t i = 0; station->links && i < node->count; i++) {
        read_link(reading, node->item[i], an_phrase(reading, "a link of %s", what), line,
                  &station->links[station->link_count++]);
    }
}
