/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Wrong descriptions and every mistake that must be told about them, in one run, in the order of
 * the file, at its line and column. What counts as a mistake stands in docs/line-description.md.
 */
#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "support.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct expected {
    unsigned line, column;
    const char *piece; /* of the text; NULL ends the list */
};

#define EXPECTED_MOST 9

struct wrong {
    const char *yaml;
    struct expected told[EXPECTED_MOST];
};

static void compare(const char *yaml, const struct expected told[EXPECTED_MOST])
{
    struct heard heard;
    struct an_line *line = NULL;
    struct an_error err = {0};
    ck_assert_int_eq((int)read_text(yaml, &heard, &line, &err), AN_BAD_CONFIG);
    ck_assert_ptr_null(line);
    size_t wanted = 0;
    while (wanted < EXPECTED_MOST && told[wanted].piece) {
        wanted++;
    }
    for (size_t i = 0; i < wanted || i < heard.count; i++) {
        ck_assert_msg(i < wanted, "not expected: %d:%d %s\n%s", (int)heard.at[i].line,
                      (int)heard.at[i].column, heard.at[i].text, yaml);
        ck_assert_msg(i < heard.count, "not told: %u:%u %s\n%s", told[i].line, told[i].column,
                      told[i].piece, yaml);
        ck_assert_msg(heard.at[i].line == told[i].line && heard.at[i].column == told[i].column &&
                          strstr(heard.at[i].text, told[i].piece),
                      "told %d:%d %s\nwanted %u:%u %s\n%s", (int)heard.at[i].line,
                      (int)heard.at[i].column, heard.at[i].text, told[i].line, told[i].column,
                      told[i].piece, yaml);
    }
    ck_assert_uint_eq(err.line, told[0].line);
    ck_assert_uint_eq(err.column, told[0].column);
    char count[40];
    (void)snprintf(count, sizeof count, "has %zu mistake", wanted);
    ck_assert_ptr_nonnull(strstr(err.text, count));
}

/* --- whole files ----------------------------------------------------------------------------- */

#define HEAD "line: a\nzone: UTC\nshifts: {d: 06:00}\nkinds: {tile: }\n" /* four lines */
#define STATION "stations: {s: {time: file, item: {kind: tile, column: id}}}\n"

