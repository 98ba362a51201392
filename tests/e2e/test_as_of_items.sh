#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Reports on a wall, a batch and a tile, and traces in every form, as of a moment: the same bytes as
# were made then, after late files, corrections of every kind, new limits, answers, released rows, a
# gauge study and another line description.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
ask() { sqlite3 -readonly line.store "$1"; }
by="--author U --reason seen"

"$a" demo --days 6 line >/dev/null
"$a" init line/line.yaml >/dev/null
find line/spool -type f | sort | awk 'NR % 7 == 0' >late
while read -r file; do
    mkdir -p "later/$(dirname "$file")"
    mv "$file" "later/$file"
done <late
export ANDAMENTO_CLOCK=2026-06-01T10:00:00Z
"$a" collect line/spool >/dev/null 2>&1
"$a" limits propose --all >/dev/null 2>&1
"$a" limits lock --all --author T --reason baseline >/dev/null 2>&1
"$a" check >/dev/null 2>&1
entries=$(ask 'SELECT count(*) FROM ledger')

# the wall whose tiles the late files tell most of; its tiles; a run that is in them
in_wall="link k JOIN item p ON p.item_id = k.parent_id JOIN item w ON w.item_id = k.child_id
    AND w.kind = 'wall'"
for wall in $(ask "SELECT DISTINCT w.serial FROM $in_wall"); do
    ask "SELECT p.serial FROM $in_wall WHERE w.serial = '$wall'" >tiles
    echo "$(grep -rhoFf tiles later | sort -u | wc -l) $wall"
done | sort -n | tail -1 >most
wall=$(cut -d' ' -f2 most)
ok "late files tell of the wall's tiles" test "$(cut -d' ' -f1 most)" -gt 0
tiles=$(ask "SELECT p.serial FROM $in_wall WHERE w.serial = '$wall' ORDER BY k.link_id")
tile() { echo "$tiles" | sed -n "$1p"; }
late_tile=$(echo "$tiles" | grep -Fx "$(grep -rhoF "$tiles" later | sort | uniq -c | sort -n |
    awk 'END { print $2 }')")
batch=$("$a" trace "$wall" --up --kind epi_run --sums --csv | awk -F, '$2 == "epi_run" { print $3; exit }')
carrier=$("$a" trace "$(tile 1)" --up --kind carrier --sums --csv | awk -F, '$2 == "carrier" { print $3; exit }')
ok 'a batch and a carrier are in it' test -n "$batch" -a -n "$carrier"

