/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Putting hits. Must never put a row that its ledger entry does not cover.
 *
 * The one idea: what one check finds on one stream is one act, so up to MOST_HITS rows share an entry
 * that holds their number and a hash over all their columns. A stream that went out of its limits for
 * a day costs entries by the thousand points, not by the point, and a row that is changed, deleted or
 * added is found all the same.
 */
#include "store/handle.h"
#include "store/hit_row.h"

enum { MOST_HITS = 1000 }; /* of an entry: what a finding can point at */

static const char doing[] = "storing hits";

void an_hit_row_add(struct an_text *lines, const struct an_hit_row *row)
{
    struct an_json json = an_json_into(lines, false);

    an_json_object(&json);
    an_json_put_integer(&json, "hit_id", row->hit_id);
    an_json_put_integer(&json, "signal_id", row->signal_id);
    an_json_put_integer(&json, "stream_id", row->stream_id);
    an_json_put_integer(&json, "sample_id", row->sample_id);
    an_json_put_integer(&json, "at_us", row->at_us);
    an_json_put_integer(&json, "window_first_sample_id", row->window_first_sample_id);
    an_json_put_integer(&json, "rule", row->rule);
    an_json_put_integer(&json, "panel", row->panel);
    an_json_put_integer(&json, "side", row->side);
    an_json_put_number(&json, "value", row->value + 0.0); /* SQLite keeps no minus before 0 */
    an_json_put_number(&json, "z", row->z + 0.0);
    an_json_put_integer(&json, "known_us", row->known_us);
    an_json_end(&json, '}');
    an_text_add_char(lines, '\n');
}

static struct an_hit_row row_of(const struct an_hit_record *hit, int64_t stream_id,
                                int64_t known_us)
{
    return (struct an_hit_row){
        .hit_id = hit->hit_id,
        .signal_id = hit->signal_id,
        .stream_id = stream_id,
        .sample_id = hit->sample_id,
        .at_us = hit->at_us,
        .window_first_sample_id = hit->window_first_sample_id,
        .rule = hit->rule,
        .panel = hit->panel,
        .side = hit->side,
        .value = hit->value,
        .z = hit->z,
        .known_us = known_us,
    };
}

/* The entry of these hits, whose ids are settled. */
static enum an_status tell(struct an_store *store, const struct an_hit_record *hits, size_t count,
                           int64_t stream_id, int64_t known_us, uint64_t *entry,
                           struct an_error *err)
{
    struct an_text lines = {0};
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    char hex[65];

    for (size_t i = 0; i < count; i++) {
        const struct an_hit_row row = row_of(&hits[i], stream_id, known_us);
        an_hit_row_add(&lines, &row);
    }
    const struct an_sha256 hash = an_sha256_of(an_text_of(&lines), lines.length);
    an_json_object(&json);
    an_json_put_integer(&json, "stream_id", stream_id);
    an_json_put_integer(&json, "first_hit_id", hits[0].hit_id);
    an_json_put_integer(&json, "last_hit_id", hits[count - 1].hit_id);
    an_json_put_integer(&json, "count", (int64_t)count);
    an_json_put_string(&json, "hits_sha256", an_sha256_hex(&hash, hex));
    an_json_put_integer(&json, "known_us", known_us);
    an_json_end(&json, '}');
    payload.failed = payload.failed || lines.failed;
    an_text_free(&lines);
    return an_ledger_append_text(store, AN_HITS_KIND, &payload, entry, err);
}

static enum an_status put_row(struct an_store *store, const struct an_hit_row *row, uint64_t entry,
                              struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO hit (hit_id, signal_id, stream_id, sample_id, at_us, window_first_sample_id,"
        " rule, panel, side, value, z, known_us, entry)"
        " VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)";
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, doing, err);

    if (st) {
        return st;
    }
    an_query_int(&query, row->hit_id);
    an_query_int(&query, row->signal_id);
    an_query_int(&query, row->stream_id);
    an_query_int(&query, row->sample_id);
    an_query_int(&query, row->at_us);
    an_query_int(&query, row->window_first_sample_id);
    an_query_int(&query, row->rule);
    an_query_int(&query, row->panel);
    an_query_int(&query, row->side);
    an_query_real(&query, row->value);
    an_query_real(&query, row->z);
    an_query_int(&query, row->known_us);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

/* How many of these are of one stream, MOST_HITS at most; which stream that is. */
static enum an_status run_of(struct an_store *store, const struct an_hit_record *hits, size_t count,
                             int64_t *stream_id, size_t *run, struct an_error *err)
{
    enum an_status st = an_signal_stream(store, hits[0].signal_id, stream_id, err);

    *run = 1;
    while (!st && *run < count && *run < MOST_HITS) {
        int64_t next = *stream_id;

        if (hits[*run].signal_id != hits[*run - 1].signal_id) {
            st = an_signal_stream(store, hits[*run].signal_id, &next, err);
        }
        if (!st && next != *stream_id) {
            break;
        }
        (*run)++;
    }
    return st;
}

enum an_status an_store_put_hits(struct an_store *store, struct an_hit_record *hits, size_t count,
                                 struct an_error *err)
{
    const int64_t known_us = an_clock_now_us();
    enum an_status st = an_store_may_put(store, doing, err);

    for (size_t from = 0, run = 0; !st && from < count; from += run) {
        int64_t stream_id = 0;
        uint64_t entry = 0;

        st = run_of(store, hits + from, count - from, &stream_id, &run, err);
        for (size_t i = from; !st && i < from + run; i++) {
            st = an_store_take_id(store, AN_COUNT_HIT, &hits[i].hit_id, err);
        }
        st = st ? st : tell(store, hits + from, run, stream_id, known_us, &entry, err);
        for (size_t i = from; !st && i < from + run; i++) {
            const struct an_hit_row row = row_of(&hits[i], stream_id, known_us);
            st = put_row(store, &row, entry, err);
        }
    }
    return st;
}

enum an_status an_store_put_hit(struct an_store *store, struct an_hit_record *hit,
                                struct an_error *err)
{
    return an_store_put_hits(store, hit, 1, err);
}