static const struct wrong files[] = {
    {"", {{1, 1, "the file is empty"}}},
    {"# only a comment\n", {{1, 1, "the file is empty"}}},
    {"- a\n- b\n", {{1, 1, "the description is a map (key: value), not a list"}}},
    {"just words\n", {{1, 1, "is a map (key: value), not a text"}}},
    {HEAD, {{1, 1, "has no 'stations'"}}},
    {"line:\nzone: UTC\n" STATION "shifts: {d: 06:00}\nkinds: {tile: }\n",
     {{1, 1, "'line' of the description has no value"}}},
    {HEAD "stations: {}\n", {{5, 11, "at least one station"}}},
    {HEAD "stations: [a]\n", {{5, 11, "'stations' is a map (key: value), not a list"}}},
    {HEAD STATION "Stations: 3\nzome: x\nwhatever: y\n",
     {{6, 1, "unknown key 'Stations' in the description (did you mean 'stations'?)"},
      {7, 1, "did you mean 'zone'?"},
      {8, 1, "known keys are 'line', 'title', 'zone'"}}},
    {HEAD STATION "line: b\nzone: UTC\n",
     {{6, 1, "'line' is here for the second time; the first is on line 1"},
      {7, 1, "'zone' is here for the second time; the first is on line 2"}}},
    /* bytes */
    {HEAD STATION "title: caf\xE9\n", {{6, 11, "not UTF-8 (byte \\xE9)"}}},
    {HEAD "\tx: 1\n  \ty: 2\n",
     {{5, 1, "a tab in the indentation"}, {6, 3, "a tab in the indentation"}}},
    {HEAD STATION "title: \"a\\0b\"\n", {{6, 8, "holds a NUL character"}}},
    /* syntax: what stood before is checked all the same; what is missing is not told */
    {"lime: a\nzone: Mars/Base\nkinds: {tile: }\nshifts: [1\n",
     {{1, 1, "did you mean 'line'?"},
      {2, 7, "no time zone 'Mars/Base'"},
      {4, 9, "'shifts' is a map"},
      {5, 1, "not YAML from here on"}}},
    {"line: a: b\n", {{1, 8, "put quotes round the text"}}},
    {"line: \"a\\qb\"\n", {{1, 9, "use single quotes"}}},
    {HEAD STATION "---\nline: b\n", {{6, 1, "a second document"}}},
    {HEAD STATION "title: *nobody\n", {{6, 8, "is marked '&nobody'"}}},
    {HEAD STATION "title: !!str x\n", {{6, 14, "leave it out"}}},
    {HEAD STATION "? [a]\n: b\n", {{6, 3, "a key is a word, not a list"}}},
    {HEAD STATION "<<: 3\n", {{6, 1, "'<<' takes a map"}}},
    {HEAD STATION
     "title: [[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[x]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]\n",
     {{6, 8, "'title' wants a text"}, {6, 39, "nested deeper than 32"}}},
    /* names, zone */
    {"line: a b\nzone: Europe/Roma\nshifts: {1st: 06:00}\nkinds: {a.b: }\n"
     "stations: {x=y: {time: file, item: {kind: a.b, column: id}}}\n",
     {{1, 7, "cannot name a line"},
      {2, 7, "no time zone 'Europe/Roma'"},
      {3, 10, "cannot name a shift"},
      {4, 9, "cannot name a kind"},
      {5, 12, "cannot name a station"}}},
    /* shifts */
    {"line: a\nzone: UTC\nkinds: {tile: }\n" STATION
     "shifts:\n  a: 06:00\n  b: 14h\n  c: {from: 05:00, to: 07:00}\n  d: {to: 09:00}\n"
     "  e: {from: 23:00, until: 1:00}\n  f: 24:01\n  g: [06:00]\n",
     {{7, 6, "'b' wants a time of day such as 06:00, not '14h'"},
      {8, 3, "shift 'c' (05:00 to 07:00) overlaps shift 'a'"},
      {9, 3, "shift 'd' has no 'from'"},
      {10, 20, "unknown key 'until' in shift 'e'"},
      {11, 6, "not '24:01'"},
      {12, 6, "shift 'g' is a map"}}},
    {"line: a\nzone: UTC\nkinds: {tile: }\nshifts: {a: 06:00, b: 06:00}\n" STATION,
     {{4, 20, "overlaps shift 'a'"}}},
    {"line: a\nzone: UTC\nkinds: {tile: }\nshifts: {}\n" STATION, {{4, 9, "wants 1 to 24 shifts"}}},
    /* kinds */
    {"line: a\nzone: UTC\nshifts: {d: 06:00}\n" STATION
     "kinds:\n  tile: {id: \"T-[0-9\", produkt: yes}\n  tile: {}\n  wall: {product: maybe}\n"
     "  lot: {id: \"((a{99}){99}){99}\"}\n  x: {title: [a]}\n"
     "  y: {id: \"a+++++++++++++++++++++++++++++++++++++++\"}\n"
     "  z: {id: \"[A-Z]+-[0-9]+-[0-9]+-[0-9]+-[0-9]+-[0-9]+-[0-9]+-[0-9]+-[0-9]+-[0-9]+-[0-9]+"
     "-[0-9]+-[0-9]+-[0-9]+-[0-9]+-[0-9]+([+][0-9]+)+\"}\n",
     {{6, 14, "is not a regular expression: 'T-[0-9'"},
      {6, 24, "unknown key 'produkt' in kind 'tile' (did you mean 'product'?)"},
      {7, 3, "'tile' is here for the second time"},
      {8, 19, "'product' wants yes or no, not 'maybe'"},
      {9, 13, "too large a pattern"},
      {10, 14, "'title' wants a text, not a list"},
      {11, 11, "too large a pattern"}}},
    /* two stations, one folder */
    {HEAD "stations:\n  s: {folder: x/y/, time: file, item: {kind: tile, column: id}}\n"
          "  t: {folder: ./x/y, time: file, item: {kind: tile, column: id}}\n",
     {{7, 3, "stations 't' and 's' both take '*.csv' in folder 'x/y'"}}},
};

