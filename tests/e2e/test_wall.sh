#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Reports on one item: a wall, a batch, a tile.
#
# 1. On the demonstration line, report batch lists exactly the tiles that truth.json says the faulty
#    epitaxy run is in, each in the wall and at the place of the station's own files.
# 2. On another line, with other names and kinds, walls of 2 x 2, 8 x 8, 12 x 7 and one with an empty place:
#    grid, seams (common practice, no source: an n x m array has n(m-1) + m(n-1)), values, repairs, what
#    is certain, possible and taken out again are those of the files made here.
# 3. What cannot be reported on is told in one line.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO

# ---- the demonstration line
"$a" demo line >/dev/null || fail demo
ANDAMENTO_STORE=$scratch/demo.store
export ANDAMENTO_STORE
"$a" init line/line.yaml >/dev/null || fail init
"$a" collect line/spool >/dev/null 2>&1
until=$(jq -r .baseline_until line/truth.json)
"$a" limits propose --all --until "$until" >/dev/null 2>&1
"$a" limits lock --all --author 'A. Tester' --reason 'first days' >/dev/null
"$a" check >/dev/null
fault='.faults[] | select(.kind == "step" and (.carried_as // "" | test("emitters come from that run")))'
jq -r "$fault | .tiles[]" line/truth.json | sort >truth.tiles
ok 'the fault carries tiles' test "$(wc -l <truth.tiles)" -gt 50
# the run is the one that the station's file names for the wafers of the fault
wafer=$(jq -r "$fault | .streams[0].first_item" line/truth.json)
run=$(cat line/spool/wafer_test/*.csv | awk -F'\t' -v w="$wafer" '$1 == w { print $3; exit }')
exits 0 'report batch' "$a" report batch "$run" --json -o batch.pdf
cp out batch.json
ok 'a PDF' test "$(head -c 5 batch.pdf)" = '%PDF-'
jq -r '.data.carried_by[] | select(.kind == "tile") | .serial' batch.json | sort >batch.tiles
ok 'exactly the tiles of the truth' cmp truth.tiles batch.tiles
ok 'all of them are certain' jq -e '[.data.carried_by[] | select(.kind == "tile") | .sure] | unique == ["certain"]' batch.json
# tile, wall, row and column as the assembly files say
for f in line/spool/assembly/*.csv; do
    awk -F, '/^#/ { if (match($0, /wall PW26-[0-9]+/)) w = substr($0, RSTART + 5, RLENGTH - 5); next }
        $1 ~ /^[0-9]+$/ { print $3, w, $1, $2 }' "$f"
done | sort -u | join - truth.tiles >places.wanted
jq -r '.data.carried_by[] | select(.kind == "tile" and .in != null) | "\(.serial) \(.in) \(.row) \(.column)"' \
    batch.json | sort >places.got
ok "places are those of the station's files" cmp places.wanted places.got
same 'walls' "$(jq -r '.data.carried_by[] | select(.kind == "wall") | .serial' batch.json | sort | tr '\n' ' ')" \
    "$(cut -d' ' -f2 places.wanted | sort -u | tr '\n' ' ')"
ok 'the streams of the fault began with it' jq -e --slurpfile t line/truth.json '
    [.data.signals[] | select(.began_with_it) | .stream] as $began
    | [$t[0].faults[] | select(.id == "green-lot-shift") | .streams[].stream]
    | all(. as $s | $began | index($s) != null)' batch.json
wall=$(head -1 places.wanted | cut -d' ' -f2)
exits 0 'report wall' "$a" report wall "$wall" --json -o wall.pdf
cp out wall.json
ok 'the run is among what the wall is made of' jq -e --arg r "$run" '
    [.data.made_of[] | select(.serial == $r and .role == "G") | .parts] == [$n]' \
    --argjson n "$(grep -c " $wall " places.wanted)" wall.json
ok 'its seams are measured' jq -e '(.data.rows * (.data.columns - 1)) == (.data.seams_right | length)
    and ((.data.rows - 1) * .data.columns) == (.data.seams_below | length)' wall.json
# the seam to the right of row 1, column 1 is what the file says
first=$(cat line/spool/assembly/*"$wall"*.csv | awk -F, '$1 == 1 && $2 == 1 { print $5; exit }')
near 'seam right of 1, 1' "$(jq '.data.seams_right[] | select(.row == 1 and .column == 1) | .value' wall.json)" "$first" 1e-9
ok 'hashes are those of the files' sh -c 'jq -r ".data.sources[] | \"\(.sha256)  \(.name)\"" wall.json >sums
    (cd line/spool && cat */*.csv >/dev/null) && while read -r sum name; do
        found=$(find line/spool -name "$name" | head -1)
        [ "$(sha256sum "$found" | cut -c1-64)" = "$sum" ] || exit 1
    done <sums && test -s sums'
