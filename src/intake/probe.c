/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The probe's course: samples, layouts, what is common to the files, columns, findings. Must never
 * write anywhere, and must never let one file's damage settle what the others say.
 */
#include "intake/probe.h"

#include "intake/probe_inner.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* ---- texts and findings ----------------------------------------------------------------------- */
const char *an_probe_sayf(struct an_probe_state *probe, const char *format, ...)
{
    char text[1500];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    /* a text that was cut is cut between characters */
    const struct an_bytes whole = an_bytes_of(text);
    const size_t length = whole.length + 1 == sizeof text ? an_utf8_check(whole) : whole.length;
    const char *copy = an_arena_copy(probe->arena, text, length);
    probe->no_memory = probe->no_memory || !copy;
    return copy ? copy : "";
}

const char *an_probe_quoted(struct an_probe_state *probe, const char *text)
{
    static const char *const taken[] = {"yes", "no",   "true", "false", "on",
                                        "off", "null", "y",    "n",     "~"};
    bool plain = an_probe_is_name(text);
    for (size_t i = 0; i < sizeof taken / sizeof *taken; i++) {
        plain = plain && !an_bytes_are_nocase(an_bytes_of(text), taken[i]);
    }
    if (plain) {
        return an_probe_sayf(probe, "%s", text);
    }
    struct an_text out = {0};
    const bool utf8 = an_utf8_check(an_bytes_of(text)) == strlen(text);
    an_text_add_char(&out, '"');
    for (const char *p = text; *p; p++) {
        const unsigned char c = (unsigned char)*p;
        if (c == '"' || c == '\\') {
            an_text_addf(&out, "\\%c", c);
        } else if (c < 0x20 || c == 0x7F) {
            an_text_addf(&out, "\\x%02X", c);
        } else if (c >= 0x80 && !utf8) {
            an_text_add_char(&out, '?'); /* of a file's name */
        } else {
            an_text_add_char(&out, *p);
        }
    }
    an_text_add_char(&out, '"');
    const char *copy = an_probe_sayf(probe, "%s", an_text_of(&out));
    an_text_free(&out);
    return copy;
}

const char *an_probe_where(struct an_probe_state *probe, size_t file, uint64_t line)
{
    const char *name = probe->files[file].name;
    return line ? an_probe_sayf(probe, "line %llu of %s", (unsigned long long)line, name)
                : an_probe_sayf(probe, "a row of %s", name);
}

struct an_probe_column *an_probe_column_of(struct an_probe_state *probe, enum an_probe_role role)
{
    for (size_t i = 0; i < probe->column_count; i++) {
        if (probe->columns[i].role == role) {
            return &probe->columns[i];
        }
    }
    return NULL;
}

static struct an_probe_finding no_finding; /* written to when memory is out, never read */

struct an_probe_finding *an_probe_find(struct an_probe_state *probe, const char *path,
                                       bool proposed, const char *value, const char *evidence)
{
    void *array = probe->findings;
    if (!an_grow(&array, probe->finding_count, &probe->finding_room, sizeof *probe->findings)) {
        probe->no_memory = true;
        return &no_finding;
    }
    probe->findings = array;
    struct an_probe_finding *finding = &probe->findings[probe->finding_count++];
    *finding = (struct an_probe_finding){
        .path = path, .value = value, .proposed = proposed, .evidence = evidence};
    return finding;
}

/* Adds a text to an array of the arena's; such arrays are short. */
static void add_text(struct an_probe_state *probe, const char ***texts, size_t *count,
                     const char *text)
{
    const char **more = an_arena_alloc(probe->arena, *count + 1, sizeof *more);
    if (!more) {
        probe->no_memory = true;
        return;
    }
    if (*count) {
        memcpy(more, *texts, *count * sizeof *more);
    }
    more[(*count)++] = text;
    *texts = more;
}

