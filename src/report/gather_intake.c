/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What came in and what did not: stations, held rows and files, silence. Responsible for telling
 * a station that sent nothing from one that never does; never judges values.
 *
 * Its one hard idea: a station's last sign of life is looked for up to the report's end, not up to
 * today, so that a report made again later still says what was known of that shift.
 */
#include "andamento/base/text.h"
#include "andamento/store/correction.h"
#include "andamento/store/intake.h"
#include "report/gather.h"
#include "report/wording.h"

#include <inttypes.h>
#include <string.h>

enum { MOST_HELD_FILES = 200 };

static enum an_status no_memory(const struct an_gather *gather)
{
    return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
}

static struct an_station_sheet *station_named(struct an_period_data *data, const char *name)
{
    for (size_t i = 0; i < data->station_count; i++) {
        if (!strcmp(data->stations[i].name, name)) {
            return &data->stations[i];
        }
    }
    return NULL;
}

static void heard(struct an_station_sheet *station, int64_t at_us, int64_t until_us)
{
    if (at_us != AN_NO_INSTANT && at_us < until_us && at_us > station->last_us) {
        station->last_us = at_us;
    }
}

/* The description's stations, then those only the store knows. */
static enum an_status list_stations(struct an_gather *gather,
                                    const struct an_station_traffic *traffic, size_t count)
{
    struct an_period_data *data = gather->data;
    const struct an_line *line = gather->line;
    data->stations = an_arena_alloc(
        gather->arena, line->station_count + data->sheet_count + count + 1, sizeof *data->stations);
    if (!data->stations) {
        return no_memory(gather);
    }
    for (size_t i = 0; i < line->station_count; i++) {
        const struct an_station *station = &line->stations[i];
        data->stations[data->station_count++] =
            (struct an_station_sheet){.name = station->name,
                                      .title = station->title ? station->title : station->name,
                                      .described = true,
                                      .silent_after_us = station->silent_after_us,
                                      .last_us = AN_NO_INSTANT};
    }
    for (size_t i = 0; i < count; i++) {
        const char *name = traffic[i].station ? traffic[i].station : "no station";
        struct an_station_sheet *station = station_named(data, name);
        if (!station) {
            station = &data->stations[data->station_count++];
            *station =
                (struct an_station_sheet){.name = name, .title = name, .last_us = AN_NO_INSTANT};
        }
        station->traffic = traffic[i];
        heard(station, traffic[i].last_us, data->now.until_us);
    }
    for (size_t i = 0; i < data->sheet_count; i++) {
        struct an_stream_sheet *sheet = &data->sheets[i];
        struct an_station_sheet *station = station_named(data, sheet->stream.station);
        if (!station) {
            station = &data->stations[data->station_count++];
            *station = (struct an_station_sheet){.name = sheet->stream.station,
                                                 .title = sheet->station_title,
                                                 .last_us = AN_NO_INSTANT};
        }
        sheet->station = (size_t)(station - data->stations);
        station->streams++;
        heard(station, sheet->last_us, data->now.until_us);
        if (sheet->stream.last_us < data->now.until_us) {
            heard(station, sheet->stream.last_us, data->now.until_us);
        }
    }
    for (size_t i = 0; i < data->station_count; i++) {
        struct an_station_sheet *station = &data->stations[i];
        station->silent = station->silent_after_us > 0 &&
                          (station->last_us == AN_NO_INSTANT ||
                           station->last_us + station->silent_after_us < data->as_of_us);
    }
    return AN_OK;
}

static bool in_shift(const struct an_period_data *data, const struct an_file *file)
{
    return file->first_us != AN_NO_INSTANT && file->last_us != AN_NO_INSTANT &&
           file->first_us < data->now.until_us && file->last_us >= data->now.from_us;
}

