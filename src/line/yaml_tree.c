/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * libfyaml's events into a tree of our own. Responsible for places, aliases and merge keys; must
 * never decide what a key means, and never let a libfyaml handle outlive the reading.
 *
 * Events rather than libfyaml's own documents, because those stop at the first double key, unfold
 * aliases by copying (a small file can ask for gigabytes), and are lost whole at a syntax error.
 * Here an alias is a second pointer to a finished node: cheap, and a node cannot hold itself,
 * since it has no name until it is finished. `weight` counts as if copies had been made.
 */
#include "line/yaml_tree.h"

#include "andamento/base/names.h"

#include <libfyaml.h>
#include <string.h>

#define DEPTH_MOST 32
#define WEIGHT_MOST 200000

struct cell { /* a child while its parent is still open */
    const struct an_yaml_node *node;
    struct cell *next;
};

struct frame { /* an open list or map */
    struct an_yaml_node *node;
    struct cell *first, *last;
    size_t cells;
    size_t anchor; /* number of its anchor's name, or AN_NO_NAME */
};

struct build {
    struct an_arena *arena;
    struct an_mistakes *mistakes;
    struct fy_diag *diag;
    struct fy_parser *parser;
    struct an_names *anchors, *keys;
    const struct an_yaml_node **anchored; /* by the number of the name */
    size_t anchored_capacity;
    struct frame frames[DEPTH_MOST];
    size_t depth;
    const struct an_yaml_node *root;
    uint64_t line, column; /* of the last node, for those that have no place of their own */
    size_t documents;
    bool stop;
};

const char *an_yaml_kind_words(const struct an_yaml_node *node)
{
    switch (node->kind) {
    case AN_YAML_LIST:
        return "a list";
    case AN_YAML_MAP:
        return "a map";
    case AN_YAML_SCALAR:
        break;
    }
    return node->absent ? "nothing" : "a text";
}

const struct an_yaml_node *an_yaml_get(const struct an_yaml_node *map, const char *key)
{
    for (size_t i = 0; map && map->kind == AN_YAML_MAP && i < map->count; i++) {
        if (strcmp(map->pair[i].key->text, key) == 0) {
            return map->pair[i].value;
        }
    }
    return NULL;
}

/* --- nodes ----------------------------------------------------------------------------------- */

static struct an_yaml_node *node_at(struct build *b, struct fy_event *event, enum an_yaml_kind kind)
{
    struct an_yaml_node *node = an_arena_alloc(b->arena, 1, sizeof *node);
    if (!node) {
        b->mistakes->failed = true;
        return NULL;
    }
    const struct fy_mark *mark = fy_event_start_mark(event);
    if (mark) {
        b->line = (uint64_t)mark->line + 1;
        b->column = (uint64_t)mark->column + 1;
    }
    node->kind = kind;
    node->line = b->line;
    node->column = b->column;
    node->weight = 1;
    return node;
}

static void refuse_tag(struct build *b, const struct an_yaml_node *node, struct fy_token *tag)
{
    if (tag) {
        size_t length = 0;
        const char *text = fy_token_get_text(tag, &length);
        an_mistakes_add(b->mistakes, node->line, node->column,
                        "tags ('%.*s') have no use here; leave it out",
                        (int)(length < 64 ? length : 64), text ? text : "");
    }
}

static size_t anchor_number(struct build *b, struct fy_token *anchor)
{
    if (!anchor) {
        return AN_NO_NAME;
    }
    size_t length = 0;
    const char *text = fy_token_get_text(anchor, &length);
    const struct an_bytes name = {(const unsigned char *)text, text ? length : 0};
    const size_t count = an_names_count(b->anchors);
    const size_t number = an_names_add(b->anchors, name);
    void *list = b->anchored;
    if (number == AN_NO_NAME || (number == count && !an_grow(&list, count, &b->anchored_capacity,
                                                             sizeof(struct an_yaml_node *)))) {
        b->mistakes->failed = true;
        return AN_NO_NAME;
    }
    b->anchored = list;
    if (number == count) {
        b->anchored[number] = NULL;
    }
    return number;
}

