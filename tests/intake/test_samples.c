/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From rows to samples: statistics, counts, derived values, streams, links, ribbons, blocks.
 *
 * Reference values: NIST Statistical Reference Datasets, univariate summary statistics (Lew,
 * Michelso, NumAcc1 to NumAcc4, certified values), from memory where the data are formulas; the
 * rest are sums done by hand, exact in decimals.
 */
#include "andamento/base/number.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define AT(minute) "2026-03-04T10:" minute ":00Z"

static const char measured[] =
    "  bench:\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: id}\n"
    "    gauge_column: gauge\n"
    "    tool_column: tool\n"
    "    purpose: {column: state, production: [PROD, RUN]}\n"
    "    characteristics:\n"
    "      x: {column: x_nm, column_unit: nm, unit: um, split: [colour, head], ribbon: {column: "
    "lot}}\n"
    "      each: {column: x_nm, unit: nm, subgroup: row}\n"
    "      three: {column: x_nm, unit: nm, subgroup: {every: 3}}\n";

START_TEST(a_visit_and_its_samples)
{
    bench_open(measured);
    (void)bench_give(
        "bench/a.csv",
        "id,at,x_nm,colour,head,lot,gauge,tool,state\n"
        "A," AT(
            "00") ",100,R,H1,L1,G1,M1,PROD\n"
                  "A," AT(
                      "03") ",250.5,R,H1,L2,G1,M2,RUN\n"
                            "B," AT(
                                "01") ",7,R,H1,L1,G1,M1,PROD\n"
                                      "A," AT(
                                          "01") ",-50.25,R,H1,L1,G1,M1,PROD\n"
                                                "A," AT(
                                                    "02") ",,R,H2,L3,G1,M1,PROD\n"
                                                          "A," AT(
                                                              "09") ",1,R,H2,L3,G1,M1,PROD\n"
                                                                    "A," AT(
                                                                        "10") ",5,R,H1,L1,G1,M1,TRIAL\n");
    ck_assert_int_eq(bench.last.how, AN_TAKEN);
    ck_assert_int_eq(bench.last.file.taken, 7);
    /* visits: A, B and A as a trial */
    ck_assert(bench_number("SELECT count(*) FROM visit") == 3);
    ck_assert_str_eq(bench_word("SELECT purpose FROM visit WHERE visit_id = 3"), "TRIAL");
    ck_assert_str_eq(bench_word("SELECT tool FROM visit WHERE visit_id = 1"), "M1 + M2");
    ck_assert_str_eq(bench_word("SELECT shift FROM visit WHERE visit_id = 1"), "2026-03-04 early");
    ck_assert(bench_number("SELECT last_us - first_us FROM visit WHERE visit_id = 1") == 9 * 60e6);
    ck_assert(bench_number("SELECT rows_taken FROM visit WHERE visit_id = 1") == 5);
    /* A, red, head 1: 0.1, 0.2505, -0.05025; mean 0.10008333.., ssd from the exact decimals:
       0.07520006250 + ... = 0.0752775625 + 0.01 - 3 * mean^2 */
#define A_R_H1                                                                                     \
    " FROM sample s JOIN stream t USING (stream_id) WHERE t.name = 'bench.x@colour=R,head=H1' AND" \
    " s.visit_id = 1"
    ck_assert(bench_number("SELECT n" A_R_H1) == 3);
    ck_assert_double_eq_tol(bench_number("SELECT mean" A_R_H1), 0.30025 / 3, 1e-16);
    ck_assert_double_eq_tol(bench_number("SELECT ssd" A_R_H1),
                            0.01 + 0.06275025 + 0.0025250625 - 0.30025 * 0.30025 / 3, 1e-16);
    ck_assert_double_eq_tol(bench_number("SELECT min_value" A_R_H1), -0.05025, 1e-17);
    ck_assert_double_eq_tol(bench_number("SELECT max_value" A_R_H1), 0.2505, 1e-16);
    ck_assert(bench_number("SELECT decimals" A_R_H1) == 2);
    ck_assert(bench_number("SELECT first_line" A_R_H1) == 2);
    ck_assert(bench_number("SELECT last_line" A_R_H1) == 5);
    ck_assert_str_eq(bench_word("SELECT ribbon" A_R_H1), "L1 + L2");
    /* the sample's time is that of its latest row, not of its last line */
    ck_assert(bench_number("SELECT at_us" A_R_H1) ==
              bench_number("SELECT first_us + 180000000 FROM visit WHERE visit_id = 1"));
    /* a missing reading is counted, not used */
    ck_assert(bench_number("SELECT missing FROM sample JOIN stream USING (stream_id)"
                           " WHERE name = 'bench.x@colour=R,head=H2'") == 1);
    ck_assert(bench_number("SELECT count(*) FROM stream WHERE name ="
                           " 'bench.x@colour=R,head=H1,purpose=TRIAL'") == 1);
    /* each row a sample, but for the one without a reading */
    ck_assert(bench_number("SELECT count(*) FROM sample JOIN stream USING (stream_id)"
                           " WHERE name = 'bench.each'") == 5);
    /* threes go on over items: 100, 250.5, 7 | -50.25, -, 1 ; the trial has a stream of its own */
    ck_assert(bench_number("SELECT count(*) FROM sample JOIN stream USING (stream_id)"
                           " WHERE name = 'bench.three'") == 2);
    ck_assert_double_eq_tol(bench_number("SELECT max(mean) FROM sample JOIN stream USING"
                                         " (stream_id) WHERE name = 'bench.three'"),
                            357.5 / 3, 1e-13);
    ck_assert(bench_number("SELECT n FROM sample JOIN stream USING (stream_id)"
                           " WHERE name = 'bench.three' ORDER BY sample_id LIMIT 1") == 2);
    ck_assert(bench_number("SELECT count(*) FROM sample JOIN stream USING (stream_id)"
                           " WHERE name = 'bench.three@purpose=TRIAL'") == 1);
    bench_close();
}
END_TEST

