/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The table of reasons for holding a row or a file. Each has one code for machines, a sentence and
 * an advice for people; docs/held.md says more about each. Must never decide anything itself.
 */
#include "intake/hold.h"

#include "andamento/base/text.h"
#include "intake/collect.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const struct {
    const char *code, *advice;
} reasons[AN_HOLD_REASONS] = {
    [AN_HOLD_FILE_EMPTY] = {"file.empty",
                            "The file holds nothing; the station is alive but has told no result. "
                            "Have the station write the file again."},
    [AN_HOLD_FILE_BINARY] = {"file.binary",
                             "The file is not text (an archive, a program or damage). Export it as "
                             "CSV and collect that."},
    [AN_HOLD_ENCODING_INVALID] =
        {"encoding.invalid", "The bytes are not text in the encoding the line description names. "
                             "Set format.encoding of the station, run init, collect again."},
    [AN_HOLD_ENCODING_MIXED] =
        {"encoding.mixed", "Two encodings stand in one file, as when two programs append to it. "
                           "Let the station write one encoding and export the file again."},
    [AN_HOLD_ENCODING_UTF16] = {"encoding.utf16",
                                "The text looks like UTF-16 without its mark, so the byte order "
                                "would be a guess. Export with a mark or in UTF-8."},
    [AN_HOLD_HEADER_MISSING] = {"header.missing",
                                "No header line was found. Check preamble_lines and comment of the "
                                "station's format, or have the header written."},
    [AN_HOLD_HEADER_COLUMN] = {"header.column",
                               "A column the line description names is not in the header; it may "
                               "have been renamed. Mend the description, run init, collect again."},
    [AN_HOLD_HEADER_TWICE] = {"header.twice", "Two columns have one name, so a cell's meaning "
                                              "would be a guess. Rename one at the station."},
    [AN_HOLD_DELIMITER_OTHER] = {"delimiter.other",
                                 "The fields are parted by another character than declared. Set "
                                 "format.delimiter of the station, run init, collect again."},
    [AN_HOLD_DECIMAL_COMMA] =
        {"decimal.comma", "Numbers with a decimal comma stand unquoted between commas: where a "
                          "field ends would be a guess. Export with semicolons or quotes."},
    [AN_HOLD_UNIT_DIFFERS] = {"unit.differs",
                              "The file names another unit than the line description. Find out "
                              "which is right; then mend column_unit, run init, collect again."},
    [AN_HOLD_UNITS_ROW_MISSING] = {"units.missing",
                                   "The row after the header should hold units but holds "
                                   "readings. Set format.units_row, run init, collect again."},
    [AN_HOLD_PREAMBLE_MISSING] = {"preamble.missing",
                                  "A value that should stand in the preamble was not found. Check "
                                  "the station's preamble expressions against the file."},
    [AN_HOLD_FOOTER_COUNT] = {"footer.count",
                              "The footer counts other rows than the file holds: rows were lost "
                              "or added. Have the station write the file again."},
    [AN_HOLD_FOOTER_MISSING] = {"footer.missing",
                                "The declared footer is not there: the file may be cut. Have the "
                                "station write it again."},
    [AN_HOLD_END_MISSING] = {"end.missing", "The line that says the file is whole is not there: "
                                            "it may be cut. Have the station write it again."},
    [AN_HOLD_END_EARLY] = {"end.early", "Something stands behind the line that ends the file or "
                                        "behind its footer. Have the station write it again."},
    [AN_HOLD_QUOTE_OPEN] = {"quote.open",
                            "A quote opens and never closes, so it swallows what follows. Mend the "
                            "line where it opens and export again."},
    [AN_HOLD_LIMIT_LINE] = {"limit.line", "A row is longer than 1 MiB, which no station writes on "
                                          "purpose. Look for a lost line end."},
    [AN_HOLD_LIMIT_FIELD] = {"limit.field", "A field is longer than 256 KiB, which no station "
                                            "writes on purpose. Look for a lost delimiter."},
    [AN_HOLD_LIMIT_COLUMNS] = {"limit.columns", "The header has more than 4096 columns. Check the "
                                                "delimiter, or export fewer columns."},
    [AN_HOLD_LIMIT_STREAMS] = {"limit.streams",
                               "The split columns have more than 65536 combinations in one file. "
                               "A column that differs in each row is no split; mend the "
                               "description."},
    [AN_HOLD_CLOCK] = {"clock",
                       "The station's clock is far off: rows of the future, of before 2000, "
                       "or of before their items were made. Set the clock; if the times "
                       "are right after all, release the file as it is."},
    [AN_HOLD_UNIT_SUSPECT] =
        {"unit.suspect", "The readings are about a known factor of units away from what the stream "
                         "was just before. Find out in which unit the station writes; mend "
                         "column_unit, or release the file as it is if the readings are right."},
    [AN_HOLD_STATION_IDENTITY] =
        {"station.identity", "The file comes from a machine that the station never had. Find out "
                             "whether it was replaced or mixed up; release the file as it is to "
                             "confirm the new machine."},
    [AN_HOLD_ROW_TRUNCATED] = {"row.truncated",
                               "The last line has no line end, so its last field may be cut even "
                               "if it looks complete. Have the station send the file again."},
    [AN_HOLD_ROW_FIELDS] = {"row.fields", "The row has more or fewer fields than the header. Look "
                                          "for a delimiter inside an unquoted field."},
    [AN_HOLD_ROW_QUOTE] = {"row.quote",
                           "A quote stands inside a field, or text behind a closing quote. Quotes "
                           "inside a quoted field are doubled."},
    [AN_HOLD_ROW_NUL] = {"row.nul", "The row holds a NUL byte, a sign of damage on disk or on the "
                                    "way. Have the station send the file again."},
    [AN_HOLD_ROW_ENCODING] = {"row.encoding", "The row holds a cut or broken character. Have the "
                                              "station send the file again."},
    [AN_HOLD_ID_MISSING] = {"id.missing",
                            "The row does not say which item it is about. Find the serial at the "
                            "station and export again."},
    [AN_HOLD_ID_BLANKS] = {"id.blanks",
                           "The serial has blanks around it. If they mean nothing, set fold_case "
                           "of the item kind or trim of the format."},
    [AN_HOLD_ID_DAMAGED] = {"id.damaged",
                            "The serial looks as if a spreadsheet had turned it into a number or a "
                            "date. Export from the station itself."},
    [AN_HOLD_ID_PATTERN] = {"id.pattern",
                            "The serial does not fit the pattern of its kind: misread, mistyped or "
                            "shortened. Check the label; mend the pattern if it is too narrow."},
    [AN_HOLD_TIME_MISSING] = {"time.missing", "The row has no time. Find it at the station and "
                                              "export again."},
    [AN_HOLD_TIME_BAD] = {"time.bad", "The time does not fit the station's pattern, or names a "
                                      "day that does not exist. Check time.pattern."},
    [AN_HOLD_TIME_TWICE] = {"time.twice",
                            "The time lies in the hour that came twice when the clock went back, "
                            "and the order of the rows does not settle which. Write times with "
                            "offset."},
    [AN_HOLD_TIME_SKIPPED] = {"time.skipped",
                              "The clock jumped over this time, so it never was. Check the "
                              "station's clock and zone."},
    [AN_HOLD_NUMBER_BAD] =
        {"number.bad", "The field is neither a number as the format writes them nor a declared "
                       "code for a missing reading. Mend the description or the station."},
    [AN_HOLD_NUMBER_WHOLE] = {"number.whole", "A count or a place must be a whole number of 0 or "
                                              "more. Check which column is meant."},
    [AN_HOLD_VALUE_IMPOSSIBLE] = {"value.impossible",
                                  "The value lies outside what is physically possible. Suspect the "
                                  "gauge or the unit; widen possible if it can be."},
    [AN_HOLD_COUNT_DENOMINATOR] =
        {"count.denominator", "A count without the number it is out of makes no rate. Have the "
                              "station write how many were looked at."},
    [AN_HOLD_COUNT_PART] = {"count.part", "A part is greater than its whole. Check which of the "
                                          "two columns is wrong at the station."},
    [AN_HOLD_WORD_UNKNOWN] = {"word.unknown", "The word is not in the column's closed list. Add "
                                              "it to allowed if it is right."},
    [AN_HOLD_SPLIT_MISSING] = {"split.missing",
                               "A column that parts the streams is empty, so the row belongs to "
                               "none of them. Have the station fill it."},
    [AN_HOLD_SPLIT_BAD] = {"split.bad",
                           "A column that parts the streams holds a text that cannot stand in a "
                           "stream's name. Use a short code without control characters."},
    [AN_HOLD_ROW_CONFLICT] =
        {"row.conflict",
         "The same row was taken before with other values, and nothing says that "
         "this is a correction. Find out which is right; a higher attempt number or "
         "a reason lets a correction of the whole item in."},
    [AN_HOLD_PARENT_UNKNOWN] =
        {"parent.unknown", "An item that should be known was never seen at a station. The row is "
                           "taken by itself when the item comes; check the serial if it does not."},
    [AN_HOLD_TIME_BEFORE] = {"time.before",
                             "The row is of before its item was made. Check the serial, and the "
                             "clocks of both stations."},
    [AN_HOLD_SERIAL_USED] = {"serial.used",
                             "The serial was here before, so long ago that it must have been "
                             "another item's. Check the label; give one of the two items another "
                             "serial."},
    [AN_HOLD_LINK_SELF] = {"link.self", "An item is said to be part of itself. Check which of the "
                                        "two serials was read wrong."},
    [AN_HOLD_LINK_LOOP] = {"link.loop",
                           "The whole went, directly or through others, into what is said to be "
                           "its part. Check which of the links was read wrong."},
    [AN_HOLD_LINK_ORDER] = {"link.order",
                            "The part was made after it is said to have gone into the whole. Check "
                            "the serial, and the clocks of both stations."},
    [AN_HOLD_LINK_ELSEWHERE] =
        {"link.elsewhere", "The item sits somewhere else at that time. Find out where it is; if "
                           "its removal was not told yet, collect that first and release the row."},
    [AN_HOLD_LINK_PLACE] =
        {"link.place", "Another item has that place at that time. Look at the wall; if the other "
                       "one's removal was not told yet, collect that first and release the row."},
};

