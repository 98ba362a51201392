/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What stations really write: each case with its bins, its reason and its place. The kinds of mess
 * and what is done about each are common practice, no source; the CSV rules behind them are
 * RFC 4180's, the rules of UTF-8 those of RFC 3629.
 *
 * Each case is read in pieces of every size from one byte to the whole.
 */
#include "support.h"

#include <stdio.h>
#include <string.h>

static const char stations[] =
    "  plain:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    missing: {\"-\": missing, NaN: missing, OVER: over_range, \"<*\": under_range, \"9999\": "
    "missing}\n"
    "    allowed: {colour: [R, G, B]}\n"
    "    part_whole: [{part: bad, whole: seen}]\n"
    "    purpose: {column: state, production: [PROD], reference_id: \"REF[0-9]\"}\n"
    "    characteristics:\n"
    "      x: {column: x_um, unit: um, split: colour, possible: {min: -50, max: 50}}\n"
    "      rate: {count: bad, opportunities: seen}\n"
    "  local:\n"
    "    format: {delimiter: semicolon, decimal: comma, encoding: windows-1252, units_row: yes}\n"
    "    time: {column: zeit, pattern: \"%d.%m.%Y %H:%M:%S\"}\n"
    "    item: {kind: tile, column: teil}\n"
    "    characteristics:\n"
    "      d: {column: d, column_unit: µm, unit: um}\n"
    "  seams:\n"
    "    format: {comment: \"#\", footer: \"^# rows=([0-9]+)\", preamble_lines: 1}\n"
    "    preamble: {wall: \"wall (W-[0-9]+)\"}\n"
    "    time: {column: at}\n"
    "    item: {kind: wall, column: wall}\n"
    "    characteristics:\n"
    "      gap: {column: gap, unit: um}\n"
    "  marked:\n"
    "    format: {delimiter: tab, end_marker: END}\n"
    "    time: {column: at}\n"
    "    item: {kind: wafer, column: wafer}\n"
    "    characteristics:\n"
    "      v: {column: v, unit: V}\n"
    "  wide:\n"
    "    format: {encoding: utf-16}\n"
    "    time: {column: at}\n"
    "    item: {kind: wafer, column: wafer}\n"
    "    characteristics:\n"
    "      v: {column: v, unit: V}\n"
    "  grouped:\n"
    "    format: {delimiter: semicolon, group: comma}\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: id}\n"
    "    links:\n"
    "      - {column: part, kind: tile, share_column: share, row_column: row}\n"
    "    characteristics:\n"
    "      v: {column: v, unit: V}\n";

#define PLAIN "tile,at,colour,x_um,bad,seen,state\n"
#define ROW1 "T-001,2026-03-04T10:00:00Z,R,0.5,1,100,PROD\n"
#define ROW2 "T-002,2026-03-04T10:01:00Z,G,0.25,0,100,PROD\n"
#define WITH(row) PLAIN ROW1 row "\n" ROW2
#define SEAMS "front matter wall W-77\ntile,at,gap\n"
#define LOCAL "teil;zeit;d\n;;\xB5m\n"
#define NUL_ROW PLAIN ROW1 "T-00\0,2026-03-04T10:02:00Z,R,1,0,9,PROD\n"
#define TAB_ROW "W0001\t2026-03-04T10:00:00Z\t1.5\n"

struct want {
    int64_t taken, held, blank;
    const char *code; /* of the whole file, or of its first held row; NULL: nothing is held */
    uint64_t line, column;
    const char *note; /* code of a note there must be, or NULL */
};

