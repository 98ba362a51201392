/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reads a report definition with libfyaml: what it is of, and the keys of the whole. Responsible for
 * telling every mistake with its place; never draws and never reads the store.
 */
#include "report/definition_reading.h"

#include <string.h>

extern const unsigned char an_report_file_shift[];
extern const unsigned char an_report_file_shift_end[];

extern const unsigned char an_report_file_week[];
extern const unsigned char an_report_file_week_end[];

extern const unsigned char an_report_file_wall[];
extern const unsigned char an_report_file_wall_end[];

extern const unsigned char an_report_file_batch[];
extern const unsigned char an_report_file_batch_end[];

extern const unsigned char an_report_file_tile[];
extern const unsigned char an_report_file_tile_end[];

/* What each report is called, and what it is if nothing is said. */
static const struct known_report {
    const char *word, *name, *title;
    unsigned bit;
    const unsigned char *own, *own_end;
} known_reports[AN_REPORT_KIND_COUNT] = {
    [AN_REPORT_SHIFT] = {"shift", "reports/shift.yaml", "Shift report", AN_OF_SHIFT,
                         an_report_file_shift, an_report_file_shift_end},
    [AN_REPORT_WEEK] = {"week", "reports/week.yaml", "Week report", AN_OF_WEEK, an_report_file_week,
                        an_report_file_week_end},
    [AN_REPORT_WALL] = {"wall", "reports/wall.yaml", "Wall report", AN_OF_WALL, an_report_file_wall,
                        an_report_file_wall_end},
    [AN_REPORT_BATCH] = {"batch", "reports/batch.yaml", "Batch report", AN_OF_BATCH,
                         an_report_file_batch, an_report_file_batch_end},
    [AN_REPORT_TILE] = {"tile", "reports/tile.yaml", "Tile report", AN_OF_TILE, an_report_file_tile,
                        an_report_file_tile_end}};

const char *an_report_definition_name(enum an_report_kind kind)
{
    return known_reports[kind < AN_REPORT_KIND_COUNT ? kind : AN_REPORT_SHIFT].name;
}

const char *an_report_word(enum an_report_kind kind)
{
    return known_reports[kind < AN_REPORT_KIND_COUNT ? kind : AN_REPORT_SHIFT].word;
}

struct an_bytes an_report_definition_own(enum an_report_kind kind)
{
    const struct known_report *report =
        &known_reports[kind < AN_REPORT_KIND_COUNT ? kind : AN_REPORT_SHIFT];
    return (struct an_bytes){report->own, (size_t)(report->own_end - report->own)};
}

static bool take_tile(struct an_definition_reader *reader, const char *key,
                      struct fy_node *key_node, struct fy_node *value, void *into)
{
    struct an_tile_told *tile = into;
    const struct {
        const char *key;
        double *at;
    } keys[] = {{"pixels_across", &tile->pixels_across},
                {"pixels_down", &tile->pixels_down},
                {"colours", &tile->colours},
                {"pitch_mm", &tile->pitch_mm},
                {"emitter_long_um", &tile->emitter_long_um},
                {"emitter_wide_um", &tile->emitter_wide_um}};
    (void)key_node;
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        if (!strcmp(key, keys[i].key)) {
            *keys[i].at = i < 3 ? (double)an_definition_whole(reader, value, key, 1, 1000000)
                                : an_definition_number(reader, value, key);
            return true;
        }
    }
    return false;
}

/* Keys of reports on one item. */
static bool take_item_report(struct an_definition_reader *reader, const char *key,
                             struct fy_node *value, struct an_report_definition *definition)
{
    const struct {
        const char *key;
        const char **at;
    } texts[] = {{"picture", &definition->picture},
                 {"seam_right", &definition->seam_right},
                 {"seam_below", &definition->seam_below},
                 {"repair", &definition->repair}};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        if (!strcmp(key, texts[i].key)) {
            *texts[i].at = an_definition_text(reader, value, key);
            return true;
        }
    }
    if (!strcmp(key, "average")) {
        definition->average = an_definition_whole(reader, value, key, 2, 10000);
    } else if (!strcmp(key, "tile")) {
        an_definition_mapping(reader, value, "'tile'",
                              "pixels_across, pixels_down, colours, pitch_mm, emitter_long_um, "
                              "emitter_wide_um",
                              take_tile, &definition->tile);
    } else {
        return false;
    }
    return true;
}

static bool take_report(struct an_definition_reader *reader, const char *key,
                        struct fy_node *key_node, struct fy_node *value, void *into)
{
    (void)key_node;
    struct an_report_definition *definition = into;
    if (!strcmp(key, "report")) {
        (void)value; /* was read before anything else: it tells which words there are */
    } else if (!strcmp(key, "title")) {
        definition->title = an_definition_text(reader, value, key);
    } else if (!strcmp(key, "pages")) {
        an_definition_sequence(reader, value, key, AN_PAGE_KIND_COUNT, an_definition_page,
                               definition);
    } else if (known_reports[reader->kind].bit & AN_OF_ITEM) {
        return take_item_report(reader, key, value, definition);
    } else if (!strcmp(key, "context")) {
        definition->context = an_definition_whole(reader, value, key, 0, 1000);
    } else if (!strcmp(key, "days_before")) {
        definition->days_before = an_definition_whole(reader, value, key, 1, 31);
    } else if (!strcmp(key, "few_samples")) {
        definition->few_samples = an_definition_whole(reader, value, key, 2, 1000);
    } else {
        return false;
    }
    return true;
}

