/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Corrections against the ledger: what each changes is what its entry tells, no more and no less. The
 * act's own row is compared by acts_check.c.
 */
#include "andamento/store/correction.h"
#include "store/correction.h"

#include <stdio.h>
#include <string.h>

static const char doing[] = "comparing corrections with the ledger";

struct checked {
    int64_t correction_id, effects;
    const char *payload;
};

static void read_checked(struct an_query *query, struct an_arena *arena, void *row)
{
    struct checked *checked = row;

    checked->correction_id = an_column_int(query, 0);
    checked->effects = an_column_int(query, 1);
    checked->payload = an_column_text(query, 2, arena);
}

/* Links and samples by number, as they were digested when the correction was stored. */
static enum an_status digest_effects(struct an_store *store, const struct checked *checked,
                                     bool *same, struct an_error *err)
{
    static const char sql[] =
        "SELECT link_id FROM corrected_link WHERE correction_id = $1"
        " UNION ALL SELECT sample_id FROM corrected_sample WHERE correction_id = $1 ORDER BY 1";
    struct an_query query;
    struct an_text numbers = {0};
    char hex[65];
    char member[100];
    int64_t count = 0;
    bool more = false;
    enum an_status st = an_query_start(&query, store, sql, doing, err);

    if (st) {
        return st;
    }
    an_query_int(&query, checked->correction_id);
    while (!(st = an_query_row(&query, &more, err)) && more) {
        an_text_addf(&numbers, "%lld\n", (long long)an_column_int(&query, 0));
        count++;
    }
    an_query_end(&query);
    if (!st && numbers.failed) {
        st = an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    if (!st) {
        const struct an_sha256 digest = an_sha256_of_text(an_text_of(&numbers));

        (void)snprintf(member, sizeof member, "\"digest\":\"%s\"", an_sha256_hex(&digest, hex));
        *same = count == checked->effects && checked->payload && strstr(checked->payload, member);
    }
    an_text_free(&numbers);
    return st;
}

/* What stands beside the numbers follows from the correction and from the sample. */
static enum an_status look_beside(struct an_store *store, int64_t *wrong, struct an_error *err)
{
    static const char sql[] =
        "SELECT max(id) FROM (SELECT x.correction_id AS id FROM corrected_link x"
        " LEFT JOIN correction c ON c.correction_id = x.correction_id"
        " WHERE c.kind IS NOT 2 OR x.parent_id IS NOT c.is_id"
        " UNION ALL SELECT x.correction_id FROM corrected_sample x"
        " LEFT JOIN correction c ON c.correction_id = x.correction_id"
        " LEFT JOIN sample s ON s.sample_id = x.sample_id"
        " WHERE c.kind IS NULL OR c.kind NOT IN (3, 4) OR x.factor IS NOT c.factor"
        " OR x.stream_id IS NOT s.stream_id OR x.at_us IS NOT s.at_us)";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, doing, err);

    *wrong = 0;
    if (st) {
        return st;
    }
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *wrong = an_column_int_or(&query, 0, 0);
    }
    an_query_end(&query);
    return st;
}

enum an_status an_store_corrections_check(struct an_store *store, bool *sound, struct an_error *err)
{
    static const char sql[] = "SELECT c.correction_id, c.effects, l.payload FROM correction c"
                              " JOIN ledger l ON l.entry = c.entry ORDER BY c.correction_id";
    struct an_arena *arena = an_arena_open();
    struct an_query query;
    void *rows = NULL;
    size_t count = 0;
    int64_t wrong = 0;
    enum an_status st = arena ? an_query_start(&query, store, sql, doing, err)
                              : an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);

    *sound = true;
    st = st ? st
            : an_query_collect(&query, sizeof(struct checked), read_checked, arena, &rows, &count,
                               err);
    const struct checked *checked = rows;
    for (size_t i = 0; !st && !wrong && i < count; i++) {
        bool same = false;

        st = digest_effects(store, &checked[i], &same, err);
        wrong = same ? 0 : checked[i].correction_id;
    }
    if (!st && !wrong) {
        st = look_beside(store, &wrong, err);
    }
    if (!st && wrong) {
        *sound = false;
        (void)an_fail(err, AN_NO_STORE,
                      "correction %lld does not change what the ledger tells that it does",
                      (long long)wrong);
    }
    an_arena_close(arena);
    return st;
}
