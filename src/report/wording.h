/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Numbers, times and sentences as the report says them. All texts live in the caller's arena;
 * NULL when memory is out. Nothing follows the locale or the machine's zone. Any thread.
 */
#ifndef AN_REPORT_WORDING_H
#define AN_REPORT_WORDING_H

#include "andamento/base/instant.h"
#include "andamento/base/memory.h"
#include "andamento/stat/rules.h"
#include "report/period_data.h"

const char *an_say_count(struct an_arena *arena, int64_t count); /* "12,408" */
/* Nouns ending in s, x, ch or sh take es; in consonant + y, ies; others s. */
const char *an_say_plural(struct an_arena *arena, const char *noun);
/* "1 tile", "12,408 tiles" */
const char *an_say_many(struct an_arena *arena, int64_t count, const char *noun);
/* Fixed decimals, without a minus before zero; "-" for NaN. */
const char *an_say_number(struct an_arena *arena, double value, int decimals);
/* Three significant digits, thousands parted: "5,410,000", "0.00209", "10.1"; "-" for NaN. */
const char *an_say_digits(struct an_arena *arena, double value);
/* Decimals that show the second significant digit of a size: 2 of 0.46, 0 of 24. */
int an_decimals_of(double size);
/* "0.8 um"; no unit for "1" or NULL; "%" and "per million" as they are. */
const char *an_say_measure(struct an_arena *arena, double value, int decimals, const char *unit);
/* A number of the description, as short as it can be written: "1000", "0.35". */
const char *an_say_plain(struct an_arena *arena, double value);
const char *an_say_time(struct an_arena *arena, const struct an_zone *zone, int64_t at_us);
/* "25 November 2026"; "never" of no instant */
const char *an_say_date(struct an_arena *arena, const struct an_zone *zone, int64_t at_us);
/* When limits were locked and which values they judge, which is not told by the first:
 * "locked 25 November 2026, for values from 7 March 2026 on". */
const char *an_say_locked(struct an_arena *arena, const struct an_zone *zone, int64_t locked_us,
                          int64_t in_force_us);
/* "4 March 22:00 to 5 March 06:00, Europe/Rome" */
const char *an_say_period(struct an_arena *arena, const struct an_zone *zone, int64_t from_us,
                          int64_t until_us);
const char *an_say_span(struct an_arena *arena, int64_t span_us); /* "3 days", "14 h", "20 min" */
/* "a, b, c and 4 more"; "" if there is none */
const char *an_say_list(struct an_arena *arena, const char *const *at, size_t count, size_t most);
/* Size of a sample: "24 readings", "about 34,560 opportunities", "1 reading". */
const char *an_say_n(struct an_arena *arena, double n, const char *counted_in);
/* A rule as it is switched on, both sides: code "R9", words "9 points in a row on one side". */
const char *an_say_rule_code(struct an_arena *arena, enum an_rule rule,
                             const struct an_rule_choice *choice);
const char *an_say_rule(struct an_arena *arena, enum an_rule rule,
                        const struct an_rule_choice *choice);
/* The family in words: "item means, judged by item-to-item variation". */
const char *an_say_family(enum an_family family);

/* The sentence that opens the report, and the one that compares with the last period. */
const char *an_say_lead(struct an_arena *arena, const struct an_period_data *data);
const char *an_say_comparison(struct an_arena *arena, const struct an_period_data *data);

#endif
