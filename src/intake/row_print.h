/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a row is known by: equal rows have equal prints. Any thread. */
#ifndef AN_INTAKE_ROW_PRINT_H
#define AN_INTAKE_ROW_PRINT_H

#include "andamento/base/text.h"
#include "intake/row.h"

#include <stdint.h>

struct an_row_print {
    uint64_t low, high;
};

/* Of what the needed cells say, however columns are ordered and numbers padded. `scratch` is only
 * memory; its `failed` is the caller's to ask. */
struct an_row_print an_row_print(struct an_row *row, const struct an_plan *plan,
                                 struct an_text *scratch);
/* SipHash-2-4-128 with the key 00 01 ... 0f, low byte first. */
struct an_row_print an_row_print_of(struct an_bytes bytes);

#endif
