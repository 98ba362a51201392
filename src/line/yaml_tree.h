/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A YAML file as a plain tree whose every node knows its line and column.
 *
 * Scalars stay text: what they mean is decided by whoever asks. Aliases are followed and merge
 * keys (<<) carried out, so a node may be reached along several ways; nothing leads back to itself.
 * Everything lives in the arena. Nothing changes after reading: any thread may look.
 */
#ifndef AN_LINE_YAML_TREE_H
#define AN_LINE_YAML_TREE_H

#include "andamento/base/bytes.h"
#include "andamento/base/memory.h"
#include "line/mistakes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define AN_YAML_BYTES_MOST ((size_t)4 << 20)

enum an_yaml_kind { AN_YAML_SCALAR, AN_YAML_LIST, AN_YAML_MAP };

struct an_yaml_pair {
    const struct an_yaml_node *key; /* a scalar */
    const struct an_yaml_node *value;
    bool merged; /* came in by a merge key */
};

struct an_yaml_node {
    enum an_yaml_kind kind;
    uint64_t line, column;            /* from 1 */
    const char *text;                 /* of a scalar; NUL-terminated; holds no NUL inside */
    bool absent;                      /* nothing was written, or ~, or what was is told */
    bool told;                        /* absent because of a mistake already told */
    const struct an_yaml_node **item; /* of a list */
    const struct an_yaml_pair *pair;  /* of a map; no key stands twice */
    size_t count;                     /* of items or pairs */
    size_t weight;                    /* nodes below and here, each way counted */
};

/*
 * Reads one document. Mistakes of YAML go to `mistakes`: not UTF-8, tabs in the indentation, bad
 * syntax, a key given twice (the first one stays), an unknown alias, tags, more than one document,
 * a file over 4 MiB, nesting deeper than 32, aliases that would unfold to more than 200,000
 * nodes. *root is NULL if nothing could be read. *torn: the syntax broke, and *root is what stood
 * before that place. Memory running out: mistakes->failed.
 */
void an_yaml_read(struct an_bytes yaml, struct an_arena *arena, struct an_mistakes *mistakes,
                  const struct an_yaml_node **root, bool *torn);
/* The value of a key of a map, or NULL. */
const struct an_yaml_node *an_yaml_get(const struct an_yaml_node *map, const char *key);
/* "a text", "a list", "a map", "nothing". */
const char *an_yaml_kind_words(const struct an_yaml_node *node);

#endif
