/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Decodes station files to UTF-8. Must never drop or replace a character silently: what is no text
 * in the encoding stops the decoder where it stands.
 *
 * The hard idea: a byte above 7F that is not UTF-8 can be damage (then its row is held) or another
 * encoding (then the file is). A cut, overlong or surrogate sequence shows its UTF-8 make by a lead
 * byte with a right continuation byte behind it; a lone byte is what a single-byte encoding writes.
 */
#include "intake/decode.h"

#include <string.h>

/* Windows-1252 from 80 to 9F; 0 where nothing is defined. [Unicode mapping table CP1252] */
static const uint16_t high_1252[32] = {
    0x20AC, 0,      0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021, 0x02C6, 0x2030, 0x0160,
    0x2039, 0x0152, 0,      0x017D, 0,      0,      0x2018, 0x2019, 0x201C, 0x201D, 0x2022,
    0x2013, 0x2014, 0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0,      0x017E, 0x0178,
};

static const struct {
    const char *bytes;
    size_t length;
    const char *what;
} magics[] = {
    {"PK\3\4", 4, "a zip archive or a spreadsheet"},
    {"\x1F\x8B", 2, "gzip data"},
    {"\x28\xB5\x2F\xFD", 4, "zstd data"},
    {"\x7F"
     "ELF",
     4, "a program"},
    {"MZ\x90", 3, "a program"},
    {"%PDF-", 5, "a PDF"},
    {"\x89PNG", 4, "a picture"},
    {"\xFF\xD8\xFF", 3, "a picture"},
    {"\xD0\xCF\x11\xE0", 4, "an office document"},
    {"SQLite format 3", 15, "a database"},
    {"BZh9", 4, "bzip2 data"},
    {"\xFD"
     "7zXZ",
     5, "xz data"},
};

static bool has(const unsigned char *at, size_t length, const char *mark, size_t mark_length)
{
    return length >= mark_length && memcmp(at, mark, mark_length) == 0;
}

static bool is_control(unsigned char c)
{
    return (c < 0x20 && c != '\t' && c != '\r' && c != '\n' && c != '\f') || c == 0x7F;
}

/* Text has no NUL before its first line end and hardly any control characters. */
static bool check_text(const unsigned char *at, size_t length, bool utf16_declared,
                       struct an_complaint *complaint)
{
    size_t even = 0;
    size_t odd = 0;
    size_t controls = 0;
    size_t first = length;

    for (size_t i = 0; i < sizeof magics / sizeof magics[0]; i++) {
        if (has(at, length, magics[i].bytes, magics[i].length)) {
            return an_complain(complaint, AN_HOLD_FILE_BINARY, 0, 0, NULL,
                               "the file begins like %s", magics[i].what);
        }
    }
    for (size_t i = 0; i < length; i++) {
        if (at[i] == 0) {
            even += i % 2 == 0;
            odd += i % 2 == 1;
        }
        if (is_control(at[i])) {
            first = i < first ? i : first;
            controls++;
        }
    }
    const size_t pairs = length / 2;
    if (pairs >= 4 && (even > pairs / 2 || odd > pairs / 2) &&
        (even < pairs / 8 || odd < pairs / 8)) {
        return an_complain(complaint, AN_HOLD_ENCODING_UTF16, 0, 0, NULL,
                           "every second byte is NUL, as in UTF-16, but the file has no mark that "
                           "tells the byte order");
    }
    if (utf16_declared) {
        return an_complain(complaint, AN_HOLD_ENCODING_UTF16, 0, 0, NULL,
                           "the station's encoding is UTF-16 by mark, but the file begins with no "
                           "mark");
    }
    const unsigned char *line_end = memchr(at, '\n', length);
    const size_t line = line_end ? (size_t)(line_end - at) : length;
    if (memchr(at, 0, line) || controls > length / 20) {
        return an_complain(complaint, AN_HOLD_FILE_BINARY, 0, 0, NULL,
                           "the file is not text: control characters from byte %zu on", first);
    }
    return true;
}

bool an_decode_begin(struct an_decoder *decoder, enum an_encoding declared, const void *head,
                     size_t length, size_t *skip, struct an_complaint *complaint)
{
    const unsigned char *at = head;

    memset(decoder, 0, sizeof *decoder);
    *skip = 0;
    if (length == 0) {
        return an_complain(complaint, AN_HOLD_FILE_EMPTY, 0, 0, NULL, "the file has no bytes");
    }
    if (has(at, length, "\xEF\xBB\xBF", 3)) {
        decoder->coding = AN_CODING_UTF8;
        decoder->mark = "UTF-8";
        *skip = 3;
    } else if (has(at, length, "\xFF\xFE", 2)) {
        decoder->coding = AN_CODING_16LE;
        decoder->mark = "UTF-16, low byte first";
        *skip = 2;
    } else if (has(at, length, "\xFE\xFF", 2)) {
        decoder->coding = AN_CODING_16BE;
        decoder->mark = "UTF-16, high byte first";
        *skip = 2;
    } else {
        decoder->coding = declared == AN_LATIN1         ? AN_CODING_LATIN1
                          : declared == AN_WINDOWS_1252 ? AN_CODING_1252
                                                        : AN_CODING_UTF8;
        if (!check_text(at, length, declared == AN_UTF16_BY_MARK, complaint)) {
            return false;
        }
    }
    decoder->offset = *skip;
    return true;
}

