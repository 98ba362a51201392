/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Answers to signals as records. An answer is added beside those before it, never instead of them;
 * its ledger entry holds the whole of it.
 */
#include "store/signing.h"

static bool is_told(const char *text)
{
    return text && text[0];
}

static enum an_status tell_answer(struct an_store *store, const struct an_answer *answer,
                                  const struct an_doer *doer, uint64_t *entry, struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);

    an_json_object(&json);
    an_json_put_integer(&json, "answer_id", answer->answer_id);
    an_json_put_integer(&json, "signal_id", answer->signal_id);
    an_json_put_integer(&json, "known_us", answer->known_us);
    an_json_put_string(&json, "author", answer->author);
    an_json_put_string(&json, "cause", answer->cause);
    an_json_put_string(&json, "action", answer->action);
    an_json_put_string(&json, "containment", answer->containment);
    an_json_put_string(&json, "reason", answer->reason);
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, "signal.answered", &payload, entry, err);
}

static enum an_status add_answer(struct an_store *store, struct an_answer *answer,
                                 struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO answer (answer_id, signal_id, known_us, author, cause, action, containment,"
        " reason, system_user, host, entry) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)";
    const struct an_doer doer = an_doer_now();
    struct an_query query;
    uint64_t entry = 0;
    int64_t stream_id = 0;
    enum an_status st = an_signal_stream(store, answer->signal_id, &stream_id, err);

    st = st ? st : an_store_take_id(store, AN_COUNT_ANSWER, &answer->answer_id, err);
    answer->known_us = an_known(answer->known_us);
    st = st ? st : tell_answer(store, answer, &doer, &entry, err);
    st = st ? st : an_query_start(&query, store, sql, "storing an answer", err);
    if (st) {
        return st;
    }
    an_query_int(&query, answer->answer_id);
    an_query_int(&query, answer->signal_id);
    an_query_int(&query, answer->known_us);
    an_query_text(&query, answer->author);
    an_query_text(&query, answer->cause);
    an_query_text(&query, answer->action);
    an_query_text(&query, answer->containment);
    an_query_text(&query, answer->reason ? answer->reason : "");
    an_query_text(&query, doer.user);
    an_query_text(&query, doer.host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

enum an_status an_store_put_answer(struct an_store *store, struct an_answer *answer,
                                   struct an_error *err)
{
    bool own = false;

    if (!is_told(answer->author)) {
        return an_fail(err, AN_BAD_USAGE, "an answer wants the name of who gives it");
    }
    if (!is_told(answer->cause) && !is_told(answer->action) && !is_told(answer->containment) &&
        !is_told(answer->reason)) {
        return an_fail(err, AN_BAD_USAGE,
                       "an answer wants at least one of cause, action, containment and reason");
    }
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    st = add_answer(store, answer, err);
    return an_store_leave(store, own, st, err);
}

static void read_answer(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_answer *answer = row;

    answer->answer_id = an_column_int(query, 0);
    answer->signal_id = an_column_int(query, 1);
    answer->known_us = an_column_int(query, 2);
    answer->author = an_column_text(query, 3, arena);
    answer->cause = an_column_text(query, 4, arena);
    answer->action = an_column_text(query, 5, arena);
    answer->containment = an_column_text(query, 6, arena);
    answer->reason = an_column_text(query, 7, arena);
    answer->system_user = an_column_text(query, 8, arena);
    answer->host = an_column_text(query, 9, arena);
    answer->signed_key = an_column_text(query, 10, arena);
    if (answer->reason && !answer->reason[0]) {
        answer->reason = NULL;
    }
}

enum an_status an_store_answers(struct an_store *store, int64_t signal_id, struct an_arena *arena,
                                struct an_answer **answers, size_t *count, struct an_error *err)
{
#define ANSWER_COLUMNS                                                                             \
    "SELECT answer_id, signal_id, known_us, author, cause, action, containment, reason,"           \
    " system_user, host, " AN_SIGNED_KEY("answer") " FROM answer"
    static const char of_signal[] = ANSWER_COLUMNS " WHERE signal_id = $1 ORDER BY answer_id";
    static const char all[] = ANSWER_COLUMNS " ORDER BY answer_id";
#undef ANSWER_COLUMNS
    struct an_query query;
    void *rows = NULL;
    enum an_status st =
        an_query_start(&query, store, signal_id ? of_signal : all, "reading answers", err);

    if (st) {
        return st;
    }
    if (signal_id) {
        an_query_int(&query, signal_id);
    }
    st = an_query_collect(&query, sizeof **answers, read_answer, arena, &rows, count, err);
    if (!st) {
        *answers = rows;
    }
    return st;
}