"$a" report wall "$wall" -o again.pdf >/dev/null
ok 'the same bytes again' cmp wall.pdf again.pdf
exits 0 'report tile' "$a" report tile "$(head -1 truth.tiles)" --json -o tile.pdf
ok 'its wall' jq -e --arg w "$wall" '[.data.carried_by[] | select(.kind == "wall") | .serial] == [$w]' out
exits 0 'letter, a chosen tile' "$a" report wall "$wall" --tile "$(head -1 places.wanted | cut -d' ' -f1)" --paper letter -o l.pdf

exits 66 'an unknown wall' "$a" report wall PW26-9999
says 'an unknown wall' "nearest"
exits 64 'a tile is no wall' "$a" report wall "$(head -1 truth.tiles)"
says 'a tile is no wall' 'is of kind tile, in which nothing is placed.*walls: wall (for this item: report tile)'
exits 64 'a wall is no tile' "$a" report tile "$wall"
says 'a wall is no tile' 'use report wall'
exits 64 'a run is no tile' "$a" report tile "$run"
says 'a run is no tile' 'no product; use report batch'
exits 66 'a tile of another wall' "$a" report wall "$wall" --tile nobody
says 'a tile of another wall' "nobody is not in wall $wall"
exits 64 'no operand' "$a" report wall
echo 'report: batch
pages: [{page: front}]' >d.yaml
exits 78 'a definition of another report' "$a" report wall "$wall" --definition d.yaml
says 'a definition of another report' "write 'report: wall'"
echo 'report: wall
picture: nothing.at_all
pages: [{page: front}]' >d.yaml
exits 78 'no such picture' "$a" report wall "$wall" --definition d.yaml
says 'no such picture' "picture 'nothing.at_all' is no stream of a tile"
ok 'no file is left of a report that failed' test ! -e wall-"$wall".pdf

# ---- another line: plates in panels
mkdir -p other/dab other/glow other/mend other/hang
cat >other/line.yaml <<'YAML'
line: patio
title: Patio panels (invented for this test)
zone: UTC
shifts: {day: 00:00}
kinds:
  dye: {}
  plate: {product: yes}
  panel: {product: yes}
stations:
  dab:
    folder: dab
    files: "*.csv"
    columns: [plate, dye, part, how, weight, at]
    time: {column: at, pattern: "%Y-%m-%dT%H:%M:%S"}
    item: {kind: plate, column: plate, made_here: yes}
    links:
      - {column: dye, kind: dye, role: base, share_column: part, confidence: {column: how, scanned: [scan], inferred: [guess]}}
    characteristics:
      weight: {column: weight, unit: g, possible: {min: 0, max: 1000}}
  glow:
    folder: glow
    files: "*.csv"
    columns: [plate, spot_row, spot_col, shine, at]
    time: {column: at, pattern: "%Y-%m-%dT%H:%M:%S"}
    item: {kind: plate, column: plate}
    characteristics:
      shine:
        column: shine
        unit: cd/m2
        grid: {row: spot_row, column: spot_col}
        possible: {min: 0, max: 10000}
  mend:
    folder: mend
    files: "*.csv"
    columns: [plate, try_no, at]
    time: {column: at, pattern: "%Y-%m-%dT%H:%M:%S"}
    item: {kind: plate, column: plate}
    attempt_column: try_no
    characteristics:
      tries: {column: try_no, unit: "1", possible: {min: 0, max: 99}}
  hang:
    folder: hang
    files: "*.csv"
    columns: [panel, plate, down, across, act, slit, ledge, at]
    time: {column: at, pattern: "%Y-%m-%dT%H:%M:%S"}
    item: {kind: panel, column: panel, made_here: yes}
    links:
      - {column: plate, kind: plate, row_column: down, column_column: across, ends: {column: act, words: [out]}}
    missing: {"-": missing}
    characteristics:
      slit: {column: slit, unit: um, grid: {row: down, column: across}, spec: {lower: 10, upper: 90}, possible: {min: 0, max: 1000}}
      ledge: {column: ledge, unit: um, grid: {row: down, column: across}, possible: {min: 0, max: 1000}}
