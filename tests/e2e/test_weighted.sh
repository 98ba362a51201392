#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Pages of charts with memory name what is plotted and how points are gathered, and set no specification
# beside it: it judges readings.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
cat >line.yaml <<'END'
line: weighted
zone: UTC
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds: {tile: {product: yes}}
stations:
  lum:
    folder: spool
    time: {column: at, pattern: "%s"}
    item: {kind: tile, column: tile}
    characteristics:
      plain: {column: x, unit: cd/m2, family: individuals, spec: {lower: 780, upper: 820}}
      sums: {column: x, unit: cd/m2, family: individuals, weighted: cusum, spec: {lower: 780, upper: 820}}
      mean: {column: x, unit: cd/m2, family: individuals, weighted: ewma, spec: {lower: 780, upper: 820}}
      moving: {column: x, unit: cd/m2, family: individuals, weighted: moving_average, spec: {lower: 780, upper: 820}}
END
mkdir spool
# about 800 with steps of 5 that repeat after 101 tiles; the last 50 lie 20 higher
awk 'BEGIN { print "tile,at,x"; for (i = 0; i < 170; i++) printf "T-%03d,%d,%.2f\n", i,
    1772596800 + 600 * i, 800 + 5 * ((i * 37 % 101) - 50) / 29 + (i >= 120 ? 20 : 0) }' >spool/a.csv
"$a" init line.yaml >/dev/null
exits 0 collect "$a" collect spool
"$a" limits propose --all --until 2026-03-05T00:00 >/dev/null 2>&1
exits 0 lock "$a" limits lock --all --author T --reason baseline
exits 1 check "$a" check
exits 0 report "$a" report shift -o shift.pdf
for page in 2 3 4 5; do
    pdftotext -layout -f $page -l $page shift.pdf page.txt
    case $(sed -n 's/^ *\(lum\.[a-z]*\).*/\1/p' page.txt | head -1) in
    lum.plain)
        ok 'single values have their specification' grep -q '820.0 spec' page.txt
        seen="${seen:-}p" ;;
    lum.sums)
        ok 'sums say so' grep -q 'cumulative sums, upper and lower, cd/m2' page.txt
        ok 'and how' grep -q 'both begun anew after' page.txt
        ok 'no specification beside sums' sh -c '! grep -q "820.0 spec" page.txt'
        seen="${seen:-}s" ;;
    lum.mean)
        ok 'weighted means say so' grep -q 'weighted mean, lambda 0.2' page.txt
        ok 'no specification beside means' sh -c '! grep -q "820.0 spec" page.txt'
        seen="${seen:-}m" ;;
    lum.moving)
        ok 'moving averages say so' grep -q 'moving average of' page.txt
        seen="${seen:-}v" ;;
    esac
done
same 'a page each' "$(echo "${seen:-}" | sed 's/./&\n/g' | sort | tr -d '\n')" 'mpsv'
# later judging starts from what a chart has gathered: a changed one would bend it
exits 0 'whole' "$a" verify
sqlite3 line.store "DROP TRIGGER running_no_update;
    UPDATE running SET state = replace(state, '[', '[1') WHERE running_id = 1"
exits 1 'what a chart has gathered was changed' "$a" verify
says 'which' 'table running, row 1: state is not what ledger entry'

# counts so small that limits made for normal points alarm far too often: 0.057 a sample [simulated: once
# in 95 samples]; and gaps between the same events
mkdir rare rare/spool
cd rare
sed '/characteristics:/q' ../line.yaml >line.yaml
cat >>line.yaml <<'END'
      rare: {count: x, opportunities: 1, family: u, weighted: ewma}
      seldom: {count: x, opportunities: 1, family: g}
END
awk 'BEGIN { print "tile,at,x"; for (i = 0; i < 900; i++) { seed = (seed * 4093 + 25673) % 65536
    printf "T-%03d,%d,%d\n", i, 1772596800 + 600 * i, seed / 65536 < 0.057 } }' >spool/a.csv
"$a" init line.yaml >/dev/null
exits 0 'collect counts' "$a" collect spool
exits 1 'limits of small counts' "$a" limits propose --all
says 'how often it would alarm' 'this ewma alarms by luck once in about 10[0-9] samples, where these limits give 366'
says 'which limits would do' "weighted: {ewma: 0.2, limits: [34]\.[0-9]*}' would give those too"
says 'what gaps do not show' 'no single gap can be below the lower limit, since a sample holds 1 opportunity'

done_testing
