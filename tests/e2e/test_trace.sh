#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# trace over the demonstration line: the faulty lot leads to exactly the tiles that truth.json lists,
# and to the walls that the assembly files put them in. The expected lists are made from truth.json
# and from the station files by awk and sed, not by the program.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO

export ANDAMENTO_STORE=$scratch/demo.store
{ "$a" demo line && "$a" init line/line.yaml; } >/dev/null || fail "no demo line"
"$a" collect line/spool -q >/dev/null 2>&1

# column KIND-OF-CSV-COLUMN FILE: one named column of an answer in CSV
column() {
    awk -F, -v want="$1" 'NR == 1 { for (i = 1; i <= NF; i++) if ($i == want) at = i; next }
        { print $at }' "$2"
}

# ---- the lot of the fault -----------------------------------------------------------------------
# the one fault that a lot brought: its tiles, as the demo wrote them down
jq -r '.faults[] | select(.id == "green-lot-shift") | .tiles[]' line/truth.json | sort >truth_tiles
ok "truth.json lists tiles" test "$(wc -l <truth_tiles)" -gt 50
first=$(sed -n 1p truth_tiles)
exits 0 "a tile's lots" "$a" trace "$first" --up --kind epi_run --role G --sums --csv
lot=$(column serial out)
same "one green lot" "$(echo "$lot" | wc -w)" 1
exits 0 "the lot's tiles" "$a" trace "epi_run:$lot" --down --kind tile --role G --sums --csv
column serial out | sort >traced_tiles
same "the lot leads to exactly the tiles of truth.json" "$(comm -3 truth_tiles traced_tiles | wc -l)" 0

# the walls, by the assembly files themselves: the wall stands in the comment above its rows
awk -F, 'NR == FNR { tile[$1]; next } /^# / { wall = $0; sub(/.*wall /, "", wall); sub(/,.*/, "", wall) }
    $3 in tile { print wall }' truth_tiles line/spool/assembly/*.csv | sort -u >truth_walls
exits 0 "the lot's walls" "$a" trace "$lot" --down --kind wall --role G --sums --csv
column serial out | sort >traced_walls
ok "some tiles are in walls" test -s truth_walls
same "and to the walls they are in" "$(comm -3 truth_walls traced_walls | wc -l)" 0

