#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Held rows from end to end: listed, counted, explained, let in once the description is mended; the
# balance holds before and after, a release that is killed changes nothing or is whole, and verify
# notices a release that was tampered with.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO

describe() { # codes of missing readings
    cat <<END
line: ponente
zone: Europe/Rome
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds:
  tile: {id: "T-[0-9]{3}", product: yes}
stations:
  bench:
    folder: spool/bench
    preamble: {machine: "machine=([A-Z0-9]+)"}
    format: {comment: "#"}
    time: {column: at}
    item: {kind: tile, column: tile}
    identity: machine
    file_number: {name: "_([0-9]+)[.]csv"}
    missing: [$1]
    characteristics:
      x: {column: x, unit: um}
END
}

mkdir -p spool/bench
describe '"-"' >line.yaml
{
    echo '# machine=M1'
    echo 'tile,at,x'
    i=0
    while [ $i -lt 400 ]; do
        value=$((i % 7)).5
        [ $((i % 10)) -eq 3 ] && value=ND
        printf 'T-%03d,2026-03-04T10:%02d:%02dZ,%s\n' $((i / 4)) $((i / 60)) $((i % 60)) $value
        i=$((i + 1))
    done
    echo 'T-O01,2026-03-04T11:00:00Z,1.5'
    echo
} >spool/bench/x_1.csv
printf '# machine=M2\ntile,at,x\nT-900,2026-03-05T10:00:00Z,1\n' >spool/bench/x_4.csv

exits 0 "a dry run of init" "$a" init --dry-run line.yaml
same "one of each" "$(cat out)" "line.yaml is sound: 1 station, 1 characteristic; nothing stored"
"$a" init line.yaml >/dev/null || fail init
exits 1 "collect holds" "$a" collect spool
same "balance" "$(tail -1 out)" "403 rows in = 360 taken + 0 duplicate + 42 held + 1 blank"

exits 1 "held counts" "$a" held --count --csv
same "counts" "$(tail -n +2 out | tr -d '\r' | tr '\n' ' ')" \
    "bench,number.bad,40,0 bench,id.pattern,1,0 bench,station.identity,0,1 "
exits 1 "held filters" "$a" held --code id.pattern --csv
same "one row" "$(tail -n +2 out | wc -l)" 1
exits 0 "held filters by time" "$a" held --until 2026-05-01T00:00
exits 0 "explains" "$a" held explain number.bad station.identity
grep -q 'as-is' out || fail "explain says that --as-is releases"
exits 64 "no such reason" "$a" held explain number.worse
exits 64 "no such reason to filter by" "$a" held --code number.worse
exits 64 "no such station" "$a" held --station bank
exits 66 "no such file" "$a" held --file 4711
exits 64 "nor to release" "$a" held release --code number.worse --author A --reason x
exits 66 "nor such a file" "$a" held release --file 4711 --author A --reason x
exits 0 "nothing released is no finding" "$a" held --released
same "nothing released" "$(cat out)" "nothing was released"
exits 1 "a file held whole stands in the CSV list" "$a" held --code station.identity --csv
same "as a line without a row's number" "$(tail -n +2 out | cut -d, -f1,3,6)" ",bench,station.identity"
exits 1 "an empty field is none" "$a" held --code id.pattern --csv
same "no dash" "$(tail -n +2 out | tr -d '\r' | sed 's/.*,//')" ""
exits 1 "as JSON" "$a" held --json
same "what is not released says null" "$(jq -c '[.data.rows[].released_by, .data.files[].released_as]
    | unique' out)" "[null]"
exits 1 "missing files" "$a" held missing --csv
same "numbers" "$(tail -n +2 out | cut -d, -f2 | tr '\n' ' ')" "2 3 "

exits 64 "no author" "$a" held release --code number.bad --reason x
exits 64 "nothing named" "$a" held release --author A --reason x
exits 66 "no such row" "$a" held release 4711 --author A --reason x
exits 1 "nothing mended yet" "$a" held release --code number.bad --author A --reason x
same "nothing let in" "$(cat out)" "0 rows and 0 files released, 40 and 0 still held"

