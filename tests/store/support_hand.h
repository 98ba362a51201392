/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Files put by hand into the store of the fixture. */
#ifndef AN_TESTS_STORE_SUPPORT_HAND_H
#define AN_TESTS_STORE_SUPPORT_HAND_H

#include "support_fixture.h"

/* Runs one case of these tests as a suite; returns what main returns. */
int hand_run(Suite *suite);

struct in_hand {
    int64_t file_id, item_id, visit_id;
};
/* A file with one item and its visit, inside a transaction that end_file commits. */
struct in_hand begin_file(const char *serial);
void end_file(const struct in_hand *hand, int64_t known_us);
/* One reading; returns its sample_id. */
int64_t put_sample(const struct in_hand *hand, int64_t stream_id, int64_t at_us, double mean);

#endif