size_t an_decode_room(const struct an_decoder *decoder, size_t length)
{
    return decoder->coding == AN_CODING_UTF8 ? length : 3 * (length + sizeof decoder->carry);
}

static size_t put_utf8(uint32_t c, unsigned char *out)
{
    if (c < 0x80) {
        out[0] = (unsigned char)c;
        return 1;
    }
    if (c < 0x800) {
        out[0] = (unsigned char)(0xC0 | (c >> 6));
        out[1] = (unsigned char)(0x80 | (c & 0x3F));
        return 2;
    }
    if (c < 0x10000) {
        out[0] = (unsigned char)(0xE0 | (c >> 12));
        out[1] = (unsigned char)(0x80 | ((c >> 6) & 0x3F));
        out[2] = (unsigned char)(0x80 | (c & 0x3F));
        return 3;
    }
    out[0] = (unsigned char)(0xF0 | (c >> 18));
    out[1] = (unsigned char)(0x80 | ((c >> 12) & 0x3F));
    out[2] = (unsigned char)(0x80 | ((c >> 6) & 0x3F));
    out[3] = (unsigned char)(0x80 | (c & 0x3F));
    return 4;
}

static size_t decode_single(struct an_decoder *decoder, const unsigned char *at, size_t length,
                            unsigned char *out)
{
    size_t used = 0;

    for (size_t i = 0; i < length; i++) {
        uint32_t c = at[i];

        if (c >= 0x80 && c < 0xA0) {
            /* ISO 8859-1 has control characters there, which no station's text holds */
            c = decoder->coding == AN_CODING_1252 ? high_1252[c - 0x80] : 0;
            if (!c) {
                decoder->broken = true;
                return used;
            }
        }
        used += put_utf8(c, out + used);
        decoder->offset++;
    }
    return used;
}

static uint32_t unit_16(const struct an_decoder *decoder, const unsigned char *at)
{
    return decoder->coding == AN_CODING_16LE ? (uint32_t)(at[0] | at[1] << 8)
                                             : (uint32_t)(at[0] << 8 | at[1]);
}

/* One character out of the carried bytes if they hold a whole one; its bytes, or 0. */
static size_t decode_carried(struct an_decoder *decoder, unsigned char *out)
{
    if (decoder->carried < 2) {
        return 0;
    }
    uint32_t c = unit_16(decoder, decoder->carry);
    size_t width = 2;

    if (c >= 0xD800 && c < 0xDC00) {
        if (decoder->carried < 4) {
            return 0;
        }
        const uint32_t low = unit_16(decoder, decoder->carry + 2);
        if (low < 0xDC00 || low > 0xDFFF) {
            decoder->broken = true;
            return 0;
        }
        c = 0x10000 + ((c - 0xD800) << 10) + (low - 0xDC00);
        width = 4;
    } else if (c >= 0xDC00 && c < 0xE000) {
        decoder->broken = true;
        return 0;
    }
    decoder->carried -= width;
    memmove(decoder->carry, decoder->carry + width, decoder->carried);
    decoder->offset += width;
    return put_utf8(c, out);
}

static size_t decode_16(struct an_decoder *decoder, const unsigned char *at, size_t length,
                        bool last, unsigned char *out)
{
    size_t used = 0;

    for (size_t i = 0; i < length && !decoder->broken; i++) {
        decoder->carry[decoder->carried++] = at[i];
        used += decode_carried(decoder, out + used);
    }
    if (last && decoder->carried && !decoder->broken) {
        decoder->carried = 0;
        used += put_utf8(0xFFFD, out + used);
    }
    return used;
}

size_t an_decode(struct an_decoder *decoder, const unsigned char *at, size_t length, bool last,
                 unsigned char *out)
{
    if (decoder->broken) {
        return 0;
    }
    switch (decoder->coding) {
    case AN_CODING_LATIN1:
    case AN_CODING_1252:
        return decode_single(decoder, at, length, out);
    case AN_CODING_16LE:
    case AN_CODING_16BE:
        return decode_16(decoder, at, length, last, out);
    case AN_CODING_UTF8:
    default:
        if (length) {
            memcpy(out, at, length);
        }
        decoder->offset += length;
        return length;
    }
}

enum an_hold_reason an_decode_judge_row(struct an_decoder *decoder, struct an_bytes row, size_t *at)
{
    bool high = false;

    for (size_t i = 0; i < row.length && !high; i++) {
        high = row.at[i] >= 0x80;
    }
    if (!high) {
        return AN_HOLD_NO_REASON;
    }
    *at = an_utf8_check(row);
    if (*at == row.length) {
        decoder->many_byte = true;
        return AN_HOLD_NO_REASON;
    }
    const unsigned char lead = row.at[*at];
    const unsigned char next = *at + 1 < row.length ? row.at[*at + 1] : 0;
    if (lead >= 0xC0 && lead < 0xFE && next >= 0x80 && next < 0xC0) {
        return AN_HOLD_ROW_ENCODING;
    }
    return decoder->many_byte ? AN_HOLD_ENCODING_MIXED : AN_HOLD_ENCODING_INVALID;
}
