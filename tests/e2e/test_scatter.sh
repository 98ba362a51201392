#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Counts that begin to scatter: news in check, in the reports of the shift and of the week, and on the
# page of the stream; told once.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
cat >line.yaml <<'END'
line: scirocco
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
      missing: {title: missing emitters, count: n, opportunities: m, per: million, split: [head]}
END
mkdir spool
# about 60 of 100,000; from tile 240 on the same mean, scattering three times as wide on head H2
awk 'BEGIN { s = 99; print "tile,at,head,n,m"
    for (i = 0; i < 400; i++) for (h = 1; h <= 2; h++) {
        s = (s * 16807) % 2147483647; u = s / 2147483647
        s = (s * 16807) % 2147483647; v = s / 2147483647
        z = sqrt(-2 * log(u)) * cos(6.283185307179586 * v)
        n = int(60 + 8 * z * (h == 2 && i >= 240 ? 2.6 : 1) + .5); if (n < 0) n = 0
        printf "T-%03d,%d,H%d,%d,100000\n", i, 1772596800 + 300 * i, h, n }}' >all.csv
{ head -1 all.csv; awk 'NR > 1 && NR <= 401' all.csv; } >spool/a.csv
{ head -1 all.csv; awk 'NR > 401' all.csv; } >spool/b.csv
"$a" init line.yaml >/dev/null
exits 0 collect "$a" collect spool
"$a" limits propose --all --samples 100 >/dev/null 2>&1
exits 0 lock "$a" limits lock --all --author T --reason baseline
exits 1 check "$a" check
ok 'it is told' grep -q 'The scatter of missing emitters (head H2) has grown: dispersion factor .* in 40 samples from .* in the limits (p ' out
same 'once, and of that head' "$(grep -c 'The scatter of' out)" 1
exits 1 'nothing new' "$a" check
ok 'and not again' grep -q '0 new signals' out
exits 1 json "$a" check --format json
ok 'p and window as data' jq -e '[.data.signals[] | select(.rule == "scatter_changed") | .hits[] |
    select(.p < 0.001 and .window_samples == 40 and .dispersion > 1.5)] | length == 1' out
exits 0 week "$a" report week --at 2026-03-04T10:00:00Z -o week.pdf
pdftotext -layout week.pdf week.txt
ok 'in the list of the week' grep -q 'S+' week.txt
exits 0 shift "$a" report shift --shift '2026-03-04 night' -o shift.pdf
pdftotext -layout shift.pdf shift.txt
ok 'in the list of the shift' grep -q 'S+' shift.txt
ok 'in words' sh -c 'tr -s " \n" "  " <shift.txt | grep -q "scatter of missing emitters (head H2) has grown"'
exits 0 'whole' "$a" verify
done_testing
