/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The honest mess.
 *
 * Responsible for: damaging single files in the ways exports are really damaged, and knowing what
 * becomes of each. Must never touch a file of a quiet line.
 *
 * The hard idea: damage is done to the finished bytes, after the rows were drawn, as it happens on
 * a line; so a damaged file differs from its sound self in the damage alone.
 */
#include "demo/mess.h"

#include "demo/writing.h"

#include <stdio.h>
#include <string.h>

static const struct an_demo_mess planned[AN_DEMO_MESS_COUNT] = {
    {.damage = AN_DEMO_MISSING_CODE,
     .kind = "missing-code",
     .story = "one reading over range, one not made: codes, not numbers",
     .station = AN_DEMO_LUMINANCE,
     .day = 1,
     .pattern = 0,
     .outcome = "taken",
     .missing = 2},
    {.damage = AN_DEMO_TRUNCATED,
     .kind = "truncated",
     .story = "power was lost while the last row was written: it ends inside a number",
     .station = AN_DEMO_TRANSFER,
     .day = 2,
     .pattern = 1,
     .outcome = "taken",
     .held = 1},
    {.damage = AN_DEMO_DUPLICATE,
     .kind = "duplicate",
     .story = "the same bytes again under another name",
     .station = AN_DEMO_INSPECTION,
     .day = 3,
     .pattern = 0,
     .outcome = "duplicate"},
    {.damage = AN_DEMO_DAMAGED_SERIAL,
     .kind = "damaged-serial",
     .story = "a spreadsheet made a number of one serial",
     .station = AN_DEMO_REPAIR,
     .day = 3,
     .pattern = 1,
     .outcome = "taken",
     .held = 1},
    {.damage = AN_DEMO_UNIT_CHANGE,
     .kind = "unit-change",
     .story = "thickness in nm where the description says um",
     .station = AN_DEMO_EDGE,
     .day = 4,
     .pattern = 2,
     .outcome = "held"},
    {.damage = AN_DEMO_MARK,
     .kind = "byte-order-mark",
     .story = "a byte-order mark in one file of a station that writes none",
     .station = AN_DEMO_CARRIER,
     .day = 5,
     .pattern = 0,
     .outcome = "taken"},
    {.damage = AN_DEMO_LATE,
     .kind = "late",
     .story = "a file that was forgotten and comes after all others of its station",
     .station = AN_DEMO_LUMINANCE,
     .day = 6,
     .pattern = 0,
     .outcome = "taken"},
    {.damage = AN_DEMO_NO_DENOMINATOR,
     .kind = "no-denominator",
     .story = "one row does not say how many emitters were inspected",
     .station = AN_DEMO_INSPECTION,
     .day = 6,
     .pattern = 1,
     .outcome = "taken",
     .held = 1},
    {.damage = AN_DEMO_EMPTY,
     .kind = "empty",
     .story = "an export that was started and never filled",
     .station = AN_DEMO_INSPECTION,
     .day = 7,
     .pattern = 2,
     .outcome = "held"},
};

struct an_demo_output an_demo_output_to(const struct an_demo_plan *plan, const char *folder)
{
    struct an_demo_output output = {.plan = plan, .folder = folder};
    memcpy(output.mess, planned, sizeof planned);
    return output;
}

/* ---- single fields ------------------------------------------------------------------------------ */

/* The field-th field (from 0) of the line-th line (from 0) as offsets; false if there is none. */
static bool find_field(const struct an_demo_sheet *sheet, size_t line, size_t field, size_t *from,
                       size_t *until)
{
    const char *const at = an_text_of(&sheet->text);
    const size_t length = sheet->text.length;
    size_t i = 0;
    while (line > 0 && i < length) {
        line -= at[i++] == '\n';
    }
    while (field > 0 && i < length && at[i] != '\n') {
        field -= at[i++] == sheet->delimiter;
    }
    *from = i;
    while (i < length && at[i] != sheet->delimiter && at[i] != '\n' && at[i] != '\r') {
        i++;
    }
    *until = i;
    return line == 0 && field == 0 && i < length;
}

