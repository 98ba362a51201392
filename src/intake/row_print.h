/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a row is known by: equal rows have equal prints. Any thread. */
#ifndef AN_INTAKE_ROW_PRINT_H
#define AN_INTAKE_ROW_PRINT_H

#include "intake/row.h"

#include <stdint.h>

struct an_row_print {
    uint64_t low, high;
};

/* Of what the needed cells say, however columns are ordered and numbers padded. */
struct an_row_print an_row_print(struct an_row *row, const struct an_plan *plan);
/* SipHash-2-4-128 with the key 00 01 ... 0f, low byte first. */
struct an_row_print an_row_print_of(struct an_bytes bytes);

/* ---- its parts, for those who have many rows: a word a column of the plan, in pairs ------------ */
__extension__ typedef unsigned __int128 an_print_sum;

uint64_t an_print_text(struct an_bytes text);
uint64_t an_print_number(const struct an_decimal *number);
/* The same for a number whose digits are fewer than 10^15 and whose value is known. */
static inline uint64_t an_print_value(double value)
{
    uint64_t bits = 0;

    __builtin_memcpy(&bits, &value, sizeof bits);
    return bits;
}
/* The key of a column's word: fixed, since prints must agree from file to file. */
uint64_t an_print_key(size_t column);
/* What a pair of words adds; the last column of an odd number has 0 beside it. */
static inline an_print_sum an_print_pair(uint64_t even, uint64_t odd, uint64_t even_key,
                                         uint64_t odd_key)
{
    return (an_print_sum)(even + even_key) * (odd + odd_key);
}
static inline uint64_t an_print_mix(uint64_t x)
{
    x = (x ^ x >> 33) * UINT64_C(0xFF51AFD7ED558CCD);
    x = (x ^ x >> 33) * UINT64_C(0xC4CEB9FE1A85EC53);
    return x ^ x >> 33;
}
static inline struct an_row_print an_print_end(an_print_sum sum)
{
    uint64_t low = (uint64_t)sum;
    uint64_t high = (uint64_t)(sum >> 64);

    low += high;
    high += low;
    low = an_print_mix(low);
    high = an_print_mix(high);
    low += high;
    return (struct an_row_print){low, high + low};
}

#endif