YAML
# panel NAME ROWS COLUMNS FIRST HOLE: a plate a place from number FIRST on; HOLE "r,c" stays empty
panel() {
    awk -v p="$1" -v rows="$2" -v cols="$3" -v n="$4" -v hole="$5" 'BEGIN {
        dab = "other/dab/" p ".csv"; glow = "other/glow/" p ".csv"
        mend = "other/mend/" p ".csv"; hang = "other/hang/" p ".csv"
        print "plate,dye,part,how,weight,at" > dab
        print "plate,spot_row,spot_col,shine,at" > glow
        print "plate,try_no,at" > mend
        print "panel,plate,down,across,act,slit,ledge,at" > hang
        for (r = 1; r <= rows; r++) for (c = 1; c <= cols; c++) {
            if (r "," c == hole) continue
            plate = sprintf("P%04d", n)
            at = sprintf("2026-02-%02dT%02d:%02d:%02d", 1 + int(n / 600), (n / 60) % 10, n % 60, 0)
            printf "%s,D%02d,0.25,%s,%.1f,%s\n", plate, int(n / 50), n % 10 == 7 ? "guess" : "scan", 100 + n % 7, at > dab
            for (y = 1; y <= 3; y++) for (x = 1; x <= 4; x++)
                printf "%s,%d,%d,%.1f,%s\n", plate, y, x, 500 + n % 11 + y + x, at > glow
            if (n % 4 == 0) for (t = 1; t <= 2; t++) printf "%s,%d,%s\n", plate, t, at > mend
            printf "%s,%s,%d,%d,in,%s,%s,%s\n", p, plate, r, c, c < cols ? 40 + r + c : "-", r < rows ? 60 + c : "-",
                sprintf("2026-02-20T%02d:%02d:00", n % 24, n % 60) > hang
            n++
        }
    }'
}
panel SMALL 2 2 1 none
panel SQUARE 8 8 100 none
panel TALL 12 7 200 none
panel HOLED 5 6 300 3,4
ANDAMENTO_STORE=$scratch/other.store
"$a" init other/line.yaml >/dev/null || fail 'init of the other line'
"$a" collect --json other/dab other/glow other/mend other/hang >collect.json 2>&1
same 'no row of the other line is held' "$(jq '[.data.files[].held] | add' collect.json)" 0
for size in SMALL:2:2:4 SQUARE:8:8:64 TALL:12:7:84 HOLED:5:6:29; do
    name=${size%%:*} rest=${size#*:}
    rows=${rest%%:*} rest=${rest#*:}
    columns=${rest%%:*} parts=${rest#*:}
    exits 0 "report on $name" "$a" report wall "$name" --json -o "$name.pdf"
    cp out "$name.json"
    same "$name: rows, columns, plates" "$(jq -r '.data | "\(.rows) \(.columns) \(.parts | length)"' "$name.json")" "$rows $columns $parts"
    same "$name: seams of a full one" "$(jq .data.seams "$name.json")" $((rows * (columns - 1) + columns * (rows - 1)))
    same "$name: picture" "$(jq -r .data.picture "$name.json")" glow.shine
done
same 'seams with a value to the right' "$(jq '.data.seams_right | length' SQUARE.json)" 56
same 'seams with a value below' "$(jq '.data.seams_below | length' SQUARE.json)" 56
same 'steps between neighbours' "$(jq '.data.steps | length' SQUARE.json)" 112
same 'the empty place' "$(jq -c '.data.empty_places' HOLED.json)" '[{"row":3,"column":4}]'
ok 'and it is told as missing' jq -e '[.data.missing[] | select(.item == "row 3, column 4")] | length == 1' HOLED.json
# the mean shine of plate n is 500 + n % 11 + 2 + 2.5, the step to the next in its row follows
near 'a value' "$(jq '.data.parts[] | select(.serial == "P0105") | .values[] | select(.stream == "glow.shine") | .value' SQUARE.json)" 510.5 1e-9
near 'a step' "$(jq '.data.steps[] | select(.row == 1 and .column == 6 and (.below | not)) | .value' SQUARE.json)" \
    "$(awk 'BEGIN { x = 504.5 + 105 % 11; y = 504.5 + 106 % 11; printf "%.12g\n", (y - x) / ((x + y) / 2) * 100 }')" 1e-9
same 'repairs' "$(jq '[.data.parts[].repairs] | add' SQUARE.json)" 32
same 'shares of the dyes' "$(jq -r '[.data.made_of[] | .share] | unique | .[]' SQUARE.json)" 0.25
same 'by inferred links only' "$(jq '[.data.made_of[] | .possible_only] | add' SQUARE.json)" 6
# downward: D04 is in plates 200 to 249, every tenth by a guess
exits 0 'report on a dye' "$a" report batch D04 --json -o dye.pdf
same 'certain and possible' "$(jq -r '[.data.carried_by[] | select(.kind == "plate") | .sure] | group_by(.) | map("\(.[0]) \(length)") | join(", ")' out)" 'certain 45, possible 5'
size=$(jq .data.ledger.size out)
# plate 201 is taken out of its place and hung elsewhere: now it is there, and no longer here
echo 'panel,plate,down,across,act,slit,ledge,at
TALL,P0201,1,2,out,-,-,2026-02-22T10:00:00' >other/hang/out.csv
echo 'panel,plate,down,across,act,slit,ledge,at
SPARE,P0201,1,1,in,-,-,2026-02-23T10:00:00' >other/hang/spare.csv
"$a" collect other/hang >/dev/null 2>&1
exits 0 'report after the move' "$a" report batch D04 --json -o dye2.pdf
same 'its place now' "$(jq -r '.data.carried_by[] | select(.serial == "P0201") | "\(.in) \(.row),\(.column)"' out)" 'SPARE 1,1'
exits 0 'as it was known before' "$a" report batch D04 --as-of "$size" --json -o dye3.pdf
same 'its place then' "$(jq -r '.data.carried_by[] | select(.serial == "P0201") | "\(.in) \(.row),\(.column)"' out)" 'TALL 1,2'
ok 'the page of then' cmp dye.pdf dye3.pdf
exits 0 'the panel it left' "$a" report wall TALL --json -o tall2.pdf
same 'has an empty place' "$(jq -c '.data.empty_places' out)" '[{"row":1,"column":2}]'
echo 'panel,plate,down,across,act,slit,ledge,at
SPARE,P0201,1,1,out,-,-,2026-02-24T10:00:00' >other/hang/empty.csv
"$a" collect other/hang >/dev/null 2>&1
exits 66 'a wall without anything in it' "$a" report wall SPARE
says 'a wall without anything in it' 'panel SPARE has nothing in its places'
# what files do not tell is printed only where the definition tells it
cat >told.yaml <<'YAML'
report: wall
tile: {pixels_across: 480, pixels_down: 270, colours: 3, pitch_mm: 0.5, emitter_long_um: 40, emitter_wide_um: 20}
seam_right: hang.ledge
pages:
  - page: front
    sections: [{section: map}]
YAML
exits 0 'told of its tiles' "$a" report wall SQUARE --definition told.yaml --json -o told.pdf
same 'a seam of one s choice' "$(jq '[.data.seams_right | length, (.[] | numbers)] | .[0]' out 2>/dev/null || jq '.data.seams_right | length' out)" "$(jq '.data.seams_below | length' SQUARE.json)"
if command -v pdftotext >/dev/null; then
    # common practice, no source: 64 such tiles are 3840 x 2160 pixels, 24,883,200 emitters, 99 % black
    pdftotext -layout told.pdf told.txt
    ok 'pixels and emitters' grep -q '3840 x 2160 pixels, 24,883,200 emitters' told.txt
    ok 'the black share' grep -q '99.0 % of the surface black' told.txt
    pdftotext -layout SQUARE.pdf square.txt
    ok 'nothing of it without being told' sh -c '! grep -q "emitters\|pixels" square.txt'
    ok 'seams and corners' grep -q '8 x 8 places, 112 seams, 49 corners' square.txt
fi
done_testing
