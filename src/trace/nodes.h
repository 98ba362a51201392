/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The items met on a walk, each with a number of its own (0, 1, 2, ...). One thread a set. */
#ifndef AN_TRACE_NODES_H
#define AN_TRACE_NODES_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_node {
    int64_t item_id;
    size_t step;      /* that reached it first; AN_TRACE_START: the start */
    size_t first_out; /* its own steps follow each other from here */
    size_t out_count;
    bool entered; /* its links were read */
};

struct an_nodes {
    struct an_node *at;
    size_t count, capacity;
    size_t *slots;     /* number + 1; 0: free */
    size_t slot_count; /* a power of two, or 0 */
};

/* The item's number; *is_new if it had none. SIZE_MAX when memory is out. */
size_t an_nodes_add(struct an_nodes *nodes, int64_t item_id, bool *is_new);
size_t an_nodes_find(const struct an_nodes *nodes, int64_t item_id); /* or SIZE_MAX */
void an_nodes_free(struct an_nodes *nodes);

#endif
