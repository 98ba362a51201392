#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# probe, from sample files to stored rows: each station of the demonstration line is described again
# from its files alone, and what is collected by the proposal is compared with what is collected by
# the description written by hand. Then files that cannot be probed.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO

"$a" demo line >/dev/null || fail demo
"$a" init line/line.yaml --store hand.store >/dev/null || fail 'init by hand'
"$a" collect line/spool --store hand.store >hand.out 2>hand.err
ok 'the demonstration is collected' test $? -le 1

ask() { # store sql
    sqlite3 "$1" "$2"
}
rows() { # store station: rows taken
    ask "$1" "SELECT coalesce(sum(taken), 0) FROM file WHERE station = '$2'"
}
items() { # store station
    ask "$1" "SELECT count(DISTINCT v.item_id) FROM visit v JOIN file f ON f.file_id = v.file_id WHERE f.station = '$2'"
}
# mean of all readings of a characteristic (of a count: events over opportunities), however it is split
mean() { # store station characteristic
    ask "$1" "SELECT coalesce(sum(n * mean) / sum(CASE WHEN mean IS NULL THEN 0 ELSE n END), sum(counted) / sum(opportunities))
        FROM sample s JOIN stream t USING (stream_id)
        WHERE t.station = '$2' AND t.characteristic = '$3'"
}