/* The finished node takes its place in the open one. */
static void place(struct build *b, const struct an_yaml_node *node, size_t anchor)
{
    if (anchor != AN_NO_NAME) {
        b->anchored[anchor] = node;
    }
    if (b->depth == 0) {
        b->root = node;
        return;
    }
    struct frame *frame = &b->frames[b->depth - 1];
    struct cell *cell = an_arena_alloc(b->arena, 1, sizeof *cell);
    if (!cell) {
        b->mistakes->failed = true;
        return;
    }
    cell->node = node;
    if (frame->last) {
        frame->last->next = cell;
    } else {
        frame->first = cell;
    }
    frame->last = cell;
    frame->cells++;
    frame->node->weight += node->weight;
    if (frame->node->weight > WEIGHT_MOST && !b->stop) {
        an_mistakes_add(b->mistakes, node->line, node->column,
                        "with its aliases followed the file has more than %d values; say less",
                        WEIGHT_MOST);
        b->stop = true;
    }
}

static void on_scalar(struct build *b, struct fy_event *event)
{
    struct an_yaml_node *node = node_at(b, event, AN_YAML_SCALAR);
    if (!node) {
        return;
    }
    struct fy_token *value = event->scalar.value;
    const enum fy_scalar_style style = value ? fy_token_scalar_style(value) : FYSS_PLAIN;
    if ((style == FYSS_SINGLE_QUOTED || style == FYSS_DOUBLE_QUOTED) && node->column > 1) {
        node->column--; /* libfyaml marks the text inside the quotes */
    }
    size_t length = 0;
    const char *text = value ? fy_token_get_text(value, &length) : NULL;
    if (!text) {
        text = "";
        length = 0;
    }
    if (memchr(text, 0, length)) {
        an_mistakes_add(b->mistakes, node->line, node->column, "the text holds a NUL character");
    }
    node->text = an_arena_copy(b->arena, text, length);
    if (!node->text) {
        b->mistakes->failed = true;
        return;
    }
    node->absent = style == FYSS_PLAIN && (length == 0 || strcmp(node->text, "~") == 0);
    refuse_tag(b, node, event->scalar.tag);
    const size_t anchor = anchor_number(b, event->scalar.anchor);
    place(b, node, anchor);
}

static void on_alias(struct build *b, struct fy_event *event)
{
    struct an_yaml_node *node = node_at(b, event, AN_YAML_SCALAR);
    if (!node) {
        return;
    }
    size_t length = 0;
    const char *text = fy_token_get_text(event->alias.anchor, &length);
    const struct an_bytes name = {(const unsigned char *)text, text ? length : 0};
    node->column -= node->column > 1 ? 1 : 0; /* libfyaml marks the name behind the star */
    const size_t number = an_names_find(b->anchors, name);
    if (number != AN_NO_NAME && b->anchored[number]) {
        place(b, b->anchored[number], AN_NO_NAME);
        return;
    }
    an_mistakes_add(b->mistakes, node->line, node->column,
                    "no value before this place is marked '&%.*s'",
                    (int)(length < 64 ? length : 64), text ? text : "");
    node->text = "";
    node->absent = true;
    node->told = true;
    place(b, node, AN_NO_NAME);
}

static void on_open(struct build *b, struct fy_event *event, enum an_yaml_kind kind)
{
    struct an_yaml_node *node = node_at(b, event, kind);
    if (!node) {
        return;
    }
    if (b->depth == DEPTH_MOST) {
        an_mistakes_add(b->mistakes, node->line, node->column,
                        "nested deeper than %d; nothing here is", DEPTH_MOST);
        b->stop = true;
        return;
    }
    const bool map = kind == AN_YAML_MAP;
    refuse_tag(b, node, map ? event->mapping_start.tag : event->sequence_start.tag);
    b->frames[b->depth++] =
        (struct frame){.node = node,
                       .anchor = anchor_number(b, map ? event->mapping_start.anchor
                                                      : event->sequence_start.anchor)};
}

/* --- ends of lists and maps ------------------------------------------------------------------ */

