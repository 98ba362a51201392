/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Samples of a file: its beginning, and of a large one some of the middle and the end. Must never
 * hold more than its budget, whatever the file's size, and must never read a line by halves.
 *
 * The hard idea: what is read from the middle begins anywhere, so its first line is thrown away,
 * and rows there have no line numbers.
 */
#include "intake/probe_inner.h"

#include <errno.h>
#include <string.h>
#include <unistd.h>

static size_t high_bytes(struct an_probe_file *file, const unsigned char *at, size_t length)
{
    size_t i = 0;
    while (i < length) {
        const struct an_bytes rest = {at + i, length - i};
        const size_t good = an_utf8_check(rest);
        for (size_t k = 0; k < good; k++) {
            file->high += at[i + k] >= 0xC0; /* each lead byte is a character */
        }
        i += good;
        if (i < length && length - i > 3) { /* a character may be cut by the end of the piece */
            file->broken++;
            file->c1 += at[i] >= 0x80 && at[i] < 0xA0;
        }
        i++;
    }
    return length;
}

static enum an_status read_piece(struct an_source *source, uint64_t from, size_t most,
                                 unsigned char *raw, size_t *length, struct an_error *err)
{
    *length = 0;
    if (lseek(source->file, (off_t)from, SEEK_SET) < 0) {
        return an_fail(err, AN_IO, "\"%s\": could not be read: %s", source->path, strerror(errno));
    }
    while (*length < most) {
        size_t got = 0;
        const enum an_status st = an_source_read(source, raw + *length, most - *length, &got, err);
        if (st) {
            return st;
        }
        if (!got) {
            break;
        }
        *length += got;
    }
    return AN_OK;
}

/* Cuts what is not a whole line from both ends. */
static void whole_lines(struct an_probe_chunk *chunk, bool is_start)
{
    size_t from = 0;
    if (!is_start) {
        while (from < chunk->length && chunk->text[from] != '\n' && chunk->text[from] != '\r') {
            from++;
        }
        while (from < chunk->length && (chunk->text[from] == '\n' || chunk->text[from] == '\r')) {
            from++;
        }
    }
    size_t until = chunk->length;
    while (!chunk->is_end && until > from && chunk->text[until - 1] != '\n' &&
           chunk->text[until - 1] != '\r') {
        until--;
    }
    memmove(chunk->text, chunk->text + from, until - from);
    chunk->length = until - from;
}

struct piece {
    uint64_t from;
    size_t length;
};

/* Which bytes of the file are read. */
static size_t plan_pieces(uint64_t bytes, size_t budget, struct piece pieces[3])
{
    if (bytes <= budget) {
        pieces[0] = (struct piece){0, (size_t)bytes};
        return 1;
    }
    const size_t part = budget / 6 & ~(size_t)1;
    pieces[0] = (struct piece){0, part * 4};
    pieces[1] = (struct piece){(bytes / 2 & ~(uint64_t)1), part};
    pieces[2] = (struct piece){((bytes - part) & ~(uint64_t)1), part + 2};
    if (pieces[1].from < pieces[0].length) {
        pieces[1].from = pieces[0].length;
    }
    return 3;
}

static enum an_status add_chunk(struct an_probe_state *probe, struct an_probe_file *file,
                                const struct an_decoder *start, const unsigned char *raw,
                                size_t length, const struct piece *piece, struct an_error *err)
{
    struct an_decoder decoder = *start;
    struct an_probe_chunk *chunk = &file->chunks[file->chunk_count];

    (void)probe;
    decoder.carried = 0;
    chunk->text = an_alloc(an_decode_room(&decoder, length) + 1, 1);
    if (!chunk->text) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    file->chunk_count++;
    chunk->from = piece->from;
    chunk->is_end = piece->from + length >= file->bytes;
    chunk->length = an_decode(&decoder, raw, length, chunk->is_end, chunk->text);
    if (decoder.broken) {
        file->stopped = true;
        chunk->is_end = false;
    }
    whole_lines(chunk, piece->from == 0);
    return AN_OK;
}

static enum an_status begin(struct an_probe_file *file, const unsigned char *raw, size_t length,
                            struct an_decoder *decoder, size_t *skip, struct an_error *err)
{
    struct an_complaint complaint = {0};
    const size_t head = length < AN_SNIFF_BYTES ? length : AN_SNIFF_BYTES;

    if (!an_decode_begin(decoder, AN_UTF8, raw, head, skip, &complaint)) {
        return an_fail(err, AN_BAD_INPUT, "\"%s\": %s", file->path, complaint.why);
    }
    if (length <= *skip) {
        return an_fail(err, AN_BAD_INPUT, "\"%s\": the file holds nothing but a byte-order mark",
                       file->path);
    }
    file->mark = decoder->mark;
    return AN_OK;
}

static void choose_coding(struct an_probe_file *file, struct an_decoder *decoder)
{
    if (decoder->coding == AN_CODING_UTF8 && !file->mark && file->broken > file->high) {
        decoder->coding = AN_CODING_1252;
    }
    file->coding = decoder->coding;
}

