#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Charts on a transformed scale, from the description over limits and signals to the page.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
cat >line.yaml <<'END'
line: maestrale
zone: UTC
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds: {tile: {product: yes}}
stations:
  bond:
    title: Bonding
    folder: spool
    files: "bond*.csv"
    time: {column: at, pattern: "%s"}
    item: {kind: tile, column: tile}
    characteristics:
      joint: {title: joint resistance, column: x, unit: ohm, subgroup: row, scale: box_cox, spec: {upper: 5}}
      plain: {column: x, unit: ohm, subgroup: row}
      slow: {column: x, unit: ohm, subgroup: row, scale: ln, weighted: ewma}
      bound: {column: x, unit: ohm, subgroup: row, scale: {johnson: johnson_su}}
      even: {column: y, unit: um, subgroup: row, scale: box_cox}
  wire:
    folder: spool
    files: "wire*.csv"
    time: {column: at, pattern: "%s"}
    item: {kind: tile, column: tile}
    characteristics:
      edge: {title: edge resistance, column: r, unit: ohm, family: xbar_s, scale: ln}
END
mkdir spool
# u1, u2 uniform by multiplication, z normal from both; joint resistance exp(0.4 + 0.35 z), symmetric y;
# from tile 170 on 40 per cent more; tile 190 reads -0.2 (a probe that does not touch)
make() { # first last
    awk -v a="$1" -v b="$2" 'BEGIN { s = 4242; print "tile,at,x,y"
        for (i = 0; i < b; i++) {
            s = (s * 16807) % 2147483647; u = s / 2147483647
            s = (s * 16807) % 2147483647; v = s / 2147483647
            z = sqrt(-2 * log(u)) * cos(6.283185307179586 * v)
            y = sqrt(-2 * log(u)) * sin(6.283185307179586 * v)
            x = exp(0.4 + 0.35 * z) * (i >= 170 ? 1.9 : 1); if (i == 190) x = -0.2
            if (i >= a) printf "T-%03d,%d,%.4f,%.3f\n", i, 1772596800 + 300 * i, x, 100 + y }}'
}
make 0 150 >spool/bond-a.csv
make 150 200 >spool/bond-b.csv
awk 'BEGIN { s = 77; print "tile,at,r"; for (i = 0; i < 60; i++) for (k = 0; k < 5; k++) {
    s = (s * 16807) % 2147483647; u = s / 2147483647
    s = (s * 16807) % 2147483647; v = s / 2147483647
    z = sqrt(-2 * log(u)) * cos(6.283185307179586 * v)
    x = exp(0.7 + 0.3 * z) * (i >= 50 ? 1.5 : 1); if (i == 55 && k == 2) x = 0
    printf "T-%03d,%d,%.4f\n", i, 1772596800 + 900 * i, x }}' >spool/wire.csv
"$a" init line.yaml >/dev/null
exits 0 collect "$a" collect spool
exits 1 propose "$a" limits propose 'bond.*' --samples 150
ok 'the likeliest power stands on the way' grep -q 'bond.joint: likeliest power .*taken 0;' out
ok 'the logarithm is what it is near' grep -q 'bond.joint: the chart is on the scale of ln(value); limits carried back: lcl 0.' out
ok 'before and after, with n' grep -q 'bond.joint: .*normal shape of 150 readings: before A2\* .*, on the scale A2\*' out
says 'a needless scale is told' 'bond.even: the readings do not ask for a scale: power 1'
exits 0 'readings, too' "$a" limits propose 'wire.*' --samples 50
exits 0 lock "$a" limits lock --all --author T --reason baseline
exits 0 show "$a" limits show --format json bond.joint
lower=$(jq -r '.data[0].scale.lcl_in_unit' out) upper=$(jq -r '.data[0].scale.ucl_in_unit' out)
near 'the centre comes back through e' "$(jq -r '.data[0].scale.centre_in_unit' out)" \
    "$(jq -r '.data[0].centre | exp' out)" 1e-12
near 'and a limit' "$upper" "$(jq -r '.data[0].ucl | exp' out)" 1e-12
ok 'limits are not even about the centre' jq -e '.data[0].scale | .ucl_in_unit - .centre_in_unit > 1.5 * (.centre_in_unit - .lcl_in_unit)' out
exits 1 check "$a" check
ok 'a value of 0 or less is a signal' grep -q 'held -0.2 ohm, which has no place on the scale of its chart, ln(value)' out
ok 'of a sample of several, too' grep -q 'dge resistance .*held 0 ohm, which has no place on the scale' out
ok 'sizes are told in ohm as well' grep -q 'oint resistance .*on its scale (.* sigma; .* ohm where the centre is 1.' out
exits 1 'signals as data' "$a" check --format json
ok 'its rule has a name' jq -e '[.data.signals[] | .hits[]? | select(.rule == "off_scale")] | length >= 1' out
exits 0 'points' "$a" export bond.joint --format csv
ok 'points are on the scale' grep -q 'ln(ohm)' out
exits 0 'capability' "$a" capability bond.joint --format json
exits 0 'week' "$a" report week -o week.pdf
exits 0 'page' "$a" report shift -o shift.pdf
pdftotext -layout shift.pdf page.txt
ok 'the page says on which scale' grep -q 'this chart is on the scale of ln(value)' page.txt
ok 'and its limits in ohm' grep -q 'carried back: lcl 0\.' page.txt
ok 'and why' grep -q 'likeliest power' page.txt
ok 'and what could not be drawn' grep -q 'holds -0.2 ohm: no place on this scale' page.txt
exits 0 'whole' "$a" verify
sqlite3 line.store "DROP TRIGGER limits_no_update;
    UPDATE limits SET model = replace(model, '\"power\":0', '\"power\":0.1') WHERE limits_id = 1"
exits 1 'a changed scale is seen' "$a" verify
says 'as a change of limits' 'table limits, row 1: model is not what ledger entry'

# a value that no power takes, in the baseline: refused, by name
cat >two.yaml <<'END'
line: two
zone: UTC
shifts: {all: 00:00}
kinds: {tile: {product: yes}}
stations:
  bond:
    folder: spool2
    time: {column: at, pattern: "%s"}
    item: {kind: tile, column: tile}
    characteristics:
      joint: {column: x, unit: ohm, subgroup: row, scale: box_cox}
      moved: {column: x, unit: ohm, subgroup: row, scale: {box_cox: auto, shift: 1}}
END
export ANDAMENTO_STORE=two.store
mkdir spool2
make 150 200 >spool2/b.csv
"$a" init two.yaml >/dev/null
exits 0 collect "$a" collect spool2
exits 1 'one refused, one not' "$a" limits propose --all
says 'which sample, what to do' 'sample 81 (T-190) in the baseline of bond.joint holds -0.2, and a power or logarithm wants values above 0: leave the sample out with its cause, or declare a shift'
ok 'a declared shift takes it' grep -q 'bond.moved: the chart is on the scale of .*value + 1' out
done_testing
