/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Parts records into fields. The only user of the CSV library. Must never guess at a record whose
 * quotes are wrong: the library runs in its strict mode.
 *
 * The library's callbacks cannot stop it, and a field lives only inside its callback: so the first
 * failure is kept, the rest skipped, and each field's bytes are copied.
 */
#include "intake/fields.h"

#include "andamento/base/memory.h"

#include <string.h>

static void *resize(void *block, size_t size)
{
    return an_resize(block, size, 1);
}

static int never_blank(unsigned char c)
{
    (void)c;
    return 0;
}

enum an_status an_fields_open(struct an_fields *fields, struct an_error *err)
{
    memset(fields, 0, sizeof *fields);
    fields->capacity = 64;
    fields->room = 4096;
    fields->at = an_alloc(fields->capacity, sizeof *fields->at);
    fields->bytes = an_alloc(fields->room, 1);
    if (!fields->at || !fields->bytes) {
        an_fields_close(fields);
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    return AN_OK;
}

void an_fields_close(struct an_fields *fields)
{
    if (fields->parser_open) {
        csv_free(&fields->parser);
    }
    an_free(fields->at);
    an_free(fields->bytes);
    memset(fields, 0, sizeof *fields);
}

enum an_status an_fields_begin(struct an_fields *fields, char delimiter, bool trim,
                               struct an_error *err)
{
    if (fields->parser_open) {
        csv_free(&fields->parser);
        fields->parser_open = false;
    }
    if (csv_init(&fields->parser, CSV_STRICT | CSV_STRICT_FINI)) {
        return an_fail(err, AN_BUG, "the CSV library could not be started");
    }
    fields->parser_open = true;
    csv_set_realloc_func(&fields->parser, resize);
    csv_set_free_func(&fields->parser, an_free);
    csv_set_delim(&fields->parser, (unsigned char)delimiter);
    if (!trim) {
        csv_set_space_func(&fields->parser, never_blank);
    }
    return AN_OK;
}

/* Grown before a record is parted, so that a callback never has to: fields are no longer than it. */
static bool make_room(struct an_fields *fields, size_t length)
{
    if (fields->room < length + 1) {
        unsigned char *more = an_resize(fields->bytes, 2 * length + 1, 1);
        if (!more) {
            return false;
        }
        fields->bytes = more;
        fields->room = 2 * length + 1;
    }
    return true;
}

static void take_field(void *at, size_t length, void *context)
{
    struct an_fields *fields = context;
    void *array = fields->at;

    fields->longest = length > fields->longest ? length : fields->longest;
    if (fields->failed || fields->count > AN_MOST_COLUMNS) {
        fields->count++;
        return;
    }
    if (!an_grow(&array, fields->count, &fields->capacity, sizeof *fields->at)) {
        fields->failed = true;
        return;
    }
    fields->at = array;
    if (length) {
        memcpy(fields->bytes + fields->used, at, length);
    }
    fields->at[fields->count].at = fields->bytes + fields->used;
    fields->at[fields->count].length = length;
    fields->used += length;
    fields->count++;
}

static void take_row(int end, void *context)
{
    (void)end;
    (void)context;
}

enum an_status an_fields_part(struct an_fields *fields, struct an_bytes record,
                              struct an_error *err)
{
    fields->count = 0;
    fields->used = 0;
    fields->longest = 0;
    fields->failed = false;
    if (!make_room(fields, record.length)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    const size_t parsed =
        csv_parse(&fields->parser, record.at, record.length, take_field, take_row, fields);
    const int trouble = parsed < record.length ? csv_error(&fields->parser) : CSV_SUCCESS;
    const int ending = csv_fini(&fields->parser, take_field, take_row, fields);
    if (fields->failed || trouble == CSV_ENOMEM) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    return trouble || ending ? AN_DOMAIN : AN_OK;
}
