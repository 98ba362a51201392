/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What each test begins with and leaves nothing of. */
#include "support_fixture.h"

struct an_store *store;
struct an_arena *arena;
struct an_error err;

void fixture_set_up(void)
{
    scratch_make();
    OK(an_store_open(scratch_path("line.store"), AN_STORE_CREATE, &store, &err));
    arena = an_arena_open();
    ck_assert_ptr_nonnull(arena);
}

void fixture_tear_down(void)
{
    an_arena_close(arena);
    an_store_close(store);
    scratch_remove();
}
