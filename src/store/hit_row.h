/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A hit as the ledger tells it: one line of JSON. An entry `signal.hits` tells of a run of rows by
 * their number and the SHA-256 of their lines, each ended by LF, in order of hit_id. Any thread.
 */
#ifndef AN_STORE_HIT_ROW_H
#define AN_STORE_HIT_ROW_H

#include "andamento/base/text.h"

#include <stdint.h>

#define AN_HITS_KIND "signal.hits"

struct an_hit_row { /* all columns but the entry */
    int64_t hit_id, signal_id, stream_id, sample_id, at_us, window_first_sample_id;
    int64_t rule, panel, side;
    double value, z; /* NAN: NULL */
    int64_t known_us;
};
void an_hit_row_add(struct an_text *lines, const struct an_hit_row *row);

#endif
