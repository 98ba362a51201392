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

done_testing
