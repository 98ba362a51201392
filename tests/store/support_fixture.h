/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A new store, an arena and a scratch folder for each test. */
#ifndef AN_TESTS_STORE_SUPPORT_FIXTURE_H
#define AN_TESTS_STORE_SUPPORT_FIXTURE_H

#include "support.h"

extern struct an_store *store;
extern struct an_arena *arena;
extern struct an_error err;

void fixture_set_up(void);
void fixture_tear_down(void);

#endif