/* ---- counts ----------------------------------------------------------------------------------- */
static const char counted[] =
    "  counts:\n"
    "    files: \"c*.csv\"\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: id}\n"
    "    missing: [\"?\"]\n"
    "    characteristics:\n"
    "      both: {count: [missing, tilted], opportunities: placed}\n"
    "      one: {count: missing, opportunities: 50}\n"
    "      bare: {count: missing}\n"
    "      failed: {count: {column: result, words: [bad, worse]}}\n"
    "  events:\n"
    "    files: \"e*.csv\"\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: id}\n"
    "    characteristics:\n"
    "      all: {count: {rows: yes}, opportunities: 1000}\n"
    "      tilted: {count: {rows: yes}, only: {column: what, words: tilted}, opportunities: seen}\n";

#define SAMPLE(what, stream)                                                                       \
    "SELECT " what " FROM sample JOIN stream USING (stream_id) JOIN item USING (item_id) WHERE "   \
    "name = '" stream "' AND serial = 'A'"

START_TEST(counts_and_opportunities)
{
    bench_open(counted);
    (void)bench_give("c1.csv",
                     "id,at,missing,tilted,placed,result\n"
                     "A," AT("00") ",1,2,1000,good\n"
                                   "A," AT("01") ",0,1,1200,bad\n"
                                                 "A," AT("02") ",?,5,900,worse\n"
                                                               "A," AT("03") ",3,?,800,\n");
    ck_assert_int_eq(bench.last.file.taken, 4);
    /* a row counts only if all its counts are there, and then its opportunities do too */
    ck_assert(bench_number(SAMPLE("counted", "counts.both")) == 4);
    ck_assert(bench_number(SAMPLE("opportunities", "counts.both")) == 2200);
    ck_assert(bench_number(SAMPLE("n", "counts.both")) == 2);
    ck_assert(bench_number(SAMPLE("missing", "counts.both")) == 2);
    ck_assert(bench_number(SAMPLE("counted", "counts.one")) == 4);
    ck_assert(bench_number(SAMPLE("opportunities", "counts.one")) == 150);
    ck_assert_str_eq(bench_word(SAMPLE("opportunities IS NULL", "counts.bare")), "1");
    ck_assert(bench_number(SAMPLE("counted", "counts.failed")) == 2);
    ck_assert(bench_number(SAMPLE("opportunities", "counts.failed")) == 3);
    ck_assert_str_eq(bench_word(SAMPLE("mean IS NULL", "counts.both")), "1");

    (void)bench_give("e1.csv",
                     "id,at,what,seen\n"
                     "A," AT("00") ",tilted,\n"
                                   "A," AT("01") ",dirt,500\n"
                                                 "A," AT("02") ",tilted,500\n"
                                                               "B," AT("02") ",dirt,400\n");
    ck_assert(bench_number(SAMPLE("counted", "events.all")) == 3);
    ck_assert(bench_number(SAMPLE("opportunities", "events.all")) == 1000);
    ck_assert(bench_number(SAMPLE("counted", "events.tilted")) == 2);
    ck_assert(bench_number(SAMPLE("opportunities", "events.tilted")) == 500);
    /* B has no tilted one, and was looked at: that is a zero, not a gap */
    ck_assert(bench_number("SELECT counted FROM sample JOIN stream USING (stream_id) JOIN item"
                           " USING (item_id) WHERE name = 'events.tilted' AND serial = 'B'") == 0);
    bench_close();
}
END_TEST

