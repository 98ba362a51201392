/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Taking a map apart key by key, and reading single values, with every mistake told on the way.
 *
 * A reader takes every key it knows, present or not, then closes the map: what was not asked for
 * is unknown, and the keys asked for are what could have been meant. A value that is wrong is told
 * and read as if it were not there, so that reading goes on. One thread a reading.
 */
#ifndef AN_LINE_YAML_WALK_H
#define AN_LINE_YAML_WALK_H

#include "andamento/base/names.h"
#include "line/line.h"
#include "line/mistakes.h"
#include "line/yaml_tree.h"

#include <stdbool.h>
#include <stddef.h>

#define AN_MAP_KEYS_MOST 48

struct an_weighting;
struct an_reading {
    struct an_arena *arena;
    struct an_mistakes *mistakes;
    bool torn; /* the file ended in a syntax error: what is missing may only be out of sight */
    const struct an_names *columns; /* of the station in hand; NULL: not declared */
    struct an_weighting *designed;  /* charts with memory whose limits were found so far */
    size_t designed_count;
};

struct an_map {
    struct an_reading *reading;
    const struct an_yaml_node *node; /* NULL: nothing there */
    const struct an_yaml_node *at;   /* where a missing key is told */
    const char *what;                /* "station 'lumen'" */
    const char *asked[AN_MAP_KEYS_MOST];
    size_t asked_count;
};

struct an_word_choice {
    const char *word;
    int value;
    bool other; /* another spelling: accepted, not proposed */
};

/* A mistake at the place of a node. */
void an_tell(struct an_reading *reading, const struct an_yaml_node *at, const char *format, ...)
    AN_PRINTF(3, 4);
/* A text in the arena; "" when memory is out. */
const char *an_phrase(struct an_reading *reading, const char *format, ...) AN_PRINTF(2, 3);
/* count elements, zeroed; NULL (and remembered) when memory is out. */
void *an_room(struct an_reading *reading, size_t count, size_t size);
/* " (did you mean 'x'?)", or a list of the words after `otherwise`, or "". */
const char *an_hint(struct an_reading *reading, const char *word, const char *const *words,
                    size_t count, const char *otherwise);

/* node may be NULL or absent: an empty map. A node of another kind is told. */
struct an_map an_map_open(struct an_reading *reading, const struct an_yaml_node *node,
                          const struct an_yaml_node *at, const char *what);
/* NULL if the key is not there or has no value. */
const struct an_yaml_node *an_map_take(struct an_map *map, const char *key);
/* The same, told if not there; `want` says what would be right: "a column name". */
const struct an_yaml_node *an_map_need(struct an_map *map, const char *key, const char *want);
void an_map_close(struct an_map *map); /* tells the keys nobody asked for */

/* Single values. name is the key, for the message; the fallback is returned when node is NULL or
 * wrong. */
const char *an_read_text(struct an_reading *reading, const struct an_yaml_node *node,
                         const char *name, const char *fallback);
bool an_read_bool(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                  bool fallback);
double an_read_number(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                      double fallback);
int an_read_whole(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                  int least, int most, int fallback);
int an_read_choice(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                   const struct an_word_choice *choices, size_t count, int fallback);
/* A list of texts, or one. Empty words are told unless allowed. */
struct an_word_list an_read_words(struct an_reading *reading, const struct an_yaml_node *node,
                                  const char *name);
/* One column, checked against the station's columns if it declares them; NULL if there is none. */
const char *an_read_column(struct an_reading *reading, const struct an_yaml_node *node,
                           const char *name);
struct an_word_list an_read_columns(struct an_reading *reading, const struct an_yaml_node *node,
                                    const char *name);
/* A regular expression that compiles; with at least `groups` groups. */
const char *an_read_regex(struct an_reading *reading, const struct an_yaml_node *node,
                          const char *name, size_t groups);
/* Tells a name that cannot stand in a stream's name. */
void an_check_name(struct an_reading *reading, const struct an_yaml_node *key, const char *what);

#endif
