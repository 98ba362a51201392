/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What one cell looks like, told from its characters alone, and names made of texts. Must never
 * settle what the characters leave open: "1,234" is a number in two readings, and is called that.
 */
#include "intake/probe_inner.h"

#include <string.h>

static bool is_digit(unsigned char c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(unsigned char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

static size_t digits_at(struct an_bytes cell, size_t from)
{
    size_t n = 0;
    while (from + n < cell.length && is_digit(cell.at[from + n])) {
        n++;
    }
    return n;
}

/* An exponent up to the end, or the end. */
static bool ends_at(struct an_bytes cell, size_t at)
{
    if (at == cell.length) {
        return true;
    }
    if (cell.at[at] != 'e' && cell.at[at] != 'E') {
        return false;
    }
    at++;
    at += at < cell.length && (cell.at[at] == '+' || cell.at[at] == '-');
    const size_t n = digits_at(cell, at);
    return n > 0 && at + n == cell.length;
}

static enum an_probe_number grouped(char group, char decimal)
{
    (void)decimal;
    switch (group) {
    case '.':
        return AN_PROBE_GROUP_POINT;
    case ',':
        return AN_PROBE_GROUP_COMMA;
    case ' ':
        return AN_PROBE_GROUP_SPACE;
    default:
        return AN_PROBE_GROUP_APOSTROPHE;
    }
}

enum an_probe_number an_probe_number_like(struct an_bytes cell)
{
    size_t at = cell.length && (cell.at[0] == '+' || cell.at[0] == '-');
    const size_t lead = digits_at(cell, at);
    const size_t start = at;

    at += lead;
    if (lead && ends_at(cell, at)) {
        return AN_PROBE_WHOLE_NUMBER;
    }
    if (at >= cell.length || !strchr(".,' ", cell.at[at]) || !cell.at[at]) {
        return AN_PROBE_NOT_NUMBER;
    }
    const char mark = (char)cell.at[at];
    const size_t part = digits_at(cell, at + 1);
    const bool decimal = mark == '.' || mark == ',';
    if (part == 0 && !(lead && decimal && at + 1 == cell.length)) {
        return AN_PROBE_NOT_NUMBER;
    }
    if (decimal && ends_at(cell, at + 1 + part)) {
        const bool may_group =
            part == 3 && lead >= 1 && lead <= 3 && cell.at[start] != '0' && at + 4 == cell.length;
        return mark == '.' ? (may_group ? AN_PROBE_POINT_THREE : AN_PROBE_POINT)
                           : (may_group ? AN_PROBE_COMMA_THREE : AN_PROBE_COMMA);
    }
    size_t groups = 0;
    while (at < cell.length && (char)cell.at[at] == mark && digits_at(cell, at + 1) == 3) {
        at += 4;
        groups++;
    }
    if (lead < 1 || lead > 3 || groups == 0) {
        return AN_PROBE_NOT_NUMBER;
    }
    if (at == cell.length) {
        return grouped(mark, 0);
    }
    const char second = (char)cell.at[at];
    if ((second != '.' && second != ',') || second == mark) {
        return AN_PROBE_NOT_NUMBER;
    }
    return ends_at(cell, at + 1 + digits_at(cell, at + 1)) ? grouped(mark, second)
                                                           : AN_PROBE_NOT_NUMBER;
}

bool an_probe_time_like(struct an_bytes cell)
{
    size_t digits = 0;
    size_t marks = 0;
    size_t letters = 0;

    if (cell.length < 6 || cell.length > 40 || !is_digit(cell.at[0])) {
        return false;
    }
    for (size_t i = 0; i < cell.length; i++) {
        const unsigned char c = cell.at[i];
        digits += is_digit(c);
        letters += is_letter(c);
        marks += c != 0 && strchr("-/.: +,", c) != NULL;
        if (!is_digit(c) && !is_letter(c) && !(c && strchr("-/.: +,", c))) {
            return false;
        }
    }
    return digits >= 4 && marks >= 2 && letters <= 5;
}

bool an_probe_serial_like(struct an_bytes cell)
{
    size_t digits = 0;
    size_t letters = 0;

    if (cell.length < 2 || cell.length > 40) {
        return false;
    }
    for (size_t i = 0; i < cell.length; i++) {
        const unsigned char c = cell.at[i];
        digits += is_digit(c);
        letters += is_letter(c);
        if (!is_digit(c) && !is_letter(c) && !(c && strchr("-_/.:#", c))) {
            return false;
        }
    }
    return digits >= 1 && letters >= 1 && is_letter(cell.at[0]) + is_digit(cell.at[0]) > 0;
}

static char lower(char c)
{
    return (char)(c >= 'A' && c <= 'Z' ? c | 0x20 : c);
}

/* Does a part of the name (between marks, or where lower case turns to upper) equal the word? */
static bool has_part(const char *name, const char *word, size_t length)
{
    for (const char *p = name; *p; p++) {
        const bool starts = p == name || !is_letter((unsigned char)p[-1]) ||
                            (p[-1] >= 'a' && *p >= 'A' && *p <= 'Z');
        size_t k = 0;
        while (starts && k < length && p[k] && lower(p[k]) == word[k]) {
            k++;
        }
        if (starts && k == length &&
            (!is_letter((unsigned char)p[k]) || (p[k - 1] >= 'a' && p[k] >= 'A' && p[k] <= 'Z'))) {
            return true;
        }
    }
    return false;
}

bool an_probe_name_has(const char *name, const char *words)
{
    while (*words) {
        const size_t length = strcspn(words, " ");
        if (length && has_part(name, words, length)) {
            return true;
        }
        words += length;
        words += strspn(words, " ");
    }
    return false;
}

bool an_probe_is_name(const char *text)
{
    size_t n = 0;
    for (; text[n]; n++) {
        const unsigned char c = (unsigned char)text[n];
        if (!is_letter(c) && (n == 0 || (!is_digit(c) && c != '_' && c != '-'))) {
            return false;
        }
    }
    return n > 0 && n <= 32;
}

const char *an_probe_make_name(struct an_arena *arena, const char *text)
{
    char name[33];
    size_t used = 0;

    for (size_t i = 0; text[i] && used < 32; i++) {
        const unsigned char c = (unsigned char)text[i];
        if (is_letter(c) || (used && is_digit(c))) {
            name[used++] = lower((char)c);
        } else if (used && name[used - 1] != '_') {
            name[used++] = '_';
        }
    }
    while (used && name[used - 1] == '_') {
        used--;
    }
    return used ? an_arena_copy(arena, name, used) : "x";
}