/* ---- derived ---------------------------------------------------------------------------------- */
static const char derived[] =
    "  lum:\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: id}\n"
    "    characteristics:\n"
    "      lv: {column: lv, unit: cd/m2, split: c, grid: {row: r, column: k}}\n"
    "      lw: {column: lw_nit, column_unit: nit, unit: kcd/m2}\n"
    "      dx: {column: dx, unit: um}\n"
    "      dy: {column: dy, unit: um}\n"
    "      low: {derived: {how: min_over_max, of: lv}, unit: \"%\", only: {column: c, words: W}}\n"
    "      ratio: {derived: {how: min_over_max, of: lv}, split: c}\n"
    "      jump: {derived: {how: neighbour_step, of: lv}, split: c}\n"
    "      jump_pc: {derived: {how: neighbour_step, of: lv}, unit: \"%\", split: c}\n"
    "      span: {derived: {how: range, of: lv}, split: c}\n"
    "      avg: {derived: {how: mean, of: lw}}\n"
    "      sd: {derived: {how: sd, of: dx}}\n"
    "      off: {derived: {how: radial, of: [dx, dy]}}\n"
    "      diff: {derived: {how: difference, of: [dx, dy]}}\n"
    "      deep: {derived: {how: difference, of: [off, dy]}}\n";

#define DERIVED(stream) bench_number(SAMPLE("mean", stream))

START_TEST(derived_values)
{
    bench_open(derived);
    /* white: a grid of 2 x 3 in mm with one place missing and one measured twice;
         (0,0) 100   (0,20) 110   (0,40) 104
         (10,0) 98   (10,20) -     (10,40) 90 and 94, so 92 */
    (void)bench_give(
        "lum/a.csv",
        "id,at,c,r,k,lv,lw_nit,dx,dy\n"
        "A," AT(
            "00") ",W,0,0,100,1500,3,4\n"
                  "A," AT(
                      "01") ",W,0,20,110,2500,3.5,4\n"
                            "A," AT(
                                "02") ",W,0,40,104,,2.5,4\n"
                                      "A," AT(
                                          "03") ",W,10,0,98,,,\n"
                                                "A," AT(
                                                    "04") ",W,10,40,90,,,\n"
                                                          "A," AT(
                                                              "05") ",W,10,40,94,,,\n"
                                                                    "A," AT(
                                                                        "06") ",R,1,1,50,,,\n"
                                                                              "A," AT(
                                                                                  "07") ",R,2,2,40,,,\n");
    ck_assert_int_eq(bench.last.file.taken, 8);
    ck_assert_double_eq_tol(DERIVED("lum.low@c=W"), 100 * 90.0 / 110, 1e-13);
    ck_assert_double_eq_tol(DERIVED("lum.ratio@c=W"), 90.0 / 110, 1e-15);
    ck_assert_double_eq_tol(DERIVED("lum.ratio@c=R"), 0.8, 1e-15);
    /* neighbours: 100-110, 110-104, 100-98, 104-92; 98 and 92 lie two places apart */
    ck_assert_double_eq_tol(DERIVED("lum.jump@c=W"), 12, 1e-13);
    ck_assert_double_eq_tol(DERIVED("lum.jump_pc@c=W"), 100 * 12 / 98.0, 1e-13);
    /* the two red ones are no neighbours: no value, not a zero */
    ck_assert(bench_number("SELECT count(*) FROM sample JOIN stream USING (stream_id)"
                           " WHERE name = 'lum.jump@c=R'") == 0);
    ck_assert_double_eq_tol(DERIVED("lum.span@c=W"), 20, 1e-13);
    ck_assert_double_eq_tol(DERIVED("lum.avg"), 2, 1e-15);
    ck_assert_double_eq_tol(DERIVED("lum.sd"), 0.5, 1e-15);
    ck_assert_double_eq_tol(DERIVED("lum.off"), 5, 1e-15); /* 3, 4, 5 */
    ck_assert_double_eq_tol(DERIVED("lum.diff"), -1, 1e-15);
    ck_assert_double_eq_tol(DERIVED("lum.deep"), 1, 1e-15);
    ck_assert(bench_number(SAMPLE("n", "lum.off")) == 1);
    ck_assert(bench_number(SAMPLE("ssd", "lum.off")) == 0);
    bench_close();
}
END_TEST