void an_probe_doubt(struct an_probe_state *probe, struct an_probe_finding *finding,
                    const char *format, ...)
{
    char text[1200];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    add_text(probe, &finding->doubts, &finding->doubt_count, an_probe_sayf(probe, "%s", text));
}

void an_probe_remark(struct an_probe_state *probe, const char *format, ...)
{
    char text[1200];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    add_text(probe, &probe->result->remarks, &probe->result->remark_count,
             an_probe_sayf(probe, "%s", text));
}

/* ---- files ------------------------------------------------------------------------------------ */
static enum an_status sample_one(struct an_probe_state *probe, const char *path, size_t budget,
                                 struct an_error *err)
{
    struct an_probe_file *file = &probe->files[probe->file_count];
    const char *why = NULL;

    enum an_status st = an_probe_sample(probe, path, budget, file, err);
    if (!st && !an_probe_layout_of(probe, file, &why)) {
        st = probe->no_memory ? an_fail(err, AN_NO_MEMORY, "out of memory")
                              : an_fail(err, AN_BAD_INPUT, "\"%s\": %s", path, why);
        an_probe_file_close(file);
    }
    if (!st) {
        probe->file_count++;
    } else if (st == AN_BAD_INPUT) {
        an_probe_remark(probe, "passed over: %s", err->text);
        probe->result->passed_over = true;
    }
    return st;
}

static enum an_status sample_all(struct an_probe_state *probe, const char *const *paths,
                                 size_t count, struct an_error *err)
{
    const size_t looks = count < AN_PROBE_FILES ? count : AN_PROBE_FILES;
    size_t budget = AN_PROBE_BYTES / looks;
    enum an_status st = AN_OK;

    budget = budget > AN_PROBE_FILE_BYTES ? AN_PROBE_FILE_BYTES : budget;
    for (size_t i = 0; i < looks; i++) {
        const size_t at = looks > 1 ? i * (count - 1) / (looks - 1) : 0;
        st = sample_one(probe, paths[at], budget, err);
        if (st && st != AN_BAD_INPUT) {
            return st;
        }
    }
    if (!probe->file_count) {
        return st && looks == 1 ? st
                                : an_fail(err, AN_BAD_INPUT,
                                          "none of the %zu files can be used; the last one: %s",
                                          looks, an_probe_sayf(probe, "%s", err->text));
    }
    if (looks < count) {
        an_probe_remark(probe, "%zu files were named; %zu of them, evenly taken, were looked into",
                        count, looks);
    }
    return AN_OK;
}

static bool same_names(const struct an_probe_layout *a, const struct an_probe_layout *b)
{
    bool same = a->names_count == b->names_count;
    for (size_t i = 0; same && i < a->names_count; i++) {
        same = an_bytes_equal(a->names[i], b->names[i]);
    }
    return same;
}

static void choose_model(struct an_probe_state *probe)
{
    size_t best = 0;
    for (size_t i = 0; i < probe->file_count; i++) {
        const struct an_probe_layout *layout = &probe->files[i].layout;
        size_t same = 0;
        for (size_t k = 0; k < probe->file_count; k++) {
            const struct an_probe_layout *other = &probe->files[k].layout;
            same += layout->delimiter == other->delimiter && same_names(layout, other) &&
                    layout->units_row == other->units_row && layout->preamble == other->preamble;
        }
        if (same > best) {
            best = same;
            probe->model = &probe->files[i];
        }
    }
}

static size_t column_named(const struct an_probe_state *probe, struct an_bytes name)
{
    for (size_t i = 0; i < probe->column_count; i++) {
        if (an_bytes_are(name, probe->columns[i].name)) {
            return i;
        }
    }
    return AN_NONE;
}

