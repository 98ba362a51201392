/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * truth.json: what was seeded, what was damaged, what a reader of the files should find, and how
 * soon. One thread a call.
 */
#ifndef AN_DEMO_TRUTH_H
#define AN_DEMO_TRUTH_H

#include "demo/faults.h"
#include "demo/mess.h"

void an_demo_truth(struct an_text *json, const struct an_demo_output *output,
                   const struct an_demo_fault faults[], size_t fault_count);

#endif
