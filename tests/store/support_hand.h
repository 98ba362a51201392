/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A store of its own for each test, and files put into it by hand. */
#ifndef AN_TESTS_STORE_SUPPORT_HAND_H
#define AN_TESTS_STORE_SUPPORT_HAND_H

#include "support.h"

extern struct an_store *store;
extern struct an_arena *arena;
extern struct an_error err;

/* Before and after each test: a new store, an arena, a scratch folder. */
void hand_set_up(void);
void hand_tear_down(void);
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