describe '"-", ND' >line.yaml
"$a" init line.yaml >/dev/null || fail "init again"
exits 0 "dry run" "$a" held release --code number.bad --author A --reason x --dry-run
same "dry run" "$(cat out)" "would have: 40 rows and 0 files released, 0 and 0 still held"
exits 1 "a dry run stores nothing" "$a" held --count --csv
same "still 40" "$(grep -c 'number.bad,40' out)" 1

# Killed at some moment, a release is there whole or not at all.
cp line.store before.store
k=0
while [ $k -lt 12 ]; do
    rm -f cut.store*
    cp before.store cut.store
    "$a" held release --store cut.store --code number.bad --author A --reason x >/dev/null 2>&1 &
    pid=$!
    sleep "$(awk -v k=$k 'BEGIN { printf "%.4f", 0.002 * k }')"
    kill -KILL $pid 2>/dev/null
    wait $pid 2>/dev/null
    exits 0 "released in the end" "$a" held release --store cut.store --code number.bad --author A --reason x
    "$a" held --store cut.store --released --csv >released.csv
    same "40 rows, once" "$(tail -n +2 released.csv | wc -l)" 40
    exits 0 "sound" "$a" verify --store cut.store
    k=$((k + 1))
done

exits 0 "release" "$a" held release --code number.bad --author 'L. Engineer' --reason 'ND is declared'
same "released" "$(cat out)" "40 rows and 0 files released, 0 and 0 still held"
exits 0 "again" "$a" held release --code number.bad --author 'L. Engineer' --reason again
same "nothing twice" "$(cat out)" "0 rows and 0 files released, 0 and 0 still held"
exits 1 "not without a person" "$a" held release --code station.identity --author A --reason x
exits 0 "as it is" "$a" held release --code station.identity --as-is --author A --reason 'bench replaced'
exits 0 "what was released is no finding" "$a" held --released
exits 0 "acts" "$a" held acts --csv
same "two acts" "$(tail -n +2 out | wc -l)" 2
exits 1 "one row is left" "$a" held --csv
same "it is the serial" "$(tail -n +2 out | cut -d, -f6)" id.pattern
exits 0 "collect again" "$a" collect spool
exits 0 "verify" "$a" verify

if command -v sqlite3 >/dev/null; then
    same "rows add up, released ones once" "$(sqlite3 line.store "SELECT
        sum(CASE round WHEN 0 THEN rows_in ELSE 0 END) = sum(taken) + sum(duplicate) + sum(blank) +
        sum(held) - (SELECT count(*) FROM release WHERE held_id IS NOT NULL)
        FROM file f WHERE state = 0")" 1
    sqlite3 line.store "DROP TRIGGER release_no_delete; DELETE FROM release WHERE release_id = 7"
    exits 1 "tampering is seen" "$a" verify
    says "tampering" "release 1 is not as the ledger tells it"
fi

# What comes of a closed item, or of what went into it, is taken and noted.
cat >ship.yaml <<END
line: levante
zone: UTC
shifts: {day: 06:00}
kinds:
  tile: {}
  wall: {closed_by: ship}
stations:
  ship: {time: {column: at}, item: {kind: wall, column: wall}, links: [{column: tile, kind: tile}]}
  look:
    time: {column: at}
    item: {kind: tile, column: tile}
    characteristics: {x: {column: x, unit: um}}
END
mkdir -p sea/ship sea/look
printf 'wall,tile,at\nW1,T1,2026-03-04T10:00:00Z\n' >sea/ship/a.csv
printf 'tile,at,x\nT1,2026-03-05T10:00:00Z,1\n' >sea/look/a.csv
printf 'tile,at,x\nT2,2026-03-05T10:00:00Z,1\n' >sea/look/b.csv
"$a" init --store sea.store ship.yaml >/dev/null || fail init
exits 0 "shipped" "$a" collect --store sea.store sea/ship
exits 0 "late evidence is taken" "$a" collect --store sea.store sea/look --json
same "noted for the tile in the wall only" "$(grep -o 'late.evidence' out | wc -l)" 1

done_testing
