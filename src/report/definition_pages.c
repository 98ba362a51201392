/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pages and sections of a report definition: which words each report knows, and what stands beside
 * them. Must never take a key that the page would not heed.
 */
#include "report/definition_reading.h"

#include <string.h>

static const struct an_known_word page_words[AN_PAGE_KIND_COUNT] = {
    [AN_PAGE_FRONT] = {"front", "Page one", AN_OF_PERIOD | AN_OF_ITEM, false},
    [AN_PAGE_STREAMS] = {"streams", "Streams that signalled", AN_OF_PERIOD, true},
    [AN_PAGE_QUIET] = {"quiet", "Quiet streams", AN_OF_PERIOD, false},
    [AN_PAGE_INTAKE] = {"intake", "Intake health", AN_OF_PERIOD, false},
    [AN_PAGE_CAPABILITY] = {"capability", "Stability and capability", AN_OF_WEEK, false},
    [AN_PAGE_YIELD] = {"yield", "Yield and defects", AN_OF_WEEK, false},
    [AN_PAGE_VALUES] = {"values", "Values and limits in force", AN_OF_ITEM, false},
    [AN_PAGE_MADE_OF] = {"made_of", "Made of", AN_OF_ITEM, false},
    [AN_PAGE_CARRIED] = {"carried_by", "Carried by", AN_OF_BATCH | AN_OF_TILE, false},
    [AN_PAGE_PICTURES] = {"pictures", "Maps side by side", AN_OF_WALL, false},
    [AN_PAGE_SITES] = {"sites", "Maps of the tile", AN_OF_WALL | AN_OF_TILE, false},
    [AN_PAGE_SIGNALS] = {"signals", "Signals", AN_OF_ITEM, false},
    [AN_PAGE_SOURCES] = {"sources", "Sources", AN_OF_ITEM, false}};
static const struct an_known_word section_words[AN_SECTION_KIND_COUNT] = {
    [AN_SECTION_CHANGED] = {"changed", "What changed", AN_OF_SHIFT, true},
    [AN_SECTION_AT_RISK] = {"at_risk", "What is at risk", AN_OF_SHIFT, false},
    [AN_SECTION_MISSING] = {"missing", "What is missing", AN_OF_PERIOD, false},
    [AN_SECTION_DUE] = {"due", "What is due", AN_OF_SHIFT, false},
    [AN_SECTION_AGAINST_LAST] = {"against_last", "Against last week", AN_OF_WEEK, true},
    [AN_SECTION_CAPABILITY] = {"capability", "Stability and capability", AN_OF_WEEK, true},
    [AN_SECTION_YIELD] = {"yield", "Yield", AN_OF_WEEK, true},
    [AN_SECTION_DEFECTS] = {"defects", "Where defects come from", AN_OF_WEEK, true},
    [AN_SECTION_DRIFTS] = {"drifts", "Worst drifts", AN_OF_WEEK, true},
    [AN_SECTION_LIMITS] = {"limits", "Limits changed", AN_OF_WEEK, true},
    [AN_SECTION_OPEN] = {"open", "Open signals", AN_OF_WEEK, true},
    [AN_SECTION_COMPLETENESS] = {"completeness", "Completeness", AN_OF_WEEK, true},
    [AN_SECTION_GAUGES] = {"gauges", "Gauges", AN_OF_WEEK, true},
    [AN_SECTION_MAP] = {"map", "Map", AN_OF_WALL, false},
    [AN_SECTION_MADE_OF] = {"made_of", "Made of", AN_OF_ITEM, true},
    [AN_SECTION_TOUCHED] = {"signals", "Signals that touch it", AN_OF_ITEM, true},
    [AN_SECTION_REPAIRS] = {"repairs", "Repairs", AN_OF_WALL | AN_OF_TILE, true},
    [AN_SECTION_SHARED] = {"shared", "Others that share a batch", AN_OF_WALL | AN_OF_TILE, true},
    [AN_SECTION_LACKING] = {"lacking", "Data missing or corrected", AN_OF_ITEM, true},
    [AN_SECTION_FACTS] = {"facts", "Where it was", AN_OF_BATCH | AN_OF_TILE, true},
    [AN_SECTION_CARRIED] = {"carried_by", "Carried by", AN_OF_BATCH | AN_OF_TILE, true},
    [AN_SECTION_BEGAN] = {"began", "Signals that began with it", AN_OF_BATCH, true},
    [AN_SECTION_NEIGHBOURS] = {"neighbours", "Its neighbours", AN_OF_BATCH | AN_OF_TILE, true}};

/* ---- sections ------------------------------------------------------------------------------- */
struct section_reading {
    struct an_report_section section;
    struct fy_node *most;
    bool has_kind;
};