/* ---- links and ribbons ------------------------------------------------------------------------ */
static const char linked[] =
    "  prep:\n"
    "    files: \"p*.csv\"\n"
    "    time: {column: at}\n"
    "    item: {kind: carrier, column: carrier}\n"
    "    links: [{column: wafer, kind: wafer}]\n"
    "  move:\n"
    "    files: \"m*.csv\"\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    links:\n"
    "      - {column: donor, kind: carrier, role_column: colour, share_column: share}\n"
    "    characteristics:\n"
    "      dx: {column: dx, unit: um, split: colour, ribbon: {kind: wafer}}\n"
    "      dy: {column: dx, unit: um, ribbon: {kind: carrier}}\n"
    "  build:\n"
    "    files: \"b*.csv\"\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    links:\n"
    "      - {column: wall, kind: wall, other_is: child, role: pane, row_column: row,"
    " column_column: col}\n";

START_TEST(links_and_ribbons)
{
    bench_open(linked);
    (void)bench_give("p1.csv", "carrier,at,wafer\nD1," AT("00") ",w0001\nD2," AT(
                                   "00") ",W0002\n"
                                         "D3," AT("00") ",W0003\n");
    (void)bench_give(
        "m1.csv",
        "tile,at,colour,donor,share,dx\n"
        "T-001," AT("10") ",R,D1,0.25,1\n"
                          "T-001," AT("09") ",R,D1,0.25,2\n"
                                            "T-001," AT("11") ",R,D2,0.25,3\n"
                                                              "T-001," AT(
                                                                  "12") ",G,D3,1,4\n"
                                                                        "T-002," AT(
                                                                            "12") ",G,,,5\n");
    ck_assert_int_eq(bench.last.file.taken, 5);
    ck_assert(bench_number("SELECT count(*) FROM link WHERE role IS NOT NULL") == 3);
    ck_assert(bench_number("SELECT share FROM link WHERE role = 'G'") == 1);
    ck_assert(bench_number("SELECT line_no FROM link WHERE role = 'R' ORDER BY 1 LIMIT 1") == 2);
    /* the time of a link is the earliest of its rows */
    ck_assert(bench_number("SELECT min(l.at_us) - (SELECT min(first_us) FROM visit JOIN item USING"
                           " (item_id) WHERE serial = 'T-001') FROM link l WHERE role = 'R'") == 0);
    ck_assert_str_eq(bench_word("SELECT ribbon FROM sample JOIN stream USING (stream_id)"
                                " WHERE name = 'move.dx@colour=R'"),
                     "W0001 + W0002");
    ck_assert_str_eq(bench_word("SELECT ribbon FROM sample JOIN stream USING (stream_id) JOIN item"
                                " USING (item_id) WHERE name = 'move.dx@colour=G' AND serial ="
                                " 'T-001'"),
                     "W0003");
    ck_assert_str_eq(bench_word("SELECT ribbon FROM sample JOIN stream USING (stream_id) JOIN item"
                                " USING (item_id) WHERE name = 'move.dy' AND serial = 'T-001'"),
                     "D3 + D1 + D2");
    ck_assert_str_eq(bench_word("SELECT ribbon IS NULL FROM sample JOIN item USING (item_id) WHERE"
                                " serial = 'T-002' LIMIT 1"),
                     "1");
    (void)bench_give("b1.csv", "tile,at,wall,row,col\nT-001," AT("30") ",W9,2,3\n");
    ck_assert_str_eq(bench_word("SELECT serial FROM link JOIN item ON item_id = child_id WHERE"
                                " role = 'pane'"),
                     "W9");
    ck_assert(bench_number("SELECT row_no * 10 + column_no FROM link WHERE role = 'pane'") == 23);
    bench_close();
}
END_TEST

