#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A sample of so many consecutive rows may be of several items: all of them are at risk, and none of
# another tool whose rows stand between them.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
cat >line.yaml <<'END'
line: mixed
zone: UTC
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds: {tile: {product: yes}}
stations:
  fix:
    folder: spool
    time: {column: at, pattern: "%s"}
    item: {kind: tile, column: tile}
    tool_column: tool
    characteristics:
      failed: {count: bad, opportunities: 1, family: p, split: tool, subgroup: {every: 6}}
      force: {column: f, unit: N, missing: ["-"], family: xbar_s, split: tool, subgroup: {every: 6}}
END
mkdir spool
# rows of two tools by turns, each with tiles of its own, four rows a tile: a sample of six rows of a tool
# is of two tiles. The 21st sample of tool A (rows 240 to 250) is bad, of tiles A-030 and A-031; of the
# second of them no force was read, though the sample ends with it.
awk 'BEGIN { print "tile,at,tool,bad,f"; for (i = 0; i < 600; i++) { t = i % 2 ? "B" : "A"; n = int(i / 2)
    s = int(n / 6); seed = (seed * 4093 + 25673) % 65536; bad = (t == "A" && s == 20) || (n * 7 + (t == "B")) % 11 == 0
    force = sprintf("%.2f", 50 + seed / 20000 + (t == "A" && s == 20 ? 9 : 0))
    if (t == "A" && int(n / 4) == 31) force = "-"
    printf "%s-%03d,%d,%s,%d,%s\n", t, int(n / 4), 1772596800 + 60 * i, t, bad, force } }' >spool/a.csv
exits 0 'the line' "$a" init line.yaml
exits 0 'collect' "$a" collect spool
"$a" limits propose --all >/dev/null 2>&1
exits 0 'lock' "$a" limits lock --all --author T --reason baseline
exits 1 'check' "$a" check --json
cp out told.json
for stream in 'fix.failed@tool=A' 'fix.force@tool=A'; do
    same "items of $stream" "$(jq -c --arg s "$stream" \
        '[.. | objects | select(.stream? == $s and .items? and (.items | index("A-030")))][0]
         | [.items, .items_at_most]' told.json)" '[["A-030","A-031"],false]'
done
done_testing
