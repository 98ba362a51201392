#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# retain on the demonstration line: nothing without 'keep', nothing on a dry run, nothing without
# being told so; then what is due goes by record, and collecting, judging, reports and verify go on.
. "${AN_SOURCE_DIR:?the sources}/tests/e2e/support.sh"

field() { # NAME: a number out of the JSON answer in out
    sed -n "s/.*\"$1\": *\([0-9][0-9]*\).*/\1/p" out | head -1
}

"$ANDAMENTO" demo demo >/dev/null 2>&1
export ANDAMENTO_STORE="$scratch/line.store"
"$ANDAMENTO" init demo/line.yaml >/dev/null 2>&1
"$ANDAMENTO" collect --quiet demo/spool >/dev/null 2>&1
until=$(sed -n 's/.*"baseline_until": *"\([^"]*\)".*/\1/p' demo/truth.json)
"$ANDAMENTO" limits propose --all --until "$until" --quiet >/dev/null 2>&1
"$ANDAMENTO" limits lock --all --author 'A. Person' --in-force-from "$until" --reason steady \
    >/dev/null 2>&1
"$ANDAMENTO" check --quiet >/dev/null 2>&1
export ANDAMENTO_CLOCK=2026-10-01T00:00:00Z

exits 0 "without keep" "$ANDAMENTO" retain --author A --reason R --yes
ok "says that nothing is ever dropped" grep -q "no 'keep': nothing is ever dropped" out

sed 's/^zone:/keep: {readings: 2 months, originals: 3 months}\nzone:/' demo/line.yaml >keep.yaml
exits 0 "a revision with keep" "$ANDAMENTO" init keep.yaml
sed 's/^zone:/keep: {readings: 2 months, originals: 0 months}\nzone:/' demo/line.yaml >bad.yaml
exits 78 "keep of nothing" "$ANDAMENTO" init bad.yaml
says "where and what" "bad.yaml:[0-9]*:[0-9]*: 'originals' is nothing at all"

# what is behind an open item is spared: of all signals one is left open, and then answered in a copy
exits 1 "signals" "$ANDAMENTO" signals --open --csv
last=$(tail -1 out | cut -d, -f1)
# shellcheck disable=SC2046  # a number a word
exits 0 "all but one answered" "$ANDAMENTO" answer $(sed 1d out | cut -d, -f1 | grep -vx "$last") \
    --author 'A. Person' --cause looked-at
exits 0 "one open" "$ANDAMENTO" retain --dry-run --json
some=$(field originals)
spared=$(field spared_open)
if [ "${spared:-0}" -eq 0 ]; then fail "nothing is spared behind signal $last: $(cat out)"; fi
cp line.store answered.store
exits 0 "the last one answered" "$ANDAMENTO" answer --store answered.store "$last" \
    --author 'A. Person' --cause looked-at
exits 0 "none open" "$ANDAMENTO" retain --dry-run --json --store answered.store
same "nothing is spared behind open items" "$(field spared_open)" 0
same "their originals are due then" "$(field originals)" "$((some + spared))"

exits 0 "export before" "$ANDAMENTO" export -o before.csv
before=$(sha256sum line.store)
exits 0 "dry run" "$ANDAMENTO" retain --dry-run --json
due=$(field files)
readings=$(field readings)
originals=$(field originals)
if [ "${due:-0}" -eq 0 ] || [ "${readings:-0}" -eq 0 ]; then fail "nothing is due: $(cat out)"; fi
same "the store after a dry run" "$(sha256sum line.store)" "$before"
exits 0 "dry run for people" "$ANDAMENTO" retain -n
ok "tells what would go" grep -q "^due: readings of $readings file" out
ok "tells what is spared" grep -q "limits in force were learnt from" out

exits 64 "no author" "$ANDAMENTO" retain --reason space --yes
says "author" "wants --author"
exits 64 "no reason" "$ANDAMENTO" retain --author A --yes
says "reason" "wants --reason"
exits 64 "nobody to ask" "$ANDAMENTO" retain --author A --reason space </dev/null
says "yes" "give --yes"
same "the store after refusals" "$(sha256sum line.store)" "$before"

exits 0 "retain" "$ANDAMENTO" retain --author 'A. Keeper' --reason 'two months' --yes --json
same "as many files as were due" "$(field files)" "$due"
same "as many readings" "$(field readings)" "$readings"
same "as many originals" "$(field originals)" "$originals"
exits 0 "verify is content" "$ANDAMENTO" verify
ok "and tells what was dropped" grep -q \
    "^kept no longer, by record: readings of $readings files, originals of $originals" out
exits 0 "a second time" "$ANDAMENTO" retain --author 'A. Keeper' --reason again --yes
ok "has nothing to do" grep -q "^nothing is due" out

bytes=$(wc -c <line.store)
exits 0 "shrink" "$ANDAMENTO" retain --author 'A. Keeper' --reason room --yes --shrink
after=$(wc -c <line.store)
[ "$after" -lt "$bytes" ] || fail "shrunk from $bytes to $after bytes"
exits 0 "verify after shrinking" "$ANDAMENTO" verify

# life goes on
"$ANDAMENTO" collect --quiet demo/spool >out 2>err
ok "files are still known by their hash" grep -q "^0 files taken" out
exits 1 "check" "$ANDAMENTO" check --quiet
exits 0 "export" "$ANDAMENTO" export -o after.csv
says "export tells what is kept no longer" "kept no longer (since 2026-10-01, by A. Keeper"
cut -d, -f1-13 before.csv >before.cut
cut -d, -f1-13 after.csv >after.cut
ok "the same statistics" cmp before.cut after.cut
ok "some rows without readings" grep -q ',0$' after.csv
"$ANDAMENTO" capability >out 2>err
ok "capability says why" grep -q 'kept no longer (since 2026-10-01, by A. Keeper' out
exits 0 "report" "$ANDAMENTO" report shift -o shift.pdf

# a deletion beside the program is a finding, and the store refuses it
if command -v sqlite3 >/dev/null; then
    sqlite3 line.store "DELETE FROM original" 2>/dev/null && fail "an original was deleted"
    sqlite3 line.store "DROP TRIGGER original_no_delete; DELETE FROM original"
    exits 1 "an original that is missing without a record" "$ANDAMENTO" verify
    says "which" "no original with that hash is kept"
fi
done_testing
