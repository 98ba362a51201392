/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the parts of reading a report definition share; inside this layer only. The first mistake is
 * kept in the reader; after it nothing more is read. */
#ifndef AN_REPORT_DEFINITION_READING_H
#define AN_REPORT_DEFINITION_READING_H

#include "report/definition.h"

#include <libfyaml.h>
#include <stdbool.h>

/* The reports that know a word. */
enum { AN_OF_SHIFT = 1, AN_OF_WEEK = 2, AN_OF_WALL = 4, AN_OF_BATCH = 8, AN_OF_TILE = 16 };
enum {
    AN_OF_PERIOD = AN_OF_SHIFT | AN_OF_WEEK,
    AN_OF_ITEM = AN_OF_WALL | AN_OF_BATCH | AN_OF_TILE
};

struct an_known_word {
    const char *word, *title;
    unsigned reports;
    bool has_most; /* a section that takes 'most' */
};
struct an_definition_reader {
    enum an_report_kind kind;
    unsigned here; /* the bit of that report */
    const char *name;
    struct an_arena *arena;
    struct an_error *err;
    enum an_status st;
};

void an_definition_mistake(struct an_definition_reader *reader, struct fy_node *node,
                           const char *format, ...) AN_PRINTF(3, 4);
/* A NUL-terminated copy of a scalar's text; NULL (and a mistake) if it is none. */
const char *an_definition_text(struct an_definition_reader *reader, struct fy_node *node,
                               const char *key);
/* low after a mistake. */
size_t an_definition_whole(struct an_definition_reader *reader, struct fy_node *node,
                           const char *key, size_t low, size_t high);
/* A number above 0; 0 after a mistake. */
double an_definition_number(struct an_definition_reader *reader, struct fy_node *node,
                            const char *key);
/* Index of the word in the list, or count (and a mistake naming the words the report knows). */
size_t an_definition_word(struct an_definition_reader *reader, struct fy_node *node,
                          const char *key, const struct an_known_word *words, size_t count);
/* Key and value of each pair go to `take`, which answers false for a key it does not know. */
typedef bool an_definition_take(struct an_definition_reader *reader, const char *key,
                                struct fy_node *key_node, struct fy_node *value, void *into);
void an_definition_mapping(struct an_definition_reader *reader, struct fy_node *node,
                           const char *what, const char *known, an_definition_take *take,
                           void *into);
void an_definition_sequence(struct an_definition_reader *reader, struct fy_node *node,
                            const char *key, size_t most,
                            void (*each)(struct an_definition_reader *reader, struct fy_node *item,
                                         void *into),
                            void *into);

/* One entry of `pages`, with its sections, into a struct an_report_definition (definition_pages.c). */
void an_definition_page(struct an_definition_reader *reader, struct fy_node *item, void *into);

#endif
