/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Our demonstration line: its description, its stations' files with their mess, and the truth
 * about both. Deterministic: the same seed gives the same bytes on every machine.
 */
#ifndef AN_DEMO_DEMO_H
#define AN_DEMO_DEMO_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stdint.h>

struct an_demo_options {
    const char *folder; /* made if it does not exist; must be empty (AN_CANNOT_CREATE) */
    bool quiet_line;    /* no seeded fault, no file mess */
    int days;           /* 14 */
    uint64_t seed;      /* 0: the usual one */
};
struct an_demo_result {
    int64_t files, rows, bytes;
    const char *description; /* path of line.yaml below the folder, static text "line.yaml" */
};
AN_CHECKED enum an_status an_demo_write(const struct an_demo_options *options,
                                        struct an_demo_result *result, struct an_error *err);

#endif
