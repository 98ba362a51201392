/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The original being written, as far as closing the store must know of it. One thread a store. */
#ifndef AN_STORE_ORIGINAL_H
#define AN_STORE_ORIGINAL_H

struct an_store;
void an_original_drop(struct an_store *store); /* frees the writer and its buffers */

#endif
