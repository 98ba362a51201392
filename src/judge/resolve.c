/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From a stream's name to its place in the line description. Must never change either. */
#include "judge/judge.h"
#include "judge/stream_by_id.h"
#include "judge/stream_split.h"

#include <string.h>

bool an_judge_resolve(const struct an_line *line, const struct an_stream *stream,
                      const struct an_station **station,
                      const struct an_characteristic **characteristic, const char **purpose,
                      struct an_arena *arena)
{
    struct an_split split = {0};
    size_t c = AN_NONE;

    *station = NULL;
    *characteristic = NULL;
    *purpose = NULL;
    const size_t s = an_line_station(line, an_bytes_of(stream->station));
    if (s != AN_NONE) {
        *station = &line->stations[s];
        c = an_line_characteristic(line, s, an_bytes_of(stream->characteristic));
    }
    if (c != AN_NONE) {
        *characteristic = &line->characteristics[c];
    }
    if (an_split_of(stream->split, *characteristic, arena, &split) == AN_OK) {
        *purpose = split.purpose;
    }
    return *characteristic != NULL;
}

enum an_status an_stream_by_id(struct an_store *store, int64_t stream_id, struct an_arena *arena,
                               struct an_stream *stream, struct an_error *err)
{
    struct an_stream *streams = NULL;
    size_t count = 0;
    enum an_status st = an_store_streams(store, arena, &streams, &count, err);

    if (st) {
        return st;
    }
    for (size_t i = 0; i < count; i++) {
        if (streams[i].stream_id == stream_id) {
            *stream = streams[i];
            return AN_OK;
        }
    }
    return an_fail(err, AN_NOT_FOUND, "the store has no stream number %lld", (long long)stream_id);
}
