/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The word that was probably meant. Allocates nothing; any thread. */
#ifndef AN_LINE_NEAREST_H
#define AN_LINE_NEAREST_H

#include <stddef.h>

/* The nearest of the words by letters put in, left out, changed or swapped with their neighbour;
 * the first among equals; NULL if more than a third of the letters would have to change. */
const char *an_nearest(const char *word, const char *const *words, size_t count);

#endif
