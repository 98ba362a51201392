/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Streams and their samples: what charts are made of. It must never read a reading: statistics
 * are enough.
 *
 * A sample carries its ordinal in its stream, so that a stream's number of samples is known from
 * its newest one, however many there are.
 */
#include "store/correction.h"
#include "store/handle.h"

#include <string.h>

/* ---- streams ------------------------------------------------------------------------------------- */

static enum an_status find_stream(struct an_store *store, const char *station,
                                  const char *characteristic, const char *split, bool *found,
                                  int64_t *stream_id, struct an_error *err)
{
    static const char sql[] = "SELECT stream_id FROM stream"
                              " WHERE station = $1 AND characteristic = $2 AND split = $3";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for a stream", err);
    if (st) {
        return st;
    }
    an_query_text(&query, station);
    an_query_text(&query, characteristic);
    an_query_text(&query, split);
    st = an_query_row(&query, found, err);
    if (!st && *found) {
        *stream_id = an_column_int(&query, 0);
    }
    an_query_end(&query);
    return st;
}

struct new_stream {
    int64_t stream_id;
    const char *station, *characteristic, *split, *name;
};

/* A stream that no file brings has a ledger entry of its own. */
static enum an_status tell_stream(struct an_store *store, const struct new_stream *stream,
                                  uint64_t *entry, struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "stream_id", stream->stream_id);
    an_json_put_string(&json, "station", stream->station);
    an_json_put_string(&json, "characteristic", stream->characteristic);
    an_json_put_string(&json, "split", stream->split);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, "stream", &payload, entry, err);
}

static enum an_status add_stream(struct an_store *store, const struct new_stream *stream,
                                 struct an_error *err)
{
    static const char sql[] = "INSERT INTO stream"
                              " (stream_id, station, characteristic, split, name, file_id, entry)"
                              " VALUES ($1, $2, $3, $4, $5, $6, $7)";
    const int64_t file_id = store->tally.file_id;
    struct an_query query;
    uint64_t entry = 0;
    enum an_status st = file_id ? AN_OK : tell_stream(store, stream, &entry, err);
    if (!st) {
        st = an_query_start_put(&query, store, sql, "adding a stream", err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, stream->stream_id);
    an_query_text(&query, stream->station);
    an_query_text(&query, stream->characteristic);
    an_query_text(&query, stream->split);
    an_query_text(&query, stream->name);
    an_query_int_or_null(&query, file_id, file_id == 0);
    an_query_int_or_null(&query, (int64_t)entry, file_id != 0);
    return file_id ? an_query_run_put(&query, AN_PART_STREAM, err) : an_query_run(&query, err);
}

enum an_status an_store_stream(struct an_store *store, const char *station,
                               const char *characteristic, const char *split, int64_t *stream_id,
                               struct an_error *err)
{
    bool found = false;
    struct an_text name = {0};
    split = split ? split : "";
    enum an_status st = find_stream(store, station, characteristic, split, &found, stream_id, err);
    if (st || found) {
        return st;
    }
    st = an_store_may_put(store, "adding a stream", err);
    if (st) {
        return st;
    }
    an_text_addf(&name, "%s.%s%s%s", station, characteristic, split[0] ? "@" : "", split);
    if (name.failed) {
        st = an_fail(err, AN_NO_MEMORY, "adding a stream: memory ran out");
    } else {
        st = an_store_take_id(store, AN_COUNT_STREAM, stream_id, err);
    }
    if (!st) {
        const struct new_stream stream = {*stream_id, station, characteristic, split,
                                          an_text_of(&name)};
        st = add_stream(store, &stream, err);
    }
    an_text_free(&name);
    return st;
}

#define STREAM_COLUMNS                                                                             \
    "SELECT t.stream_id, t.station, t.characteristic, t.split, t.name,"                            \
    " (SELECT s.ordinal FROM sample s WHERE s.stream_id = t.stream_id"                             \
    "  ORDER BY s.sample_id DESC LIMIT 1),"                                                        \
    " (SELECT min(s.at_us) FROM sample s WHERE s.stream_id = t.stream_id),"                        \
    " (SELECT max(s.at_us) FROM sample s WHERE s.stream_id = t.stream_id) FROM stream t"

static void read_stream(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_stream *stream = row;
    stream->stream_id = an_column_int(query, 0);
    stream->station = an_column_text(query, 1, arena);
    stream->characteristic = an_column_text(query, 2, arena);
    stream->split = an_column_text(query, 3, arena);
    stream->name = an_column_text(query, 4, arena);
    stream->samples = an_column_int_or(query, 5, 0);
    stream->first_us = an_column_instant(query, 6);
    stream->last_us = an_column_instant(query, 7);
}

enum an_status an_store_streams(struct an_store *store, struct an_arena *arena,
                                struct an_stream **streams, size_t *count, struct an_error *err)
{
    static const char sql[] = STREAM_COLUMNS " ORDER BY t.station, t.characteristic, t.split";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "listing streams", err);
    if (!st) {
        st = an_query_collect(&query, sizeof **streams, read_stream, arena, &rows, count, err);
    }
    if (!st) {
        *streams = rows;
    }
    return st;
}