/* The first row held for this reason in a file of this shift; else the first of all. */
static const char *first_example(struct an_gather *gather, const struct an_held_count *count,
                                 const struct an_file *files, size_t file_count, enum an_status *st)
{
    struct an_held *rows = NULL;
    size_t found = 0;
    for (size_t i = 0; i < file_count && !found; i++) {
        const struct an_file *file = &files[i];
        if (!file->held || !in_shift(gather->data, file) || !file->station || !count->station ||
            strcmp(file->station, count->station) != 0) {
            continue;
        }
        *st = an_store_held(gather->store, count->station, count->code, file->file_id, 1,
                            gather->arena, &rows, &found, gather->err);
        if (*st) {
            return NULL;
        }
    }
    if (!found) {
        *st = an_store_held(gather->store, count->station, count->code, 0, 1, gather->arena, &rows,
                            &found, gather->err);
    }
    if (*st || !found) {
        return NULL;
    }
    return an_arena_printf(gather->arena, "%s line %" PRIu64 ": %s",
                           rows[0].file_name ? rows[0].file_name : "a file", rows[0].line,
                           rows[0].why ? rows[0].why : rows[0].code);
}

static enum an_status list_held(struct an_gather *gather, const struct an_file *files,
                                size_t file_count)
{
    struct an_period_data *data = gather->data;
    struct an_held_count *counts = NULL;
    size_t count = 0;
    enum an_status st = an_store_held_counts(gather->store, data->now.from_us, data->now.until_us,
                                             gather->arena, &counts, &count, gather->err);
    if (st) {
        return st;
    }
    data->held = an_arena_alloc(gather->arena, count ? count : 1, sizeof *data->held);
    if (!data->held) {
        return no_memory(gather);
    }
    for (size_t i = 0; i < count; i++) {
        data->held[i] = (struct an_held_reason){
            .station = counts[i].station ? counts[i].station : "no station",
            .code = counts[i].code,
            .rows = counts[i].rows,
            .files = counts[i].files,
            .example = first_example(gather, &counts[i], files, file_count, &st),
            .advice =
                gather->options->held_advice ? gather->options->held_advice(counts[i].code) : NULL};
        if (st) {
            return st;
        }
    }
    data->held_count = count;
    return AN_OK;
}

/* A held file has no event times when no row of it could be read: then it stands in every report
 * made after it was held, because nobody can say to which shift it belongs. */
static bool belongs(const struct an_period_data *data, const struct an_file *file)
{
    return file->state == AN_FILE_HELD && (file->first_us == AN_NO_INSTANT ||
                                           file->last_us == AN_NO_INSTANT || in_shift(data, file));
}

static enum an_status list_held_files(struct an_gather *gather, const struct an_file *files,
                                      size_t count)
{
    struct an_period_data *data = gather->data;
    data->held_files = an_arena_alloc(gather->arena, count ? count : 1, sizeof *data->held_files);
    if (!data->held_files) {
        return no_memory(gather);
    }
    for (size_t i = count; i-- > 0;) {
        if (!belongs(data, &files[i])) {
            continue;
        }
        if (data->held_file_count < MOST_HELD_FILES) {
            data->held_files[data->held_file_count++] = files[i];
        } else {
            data->held_files_more++;
        }
    }
    return AN_OK;
}

/* ---- what was noted about files that were taken ------------------------------------------------ */
struct noting {
    struct an_gather *gather;
    size_t room; /* of the list of notes */
};

/* The text of the file's note with that code, or NULL: notes are [{"code":...,"text":...}, ...]. */
static const char *text_of_note(struct an_arena *arena, const char *notes, const char *code)
{
    static const char before[] = "\"text\":\"";
    const char *quoted = an_arena_printf(arena, "\"code\":\"%s\"", code);
    const char *at = quoted && notes ? strstr(notes, quoted) : NULL;
    at = at ? strstr(at, before) : NULL;
    if (!at) {
        return NULL;
    }
    at += strlen(before);
    char *text = an_arena_copy(arena, at, strlen(at));
    char *to = text;
    for (const char *from = text; text && *from && *from != '"'; from++) {
        from += from[0] == '\\' && (from[1] == '"' || from[1] == '\\');
        *to++ = *from;
    }
    if (text) {
        *to = '\0';
    }
    return text;
}

