/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What all paths of a walk come to, item by item. */
#ifndef AN_TRACE_TOTALS_H
#define AN_TRACE_TOTALS_H

#include "trace/nodes.h"
#include "trace/trace.h"

/* Marks the steps that are part of a loop and fills trace->reached. leads[k]: the number of the node
 * to which step k leads; node 0 is the start. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_trace_sum_up(struct an_trace *trace, const struct an_nodes *nodes,
                                          const size_t *leads, struct an_error *err);

#endif