static void replace_bytes(struct an_demo_sheet *sheet, size_t from, size_t until, const char *with)
{
    struct an_text next = {0};
    const unsigned char *const at = (const unsigned char *)an_text_of(&sheet->text);
    an_text_add_bytes(&next, (struct an_bytes){at, from});
    an_text_add(&next, with);
    an_text_add_bytes(&next, (struct an_bytes){at + until, sheet->text.length - until});
    next.failed = next.failed || sheet->text.failed;
    an_text_free(&sheet->text);
    sheet->text = next;
}

static bool replace_field(struct an_demo_sheet *sheet, size_t line, size_t field, const char *with)
{
    size_t from = 0, until = 0;
    if (!find_field(sheet, line, field, &from, &until)) {
        return false;
    }
    replace_bytes(sheet, from, until, with);
    return true;
}

/* Thickness from um with one decimal to whole nm, in every row: "14,2" becomes "14200". */
static void change_unit(struct an_demo_sheet *sheet)
{
    enum { THICKNESS = 5 };
    struct an_text next = {0};
    const char *const at = an_text_of(&sheet->text);
    size_t line = 0, field = 0;
    bool in_decimals = false;
    for (size_t i = 0; i < sheet->text.length; i++) {
        const char c = at[i];
        const bool ends = c == sheet->delimiter || c == '\r' || c == '\n';
        if (line >= 2 && field == THICKNESS && ends && in_decimals) {
            an_text_add(&next, "00");
        }
        if (line == 1 && field == THICKNESS && (unsigned char)c == 0xb5) {
            an_text_add_char(&next, 'n');
        } else if (line < 2 || field != THICKNESS || c != sheet->mark) {
            an_text_add_char(&next, c);
        }
        in_decimals = !ends && (in_decimals || c == sheet->mark);
        field = c == '\n' ? 0 : field + (c == sheet->delimiter);
        line += c == '\n';
    }
    next.failed = next.failed || sheet->text.failed;
    an_text_free(&sheet->text);
    sheet->text = next;
}

/* ---- damage ------------------------------------------------------------------------------------- */

/* Ends the last row inside its dx: the field itself still looks like a number. */
static void truncate_sheet(struct an_demo_sheet *sheet)
{
    enum { DX = 9 };
    size_t from = 0, until = 0;
    if (find_field(sheet, (size_t)sheet->rows, DX, &from, &until) && until > from + 1) {
        replace_bytes(sheet, until - 1, sheet->text.length, "");
    }
}

static bool damage_sheet(struct an_demo_sheet *sheet, enum an_demo_damage damage)
{
    switch (damage) {
    case AN_DEMO_TRUNCATED:
        truncate_sheet(sheet);
        return true;
    case AN_DEMO_UNIT_CHANGE:
        change_unit(sheet);
        return true;
    case AN_DEMO_DAMAGED_SERIAL:
        return replace_field(sheet, 40, 1, "1.23E+15");
    case AN_DEMO_MISSING_CODE:
        return replace_field(sheet, 130, 5, "OVER") && replace_field(sheet, 301, 5, "---");
    case AN_DEMO_NO_DENOMINATOR:
        return replace_field(sheet, 14, 7, "");
    case AN_DEMO_MARK:
        replace_bytes(sheet, 0, 0, "\xef\xbb\xbf");
        return true;
    case AN_DEMO_DUPLICATE:
    case AN_DEMO_EMPTY:
    case AN_DEMO_LATE:
        return true; /* names and files, not bytes */
    }
    return false;
}

static struct an_demo_mess *mess_due(struct an_demo_output *output, enum an_demo_station station,
                                     const struct an_demo_shift *shift)
{
    if (output->plan->quiet) {
        return NULL;
    }
    const int64_t first_day = output->plan->shifts[0].start_day + 1; /* shifts begin a day early */
    for (size_t i = 0; i < AN_DEMO_MESS_COUNT; i++) {
        struct an_demo_mess *const mess = &output->mess[i];
        if (mess->station == station && mess->pattern == shift->pattern &&
            mess->day == shift->start_day - first_day) {
            return mess;
        }
    }
    return NULL;
}

