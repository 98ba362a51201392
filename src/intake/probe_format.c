/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Findings about the files as such: delimiter, encoding, lines around the table, columns, and what
 * differs between files. Must never pass over a difference: what does not fit the file that most are
 * like is told, with the file's name.
 */
#include "intake/probe_inner.h"

#include <string.h>

#define LLU(n) ((unsigned long long)(n))

/* ---- what differs between files --------------------------------------------------------------- */
static void differ_names(struct an_probe_state *probe, const struct an_probe_file *file)
{
    const struct an_probe_layout *a = &probe->model->layout;
    const struct an_probe_layout *b = &file->layout;
    size_t common = 0;

    for (size_t i = 0; i < b->names_count; i++) {
        bool known = false;
        for (size_t k = 0; k < a->names_count; k++) {
            known = known || an_bytes_equal(b->names[i], a->names[k]);
        }
        common += known;
        if (!known) {
            an_probe_remark(probe, "%s has a column \"%.*s\" that %s has not", file->name,
                            (int)b->names[i].length, (const char *)b->names[i].at,
                            probe->model->name);
        }
    }
    for (size_t k = 0; k < a->names_count; k++) {
        bool known = false;
        for (size_t i = 0; i < b->names_count; i++) {
            known = known || an_bytes_equal(b->names[i], a->names[k]);
        }
        if (!known) {
            an_probe_remark(probe, "%s has no column \"%s\"", file->name,
                            (const char *)a->names[k].at);
        }
    }
    bool order = common == a->names_count && common == b->names_count;
    for (size_t i = 0; order && i < common; i++) {
        if (!an_bytes_equal(a->names[i], b->names[i])) {
            an_probe_remark(
                probe,
                "%s has the columns in another order than %s (from \"%s\" on); they are "
                "found by name",
                file->name, probe->model->name, (const char *)b->names[i].at);
            order = false;
        }
    }
}

static void differ_units(struct an_probe_state *probe, const struct an_probe_file *file)
{
    const struct an_probe_layout *a = &probe->model->layout;
    const struct an_probe_layout *b = &file->layout;

    if (a->units_row != b->units_row) {
        an_probe_remark(probe, "%s has %s row of units, %s has %s: one of them will be held",
                        file->name, b->units_row ? "a" : "no", probe->model->name,
                        a->units_row ? "one" : "none");
        return;
    }
    for (size_t i = 0; b->units && i < b->columns; i++) {
        const struct an_probe_column *c = &probe->columns[file->column_of[i]];
        if (b->units[i].length && c->unit && !an_bytes_are(b->units[i], c->unit)) {
            an_probe_remark(probe, "%s has \"%s\" in %.*s where %s has it in %s", file->name,
                            c->name, (int)b->units[i].length, (const char *)b->units[i].at,
                            probe->model->name, c->unit);
        }
    }
}

static void differ_rows(struct an_probe_state *probe, const struct an_probe_file *file)
{
    if (file->odd_rows) {
        const char *first =
            file->odd_line ? an_probe_sayf(probe, ", the first in line %llu", LLU(file->odd_line))
                           : "";
        an_probe_remark(
            probe,
            "%llu of %llu rows of %s do not have %zu fields%s: cut rows, quotes, or the "
            "delimiter within fields; they will be held",
            LLU(file->odd_rows), LLU(file->rows), file->name, file->layout.columns, first);
    }
    if (file->stopped) {
        an_probe_remark(probe,
                        "%s holds a byte that no known encoding has; what follows it was not read",
                        file->name);
    }
    for (size_t i = 0; i < file->layout.names_count; i++) {
        for (size_t k = 0; k < i; k++) {
            if (an_bytes_equal(file->layout.names[i], file->layout.names[k])) {
                an_probe_remark(probe, "%s has the column \"%s\" twice: such a file is held",
                                file->name, (const char *)file->layout.names[i].at);
            }
        }
    }
}