static void end_list(struct build *b, const struct frame *frame)
{
    struct an_yaml_node *node = frame->node;
    const struct an_yaml_node **item =
        an_arena_alloc(b->arena, frame->cells + 1, sizeof(struct an_yaml_node *));
    if (!item) {
        b->mistakes->failed = true;
        return;
    }
    for (const struct cell *cell = frame->first; cell; cell = cell->next) {
        item[node->count++] = cell->node;
    }
    node->item = item;
}

static size_t merge_room(const struct an_yaml_node *value)
{
    size_t room = value->kind == AN_YAML_MAP ? value->count : 0;
    for (size_t i = 0; value->kind == AN_YAML_LIST && i < value->count; i++) {
        room += value->item[i]->kind == AN_YAML_MAP ? value->item[i]->count : 0;
    }
    return room;
}

/* False if the key stands in the map already. */
static bool first_of_key(struct build *b, const struct an_yaml_node *key)
{
    const size_t before = an_names_count(b->keys);
    const size_t number = an_names_add(b->keys, an_bytes_of(key->text));
    if (number == AN_NO_NAME) {
        b->mistakes->failed = true;
    }
    return number == before;
}

static void merge_map(struct build *b, struct an_yaml_pair *pairs, size_t *count,
                      const struct an_yaml_node *key, const struct an_yaml_node *value)
{
    if (value->kind != AN_YAML_MAP) {
        an_mistakes_add(b->mistakes, key->line, key->column,
                        "'<<' takes a map, or a list of maps, not %s", an_yaml_kind_words(value));
        return;
    }
    for (size_t i = 0; i < value->count; i++) {
        if (first_of_key(b, value->pair[i].key)) {
            pairs[*count] = value->pair[i];
            pairs[*count].merged = true;
            (*count)++;
        }
    }
}

static bool is_merge_key(const struct an_yaml_node *key)
{
    return key->kind == AN_YAML_SCALAR && strcmp(key->text, "<<") == 0;
}

static void check_key(struct build *b, const struct an_yaml_node *key, struct an_yaml_pair *pairs,
                      size_t *count, const struct an_yaml_node *value)
{
    if (key->kind != AN_YAML_SCALAR || key->absent) {
        an_mistakes_add(b->mistakes, key->line, key->column, "a key is a word, not %s",
                        an_yaml_kind_words(key));
    } else if (!first_of_key(b, key)) {
        uint64_t line = 0;
        for (size_t i = 0; i < *count && line == 0; i++) {
            line = strcmp(pairs[i].key->text, key->text) == 0 ? pairs[i].key->line : 0;
        }
        an_mistakes_add(b->mistakes, key->line, key->column,
                        "'%s' is here for the second time; the first is on line %llu", key->text,
                        (unsigned long long)line);
    } else {
        pairs[(*count)++] = (struct an_yaml_pair){.key = key, .value = value};
    }
}

/* Emptying a set costs as much as it ever held, so a large one is not kept for small maps. */
static bool empty_keys(struct build *b)
{
    if (an_names_count(b->keys) <= 1000) {
        an_names_clear(b->keys);
        return true;
    }
    an_names_close(b->keys);
    b->keys = an_names_open();
    b->mistakes->failed = b->mistakes->failed || !b->keys;
    return b->keys != NULL;
}

/* Keys written out come first, whatever their place, so that they win over merged ones. */
static void end_map(struct build *b, const struct frame *frame)
{
    struct an_yaml_node *node = frame->node;
    size_t room = frame->cells / 2 + 1;
    for (const struct cell *cell = frame->first; cell && cell->next; cell = cell->next->next) {
        room += is_merge_key(cell->node) ? merge_room(cell->next->node) : 0;
    }
    struct an_yaml_pair *pairs = an_arena_alloc(b->arena, room, sizeof *pairs);
    if (!pairs) {
        b->mistakes->failed = true;
        return;
    }
    if (!empty_keys(b)) {
        return;
    }
    for (const struct cell *cell = frame->first; cell && cell->next; cell = cell->next->next) {
        if (!is_merge_key(cell->node)) {
            check_key(b, cell->node, pairs, &node->count, cell->next->node);
        }
    }
    for (const struct cell *cell = frame->first; cell && cell->next; cell = cell->next->next) {
        const struct an_yaml_node *value = cell->next->node;
        if (is_merge_key(cell->node) && value->kind == AN_YAML_LIST) {
            for (size_t i = 0; i < value->count; i++) {
                merge_map(b, pairs, &node->count, cell->node, value->item[i]);
            }
        } else if (is_merge_key(cell->node)) {
            merge_map(b, pairs, &node->count, cell->node, value);
        }
    }
    node->pair = pairs;
}

