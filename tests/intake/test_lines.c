/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Bytes -> records -> fields, in pieces of every size. Expected rows were parted by hand after
 * RFC 4180 (section 2: line breaks, doubled quotes, spaces are part of a field); cutting outer
 * blanks and taking CR, LF and CRLF alike are the program's own rules.
 */
#include "intake/decode.h"
#include "intake/fields.h"
#include "intake/lines.h"
#include "support.h"

#include <string.h>

/* Rows as "LINE:field|field|...;": a bad quote shows as "LINE:!;". */
static const struct {
    const char *text;
    size_t length; /* 0: up to its NUL */
    char delimiter;
    bool trim;
    enum an_encoding encoding;
    const char *rows;
} cases[] = {
    {"a,b\n1,2\n", 0, ',', true, AN_UTF8, "1:a|b|;2:1|2|;"},
    {"a,b\r\n1,2\r\n", 0, ',', true, AN_UTF8, "1:a|b|;2:1|2|;"},
    {"a,b\r1,2\r", 0, ',', true, AN_UTF8, "1:a|b|;2:1|2|;"},
    {"a\r\n\r\nb\n\nc\r\rd", 0, ',', true, AN_UTF8, "1:a|;3:b|;5:c|;7:d|;"},
    /* RFC 4180, section 2, rules 5 to 7 */
    {"\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx\r\n", 0, ',', true, AN_UTF8,
     "1:aaa|bbb|ccc|;2:zzz|yyy|xxx|;"},
    {"\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx\r\n", 0, ',', true, AN_UTF8,
     "1:aaa|b\r\nbb|ccc|;3:zzz|yyy|xxx|;"},
    {"\"aaa\",\"b\"\"bb\",\"ccc\"", 0, ',', true, AN_UTF8, "1:aaa|b\"bb|ccc|;"},
    /* empty fields, the last one too */
    {",\n,,\na,\n", 0, ',', true, AN_UTF8, "1:||;2:|||;3:a||;"},
    {"\"\"\n\"\",\"\"\n", 0, ',', true, AN_UTF8, "1:|;2:||;"},
    /* blanks */
    {" a , b\tc \n", 0, ',', true, AN_UTF8, "1:a|b\tc|;"},
    {" a , b \n", 0, ',', false, AN_UTF8, "1: a | b |;"},
    {" \" a \" ,x\n", 0, ',', true, AN_UTF8, "1: a |x|;"},
    {"a\tb\t\n\tc\t d \n", 0, '\t', true, AN_UTF8, "1:a|b||;2:|c|d|;"},
    /* quotes out of place */
    {"a\"b,c\nd,e\n", 0, ',', true, AN_UTF8, "1:!;2:d|e|;"},
    {"\"a\"b,c\nd,e\n", 0, ',', true, AN_UTF8, "1:!;2:d|e|;"},
    {"\"a\" \"b\",c\nd,e\n", 0, ',', true, AN_UTF8, "1:!;2:d|e|;"},
    {"\"a\" ,c\nd,e\n", 0, ',', false, AN_UTF8, "1:!;2:d|e|;"},
    {" \"a\",c\nd,e\n", 0, ',', false, AN_UTF8, "1:!;2:d|e|;"},
    /* a quoted field over several lines, with every line end */
    {"\"1\n2\r\n3\r4\"|x\ny|z\n", 0, '|', true, AN_UTF8, "1:1\n2\r\n3\r4|x|;5:y|z|;"},
    /* encodings: the micro sign, the degree sign, the euro sign */
    {"\xEF\xBB\xBF"
     "a;\xC2\xB5m\n",
     0, ';', true, AN_UTF8, "1:a|\xC2\xB5m|;"},
    {"a;\xB5m;\xB0\n", 0, ';', true, AN_LATIN1, "1:a|\xC2\xB5m|\xC2\xB0|;"},
    {"a;\x80;\xB5\n", 0, ';', true, AN_WINDOWS_1252, "1:a|\xE2\x82\xAC|\xC2\xB5|;"},
    {"\xFF\xFE"
     "a\0;\0\xB5\0\n\0\x3D\xD8\x00\xDE;\0b\0",
     18, ';', true, AN_UTF16_BY_MARK, "1:a|\xC2\xB5|;2:\xF0\x9F\x98\x80|b|;"},
    {"\xFE\xFF\0a\0;\0\xB5\0\r\0\n\0b", 14, ';', true, AN_UTF16_BY_MARK, "1:a|\xC2\xB5|;2:b|;"},
};

static void put_rows(struct an_lines *lines, struct an_fields *fields, struct an_text *out)
{
    struct an_record record;
    struct an_error err;

    while (an_lines_record(lines, &record) == AN_LINES_GOT) {
        an_lines_take(lines, &record);
        if (record.text.length == 0) {
            continue;
        }
        an_text_addf(out, "%llu:", (unsigned long long)record.line);
        if (record.bad_quote) {
            an_text_add(out, "!;");
            continue;
        }
        ck_assert_int_eq(an_fields_part(fields, record.text, &err), AN_OK);
        for (size_t i = 0; i < fields->count; i++) {
            an_text_add_bytes(out, fields->at[i]);
            an_text_add_char(out, '|');
        }
        an_text_add_char(out, ';');
    }
}