void an_probe_differences(struct an_probe_state *probe)
{
    for (size_t i = 0; i < probe->file_count; i++) {
        const struct an_probe_file *file = &probe->files[i];
        const struct an_probe_layout *a = &probe->model->layout;
        if (file->passed_over) {
            an_probe_remark(probe, "passed over: %s has the delimiter %s where %s has %s",
                            file->name, an_probe_delimiter_name(file->layout.delimiter),
                            probe->model->name, an_probe_delimiter_name(a->delimiter));
            continue;
        }
        differ_rows(probe, file);
        if (file == probe->model) {
            continue;
        }
        differ_names(probe, file);
        differ_units(probe, file);
        if (file->layout.preamble != a->preamble) {
            an_probe_remark(probe, "%s has %llu lines before the header, %s has %llu", file->name,
                            LLU(file->layout.preamble), probe->model->name, LLU(a->preamble));
        }
        if (file->coding != probe->model->coding) {
            an_probe_remark(probe, "%s is in another encoding than %s", file->name,
                            probe->model->name);
        }
    }
}

/* ---- format ----------------------------------------------------------------------------------- */
static void say_files(struct an_probe_state *probe)
{
    const char *dot = strrchr(probe->model->name, '.');
    size_t same = 0;
    for (size_t i = 0; i < probe->file_count; i++) {
        const char *other = strrchr(probe->files[i].name, '.');
        same += dot && other && strcmp(dot, other) == 0;
    }
    if (dot && strcmp(dot, ".csv") == 0 && same == probe->file_count) {
        return;
    }
    const char *pattern = an_probe_quoted(probe, an_probe_sayf(probe, "*%s", dot ? dot : ""));
    struct an_probe_finding *finding =
        an_probe_find(probe, "files", true, pattern,
                      an_probe_sayf(probe, "%zu of %zu file names end so",
                                    dot ? same : probe->file_count, probe->file_count));
    if (same < probe->file_count && dot) {
        an_probe_doubt(probe, finding, "the others would not be collected");
    }
}

static void say_encoding(struct an_probe_state *probe)
{
    const struct an_probe_file *model = probe->model;
    uint64_t high = 0;
    uint64_t broken = 0;
    uint64_t c1 = 0;

    for (size_t i = 0; i < probe->file_count; i++) {
        high += probe->files[i].high;
        broken += probe->files[i].broken;
        c1 += probe->files[i].c1;
    }
    if (model->coding == AN_CODING_16LE || model->coding == AN_CODING_16BE) {
        (void)an_probe_find(probe, "format.encoding", true, "utf-16",
                            an_probe_sayf(probe, "by its mark: %s", model->mark));
        return;
    }
    if (model->coding == AN_CODING_1252) {
        struct an_probe_finding *finding = an_probe_find(
            probe, "format.encoding", true, "windows-1252",
            an_probe_sayf(probe, "%llu bytes that are no UTF-8, %llu of them 80 to 9F", LLU(broken),
                          LLU(c1)));
        an_probe_doubt(
            probe, finding,
            c1 ? "another single-byte encoding would look the same; see that units and names "
                 "read right"
               : "latin-1 would read the same bytes the same way; another single-byte encoding "
                 "would look alike: see that units and names read right");
        return;
    }
    struct an_probe_finding *finding = an_probe_find(
        probe, "format.encoding", true, "utf-8",
        model->mark ? "by its mark"
        : high      ? an_probe_sayf(probe, "%llu characters beyond ASCII, well-formed", LLU(high))
                    : "ASCII only, which utf-8 and the single-byte encodings share");
    if (broken) {
        an_probe_doubt(probe, finding, "%llu bytes are no UTF-8; their rows will be held",
                       LLU(broken));
    }
}

static void say_ends(struct an_probe_state *probe)
{
    uint64_t equal = 0;
    uint64_t whole = 0;
    uint64_t without = 0;
    const char *first = NULL;
    const char *last = NULL;

    if (!probe->footer_regex && !probe->end_marker) {
        return;
    }
    for (size_t i = 0; i < probe->file_count; i++) {
        const struct an_probe_file *file = &probe->files[i];
        const char *line = file->layout.last_line;
        last = line ? line : last;
        if (!line && file->chunks[file->chunk_count - 1].is_end) {
            without++;
            first = first ? first : file->name;
        } else if (line && file->whole && probe->footer_regex) {
            size_t digits = strlen(line);
            while (digits && !(line[digits - 1] >= '0' && line[digits - 1] <= '9')) {
                digits--;
            }
            size_t from = digits;
            while (from && line[from - 1] >= '0' && line[from - 1] <= '9') {
                from--;
            }
            int64_t rows = -1;
            whole++;
            equal += an_integer_parse(
                         (struct an_bytes){(const unsigned char *)line + from, digits - from},
                         &rows) == AN_OK &&
                     rows == (int64_t)file->rows;
        }
    }
    struct an_probe_finding *finding;
    if (probe->footer_regex) {
        const bool counts = whole > 0 && equal * 2 > whole;
        finding = an_probe_find(
            probe, "format.footer", counts, an_probe_quoted(probe, probe->footer_regex),
            an_probe_sayf(
                probe,
                "the last line, as in \"%s\"; its number is that of the rows in %llu of %llu files read whole",
                last, LLU(equal), LLU(whole)));
        if (whole == 0) {
            an_probe_doubt(probe, finding,
                           "no file was read whole, so its number was not compared with the rows");
        } else if (!counts) {
            an_probe_doubt(probe, finding,
                           "its number is not that of the rows, so it is not taken as a footer; "
                           "such a line will be held as a row");
        } else if (equal < whole) {
            an_probe_doubt(probe, finding,
                           "%llu files have another number of rows: they will be held",
                           LLU(whole - equal));
        }
    } else {
        finding = an_probe_find(probe, "format.end_marker", true,
                                an_probe_quoted(probe, probe->end_marker), "the last line");
    }
    if (without) {
        an_probe_doubt(probe, finding, "%llu of %zu files end without it (%s): they will be held",
                       LLU(without), probe->file_count, first);
    }
}

