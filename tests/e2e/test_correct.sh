#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Corrections from end to end: what holds is in every answer, what was recorded in the list; undone, all
# is as before to the byte; before them in time, too.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store ANDAMENTO_CLOCK=2026-06-01T10:00:00Z
ask() { sqlite3 -readonly line.store "$1"; }
tells() {
    checks=$((checks + 1))
    grep -q -- "$2" out || fail "$1: '$(head -3 out)' does not say '$2'"
}
by="--author A.Person --reason seen"

"$a" demo --days 6 line >/dev/null
"$a" init line/line.yaml >/dev/null
"$a" collect line/spool >/dev/null 2>&1
"$a" limits propose --all >/dev/null 2>&1
"$a" limits lock --all --author T --reason baseline >/dev/null 2>&1
"$a" check >/dev/null 2>&1
entries=$(ask 'SELECT count(*) FROM ledger')
link="FROM link k JOIN item p ON p.item_id = k.parent_id JOIN item c ON c.item_id = k.child_id
    WHERE c.kind = 'wall' AND p.kind = 'tile'"
wall=$(ask "SELECT c.serial $link ORDER BY link_id LIMIT 1")
tile=$(ask "SELECT p.serial $link ORDER BY link_id LIMIT 1")
other=$(ask "SELECT serial FROM item WHERE kind = 'tile' AND item_id NOT IN (SELECT parent_id FROM link)
    ORDER BY item_id LIMIT 1")
sample=$(ask "SELECT sample_id FROM sample WHERE n > 1 ORDER BY sample_id DESC LIMIT 1")
stream=$(ask "SELECT name FROM stream JOIN sample USING (stream_id) WHERE sample_id = $sample")
file=$(ask "SELECT file_id FROM sample WHERE sample_id = $sample")
name=$(ask "SELECT station || '.' || characteristic FROM stream WHERE name = '$stream'")

tell() { # folder, options
    mkdir -p "$1"
    folder=$1
    shift
    "$a" export --csv "$@" >"$folder/export.csv" 2>/dev/null
    "$a" trace "$wall" --json "$@" >"$folder/trace"
    "$a" report shift -o "$folder/shift.pdf" "$@" >/dev/null 2>&1
    "$a" signals --json "$@" >"$folder/signals" 2>/dev/null
}
tell before

# ---- a part ----------------------------------------------------------------------------------------------
export ANDAMENTO_CLOCK=2026-06-02T10:00:00Z
# shellcheck disable=SC2086
exits 0 'another tile is in the wall' "$a" correct parent "$wall" --was "$tile" --is "$other" $by
tells 'so' "tile $tile in wall $wall -> tile $other in wall $wall"
"$a" trace "$wall" >traced
ok 'the trace has the right tile' grep -q "$other" traced
same 'and not the wrong one' "$(grep -c "$tile" traced)" 0
ok 'and says by which correction' grep -q "tile $other.*(by correction 1)" traced
"$a" trace "$other" >traced
ok 'and the tile its wall' grep -q "$wall" traced

# ---- a serial --------------------------------------------------------------------------------------------
# shellcheck disable=SC2086
exits 0 'a serial no item has' "$a" correct serial "tile:$tile" --is NEW-1 $by
"$a" trace NEW-1 >new
"$a" trace "tile:$tile" >old
ok 'both names find it' cmp new old
if command -v pdftotext >/dev/null; then
    "$a" report wall "$wall" -o wall.pdf >/dev/null 2>&1
    "$a" report tile "$other" -o tile.pdf >/dev/null 2>&1
    for page in wall tile; do
        pdftotext -layout $page.pdf - | tr -s ' \n' ' ' >$page.txt
        ok "the report of the $page tells what was recorded" grep -q "recorded was tile $tile in wall $wall; what holds is tile $other in wall $wall (correction 1, A.Person: seen)" $page.txt
    done
fi
ok 'and the old one stays known' grep -q "also known as tile $tile  \[correction 2\]" new

# ---- a sample --------------------------------------------------------------------------------------------
rows=$(grep -c '' before/export.csv)
# shellcheck disable=SC2086
exits 0 'a sample is withdrawn' "$a" correct withdraw --sample "$sample" $by
"$a" check >/dev/null 2>&1
"$a" export --csv >now.csv 2>/dev/null
ok 'export is a row shorter' test "$(grep -c '' now.csv)" -eq $((rows - 1))
# shellcheck disable=SC2086
exits 0 'undone' "$a" correct undo 3 $by

# ---- a unit ----------------------------------------------------------------------------------------------
# shellcheck disable=SC2086
exits 0 'values were in another unit' "$a" correct unit "$file" "$name" --was um --is mm $by
tells 'by how much' 'values times 1000'
"$a" export --csv "$stream" >now.csv 2>/dev/null
"$a" export --csv "$stream" --as-of "$entries" >then.csv 2>/dev/null
same 'and says by which correction' "$(awk -F, 'NR > 1 && $NF == 5' now.csv | grep -c .)" \
    "$(ask 'SELECT count(*) FROM corrected_sample JOIN sample USING (sample_id) WHERE correction_id = 5
        AND sample.stream_id = (SELECT stream_id FROM sample WHERE sample_id = '$sample')')"
ok 'export has a thousand times the value' awk -F, -v OFS=, '
    NR == FNR { mean[FNR] = $8; next }
    FNR > 1 && $8 != mean[FNR] { r = $8 / mean[FNR]; n++; if (r < 999.9 || r > 1000.1) bad++ }
    END { exit !(n > 0 && !bad) }' then.csv now.csv

# ---- the list, and before --------------------------------------------------------------------------------
exits 0 'list' "$a" correct list
tells 'what was' "tile $tile in wall $wall"
tells 'who' 'A.Person'
exits 0 'as of before' "$a" correct list --as-of "$entries"
tells 'none' 'nothing was corrected'
tell again --as-of "$entries"
for answer in before/*; do
    ok "$(basename "$answer") as of before" cmp "$answer" "again/$(basename "$answer")"
done
"$a" verify >verified 2>&1
ok 'the store is sound' test $? -eq 0

# ---- all undone ------------------------------------------------------------------------------------------
for n in 1 2 5; do
    # shellcheck disable=SC2086
    "$a" correct undo $n $by >/dev/null
done
"$a" check >/dev/null 2>&1
"$a" export --csv >now.csv 2>/dev/null
"$a" trace "$wall" --json >now.trace
ok 'export is as before' cmp before/export.csv now.csv
ok 'trace is as before' cmp before/trace now.trace

# ---- what cannot be --------------------------------------------------------------------------------------
# shellcheck disable=SC2086
{
    exits 66 'no such item' "$a" correct serial "tile:$tile-x" --is A $by
    exits 64 'no author' "$a" correct withdraw --sample 1 --reason r
    exits 64 'no unit' "$a" correct unit "$file" "$name" --was um --is kg $by
    says 'so' 'measure different things'
    exits 64 'undone already' "$a" correct undo 1 $by
    exits 64 'no number' "$a" correct undo x $by
    exits 66 'no such file' "$a" correct unit nothing.csv "$name" --was um --is mm $by
    exits 66 'no such characteristic' "$a" correct unit "$file" transfer.nothing --factor 2 $by
    exits 64 'a factor of 0' "$a" correct unit "$file" "$name" --factor 0 $by
    exits 64 'file and sample' "$a" correct withdraw --file "$file" --sample 1 $by
    exits 64 'a wall in itself' "$a" correct parent "$wall" --was "$tile" --is "$wall" $by
}
count=$(ask 'SELECT count(*) FROM correction')
# shellcheck disable=SC2086
exits 0 'dry run' "$a" correct withdraw --sample "$sample" --dry-run $by
ok 'stores nothing' test "$(ask 'SELECT count(*) FROM correction')" -eq "$count"
done_testing
