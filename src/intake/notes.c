/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Collects notes about a file in fixed memory. Must never grow with the file. */
#include "intake/notes.h"

#include "andamento/base/json_out.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void an_note(struct an_notes *notes, const char *code, uint64_t line, const char *format, ...)
{
    va_list arguments;

    for (size_t i = 0; i < notes->count; i++) {
        if (strcmp(notes->at[i].code, code) == 0) {
            notes->at[i].times++;
            return;
        }
    }
    if (notes->count == AN_MOST_NOTES) {
        return; /* there are fewer codes than that */
    }
    struct an_note *note = &notes->at[notes->count++];
    note->code = code;
    note->line = line;
    note->times = 1;
    va_start(arguments, format);
    (void)vsnprintf(note->text, sizeof note->text, format, arguments);
    va_end(arguments);
}

void an_notes_write(const struct an_notes *notes, struct an_text *json)
{
    struct an_json out = an_json_into(json, false);

    if (!notes->count) {
        return;
    }
    an_json_array(&out);
    for (size_t i = 0; i < notes->count; i++) {
        const struct an_note *note = &notes->at[i];
        char text[sizeof note->text + 40];

        (void)snprintf(text, sizeof text, "%s", note->text);
        if (note->times > 1) {
            (void)snprintf(text, sizeof text, "%s (%" PRIu64 " times)", note->text, note->times);
        }
        an_json_object(&out);
        an_json_put_string(&out, "code", note->code);
        an_json_put_string(&out, "text", text);
        an_json_put_integer(&out, "line", (int64_t)note->line);
        an_json_end(&out, '}');
    }
    an_json_end(&out, ']');
}
