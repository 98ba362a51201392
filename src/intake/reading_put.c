/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Puts what was read of a file into the store, once it is its turn. Must never touch the file itself.
 */
#include "intake/reading.h"

#include <inttypes.h>
#include <string.h>

static void note_the_rest(struct an_reading *reading)
{
    const struct an_lines *lines = &reading->lines;
    struct an_notes *notes = &reading->notes;

    if (reading->decoder.mark) {
        an_note(notes, "mark", 1, "the file begins with the mark of %s", reading->decoder.mark);
    }
    if (lines->saw_lf + lines->saw_cr + lines->saw_crlf > 1) {
        an_note(notes, "line_ends", 0, "lines end in different ways:%s%s%s",
                lines->saw_lf ? " LF" : "", lines->saw_crlf ? " CRLF" : "",
                lines->saw_cr ? " CR" : "");
    }
    if (reading->counts.rows == reading->counts.blank) {
        an_note(notes, "rows.none", 0, "the file has a header and no rows");
    }
    if (reading->plan->time == AN_NONE && reading->counts.taken) {
        an_note(notes, "time.file", 0, "rows carry no time; the file's own time was used");
    }
    for (size_t i = 0; reading->when.settled && i < reading->when.count; i++) {
        if (reading->when.at[i].steps == 1) {
            an_note(notes, "time.settled", reading->when.at[i].first_line,
                    "times of the hour that came twice were settled by the order of the rows; the "
                    "second pass begins in line %" PRIu64,
                    reading->when.at[i].step_line);
        }
    }
}

static enum an_status check_sum(const struct an_reading *reading, struct an_error *err)
{
    const struct an_counts *counts = &reading->counts;

    if (counts->rows == counts->taken + counts->duplicate + counts->held + counts->blank &&
        counts->duplicate == (int64_t)reading->map.before_rows) {
        return AN_OK;
    }
    return an_fail(err, AN_BUG,
                   "\"%s\": the rows do not add up: %" PRId64 " rows, %" PRId64 " taken, %" PRId64
                   " duplicate, %" PRId64 " held, %" PRId64 " blank",
                   reading->source->path, counts->rows, counts->taken, counts->duplicate,
                   counts->held, counts->blank);
}

/* What an earlier call has put was undone: it is put again, as if it had not been. */
static enum an_status begin_putting(struct an_reading *reading, struct an_error *err)
{
    reading->put_again = reading->read_again = false;
    reading->notes = reading->notes_read;
    an_watch_close(&reading->watch);
    memset(&reading->trait, 0, sizeof reading->trait);
    return an_look_begin(&reading->look) && an_finish_begin(&reading->finish)
               ? AN_OK
               : an_fail(err, AN_NO_MEMORY, "out of memory");
}

enum an_status an_reading_put(struct an_reading *reading, struct an_store *store, int64_t file_id,
                              struct an_error *err)
{
    const bool decided = reading->look.done;
    const bool streamed = reading->store != NULL;
    enum an_status st = AN_OK;

    if (reading->put_again) {
        st = begin_putting(reading, err);
    } else {
        reading->notes_read = reading->notes;
    }
    if (!st && !streamed) {
        st = an_reading_hand_in(reading, store, file_id, true, err);
    }
    st = st ? st : an_finish_all(&reading->finish, reading->last_block, err);
    if (st) {
        return st;
    }
    if (reading->finish.visits_before) {
        if (decided) {
            return an_fail(err, AN_BUG, "\"%s\": rows known from before were found twice",
                           reading->source->path);
        }
        reading->read_again = an_watch_items(reading);
        /* doubts that came to nothing: every row is to be taken, as it was read */
        reading->put_again = reading->read_again && !streamed && !reading->finish.spilled &&
                             !reading->look.verdict_count && !reading->map.before_rows;
        if (reading->put_again) {
            reading->store = reading->outbox.store = NULL;
        }
        return AN_OK;
    }
    st = an_watch_file(reading, err);
    if (st || reading->whole.reason != AN_HOLD_NO_REASON) {
        return st;
    }
    note_the_rest(reading);
    st = check_sum(reading, err);
    return st || reading->keep_none
               ? st
               : an_store_put_original(
                     store, file_id, &reading->hash, reading->bytes, reading->outbox.pieces,
                     reading->columns.mirror ? AN_FORM_COLUMNS : AN_FORM_FRAME, err);
}