static void on_end(struct build *b)
{
    if (b->depth == 0) {
        return;
    }
    const struct frame frame = b->frames[--b->depth];
    if (frame.node->kind == AN_YAML_MAP) {
        end_map(b, &frame);
    } else {
        end_list(b, &frame);
    }
    place(b, frame.node, frame.anchor);
}

/* --- events ---------------------------------------------------------------------------------- */

static void on_event(struct build *b, struct fy_event *event)
{
    switch (event->type) {
    case FYET_DOCUMENT_START:
        if (b->documents++ > 0) {
            const struct fy_mark *mark = fy_event_start_mark(event);
            an_mistakes_add(b->mistakes, mark ? (uint64_t)mark->line + 1 : b->line, 1,
                            "a second document begins here; a description is one document");
            b->stop = true;
        }
        break;
    case FYET_SCALAR:
        on_scalar(b, event);
        break;
    case FYET_ALIAS:
        on_alias(b, event);
        break;
    case FYET_MAPPING_START:
        on_open(b, event, AN_YAML_MAP);
        break;
    case FYET_SEQUENCE_START:
        on_open(b, event, AN_YAML_LIST);
        break;
    case FYET_MAPPING_END:
    case FYET_SEQUENCE_END:
        on_end(b);
        break;
    case FYET_NONE:
    case FYET_STREAM_START:
    case FYET_STREAM_END:
    case FYET_DOCUMENT_END:
        break;
    }
}

/* libfyaml tells what it met; we add what YAML wants in the cases that are met most. */
static void tell_syntax(struct build *b)
{
    void *iterator = NULL;
    const struct fy_diag_error *error = fy_diag_errors_iterate(b->diag, &iterator);
    if (!error) {
        an_mistakes_add(b->mistakes, b->line, b->column, "not readable as YAML after this place");
        return;
    }
    const char *text = error->msg ? error->msg : "not readable";
    const char *hint = "";
    if (strstr(text, "multiline plain key") || strstr(text, "wrong indent")) {
        hint = "; check the indentation of the lines that follow";
    } else if (strstr(text, "nested block mapping") || strstr(text, "cannot start")) {
        hint = "; put quotes round the text";
    } else if (strstr(text, "escape")) {
        hint = "; in double quotes write \\\\ for a backslash, or use single quotes";
    }
    const uint64_t line = error->line > 0 ? (uint64_t)error->line : b->line;
    const uint64_t column = error->column > 0 ? (uint64_t)error->column : 1;
    an_mistakes_add(b->mistakes, line, column, "not YAML from here on: %s%s", text, hint);
}

/* True if the text ended as YAML should. */
static bool run(struct build *b)
{
    bool ended = false;
    while (!b->stop && !b->mistakes->failed) {
        struct fy_event *event = fy_parser_parse(b->parser);
        if (!event) {
            break;
        }
        ended = event->type == FYET_STREAM_END;
        on_event(b, event);
        fy_parser_event_free(b->parser, event);
    }
    return ended && !fy_parser_get_stream_error(b->parser);
}

/* --- what must hold before libfyaml sees the bytes ------------------------------------------- */

static void place_of(struct an_bytes yaml, size_t offset, uint64_t *line, uint64_t *column)
{
    *line = 1;
    *column = 1;
    for (size_t i = 0; i < offset; i++) {
        if (yaml.at[i] == '\n') {
            (*line)++;
            *column = 1;
        } else if ((yaml.at[i] & 0xC0) != 0x80) {
            (*column)++;
        }
    }
}

