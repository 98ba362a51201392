/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A set of texts, each with a small number of its own (0, 1, 2, ... in order of arrival).
 * Used wherever the same few serials and codes come again and again. One thread a set.
 */
#ifndef ANDAMENTO_BASE_NAMES_H
#define ANDAMENTO_BASE_NAMES_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"

#include <stddef.h>
#include <stdint.h>

#define AN_NO_NAME SIZE_MAX

struct an_names;
struct an_names *an_names_open(void);        /* NULL when memory is out */
void an_names_close(struct an_names *names); /* NULL is fine */
size_t an_names_count(const struct an_names *names);
/* The number of the text, added if new; AN_NO_NAME when memory is out. The bytes are copied. */
size_t an_names_add(struct an_names *names, struct an_bytes text);
size_t an_names_find(const struct an_names *names, struct an_bytes text); /* or AN_NO_NAME */
/* Valid until the set is closed; NUL stands behind the bytes. */
struct an_bytes an_names_at(const struct an_names *names, size_t number);
void an_names_clear(struct an_names *names); /* empty again, memory kept for reuse */

#endif
