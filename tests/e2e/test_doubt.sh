#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Limits that rest on doubtful data are told, with what they would be without it: the same as a
# proposal on a copy of the store makes without those samples, and as their mean by SQL.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
ask() { sqlite3 -readonly line.store "$1"; }
stream=wafer_test.wavelength_blue
other=wafer_test.wavelength_red
show() { "$a" limits show "$1" --json >shown; }
of() { jq -r "$1" shown; }

"$a" demo --days 6 line >/dev/null
"$a" init line/line.yaml >/dev/null
find line/spool -name 'wafer*' -type f | sort | tail -2 >late
while read -r file; do
    mkdir -p "later/$(dirname "$file")"
    mv "$file" "later/$file"
done <late
"$a" collect line/spool >/dev/null 2>&1
"$a" limits propose 'wafer_test.*' >/dev/null 2>&1
"$a" limits lock 'wafer_test.*' --author T --reason baseline >/dev/null 2>&1
sample_of() { # stream, which one
    ask "SELECT sample_id FROM sample JOIN stream USING (stream_id) WHERE name = '$1'
        ORDER BY at_us LIMIT 1 OFFSET $2"
}
samples=$(ask "SELECT count(*) FROM sample JOIN stream USING (stream_id) WHERE name = '$stream'")

exits 0 'nothing is in doubt' show $stream
same 'so there is none' "$(of '.data[0].doubt')" null
same 'nor in CSV' "$("$a" limits show $stream --csv | tail -1 | awk -F, '{ print $(NF - 1) }')" 0
same 'nor below the table' "$("$a" limits show $stream | grep -c 'doubtful sample')" 0

# ---- withdrawn --------------------------------------------------------------------------------------------
first=$(sample_of $stream 3)
second=$(sample_of $stream 8)
period="--from $("$a" limits show $stream --json | jq -r '.data[0].baseline_from')"
cp line.store copy.store
for id in $first $second; do
    exits 0 "sample $id withdrawn" "$a" correct withdraw --sample "$id" --author 'W. Person' \
        --reason 'wrong wafer'
done
# samples that come later must not be in what the limits would be
cp -r later/line/spool/. line/spool/
"$a" collect line/spool >/dev/null 2>&1
ok 'later samples came' test "$(ask "SELECT count(*) FROM sample JOIN stream USING (stream_id)
    WHERE name = '$stream'")" -gt "$samples"
show $stream
same 'both are told' "$(of '[.data[0].doubt.samples[].sample_id] | join(" ")')" "$first $second"
same 'why, by what, whose' \
    "$(of '[.data[0].doubt.samples[] | .why + " by " + .by + " of " + .author] | join(", ")')" \
    'withdrawn by correction 1 of W. Person, withdrawn by correction 2 of W. Person'
same 'learned from the rest of what was there then' \
    "$(of '.data[0].doubt.without_them.baseline_samples')" $((samples - 2))
for id in $first $second; do
    "$a" correct withdraw --store copy.store --sample "$id" --author W --reason wrong >/dev/null
done
# shellcheck disable=SC2086
"$a" limits propose $stream $period --store copy.store --json >proposed 2>/dev/null
for key in centre ucl lcl sigma_level sigma_within; do
    same "$key is that of a proposal without them" \
        "$(of ".data[0].doubt.without_them.$key")" "$(jq -r ".data[0].$key" proposed)"
    ok "$key is another one with them" test "$(of ".data[0].$key")" != \
        "$(of ".data[0].doubt.without_them.$key")"
done
near 'the centre is their mean' "$(of '.data[0].doubt.without_them.centre')" \
    "$(sqlite3 copy.store "SELECT avg(mean) FROM sample JOIN stream USING (stream_id)
        WHERE name = '$stream' AND sample_id NOT IN ($first, $second)")" 1e-12
"$a" limits show $stream >out
ok 'a person reads it' grep -q "$stream: limits [0-9]* rest on 2 doubtful samples (2 withdrawn): \
$first by correction 1, $second by correction 2" out
ok 'and what they would be' grep -q '^  without: centre [0-9.]* instead of [0-9.]*, limits' out
same 'other streams are not in doubt' \
    "$("$a" limits show $other --json | jq -r '.data[0].doubt')" null

# ---- then and now ----------------------------------------------------------------------------------------
entries=$(ask "SELECT entry FROM correction WHERE correction_id = 1")
exits 1 'then there was no doubt' "$a" limits show $stream --as-of "$entries" --then-and-now --json
same 'told with its cause' "$(jq -r '.data[] | .cause_kind + " " + .who + " " + .columns[0].column +
    " " + .columns[0].then + " " + .columns[0].now' out)" 'correction W. Person doubtful 0 2'

# ---- undone, and left out from the beginning ----------------------------------------------------------------
exits 0 'undone' "$a" correct undo 1 --author 'W. Person' --reason 'it was the right one'
show $stream
same 'the other one is left' "$(of '[.data[0].doubt.samples[].sample_id] | join(" ")')" "$second"
"$a" limits propose $stream --exclude "$first=wrong" >/dev/null 2>&1
show $stream
same 'new limits know of the withdrawal' "$(of '.data[0].doubt')" null
exits 0 'what was left out is withdrawn' "$a" correct withdraw --sample "$first" --author X --reason r
show $stream
same 'limits that never had it are not in doubt' "$(of '.data[0].doubt')" null

# ---- another unit ---------------------------------------------------------------------------------------------
file=$(ask "SELECT f.file_id FROM file f JOIN sample USING (file_id) JOIN stream USING (stream_id)
    WHERE stream.name = '$other' ORDER BY 1 LIMIT 1")
of_file=$(ask "SELECT count(*) FROM sample JOIN stream USING (stream_id)
    WHERE stream.name = '$other' AND sample.file_id = $file")
exits 0 'a unit corrected' "$a" correct unit "$file" wafer_test.wavelength_red --factor 1.001 \
    --author X --reason 'a factor was set'
show $other
same 'its samples are told' "$(of '[.data[0].doubt.samples[].why] | unique | join(" ")')" \
    'corrected since'
same 'all of them' "$(of '.data[0].doubt.samples | length')" "$of_file"
near 'with the right values' "$(of '.data[0].doubt.without_them.centre')" \
    "$(ask "SELECT avg(CASE WHEN sample.file_id = $file THEN 1.001 ELSE 1 END * mean) FROM sample
        JOIN stream USING (stream_id) JOIN file f ON f.file_id = sample.file_id WHERE stream.name = '$other'
        AND f.entry < (SELECT max(limits.entry) FROM limits JOIN stream USING (stream_id)
            WHERE name = '$other')")" 1e-12

# ---- all of it ---------------------------------------------------------------------------------------------
for file in $(ask "SELECT DISTINCT f.file_id FROM file f JOIN sample USING (file_id)
    JOIN stream USING (stream_id) WHERE stream.name = '$other'"); do
    "$a" correct withdraw --file "$file" --characteristic wafer_test.wavelength_red --author X \
        --reason 'the lamp was off' >/dev/null 2>err
done
exits 0 'nothing is left to learn from' show $other
ok 'told so' test "$(of '.data[0].doubt.without_them')" = null
ok 'and why' grep -q 'samples' shown
done_testing
