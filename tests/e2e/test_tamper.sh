#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Random tampering with a small store of the demonstration line that has something in every table a
# person or a chart can fill: charts with memory, limits, answers, corrections, releases, a study, a
# collector's diary. With a head from paper everything is found; without one only the two kinds that
# docs/verify.md names are missed. RUNS (200) and SEED (777) for more, STORE=FILE to keep the store.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
tamper=${AN_TAMPER:-$(dirname "$a")/bench_tamper}
export ANDAMENTO_STORE=line.store ANDAMENTO_CLOCK=2026-06-01T10:00:00Z
ask() { sqlite3 -readonly line.store "$1"; }
by="--author A --reason r"

"$a" demo --days 6 line >/dev/null
# charts with memory, and a station whose readings are not kept long
sed -e 's/^        title: Release layer/        weighted: {cusum: 0.5, interval: 4.77}\n&/' \
    -e 's/^        title: Seam gap to the right/        weighted: {ewma: 0.2, limits: 2.86}\n&/' \
    -e 's/^    folder: spool.edge/    keep: {readings: 1 years, originals: 1 years}\n&/' \
    line/line.yaml >line.yaml
exits 0 init "$a" init line.yaml
# some files of each station, of long ones the beginning; one that is held for its unit, one with a
# row that is no item's
few() { # STATION FILES LINES
    mkdir -p "spool/$1"
    for file in $(ls line/spool/"$1"/* | head -"$2"); do
        head -"$3" "$file" >"spool/$1/${file##*/}"
    done
}
few carrier 9 400
few wafer_test 2 120
few inspection 2 60
for file in spool/inspection/*; do
    echo END >>"$file"
done
few edge 1 200
few luminance 1 250
# two years ago: what was dropped is known from the beginning on, since a tail cut off with its record
# would leave an original missing
"$a" collect spool/edge -q >/dev/null 2>&1
export ANDAMENTO_CLOCK=2028-06-03T10:00:00Z
# shellcheck disable=SC2086
"$a" retain --yes $by >/dev/null 2>&1
head -40 line/spool/edge/edge_20260306_night.csv >spool/edge/edge_20260306_night.csv
mkdir spool/repair spool/assembly
head -60 line/spool/repair/repair_20260305_late.csv >spool/repair/repair_20260305_late.csv
for file in $(ls line/spool/assembly/* | head -4); do
    cp "$file" spool/assembly
done
# a colour that is not allowed yet
sed -i 's/^\(CR-00003,[^,]*\),[RGB],/\1,V,/' "$(ls spool/carrier/* | head -1)"
"$a" collect spool -q >/dev/null 2>&1
cp spool/inspection/"$(ls spool/inspection | head -1)" spool/inspection/inspection_again.csv
"$a" collect spool -q >/dev/null 2>&1
# keys, one of them retired, and a signed head that the store keeps: what lies under it is safe
# shellcheck disable=SC2086
for key in old new; do
    "$a" key new $key.key >/dev/null
    exits 0 'a key' "$a" key add $key.key.pub $by
done
id=$("$a" key list --csv | awk -F, 'NR == 2 { print $1 }')
# shellcheck disable=SC2086
exits 0 'one is retired' "$a" key retire "$id" --key old.key $by
exits 0 'a signed head' "$a" head sign --key new.key --record
"$a" limits propose --all >/dev/null 2>&1
"$a" limits lock --all --author T --reason baseline >/dev/null 2>&1
"$a" check >/dev/null 2>&1
# a later file of a chart with memory, then acts of every kind
more=$(ls line/spool/carrier/* | sed -n 10p)
cp "$more" spool/carrier
ok 'a second description' sh -c "sed 's/allowed: {colour: .R, G, B.}/allowed: {colour: [R, G, B, V]}/' line.yaml >two.yaml; '$a' init two.yaml >/dev/null"
"$a" collect spool -q >/dev/null 2>&1
"$a" check >/dev/null 2>&1
wall=$(ask "SELECT serial FROM item WHERE kind = 'wall' LIMIT 1")
tile=$(ask "SELECT p.serial FROM link k JOIN item p ON p.item_id = k.parent_id JOIN item c
    ON c.item_id = k.child_id WHERE c.serial = '$wall' LIMIT 1")
sample=$(ask "SELECT max(sample_id) FROM sample JOIN stream USING (stream_id)
    WHERE characteristic = 'release_layer'")
file=$(ask "SELECT name FROM file JOIN sample USING (file_id) WHERE sample_id = $sample")
# shellcheck disable=SC2086
{
    exits 0 'a part' "$a" correct parent "$wall" --was "$tile" --is none $by
    exits 0 'a serial' "$a" correct serial "tile:$tile" --is SV26-99999-X $by
    exits 0 'a unit' "$a" correct unit "$file" carrier.release_layer --factor 1.001 $by
    exits 0 'an undoing' "$a" correct undo 1 $by
    exits 0 'a sample' "$a" correct withdraw --sample "$(ask 'SELECT max(sample_id) FROM hit')" $by
    "$a" check >/dev/null 2>&1
    exits 0 'an answer, signed' "$a" answer 1 $by --cause c --action d --key new.key
    "$a" held release --station carrier $by >/dev/null 2>&1
    grep -v '^#' "$AN_SOURCE_DIR/tests/stat/data/appraisers.csv" >grr.csv
    "$a" gauge study grr.csv --gauge G --columns part=part,operator=operator,reading=reading $by \
        >/dev/null 2>&1
}
"$a" collect --follow --settle 0.1 >/dev/null 2>log &
follower=$!
limit=$(($(date +%s) + 60))
until [ "$(ask 'SELECT count(*) FROM collector_event' 2>/dev/null)" -gt 0 ] 2>/dev/null; do
    [ "$(date +%s)" -lt "$limit" ] || break
done
kill -TERM $follower
wait $follower
for table in $(ask "SELECT name FROM sqlite_schema WHERE type = 'table'"); do
    case $table in
    missing_file | waiting | superseded | suspect | link_end | alias | link_trait) ;;
    *) ok "$table has a row" test "$(ask "SELECT count(*) FROM $table")" -gt 0 ;;
    esac
done
exits 0 'whole to begin with' "$a" verify
[ -z "${STORE:-}" ] || cp line.store "$STORE"

# found by ten thousand runs: a number that no word stands for
cp line.store numbered.store
sqlite3 numbered.store 'PRAGMA ignore_check_constraints = ON; DROP TRIGGER release_act_no_update;
    UPDATE release_act SET cause = 999' 2>/dev/null
exits 1 'a cause without a word' "$a" verify --store numbered.store
says 'is told' 'release_act: 1 row breaks the constraint'

# ---- tampered with ----------------------------------------------------------------------------------------
exits 0 'with a head every change is found' "$tamper" "$a" line.store "${RUNS:-210}" "${SEED:-777}"
cat out
same 'seven kinds' "$(grep -c '^[a-z].* [0-9]* *[0-9]* *[0-9]* *[0-9]*$' out)" 7
awk '/[0-9]$/ && NF > 4 { n++; runs = $(NF - 3); same = $(NF - 2); without = $(NF - 1); with = $NF
    stated = /^an act changed and the ledger/ || /^the tail cut off/
    if (with != runs - same || same > runs * 4 / 5 && !/^a byte/ || !stated && without != with) bad++ }
    END { exit bad || n != 7 }' out
ok 'without one only the two stated kinds are missed' test $? -eq 0
done_testing