/* ---- columns ---------------------------------------------------------------------------- */
static void say_columns(struct an_probe_state *probe)
{
    struct an_text list = {0};
    bool nameless = false;
    const struct an_probe_layout *layout = &probe->model->layout;
    for (size_t i = 0; i < layout->names_count; i++) {
        if (!layout->names[i].length) {
            nameless = true;
            continue;
        }
        an_text_add(&list, list.length ? ", " : "[");
        an_text_add(&list, an_probe_quoted(probe, (const char *)layout->names[i].at));
    }
    an_text_add_char(&list, ']');
    const char *value = an_arena_copy(probe->arena, an_text_of(&list), list.length);
    const char *twice = NULL;
    for (size_t i = 0; i < layout->names_count; i++) {
        for (size_t k = 0; k < i; k++) {
            twice = an_bytes_equal(layout->names[i], layout->names[k])
                        ? (const char *)layout->names[i].at
                        : twice;
        }
    }
    probe->no_memory = probe->no_memory || list.failed || !value;
    struct an_probe_finding *finding =
        an_probe_find(probe, "columns", !twice && !nameless, value ? value : "", NULL);
    if (twice) {
        finding->needed = true;
        an_probe_doubt(
            probe, finding,
            "\"%s\" stands twice, and columns are found by name: let the station name them apart",
            twice);
    }
    if (nameless) {
        an_probe_doubt(probe, finding, "a column has no name in the header, and is not used");
    }
    an_text_free(&list);
}

void an_probe_format(struct an_probe_state *probe)
{
    const struct an_probe_layout *layout = &probe->model->layout;
    uint64_t rows = 0;
    uint64_t odd = 0;

    say_files(probe);
    for (size_t i = 0; i < probe->file_count; i++) {
        rows += probe->files[i].rows;
        odd += probe->files[i].odd_rows;
    }
    struct an_probe_finding *finding = an_probe_find(
        probe, "format.delimiter", true, an_probe_delimiter_name(layout->delimiter),
        layout->columns == 1 ? "one column only, so the delimiter does not show"
                             : an_probe_sayf(probe, "%llu of %llu rows have %zu fields by it",
                                             LLU(rows - odd), LLU(rows), layout->columns));
    if (layout->second && layout->columns > 1) {
        an_probe_doubt(probe, finding, "%s parts the rows nearly as well",
                       an_probe_delimiter_name(layout->second));
    }
    say_encoding(probe);
    if (layout->comment && layout->comments) {
        (void)an_probe_find(
            probe, "format.comment", true, an_probe_quoted(probe, layout->comment),
            an_probe_sayf(probe, "%llu lines before the header begin so", LLU(layout->comments)));
    }
    if (layout->preamble) {
        (void)an_probe_find(
            probe, "format.preamble_lines", true,
            an_probe_sayf(probe, "%llu", LLU(layout->preamble)),
            an_probe_sayf(probe, "the header is line %llu", LLU(layout->header_line)));
    }
    if (layout->units_row) {
        (void)an_probe_find(probe, "format.units_row", true, "yes",
                            an_probe_sayf(probe, "the row below the header holds units (%zu known)",
                                          layout->units_known));
    }
    say_ends(probe);
    say_columns(probe);
}