bool an_complain(struct an_complaint *complaint, enum an_hold_reason reason, uint64_t line,
                 uint64_t column, const char *column_name, const char *format, ...)
{
    va_list arguments;

    complaint->reason = reason;
    complaint->line = line;
    complaint->column = column;
    complaint->column_name = column_name;
    va_start(arguments, format);
    (void)vsnprintf(complaint->why, sizeof complaint->why, format, arguments);
    va_end(arguments);
    return false;
}

struct an_shown an_shown(struct an_bytes raw)
{
    static const char hex[] = "0123456789ABCDEF";
    const size_t most = 60;
    struct an_shown shown;
    size_t used = 0;
    size_t at = 0;

    for (; at < raw.length && used < most; at++) {
        const unsigned char c = raw.at[at];

        if (c < 0x20 || c == 0x7F) {
            shown.text[used++] = '\\';
            shown.text[used++] = 'x';
            shown.text[used++] = hex[c >> 4];
            shown.text[used++] = hex[c & 15];
        } else {
            shown.text[used++] = (char)c;
        }
    }
    /* a cut character is no text: back to the end of the last whole one */
    const struct an_bytes whole = {(const unsigned char *)shown.text, used};
    used = an_utf8_check(whole);
    memcpy(shown.text + used, at < raw.length ? "..." : "", at < raw.length ? 4 : 1);
    return shown;
}

const char *an_hold_code(enum an_hold_reason reason)
{
    return reason > AN_HOLD_NO_REASON && reason < AN_HOLD_REASONS ? reasons[reason].code : NULL;
}

bool an_hold_is_whole_file(enum an_hold_reason reason)
{
    return reason > AN_HOLD_NO_REASON && reason < AN_HOLD_ROW_TRUNCATED;
}

bool an_hold_is_doubt(enum an_hold_reason reason)
{
    return reason >= AN_HOLD_CLOCK && reason < AN_HOLD_ROW_TRUNCATED;
}

static enum an_hold_reason reason_of(const char *code)
{
    for (int reason = AN_HOLD_NO_REASON + 1; code && reason < AN_HOLD_REASONS; reason++) {
        if (strcmp(reasons[reason].code, code) == 0) {
            return (enum an_hold_reason)reason;
        }
    }
    return AN_HOLD_NO_REASON;
}

const char *an_held_advice(const char *code)
{
    return reasons[reason_of(code)].advice;
}

bool an_held_is_whole_file(const char *code)
{
    return an_hold_is_whole_file(reason_of(code));
}

bool an_held_is_doubt(const char *code)
{
    return an_hold_is_doubt(reason_of(code));
}