static bool take_section(struct an_definition_reader *reader, const char *key,
                         struct fy_node *key_node, struct fy_node *value, void *into)
{
    (void)key_node;
    struct section_reading *reading = into;
    if (!strcmp(key, "section")) {
        const size_t kind =
            an_definition_word(reader, value, "section", section_words, AN_SECTION_KIND_COUNT);
        reading->section.kind = (enum an_report_section_kind)kind;
        reading->has_kind = true;
    } else if (!strcmp(key, "title")) {
        reading->section.title = an_definition_text(reader, value, key);
    } else if (!strcmp(key, "most")) {
        reading->section.most = an_definition_whole(reader, value, key, 0, 100);
        reading->most = key_node;
    } else {
        return false;
    }
    return true;
}

static void each_section(struct an_definition_reader *reader, struct fy_node *item, void *into)
{
    struct an_report_page *page = into;
    struct section_reading reading = {.section = {.most = 8}};
    an_definition_mapping(reader, item, "a section", "section, title, most", take_section,
                          &reading);
    if (!reader->st && !reading.has_kind) {
        an_definition_mistake(reader, item, "a section should say which, as in 'section: missing'");
    }
    if (reader->st) {
        return;
    }
    if (reading.most && !section_words[reading.section.kind].has_most) {
        an_definition_mistake(reader, reading.most, "the section %s takes no 'most'",
                              section_words[reading.section.kind].word);
    }
    for (size_t i = 0; i < page->section_count; i++) {
        if (page->sections[i].kind == reading.section.kind) {
            an_definition_mistake(reader, item,
                                  "the section '%s' is here twice; it should be named once",
                                  section_words[reading.section.kind].word);
            return;
        }
    }
    if (!reading.section.title) {
        reading.section.title = section_words[reading.section.kind].title;
    }
    page->sections[page->section_count++] = reading.section;
}

static void each_caution(struct an_definition_reader *reader, struct fy_node *item, void *into)
{
    struct an_report_page *page = into;
    page->cautions[page->caution_count++] = an_definition_text(reader, item, "cautions");
}

/* ---- pages ---------------------------------------------------------------------------------- */
struct page_reading {
    struct an_report_page page;
    struct fy_node *sections, *cautions, *most, *columns;
    bool has_kind;
};

static bool take_page(struct an_definition_reader *reader, const char *key,
                      struct fy_node *key_node, struct fy_node *value, void *into)
{
    struct page_reading *reading = into;
    if (!strcmp(key, "page")) {
        const size_t kind =
            an_definition_word(reader, value, "page", page_words, AN_PAGE_KIND_COUNT);
        reading->page.kind = (enum an_report_page_kind)kind;
        reading->has_kind = true;
    } else if (!strcmp(key, "title")) {
        reading->page.title = an_definition_text(reader, value, key);
    } else if (!strcmp(key, "sections")) {
        reading->sections = key_node;
        an_definition_sequence(reader, value, key, AN_SECTION_KIND_COUNT, each_section,
                               &reading->page);
    } else if (!strcmp(key, "cautions")) {
        reading->cautions = key_node;
        an_definition_sequence(reader, value, key, sizeof reading->page.cautions / sizeof(char *),
                               each_caution, &reading->page);
    } else if (!strcmp(key, "most")) {
        reading->most = key_node;
        reading->page.most = an_definition_whole(reader, value, key, 1, 1000);
    } else if (!strcmp(key, "columns")) {
        reading->columns = key_node;
        reading->page.columns = an_definition_whole(reader, value, key, 1, 4);
    } else {
        return false;
    }
    return true;
}

static void stray(struct an_definition_reader *reader, struct fy_node *node, const char *key,
                  bool belongs, const char *page)
{
    if (node && !belongs) {
        an_definition_mistake(reader, node, "'%s' belongs to the page %s only", key, page);
    }
}

void an_definition_page(struct an_definition_reader *reader, struct fy_node *item, void *into)
{
    struct an_report_definition *definition = into;
    struct page_reading reading = {.page = {.most = 40, .columns = 3}};
    an_definition_mapping(reader, item, "a page", "page, title, sections, cautions, most, columns",
                          take_page, &reading);
    if (!reader->st && !reading.has_kind) {
        an_definition_mistake(reader, item, "a page should say which, as in 'page: front'");
    }
    if (reader->st) {
        return;
    }
    const enum an_report_page_kind kind = reading.page.kind;
    stray(reader, reading.sections, "sections", kind == AN_PAGE_FRONT, "front");
    stray(reader, reading.cautions, "cautions", kind == AN_PAGE_FRONT, "front");
    stray(reader, reading.most, "most", kind == AN_PAGE_STREAMS || kind == AN_PAGE_INTAKE,
          "streams or intake");
    stray(reader, reading.columns, "columns", kind == AN_PAGE_QUIET, "quiet");
    for (size_t i = 0; i < definition->page_count; i++) {
        if (definition->pages[i].kind == kind) {
            an_definition_mistake(reader, item,
                                  "the page '%s' is here twice; it should be named once",
                                  page_words[kind].word);
            return;
        }
    }
    if (!reading.page.title) {
        reading.page.title = page_words[kind].title;
    }
    definition->pages[definition->page_count++] = reading.page;
}