# station probed: probe, paste below a head, init, collect
paste() { # station options-of-probe...
    station=$1
    shift
    rm -rf new
    mkdir -p new
    "$a" probe --name "$station" "$@" line/spool/"$station"/*.csv >new/block 2>new/err
    status=$?
    ok "$station: probe ends with 0 or 1" test $status -le 1
    ok "$station: nothing is left open" sh -c '! grep -q NEEDED new/block'
    {
        echo 'line: proposed'
        echo 'zone: Europe/Rome'
        echo 'shifts: {early: 06:00, late: 14:00, night: 22:00}'
        cat new/block
    } >new/line.yaml
    cp -r line/spool/"$station" new/"$station"
    exits 0 "$station: the proposal is a sound description" "$a" init new/line.yaml --store new/new.store
    "$a" collect new/"$station" --store new/new.store >new/out 2>new/collect.err
    ok "$station: collected" test $? -le 1
    by_hand=$(rows hand.store "$station")
    proposed=$(rows new/new.store "$station")
    ok "$station: rows are taken" test "$proposed" -gt 0
    ok "$station: as many rows as by hand ($proposed, $by_hand)" test "$proposed" -ge "$by_hand"
}
compare() { # station characteristic-by-hand proposed tolerance
    near "$1: mean of $2" "$(mean new/new.store "$1" "$3")" "$(mean hand.store "$1" "$2")" "$4"
    same "$1: items" "$(items new/new.store "$1")" "$(items hand.store "$1")"
}

paste wafer_test
compare wafer_test forward_voltage vf_v 1e-9
paste carrier
compare carrier release_layer release_layer_um 1e-9
paste transfer
compare transfer rotation theta_mrad 1e-9
paste inspection
compare inspection defects defects 1e-9
paste repair
same 'repair: items' "$(items new/new.store repair)" "$(items hand.store repair)"
same 'repair: failed attempts' \
    "$(ask new/new.store "SELECT sum(counted) FROM sample")" \
    "$(ask hand.store "SELECT sum(counted) FROM sample s JOIN stream t USING (stream_id) WHERE t.station = 'repair'")"
paste edge
compare edge resistance resistance 1e-9
paste luminance
compare luminance level lv 1e-9
# which wall it is stands before the header: the kind tells
paste assembly --kind wall
compare assembly gap_across gap_right_um 1e-9

# with the description at hand its kinds are used, and none is proposed again
exits 0 'kinds of a description' "$a" probe --name edge --line line/line.yaml line/spool/edge/edge_20260313*.csv
ok 'none is proposed' sh -c '! grep -q "^kinds:" out'
ok 'the kind of its pattern' grep -q 'item: {kind: tile, column: tile}' out
exits 0 'kinds of a store' "$a" probe --name edge --store hand.store line/spool/edge/edge_20260313*.csv
ok 'none is proposed here either' sh -c '! grep -q "^kinds:" out'
exits 0 'the link by the kind of its serials' "$a" probe --name repair --line line/line.yaml line/spool/repair/repair_20260302_early.csv
ok 'spare carriers are carriers' grep -q '{column: spare_carrier, kind: carrier}' out

# day and month under 13 are left open: nothing is proposed, both are stated, init refuses
exits 1 'an open time' "$a" probe --name inspection line/spool/inspection/inspection_20260302_early.csv
ok 'both readings' sh -c 'grep -q "# time:.*%d/%m/%Y" out && grep -q "# time:.*%m/%d/%Y" out'
ok 'none is active' sh -c '! grep -q "^ *time:" out'
ok 'it says so on top' sh -c 'head -4 out | grep -q "not complete"'

# the same findings as data, the same bytes every time
exits 0 'as data' "$a" probe --json --name carrier line/spool/carrier/*.csv
cp out first.json
ok 'the schema' jq -e '.schema == "andamento.probe.1" and .data.complete and .data.station == "carrier"' out >/dev/null
ok 'a finding with its evidence' jq -e \
    '.data.findings[] | select(.key == "characteristics.release_layer_um.unit") | .value == "um" and .proposed' out >/dev/null
"$a" probe --json --name carrier line/spool/carrier/*.csv >second.json
ok 'repeatable' cmp first.json second.json
exits 0 'into a file' "$a" probe --name carrier -o block.yaml line/spool/carrier/*.csv
ok 'nothing on stdout' test ! -s out
ok 'the block is in the file' grep -q '^stations:' block.yaml
exits 73 'a file that cannot be made' "$a" probe --name carrier -o no/such/place line/spool/carrier/*.csv

# what cannot be probed
: >empty.csv
exits 65 'an empty file' "$a" probe empty.csv
says 'why' 'no bytes'
printf '\177ELF\002\001\001\000\000\000' >junk.csv
exits 65 'a program' "$a" probe junk.csv
says 'what it is' 'begins like a program'
exits 66 'a missing file' "$a" probe nowhere.csv
says 'which' 'nowhere.csv'
mkfifo pipe.csv
exits 65 'a pipe' timeout 20 "$a" probe pipe.csv
says 'what it is' 'a pipe'
mkdir folder.csv
exits 65 'a folder' "$a" probe folder.csv
says 'what it is' 'a folder'
printf '1.5,2.5\n3.5,4.5\n5.5,6.5\n' >bare.csv
exits 65 'no header' "$a" probe bare.csv
says 'why' 'no header'
printf 'This is a letter.\nIt holds some words, and no table\nat all, as letters do.\n' >prose.csv
exits 65 'prose' "$a" probe prose.csv
says 'why' 'no table'
printf 'tile,at,x\n' >header.csv
exits 65 'a header only' "$a" probe header.csv
says 'why' 'no rows'
exits 64 'no file' "$a" probe
exits 64 'a name that is none' "$a" probe --name '7 x' line/spool/carrier/carrier_20260301_night.csv
exits 66 'a description that is missing' "$a" probe --line none.yaml line/spool/carrier/carrier_20260301_night.csv
exits 1 'an empty one among good ones' "$a" probe --name carrier empty.csv line/spool/carrier/*.csv
ok 'is told' grep -q 'passed over: "empty.csv"' out

# a large file: the beginning, some of the middle, the end; memory as for a small one
awk 'BEGIN { print "tile,at,gap_um"
    for (i = 0; i < 4800000; i++) printf "T-%06d,2026-03-%02dT%02d:%02d:%02dZ,%d.%d\n", i / 40, 1 + i / 200000, (i / 3600) % 24, (i / 60) % 60, i % 60, 20 + i % 7, i % 10 }' >large.csv
ok 'large enough' test "$(stat -c %s large.csv)" -gt 160000000
( ulimit -v 400000; exec "$a" probe --name large large.csv ) >out 2>err
same 'a large file within little memory' $? 0
ok 'what was read is said' grep -q 'read: large.csv, [0-9]* of [0-9]* bytes (beginning, middle, end)' out
ok 'and read right' grep -q 'column: gap_um' out
rm large.csv
done_testing