/* Files of a day mostly say the same, one after the other: a text that is there is not told again. */
static bool add_noted(struct noting *noting, const char *text)
{
    struct an_text_list *noted = &noting->gather->data->noted;
    for (size_t i = noted->count; i-- > 0;) {
        if (strcmp(noted->at[i], text) == 0) {
            return true;
        }
    }
    return an_list_add(noted, &noting->room, noting->gather->arena, text);
}

/* Corrections in force that change samples of the period, and other ones recorded in it. */
static enum an_status list_corrections(struct noting *noting)
{
    struct an_gather *gather = noting->gather;
    struct an_period_data *data = gather->data;
    struct an_correction *all = NULL;
    size_t count = 0;
    enum an_status st =
        an_store_corrections(gather->store, gather->arena, &all, &count, gather->err);

    for (size_t i = 0; !st && i < count; i++) {
        const struct an_correction *c = &all[i];
        const char *said = NULL;
        int64_t samples = 0;

        if (c->undone_by || c->kind == AN_CORRECT_UNDO) {
            continue;
        }
        st = an_store_corrected_between(gather->store, c->correction_id, data->now.from_us,
                                        data->now.until_us, &samples, gather->err);
        if (!st && samples) {
            said = an_arena_printf(
                gather->arena, "Correction %" PRId64 " by %s, %" PRId64 " sample%s: %s: %s",
                c->correction_id, c->author, samples, samples == 1 ? "" : "s", c->before, c->after);
        } else if (!st && (c->kind == AN_CORRECT_SERIAL || c->kind == AN_CORRECT_PARENT) &&
                   c->known_us >= data->now.from_us && c->known_us < data->now.until_us) {
            said = an_arena_printf(gather->arena, "Correction %" PRId64 " by %s: %s is %s",
                                   c->correction_id, c->author, c->before, c->after);
        } else {
            continue;
        }
        if (!st && (!said || !add_noted(noting, said))) {
            return no_memory(gather);
        }
    }
    return st;
}

static enum an_status list_noted(struct an_gather *gather, const struct an_file *files,
                                 size_t file_count)
{
    static const char *const codes[] = {"gauge.due", "values.pinned", "late.evidence"};
    struct an_period_data *data = gather->data;
    struct an_missing_file *missing = NULL;
    size_t count = 0;
    struct noting noting = {.gather = gather};
    enum an_status st = list_corrections(&noting); /* first: a page may not have room for all */
    if (st) {
        return st;
    }
    for (size_t i = 0; i < file_count; i++) {
        for (size_t k = 0; in_shift(data, &files[i]) && k < sizeof codes / sizeof codes[0]; k++) {
            const char *text = text_of_note(gather->arena, files[i].notes, codes[k]);
            const char *said =
                text ? an_arena_printf(gather->arena, "%s: %s", files[i].station, text) : NULL;
            if (text && (!said || !add_noted(&noting, said))) {
                return no_memory(gather);
            }
        }
    }
    st = an_store_missing_files(gather->store, NULL, gather->arena, &missing, &count, gather->err);
    if (!st && count) {
        const char *said = an_arena_printf(
            gather->arena, "%s: file number %" PRId64 " never came%s", missing[0].station,
            missing[0].number,
            count > 1 ? an_arena_printf(gather->arena, ", and %zu more of all stations", count - 1)
                      : "");
        if (!said || !add_noted(&noting, said)) {
            return no_memory(gather);
        }
    }
    return st;
}

enum an_status an_gather_intake(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    struct an_station_traffic *traffic = NULL;
    size_t count = 0;
    enum an_status st = an_store_traffic(gather->store, data->now.from_us, data->now.until_us,
                                         gather->arena, &traffic, &count, gather->err);
    if (!st) {
        st = list_stations(gather, traffic, count);
    }
    struct an_file *files = NULL;
    size_t file_count = 0;
    if (!st) {
        st = an_store_files(gather->store, AN_NO_INSTANT, AN_NO_INSTANT, gather->arena, &files,
                            &file_count, gather->err);
    }
    if (!st) {
        st = list_held(gather, files, file_count);
    }
    if (!st) {
        st = list_held_files(gather, files, file_count);
    }
    if (!st) {
        st = list_noted(gather, files, file_count);
    }
    return st;
}