static const struct {
    const char *station, *text;
    size_t length; /* 0: up to its NUL */
    struct want want;
} cases[] = {
    /* nothing wrong */
    {"plain", PLAIN ROW1 ROW2, 0, {2, 0, 0, NULL, 0, 0, NULL}},
    /* zero bytes; blank lines only; header only */
    {"plain", "\n", 0, {0, 0, 0, "file.empty", 0, 0, NULL}},
    {"plain", "\xEF\xBB\xBF\r\n \r\n", 0, {0, 0, 0, "file.empty", 0, 0, NULL}},
    {"plain", PLAIN, 0, {0, 0, 0, NULL, 0, 0, "rows.none"}},
    {"plain", "tile,at,colour,x_um,bad,seen,state", 0, {0, 0, 0, NULL, 0, 0, "rows.none"}},
    /* truncated after power loss, even though the fields look complete */
    {"plain",
     PLAIN ROW1 "T-002,2026-03-04T10:01:00Z,G,0.25,0,100,PROD",
     0,
     {1, 1, 0, "row.truncated", 3, 0, NULL}},
    {"plain",
     PLAIN ROW1 "T-002,2026-03-04T10:01:00Z,G,0.2",
     0,
     {1, 1, 0, "row.truncated", 3, 0, NULL}},
    {"plain", PLAIN ROW1 "T-00\xC2", 0, {1, 1, 0, "row.truncated", 3, 0, NULL}},
    /* byte-order mark; line ends */
    {"plain", "\xEF\xBB\xBF" PLAIN ROW1, 0, {1, 0, 0, NULL, 0, 0, "mark"}},
    {"plain",
     PLAIN "T-001,2026-03-04T10:00:00Z,R,0.5,1,100,PROD\r\n" ROW2,
     0,
     {2, 0, 0, NULL, 0, 0, "line_ends"}},
    {"plain", PLAIN "\n" ROW1 "\n \t\n" ROW2 "\n", 0, {2, 0, 4, NULL, 0, 0, NULL}},
    {"plain", PLAIN ROW1 ",,,,,,\n" ROW2, 0, {2, 0, 1, NULL, 0, 0, NULL}},
    /* encodings */
    {"wide",
     "\xFF\xFEw\0a\0f\0e\0r\0,\0a\0t\0,\0v\0\n\0W\0"
     "0\0"
     "0\0"
     "0\0"
     "1\0,\0"
     "2\0"
     "0\0"
     "2\0"
     "6\0-\0"
     "0\0"
     "3\0-\0"
     "0\0"
     "4\0T\0"
     "1\0"
     "0\0:\0"
     "0\0"
     "0\0:\0"
     "0\0"
     "0\0Z\0,\0"
     "1\0.\0"
     "5\0\n\0",
     86,
     {1, 0, 0, NULL, 0, 0, "mark"}},
    {"wide", "wafer,at,v\n", 0, {0, 0, 0, "encoding.utf16", 0, 0, NULL}},
    {"plain", "t\0i\0l\0e\0,\0a\0t\0,\0", 16, {0, 0, 0, "encoding.utf16", 0, 0, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,0,9,PR\xD6"
          "D"),
     0,
     {0, 0, 0, "encoding.invalid", 3, 0, NULL}},
    {"plain",
     PLAIN ROW1 "T-003,2026-03-04T10:02:00Z,R,1,0,9,\xC3\x96\nT-003,2026-03-04T10:02:00Z,"
                "R,1,0,9,\xD6\n",
     0,
     {0, 0, 0, "encoding.mixed", 4, 0, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,0,9,\xE2\x82"),
     0,
     {2, 1, 0, "row.encoding", 3, 0, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,0,9,\xC0\xAF"),
     0,
     {2, 1, 0, "row.encoding", 3, 0, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,0,9,\xED\xA0\x80"),
     0,
     {2, 1, 0, "row.encoding", 3, 0, NULL}},
    {"local",
     LOCAL "T-001;04.03.2026 10:00:00;1,5\n\x81\n",
     0,
     {0, 0, 0, "encoding.invalid", 4, 0, NULL}},
    /* delimiters and decimal marks */
    {"plain",
     "tile;at;colour;x_um;bad;seen;state\nT-001;2026-03-04T10:00:00Z;R;1;0;9;PROD\n",
     0,
     {0, 0, 0, "delimiter.other", 1, 0, NULL}},
    {"local", LOCAL "T-001;04.03.2026 10:00:00;1,5\n", 0, {1, 0, 0, NULL, 0, 0, NULL}},
    {"local", LOCAL "T-001;04.03.2026 10:00:00;1.5\n", 0, {0, 1, 0, "number.bad", 3, 3, NULL}},
    {"plain",
     PLAIN "T-001,2026-03-04T10:00:00Z,R,0,5,1,100,PROD\n"
           "T-002,2026-03-04T10:00:00Z,R,0,7,1,100,PROD\n",
     0,
     {0, 0, 0, "decimal.comma", 2, 0, NULL}},
    {"plain",
     PLAIN ROW1 ROW2 ROW1 "T-001,2026-03-04T10:00:00Z,R,0,5,1,100,PROD\n",
     0,
     {3, 1, 0, "row.fields", 5, 0, NULL}},
    {"grouped",
     "id;at;v;part;share;row\nA;2026-03-04T10:00:00Z;1,234.5;;;\n",
     0,
     {1, 0, 0, NULL, 0, 0, NULL}},
    {"grouped",
     "id;at;v;part;share;row\nA;2026-03-04T10:00:00Z;12,34.5;;;\n",
     0,
     {0, 1, 0, "number.bad", 2, 3, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,\"1,234\",0,9,PROD"),
     0,
     {2, 1, 0, "number.bad", 3, 4, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1 234,0,9,PROD"),
     0,
     {2, 1, 0, "number.bad", 3, 4, NULL}},
    /* columns: moved, new, missing, renamed, twice */
    {"plain",
     "state,seen,bad,x_um,colour,at,tile\nPROD,100,1,0.5,R,2026-03-04T10:00:00Z,T-001\n",
     0,
     {1, 0, 0, NULL, 0, 0, NULL}},
    {"plain",
     "tile,at,colour,x_um,bad,seen,state,new\nT-001,2026-03-04T10:00:00Z,R,1,0,9,PROD,?\n",
     0,
     {1, 0, 0, NULL, 0, 0, "columns.unused"}},
    {"plain", "tile,at,colour,dx_um,bad,seen,state\n", 0, {0, 0, 0, "header.column", 1, 0, NULL}},
    {"plain", "tile,at,colour,X_UM,bad,seen,state\n", 0, {0, 0, 0, "header.column", 1, 0, NULL}},
    {"plain",
     "tile,at,colour,x_um,bad,seen,state,x_um\n",
     0,
     {0, 0, 0, "header.twice", 1, 8, NULL}},
    {"plain", "nothing,of,the,kind\n", 0, {0, 0, 0, "header.missing", 1, 0, NULL}},
    {"seams", "only one line", 0, {0, 0, 0, "header.missing", 0, 0, NULL}},
    /* headers and units in mid-file */
    {"plain", PLAIN ROW1 PLAIN ROW2 PLAIN, 0, {2, 0, 0, NULL, 0, 0, "header.repeated"}},
    {"plain", PLAIN ROW1 "\xEF\xBB\xBF" PLAIN ROW2, 0, {2, 0, 0, NULL, 0, 0, "header.repeated"}},
    {"plain",
     PLAIN ROW1 "\"tile\",at,colour,x_um,bad,seen,state\n" ROW2,
     0,
     {2, 0, 0, NULL, 0, 0, "header.repeated"}},
    {"plain",
     PLAIN ROW1 "at,tile,colour,x_um,bad,seen,state\n" ROW2,
     0,
     {0, 0, 0, "header.column", 3, 0, NULL}},
    {"local",
     LOCAL "T-001;04.03.2026 10:00:00;1,5\n" LOCAL,
     0,
     {1, 0, 0, NULL, 0, 0, "header.repeated"}},
    /* units */
    {"local", "teil;zeit;d\n;;nm\n", 0, {0, 0, 0, "unit.differs", 2, 3, NULL}},
    {"local", "teil;zeit;d\n;;um\nT-001;04.03.2026 10:00:00;1,5\n", 0, {1, 0, 0, NULL, 0, 0, NULL}},
    {"local", "teil;zeit;d\n;;\nT-001;04.03.2026 10:00:00;1,5\n", 0, {1, 0, 0, NULL, 0, 0, NULL}},
    {"local",
     "teil;zeit;d\nT-001;04.03.2026 10:00:00;1,5\n",
     0,
     {0, 0, 0, "units.missing", 2, 3, NULL}},
    {"plain",
     "tile,at,colour,x_um [nm],bad,seen,state\n",
     0,
     {0, 0, 0, "unit.differs", 1, 4, NULL}},
    {"plain", "tile,at,colour,x_um (um),bad,seen,state\n" ROW1, 0, {1, 0, 0, NULL, 0, 0, NULL}},
    /* preamble, comments, footer, end marker */
    {"seams",
     SEAMS "a,2026-03-04T10:00:00Z,20.5\n# in between\nb,2026-03-04T10:00:00Z,21\n# "
           "rows=2\n",
     0,
     {2, 0, 0, NULL, 0, 0, NULL}},
    {"seams",
     "# comment\n" SEAMS "a,2026-03-04T10:00:00Z,20.5\n# rows=1",
     0,
     {1, 0, 0, NULL, 0, 0, NULL}},
    {"seams",
     SEAMS "a,2026-03-04T10:00:00Z,20.5\n\n# rows=2\n",
     0,
     {0, 0, 0, "footer.count", 5, 0, NULL}},
    {"seams", SEAMS "a,2026-03-04T10:00:00Z,20.5\n", 0, {0, 0, 0, "footer.missing", 4, 0, NULL}},
    {"seams",
     SEAMS "# rows=0\na,2026-03-04T10:00:00Z,20.5\n",
     0,
     {0, 0, 0, "end.early", 4, 0, NULL}},
    {"seams",
     "no number\ntile,at,gap\na,2026-03-04T10:00:00Z,20.5\n# rows=1\n",
     0,
     {0, 0, 0, "preamble.missing", 3, 0, NULL}},
    {"marked", "wafer\tat\tv\n" TAB_ROW "END\n", 0, {1, 0, 0, NULL, 0, 0, NULL}},
    {"marked", "wafer\tat\tv\n" TAB_ROW "END", 0, {1, 0, 0, NULL, 0, 0, NULL}},
    {"marked", "wafer\tat\tv\n" TAB_ROW, 0, {0, 0, 0, "end.missing", 3, 0, NULL}},
    {"marked", "wafer\tat\tv\n" TAB_ROW "END\n" TAB_ROW, 0, {0, 0, 0, "end.early", 4, 0, NULL}},
    {"marked", "wafer\tat\tv\n" TAB_ROW "END\n\n", 0, {1, 0, 1, NULL, 0, 0, NULL}},
    /* fields and quotes */
    {"plain", WITH("T-003,2026-03-04T10:02:00Z,R,1,0"), 0, {2, 1, 0, "row.fields", 3, 0, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,0,9,PROD,"),
     0,
     {2, 1, 0, "row.fields", 3, 0, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,\"1\"0,0,9,PROD"),
     0,
     {2, 1, 0, "row.quote", 3, 0, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,0,9,5\" board"),
     0,
     {2, 1, 0, "row.quote", 3, 0, NULL}},
    {"plain",
     WITH("\"T-003\",\"2026-03-04T10:02:00Z\",\"R\",\"1\",\"0\",\"9\",\"PROD\""),
     0,
     {3, 0, 0, NULL, 0, 0, NULL}},
    {"plain",
     PLAIN "T-003,2026-03-04T10:02:00Z,R,1,0,9,\"two\nlines, \"\"quoted\"\"\"\nT-3,,,,,,\n",
     0,
     {0, 2, 0, "split.bad", 2, 7, NULL}},
    {"plain",
     PLAIN ROW1 "T-003,\"2026-03-04T10:02:00Z,R,1,0,9,PROD\n" ROW2,
     0,
     {0, 0, 0, "quote.open", 3, 0, NULL}},
    {"plain", NUL_ROW, sizeof NUL_ROW - 1, {1, 1, 0, "row.nul", 3, 0, NULL}},
    /* times */
    {"plain", WITH("T-003,,R,1,0,9,PROD"), 0, {2, 1, 0, "time.missing", 3, 2, NULL}},
    {"plain",
     WITH("T-003,2026-02-30T10:00:00Z,R,1,0,9,PROD"),
     0,
     {2, 1, 0, "time.bad", 3, 2, NULL}},
    {"plain", WITH("T-003,46350.25,R,1,0,9,PROD"), 0, {2, 1, 0, "time.bad", 3, 2, NULL}},
    {"plain", WITH("T-003,03/04/2026,R,1,0,9,PROD"), 0, {2, 1, 0, "time.bad", 3, 2, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00,R,1,0,9,PROD"),
     0,
     {2, 1, 0, "time.bad", 3, 2, NULL}}, /* the pattern asks for an offset */
    {"local", LOCAL "T-001;04.03.26 10:00:00;1,5\n", 0, {0, 1, 0, "time.bad", 3, 2, NULL}},
    {"local", LOCAL "T-001;29.03.2026 02:30:00;1,5\n", 0, {0, 1, 0, "time.skipped", 3, 2, NULL}},
    {"local", LOCAL "T-001;25.10.2026 02:30:00;1,5\n", 0, {0, 1, 0, "time.twice", 3, 2, NULL}},
    /* serials */
    {"plain", WITH(",2026-03-04T10:02:00Z,R,1,0,9,PROD"), 0, {2, 1, 0, "id.missing", 3, 1, NULL}},
    {"plain",
     WITH("1.23E+15,2026-03-04T10:02:00Z,R,1,0,9,PROD"),
     0,
     {2, 1, 0, "id.damaged", 3, 1, NULL}},
    {"plain",
     WITH("2E3,2026-03-04T10:02:00Z,R,1,0,9,PROD"),
     0,
     {2, 1, 0, "id.damaged", 3, 1, NULL}},
    {"plain",
     WITH("3-Dec,2026-03-04T10:02:00Z,R,1,0,9,PROD"),
     0,
     {2, 1, 0, "id.damaged", 3, 1, NULL}},
    {"plain",
     WITH("Dec-03,2026-03-04T10:02:00Z,R,1,0,9,PROD"),
     0,
     {2, 1, 0, "id.damaged", 3, 1, NULL}},
    {"plain", WITH("3,2026-03-04T10:02:00Z,R,1,0,9,PROD"), 0, {2, 1, 0, "id.damaged", 3, 1, NULL}},
    {"plain",
     WITH("T-O03,2026-03-04T10:02:00Z,R,1,0,9,PROD"),
     0,
     {2, 1, 0, "id.pattern", 3, 1, NULL}},
    {"plain",
     WITH("t-003,2026-03-04T10:02:00Z,R,1,0,9,PROD"),
     0,
     {2, 1, 0, "id.pattern", 3, 1, NULL}},
    {"plain",
     WITH("\" T-003\",2026-03-04T10:02:00Z,R,1,0,9,PROD"),
     0,
     {2, 1, 0, "id.blanks", 3, 1, NULL}},
    {"plain", WITH("  T-003  ,2026-03-04T10:02:00Z,R,1,0,9,PROD"), 0, {3, 0, 0, NULL, 0, 0, NULL}},
    {"marked",
     "wafer\tat\tv\n\" w0001 \"\t2026-03-04T10:00:00Z\t1.5\nEND\n",
     0,
     {1, 0, 0, NULL, 0, 0, "id.evened"}},
    {"grouped",
     "id;at;v;part;share;row\nA;2026-03-04T10:00:00Z;1;T-O1;;\n",
     0,
     {0, 1, 0, "id.pattern", 2, 4, NULL}},
    {"grouped",
     "id;at;v;part;share;row\nA;2026-03-04T10:00:00Z;1;T-001;1.5;\n",
     0,
     {0, 1, 0, "value.impossible", 2, 5, NULL}},
    {"grouped",
     "id;at;v;part;share;row\nA;2026-03-04T10:00:00Z;1;T-001;0.5;-1\n",
     0,
     {0, 1, 0, "number.whole", 2, 6, NULL}},
    {"grouped",
     "id;at;v;part;share;row\n12E;2026-03-04T10:00:00Z;1;;;\n007;2026-03-04T10:00:00Z;1"
     ";;;\n",
     0,
     {2, 0, 0, NULL, 0, 0, NULL}},
    /* missing readings and words for them */
    {"plain", WITH("T-003,2026-03-04T10:02:00Z,R,,,,PROD"), 0, {3, 0, 0, NULL, 0, 0, NULL}},
    {"plain", WITH("T-003,2026-03-04T10:02:00Z,R,NaN,-,,PROD"), 0, {3, 0, 0, NULL, 0, 0, NULL}},
    {"plain", WITH("T-003,2026-03-04T10:02:00Z,R,<0.1,0,9,PROD"), 0, {3, 0, 0, NULL, 0, 0, NULL}},
    {"plain", WITH("T-003,2026-03-04T10:02:00Z,R,9999,0,9,PROD"), 0, {3, 0, 0, NULL, 0, 0, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,nan,0,9,PROD"),
     0,
     {2, 1, 0, "number.bad", 3, 4, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,inf,0,9,PROD"),
     0,
     {2, 1, 0, "number.bad", 3, 4, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,0x1p3,0,9,PROD"),
     0,
     {2, 1, 0, "number.bad", 3, 4, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1.5um,0,9,PROD"),
     0,
     {2, 1, 0, "number.bad", 3, 4, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,=1+1,0,9,PROD"),
     0,
     {2, 1, 0, "number.bad", 3, 4, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1.2345678901234567890,0,9,PROD"),
     0,
     {2, 1, 0, "number.bad", 3, 4, NULL}},
    /* values, counts, words */
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,-50.001,0,9,PROD"),
     0,
     {2, 1, 0, "value.impossible", 3, 4, NULL}},
    {"plain", WITH("T-003,2026-03-04T10:02:00Z,R,50,0,9,PROD"), 0, {3, 0, 0, NULL, 0, 0, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,3,,PROD"),
     0,
     {2, 1, 0, "count.denominator", 3, 6, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,0,0,PROD"),
     0,
     {2, 1, 0, "count.denominator", 3, 6, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,130,120,PROD"),
     0,
     {2, 1, 0, "count.part", 3, 5, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,1.5,120,PROD"),
     0,
     {2, 1, 0, "number.whole", 3, 5, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,-1,120,PROD"),
     0,
     {2, 1, 0, "number.whole", 3, 5, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,X,1,0,120,PROD"),
     0,
     {2, 1, 0, "word.unknown", 3, 3, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,,1,0,120,PROD"),
     0,
     {2, 1, 0, "split.missing", 3, 3, NULL}},
    /* not production */
    {"plain", WITH("T-003,2026-03-04T10:02:00Z,R,1,0,120,ENG"), 0, {3, 0, 0, NULL, 0, 0, NULL}},
    {"plain", WITH("REF1,2026-03-04T10:02:00Z,R,1,0,120,PROD"), 0, {3, 0, 0, NULL, 0, 0, NULL}},
    {"plain",
     WITH("T-003,2026-03-04T10:02:00Z,R,1,0,120,a=b"),
     0,
     {2, 1, 0, "split.bad", 3, 7, NULL}},
    /* no text at all */
    {"plain", "PK\3\4somewhere a table", 0, {0, 0, 0, "file.binary", 0, 0, NULL}},
    {"plain",
     "\x7F"
     "ELF\2\1\1\0\0\0\0",
     11,
     {0, 0, 0, "file.binary", 0, 0, NULL}},
    {"plain", "\1\2\3\4\5\6\7 \1\2\3 \n \1\2\3", 0, {0, 0, 0, "file.binary", 0, 0, NULL}},
};

static char *show(const struct an_take_result *result)
{
    const struct an_file *file = &result->file;

    return an_arena_printf(
        bench.arena,
        "how %d, %lld rows = %lld taken + %lld duplicate + %lld held + %lld blank, %s "
        "%llu:%llu %s, notes %s, %lld to %lld",
        (int)result->how, (long long)file->rows, (long long)file->taken, (long long)file->duplicate,
        (long long)file->held, (long long)file->blank, file->code ? file->code : "-",
        (unsigned long long)file->why_line, (unsigned long long)file->why_column,
        file->why ? file->why : "-", file->notes ? file->notes : "-", (long long)file->first_us,
        (long long)file->last_us);
}

static void check_held(const struct want *want)
{
    struct an_held *rows = NULL;
    size_t count = 0;

    OK(an_store_held(bench.store, NULL, NULL, bench.last.file.file_id, 100, bench.arena, &rows,
                     &count, &bench.err));
    ck_assert_uint_eq(count, (size_t)want->held);
    if (!want->held) {
        return;
    }
    ck_assert_str_eq(rows[0].code, want->code);
    ck_assert_uint_eq(rows[0].line, want->line);
    ck_assert_uint_eq(rows[0].column, want->column);
    ck_assert_ptr_nonnull(an_held_advice(rows[0].code));
    ck_assert_uint_gt(strlen(rows[0].why), 5);
    ck_assert_uint_gt(rows[0].text.length, 0);
}

static void check_want(const struct want *want)
{
    const struct an_file *file = &bench.last.file;
    const bool whole = want->code && !want->held;

    ck_assert_msg(bench.last.how == (whole ? AN_HELD_WHOLE : AN_TAKEN), "%s", show(&bench.last));
    ck_assert_msg(file->taken == want->taken && (whole || file->held == want->held) &&
                      (whole || file->blank == want->blank) && file->duplicate == 0 &&
                      file->rows == file->taken + file->held + file->blank,
                  "%s", show(&bench.last));
    if (whole) {
        ck_assert_msg(file->code && strcmp(file->code, want->code) == 0, "%s", show(&bench.last));
        ck_assert_msg(file->why_line == want->line && file->why_column == want->column, "%s",
                      show(&bench.last));
        ck_assert_ptr_nonnull(an_held_advice(file->code));
    }
    if (want->note) {
        const char *quoted = an_arena_printf(bench.arena, "\"code\":\"%s\"", want->note);

        ck_assert_msg(file->notes && strstr(file->notes, quoted), "%s", show(&bench.last));
    }
    check_held(want);
}

/* The bytes of the file can be had back from the store. */
static int compare_bytes(void *context, const void *at, size_t length)
{
    const unsigned char **left = context;

    ck_assert_mem_eq(*left, at, length);
    *left += length;
    return 0;
}

START_TEST(mess)
{
    const size_t length = cases[_i].length ? cases[_i].length : strlen(cases[_i].text);

    bench_open(stations);
    const char *path = bench_write(an_arena_printf(bench.arena, "%s/case.csv", cases[_i].station),
                                   cases[_i].text, length);
    (void)bench_take(path);
    check_want(&cases[_i].want);
    ck_assert_str_eq(bench.last.file.station, cases[_i].station);
    const unsigned char *left = (const unsigned char *)cases[_i].text;
    OK(an_store_original_read(bench.store, &bench.last.file.hash, compare_bytes, (void *)&left,
                              &bench.err));
    ck_assert_ptr_eq(left, cases[_i].text + length);

    /* the same outcome, whatever the pieces; a dry run stores nothing, so it can be had often */
    const char *whole = show(&bench.last);
    bench.options.dry_run = true;
    bench_new_store();
    for (size_t piece = 1; piece <= length; piece++) {
        bench.tuning.piece_bytes = piece;
        bench_collector();
        (void)bench_take(path);
        ck_assert_msg(strcmp(show(&bench.last), whole) == 0, "pieces of %zu: %s, not %s", piece,
                      show(&bench.last), whole);
    }
    ck_assert(bench_number("SELECT count(*) FROM file") == 0);
    bench_close();
}
END_TEST

START_TEST(no_bytes)
{
    bench_open(stations);
    (void)bench_write("plain/e.csv", "", 0);
    (void)bench_take(bench_write("plain/e.csv", "", 0));
    ck_assert_int_eq(bench.last.how, AN_HELD_WHOLE);
    ck_assert_str_eq(bench.last.file.code, "file.empty");
    bench_close();
}
END_TEST

/* The rows of a file held whole are held: counted as far as they can be told apart. */
START_TEST(rows_of_held_files)
{
    static const struct {
        const char *station, *text, *code;
        int held, blank;
    } rows[] = {
        {"plain", "tile,at,colour,x,bad,seen,state\n" ROW1 ROW2 "\n" ROW1, "header.column", 3, 1},
        {"plain", PLAIN ROW1 ROW2 "at,tile,colour,x_um,bad,seen,state\n" ROW1, "header.column", 3,
         0},
        {"plain", PLAIN ROW1 PLAIN "T-003,2026-03-04T10:02:00Z,R,1,0,9,\xD6\n" ROW2,
         "encoding.invalid", 3, 0},
        {"plain", PLAIN ROW1 "T-9,\n\"T-003\n" ROW2, "quote.open", 3, 0},
        {"local", "teil;zeit;d\n;;nm\nT-001;04.03.2026 10:00:00;1,5\nT-001;\"\n\";1,5\n",
         "unit.differs", 2, 0},
        {"local", "teil;zeit;d\nT-001;04.03.2026 10:00:00;1,5\nT-001;;\n", "units.missing", 2, 0},
        {"seams", SEAMS "a,2026-03-04T10:00:00Z,20.5\n# note\n\nb,,\n# rows=3\n", "footer.count", 2,
         1},
        {"seams", "none\ntile,at,gap\na,2026-03-04T10:00:00Z,20.5\nb,,\n# rows=2\n",
         "preamble.missing", 2, 0},
        {"seams", SEAMS "a,2026-03-04T10:00:00Z,1\n# rows=1\nb,,\nc,,\n", "end.early", 3, 0},
        {"marked", "wafer\tat\tv\n" TAB_ROW "END\n" TAB_ROW TAB_ROW, "end.early", 3, 0},
        {"plain", "PK\3\4\nrow\n", "file.binary", 0, 0},
    };

    bench_open(stations);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        (void)bench_give(an_arena_printf(bench.arena, "%s/%zu.csv", rows[i].station, i),
                         rows[i].text);
        ck_assert_msg(
            bench.last.how == AN_HELD_WHOLE && strcmp(bench.last.file.code, rows[i].code) == 0 &&
                bench.last.file.held == rows[i].held && bench.last.file.blank == rows[i].blank,
            "%zu: %s", i, show(&bench.last));
    }
    ck_assert(bench_number("SELECT count(*) FROM held") == 0);
    bench_close();
}
END_TEST

/* ---- limits ----------------------------------------------------------------------------------- */
static void give_long(const char *name, size_t length, char fill, const char *before,
                      const char *after)
{
    struct an_text text = {0};

    an_text_add(&text, before);
    for (size_t i = 0; i < length; i++) {
        an_text_add_char(&text, fill);
    }
    an_text_add(&text, after);
    (void)bench_take(bench_write(name, an_text_of(&text), text.length));
    an_text_free(&text);
}

START_TEST(limits)
{
    const size_t mebibyte = 1 << 20;

    bench_open(stations);
    give_long("plain/a.csv", mebibyte + 1, 'x', PLAIN ROW1, "\n" ROW2);
    ck_assert_str_eq(bench.last.file.code, "limit.line");
    ck_assert_uint_eq(bench.last.file.why_line, 3);
    give_long("plain/b.csv", mebibyte - 100, ',', PLAIN ROW1, "\n" ROW2);
    ck_assert_int_eq(bench.last.how, AN_TAKEN); /* as long as a row may be: held for its fields */
    ck_assert_int_eq(bench.last.file.taken, 2);
    ck_assert_int_eq(bench.last.file.blank, 1);
    give_long("plain/c.csv", 256 * 1024 + 1, 'x', PLAIN ROW1 "T-003,", ",R,1,0,9,PROD\n" ROW2);
    ck_assert_str_eq(bench.last.file.code, "limit.field");
    give_long("plain/d.csv", 4096, ',', "tile", "\n");
    ck_assert_str_eq(bench.last.file.code, "limit.columns");
    give_long("plain/e.csv", 2 * mebibyte, '\n', PLAIN ROW1 "\"", ROW2);
    ck_assert_str_eq(bench.last.file.code, "quote.open");
    ck_assert_uint_eq(bench.last.file.why_line, 3);
    bench_close();
}
END_TEST

START_TEST(held_texts_are_cut)
{
    struct an_held *rows = NULL;
    size_t count = 0;

    bench_open(stations);
    give_long("plain/a.csv", 100000, 'x', PLAIN ROW1, "\n" ROW2);
    ck_assert_int_eq(bench.last.file.held, 1);
    OK(an_store_held(bench.store, NULL, NULL, bench.last.file.file_id, 9, bench.arena, &rows,
                     &count, &bench.err));
    ck_assert_uint_eq(rows[0].text.length, 65536);
    bench_close();
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("mess");
    TCase *group = tcase_create("mess");

    tcase_add_loop_test(group, mess, 0, (int)(sizeof cases / sizeof cases[0]));
    tcase_add_test(group, no_bytes);
    tcase_add_test(group, rows_of_held_files);
    tcase_add_test(group, limits);
    tcase_add_test(group, held_texts_are_cut);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
