/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reads a report definition with libfyaml. Responsible for telling every mistake with its place;
 * never draws and never reads the store. Its one hard idea: a mapping or sequence has no token of
 * its own, so its place is that of the first scalar inside it.
 */
#include "report/definition.h"

#include "andamento/base/number.h"
#include "andamento/base/text.h"

#include <libfyaml.h>
#include <stdarg.h>
#include <stdio.h>
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

/* The reports that know a word. */
enum { OF_SHIFT = 1, OF_WEEK = 2, OF_WALL = 4, OF_BATCH = 8, OF_TILE = 16 };
enum { OF_PERIOD = OF_SHIFT | OF_WEEK, OF_ITEM = OF_WALL | OF_BATCH | OF_TILE };

struct known_word {
    const char *word, *title;
    unsigned reports;
    bool has_most; /* a section that takes 'most' */
};
static const struct known_word page_words[AN_PAGE_KIND_COUNT] = {
    [AN_PAGE_FRONT] = {"front", "Page one", OF_PERIOD | OF_ITEM, false},
    [AN_PAGE_STREAMS] = {"streams", "Streams that signalled", OF_PERIOD, true},
    [AN_PAGE_QUIET] = {"quiet", "Quiet streams", OF_PERIOD, false},
    [AN_PAGE_INTAKE] = {"intake", "Intake health", OF_PERIOD, false},
    [AN_PAGE_CAPABILITY] = {"capability", "Stability and capability", OF_WEEK, false},
    [AN_PAGE_YIELD] = {"yield", "Yield and defects", OF_WEEK, false},
    [AN_PAGE_VALUES] = {"values", "Values and limits in force", OF_ITEM, false},
    [AN_PAGE_MADE_OF] = {"made_of", "Made of", OF_ITEM, false},
    [AN_PAGE_CARRIED] = {"carried_by", "Carried by", OF_BATCH | OF_TILE, false},
    [AN_PAGE_PICTURES] = {"pictures", "Maps side by side", OF_WALL, false},
    [AN_PAGE_SITES] = {"sites", "Maps of the tile", OF_WALL | OF_TILE, false},
    [AN_PAGE_SIGNALS] = {"signals", "Signals", OF_ITEM, false},
    [AN_PAGE_SOURCES] = {"sources", "Sources", OF_ITEM, false}};
static const struct known_word section_words[AN_SECTION_KIND_COUNT] = {
    [AN_SECTION_CHANGED] = {"changed", "What changed", OF_SHIFT, true},
    [AN_SECTION_AT_RISK] = {"at_risk", "What is at risk", OF_SHIFT, false},
    [AN_SECTION_MISSING] = {"missing", "What is missing", OF_PERIOD, false},
    [AN_SECTION_DUE] = {"due", "What is due", OF_SHIFT, false},
    [AN_SECTION_AGAINST_LAST] = {"against_last", "Against last week", OF_WEEK, true},
    [AN_SECTION_CAPABILITY] = {"capability", "Stability and capability", OF_WEEK, true},
    [AN_SECTION_YIELD] = {"yield", "Yield", OF_WEEK, true},
    [AN_SECTION_DEFECTS] = {"defects", "Where defects come from", OF_WEEK, true},
    [AN_SECTION_DRIFTS] = {"drifts", "Worst drifts", OF_WEEK, true},
    [AN_SECTION_LIMITS] = {"limits", "Limits changed", OF_WEEK, true},
    [AN_SECTION_OPEN] = {"open", "Open signals", OF_WEEK, true},
    [AN_SECTION_COMPLETENESS] = {"completeness", "Completeness", OF_WEEK, true},
    [AN_SECTION_GAUGES] = {"gauges", "Gauges", OF_WEEK, true},
    [AN_SECTION_MAP] = {"map", "Map", OF_WALL, false},
    [AN_SECTION_MADE_OF] = {"made_of", "Made of", OF_ITEM, true},
    [AN_SECTION_TOUCHED] = {"signals", "Signals that touch it", OF_ITEM, true},
    [AN_SECTION_REPAIRS] = {"repairs", "Repairs", OF_WALL | OF_TILE, true},
    [AN_SECTION_SHARED] = {"shared", "Others that share a batch", OF_WALL | OF_TILE, true},
    [AN_SECTION_LACKING] = {"lacking", "Data missing", OF_ITEM, true},
    [AN_SECTION_FACTS] = {"facts", "Where it was", OF_BATCH | OF_TILE, true},
    [AN_SECTION_CARRIED] = {"carried_by", "Carried by", OF_BATCH | OF_TILE, true},
    [AN_SECTION_BEGAN] = {"began", "Signals that began with it", OF_BATCH, true},
    [AN_SECTION_NEIGHBOURS] = {"neighbours", "Its neighbours", OF_BATCH | OF_TILE, true}};