START_TEST(many_ribbons_are_counted)
{
    struct an_text text = {0};

    bench_open(measured);
    an_text_add(&text, "id,at,x_nm,colour,head,lot,gauge,tool,state\n");
    for (int i = 0; i < 7; i++) {
        an_text_addf(&text, "A,2026-03-04T10:0%d:00Z,1,R,H1,L%d,,,PROD\n", i, i % 6);
    }
    (void)bench_give("bench/a.csv", an_text_of(&text));
    an_text_free(&text);
    ck_assert_str_eq(bench_word("SELECT ribbon FROM sample WHERE ribbon IS NOT NULL"),
                     "L0 + L1 + L2 + L3 + 2 more");
    bench_close();
}
END_TEST

/* ---- blocks ----------------------------------------------------------------------------------- */
static const char boxes[] =
    "  box:\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: id}\n"
    "    characteristics:\n"
    "      v: {column: v, unit: V, position_column: site, grid: {row: site, column: k}, missing: "
    "[OVER]}\n";

/* value = scaled * 10^-decimals must be what stood in the file. */
static void check_block(size_t block, size_t rows, const char *const texts[])
{
    struct an_number_block cells;

    OK(an_store_numbers(bench.store, bench.last.file.file_id, "v", block, bench.arena, &cells,
                        &bench.err));
    ck_assert_uint_eq(cells.rows, rows);
    for (size_t i = 0; i < rows; i++) {
        struct an_decimal number;

        if (an_decimal_parse(an_bytes_of(texts[i]), '.', 0, &number) != AN_OK) {
            ck_assert(cells.scaled[i] == AN_CELL_MISSING);
            continue;
        }
        int64_t scaled = number.scaled;
        for (int d = number.decimals; d < cells.decimals; d++) {
            scaled *= 10;
        }
        for (int d = number.decimals; d > cells.decimals; d--) {
            ck_assert(scaled % 10 == 0);
            scaled /= 10;
        }
        ck_assert_msg(cells.scaled[i] == scaled, "row %zu of block %zu: %s", i, block, texts[i]);
    }
}