/* Which columns there are, and which field of a file holds which. */
static void map_columns(struct an_probe_state *probe, struct an_probe_file *file)
{
    const struct an_probe_layout *layout = &file->layout;
    file->column_of = an_arena_alloc(probe->arena, layout->columns, sizeof *file->column_of);
    if (!file->column_of) {
        probe->no_memory = true;
        return;
    }
    for (size_t i = 0; i < layout->columns; i++) {
        size_t at = column_named(probe, layout->names[i]);
        for (size_t k = 0; k < i && at != AN_NONE; k++) {
            at = file->column_of[k] == at ? AN_NONE : at; /* a name that stands twice */
        }
        if (at == AN_NONE) {
            at = probe->column_count++;
            probe->columns[at].name = (const char *)layout->names[i].at;
        }
        struct an_probe_column *column = &probe->columns[at];
        if (!column->unit && layout->units && layout->units[i].length && file == probe->model) {
            column->unit = (const char *)layout->units[i].at;
        }
        file->column_of[i] = at;
    }
}

static void map_all(struct an_probe_state *probe)
{
    size_t most = 1;
    for (size_t i = 0; i < probe->file_count; i++) {
        most += probe->files[i].layout.columns;
    }
    probe->columns = an_alloc(most, sizeof *probe->columns);
    if (!probe->columns) {
        probe->no_memory = true;
        return;
    }
    map_columns(probe, probe->model);
    for (size_t i = 0; i < probe->file_count && !probe->no_memory; i++) {
        struct an_probe_file *file = &probe->files[i];
        if (file->layout.delimiter != probe->model->layout.delimiter) {
            file->passed_over = true;
            probe->result->passed_over = true;
        } else if (file != probe->model) {
            map_columns(probe, file);
        }
    }
}

/* ---- last lines ------------------------------------------------------------------------------- */
/* The line with its last number cut out: what is before it and behind it. */
static bool part_number(const char *line, size_t *from, size_t *until)
{
    size_t end = strlen(line);
    while (end && !(line[end - 1] >= '0' && line[end - 1] <= '9')) {
        end--;
    }
    size_t start = end;
    while (start && line[start - 1] >= '0' && line[start - 1] <= '9') {
        start--;
    }
    *from = start;
    *until = end;
    return end > 0;
}

static bool alike(const char *a, const char *b)
{
    size_t from[2] = {0};
    size_t until[2] = {0};
    const bool numbers = part_number(a, &from[0], &until[0]);
    if (numbers != part_number(b, &from[1], &until[1])) {
        return false;
    }
    return numbers ? from[0] == from[1] && strncmp(a, b, from[0]) == 0 &&
                         strcmp(a + until[0], b + until[1]) == 0
                   : strcmp(a, b) == 0;
}

static const char last_words[] = "rows row lines line records record count total zeilen n end eof "
                                 "sum anzahl ende righe fin footer done";

/* The last lines that most files share are a footer or an end marker; others are rows. */
static void find_footer(struct an_probe_state *probe)
{
    size_t ends = 0;
    size_t best = 0;
    const char *model = NULL;

    for (size_t i = 0; i < probe->file_count; i++) {
        struct an_probe_file *file = &probe->files[i];
        const char *line = file->layout.last_line;
        ends += file->chunks[file->chunk_count - 1].is_end;
        size_t same = 0;
        for (size_t k = 0; k < probe->file_count && line; k++) {
            const char *other = probe->files[k].layout.last_line;
            same += other && alike(line, other);
        }
        if (same > best) {
            best = same;
            model = line;
        }
    }
    const bool taken =
        model && best * 2 > ends && (an_probe_name_has(model, last_words) || best >= 3);
    size_t from = 0;
    size_t until = 0;
    if (taken && part_number(model, &from, &until)) {
        probe->footer_regex =
            an_probe_sayf(probe, "^%s([0-9]+)%s$", an_probe_regex_quote(probe->arena, model, from),
                          an_probe_regex_quote(probe->arena, model + until, strlen(model + until)));
    } else if (taken) {
        probe->end_marker = model;
    }
    for (size_t i = 0; i < probe->file_count; i++) {
        struct an_probe_layout *layout = &probe->files[i].layout;
        if (layout->last_line && (!taken || !alike(layout->last_line, model))) {
            layout->last_line = NULL;
        }
    }
}

