/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The stream in words: what is measured, then which part of the station. */
#include "judge/judge.h"
#include "judge/stream_split.h"

const char *an_judge_title(const struct an_line *line, const struct an_stream *stream,
                           struct an_arena *arena)
{
    const struct an_station *station;
    const struct an_characteristic *characteristic;
    const char *purpose;
    const char *text;
    struct an_split split;

    (void)an_judge_resolve(line, stream, &station, &characteristic, &purpose, arena);
    if (characteristic && characteristic->title) {
        text = an_arena_printf(arena, "%s", characteristic->title);
    } else if (characteristic) {
        text = an_arena_printf(arena, "%s", characteristic->name);
    } else {
        text = an_arena_printf(arena, "%s.%s", stream->station, stream->characteristic);
    }
    if (an_split_of(stream->split, characteristic, arena, &split) != AN_OK) {
        return text ? text : stream->name;
    }
    for (size_t i = 0; text && i < split.count; i++) {
        text =
            an_arena_printf(arena, "%s, %s %s", text, split.parts[i].column, split.parts[i].value);
    }
    if (text && split.purpose) {
        text = an_arena_printf(arena, "%s, %s items", text, split.purpose);
    }
    return text ? text : stream->name;
}
