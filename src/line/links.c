/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which other items a row speaks of. Must never follow a link: that is the store's data. */
#include "line/sections.h"

#include <math.h>

enum { PARENT, CHILD, SAME };

/* "scanned", or {column: how, scanned: [S], typed: [H]} */
static void read_confidence(struct an_reading *reading, const struct an_yaml_node *node,
                            const char *what, struct an_link_rule *link)
{
    static const struct an_word_choice words[] = {{"scanned", AN_SCANNED, false},
                                                  {"typed", AN_TYPED, false},
                                                  {"inferred", AN_INFERRED, false}};
    size_t count = 0;

    if (!node) {
        return;
    }
    if (node->kind != AN_YAML_MAP) {
        link->confidence = (enum an_confidence)an_read_choice(reading, node, "confidence", words, 3,
                                                              AN_CONFIDENCE_UNTOLD);
        return;
    }
    struct an_map map =
        an_map_open(reading, node, node, an_phrase(reading, "'confidence' of %s", what));
    link->confidence_column = an_read_column(
        reading, an_map_need(&map, "column", "the column that tells how it was read"), "column");
    for (int i = AN_SCANNED; i < AN_CONFIDENCES; i++) {
        const char *word = words[i - AN_SCANNED].word;

        link->confidence_words[i] = an_read_words(reading, an_map_take(&map, word), word);
        count += link->confidence_words[i].count;
    }
    an_map_close(&map);
    if (!count && !reading->torn) {
        an_tell(reading, node,
                "'confidence' of %s has no words; say which words of the column mean 'scanned', "
                "'typed' or 'inferred'",
                what);
    }
}

/* yes, or {column: act, words: [out]} */
static void read_ends(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                      struct an_link_rule *link)
{
    if (!node) {
        return;
    }
    if (node->kind != AN_YAML_MAP) {
        link->ends = an_read_bool(reading, node, "ends", false);
        return;
    }
    struct an_map map = an_map_open(reading, node, node, an_phrase(reading, "'ends' of %s", what));
    link->ends = true;
    link->ends_column = an_read_column(
        reading, an_map_need(&map, "column", "the column that tells what was done"), "column");
    link->ends_words = an_read_words(
        reading, an_map_need(&map, "words", "the words that mean that it was taken out"), "words");
    an_map_close(&map);
}

/* What is told of a link, and not of another serial. */
static void read_manner(struct an_reading *reading, struct an_map *map, const char *what,
                        struct an_link_rule *link)
{
    link->role = an_read_text(reading, an_map_take(map, "role"), "role", NULL);
    const struct an_yaml_node *role_column = an_map_take(map, "role_column");
    link->role_column = an_read_column(reading, role_column, "role_column");
    if (link->role && link->role_column) {
        an_tell(reading, role_column, "%s has both 'role' and 'role_column'; keep one", what);
    }
    const struct an_yaml_node *roles = an_map_take(map, "roles");
    link->roles = an_read_words(reading, roles, "roles");
    if (link->roles.count && !link->role_column) {
        an_tell(reading, roles, "'roles' lists the words of 'role_column', which %s has not", what);
    }
    const struct an_yaml_node *share = an_map_take(map, "share");
    const struct an_yaml_node *share_column = an_map_take(map, "share_column");
    link->share = an_read_number(reading, share, "share", (double)NAN);
    link->share_column = an_read_column(reading, share_column, "share_column");
    if (share && share_column) {
        an_tell(reading, share_column, "%s has both 'share' and 'share_column'; keep one", what);
    }
    if (!(isnan(link->share) || (link->share >= 0 && link->share <= 1))) {
        an_tell(reading, share, "'share' is %g; it is a part of the whole, 0 to 1", link->share);
    }
    link->row_column = an_read_column(reading, an_map_take(map, "row_column"), "row_column");
    link->column_column =
        an_read_column(reading, an_map_take(map, "column_column"), "column_column");
    link->region_column =
        an_read_column(reading, an_map_take(map, "region_column"), "region_column");
    read_confidence(reading, an_map_take(map, "confidence"), what, link);
    const struct an_yaml_node *ends = an_map_take(map, "ends");
    read_ends(reading, ends, what, link);
    const struct an_yaml_node *single = an_map_take(map, "single");
    link->single = an_read_bool(reading, single, "single", false);
    if (link->single && link->ends && !link->ends_column) {
        an_tell(reading, single,
                "every row of %s ends a link, so none can be 'single'; keep one of the two", what);
    }
    const struct an_yaml_node *made = an_map_take(map, "made_first");
    link->made_first = an_read_bool(reading, made, "made_first", false);
    if (link->made_first && !link->other_is_parent) {
        an_tell(reading, made,
                "'made_first' asks when the other item was made, which went into this one; %s has "
                "'other_is: child'",
                what);
    }
}

static void read_same(struct an_reading *reading, struct an_map *map, struct an_link_rule *link)
{
    static const struct an_word_choice times[] = {{"always", AN_ALIAS_ALWAYS, false},
                                                  {"before", AN_ALIAS_BEFORE, false},
                                                  {"after", AN_ALIAS_AFTER, false}};
    link->alias_time = (enum an_alias_time)an_read_choice(reading, an_map_take(map, "holds"),
                                                          "holds", times, 3, AN_ALIAS_ALWAYS);
    const struct an_yaml_node *holds_for = an_map_take(map, "holds_for");
    if (holds_for) {
        link->alias_for_us = an_read_duration_us(reading, holds_for, "holds_for");
        if (link->alias_time == AN_ALIAS_ALWAYS) {
            an_tell(reading, holds_for,
                    "'holds_for' counts from the row, so 'holds' must be 'before' or 'after'");
        }
    }
}

static void read_link(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                      const struct an_line *line, struct an_link_rule *link)
{
    static const struct an_word_choice sides[] = {
        {"parent", PARENT, false}, {"child", CHILD, false}, {"same", SAME, false}};
    struct an_map map = an_map_open(reading, node, node, what);

    link->column = an_read_column(
        reading, an_map_need(&map, "column", "the column that holds the other item's serial"),
        "column");
    link->kind = an_read_kind(reading, an_map_need(&map, "kind", "the kind of the other item"),
                              "kind", line);
    const int side =
        an_read_choice(reading, an_map_take(&map, "other_is"), "other_is", sides, 3, PARENT);
    link->other_is_parent = side == PARENT;
    link->other_is_same = side == SAME;
    link->share = (double)NAN;
    if (link->other_is_same) {
        read_same(reading, &map, link);
    } else {
        read_manner(reading, &map, what, link);
    }
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

bool an_line_single(const struct an_line *line, size_t part_kind, size_t whole_kind)
{
    for (size_t s = 0; s < line->station_count; s++) {
        const struct an_station *station = &line->stations[s];

        for (size_t i = 0; i < station->link_count; i++) {
            const struct an_link_rule *rule = &station->links[i];
            const size_t part = rule->other_is_parent ? rule->kind : station->item_kind;
            const size_t whole = rule->other_is_parent ? station->item_kind : rule->kind;

            if (rule->single && part == part_kind && whole == whole_kind) {
                return true;
            }
        }
    }
    return false;
}