/* ---- the whole -------------------------------------------------------------------------------- */
static const char *station_name(struct an_probe_state *probe)
{
    if (probe->options->name) {
        return probe->options->name;
    }
    const char *name = probe->model->name;
    size_t length = 0;
    while (name[length] && name[length] != '.' && !(name[length] >= '0' && name[length] <= '9')) {
        length++;
    }
    const char *copy = an_arena_copy(probe->arena, name, length);
    const char *made = copy ? an_probe_make_name(probe->arena, copy) : "x";
    return made && strcmp(made, "x") != 0 ? made : "station";
}

static void find_all(struct an_probe_state *probe)
{
    choose_model(probe);
    find_footer(probe);
    map_all(probe);
    if (!probe->no_memory) {
        an_probe_marks_find(probe);
        an_probe_columns_read(probe);
    }
    if (!probe->no_memory) {
        an_probe_times_find(probe);
        an_probe_roles_find(probe);
    }
    if (!probe->no_memory) {
        an_probe_differences(probe);
        an_probe_describe(probe);
        an_probe_charts(probe);
    }
}

static void fill_result(struct an_probe_state *probe)
{
    struct an_probe_result *result = probe->result;
    struct an_probe_finding *findings =
        an_arena_alloc(probe->arena, probe->finding_count + 1, sizeof *findings);
    struct an_probe_look *looks =
        an_arena_alloc(probe->arena, probe->file_count + 1, sizeof *looks);
    if (!findings || !looks) {
        probe->no_memory = true;
        return;
    }
    result->station = station_name(probe);
    result->complete = true;
    for (size_t i = 0; i < probe->finding_count; i++) {
        findings[i] = probe->findings[i];
        result->complete = result->complete && !findings[i].needed;
    }
    result->findings = findings;
    result->finding_count = probe->finding_count;
    for (size_t i = 0; i < probe->file_count; i++) {
        const struct an_probe_file *file = &probe->files[i];
        looks[i] = (struct an_probe_look){file->path, file->bytes, file->read, file->rows};
    }
    result->looks = looks;
    result->look_count = probe->file_count;
    result->given = probe->given;
}

enum an_status an_probe(const char *const *paths, size_t count,
                        const struct an_probe_options *options, struct an_arena *arena,
                        struct an_probe_result *result, struct an_error *err)
{
    struct an_probe_state probe = {
        .arena = arena, .options = options, .result = result, .given = count};
    const size_t looks = count < AN_PROBE_FILES ? count : AN_PROBE_FILES;

    memset(result, 0, sizeof *result);
    if ((options->name && !an_probe_is_name(options->name)) ||
        (options->kind && !an_probe_is_name(options->kind))) {
        return an_fail(err, AN_BAD_USAGE,
                       "'%s' is no name; letters, digits, '_' and '-', a letter first, at most 32",
                       options->name && !an_probe_is_name(options->name) ? options->name
                                                                         : options->kind);
    }
    enum an_status st = an_fields_open(&probe.fields, err);
    if (!st) {
        probe.files = an_alloc(looks + 1, sizeof *probe.files);
        st = probe.files ? sample_all(&probe, paths, count, err)
                         : an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    if (!st) {
        find_all(&probe);
        fill_result(&probe);
    }
    for (size_t i = 0; i < probe.file_count; i++) {
        an_probe_file_close(&probe.files[i]);
    }
    for (size_t i = 0; i < probe.column_count; i++) {
        an_names_close(probe.columns[i].words);
        an_free(probe.columns[i].of_word);
    }
    an_free(probe.columns);
    an_free(probe.files);
    an_free(probe.findings);
    an_fields_close(&probe.fields);
    if (!st && probe.no_memory) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory");
    } else if (!st && !probe.rows) {
        st = an_fail(err, AN_BAD_INPUT, "\"%s\": the file has a header and no rows below it",
                     paths[0]);
    }
    return st;
}