enum an_status an_store_find_stream(struct an_store *store, const char *name,
                                    struct an_arena *arena, struct an_stream *stream,
                                    struct an_error *err)
{
    static const char sql[] = STREAM_COLUMNS " WHERE t.name = $1";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for a stream", err);
    if (st) {
        return st;
    }
    an_query_text(&query, name);
    st = an_query_one(&query, read_stream, arena, stream, "there is no such stream", err);
    if (st == AN_NOT_FOUND) {
        return an_fail(err, st, "there is no stream '%s' in '%s'", name, store->path);
    }
    return st;
}

/* ---- samples -------------------------------------------------------------------------------------- */

/* How many samples the stream will have with this one. */
static enum an_status next_ordinal(struct an_store *store, int64_t stream_id, int64_t *ordinal,
                                   struct an_error *err)
{
    static const char sql[] = "SELECT ordinal FROM sample WHERE stream_id = $1"
                              " ORDER BY sample_id DESC LIMIT 1";
    if (stream_id < 1) {
        return an_fail(err, AN_BUG, "storing a sample: its stream has no number");
    }
    const size_t at = (size_t)stream_id;
    const size_t before = store->stream_capacity;
    if (at >= before) {
        void *grown = store->stream_samples;
        if (!an_grow(&grown, at, &store->stream_capacity, sizeof *store->stream_samples)) {
            return an_fail(err, AN_NO_MEMORY, "storing a sample: memory ran out");
        }
        store->stream_samples = grown;
        memset(store->stream_samples + before, 0,
               (store->stream_capacity - before) * sizeof *store->stream_samples);
    }
    enum an_status st = AN_OK;
    if (store->stream_samples[at] == 0) {
        struct an_query query;
        bool found = false;
        st = an_query_start(&query, store, sql, "counting a stream's samples", err);
        if (!st) {
            an_query_int(&query, stream_id);
            st = an_query_row(&query, &found, err);
        }
        if (!st) {
            store->stream_samples[at] = found ? an_column_int(&query, 0) : 0;
            an_query_end(&query);
        }
    }
    *ordinal = ++store->stream_samples[at];
    return st;
}

