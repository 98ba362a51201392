/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The header of a file, and the machine it names, against the station's files before. Must never hold
 * a file for a column that moved: columns are found by name.
 */
#include "intake/reading.h"
#include "intake/watch_parts.h"

#include <string.h>

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

static struct an_bytes next_line(struct an_bytes *rest)
{
    const unsigned char *end = rest->length ? memchr(rest->at, '\n', rest->length) : NULL;
    struct an_bytes line = {rest->at, end ? (size_t)(end - rest->at) : rest->length};
    const size_t step = line.length + (end ? 1 : 0);

    rest->at += step;
    rest->length -= step;
    return line;
}

static size_t absent_in(const char *names, const char *others, struct an_bytes *first)
{
    struct an_bytes left = an_bytes_of(names);
    size_t absent = 0;

    while (left.length) {
        const struct an_bytes name = next_line(&left);
        struct an_bytes rest = an_bytes_of(others);
        bool found = false;

        while (!found && rest.length) {
            found = an_bytes_equal(next_line(&rest), name);
        }
        if (!found && absent++ == 0) {
            *first = name;
        }
    }
    return absent;
}

/* Against the newest file of the station: columns that moved, came, or went without being missed. */
static void compare_headers(struct an_reading *reading, const char *names, const char *before)
{
    struct an_notes *notes = &reading->notes;
    const uint64_t line = reading->header.line;
    struct an_bytes first = {NULL, 0};

    if (!before) {
        an_header_note_unused(&reading->header, reading->plan, notes);
        return;
    }
    const size_t gone = absent_in(before, names, &first);
    if (gone) {
        an_note(notes, "columns.gone", line,
                "%zu column%s of the station's last file not there any more, \"%s\" first; nothing "
                "was read from %s",
                gone, gone == 1 ? "" : "s", an_shown(first).text, gone == 1 ? "it" : "them");
    }
    if (absent_in(names, before, &first)) {
        an_header_note_unused(&reading->header, reading->plan, notes);
    } else if (!gone) {
        an_note(notes, "columns.moved", line,
                "the columns stand in another order than in the station's last file; they are "
                "found by name");
    }
}

enum an_status an_watch_header(struct an_reading *reading, struct an_error *err)
{
    const struct an_header *header = &reading->header;
    struct an_text names = {0};
    const char *before = NULL;

    for (size_t i = 0; i < header->field_count; i++) {
        an_text_add_visible(&names, header->names[i], 256);
        an_text_add_char(&names, '\n');
    }
    reading->trait.names = an_arena_copy(header->arena, an_text_of(&names), names.length);
    const bool failed = names.failed || !reading->trait.names;
    an_text_free(&names);
    if (failed) {
        return out_of_memory(err);
    }
    const enum an_status st = an_store_newest_header(reading->store, reading->plan->station->name,
                                                     header->arena, &before, err);
    if (!st && before && strcmp(before, reading->trait.names) == 0) {
        reading->trait.names = NULL; /* an earlier file told it */
    } else if (!st) {
        compare_headers(reading, reading->trait.names, before);
    }
    return st;
}

static enum an_status read_identity(struct an_reading *reading, struct an_error *err)
{
    const struct an_plan *plan = reading->plan;
    struct an_arena *arena = reading->header.arena;
    bool failed = false;

    if (plan->identity != AN_NONE && reading->preamble_found[plan->identity]) {
        reading->trait.identity =
            an_arena_printf(arena, "%s", an_text_of(&reading->preamble[plan->identity]));
        failed = !reading->trait.identity;
    } else if (plan->identity_is_tool) {
        reading->trait.identity = an_words_join(&reading->watch.tools, arena, &failed);
    }
    return failed ? out_of_memory(err) : AN_OK;
}

enum an_status an_watch_identity(struct an_reading *reading, struct an_error *err)
{
    bool known = true;
    const char *usual = NULL;
    enum an_status st = read_identity(reading, err);

    if (!st && !reading->trait.identity && reading->plan->station->identity_column) {
        an_note(&reading->notes, "identity.missing", 0,
                "the file does not name its machine (\"%s\"): whether it is the station's own "
                "cannot be told",
                reading->plan->station->identity_column);
    }
    if (st || !reading->trait.identity) {
        return st;
    }
    st = an_store_identity(reading->store, reading->plan->station->name, reading->trait.identity,
                           reading->header.arena, &known, &usual, err);
    if (st || known || !usual) {
        return st;
    }
    if (reading->as_is) {
        an_note(&reading->notes, "station.identity", 0,
                "the machine is \"%s\" now, \"%s\" before; a person confirmed it",
                an_shown(an_bytes_of(reading->trait.identity)).text,
                an_shown(an_bytes_of(usual)).text);
    } else {
        (void)an_complain(&reading->whole, AN_HOLD_STATION_IDENTITY, 0, 0,
                          reading->plan->station->identity_column,
                          "the file comes from \"%s\", the station's files so far from \"%s\"",
                          an_shown(an_bytes_of(reading->trait.identity)).text,
                          an_shown(an_bytes_of(usual)).text);
    }
    return AN_OK;
}
