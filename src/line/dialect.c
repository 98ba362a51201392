/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How a station writes CSV. Responsible for refusing dialects that cannot be read without guessing
 * (one character with two meanings); must never look at a file.
 */
#include "line/sections.h"

#include <string.h>

#define CHOICES(list) list, sizeof list / sizeof list[0]

static const struct an_word_choice delimiters[] = {
    {"comma", ',', false}, {"semicolon", ';', false}, {"tab", '\t', false}, {"bar", '|', false},
    {",", ',', true},      {";", ';', true},          {"\t", '\t', true},   {"|", '|', true},
};
static const struct an_word_choice decimal_marks[] = {
    {"point", '.', false}, {"comma", ',', false}, {".", '.', true}, {",", ',', true}};
static const struct an_word_choice group_marks[] = {
    {"none", 0, false},
    {"point", '.', false},
    {"comma", ',', false},
    {"space", ' ', false},
    {"apostrophe", '\'', false},
    {".", '.', true},
    {",", ',', true},
    {" ", ' ', true},
    {"'", '\'', true},
};
static const struct an_word_choice encodings[] = {
    {"utf-8", AN_UTF8, false},
    {"latin-1", AN_LATIN1, false},
    {"windows-1252", AN_WINDOWS_1252, false},
    {"utf-16", AN_UTF16_BY_MARK, false},
    {"utf8", AN_UTF8, true},
    {"UTF-8", AN_UTF8, true},
    {"latin1", AN_LATIN1, true},
    {"iso-8859-1", AN_LATIN1, true},
    {"ISO-8859-1", AN_LATIN1, true},
    {"cp1252", AN_WINDOWS_1252, true},
    {"UTF-16", AN_UTF16_BY_MARK, true},
};

static void check_marks(struct an_reading *reading, const struct an_yaml_node *decimal,
                        const struct an_yaml_node *group, const struct an_yaml_node *delimiter,
                        const struct an_dialect *dialect, bool quoted)
{
    if (dialect->group_mark == dialect->decimal_mark) {
        an_tell(reading, group ? group : decimal,
                "'decimal' and 'group' are both '%c'; a number could be read in two ways",
                dialect->decimal_mark);
    }
    const bool decimal_cuts = dialect->decimal_mark == dialect->delimiter;
    const bool group_cuts = dialect->group_mark == dialect->delimiter;
    if (!quoted && (decimal_cuts || group_cuts)) {
        const struct an_yaml_node *at = decimal_cuts ? decimal : group;
        an_tell(reading, at ? at : delimiter,
                "'%s' is the delimiter too; set 'delimiter', or say 'numbers_quoted: yes' if "
                "numbers stand in quotes",
                decimal_cuts ? "decimal" : "group");
    }
}

void an_read_dialect(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                     struct an_dialect *dialect)
{
    struct an_map map =
        an_map_open(reading, node, NULL, an_phrase(reading, "'format' of %s", what));
    const struct an_yaml_node *delimiter = an_map_take(&map, "delimiter");
    dialect->delimiter =
        (char)an_read_choice(reading, delimiter, "delimiter", CHOICES(delimiters), ',');
    const struct an_yaml_node *decimal = an_map_take(&map, "decimal");
    dialect->decimal_mark =
        (char)an_read_choice(reading, decimal, "decimal", CHOICES(decimal_marks), '.');
    const struct an_yaml_node *group = an_map_take(&map, "group");
    dialect->group_mark = (char)an_read_choice(reading, group, "group", CHOICES(group_marks), 0);
    dialect->encoding = (enum an_encoding)an_read_choice(reading, an_map_take(&map, "encoding"),
                                                         "encoding", CHOICES(encodings), AN_UTF8);
    dialect->comment = an_read_text(reading, an_map_take(&map, "comment"), "comment", NULL);
    dialect->preamble_lines =
        an_read_whole(reading, an_map_take(&map, "preamble_lines"), "preamble_lines", 0, 1000, 0);
    dialect->units_row = an_read_bool(reading, an_map_take(&map, "units_row"), "units_row", false);
    dialect->footer = an_read_regex(reading, an_map_take(&map, "footer"), "footer", 1);
    dialect->end_marker =
        an_read_text(reading, an_map_take(&map, "end_marker"), "end_marker", NULL);
    dialect->trim = an_read_bool(reading, an_map_take(&map, "trim"), "trim", true);
    const bool quoted =
        an_read_bool(reading, an_map_take(&map, "numbers_quoted"), "numbers_quoted", false);
    check_marks(reading, decimal, group, delimiter, dialect, quoted);
    an_map_close(&map);
}