static void part(int row, size_t piece, struct an_text *out)
{
    const unsigned char *at = (const unsigned char *)cases[row].text;
    const size_t length = cases[row].length ? cases[row].length : strlen(cases[row].text);
    struct an_lines lines = {0};
    struct an_fields fields;
    struct an_decoder decoder;
    struct an_complaint complaint = {.reason = AN_HOLD_NO_REASON};
    struct an_error err;
    size_t skip = 0;

    ck_assert(an_decode_begin(&decoder, cases[row].encoding, at, length, &skip, &complaint));
    ck_assert_int_eq(an_fields_open(&fields, &err), AN_OK);
    ck_assert_int_eq(an_fields_begin(&fields, cases[row].delimiter, cases[row].trim, &err), AN_OK);
    an_lines_begin(&lines, cases[row].delimiter, cases[row].trim);
    for (size_t i = skip; i <= length; i += piece) {
        const size_t more = length - i < piece ? length - i : piece;
        const bool last = i + more == length;
        unsigned char *room = an_lines_room(&lines, an_decode_room(&decoder, more) + 4);

        ck_assert_ptr_nonnull(room);
        an_lines_added(&lines, an_decode(&decoder, at + i, more, last, room), last);
        put_rows(&lines, &fields, out);
        if (last) {
            break;
        }
    }
    ck_assert(!decoder.broken);
    an_fields_close(&fields);
    an_lines_free(&lines);
}

START_TEST(rows_in_pieces_of_every_size)
{
    const size_t length = cases[_i].length ? cases[_i].length : strlen(cases[_i].text);

    for (size_t piece = 1; piece <= length; piece++) {
        struct an_text out = {0};

        part(_i, piece, &out);
        ck_assert_msg(strcmp(an_text_of(&out), cases[_i].rows) == 0,
                      "pieces of %zu: \"%s\", not \"%s\"", piece, an_text_of(&out), cases[_i].rows);
        an_text_free(&out);
    }
}
END_TEST

START_TEST(open_quotes_tell_their_line)
{
    static const char text[] = "a,b\n1,\"2\n3,4\n5,\"6\n";
    struct an_lines lines = {0};
    struct an_record record;

    an_lines_begin(&lines, ',', true);
    memcpy(an_lines_room(&lines, sizeof text), text, sizeof text - 1);
    an_lines_added(&lines, sizeof text - 1, true);
    ck_assert_int_eq(an_lines_record(&lines, &record), AN_LINES_GOT);
    an_lines_take(&lines, &record);
    /* 1,"2 ... 5," is one field; behind its quote stands a 6 */
    ck_assert_int_eq(an_lines_record(&lines, &record), AN_LINES_GOT);
    ck_assert(record.bad_quote);
    ck_assert_uint_eq(record.line, 2);
    an_lines_free(&lines);

    an_lines_begin(&lines, ',', true);
    memcpy(an_lines_room(&lines, 16), "a,b\n1,\"2\n3,4\n", 13);
    an_lines_added(&lines, 13, true);
    ck_assert_int_eq(an_lines_record(&lines, &record), AN_LINES_GOT);
    an_lines_take(&lines, &record);
    ck_assert_int_eq(an_lines_record(&lines, &record), AN_LINES_OPEN);
    ck_assert_uint_eq(record.line, 2);
    an_lines_free(&lines);
}
END_TEST

/* Windows-1252 leaves 81, 8D, 8F, 90 and 9D undefined [Unicode mapping table CP1252]. */
START_TEST(what_is_no_text_stops_the_decoder)
{
    static const struct {
        enum an_encoding encoding;
        const char *text;
        size_t length, stops_at;
    } broken[] = {
        {AN_WINDOWS_1252, "a,\x81\n", 4, 2},
        {AN_WINDOWS_1252, "a\x9D", 2, 1},
        {AN_LATIN1, "\xB5,\x93quoted\x94\n", 11, 2},
        {AN_UTF16_BY_MARK, "\xFF\xFE\x00\xDC\x61\x00", 6, 2},
        {AN_UTF16_BY_MARK, "\xFF\xFE\x61\x00\x3D\xD8\x61\x00", 8, 4},
    };

    for (size_t i = 0; i < sizeof broken / sizeof broken[0]; i++) {
        struct an_decoder decoder;
        struct an_complaint complaint;
        unsigned char out[64];
        size_t skip = 0;
        const unsigned char *at = (const unsigned char *)broken[i].text;

        ck_assert(
            an_decode_begin(&decoder, broken[i].encoding, at, broken[i].length, &skip, &complaint));
        (void)an_decode(&decoder, at + skip, broken[i].length - skip, true, out);
        ck_assert(decoder.broken);
        ck_assert_uint_eq(decoder.offset, broken[i].stops_at);
    }
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("lines");
    TCase *group = tcase_create("lines");

    tcase_add_loop_test(group, rows_in_pieces_of_every_size, 0,
                        (int)(sizeof cases / sizeof cases[0]));
    tcase_add_test(group, open_quotes_tell_their_line);
    tcase_add_test(group, what_is_no_text_stops_the_decoder);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
