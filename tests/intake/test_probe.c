/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the probe makes of small samples: the choices it has to make, the doubts it has to state, and
 * what it must not propose. Forms of dates and numbers: ISO 8601 and RFC 3339 for times with
 * offset; the rest is common practice of exports, no source. Windows-1252 and UTF-16 bytes as in the
 * Unicode mapping tables.
 */
#include "intake/probe.h"
#include "line/line.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct sample {
    const char *what;
    const char *text;
    size_t length;      /* 0: up to the NUL */
    const char *has[8]; /* in the block, after line breaks and indents are made one blank */
    const char *hasnt[4];
    enum an_status fails;
    bool open; /* something is left open */
    const char *kind;
};

#define ROWS_OF(a, b) "T-001;" a ";1,5\nT-002;" b ";2,5\nT-003;" a ";3,25\n"

static const struct sample samples[] = {
    {"comma, point, RFC 3339",
     "tile_id,at,gap_um\nT-001,2026-03-02T06:00:00Z,1.5\nT-001,2026-03-02T06:00:05Z,2.25\n",
     0,
     {"delimiter: comma", "time: {column: at}", "item: {kind: tile, column: tile_id}",
      "column: gap_um", "unit: um", "subgroup: item", "family: between_within"},
     {"decimal:", "DOUBT: the texts tell no zone"},
     AN_OK,
     false,
     NULL},
    {"one row an item: single values",
     "tile_id,at,gap_um\nT-001,2026-03-02T06:00:00Z,1.5\nT-002,2026-03-02T06:00:05Z,2.25\n",
     0,
     {"subgroup: row", "family: individuals"},
     {"between_within"},
     AN_OK,
     false,
     NULL},
    {"semicolon, decimal comma, day over 12",
     "tile;zeit;spalt_mm\n" ROWS_OF("13.03.2026 06:00:00", "02.03.2026 06:00:07"),
     0,
     {"delimiter: semicolon", "decimal: comma", "pattern: \"%d.%m.%Y %H:%M:%S\"",
      "2 of them only so", "DOUBT: the texts tell no zone", "unit: mm"},
     {"# time:"},
     AN_OK,
     false,
     NULL},
    {"day and month both under 13",
     "tile;zeit;spalt_mm\n" ROWS_OF("03.04.2026 06:00:00", "05.06.2026 06:00:07"),
     0,
     {"# time: {column: zeit, pattern: \"%d.%m.%Y %H:%M:%S\"}",
      "# time: {column: zeit, pattern: \"%m.%d.%Y %H:%M:%S\"}", "NEEDED",
      "DOUBT: two patterns read the samples as different days"},
     {"\n    time:"},
     AN_OK,
     true,
     NULL},
    {"month first, settled",
     "tile,when,gap_mm\nT-001,03/25/2026 06:00:00,1.5\nT-002,03/04/2026 06:00:07,2.5\n",
     0,
     {"pattern: \"%m/%d/%Y %H:%M:%S\"", "1 of them only so"},
     {"# time:"},
     AN_OK,
     false,
     NULL},
    {"slashes, open",
     "tile,when,gap_mm\nT-001,03/05/2026 06:00:00,1.5\nT-002,03/04/2026 06:00:07,2.5\n",
     0,
     {"# time:", "%d/%m/%Y", "%m/%d/%Y"},
     {"\n    time:"},
     AN_OK,
     true,
     NULL},
    {"day first here, month first there: neither",
     "tile,when,gap_mm\nT-001,25/03/2026 06:00:00,1.5\nT-002,03/25/2026 06:00:07,2.5\n",
     0,
     {"# time:", "neither of two patterns reads all"},
     {"\n    time:"},
     AN_OK,
     true,
     NULL},
    {"twelve hours with AM and PM",
     "tile,when,gap_mm\nT-001,03/25/2026 06:00:00 AM,1.5\nT-002,03/26/2026 01:00:07 PM,2.5\n",
     0,
     {"pattern: \"%m/%d/%Y %I:%M:%S %p\""},
     {"# time:"},
     AN_OK,
     false,
     NULL},
    {"compact",
     "tile,done_at,gap_mm\nT-001,20260302T065917,1.5\nT-002,20260302T065922,2.5\n",
     0,
     {"pattern: \"%Y%m%dT%H%M%S\""},
     {"# time:"},
     AN_OK,
     false,
     NULL},
    {"month as a word",
     "tile,t,gap_mm\nT-001,02-Mar-2026 06:59:17,1.5\nT-002,03-Apr-2026 06:59:22,2.5\n",
     0,
     {"pattern: \"%d-%b-%Y %H:%M:%S\""},
     {"# time:"},
     AN_OK,
     false,
     NULL},
    {"year first is no question",
     "tile,t,gap_mm\nT-001,2026-03-04 06:59,1.5\nT-002,2026-05-06 06:59,2.5\n",
     0,
     {"pattern: \"%Y-%m-%d %H:%M\"", "tell no zone"},
     {"# time:"},
     AN_OK,
     false,
     NULL},
    {"two digits of the year can be days",
     "tile,t,gap_mm\nT-001,04-03-05 06:59:00,1.5\nT-002,05-04-06 06:59:00,2.5\n",
     0,
     {"# time:"},
     {"\n    time:"},
     AN_OK,
     true,
     NULL},
    {"a date without a clock",
     "tile,date,gap_mm\nT-001,2026-03-14,1.5\nT-002,2026-03-15,2.5\n",
     0,
     {"pattern: \"%Y-%m-%d\"", "DOUBT: dates without a time of day"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"date and clock apart",
     "tile,date,clock,gap_mm\nT-001,2026-03-14,06:00:01,1.5\nT-002,2026-03-15,06:00:02,2.5\n",
     0,
     {"DOUBT: \"clock\" holds times too (of day only)"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"a clock only",
     "tile,time,gap_mm\nT-001,06:00:01,1.5\nT-002,06:00:02,2.5\n",
     0,
     {"holds the time of day only", "# time: file", "NEEDED"},
     {"\n    time:"},
     AN_OK,
     true,
     NULL},
    {"seconds since 1970",
     "tile,ts,gap_mm\nT-001,1772431200,1.5\nT-002,1772431207,2.5\n",
     0,
     {"pattern: \"%s\"", "DOUBT: numbers whose range and name suggest seconds since 1970"},
     {"tell no zone"},
     AN_OK,
     false,
     NULL},
    {"milliseconds since 1970",
     "tile,ts,gap_mm\nT-001,1772431200123,1.5\nT-002,1772431207456,2.5\n",
     0,
     {"counts milliseconds or finer", "NEEDED"},
     {"\n    time:"},
     AN_OK,
     true,
     NULL},
    {"a spreadsheet's days",
     "tile,date,gap_mm\nT-001,46083.25,1.5\nT-002,46083.26,2.5\n",
     0,
     {"pattern: \"%n\"", "suggest a spreadsheet's days", "tell no zone"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"no times at all",
     "tile,gap_mm\nT-001,1.5\nT-002,2.5\n",
     0,
     {"time: file", "DOUBT: all rows of a file get one time"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"Windows-1252",
     "tile;t;lv\n;;cd/m\xB2\nT-001;13.03.2026 06:00:00;1,5\nT-002;13.03.2026 06:00:01;2,5\n",
     0,
     {"encoding: windows-1252", "units_row: yes", "unit: \"cd/m\xC2\xB2\"",
      "DOUBT: latin-1 would read the same bytes the same way"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"UTF-8 by its characters",
     "tile,t,gap_\xC2\xB5m\nT-001,2026-03-13 06:00:00,1.5\nT-002,2026-03-13 06:00:01,2.5\n",
     0,
     {"encoding: utf-8", "1 characters beyond ASCII"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"a byte-order mark",
     "\xEF\xBB\xBFtile,t,gap_um\nT-001,2026-03-13 06:00:00,1.5\nT-002,2026-03-13 06:00:01,2.5\n",
     0,
     {"by its mark", "item: {kind: tile, column: tile}"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"UTF-16, low byte first",
     "\xFF\xFEt\0,\0x\0_\0m\0m\0\n\0T\0-\0001\0,\0001\0.\0005\0\n\0T\0-\0002\0,\0002\0.\0005\0\n\0",
     48,
     {"encoding: utf-16", "low byte first", "unit: mm"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"tabs",
     "tile\tt\tgap_um\nT-001\t2026-03-13 06:00:00\t1.5\nT-002\t2026-03-13 06:00:01\t2.5\n",
     0,
     {"delimiter: tab"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"bars",
     "tile|t|gap_um\nT-001|2026-03-13 06:00:00|1.5\nT-002|2026-03-13 06:00:01|2.5\n",
     0,
     {"delimiter: bar"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"preamble, comments, footer",
     "# press PR-2, wall W-001, temp=23.2\ntile,t,gap_um\nT-001,2026-03-13T06:00:00Z,1.5\n"
     "T-002,2026-03-13T06:00:01Z,2.5\n# rows=2\n",
     0,
     {"comment: \"#\"", "footer: \"^# rows=([0-9]+)$\"", "# temp: \"temp=([-+]?[0-9.,]+)\"",
      "stands before the header: is the whole file about that one?"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"the item before the header, by its kind",
     "# wall press PR-2, wall W-001\ntile,t,gap_um\nT-001,2026-03-13T06:00:00Z,1.5\n"
     "T-002,2026-03-13T06:00:01Z,2.5\n",
     0,
     {"press: \"press ([A-Za-z]+-[0-9]+)\"", "# wall: ", "item: {kind: press, column: press}",
      "- {column: tile, kind: tile}"},
     {NULL},
     AN_OK,
     false,
     "press"},
    {"a footer that does not count rows",
     "tile,t,gap_um\nT-001,2026-03-13T06:00:00Z,1.5\nT-002,2026-03-13T06:00:01Z,2.5\n# rows=7\n",
     0,
     {"# footer:", "DOUBT: its number is not that of the rows"},
     {"\n      footer:"},
     AN_OK,
     false,
     NULL},
    {"an end marker",
     "tile,t,gap_um\nT-001,2026-03-13T06:00:00Z,1.5\nT-002,2026-03-13T06:00:01Z,2.5\nEND\n",
     0,
     {"end_marker: END"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"lines before the header",
     "Gauge report\n\nMachine LG-2\ntile,t,gap_um\nT-001,2026-03-13T06:00:00Z,1.5\n"
     "T-002,2026-03-13T06:00:01Z,2.5\n",
     0,
     {"preamble_lines: 3", "the header is line 4"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"thousands and decimals both",
     "tile;t;x_nm\nT-001;2026-03-13 06:00;1.234,5\nT-002;2026-03-13 06:01;2.345,5\n",
     0,
     {"decimal: comma", "group: point"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"1,234 alone is open",
     "tile;t;x_nm\nT-001;2026-03-13 06:00;1,234\nT-002;2026-03-13 06:01;2,345\n",
     0,
     {"# decimal: comma", "NEEDED", "or a thousands mark"},
     {"\n      decimal:"},
     AN_OK,
     true,
     NULL},
    {"0,234 settles it",
     "tile;t;x_nm\nT-001;2026-03-13 06:00;0,234\nT-002;2026-03-13 06:01;2,345\n",
     0,
     {"decimal: comma"},
     {"NEEDED"},
     AN_OK,
     false,
     NULL},
    {"decimal commas in quotes",
     "tile,t,x_nm\nT-001,2026-03-13 06:00,\"1,5\"\nT-002,2026-03-13 06:01,\"2,25\"\n",
     0,
     {"delimiter: comma", "decimal: comma", "numbers_quoted: yes"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"both marks",
     "tile;t;x_nm\nT-001;2026-03-13 06:00;1,5\nT-002;2026-03-13 06:01;2,5\nT-003;2026-03-13 06:02;2.5\n",
     0,
     {"decimal: comma", "DOUBT: 1 numbers are written with the other mark, in x_nm (1)"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"codes of missing readings",
     "tile,t,x_um\nT-001,2026-03-13 06:00,1.5\nT-001,2026-03-13 06:01,---\nT-001,2026-03-13 06:02,OVER\n"
     "T-001,2026-03-13 06:03,2.5\nT-001,2026-03-13 06:04,<0.1\nT-001,2026-03-13 06:05,2.5\nT-001,2026-03-13 06:06,2.5\n",
     0,
     {"missing: {\"---\": missing, OVER: over_range, \"<*\": under_range}",
      "DOUBT: what each means was told by its look"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"a damaged number is no code",
     "tile,t,x_um\nT-001,2026-03-13 06:00,1.5\nT-001,2026-03-13 06:01,1.2.3\nT-001,2026-03-13 06:02,2.5\n",
     0,
     {"neither numbers nor codes", "\"1.2.3\" in \"x_um\" (line 3 of"},
     {"missing:"},
     AN_OK,
     false,
     NULL},
    {"a sentinel may be a code",
     "tile,t,x_um\nT-001,2026-03-13 06:00,1.5\nT-001,2026-03-13 06:01,-999.0\n",
     0,
     {"DOUBT: -999 may be a code"},
     {"missing:"},
     AN_OK,
     false,
     NULL},
    {"a unit that could be two",
     "tile,t,r_mohm\nT-001,2026-03-13 06:00,1.5\nT-001,2026-03-13 06:01,2.5\n",
     0,
     {"unit: mohm", "DOUBT: milliohm, or megohm"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"one letter is no unit",
     "tile,t,factor_c\nT-001,2026-03-13 06:00,1.5\nT-001,2026-03-13 06:01,2.5\n",
     0,
     {"unit: \"?\"", "DOUBT: no unit is told anywhere"},
     {"degC"},
     AN_OK,
     false,
     NULL},
    {"a unit in brackets",
     "tile,t,Lv [cd/m2]\nT-001,2026-03-13 06:00,1.5\nT-001,2026-03-13 06:01,2.5\n",
     0,
     {"unit: \"cd/m2\"", "column: \"Lv [cd/m2]\""},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"counts among a whole",
     "tile,t,missing_cnt,placed_cnt\nT-001,2026-03-13 06:00,1,960\nT-002,2026-03-13 06:01,0,960\n",
     0,
     {"count: missing_cnt", "opportunities: placed_cnt", "- {part: missing_cnt, whole: placed_cnt}",
      "exceeds \"placed_cnt\" in 0 of 2 rows"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"counts without one",
     "tile,t,defects\nT-001,2026-03-13 06:00,1\nT-002,2026-03-13 06:01,0\n",
     0,
     {"count: defects", "# opportunities:", "right for equal areas only"},
     {"part_whole"},
     AN_OK,
     false,
     NULL},
    {"words that fail",
     "tile,t,result\nT-001,2026-03-13 06:00,pass\nT-002,2026-03-13 06:01,fail\n"
     "T-003,2026-03-13 06:02,pass\nT-004,2026-03-13 06:03,pass\nT-005,2026-03-13 06:04,pass\nT-006,2026-03-13 06:05,fail\n",
     0,
     {"count: {column: result, words: [fail]}", "DOUBT: do exactly these words mean a failure?"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"splits within an item, tool, gauge, operator, attempt, sequence",
     "rec_no,tile,t,colour,head,gauge,operator,attempt,x_um\n"
     "1,T-001,2026-03-13 06:00,R,H1,G-1,ann,1,1.5\n2,T-001,2026-03-13 06:01,G,H2,G-1,ann,1,1.5\n"
     "3,T-001,2026-03-13 06:02,R,H1,G-1,ann,2,1.6\n4,T-001,2026-03-13 06:03,G,H2,G-1,bob,1,1.5\n"
     "5,T-002,2026-03-13 06:04,R,H1,G-1,bob,1,1.7\n6,T-002,2026-03-13 06:05,G,H2,G-1,bob,2,1.5\n",
     0,
     {"split: [colour]", "sequence_column: rec_no", "tool_column: head", "gauge_column: gauge",
      "operator_column: operator", "attempt_column: attempt", "# colour: [R, G]"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"a running number within the item is no sequence of the file",
     "tile,t,shot_no,x_um\nT-001,2026-03-13 06:00,1,1.5\nT-001,2026-03-13 06:01,2,1.5\nT-001,2026-03-13 06:02,3,1.5\n"
     "T-002,2026-03-13 06:03,1,1.5\nT-002,2026-03-13 06:04,2,1.5\nT-002,2026-03-13 06:05,3,1.6\n",
     0,
     {"column: x_um"},
     {"sequence_column"},
     AN_OK,
     false,
     NULL},
    {"places on a grid",
     "tile,t,row,col,x_um\nT-001,2026-03-13 06:00,1,1,1.5\nT-001,2026-03-13 06:01,1,2,1.6\n"
     "T-001,2026-03-13 06:02,2,1,1.5\nT-001,2026-03-13 06:03,2,2,1.5\n",
     0,
     {"grid: {row: row, column: col}", "places: 0 rows"},
     {"# grid"},
     AN_OK,
     false,
     NULL},
    {"serials: few leave letters open",
     "tile,t,x_um\nSV26-00001-A,2026-03-13 06:00,1.5\nSV26-00002-B,2026-03-13 06:01,1.6\n",
     0,
     {"tile: {id: \"[A-Z]{2}[0-9]{2}-[0-9]{5}-[A-Z]\"}", "seen in 2 serials only"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"two columns of serials",
     "tile,wafer_id,t,x_um\nT-001,W-7,2026-03-13 06:00,1.5\nT-002,W-8,2026-03-13 06:01,1.6\n",
     0,
     {"item: {kind: tile, column: tile}", "- {column: wafer_id, kind: wafer}",
      "DOUBT: \"wafer_id\" holds serials too", "DOUBT: did it go into this row's item"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"a lot before the item",
     "lot,tile,t,x_um\nL-1,T-001,2026-03-13 06:00,1.5\nL-1,T-002,2026-03-13 06:01,1.6\n",
     0,
     {"item: {kind: tile, column: tile}", "- {column: lot, kind: lot}"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"one column of numbers",
     "gap_um\n1.5\n2.5\n3.5\n",
     0,
     {"one column only", "# item: {kind: KIND, column: COLUMN}", "NEEDED", "column: gap_um"},
     {NULL},
     AN_OK,
     true,
     NULL},
    {"all text",
     "name,place\nanna,hall\nberta,yard\ncarla,hall\n",
     0,
     {"DOUBT: no column holds readings or counts", "NEEDED"},
     {"characteristics:"},
     AN_OK,
     true,
     NULL},
    {"rows cut short",
     "tile,t,x_um\nT-001,2026-03-13 06:00,1.5\nT-002,2026-03-13 06:01,1.6\nT-003,2026\nT-004,2026-03-13 06:01,1.6\n",
     0,
     {"DOUBT: 1 of 4 rows of sample.csv do not have 3 fields, the first in line 4"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"a column twice",
     "tile,t,x_um,x_um\nT-001,2026-03-13 06:00,1.5,2\nT-002,2026-03-13 06:01,1.6,2\n",
     0,
     {"has the column \"x_um\" twice"},
     {NULL},
     AN_OK,
     true,
     NULL},
    {"a column without a name",
     "tile,t,x_um,\nT-001,2026-03-13 06:00,1.5,\nT-002,2026-03-13 06:01,1.6,\n",
     0,
     {"# columns: [tile, t, x_um]", "DOUBT: a column has no name in the header"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"set-up rows",
     "tile,t,tool_state,x_um\nT-001,2026-03-13 06:00,PROD,1.5\nT-001,2026-03-13 06:01,PROD,1.6\n"
     "T-001,2026-03-13 06:02,PROD,1.6\nT-001,2026-03-13 06:03,SETUP,1.6\nT-001,2026-03-13 06:04,PROD,1.6\nT-001,2026-03-13 06:05,PROD,1.6\n",
     0,
     {"column: tool_state", "production: [PROD]", "DOUBT: by the word only"},
     {NULL},
     AN_OK,
     false,
     NULL},
    {"nothing", "", 0, {NULL}, {NULL}, AN_BAD_INPUT, false, NULL},
    {"blank lines", "\n\n\n", 0, {NULL}, {NULL}, AN_BAD_INPUT, false, NULL},
    {"no header", "1.5,2.5\n3.5,4.5\n", 0, {NULL}, {NULL}, AN_BAD_INPUT, false, NULL},
    {"header only", "tile,t,x\n", 0, {NULL}, {NULL}, AN_BAD_INPUT, false, NULL},
    {"prose",
     "This is a letter.\nIt holds some words, and no table\nat all, as letters do.\n",
     0,
     {NULL},
     {NULL},
     AN_BAD_INPUT,
     false,
     NULL},
    {"zeroes", "\0\0\0\0\0\0\0\0\0\0\0\0", 12, {NULL}, {NULL}, AN_BAD_INPUT, false, NULL},
    {"a quote that stays open",
     "tile,t,x_um\nT-001,\"2026-03-13 06:00,1.5\nT-002,2026-03-13 06:01,1.6\n",
     0,
     {NULL},
     {NULL},
     AN_BAD_INPUT,
     false,
     NULL},
};
enum { SAMPLES = sizeof samples / sizeof samples[0] };

static char folder[64];

static void make_folder(void)
{
    (void)snprintf(folder, sizeof folder, "/tmp/an-probe-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(folder));
}

static void remove_folder(void)
{
    static const char *const names[] = {"sample.csv", "other.csv"};
    char path[128];
    for (size_t i = 0; i < 2; i++) {
        (void)snprintf(path, sizeof path, "%s/%s", folder, names[i]);
        (void)unlink(path);
    }
    ck_assert_int_eq(rmdir(folder), 0);
}

static void write_file(const char *name, const char *text, size_t length, char path[128])
{
    (void)snprintf(path, 128, "%s/%s", folder, name);
    FILE *file = fopen(path, "wb");
    ck_assert_ptr_nonnull(file);
    ck_assert_uint_eq(fwrite(text, 1, length, file), length);
    ck_assert_int_eq(fclose(file), 0);
}

/* The block with comments joined again: a break, its indent and the mark are one blank. */
static char *flat(const char *block)
{
    char *out = malloc(strlen(block) + 1);
    size_t used = 0;
    ck_assert_ptr_nonnull(out);
    for (const char *p = block; *p;) {
        if (*p == '\n') {
            const size_t indent = strspn(p + 1, " ");
            if (strncmp(p + 1 + indent, "#   ", 4) == 0) {
                out[used++] = ' ';
                p += 1 + indent + 4;
                continue;
            }
        }
        out[used++] = *p++;
    }
    out[used] = '\0';
    return out;
}

struct run {
    struct an_arena *arena;
    struct an_probe_result result;
    struct an_error err;
    struct an_text block;
    char *text;
};

static enum an_status probe_paths(struct run *run, const char *const *paths, size_t count,
                                  const struct an_probe_options *options)
{
    memset(run, 0, sizeof *run);
    run->arena = an_arena_open();
    const enum an_status st = an_probe(paths, count, options, run->arena, &run->result, &run->err);
    if (!st) {
        an_probe_block(&run->result, &run->block);
        run->text = flat(an_text_of(&run->block));
    }
    return st;
}

static void run_close(struct run *run)
{
    free(run->text);
    an_text_free(&run->block);
    an_arena_close(run->arena);
}

START_TEST(small_samples)
{
    const struct sample *sample = &samples[_i];
    const struct an_probe_options options = {.name = "station", .kind = sample->kind};
    char path[128];
    struct run run;

    make_folder();
    write_file("sample.csv", sample->text, sample->length ? sample->length : strlen(sample->text),
               path);
    const char *const paths[] = {path};
    const enum an_status st = probe_paths(&run, paths, 1, &options);
    ck_assert_msg(st == sample->fails, "%s: %s (%s)", sample->what, an_status_name(st),
                  run.err.text);
    for (size_t i = 0; i < 8 && sample->has[i]; i++) {
        ck_assert_msg(strstr(run.text, sample->has[i]), "%s: no '%s' in\n%s", sample->what,
                      sample->has[i], run.text);
    }
    for (size_t i = 0; i < 4 && sample->hasnt[i]; i++) {
        ck_assert_msg(!strstr(run.text, sample->hasnt[i]), "%s: '%s' in\n%s", sample->what,
                      sample->hasnt[i], run.text);
    }
    if (st) {
        ck_assert_msg(run.err.text[0] && !strchr(run.err.text, '\n'), "%s: no clear line",
                      sample->what);
    } else {
        ck_assert_msg(run.result.complete == !sample->open, "%s:\n%s", sample->what, run.text);
    }
    run_close(&run);
    remove_folder();
}
END_TEST

/* What is proposed can be read as a description, whenever nothing is left open. */
static void no_mistake(void *context, const char *path, uint64_t line, uint64_t column,
                       const char *text)
{
    (void)path;
    ck_abort_msg("%s: %llu:%llu: %s", (const char *)context, (unsigned long long)line,
                 (unsigned long long)column, text);
}

START_TEST(proposals_are_descriptions)
{
    const struct sample *sample = &samples[_i];
    const struct an_probe_options options = {.name = "station", .kind = sample->kind};
    char path[128];
    struct run run;

    make_folder();
    write_file("sample.csv", sample->text, sample->length ? sample->length : strlen(sample->text),
               path);
    const char *const paths[] = {path};
    if (!probe_paths(&run, paths, 1, &options) && run.result.complete) {
        struct an_text yaml = {0};
        struct an_line *line = NULL;
        an_text_addf(&yaml, "line: x\nzone: Europe/Rome\nshifts: {day: 06:00}\n%s%s",
                     strstr(run.block.at, "\nkinds:") ? "" : "kinds: {}\n", run.block.at);
        const struct an_bytes bytes = {(unsigned char *)yaml.at, yaml.length};
        ck_assert_int_eq(an_line_read(bytes, "block", ".", no_mistake,
                                      (void *)(uintptr_t)sample->what, &line, &run.err),
                         AN_OK);
        ck_assert_uint_eq(line->station_count, 1);
        an_line_close(line);
        an_text_free(&yaml);
    }
    run_close(&run);
    remove_folder();
}
END_TEST

static const struct {
    const char *what, *first, *second, *doubt;
} pairs[] = {
    {"another order", "tile,t,x_um\nT-001,2026-03-13 06:00,1.5\n",
     "t,tile,x_um\n2026-03-13 06:00,T-001,1.5\n", "has the columns in another order than"},
    {"another delimiter", "tile,t,x_um\nT-001,2026-03-13 06:00,1.5\n",
     "tile;t;x_um\nT-001;2026-03-13 06:00;1.5\n", "has the delimiter semicolon where"},
    {"one column more", "tile,t,x_um\nT-001,2026-03-13 06:00,1.5\n",
     "tile,t,x_um,y_um\nT-001,2026-03-13 06:00,1.5,2.5\n", "has a column \"y_um\" that"},
    {"one column less", "tile,t,x_um,y_um\nT-001,2026-03-13 06:00,1.5,2.5\n",
     "tile,t,x_um\nT-001,2026-03-13 06:00,1.5\n", "has no column \"y_um\""},
    {"another unit", "tile,t,x\n,,um\nT-001,2026-03-13 06:00,1.5\n",
     "tile,t,x\n,,nm\nT-001,2026-03-13 06:00,1500.5\n", "has \"x\" in nm where"},
    {"no units", "tile,t,x\n,,um\nT-001,2026-03-13 06:00,1.5\n",
     "tile,t,x\nT-001,2026-03-13 06:00,1500.5\n", "has no row of units"},
    {"another preamble", "hello\ntile,t,x\nT-001,2026-03-13 06:00,1.5\n",
     "tile,t,x\nT-001,2026-03-13 06:00,1500.5\n", "0 lines before the header"},
    {"a file of nothing", "tile,t,x\nT-001,2026-03-13 06:00,1.5\n", "", "passed over: "},
};

START_TEST(files_that_differ)
{
    const struct an_probe_options options = {.name = "station"};
    char first[128];
    char second[128];
    struct run run;

    make_folder();
    write_file("sample.csv", pairs[_i].first, strlen(pairs[_i].first), first);
    write_file("other.csv", pairs[_i].second, strlen(pairs[_i].second), second);
    const char *const paths[] = {first, second};
    ck_assert_int_eq(probe_paths(&run, paths, 2, &options), AN_OK);
    const char *told = strstr(run.text, pairs[_i].doubt);
    ck_assert_msg(told, "%s: no '%s' in\n%s", pairs[_i].what, pairs[_i].doubt, run.text);
    run_close(&run);
    remove_folder();
}
END_TEST

/* The k-th allocation fails: a status, never a crash, and the next run is as the undisturbed one. */
START_TEST(memory_runs_out)
{
    const struct an_probe_options options = {.name = "station"};
    char path[128];
    struct run run;

    make_folder();
    write_file("sample.csv", samples[2].text, strlen(samples[2].text), path);
    const char *const paths[] = {path};
    (void)an_alloc_fail_at(0, false);
    ck_assert_int_eq(probe_paths(&run, paths, 1, &options), AN_OK);
    run_close(&run);
    const size_t all = an_alloc_fail_at(0, false);
    ck_assert_uint_gt(all, 10);
    for (size_t k = 2; k <= all; k++) { /* the first is the test's own arena */
        memset(&run, 0, sizeof run);
        run.arena = an_arena_open();
        (void)an_alloc_fail_at(k - 1, true);
        const enum an_status st = an_probe(paths, 1, &options, run.arena, &run.result, &run.err);
        (void)an_alloc_fail_at(0, false);
        ck_assert_msg(st == AN_OK || st == AN_NO_MEMORY, "allocation %zu: %s", k,
                      an_status_name(st));
        run_close(&run);
    }
    remove_folder();
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("probe");
    TCase *cases = tcase_create("samples");
    tcase_add_loop_test(cases, small_samples, 0, SAMPLES);
    tcase_add_loop_test(cases, proposals_are_descriptions, 0, SAMPLES);
    tcase_add_loop_test(cases, files_that_differ, 0, (int)(sizeof pairs / sizeof pairs[0]));
    tcase_add_test(cases, memory_runs_out);
    suite_add_tcase(suite, cases);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