tell() { # folder, options
    mkdir -p "$1"
    folder=$1
    shift
    "$a" report wall "$wall" -o "$folder/wall.pdf" --tile "$(tile 2)" "$@" >/dev/null 2>&1
    "$a" report batch "$batch" -o "$folder/batch.pdf" "$@" >/dev/null 2>&1
    "$a" report batch "carrier:$carrier" -o "$folder/carrier.pdf" "$@" >/dev/null 2>&1
    for n in 1 2 3 4; do
        "$a" report tile "$(tile $n)" -o "$folder/tile-$n.pdf" "$@" >/dev/null 2>&1
        "$a" trace "$(tile $n)" "$@" >"$folder/trace-tile-$n"
    done
    "$a" report tile "$late_tile" -o "$folder/tile-late.pdf" "$@" >/dev/null 2>&1
    "$a" report wall "$wall" --json -o facts.pdf "$@" 2>/dev/null | sed 's/"path": *"[^"]*"//' \
        >"$folder/wall-facts"
    for form in '' --table --csv --json --dot --sums '--sums --csv' '--sums --json'; do
        # shellcheck disable=SC2086
        {
            "$a" trace "$wall" $form "$@" >"$folder/trace-wall$(echo "$form" | tr ' ' _)"
            "$a" trace "$batch" $form "$@" >"$folder/trace-batch$(echo "$form" | tr ' ' _)"
        }
    done
    for form in '' --csv --json; do
        # shellcheck disable=SC2086
        "$a" trace --common "$(tile 1)" "$(tile 2)" $form "$@" >"$folder/common$form"
    done
    "$a" correct list --json "$@" >"$folder/corrections"
}
tell then
for file in then/*; do
    ok "$file has something in it" test -s "$file"
done

# ---- what comes later ---------------------------------------------------------------------------------
export ANDAMENTO_CLOCK=2026-06-02T10:00:00Z
luminance=$(ask "SELECT f.name FROM sample JOIN item USING (item_id) JOIN stream t USING (stream_id)
    JOIN file f ON f.file_id = sample.file_id
    WHERE serial = '$(tile 2)' AND t.station = 'luminance' AND t.characteristic = 'level' LIMIT 1")
# shellcheck disable=SC2086
{
    exits 0 'another part' "$a" correct parent "$(tile 1)" --was "$(
        ask "SELECT p.serial FROM link k JOIN item p ON p.item_id = k.parent_id JOIN item c
            ON c.item_id = k.child_id WHERE c.serial = '$(tile 1)' AND p.kind = 'carrier' LIMIT 1")" \
        --is "$(ask "SELECT max(serial) FROM item WHERE kind = 'carrier'")" $by
    exits 0 'a tile that was not there' "$a" correct parent "$wall" --was "$(tile 5)" --is none $by
    exits 0 'a serial no item has' "$a" correct serial "$(tile 2)" --is SV26-99999-Z $by
    exits 0 'the serial of another item' "$a" correct serial "$batch" --is "$(
        ask "SELECT max(serial) FROM item WHERE kind = 'epi_run' AND serial <> '$batch'")" $by
    exits 0 'another unit' "$a" correct unit "$luminance" luminance.level --factor 1.2 $by
    exits 0 'a sample withdrawn' "$a" correct withdraw --sample "$(
        ask "SELECT sample_id FROM sample JOIN item USING (item_id) WHERE serial = '$(tile 3)'
            ORDER BY sample_id LIMIT 1")" $by
    exits 0 'and another' "$a" correct withdraw --sample "$(
        ask "SELECT sample_id FROM sample JOIN item USING (item_id) WHERE serial = '$(tile 4)'
            ORDER BY sample_id LIMIT 1")" $by
    exits 0 'which was right' "$a" correct undo 7 $by
}
# a moment with corrections in it, of which one is undone afterwards
between=$(ask 'SELECT count(*) FROM ledger')
tell between
export ANDAMENTO_CLOCK=2026-06-03T10:00:00Z
# shellcheck disable=SC2086
exits 0 'the part was there after all' "$a" correct undo 2 $by
cp -r later/line/spool/. line/spool/
"$a" collect line/spool >/dev/null 2>&1
"$a" limits propose --all >/dev/null 2>&1
"$a" limits lock --all --author U --reason 'more data' >/dev/null 2>&1
"$a" check >/dev/null 2>&1
for signal in $(ask 'SELECT signal_id FROM signal'); do
    "$a" answer "$signal" --author U --cause c --action d --reason r >/dev/null
done
"$a" held release --code station.identity --as-is --author U --reason 'a new machine' >/dev/null 2>&1
grep -v '^#' "$AN_SOURCE_DIR/tests/stat/data/appraisers.csv" >grr.csv
for gauge in $(ask 'SELECT DISTINCT gauge FROM visit WHERE gauge IS NOT NULL'); do
    "$a" gauge study grr.csv --gauge "$gauge" --columns part=part,operator=operator,reading=reading \
        --tolerance 6 --author U --reason service >/dev/null 2>&1
done
ok 'studies are kept' test "$(ask 'SELECT count(*) FROM gauge_study')" -gt 0
sed 's/^title: .*/title: the same line under another name/; s/title: Luminance$/title: Brightness/' \
    line/line.yaml >other.yaml
exits 0 'another description' "$a" init other.yaml
ok 'something came' test "$(ask 'SELECT count(*) FROM ledger')" -gt $((entries + 100))
tell now
for moment in "then $entries" 'then 2026-06-01' "between $between"; do
    rm -rf again
    tell again --as-of "${moment#* }"
    for file in "${moment% *}"/*; do
        ok "$(basename "$file") as of $moment" cmp "$file" "again/$(basename "$file")"
    done
done
# every one of them is another now, so each had something to go back over
for file in then/*; do
    ok "$(basename "$file") is another now" sh -c "! cmp -s '$file' 'now/$(basename "$file")'"
done
done_testing
