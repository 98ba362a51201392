#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Answers and pages as of a moment: the same bytes as were made at that moment, whatever came later:
# late files, new limits, answers, released rows.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
ask() { sqlite3 -readonly line.store "$1"; }
wall=

"$a" demo --days 6 line >/dev/null
"$a" init line/line.yaml >/dev/null
find line/spool -type f | sort | awk 'NR % 9 == 0' >late
while read -r file; do
    mkdir -p "later/$(dirname "$file")"
    mv "$file" "later/$file"
done <late
export ANDAMENTO_CLOCK=2026-06-01T10:00:00Z
"$a" collect line/spool >/dev/null 2>&1
"$a" limits propose --all >/dev/null 2>&1
"$a" limits lock --all --author T --reason baseline >/dev/null 2>&1
"$a" check >/dev/null 2>&1
wall=$(ask "SELECT serial FROM item JOIN link ON child_id = item_id WHERE kind = 'wall' LIMIT 1")
entries=$(ask 'SELECT count(*) FROM ledger')

tell() { # folder, options: every command that takes --as-of
    mkdir -p "$1"
    folder=$1
    shift
    for report in shift week; do
        "$a" report $report -o "$folder/$report.pdf" "$@" >/dev/null 2>&1
    done
    "$a" export "$@" -o "$folder/export.csv" 2>/dev/null
    "$a" trace "$wall" --json "$@" >"$folder/trace"
    for command in signals 'limits show' held 'held acts' 'held missing' streams capability \
        components 'gauge list'; do
        # shellcheck disable=SC2086
        "$a" $command --json "$@" >"$folder/$(echo "$command" | tr ' ' -)" 2>/dev/null
    done
}
tell then

# ---- what comes later ---------------------------------------------------------------------------------
export ANDAMENTO_CLOCK=2026-06-02T10:00:00Z
cp -r later/line/spool/. line/spool/
"$a" collect line/spool >/dev/null 2>&1
"$a" limits propose --all >/dev/null 2>&1
"$a" limits lock --all --author U --reason 'more data' >/dev/null 2>&1
"$a" check >/dev/null 2>&1
"$a" answer "$(ask 'SELECT min(signal_id) FROM signal')" --author U --cause c --action d --reason r \
    >/dev/null
"$a" held release --code station.identity --as-is --author U --reason 'a new machine' >/dev/null 2>&1
ok 'something came' test "$(ask 'SELECT count(*) FROM ledger')" -gt $((entries + 100))
tell now
for moment in "$entries" 2026-06-01T10:00:00Z 2026-06-01; do
    rm -rf again
    tell again --as-of "$moment"
    for file in then/*; do
        ok "$(basename "$file") as of $moment" cmp "$file" "again/$(basename "$file")"
    done
done
changed=0
for file in then/*; do
    cmp -s "$file" "now/$(basename "$file")" || changed=$((changed + 1))
done
ok "$changed of the answers are others now" test "$changed" -ge 6

# ---- moments that are none ------------------------------------------------------------------------------
exits 66 'before anything' "$a" streams --as-of 2020-01-01
says 'so' 'nothing was known yet at 2020-01-01T22:59:59'
exits 66 'too many entries' "$a" streams --as-of 99999999
says 'so' 'never had 99999999 entries'
exits 64 'no time' "$a" streams --as-of yesterday
says 'so' 'yesterday'
for command in 'check' 'collect line/spool' 'verify' 'init line/line.yaml' 'demo other'; do
    # shellcheck disable=SC2086
    exits 64 "$command does not go back" "$a" $command --as-of 2026-06-01
    says 'so' "as-of"
done
done_testing