enum an_status an_store_put_sample(struct an_store *store, struct an_sample *sample,
                                   struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO sample (sample_id, stream_id, ordinal, visit_id, item_id, file_id, at_us,"
        " shift_from_us, n, missing, mean, ssd, min_value, max_value, counted, opportunities,"
        " decimals, first_line, last_line, ribbon)"
        " VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18,"
        " $19, $20)";
    static const char doing[] = "storing a sample";
    struct an_query query;
    int64_t ordinal = 0;
    enum an_status st = an_tally_check(store, sample->file_id, doing, err);
    if (!st) {
        st = next_ordinal(store, sample->stream_id, &ordinal, err);
    }
    if (!st) {
        st = an_store_take_id(store, AN_COUNT_SAMPLE, &sample->sample_id, err);
    }
    if (!st) {
        st = an_query_start_put(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, sample->sample_id);
    an_query_int(&query, sample->stream_id);
    an_query_int(&query, ordinal);
    an_query_int(&query, sample->visit_id);
    an_query_int(&query, sample->item_id);
    an_query_int(&query, sample->file_id);
    an_query_int(&query, sample->at_us);
    an_query_instant(&query, sample->shift_from_us);
    an_query_int(&query, sample->n);
    an_query_int(&query, sample->missing);
    an_query_real(&query, sample->mean);
    an_query_real(&query, sample->ssd);
    an_query_real(&query, sample->min);
    an_query_real(&query, sample->max);
    an_query_real(&query, sample->count);
    an_query_real(&query, sample->opportunities);
    an_query_int(&query, sample->decimals);
    an_query_int(&query, (int64_t)sample->first_line);
    an_query_int(&query, (int64_t)sample->last_line);
    an_query_text(&query, sample->ribbon);
    return an_query_run_put(&query, AN_PART_SAMPLE, err);
}

/* A superseded sample is kept and in no chart. */
#define NOT_SUPERSEDED                                                                             \
    " AND NOT EXISTS (SELECT 1 FROM superseded x WHERE x.sample_id = s.sample_id)"
#define SAMPLE_COLUMNS                                                                             \
    "SELECT s.sample_id, s.stream_id, s.visit_id, s.item_id, s.file_id, s.at_us, s.shift_from_us," \
    " s.n, s.missing, s.mean, s.ssd, s.min_value, s.max_value, s.counted, s.opportunities,"        \
    " s.decimals, s.first_line, s.last_line, s.ribbon, " AN_SERIAL_OF_I ", f.known_us"
#define SAMPLE_TABLES                                                                              \
    " FROM sample s JOIN item i ON i.item_id = s.item_id JOIN file f ON f.file_id = s.file_id"
#define SAMPLE_CHOICE " WHERE s.stream_id = $1 AND s.at_us >= $2 AND s.at_us < $3" NOT_SUPERSEDED
/* Only where samples were corrected: of these the factor, without what was withdrawn. */
#define CORRECTED_COLUMNS SAMPLE_COLUMNS ", c.factor, c.correction_id"
#define CORRECTED_TABLES                                                                           \
    SAMPLE_TABLES " LEFT JOIN corrected_sample c ON c.sample_id = s.sample_id" AN_IN_FORCE
#define CORRECTED_CHOICE SAMPLE_CHOICE " AND (c.sample_id IS NULL OR c.factor IS NOT NULL)"

static void read_sample(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_sample *sample = row;
    sample->sample_id = an_column_int(query, 0);
    sample->stream_id = an_column_int(query, 1);
    sample->visit_id = an_column_int(query, 2);
    sample->item_id = an_column_int(query, 3);
    sample->file_id = an_column_int(query, 4);
    sample->at_us = an_column_int(query, 5);
    sample->shift_from_us = an_column_instant(query, 6);
    sample->n = an_column_int(query, 7);
    sample->missing = an_column_int(query, 8);
    sample->mean = an_column_real(query, 9);
    sample->ssd = an_column_real(query, 10);
    sample->min = an_column_real(query, 11);
    sample->max = an_column_real(query, 12);
    sample->count = an_column_real(query, 13);
    sample->opportunities = an_column_real(query, 14);
    sample->decimals = (int)an_column_int(query, 15);
    sample->first_line = (uint64_t)an_column_int(query, 16);
    sample->last_line = (uint64_t)an_column_int(query, 17);
    sample->ribbon = an_column_text(query, 18, arena);
    sample->serial = an_column_text(query, 19, arena);
    sample->known_us = an_column_int(query, 20);
    sample->factor = 1.0;
}

/* Counts have no unit. */
static void read_corrected(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_sample *sample = row;
    read_sample(query, arena, row);
    sample->corrected_by = an_column_int_or(query, 22, 0);
    if (sample->corrected_by) {
        sample->factor = an_column_real(query, 21);
        sample->mean *= sample->factor;
        sample->ssd *= sample->factor * sample->factor;
        sample->min *= sample->factor;
        sample->max *= sample->factor;
    }
}

static void reverse(struct an_sample *samples, size_t count)
{
    for (size_t k = 0; k < count / 2; k++) {
        const struct an_sample first = samples[k];
        samples[k] = samples[count - 1 - k];
        samples[count - 1 - k] = first;
    }
}

/* The last `most` (0: all) of [from, until), oldest first. */
static enum an_status samples_of(struct an_store *store, int64_t stream_id, int64_t from_us,
                                 int64_t until_us, size_t most, struct an_arena *arena,
                                 struct an_sample **samples, size_t *count, struct an_error *err)
{
#define FORWARD " ORDER BY s.at_us, s.sample_id"
#define BACKWARD " ORDER BY s.at_us DESC, s.sample_id DESC LIMIT $4"
    static const char all[] = SAMPLE_COLUMNS SAMPLE_TABLES SAMPLE_CHOICE FORWARD;
    static const char last[] = SAMPLE_COLUMNS SAMPLE_TABLES SAMPLE_CHOICE BACKWARD;
    static const char all_corrected[] = CORRECTED_COLUMNS CORRECTED_TABLES CORRECTED_CHOICE FORWARD;
    static const char last_corrected[] =
        CORRECTED_COLUMNS CORRECTED_TABLES CORRECTED_CHOICE BACKWARD;
#undef FORWARD
#undef BACKWARD
    struct an_query query;
    void *rows = NULL;
    bool corrected = false;
    enum an_status st = an_any_sample_corrected(store, &corrected, err);
    const char *plain = most ? last : all;

    st = st ? st
            : an_query_start(&query, store,
                             !corrected ? plain
                             : most     ? last_corrected
                                        : all_corrected,
                             "reading a stream's samples", err);
    if (st) {
        return st;
    }
    an_query_int(&query, stream_id);
    an_query_int(&query, from_us);
    an_query_int(&query, until_us);
    if (most) {
        an_query_int(&query, most > INT64_MAX ? INT64_MAX : (int64_t)most);
    }
    st = an_query_collect(&query, sizeof **samples, corrected ? read_corrected : read_sample, arena,
                          &rows, count, err);
    if (!st) {
        *samples = rows;
        if (most) {
            reverse(*samples, *count);
        }
    }
    return st;
}

enum an_status an_store_samples(struct an_store *store, int64_t stream_id, int64_t from_us,
                                int64_t until_us, size_t most, struct an_arena *arena,
                                struct an_sample **samples, size_t *count, struct an_error *err)
{
    return samples_of(store, stream_id, from_us, an_until(until_us), most, arena, samples, count,
                      err);
}

enum an_status an_store_samples_before(struct an_store *store, int64_t stream_id, int64_t at_us,
                                       size_t most, struct an_arena *arena,
                                       struct an_sample **samples, size_t *count,
                                       struct an_error *err)
{
    if (most == 0) {
        *count = 0;
        *samples = an_arena_alloc(arena, 1, sizeof **samples);
        return *samples ? AN_OK
                        : an_fail(err, AN_NO_MEMORY, "reading a stream's samples: memory ran out");
    }
    return samples_of(store, stream_id, INT64_MIN, at_us, most, arena, samples, count, err);
}

enum an_status an_store_events_before(struct an_store *store, int64_t stream_id, int64_t at_us,
                                      size_t events, int64_t *first_us, struct an_error *err)
{
    static const char sql[] = "SELECT s.at_us FROM sample s LEFT JOIN corrected_sample c"
                              " ON c.sample_id = s.sample_id" AN_IN_FORCE CORRECTED_CHOICE
                              " AND s.counted > 0 ORDER BY s.at_us DESC, s.sample_id DESC"
                              " LIMIT 1 OFFSET $4";
    struct an_query query;
    bool found = false;
    enum an_status st =
        an_query_start(&query, store, sql, "looking for a stream's last events", err);

    *first_us = INT64_MIN;
    if (st) {
        return st;
    }
    an_query_int(&query, stream_id);
    an_query_int(&query, INT64_MIN);
    an_query_int(&query, at_us);
    an_query_int(&query, events ? (int64_t)events - 1 : 0);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *first_us = an_column_int(&query, 0);
        an_query_end(&query);
    }
    return st;
}

enum an_status an_store_newest_sample(struct an_store *store, int64_t stream_id, int64_t since_id,
                                      int64_t *newest_id, int64_t *earliest_us,
                                      struct an_error *err)
{
    /* What superseded a sample counts as new at the time of that sample, too. The sign before
     * at_us keeps SQLite from going through all older samples in order of time. */
    static const char of_stream[] =
        "SELECT max(coalesce((SELECT max(sample_id) FROM sample WHERE stream_id = $1), 0),"
        " coalesce((SELECT max(by_sample_id) FROM superseded WHERE stream_id = $1), 0)),"
        " min(coalesce((SELECT min(+at_us) FROM sample WHERE stream_id = $1 AND sample_id > $2),"
        " 9223372036854775807), coalesce((SELECT min(at_us) FROM superseded"
        " WHERE stream_id = $1 AND by_sample_id > $2), 9223372036854775807))";
    static const char of_all[] =
        "SELECT coalesce((SELECT max(sample_id) FROM sample), 0), coalesce((SELECT min(at_us)"
        " FROM sample WHERE sample_id > $1), 9223372036854775807)";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, stream_id ? of_stream : of_all,
                                       "looking for new samples", err);
    if (st) {
        return st;
    }
    if (stream_id) {
        an_query_int(&query, stream_id);
    }
    an_query_int(&query, since_id);
    st = an_query_row(&query, &found, err);
    if (!st) {
        *newest_id = an_column_int(&query, 0);
        *earliest_us = an_column_int(&query, 1);
        *earliest_us = *earliest_us == INT64_MAX ? AN_NO_INSTANT : *earliest_us;
        an_query_end(&query);
    }
    return st;
}