/* What each report is called, and what it is if nothing is said. */
static const struct known_report {
    const char *word, *name, *title;
    unsigned bit;
    const unsigned char *own, *own_end;
} known_reports[AN_REPORT_KIND_COUNT] = {
    [AN_REPORT_SHIFT] = {"shift", "reports/shift.yaml", "Shift report", OF_SHIFT,
                         an_report_file_shift, an_report_file_shift_end},
    [AN_REPORT_WEEK] = {"week", "reports/week.yaml", "Week report", OF_WEEK, an_report_file_week,
                        an_report_file_week_end},
    [AN_REPORT_WALL] = {"wall", "reports/wall.yaml", "Wall report", OF_WALL, an_report_file_wall,
                        an_report_file_wall_end},
    [AN_REPORT_BATCH] = {"batch", "reports/batch.yaml", "Batch report", OF_BATCH,
                         an_report_file_batch, an_report_file_batch_end},
    [AN_REPORT_TILE] = {"tile", "reports/tile.yaml", "Tile report", OF_TILE, an_report_file_tile,
                        an_report_file_tile_end}};

struct reader {
    enum an_report_kind kind;
    const char *name;
    struct an_arena *arena;
    struct an_error *err;
    enum an_status st;
};

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

static const struct fy_mark *place_of(struct fy_node *node)
{
    void *at = NULL;
    while (node && fy_node_get_type(node) != FYNT_SCALAR) {
        at = NULL;
        if (fy_node_get_type(node) == FYNT_MAPPING) {
            struct fy_node_pair *pair = fy_node_mapping_iterate(node, &at);
            node = pair ? fy_node_pair_key(pair) : NULL;
        } else {
            node = fy_node_sequence_iterate(node, &at);
        }
    }
    struct fy_token *token = node ? fy_node_get_scalar_token(node) : NULL;
    return token ? fy_token_start_mark(token) : NULL;
}

/* The first mistake is kept; later ones are nothing. */
static void AN_PRINTF(3, 4)
    mistake(struct reader *reader, struct fy_node *node, const char *format, ...)
{
    if (reader->st) {
        return;
    }
    const struct fy_mark *mark = node ? place_of(node) : NULL;
    const unsigned line = mark ? (unsigned)mark->line + 1 : 1;
    const unsigned column = mark ? (unsigned)mark->column + 1 : 1;
    struct an_text text = {0};
    an_text_addf(&text, "%s:%u:%u: ", reader->name, line, column);
    char what[360];
    va_list list;
    va_start(list, format);
    (void)vsnprintf(what, sizeof what, format, list);
    va_end(list);
    an_text_add(&text, what);
    reader->st = text.failed ? AN_NO_MEMORY : AN_BAD_CONFIG;
    (void)an_fail_at(reader->err, reader->st, line, column, "%s",
                     text.failed ? "out of memory" : an_text_of(&text));
    an_text_free(&text);
}

/* A NUL-terminated copy of a scalar's text; NULL (and a mistake) if it is none. */
static const char *text_of(struct reader *reader, struct fy_node *node, const char *key)
{
    size_t length = 0;
    const char *at =
        node && fy_node_get_type(node) == FYNT_SCALAR ? fy_node_get_scalar(node, &length) : NULL;
    if (!at) {
        mistake(reader, node, "'%s' should be one text", key);
        return NULL;
    }
    const struct an_bytes bytes = {(const unsigned char *)at, length};
    const size_t good = an_utf8_check(bytes);
    if (good != length || memchr(at, '\0', length)) {
        mistake(reader, node, "'%s' holds a byte that is no text", key);
        return NULL;
    }
    char *copy = an_arena_copy(reader->arena, at, length);
    if (!copy && !reader->st) {
        reader->st = an_fail(reader->err, AN_NO_MEMORY, "out of memory");
    }
    return copy;
}

