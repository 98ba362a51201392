/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Station files in their dialects.
 *
 * Responsible for: fields, rows, numbers and times as a station's export writes them. Must never
 * open a file. The hard idea: a number is rounded once, to a whole number of its last decimal, and
 * printed from that, so that no library's formatting takes part.
 */
#include "demo/sheet.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

void an_demo_sheet_start(struct an_demo_sheet *sheet, char delimiter, char mark,
                         const char *line_end, const struct an_zone *zone)
{
    an_text_clear(&sheet->text);
    sheet->zone = zone;
    sheet->delimiter = delimiter;
    sheet->mark = mark;
    sheet->line_end = line_end;
    sheet->fields = 0;
    sheet->rows = 0;
}

void an_demo_sheet_free(struct an_demo_sheet *sheet)
{
    an_text_free(&sheet->text);
}

void an_demo_sheet_line(struct an_demo_sheet *sheet, const char *line)
{
    an_text_add(&sheet->text, line);
    an_text_add(&sheet->text, sheet->line_end);
}

static void put_bytes(struct an_demo_sheet *sheet, const char *at, size_t length)
{
    if (sheet->fields++ > 0) {
        an_text_add_char(&sheet->text, sheet->delimiter);
    }
    an_text_add_bytes(&sheet->text, (struct an_bytes){(const unsigned char *)at, length});
}

void an_demo_sheet_put(struct an_demo_sheet *sheet, const char *field)
{
    put_bytes(sheet, field, strlen(field));
}

void an_demo_sheet_letter(struct an_demo_sheet *sheet, char letter)
{
    put_bytes(sheet, &letter, 1);
}

/* Digits of value into the end of buffer, at least `least` of them; returns where they begin. */
static size_t digits_before(char buffer[32], size_t end, uint64_t value, int least)
{
    size_t at = end;
    while (value > 0 || least > 0) {
        buffer[--at] = (char)('0' + value % 10);
        value /= 10;
        least--;
    }
    return at;
}

void an_demo_sheet_integer(struct an_demo_sheet *sheet, int64_t value)
{
    char buffer[32];
    const uint64_t size = value < 0 ? (uint64_t)-value : (uint64_t)value;
    size_t at = digits_before(buffer, sizeof buffer, size, 1);
    if (value < 0) {
        buffer[--at] = '-';
    }
    put_bytes(sheet, buffer + at, sizeof buffer - at);
}

void an_demo_sheet_number(struct an_demo_sheet *sheet, double value, int places)
{
    static const double power[] = {1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6};
    static const uint64_t whole[] = {1, 10, 100, 1000, 10000, 100000, 1000000};
    const int decimals = places < 0 ? 0 : places > 6 ? 6 : places;
    char buffer[32];
    const uint64_t scaled = (uint64_t)floor(fabs(value) * power[decimals] + 0.5);
    size_t at = sizeof buffer;
    if (decimals > 0) {
        at = digits_before(buffer, at, scaled % whole[decimals], decimals);
        buffer[--at] = sheet->mark;
    }
    at = digits_before(buffer, at, scaled / whole[decimals], 1);
    if (value < 0.0 && scaled > 0) {
        buffer[--at] = '-';
    }
    put_bytes(sheet, buffer + at, sizeof buffer - at);
}

void an_demo_sheet_time(struct an_demo_sheet *sheet, char form, int64_t at_us)
{
    char buffer[64];
    if (form == 'R') {
        an_demo_sheet_put(sheet, an_instant_rfc3339_in(sheet->zone, at_us, buffer));
        return;
    }
    const struct an_civil c = an_zone_civil(sheet->zone, at_us);
    if (form == 'I') {
        (void)snprintf(buffer, sizeof buffer, "%04d-%02d-%02d %02d:%02d:%02d", c.year, c.month,
                       c.day, c.hour, c.minute, c.second);
    } else if (form == 'C') {
        (void)snprintf(buffer, sizeof buffer, "%04d%02d%02dT%02d%02d%02d", c.year, c.month, c.day,
                       c.hour, c.minute, c.second);
    } else {
        const char mark = form == 'D' ? '.' : '/';
        (void)snprintf(buffer, sizeof buffer, "%02d%c%02d%c%04d %02d:%02d:%02d", c.day, mark,
                       c.month, mark, c.year, c.hour, c.minute, c.second);
    }
    an_demo_sheet_put(sheet, buffer);
}

void an_demo_sheet_end(struct an_demo_sheet *sheet)
{
    an_text_add(&sheet->text, sheet->line_end);
    sheet->fields = 0;
    sheet->rows++;
}