static void shift_file_name(const struct an_demo_shift *shift, enum an_demo_station station,
                            const char *before, const char *after, char name[80])
{
    char date[16];
    (void)snprintf(name, 80, "%s%s_%s_%s%s.csv", before, an_demo_station_name(station),
                   an_demo_shift_date(shift, 0, date), an_demo_shift_name(shift), after);
}

enum an_status an_demo_output_named(struct an_demo_output *output, enum an_demo_station station,
                                    const char *name, const struct an_demo_sheet *sheet,
                                    struct an_error *err)
{
    if (sheet->text.failed) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while writing '%s'", name);
    }
    struct an_text path = {0};
    an_text_addf(&path, "%s/spool/%s/%s", output->folder, an_demo_station_name(station), name);
    const enum an_status st =
        path.failed ? an_fail(err, AN_NO_MEMORY, "out of memory while writing '%s'", name)
                    : an_demo_write_file(an_text_of(&path), an_text_of(&sheet->text),
                                         sheet->text.length, err);
    an_text_free(&path);
    if (st == AN_OK) {
        output->files++;
        output->rows += sheet->rows;
        output->bytes += (int64_t)sheet->text.length;
        output->of[station].files++;
        output->of[station].rows += sheet->rows;
    }
    return st;
}

/* The file beside the shift's own one that a duplicate or an empty export leaves. */
static enum an_status write_companion(struct an_demo_output *output, struct an_demo_mess *mess,
                                      const struct an_demo_shift *shift,
                                      const struct an_demo_sheet *sheet, struct an_error *err)
{
    char name[80];
    struct an_demo_sheet nothing = {0};
    const bool duplicate = mess->damage == AN_DEMO_DUPLICATE;
    shift_file_name(shift, mess->station, "", duplicate ? "_copy" : "_b", name);
    (void)snprintf(mess->file, sizeof mess->file, "%s/%s", an_demo_station_name(mess->station),
                   name);
    mess->taken = 0;
    return an_demo_output_named(output, mess->station, name, duplicate ? sheet : &nothing, err);
}

enum an_status an_demo_output_shift(struct an_demo_output *output, enum an_demo_station station,
                                    const struct an_demo_shift *shift, struct an_demo_sheet *sheet,
                                    struct an_error *err)
{
    if (sheet->rows == 0 && !sheet->text.failed) {
        return AN_OK;
    }
    char name[80];
    struct an_demo_mess *const mess = mess_due(output, station, shift);
    shift_file_name(shift, station, mess && mess->damage == AN_DEMO_LATE ? "z_late_" : "", "",
                    name);
    if (mess) {
        mess->done = damage_sheet(sheet, mess->damage);
        if (strcmp(mess->outcome, "held") == 0 && mess->damage != AN_DEMO_EMPTY) {
            mess->held = sheet->rows;
        }
        mess->taken = sheet->rows - mess->held;
        (void)snprintf(mess->file, sizeof mess->file, "%s/%s", an_demo_station_name(station), name);
    }
    enum an_status st = an_demo_output_named(output, station, name, sheet, err);
    if (st == AN_OK && mess &&
        (mess->damage == AN_DEMO_DUPLICATE || mess->damage == AN_DEMO_EMPTY)) {
        st = write_companion(output, mess, shift, sheet, err);
    }
    return st;
}

enum an_status an_demo_output_folders(const struct an_demo_output *output, struct an_error *err)
{
    struct an_text path = {0};
    enum an_status st = an_demo_make_folder(output->folder, err);
    if (st == AN_OK) {
        st = an_demo_folder_empty(output->folder, err);
    }
    for (int s = -1; st == AN_OK && s < AN_DEMO_STATION_COUNT; s++) {
        an_text_clear(&path);
        an_text_addf(&path, "%s/spool%s%s", output->folder, s < 0 ? "" : "/",
                     s < 0 ? "" : an_demo_station_name((enum an_demo_station)s));
        st = path.failed ? an_fail(err, AN_NO_MEMORY, "out of memory while making folders")
                         : an_demo_make_folder(an_text_of(&path), err);
    }
    an_text_free(&path);
    return st;
}