# ---- a wall: every form says the same -------------------------------------------------------------
wall=$(sed -n 1p truth_walls)
grep -h -A100 "wall $wall," line/spool/assembly/*"$wall".csv | grep -c '^[0-9]' >wall_tiles
exits 0 "a wall as CSV" "$a" trace "$wall" --up --csv
awk -F, '$1 == "up" && $2 == 1' out >firsts
same "a row a place" "$(wc -l <firsts)" "$(cat wall_tiles)"
links=$(($(wc -l <out) - 1))
awk -F, '$1 == "up" && $2 == 1 { print $9 "," $10 "," $4 }' out | sort >places
grep -h '^[0-9]' line/spool/assembly/*"$wall".csv | cut -d, -f1-3 | sort >file_places
same "the places as the file tells them" "$(comm -3 places file_places | wc -l)" 0
exits 0 "a wall as JSON" "$a" trace "$wall" --up --json
same "as many links in JSON" "$(grep -c '"path_share"' out)" "$links"
exits 0 "a wall as a graph" "$a" trace "$wall" --up --dot
same "as many edges" "$(grep -c -- ' -> ' out)" "$links"
same "a graph ends" "$(tail -1 out)" "}"
exits 0 "a wall as a tree" "$a" trace "$wall" --up
same "as many lines" "$(grep -c '\[.*:[0-9]*\]' out)" "$links"
exits 0 "one step" "$a" trace "$wall" --up --depth 1
same "one step is the tiles" "$(grep -c 'not entered' out)" "$(cat wall_tiles)"
exits 0 "nothing after" "$a" trace "$wall" --down
ok "an open end is said" grep -q 'went into: nothing that is recorded' out
exits 0 "only what held before" "$a" trace "$wall" --up --until 2026-03-01
ok "none did" grep -q 'made of: nothing that is recorded' out

# ---- what several share -----------------------------------------------------------------------------
second=$(sed -n 2p truth_tiles)
exits 0 "two tiles" "$a" trace --common "$first" "$second" --csv
ok "share the lot" grep -q "^2,epi_run,$lot,G," out
exits 64 "one alone shares nothing" "$a" trace --common "$first"
says "with what to do" "two items or more"

# ---- what is not there, and what is not asked rightly --------------------------------------------------
exits 66 "unknown item" "$a" trace "${first}X"
says "with the nearest" "the nearest is '$first'"
exits 66 "nothing near" "$a" trace 'nothing like it at all'
says "how to give it" "SERIAL or KIND:SERIAL"
exits 66 "of another kind" "$a" trace "wall:$first"
exits 64 "two items without --common" "$a" trace "$first" "$second"
exits 64 "no such kind" "$a" trace "$first" --kind tyle
says "names it" "no such kind"
exits 64 "two forms" "$a" trace "$first" --dot --json
exits 64 "a depth that is no number" "$a" trace "$first" --depth deep
exits 1 "cut" "$a" trace "$wall" --up --most 3
says "said so" "the answer is not whole"

# ---- a line of our own: moves, other serials, empty and doubled places, loops ---------------------------
export ANDAMENTO_STORE=$scratch/moves.store
cat >line.yaml <<'END'
line: moves
zone: UTC
shifts: {d: 06:00}
kinds: {lot: {}, tile: {}, wall: {}}
stations:
  coat:
    time: {column: at}
    item: {kind: tile, column: tile}
    links:
      - {column: lot, kind: lot, share_column: part}
      - {column: old, kind: tile, other_is: same, holds: before}
    characteristics: {x: {column: x, unit: um}}
  build:
    time: {column: at}
    item: {kind: tile, column: tile}
    links:
      - {column: wall, kind: wall, other_is: child, row_column: r, column_column: c, single: yes,
         share: 0.25, ends: {column: act, words: [out]}, confidence: {column: how, scanned: [S], typed: [H]}}
    characteristics: {x: {column: x, unit: um, subgroup: row}}
END
mkdir -p coat build
printf 'at,tile,lot,part,old,x\n2026-03-04T10:00:00Z,T1,L1,0.5,TMP-1,1\n2026-03-04T10:00:00Z,T1,L2,0.25,,1\n2026-03-04T10:01:00Z,T2,L1,,,1\n2026-03-04T10:01:00Z,T3,L1,1,,1\n' >coat/a.csv
printf 'at,tile,wall,r,c,act,how,x\n2026-03-04T11:00:00Z,T1,W1,1,1,in,S,1\n2026-03-04T11:00:00Z,T2,W1,1,2,in,H,1\n2026-03-04T12:00:00Z,T1,W1,,,out,,1\n2026-03-04T13:00:00Z,T1,W2,1,1,in,S,1\n2026-03-04T14:00:00Z,T1,W3,1,1,in,S,1\n' >build/a.csv
"$a" init line.yaml >/dev/null && "$a" collect coat/a.csv build/a.csv >/dev/null 2>&1
exits 1 "one row is held" "$a" held
ok "for a tile in two walls" grep -q 'link.elsewhere' out
exits 1 "a wall with an empty place" "$a" trace W1
ok "says which" grep -q 'row 1 column 1 of wall W1 holds no tile' out
ok "and who was there, from when to when" grep -q 'tile T1, row 1 column 1, 25 %, since 2026-03-04T11:00:00Z, until 2026-03-04T12:00:00Z, scanned' out
ok "a share that is lost is said" grep -q 'lot L1, share not told' out
printf 'at,tile,wall,r,c,act,how,x\n2026-03-04T15:00:00Z,T3,W9,,,out,,1\n' >build/b.csv
"$a" collect build/b.csv >/dev/null 2>&1
exits 1 "taken out of where nobody told it was" "$a" trace T3 --down
ok "is told" grep -q 'tile T3 was taken out of wall W9, at 2026-03-04T15:00:00Z, and nobody told' out
exits 0 "a lot" "$a" trace L1 --down --kind wall --sums --csv
same "0.5 * 0.25 where it went, and a least where one path does not tell" "$(sort out | tr '\n' ' ')" \
    "down,wall,W1,,2,0.125,at least,yes,yes,scanned down,wall,W2,,2,0.125,yes,yes,yes,scanned way,kind,serial,role,depth,share,share_whole,holds,open_end,doubt "
exits 0 "an item by its old serial" "$a" trace TMP-1 --up
ok "leads to the item" grep -q '^tile T1$' out
ok "which says so" grep -q 'also known as tile TMP-1, until 2026-03-04T10:00:00Z' out
exits 0 "the digests hold" "$a" verify
# what intake refuses, put in by hand
sqlite3 "$ANDAMENTO_STORE" "INSERT INTO link SELECT 1000, child_id, (SELECT item_id FROM item WHERE serial = 'T3'),
    NULL, NULL, NULL, 1, 2, at_us, file_id, 99 FROM link WHERE row_no = 1 AND column_no = 2;
  INSERT INTO link SELECT 1001, i.item_id, w.item_id, NULL, NULL, NULL, NULL, NULL, 1, 1, 99 FROM item i, item w
    WHERE i.serial = 'L1' AND w.serial = 'W2'"
exits 1 "a doubled place" "$a" trace W1
ok "is told" grep -q 'row 1 column 2 of wall W1 holds more than one, among them tile T3' out
exits 1 "a loop" "$a" trace W2
ok "is marked" grep -q 'THIS LINK IS PART OF A LOOP' out
says "and said" "in a loop, which intake would not have taken"
exits 1 "and verify finds it" "$a" verify

done_testing