static size_t whole_of(struct reader *reader, struct fy_node *node, const char *key, size_t low,
                       size_t high)
{
    const char *text = text_of(reader, node, key);
    int64_t value = 0;
    if (text && (an_integer_parse(an_bytes_of(text), &value) || value < (int64_t)low ||
                 value > (int64_t)high)) {
        mistake(reader, node, "'%s' is '%.40s'; it should be a whole number from %zu to %zu", key,
                text, low, high);
        return low;
    }
    return text ? (size_t)value : low;
}

/* Index of the word in the list, or count (and a mistake naming the words the report knows). */
static size_t word_of(struct reader *reader, struct fy_node *node, const char *key,
                      const struct known_word *words, size_t count)
{
    const unsigned here = known_reports[reader->kind].bit;
    const char *text = text_of(reader, node, key);
    if (!text) {
        return count;
    }
    const char *list[16];
    size_t known = 0;
    for (size_t i = 0; i < count; i++) {
        if (!(words[i].reports & here)) {
            continue;
        }
        if (!strcmp(text, words[i].word)) {
            return i;
        }
        list[known++] = words[i].word;
    }
    char names[240] = "";
    size_t used = 0;
    for (size_t i = 0; i < known && used < sizeof names; i++) {
        used += (size_t)snprintf(names + used, sizeof names - used, "%s%s",
                                 i == 0           ? ""
                                 : i + 1 == known ? " or "
                                                  : ", ",
                                 list[i]);
    }
    mistake(reader, node, "there is no %s '%.40s'; it should be %s", key, text, names);
    return count;
}

/* Key and value of each pair go to `take`, which answers false for a key it does not know. */
typedef bool take_pair(struct reader *reader, const char *key, struct fy_node *key_node,
                       struct fy_node *value, void *into);

static void read_mapping(struct reader *reader, struct fy_node *node, const char *what,
                         const char *known, take_pair *take, void *into)
{
    if (!node || fy_node_get_type(node) != FYNT_MAPPING) {
        mistake(reader, node, "%s should be a list of 'key: value' lines with the keys %s", what,
                known);
        return;
    }
    void *at = NULL;
    for (struct fy_node_pair *pair = fy_node_mapping_iterate(node, &at); pair && !reader->st;
         pair = fy_node_mapping_iterate(node, &at)) {
        struct fy_node *key_node = fy_node_pair_key(pair);
        const char *key = text_of(reader, key_node, "key");
        if (key && !take(reader, key, key_node, fy_node_pair_value(pair), into)) {
            mistake(reader, key_node, "%s has no key '%.40s'; the keys are %s", what, key, known);
        }
    }
}

static void read_sequence(struct reader *reader, struct fy_node *node, const char *key, size_t most,
                          void (*each)(struct reader *reader, struct fy_node *item, void *into),
                          void *into)
{
    if (!node || fy_node_get_type(node) != FYNT_SEQUENCE) {
        mistake(reader, node, "'%s' should be a list, each entry after a dash", key);
        return;
    }
    void *at = NULL;
    size_t count = 0;
    for (struct fy_node *item = fy_node_sequence_iterate(node, &at); item && !reader->st;
         item = fy_node_sequence_iterate(node, &at)) {
        if (count++ == most) {
            mistake(reader, item, "'%s' has more than %zu entries", key, most);
            return;
        }
        each(reader, item, into);
    }
}

/* ---- sections ------------------------------------------------------------------------------- */
struct section_reading {
    struct an_report_section section;
    struct fy_node *most;
    bool has_kind;
};

static bool take_section(struct reader *reader, const char *key, struct fy_node *key_node,
                         struct fy_node *value, void *into)
{
    (void)key_node;
    struct section_reading *reading = into;
    if (!strcmp(key, "section")) {
        const size_t kind = word_of(reader, value, "section", section_words, AN_SECTION_KIND_COUNT);
        reading->section.kind = (enum an_report_section_kind)kind;
        reading->has_kind = true;
    } else if (!strcmp(key, "title")) {
        reading->section.title = text_of(reader, value, key);
    } else if (!strcmp(key, "most")) {
        reading->section.most = whole_of(reader, value, key, 0, 100);
        reading->most = key_node;
    } else {
        return false;
    }
    return true;
}