START_TEST(blocks_hold_what_was_written)
{
    static const char *const texts[] = {"0.358", "-12",    "OVER", "1e3",  "0.10",  "7.25e-2",
                                        "",      "999999", "0",    "-0.5", "12.5e1"};
    const size_t count = sizeof texts / sizeof texts[0];
    struct an_text text = {0};
    uint32_t *codes = NULL;
    struct an_bytes *words = NULL;
    size_t rows = 0;
    size_t word_count = 0;
    size_t blocks = 0;
    struct an_number_block lines;
    struct an_number_block visits;

    bench_open(boxes);
    bench.tuning.block_rows = 4;
    bench_collector();
    an_text_add(&text, "k,site,v,at,id\n");
    for (size_t i = 0; i < count; i++) {
        an_text_addf(&text, "1,S%zu,%s,2026-03-04T10:00:00Z,A\n\n", i % 3, texts[i]);
    }
    /* sites are read as places too, so they must be numbers: S0 is none */
    (void)bench_give("box/a.csv", an_text_of(&text));
    ck_assert_int_eq(bench.last.file.held, (int)count);
    an_text_clear(&text);
    an_text_add(&text, "k,site,v,at,id\n");
    for (size_t i = 0; i < count; i++) {
        an_text_addf(&text, "1,%zu,%s,2026-03-04T10:00:00Z,%s\n\n", i % 3, texts[i],
                     i % 2 ? "B" : "A");
    }
    (void)bench_give("box/b.csv", an_text_of(&text));
    an_text_free(&text);
    ck_assert_int_eq(bench.last.file.taken, (int)count);
    OK(an_store_block_count(bench.store, bench.last.file.file_id, &blocks, &bench.err));
    ck_assert_uint_eq(blocks, 3);
    check_block(0, 4, texts);
    check_block(1, 4, texts + 4);
    check_block(2, 3, texts + 8);
    OK(an_store_texts(bench.store, bench.last.file.file_id, "v@text", 0, bench.arena, &codes, &rows,
                      &words, &word_count, &bench.err));
    ck_assert_uint_eq(rows, 4);
    ck_assert(an_bytes_are(words[codes[2]], "OVER") && codes[0] == UINT32_MAX);
    OK(an_store_texts(bench.store, bench.last.file.file_id, "site", 2, bench.arena, &codes, &rows,
                      &words, &word_count, &bench.err));
    ck_assert(an_bytes_are(words[codes[2]], "1")); /* row 10: 10 % 3 */
    OK(an_store_numbers(bench.store, bench.last.file.file_id, AN_COLUMN_LINE, 1, bench.arena,
                        &lines, &bench.err));
    ck_assert_int_eq(lines.scaled[3], 2 + 2 * 7);
    OK(an_store_numbers(bench.store, bench.last.file.file_id, AN_COLUMN_VISIT, 1, bench.arena,
                        &visits, &bench.err));
    ck_assert(visits.scaled[0] == visits.scaled[2] && visits.scaled[1] == visits.scaled[3] &&
              visits.scaled[0] + 1 == visits.scaled[1]);
    bench_close();
}
END_TEST

/* Numbers that no one scale can hold stay exact: the odd ones are kept as texts. */
START_TEST(numbers_out_of_scale)
{
    struct an_number_block cells;
    uint32_t *codes = NULL;
    struct an_bytes *words = NULL;
    size_t rows = 0;
    size_t count = 0;

    bench_open(boxes);
    (void)bench_give("box/a.csv", "k,site,v,at,id\n"
                                  "1,1,1.5e-20," AT("00") ",A\n"
                                                          "1,1,123456789012345.25," AT(
                                                              "00") ",A\n"
                                                                    "1,1,2.5," AT("00") ",A\n");
    ck_assert_int_eq(bench.last.file.taken, 3);
    OK(an_store_numbers(bench.store, bench.last.file.file_id, "v", 0, bench.arena, &cells,
                        &bench.err));
    OK(an_store_texts(bench.store, bench.last.file.file_id, "v@text", 0, bench.arena, &codes, &rows,
                      &words, &count, &bench.err));
    ck_assert(cells.scaled[0] == AN_CELL_MISSING);
    ck_assert(an_bytes_are(words[codes[0]], "15e-21"));
    ck_assert(an_decimal_value(cells.scaled[1], cells.decimals) == 123456789012345.25);
    ck_assert(an_decimal_value(cells.scaled[2], cells.decimals) == 2.5);
    bench_close();
}
END_TEST

/* ---- published values ------------------------------------------------------------------------- */
static const char strd[] = "  strd:\n"
                           "    time: file\n"
                           "    item: {kind: free, column: set}\n"
                           "    characteristics:\n"
                           "      y: {column: y, unit: \"1\", family: between_within}\n";

static void add_set(struct an_text *text, const char *name, int which)
{
    static const int64_t odd[4] = {10000001, 1, 1000000, 10000000};
    static const int decimals[4] = {0, 1, 1, 1};
    static const char *const first[4] = {"", "1.2", "1000000.2", "10000000.2"};

    if (which == 0) { /* NumAcc1: 10000001, 10000003, 10000002 */
        an_text_addf(text, "%s,%lld\n%s,10000003\n%s,10000002\n", name, (long long)odd[0], name,
                     name);
        return;
    }
    /* NumAcc2 to 4: the value 0.2 up, then 0.1 and 0.3 up by turns, 500 times each */
    an_text_addf(text, "%s,%s\n", name, first[which]);
    for (int i = 0; i < 500; i++) {
        for (int tenth = 1; tenth <= 3; tenth += 2) {
            an_text_addf(text, "%s,%lld.%d\n", name, (long long)odd[which],
                         decimals[which] * tenth);
        }
    }
}