/* A tab in the indentation is the slip met most; libfyaml tells it as something else, elsewhere. */
static bool find_tabs(struct an_bytes yaml, struct an_mistakes *mistakes)
{
    bool found = false;
    bool indentation = true;
    uint64_t line = 1;
    uint64_t column = 1;
    for (size_t i = 0; i < yaml.length; i++) {
        const unsigned char c = yaml.at[i];
        if (c == '\n') {
            line++;
            column = 0;
            indentation = true;
        } else if (c == '\t' && indentation) {
            an_mistakes_add(mistakes, line, column,
                            "a tab in the indentation; YAML wants blanks there");
            found = true;
            indentation = false;
        } else if (c != ' ') {
            indentation = false;
        }
        column++;
    }
    return found;
}

static bool acceptable(struct an_bytes *yaml, struct an_mistakes *mistakes)
{
    if (yaml->length > AN_YAML_BYTES_MOST) {
        an_mistakes_add(mistakes, 1, 1, "the file is longer than 4 MiB; a description is not");
        return false;
    }
    if (yaml->length >= 3 && memcmp(yaml->at, "\xEF\xBB\xBF", 3) == 0) {
        yaml->at += 3;
        yaml->length -= 3;
    }
    uint64_t line = 0;
    uint64_t column = 0;
    const size_t broken = an_utf8_check(*yaml);
    if (broken < yaml->length) {
        place_of(*yaml, broken, &line, &column);
        an_mistakes_add(mistakes, line, column, "not UTF-8 (byte \\x%02X); save the file in UTF-8",
                        (unsigned)yaml->at[broken]);
        return false;
    }
    const unsigned char *nul = yaml->length > 0 ? memchr(yaml->at, 0, yaml->length) : NULL;
    if (nul) {
        place_of(*yaml, (size_t)(nul - yaml->at), &line, &column);
        an_mistakes_add(mistakes, line, column, "a NUL byte; this is not a text file");
        return false;
    }
    return true;
}

static bool open_build(struct build *b, struct an_bytes yaml)
{
    struct fy_diag_cfg diag;
    fy_diag_cfg_default(&diag);
    diag.fp = NULL; /* nothing of this may reach a terminal */
    b->diag = fy_diag_create(&diag);
    b->anchors = an_names_open();
    b->keys = an_names_open();
    if (!b->diag || !b->anchors || !b->keys) {
        return false;
    }
    fy_diag_set_collect_errors(b->diag, true);
    const struct fy_parse_cfg how = {.flags = FYPCF_QUIET | FYPCF_COLLECT_DIAG | FYPCF_JSON_NONE |
                                              FYPCF_DEFAULT_VERSION_1_2,
                                     .diag = b->diag};
    b->parser = fy_parser_create(&how);
    return b->parser && fy_parser_set_string(b->parser, (const char *)yaml.at, yaml.length) == 0;
}

void an_yaml_read(struct an_bytes yaml, struct an_arena *arena, struct an_mistakes *mistakes,
                  const struct an_yaml_node **root, bool *torn)
{
    *root = NULL;
    *torn = false;
    if (!acceptable(&yaml, mistakes)) {
        *torn = true;
        return;
    }
    const bool tabs = find_tabs(yaml, mistakes);
    struct build b = {.arena = arena, .mistakes = mistakes, .line = 1, .column = 1};
    if (yaml.length > 0) {
        if (!open_build(&b, yaml)) {
            mistakes->failed = true;
        } else if (!run(&b)) {
            *torn = true;
            if (!tabs && !b.stop && !mistakes->failed) {
                tell_syntax(&b);
            }
        }
    }
    while (b.depth > 0 && !mistakes->failed) {
        on_end(&b); /* what was open when the syntax broke */
    }
    *root = b.root;
    if (b.parser) {
        fy_parser_destroy(b.parser);
    }
    if (b.diag) {
        fy_diag_destroy(b.diag);
    }
    an_free(b.anchored);
    an_names_close(b.anchors);
    an_names_close(b.keys);
}