START_TEST(whole_file)
{
    compare(files[_i].yaml, files[_i].told);
}
END_TEST

/* --- the keys of a station, each written on lines 7 and after, four blanks in ------------------ */

static const struct wrong stations[] = {
    {"tiem: x\n",
     {{6, 3, "station 's' has no 'time'"},
      {6, 3, "station 's' has no 'item'"},
      {7, 5, "unknown key 'tiem' in station 's' (did you mean 'time'?)"}}},
    {"time: {columm: t}\n    item: {kind: tyle, column: ''}\n",
     {{7, 11, "'time' of station 's' has no 'column'"},
      {7, 12, "did you mean 'column'?"},
      {8, 18, "names the kind 'tyle', which is not declared (did you mean 'tile'?)"},
      {8, 32, "'column' names no column"}}},
    {"time: now\n    item: tile\n",
     {{7, 11, "'file' if rows carry no time; not 'now'"},
      {8, 11, "'item' of station 's' is a map"}}},
    {"time: {column: t, pattern: \"%d.%Q\", zone: Nowhere/Land}\n"
     "    item: {kind: tile, column: id}\n",
     {{7, 32, "'%Q'"}, {7, 47, "no time zone 'Nowhere/Land'"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    folder: ../x\n    files: a/*.csv\n"
     "    format: {delimiter: \"+\", decimal: dot, preamble_lines: -1, footer: \"^# rows\","
     " encoding: utf-9}\n",
     {{9, 13, "without '..', not '../x'"},
      {10, 12, "without '/'"},
      {11, 25, "'delimiter' cannot be '+'; it can be 'comma', 'semicolon', 'tab', 'bar'"},
      {11, 39, "'decimal' cannot be 'dot'"},
      {11, 60, "a whole number from 0 to 1000, not '-1'"},
      {11, 72, "needs round brackets"},
      {11, 93, "did you mean 'utf-8'?"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    format: {decimal: comma, group: comma}\n",
     {{9, 23, "'decimal' is the delimiter too"}, {9, 37, "'decimal' and 'group' are both ','"}}},
    {"time: file\n    item: {kind: tile, column: id}\n"
     "    keep: {readings: 0 days, originals: 2 lustra}\n",
     {{9, 22, "'readings' is nothing at all"}, {9, 41, "can be days, weeks, months or years"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    keep: {readings: soon, originals: 201 years}\n",
     {{9, 22, "a whole number and a unit, such as 2 years, not 'soon'"}, {9, 39, "more than 200"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    keep: {readings: 2 years, originals: 1 year}\n",
     {{9, 42, "'originals' would go before the readings that were taken from them; keep"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    keep: {originals: 1 year}\n",
     {{9, 23, "taken from them, which are kept for good"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    keep: {}\n",
     {{9, 11, "'keep' says nothing"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    keep: {reading: 1 year}\n",
     {{9, 12, "did you mean 'readings'"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    folder: /var/x\n    gauge: G\n"
     "    gauge_column: g\n    silent_after: soon\n    cautions: \"a\\nb\"\n    part_whole: {part: a}\n",
     {{9, 13, "not '/var/x'"},
      {10, 12, "both 'gauge' and 'gauge_column'"},
      {12, 19, "such as 30 min, 8 h or 2 d"},
      {13, 15, "holds a line break"},
      {14, 17, "'part_whole' is a list"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    links:\n      - {column: d}\n"
     "      - {column: d, kind: paste, other_is: mother, role: a, role_column: b}\n      - x\n",
     {{10, 9, "a link of station 's' has no 'kind'"},
      {11, 27, "'paste', which is not declared; declared under 'kinds' are 'tile'"},
      {11, 44, "'other_is' cannot be 'mother'"},
      {11, 74, "both 'role' and 'role_column'"},
      {12, 9, "a link of station 's' is a map"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    links:\n"
     "      - {column: d, kind: tile, share: 1.5, share_column: s, roles: [R]}\n"
     "      - {column: d, kind: tile, ends: yes, single: yes, confidence: sure}\n"
     "      - {column: d, kind: tile, ends: {column: act}, confidence: {column: how}}\n"
     "      - {column: d, kind: tile, other_is: child, made_first: yes}\n"
     "      - {column: d, kind: tile, other_is: same, holds_for: 3 d}\n",
     {{10, 40, "'share' is 1.5; it is a part of the whole, 0 to 1"},
      {10, 59, "both 'share' and 'share_column'"},
      {10, 69, "'roles' lists the words of 'role_column'"},
      {11, 52, "every row of a link of station 's' ends a link"},
      {11, 69, "'confidence' cannot be 'sure'"},
      {12, 39, "'ends' of a link of station 's' has no 'words'"},
      {12, 66, "'confidence' of a link of station 's' has no words"},
      {13, 62, "has 'other_is: child'"},
      {14, 60, "'holds' must be 'before' or 'after'"}}},
    {"time: file\n    item: {kind: tile, column: id, serial_within: long}\n    links:\n"
     "      - {column: d, kind: tile, other_is: same, holds: later, role: x}\n",
     {{8, 51, "'serial_within' wants a time such as"},
      {10, 56, "'holds' cannot be 'later'"},
      {10, 63, "unknown key 'role' in a link of station 's'"}}},
    {"time: file\n    item: {kind: tile, column: id}\n    purpose: {column: c}\n"
     "    part_whole: [{part: a, whole: a}, {part: b}]\n    allowed: {colour: [], side: [N, N]}\n"
     "    preamble: {wall: \"W[0-9]+\"}\n    missing: {OVER: high, '*': missing, '': over_range}\n",
     {{9, 23, "no 'production'"},
      {10, 35, "are the same column, 'a'"},
      {10, 39, "has no 'whole'"},
      {11, 23, "no word is allowed for 'colour'"},
      {11, 37, "'N' stands twice"},
      {12, 22, "needs round brackets"},
      {13, 21, "'OVER' cannot be 'high'"},
      {13, 27, "matches every field"},
      {13, 41, "an empty field is always missing"}}},
    /* a declared list of columns is a promise that everything else is checked against */
    {"time: {column: taken}\n    item: {kind: tile, column: idd}\n    columns: [id, takn, v, colour]\n"
     "    characteristics: {v: {column: w, unit: '1', split: [color]}}\n",
     {{7, 20, "names the column 'taken', which is not among"},
      {8, 32, "did you mean 'id'?"},
      {10, 35, "names the column 'w'"},
      {10, 57, "did you mean 'colour'?"}}},
};

START_TEST(station_keys)
{
    struct an_text yaml = {0};
    an_text_addf(&yaml, HEAD "stations:\n  s:\n    %s", stations[_i].yaml);
    compare(an_text_of(&yaml), stations[_i].told);
    an_text_free(&yaml);
}
END_TEST

/* --- characteristics, one a line from line 9 on, six blanks in --------------------------------- */

static const struct wrong characteristics[] = {
    /* which sort */
    {"      a: {unit: um}\n      b: {column: x, count: y, unit: '1'}\n      c: 3\n      d:\n",
     {{9, 7, "characteristic 'a' has none of 'column' (measured)"},
      {10, 22, "characteristic 'b' has more than one of"},
      {11, 10, "characteristic 'c' is a map"},
      {12, 7, "characteristic 'd' has none of"}}},
    {"      a: {column: x, unit: um, per: 3}\n      b: {count: x, factor: 2}\n"
     "      c: {derived: {how: mean, of: a}, subgroup: row}\n      d: {column: x}\n",
     {{9, 32, "'per' is for counted characteristics"},
      {10, 21, "'factor' is for measured characteristics"},
      {11, 40, "'subgroup' is for measured and counted characteristics"},
      {12, 7, "characteristic 'd' has no 'unit'"}}},
    /* units */
    {"      a: {column: x, unit: um, column_unit: nmm}\n"
     "      b: {column: x, unit: um, column_unit: V}\n"
     "      c: {column: x, unit: um, factor: 3}\n"
     "      d: {column: x, unit: um, column_unit: nm, factor: 1000}\n"
     "      e: {column: x, unit: um, column_unit: tick, factor: 0}\n"
     "      f: {column: x, unit: um, column_unit: tick, factor: \"0,5\"}\n",
     {{9, 45, "'nmm' is not in the table of units (did you mean 'nm'?)"},
      {10, 45, "'V' (voltage) cannot become 'um' (length)"},
      {11, 40, "'factor' needs 'column_unit'"},
      {12, 57, "1 nm is 0.001 um, so 'factor' cannot be 1000"},
      {13, 59, "'factor' is 0"},
      {14, 59, "here the decimal mark is a point"}}},
    /* bounds */
    {"      a: {column: x, unit: um, spec: {lower: 3, upper: 3}}\n"
     "      b: {column: x, unit: um, spec: {lower: 1, upper: 3, target: 4}}\n"
     "      c: {column: x, unit: um, possible: {min: 3, max: 1}}\n"
     "      d: {column: x, unit: um, possible: {min: 0, max: 1}, spec: {lower: 200, upper: 300}}\n"
     "      e: {column: x, unit: um, spec: {uper: 3}}\n"
     "      f: {column: x, unit: um, spec: {upper: three}}\n",
     {{9, 46, "'lower' (3) is not below 'upper' (3)"},
      {10, 67, "'target' (4) lies outside"},
      {11, 48, "'min' (3) is not below 'max' (1)"},
      {12, 42, "the possible range and the spec of characteristic 'd' do not meet"},
      {13, 38, "'spec' says nothing"},
      {13, 39, "unknown key 'uper' in 'spec' (did you mean 'upper'?)"},
      {14, 46, "'upper' wants a number, not 'three'"}}},
    /* samples and families */
    {"      a: {column: x, unit: um, family: xbar_r, subgroup: {every: 26}}\n"
     "      b: {column: x, unit: um, family: xbar_r, subgroup: row}\n"
     "      c: {column: x, unit: um, family: u}\n"
     "      d: {count: x, family: xbar_s}\n"
     "      e: {count: x, family: p}\n"
     "      f: {count: x, family: np}\n"
     "      g: {column: x, unit: um, family: xbar-r}\n"
     "      h: {column: x, unit: um, subgroup: {every: 1}}\n"
     "      i: {derived: {how: mean, of: a}, family: xbar_s}\n",
     {{9, 40, "'xbar_r' takes samples of 2 to 25, not of 26"},
      {10, 40, "'xbar_r' needs several readings a sample"},
      {11, 40, "is measured, and 'u' is a chart for counts"},
      {12, 29, "is counted, and 'xbar_s' is a chart for readings"},
      {13, 29, "'p' needs 'opportunities'"},
      {14, 29, "'np' needs 'opportunities'"},
      {15, 40, "did you mean 'xbar_r'?"},
      {16, 50, "a whole number from 2 to 1000, not '1'"},
      {17, 48, "its family is 'individuals', not 'xbar_s'"}}},
    /* counts */
    {"      a: {count: []}\n      b: {count: {rows: yes, column: c, words: [x]}}\n"
     "      c: {count: {column: c}}\n      d: {count: x, opportunities: 0}\n"
     "      e: {count: x, per: -1}\n"
     "      f: {count: {column: c, words: x}, spec: {upper: 150}}\n",
     {{9, 18, "'count' names no column"},
      {10, 38, "to count some rows only, use 'only'"},
      {11, 18, "'count' wants a column of counts"},
      {12, 36, "are more than 0"},
      {13, 26, "'per' is more than 0"},
      {14, 47, "'upper' of a proportion is at most 1"}}},
    /* derived */
    {"      a: {column: x, unit: um}\n      n: {count: x}\n"
     "      b: {derived: {how: radial, of: [c, a]}}\n"
     "      c: {derived: {how: radial, of: [b, a]}}\n"
     "      d: {derived: {how: difference, of: [d, a]}}\n"
     "      e: {derived: {how: mean, of: aa}}\n"
     "      f: {derived: {how: mean, of: n}}\n"
     "      g: {derived: {how: neighbour_step, of: a}}\n"
     "      h: {derived: {how: radial, of: a}}\n",
     {{11, 39, "'b' is made of itself by way of 'c'"},
      {13, 43, "'d' is made of itself"},
      {14, 36, "this station has no characteristic 'aa'; it has 'a', 'n'"},
      {15, 36, "'n' is counted"},
      {16, 46, "'a' has none; give it 'grid"},
      {17, 38, "is made of two characteristics, of: [a, b], not of 1"}}},
    {"      a: {column: x, unit: um}\n      v: {column: x, unit: V}\n"
     "      late: {derived: {how: difference, of: [m, a]}}\n"
     "      m: {derived: {how: mean, of: a}}\n"
     "      mm: {derived: {how: mean, of: m}}\n"
     "      r: {derived: {how: radial, of: [a, v]}}\n"
     "      u: {derived: {how: min_over_max, of: a}, unit: um}\n"
     "      w: {derived: {how: mean, of: a}, unit: nm}\n"
     "      x: {derived: {of: a, how: median}}\n",
     {{11, 46, "'m' is derived itself; it must stand above 'late'"},
      {13, 37, "'m' is derived and has one value an item"},
      {14, 42, "'a' is in um and 'v' in V; give both one unit"},
      {15, 54, "its unit is '1' or '%'"},
      {16, 46, "made of 'a', it is in 'um'"},
      {17, 33, "'how' cannot be 'median'"}}},
    /* places, splits, rules, ribbon */
    {"      a: {column: x, unit: um, split: \"\"}\n"
     "      b: {column: x, unit: um, split: [h, h]}\n"
     "      c: {column: x, unit: um, split: x}\n"
     "      d: {column: x, unit: um, split: \"a=b\"}\n"
     "      e: {column: x, unit: um, split: {h: yes}}\n"
     "      f: {column: x, unit: um, grid: {row: r}}\n"
     "      g: {column: x, unit: um, only: {column: c}}\n"
     "      h: {column: x, unit: um, ribbon: {kind: cup}}\n"
     "      i: {column: x, unit: um, ribbon: {}}\n",
     {{9, 39, "'split' names no column"},
      {10, 43, "'h' stands twice in 'split'"},
      {11, 39, "'split' names the column of the value itself"},
      {12, 39, "cannot split"},
      {13, 39, "'split' wants a list ([a, b]), not a map"},
      {14, 38, "'grid' has no 'column'"},
      {15, 38, "'only' wants {column: ..., words: [...]}"},
      {16, 47, "names the kind 'cup', which is not declared"},
      {17, 40, "'ribbon' wants one of"}}},
    {"      a: {column: x, unit: um, rules: {run_one_side: 13, steady_trend: 5}}\n"
     "      b: {column: x, unit: um, rules: [beyond_limt]}\n"
     "      c: {column: x, unit: um, rules: []}\n"
     "      d: {column: x, unit: um, rules: {alternating: 14}}\n"
     "      e: {column: x, unit: um, limit_sigmas: 9}\n"
     "      f: {column: x, unit: um, decimals: 2.5}\n"
     "      g: {column: x, unit: um, missing: [a, a]}\n",
     {{9, 54, "from 7 to 12, not '13'"},
      {9, 72, "from 6 to 9, not '5'"},
      {10, 40, "did you mean 'beyond_limit'?"},
      {11, 39, "say 'signals: no'"},
      {12, 53, "'alternating' has no length to set"},
      {13, 46, "'limit_sigmas' is from 1 to 6, not 9"},
      {14, 42, "a whole number from 0 to 9, not '2.5'"},
      {15, 45, "'a' stands twice in 'missing'"}}},
    {"      h: {column: x, unit: um, shape: lognormale}\n      i: {count: k, shape: gamma}\n",
     {{9, 39, "did you mean 'lognormal'?"},
      {10, 28, "'shape' is of measured and derived characteristics; 'i' is counted"}}},
};

START_TEST(characteristic_keys)
{
    struct an_text yaml = {0};
    an_text_addf(&yaml,
                 HEAD
                 "stations:\n  s:\n"
                 "    <<: {time: file, item: {kind: tile, column: id}}\n    characteristics:\n%s",
                 characteristics[_i].yaml);
    compare(an_text_of(&yaml), characteristics[_i].told);
    an_text_free(&yaml);
}
END_TEST

/* --- sizes and files ------------------------------------------------------------------------- */

START_TEST(too_long)
{
    const size_t length = ((size_t)4 << 20) + 1;
    char *text = an_alloc(length + 1, 1);
    ck_assert_ptr_nonnull(text);
    memset(text, '#', length);
    compare(text, (const struct expected[EXPECTED_MOST]){{1, 1, "longer than 4 MiB"}});
    an_free(text);
}
END_TEST

/* Aliases of aliases: 10^9 values in 300 bytes. Refused before they are unfolded. */
START_TEST(unfolding_aliases)
{
    struct an_text text = {0};
    an_text_add(&text, "a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n");
    for (int i = 1; i < 9; i++) {
        an_text_addf(&text,
                     "a%d: &a%d [*a%d, *a%d, *a%d, *a%d, *a%d, *a%d, *a%d, *a%d, *a%d, *a%d]\n", i,
                     i, i - 1, i - 1, i - 1, i - 1, i - 1, i - 1, i - 1, i - 1, i - 1, i - 1);
    }
    struct heard heard;
    struct an_line *line = NULL;
    ck_assert_int_eq((int)read_text(an_text_of(&text), &heard, &line, NULL), AN_BAD_CONFIG);
    bool found = false;
    for (size_t i = 0; i < heard.count; i++) {
        found = found || strstr(heard.at[i].text, "with its aliases followed");
    }
    ck_assert(found);
    an_text_free(&text);
}
END_TEST

START_TEST(thousands_of_mistakes)
{
    struct an_text text = {0};
    for (int i = 0; i < 3000; i++) {
        an_text_addf(&text, "k%d: 1\n", i);
    }
    struct an_line *line = NULL;
    struct an_error err = {0};
    struct heard heard;
    ck_assert_int_eq((int)read_text(an_text_of(&text), &heard, &line, &err), AN_BAD_CONFIG);
    ck_assert_uint_eq(heard.count, 1000);
    ck_assert_ptr_nonnull(strstr(err.text, "more than 1000 mistakes"));
    an_text_free(&text);
}
END_TEST

static const struct {
    const char *path;
    enum an_status st;
} path_rows[] = {
    {AN_TEST_DATA "/no-such-file.yaml", AN_NOT_FOUND},
    {AN_TEST_DATA "/full.yaml/below", AN_NOT_FOUND},
    {AN_TEST_DATA, AN_IO},
    {"/dev/null", AN_IO},
};

START_TEST(bad_path)
{
    struct an_line *line = NULL;
    struct an_error err = {0};
    ck_assert_int_eq((int)an_line_read_file(path_rows[_i].path, NULL, NULL, &line, &err),
                     (int)path_rows[_i].st);
    ck_assert_ptr_null(line);
    ck_assert_ptr_nonnull(strstr(err.text, path_rows[_i].path));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("line mistakes");
    TCase *tests = tcase_create("mistakes");
    tcase_add_loop_test(tests, whole_file, 0, sizeof files / sizeof files[0]);
    tcase_add_loop_test(tests, station_keys, 0, sizeof stations / sizeof stations[0]);
    tcase_add_loop_test(tests, characteristic_keys, 0,
                        sizeof characteristics / sizeof characteristics[0]);
    tcase_add_test(tests, too_long);
    tcase_add_test(tests, unfolding_aliases);
    tcase_add_test(tests, thousands_of_mistakes);
    tcase_add_loop_test(tests, bad_path, 0, sizeof path_rows / sizeof path_rows[0]);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
