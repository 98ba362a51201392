/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every YAML block of docs/line-description.md is read as the reference says it may be written.
 * A block's first line says what it is: a whole file, the shared head, stations to stand under that
 * head, keys of a characteristic, or keys at the top.
 */
#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "support.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

struct block {
    char *text; /* cut out of the document */
};

static char *document;
static struct block blocks[32];
static size_t block_count;

static void cut_blocks(void)
{
    document = slurp(AN_SOURCE_DIR "/docs/line-description.md", NULL);
    block_count = 0;
    for (char *at = strstr(document, "```yaml\n"); at; at = strstr(at, "```yaml\n")) {
        char *start = at + strlen("```yaml\n");
        char *end = strstr(start, "\n```");
        ck_assert_ptr_nonnull(end);
        end[0] = 0;
        ck_assert_uint_lt(block_count, 32);
        blocks[block_count++].text = start;
        at = end + 1;
    }
}

static const char *block_headed(const char *first_line, size_t from, size_t *found)
{
    for (size_t i = from; i < block_count; i++) {
        if (strncmp(blocks[i].text, first_line, strlen(first_line)) == 0) {
            *found = i;
            return blocks[i].text;
        }
    }
    return NULL;
}

/* Indents every line of a text. */
static void add_indented(struct an_text *out, const char *text, const char *blanks)
{
    while (*text) {
        const char *end = strchr(text, '\n');
        const size_t length = end ? (size_t)(end - text) : strlen(text);
        an_text_add(out, blanks);
        an_text_add_bytes(out, (struct an_bytes){(const unsigned char *)text, length});
        an_text_add_char(out, '\n');
        text += length + (end ? 1 : 0);
    }
}

static const char station_around[] = "\nstations:\n"
                                     "  bench:\n"
                                     "    time: file\n"
                                     "    item: {kind: tile, column: tile}\n";

static void wrap(struct an_text *whole, const char *head, const char *block)
{
    if (strncmp(block, "# whole file", 12) == 0) {
        an_text_add(whole, block);
    } else if (strncmp(block, "# head", 6) == 0) {
        an_text_add(whole, block);
        an_text_add(whole, station_around);
    } else if (strncmp(block, "# stations", 10) == 0) {
        an_text_add(whole, head);
        an_text_add(whole, "\n");
        an_text_add(whole, block);
    } else if (strncmp(block, "# in a characteristic", 21) == 0) {
        an_text_add(whole, head);
        an_text_add(whole, station_around);
        an_text_add(whole, "    characteristics:\n      one:\n");
        add_indented(whole, block, "        ");
    } else if (strncmp(block, "# at the top", 12) == 0) {
        an_text_add(whole, "line: a\nzone: UTC\nkinds: {tile: }\n");
        an_text_add(whole, block);
        an_text_add(whole, station_around);
    } else {
        ck_abort_msg("a block does not say what it is: %.40s", block);
    }
}

START_TEST(every_block_reads)
{
    cut_blocks();
    size_t at = 0;
    const char *head = block_headed("# head", 0, &at);
    ck_assert_ptr_nonnull(head);
    size_t stations = 0;
    for (size_t i = 0; i < block_count; i++) {
        struct an_text whole = {0};
        wrap(&whole, head, blocks[i].text);
        ck_assert(!whole.failed);
        struct an_line *line = read_good(an_text_of(&whole));
        ck_assert_uint_ge(line->station_count, 1);
        stations += strncmp(blocks[i].text, "# stations", 10) == 0 ? 1 : 0;
        an_line_close(line);
        an_text_free(&whole);
    }
    /* one for each sort of station: wafer test, transfer, inspection, repair, edge contact,
     * luminance, wall assembly, material lot */
    ck_assert_uint_eq(stations, 8);
    an_free(document);
}
END_TEST

/* The eight stations stand in one file as well: nothing clashes, and links find their kinds. */
START_TEST(one_line_of_all)
{
    cut_blocks();
    size_t at = 0;
    struct an_text whole = {0};
    an_text_add(&whole, block_headed("# head", 0, &at));
    an_text_add(&whole, "\nstations:\n");
    for (at = 0; block_headed("# stations", at, &at); at++) {
        an_text_add(&whole, strstr(blocks[at].text, "stations:\n  ") + strlen("stations:\n"));
        an_text_add(&whole, "\n");
    }
    struct an_line *line = read_good(an_text_of(&whole));
    ck_assert_uint_eq(line->station_count, 8);
    const size_t edge = an_line_station(line, an_bytes_of("edge"));
    ck_assert_uint_ne(edge, AN_NONE);
    ck_assert_str_eq(line->kinds[line->stations[edge].links[0].kind].name, "paste_lot");
    /* mΩ to ohm: 1e-3 exactly (SI Brochure 2019, table 7: milli) */
    const size_t resistance = an_line_characteristic(line, edge, an_bytes_of("resistance"));
    ck_assert_double_eq(line->characteristics[resistance].factor, 1e-3);
    an_line_close(line);
    an_text_free(&whole);
    an_free(document);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("line examples");
    TCase *tests = tcase_create("reference");
    tcase_add_test(tests, every_block_reads);
    tcase_add_test(tests, one_line_of_all);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
