#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Three variables judged at once, by tile and inside tiles: limits, signals with every variable's
# direction, the page.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
cat >line.yaml <<'END'
line: libeccio
zone: UTC
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds: {tile: {product: yes}}
stations:
  transfer:
    title: Mass transfer
    folder: spool
    time: {column: at, pattern: "%s"}
    item: {kind: tile, column: tile}
    characteristics:
      dx: {title: placement x, column: dx, unit: um, signals: no}
      dy: {title: placement y, column: dy, unit: um, signals: no}
      turn: {title: rotation, column: turn, unit: mrad, signals: no}
      shot: {title: shot placement, derived: {how: together, of: [dx, dy, turn]}, covariance: within}
      tile: {title: tile placement, derived: {how: together, of: [dx, dy, turn]}}
END
mkdir spool
# six shots a tile; from tile 120 on they are turned by 0.02 mrad; tile 130 has a shot without dy
awk 'BEGIN { s = 31; print "tile,at,dx,dy,turn"
    for (i = 0; i < 160; i++) for (k = 0; k < 6; k++) {
        for (j = 0; j < 3; j++) {
            s = (s * 16807) % 2147483647; u = s / 2147483647
            s = (s * 16807) % 2147483647; v = s / 2147483647
            z[j] = sqrt(-2 * log(u)) * cos(6.283185307179586 * v)
        }
        y = sprintf("%.4f", -0.1 + 0.25 * z[0] + 0.25 * z[1]); if (i == 130 && k == 3) y = ""
        printf "T-%03d,%d,%.4f,%s,%.5f\n", i, 1772596800 + 300 * i, 0.1 + 0.35 * z[0], y,
            0.015 * z[2] - (i >= 120 ? 0.02 : 0) }}' >all.csv
{ head -1 all.csv; awk 'NR > 1 && NR <= 601' all.csv; } >spool/a.csv
{ head -1 all.csv; awk 'NR > 601' all.csv; } >spool/b.csv
"$a" init line.yaml >/dev/null
exits 0 collect "$a" collect spool
"$a" limits propose --all --samples 100 >/dev/null 2>&1
exits 0 lock "$a" limits lock --all --author T --reason baseline
exits 0 show "$a" limits show --format json transfer.shot
# p (m + 1)(n - 1) / (m n - m - p + 1) times the F that 0.0027 exceeds, with p = 3, m = 100, n = 6: 3.0422 x 4.7817,
# by R: qf(2 * pnorm(3, lower.tail = FALSE), 3, 498, lower.tail = FALSE) * 3 * 101 * 5 / 498
near 'limit of subgroups' "$(jq -r '.data[0].ucl' out)" 14.54662 1e-6
exits 1 check "$a" check
ok 'each variable has a direction' grep -q 'Shot placement left its usual region .*dx unchanged, dy unchanged, turn down by 0.0' out
ok 'by tile, too' grep -q 'Tile placement left its usual region .*dx unchanged, dy unchanged, turn down by 0.0' out
exits 0 report "$a" report shift --shift '2026-03-04 late' -o shift.pdf
pdftotext -layout shift.pdf page.txt
ok 'the page says what the covariance is of' grep -q 'inside samples, 6.0 a sample on average' page.txt
exits 1 'the same again' "$a" check
ok 'nothing new' grep -q ' 0 new signals' out
exits 0 whole "$a" verify

# readings that are kept no longer: what was judged stays, what cannot be judged again is not, and no
# covariance inside samples is learned from them
sed 's/^zone:/keep: {readings: 2 months}\nzone:/' line.yaml >keep.yaml
exits 0 'a revision with keep' "$a" init keep.yaml
for signal in $(sqlite3 line.store 'SELECT signal_id FROM signal'); do
    "$a" answer "$signal" --author T --cause 'head was turned' >/dev/null
done
ANDAMENTO_CLOCK=2026-10-01T00:00:00Z "$a" retain --author A --reason R --yes >out 2>err || fail "retain: $(cat err)"
ok 'the later file goes' grep -q 'readings of 1 file' out
before=$(sqlite3 line.store 'SELECT count(*) FROM hit_withdrawal')
{ head -1 all.csv; tail -n 6 all.csv | sed 's/T-159/T-160/; s/,1772[0-9]*,/,1772629000,/'; } >spool/late.csv
exits 0 'one late tile' "$a" collect spool
"$a" check >/dev/null
same 'nothing is withdrawn for want of readings' "$(sqlite3 line.store 'SELECT count(*) FROM hit_withdrawal')" "$before"
exits 65 'propose again' "$a" limits propose transfer.shot
says 'why not' 'a covariance inside samples cannot be learned; choose a later baseline'
exits 0 'still whole' "$a" verify
done_testing
