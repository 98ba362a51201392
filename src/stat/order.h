/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Sorting numbers in place without memory: heapsort, n log n at worst.
 * [Knuth, The Art of Computer Programming 3, section 5.2.3; from memory]
 */
#ifndef AN_STAT_ORDER_H
#define AN_STAT_ORDER_H

#include <stddef.h>

static inline void order_sink(double x[], size_t at, size_t n)
{
    const double value = x[at];
    for (size_t child = 2 * at + 1; child < n; child = 2 * at + 1) {
        if (child + 1 < n && x[child + 1] > x[child]) {
            child++;
        }
        if (!(x[child] > value)) {
            break;
        }
        x[at] = x[child];
        at = child;
    }
    x[at] = value;
}

/* Smallest first. No NAN among them. */
static inline void order_up(double x[], size_t n)
{
    for (size_t i = n / 2; i-- > 0;) {
        order_sink(x, i, n);
    }
    for (size_t last = n; last-- > 1;) {
        const double top = x[0];
        x[0] = x[last];
        x[last] = top;
        order_sink(x, 0, last);
    }
}

#endif
