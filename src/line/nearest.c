/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Edit distance, for "did you mean". Responsible for naming one near word or none; must never
 * name a far one: a wrong hint costs more than no hint.
 */
#include "line/nearest.h"

#include <string.h>

#define LONGEST 48

static unsigned smaller(unsigned a, unsigned b)
{
    return a < b ? a : b;
}

static char lower(char c)
{
    return (char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c);
}

/* Three rows of the usual table suffice: a swap looks two rows back. Letters that differ only by
 * case cost nothing, so that `Zone` finds `zone`. */
static unsigned distance(const char *a, size_t n, const char *b, size_t m)
{
    unsigned rows[3][LONGEST + 1];
    for (size_t j = 0; j <= m; j++) {
        rows[0][j] = (unsigned)j;
    }
    for (size_t i = 1; i <= n; i++) {
        unsigned *now = rows[i % 3];
        const unsigned *last = rows[(i + 2) % 3];
        const unsigned *before = rows[(i + 1) % 3];
        now[0] = (unsigned)i;
        for (size_t j = 1; j <= m; j++) {
            const unsigned change = lower(a[i - 1]) == lower(b[j - 1]) ? 0 : 1;
            now[j] = smaller(last[j - 1] + change, smaller(last[j], now[j - 1]) + 1);
            if (i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) &&
                lower(a[i - 2]) == lower(b[j - 1])) {
                now[j] = smaller(now[j], before[j - 2] + 1);
            }
        }
    }
    return rows[n % 3][m];
}

const char *an_nearest(const char *word, const char *const *words, size_t count)
{
    const size_t n = strlen(word);
    if (n == 0 || n > LONGEST) {
        return NULL;
    }
    const char *best = NULL;
    unsigned least = (unsigned)n / 3 + 1;
    least = smaller(least, (unsigned)n); /* never so much that nothing of the word is left */
    for (size_t i = 0; i < count; i++) {
        const size_t m = strlen(words[i]);
        if (m == 0 || m > LONGEST) {
            continue;
        }
        const unsigned d = distance(word, n, words[i], m);
        if (d < least || (!best && d == least && n > 2)) {
            best = words[i];
            least = d;
        }
    }
    return best;
}