enum an_status an_probe_sample(struct an_probe_state *probe, const char *path, size_t budget,
                               struct an_probe_file *file, struct an_error *err)
{
    struct an_source source = {.file = -1};
    struct piece pieces[3];
    size_t lengths[3] = {0};
    size_t skip = 0;
    struct an_decoder decoder;
    unsigned char *raw = NULL;

    memset(file, 0, sizeof *file);
    file->path = path;
    const char *slash = strrchr(path, '/');
    file->name = slash ? slash + 1 : path;
    enum an_status st = an_source_open(&source, path, err);
    if (st) {
        return st;
    }
    file->bytes = source.bytes;
    const size_t count = plan_pieces(source.bytes, budget, pieces);
    file->whole = count == 1;
    size_t room = 0;
    for (size_t i = 0; i < count; i++) {
        room += pieces[i].length;
    }
    raw = an_alloc(room + 1, 1);
    if (!raw) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    size_t used = 0;
    for (size_t i = 0; !st && i < count; i++) {
        st = read_piece(&source, pieces[i].from, pieces[i].length, raw + used, &lengths[i], err);
        used += lengths[i];
    }
    if (!st) {
        file->read = used;
        st = begin(file, raw, lengths[0], &decoder, &skip, err);
    }
    if (!st) {
        if (decoder.coding == AN_CODING_UTF8) {
            (void)high_bytes(file, raw, used);
        }
        choose_coding(file, &decoder);
    }
    used = 0;
    for (size_t i = 0; !st && i < count; i++) {
        const size_t cut = i == 0 ? skip : 0;
        st = add_chunk(probe, file, &decoder, raw + used + cut, lengths[i] - cut, &pieces[i], err);
        used += lengths[i];
        file->chunks[0].is_end = file->chunks[0].is_end || (file->whole && !file->stopped);
    }
    an_free(raw);
    an_source_close(&source);
    if (st) {
        an_probe_file_close(file);
    }
    return st;
}

void an_probe_file_close(struct an_probe_file *file)
{
    for (size_t i = 0; i < file->chunk_count; i++) {
        an_free(file->chunks[i].text);
    }
    file->chunk_count = 0;
}

/* ---- rows ------------------------------------------------------------------------------------- */
static bool is_blank(struct an_bytes text)
{
    return an_bytes_trim(text).length == 0;
}

static bool is_aside(const struct an_probe_layout *layout, struct an_bytes text)
{
    const size_t comment = layout->comment ? strlen(layout->comment) : 0;

    return is_blank(text) ||
           (comment && text.length >= comment && memcmp(text.at, layout->comment, comment) == 0) ||
           (layout->last_line && an_bytes_are(text, layout->last_line));
}

/* One chunk's records. False: the caller's function wants no more. */
static bool chunk_rows(struct an_probe_state *probe, size_t index, size_t chunk_index,
                       an_probe_row *row, void *context)
{
    struct an_probe_file *file = &probe->files[index];
    const struct an_probe_layout *layout = &file->layout;
    const struct an_probe_chunk *chunk = &file->chunks[chunk_index];
    const uint64_t first = layout->header_line + layout->units_row;
    struct an_lines lines = {0};
    struct an_record record;
    struct an_error err = {0};
    bool more = true;

    an_lines_begin(&lines, layout->delimiter, true);
    unsigned char *room = an_lines_room(&lines, chunk->length + 1);
    if (!room || an_fields_begin(&probe->fields, layout->delimiter, true, &err)) {
        probe->no_memory = true;
        an_lines_free(&lines);
        return false;
    }
    memcpy(room, chunk->text, chunk->length);
    an_lines_added(&lines, chunk->length, true);
    while (more && !probe->no_memory && an_lines_record(&lines, &record) == AN_LINES_GOT) {
        an_lines_take(&lines, &record);
        if ((chunk_index == 0 && record.line <= first) || is_aside(layout, record.text)) {
            continue;
        }
        const enum an_status st =
            record.bad_quote || an_utf8_check(record.text) < record.text.length
                ? AN_DOMAIN
                : an_fields_part(&probe->fields, record.text, &err);
        probe->no_memory = probe->no_memory || st == AN_NO_MEMORY;
        file->rows++;
        if (st || probe->fields.count != layout->columns) {
            file->odd_line = file->odd_rows || chunk_index ? file->odd_line : record.line;
            file->odd_rows++;
            continue;
        }
        more = row(context, probe, index, chunk_index ? 0 : record.line, &probe->fields);
    }
    an_lines_free(&lines);
    return more && !probe->no_memory;
}

void an_probe_rows(struct an_probe_state *probe, size_t file, an_probe_row *row, void *context)
{
    probe->files[file].rows = 0;
    probe->files[file].odd_rows = 0;
    for (size_t i = 0; i < probe->files[file].chunk_count; i++) {
        if (!chunk_rows(probe, file, i, row, context)) {
            return;
        }
    }
}

void an_probe_all_rows(struct an_probe_state *probe, an_probe_row *row, void *context)
{
    for (size_t i = 0; i < probe->file_count; i++) {
        if (!probe->files[i].passed_over) {
            an_probe_rows(probe, i, row, context);
        }
    }
}
