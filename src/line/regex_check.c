/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Regular expressions of a description. Responsible for refusing what does not compile, before
 * intake meets it; must never run one.
 *
 * The C library unfolds repeats when it compiles: ((a{99}){99}){99} would take gigabytes, and so
 * would a+++++++++++++++++++++++++, as each + doubles what stands before it. So the product of all of
 * them is bounded before regcomp() sees the pattern.
 */
#include "line/yaml_walk.h"

#include <regex.h>
#include <string.h>

#define PATTERN_MOST 256
#define REPEATS_MOST 10000

/* An upper bound of how often a part can be unfolded: every {m,n} multiplied, and 2 for every + of a
 * group or of something that is repeated already. */
static unsigned long repeats(const char *pattern)
{
    unsigned long product = 1;
    for (const char *at = strpbrk(pattern, "{+"); at; at = strpbrk(at + 1, "{+")) {
        unsigned long largest = 1;
        if (*at == '+') {
            const bool of_many = at > pattern && strchr(")+*?}", at[-1]);
            product = product > REPEATS_MOST || !of_many ? product : product * 2;
            continue;
        }
        unsigned long number = 0;
        for (const char *c = at + 1; *c && *c != '}'; c++) {
            if (*c >= '0' && *c <= '9') {
                number = number < REPEATS_MOST ? number * 10 + (unsigned long)(*c - '0') : number;
                largest = number > largest ? number : largest;
            } else {
                number = 0;
            }
        }
        product = product > REPEATS_MOST ? product : product * largest;
    }
    return product;
}

const char *an_read_regex(struct an_reading *reading, const struct an_yaml_node *node,
                          const char *name, size_t groups)
{
    const char *pattern = an_read_text(reading, node, name, NULL);
    if (!pattern) {
        return NULL;
    }
    if (strlen(pattern) > PATTERN_MOST || repeats(pattern) > REPEATS_MOST) {
        an_tell(reading, node,
                "'%s' is too large a pattern; at most %d characters and repeats (counts in braces, "
                "+ after a group or a repeat) that multiply to %d",
                name, PATTERN_MOST, REPEATS_MOST);
        return NULL;
    }
    regex_t compiled;
    const int wrong = regcomp(&compiled, pattern, REG_EXTENDED);
    if (wrong != 0) {
        char why[128];
        (void)regerror(wrong, &compiled, why, sizeof why);
        an_tell(reading, node, "'%s' is not a regular expression: '%s': %s", name, pattern, why);
        return NULL;
    }
    const size_t found = compiled.re_nsub;
    regfree(&compiled);
    if (found < groups) {
        an_tell(reading, node, "'%s' needs round brackets around the part that is the value: '%s'",
                name, pattern);
        return NULL;
    }
    return pattern;
}