/* Which report this is about, before anything else is read; a shift if it does not say. */
static void read_kind(struct an_definition_reader *reader, struct fy_node *root)
{
    struct an_known_word reports[AN_REPORT_KIND_COUNT];
    for (size_t i = 0; i < AN_REPORT_KIND_COUNT; i++) {
        reports[i] =
            (struct an_known_word){known_reports[i].word, NULL, AN_OF_PERIOD | AN_OF_ITEM, false};
    }
    void *at = NULL;
    if (fy_node_get_type(root) != FYNT_MAPPING) {
        return;
    }
    for (struct fy_node_pair *pair = fy_node_mapping_iterate(root, &at); pair && !reader->st;
         pair = fy_node_mapping_iterate(root, &at)) {
        size_t length = 0;
        const char *key = fy_node_get_scalar(fy_node_pair_key(pair), &length);
        if (key && length == 6 && !memcmp(key, "report", 6)) {
            const size_t kind = an_definition_word(reader, fy_node_pair_value(pair), "report",
                                                   reports, AN_REPORT_KIND_COUNT);
            reader->kind =
                kind < AN_REPORT_KIND_COUNT ? (enum an_report_kind)kind : AN_REPORT_SHIFT;
            reader->here = known_reports[reader->kind].bit;
        }
    }
}

/* What the YAML parser itself could not read, with its place. */
static void syntax_mistake(struct an_definition_reader *reader, struct fy_diag *diag)
{
    void *at = NULL;
    const struct fy_diag_error *error = fy_diag_errors_iterate(diag, &at);
    const unsigned line = error && error->line >= 0 ? (unsigned)error->line + 1 : 1;
    const unsigned column = error && error->column >= 0 ? (unsigned)error->column + 1 : 1;
    reader->st =
        an_fail_at(reader->err, AN_BAD_CONFIG, line, column,
                   "%s:%u:%u: this is not YAML: %s; compare with reports/shift.yaml", reader->name,
                   line, column, error && error->msg ? error->msg : "the text is empty");
}

/* What must hold before libfyaml sees the bytes: it can go round for ever in broken UTF-8. */
static bool is_text(struct an_definition_reader *reader, struct an_bytes yaml)
{
    size_t good = yaml.length ? an_utf8_check(yaml) : 0;
    const unsigned char *nul = good ? memchr(yaml.at, 0, good) : NULL;
    if (nul) {
        good = (size_t)(nul - yaml.at);
    }
    if (good == yaml.length) {
        return true;
    }
    unsigned line = 1;
    unsigned column = 1;
    for (size_t i = 0; i < good; i++) {
        line += yaml.at[i] == '\n';
        column = yaml.at[i] == '\n' ? 1 : column + ((yaml.at[i] & 0xC0) != 0x80);
    }
    reader->st = an_fail_at(reader->err, AN_BAD_CONFIG, line, column,
                            "%s:%u:%u: byte \\x%02X is not text in UTF-8; save the file in UTF-8",
                            reader->name, line, column, (unsigned)yaml.at[good]);
    return false;
}

enum an_status an_report_definition_read(struct an_bytes yaml, const char *name,
                                         struct an_arena *arena,
                                         struct an_report_definition *definition,
                                         struct an_error *err)
{
    struct an_definition_reader reader = {
        .here = AN_OF_SHIFT, .name = name ? name : "definition", .arena = arena, .err = err};
    struct an_report_definition read = {.title = "Shift report",
                                        .context = 60,
                                        .days_before = 1,
                                        .few_samples = 25,
                                        .average = 200};
    struct fy_diag_cfg diag_cfg;
    if (!is_text(&reader, yaml)) {
        return reader.st;
    }
    fy_diag_cfg_default(&diag_cfg);
    diag_cfg.fp = NULL;
    struct fy_diag *diag = fy_diag_create(&diag_cfg);
    struct fy_document *document = NULL;
    if (!diag) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    fy_diag_set_collect_errors(diag, true);
    const struct fy_parse_cfg cfg = {.flags = FYPCF_QUIET | FYPCF_RESOLVE_DOCUMENT, .diag = diag};
    document = fy_document_build_from_string(&cfg, (const char *)yaml.at, yaml.length);
    struct fy_node *root = document ? fy_document_root(document) : NULL;
    if (!root) {
        syntax_mistake(&reader, diag);
    } else {
        read_kind(&reader, root);
        read.kind = reader.kind;
        read.title = known_reports[reader.kind].title;
        read.days_before = reader.kind == AN_REPORT_WEEK ? 7 : 1;
        an_definition_mapping(
            &reader, root, "a report definition",
            known_reports[reader.kind].bit & AN_OF_ITEM
                ? "report, title, picture, seam_right, seam_below, repair, average, tile, "
                  "pages"
                : "report, title, context, days_before, few_samples, pages",
            take_report, &read);
        if (!reader.st && !read.page_count) {
            an_definition_mistake(&reader, root,
                                  "there are no pages; it should have 'pages:' with one or more");
        }
    }
    fy_document_destroy(document);
    fy_diag_destroy(diag);
    if (!reader.st) {
        *definition = read;
    }
    return reader.st;
}