static void each_section(struct reader *reader, struct fy_node *item, void *into)
{
    struct an_report_page *page = into;
    struct section_reading reading = {.section = {.most = 8}};
    read_mapping(reader, item, "a section", "section, title, most", take_section, &reading);
    if (!reader->st && !reading.has_kind) {
        mistake(reader, item, "a section should say which, as in 'section: missing'");
    }
    if (reader->st) {
        return;
    }
    if (reading.most && !section_words[reading.section.kind].has_most) {
        mistake(reader, reading.most, "the section %s takes no 'most'",
                section_words[reading.section.kind].word);
    }
    for (size_t i = 0; i < page->section_count; i++) {
        if (page->sections[i].kind == reading.section.kind) {
            mistake(reader, item, "the section '%s' is here twice; it should be named once",
                    section_words[reading.section.kind].word);
            return;
        }
    }
    if (!reading.section.title) {
        reading.section.title = section_words[reading.section.kind].title;
    }
    page->sections[page->section_count++] = reading.section;
}

static void each_caution(struct reader *reader, struct fy_node *item, void *into)
{
    struct an_report_page *page = into;
    page->cautions[page->caution_count++] = text_of(reader, item, "cautions");
}

/* ---- pages ---------------------------------------------------------------------------------- */
struct page_reading {
    struct an_report_page page;
    struct fy_node *sections, *cautions, *most, *columns;
    bool has_kind;
};

static bool take_page(struct reader *reader, const char *key, struct fy_node *key_node,
                      struct fy_node *value, void *into)
{
    struct page_reading *reading = into;
    if (!strcmp(key, "page")) {
        const size_t kind = word_of(reader, value, "page", page_words, AN_PAGE_KIND_COUNT);
        reading->page.kind = (enum an_report_page_kind)kind;
        reading->has_kind = true;
    } else if (!strcmp(key, "title")) {
        reading->page.title = text_of(reader, value, key);
    } else if (!strcmp(key, "sections")) {
        reading->sections = key_node;
        read_sequence(reader, value, key, AN_SECTION_KIND_COUNT, each_section, &reading->page);
    } else if (!strcmp(key, "cautions")) {
        reading->cautions = key_node;
        read_sequence(reader, value, key, sizeof reading->page.cautions / sizeof(char *),
                      each_caution, &reading->page);
    } else if (!strcmp(key, "most")) {
        reading->most = key_node;
        reading->page.most = whole_of(reader, value, key, 1, 1000);
    } else if (!strcmp(key, "columns")) {
        reading->columns = key_node;
        reading->page.columns = whole_of(reader, value, key, 1, 4);
    } else {
        return false;
    }
    return true;
}

static void stray(struct reader *reader, struct fy_node *node, const char *key, bool belongs,
                  const char *page)
{
    if (node && !belongs) {
        mistake(reader, node, "'%s' belongs to the page %s only", key, page);
    }
}

static void each_page(struct reader *reader, struct fy_node *item, void *into)
{
    struct an_report_definition *definition = into;
    struct page_reading reading = {.page = {.most = 40, .columns = 3}};
    read_mapping(reader, item, "a page", "page, title, sections, cautions, most, columns",
                 take_page, &reading);
    if (!reader->st && !reading.has_kind) {
        mistake(reader, item, "a page should say which, as in 'page: front'");
    }
    if (reader->st) {
        return;
    }
    const enum an_report_page_kind kind = reading.page.kind;
    stray(reader, reading.sections, "sections", kind == AN_PAGE_FRONT, "front");
    stray(reader, reading.cautions, "cautions", kind == AN_PAGE_FRONT, "front");
    stray(reader, reading.most, "most", kind == AN_PAGE_STREAMS, "streams");
    stray(reader, reading.columns, "columns", kind == AN_PAGE_QUIET, "quiet");
    for (size_t i = 0; i < definition->page_count; i++) {
        if (definition->pages[i].kind == kind) {
            mistake(reader, item, "the page '%s' is here twice; it should be named once",
                    page_words[kind].word);
            return;
        }
    }
    if (!reading.page.title) {
        reading.page.title = page_words[kind].title;
    }
    definition->pages[definition->page_count++] = reading.page;
}

