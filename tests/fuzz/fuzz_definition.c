/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes as a report definition: it is refused with a place, or every page of it is whole. */
#include "report/definition.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* libfyaml leaks the text of some quoted scalars that it refuses; that is not ours to mend. */
const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:libfyaml.so";
}

static void must(int good, const char *what, const char *text)
{
    if (!good) {
        (void)fprintf(stderr, "%s: %s\n", what, text ? text : "");
        abort();
    }
}

static void look_at(const struct an_report_definition *definition)
{
    must(definition->title && definition->page_count > 0, "no pages", definition->title);
    must(definition->page_count <= AN_PAGE_KIND_COUNT, "too many pages", definition->title);
    for (size_t i = 0; i < definition->page_count; i++) {
        const struct an_report_page *page = &definition->pages[i];
        const size_t cautions = sizeof page->cautions / sizeof *page->cautions;

        must(page->kind < AN_PAGE_KIND_COUNT && page->title, "a page", page->title);
        must(page->section_count <= AN_SECTION_KIND_COUNT, "sections", page->title);
        must(page->caution_count <= cautions, "cautions", page->title);
        for (size_t k = 0; k < page->section_count; k++) {
            must(page->sections[k].title != NULL, "a section without a title", page->title);
        }
        for (size_t k = 0; k < page->caution_count; k++) {
            must(strlen(page->cautions[k]) < SIZE_MAX, "a caution", page->title);
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct an_error err = {.status = AN_OK};
    struct an_report_definition definition = {0};
    struct an_arena *arena = an_arena_open();

    must(arena != NULL, "memory", NULL);
    const enum an_status st = an_report_definition_read((struct an_bytes){data, size}, "fuzz.yaml",
                                                        arena, &definition, &err);
    must(st == AN_OK || st == AN_BAD_CONFIG, "the status", err.text);
    if (st) {
        must(strncmp(err.text, "fuzz.yaml:", 10) == 0 && err.line >= 1 && err.column >= 1,
             "the place", err.text);
    } else {
        look_at(&definition);
    }
    an_arena_close(arena);
    return 0;
}