/* NIST StRD, univariate: certified mean and standard deviation of NumAcc1 to NumAcc4 (origin: the
 * data's own definition; mean and sd follow from it in closed form). */
START_TEST(strd_numacc)
{
    static const struct {
        const char *name;
        double mean, sd;
    } certified[] = {{"NumAcc1", 10000002, 1},
                     {"NumAcc2", 1.2, 0.1},
                     {"NumAcc3", 1000000.2, 0.1},
                     {"NumAcc4", 10000000.2, 0.1}};
    struct an_text text = {0};

    bench_open(strd);
    an_text_add(&text, "set,y\n");
    for (int i = 0; i < 4; i++) {
        add_set(&text, certified[i].name, i);
    }
    (void)bench_give("strd/s.csv", an_text_of(&text));
    an_text_free(&text);
    for (int i = 0; i < 4; i++) {
        const char *mean = an_arena_printf(bench.arena,
                                           "SELECT mean FROM sample JOIN item USING (item_id)"
                                           " WHERE serial = '%s'",
                                           certified[i].name);
        const char *sd = an_arena_printf(bench.arena,
                                         "SELECT sqrt(ssd / (n - 1)) FROM sample JOIN item USING"
                                         " (item_id) WHERE serial = '%s'",
                                         certified[i].name);
        ck_assert_double_eq_tol(bench_number(mean) / certified[i].mean, 1, 1e-15);
        ck_assert_double_eq_tol(bench_number(sd) / certified[i].sd, 1, 1e-14);
    }
    ck_assert(strstr(bench.last.file.notes, "time.file"));
    bench_close();
}
END_TEST

/* Michelson's speed of light, 100 values in km/s less 299,000, in the order of the 1879 runs.
 * NIST StRD, Michelso: mean 299.852400000000, sd 0.0790105478190518 (10^3 km/s). [from memory] */
static const int michelso[100] = {
    850,  740, 900, 1070, 930, 850, 950, 980, 980, 880, 1000, 980, 930, 650, 760, 810, 1000,
    1000, 960, 960, 960,  940, 960, 940, 880, 800, 850, 880,  900, 840, 830, 790, 810, 880,
    880,  830, 800, 790,  760, 800, 880, 880, 880, 860, 720,  720, 620, 860, 970, 950, 880,
    910,  850, 870, 840,  840, 850, 840, 840, 840, 890, 810,  810, 820, 800, 770, 760, 740,
    750,  760, 910, 920,  890, 860, 880, 720, 840, 850, 850,  780, 890, 840, 780, 810, 760,
    810,  790, 810, 820,  850, 870, 870, 810, 740, 810, 940,  950, 800, 810, 870};

START_TEST(strd_michelso)
{
    struct an_text text = {0};

    bench_open(strd);
    an_text_add(&text, "set,y\n");
    for (int i = 0; i < 100; i++) {
        an_text_addf(&text, "Michelso,%d.%02d\n", 299 + michelso[i] / 1000,
                     michelso[i] % 1000 / 10);
    }
    (void)bench_give("strd/m.csv", an_text_of(&text));
    an_text_free(&text);
    ck_assert_double_eq_tol(bench_number("SELECT mean FROM sample") / 299.8524, 1, 1e-15);
    ck_assert_double_eq_tol(bench_number("SELECT sqrt(ssd / 99) FROM sample") / 0.0790105478190518,
                            1, 1e-14);
    bench_close();
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("samples");
    TCase *group = tcase_create("samples");

    tcase_add_test(group, a_visit_and_its_samples);
    tcase_add_test(group, counts_and_opportunities);
    tcase_add_test(group, derived_values);
    tcase_add_test(group, links_and_ribbons);
    tcase_add_test(group, many_ribbons_are_counted);
    tcase_add_test(group, blocks_hold_what_was_written);
    tcase_add_test(group, numbers_out_of_scale);
    tcase_add_test(group, strd_numacc);
    tcase_add_test(group, strd_michelso);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