/* A number above 0; 0 after a mistake. */
static double number_of(struct reader *reader, struct fy_node *node, const char *key)
{
    const char *text = text_of(reader, node, key);
    struct an_decimal number = {0};
    if (text && (an_decimal_parse(an_bytes_of(text), '.', 0, &number) || !(number.value > 0) ||
                 number.value > 1e9)) {
        mistake(reader, node, "'%s' is '%.40s'; it should be a number above 0", key, text);
        return 0;
    }
    return text ? number.value : 0;
}

static bool take_tile(struct reader *reader, const char *key, struct fy_node *key_node,
                      struct fy_node *value, void *into)
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
            *keys[i].at = i < 3 ? (double)whole_of(reader, value, key, 1, 1000000)
                                : number_of(reader, value, key);
            return true;
        }
    }
    return false;
}

/* Keys of reports on one item. */
static bool take_item_report(struct reader *reader, const char *key, struct fy_node *value,
                             struct an_report_definition *definition)
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
            *texts[i].at = text_of(reader, value, key);
            return true;
        }
    }
    if (!strcmp(key, "average")) {
        definition->average = whole_of(reader, value, key, 2, 10000);
    } else if (!strcmp(key, "tile")) {
        read_mapping(reader, value, "'tile'",
                     "pixels_across, pixels_down, colours, pitch_mm, emitter_long_um, "
                     "emitter_wide_um",
                     take_tile, &definition->tile);
    } else {
        return false;
    }
    return true;
}

static bool take_report(struct reader *reader, const char *key, struct fy_node *key_node,
                        struct fy_node *value, void *into)
{
    (void)key_node;
    struct an_report_definition *definition = into;
    if (!strcmp(key, "report")) {
        (void)value; /* was read before anything else: it tells which words there are */
    } else if (!strcmp(key, "title")) {
        definition->title = text_of(reader, value, key);
    } else if (!strcmp(key, "pages")) {
        read_sequence(reader, value, key, AN_PAGE_KIND_COUNT, each_page, definition);
    } else if (known_reports[reader->kind].bit & OF_ITEM) {
        return take_item_report(reader, key, value, definition);
    } else if (!strcmp(key, "context")) {
        definition->context = whole_of(reader, value, key, 0, 1000);
    } else if (!strcmp(key, "days_before")) {
        definition->days_before = whole_of(reader, value, key, 1, 31);
    } else if (!strcmp(key, "few_samples")) {
        definition->few_samples = whole_of(reader, value, key, 2, 1000);
    } else {
        return false;
    }
    return true;
}

/* Which report this is about, before anything else is read; a shift if it does not say. */
static void read_kind(struct reader *reader, struct fy_node *root)
{
    struct known_word reports[AN_REPORT_KIND_COUNT];
    for (size_t i = 0; i < AN_REPORT_KIND_COUNT; i++) {
        reports[i] = (struct known_word){known_reports[i].word, NULL, OF_PERIOD | OF_ITEM, false};
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
            const size_t kind =
                word_of(reader, fy_node_pair_value(pair), "report", reports, AN_REPORT_KIND_COUNT);
            reader->kind =
                kind < AN_REPORT_KIND_COUNT ? (enum an_report_kind)kind : AN_REPORT_SHIFT;
        }
    }
}

/* What the YAML parser itself could not read, with its place. */
static void syntax_mistake(struct reader *reader, struct fy_diag *diag)
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
static bool is_text(struct reader *reader, struct an_bytes yaml)
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
    struct reader reader = {.name = name ? name : "definition", .arena = arena, .err = err};
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
        read_mapping(&reader, root, "a report definition",
                     known_reports[reader.kind].bit & OF_ITEM
                         ? "report, title, picture, seam_right, seam_below, repair, average, tile, "
                           "pages"
                         : "report, title, context, days_before, few_samples, pages",
                     take_report, &read);
        if (!reader.st && !read.page_count) {
            mistake(&reader, root, "there are no pages; it should have 'pages:' with one or more");
        }
    }
    fy_document_destroy(document);
    fy_diag_destroy(diag);
    if (!reader.st) {
        *definition = read;
    }
    return reader.st;
}
