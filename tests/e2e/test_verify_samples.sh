#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# verify makes each sample again by the line description that read its file: after the description has
# changed columns, units, splits and kinds, all are still made, none is called wrong, and one that was
# changed in the store is found, whichever description it is of.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
ask() { sqlite3 -readonly line.store "$1"; }

describe() { # what stands in the station's characteristics
    cat <<YAML
line: two
zone: UTC
shifts: {all: 00:00}
kinds: {tile: {}}
stations:
  s:
    folder: spool
    time: {column: at, pattern: "%s"}
    item: {kind: tile, column: tile}
    characteristics:
$1
YAML
}
rows() { # FIRST-TILE
    awk -v f="$1" 'BEGIN { print "tile,at,head,x,y"; for (i = f; i < f + 10; i++) for (r = 0; r < 4; r++)
        printf "T%03d,%d,H%d,%.2f,%.2f\n", i, 1772600000 + 600 * i + r, r % 2, i + r / 4, 100 + 3 * i - r }'
}
mkdir spool
describe '      x: {column: x, unit: um, split: head}
      gone: {column: y, unit: mm}
      other: {column: y, unit: mm}
      most: {derived: {how: range, of: other}}' >one.yaml
describe '      x: {column: y, unit: mm, split: head}
      other: {count: {column: head, words: [H1]}, per: hundred}' >two.yaml
describe '      x: {column: x, unit: um}
      other: {column: x, unit: um}' >three.yaml
n=0
for yaml in one two three; do
    n=$((n + 1))
    "$a" init $yaml.yaml >out 2>err || fail "init $yaml: $(cat err)"
    rows $((n * 100)) >spool/$n.csv
    exits 0 "collect by $yaml" "$a" collect spool
done
same 'three descriptions' "$(ask 'SELECT count(DISTINCT line_revision) FROM file')" 3
exits 0 'none is called wrong' "$a" verify --json
# 10 tiles each: by one.yaml x of two heads, gone, other; by two.yaml x of two heads; by three.yaml x, other
same 'all measured ones are made again' "$(jq .data.samples out)" 80
same 'none is passed over' "$(jq .data.samples_earlier out)" 0
same 'counts' "$(jq .data.samples_counted out)" 10
same 'derived' "$(jq .data.samples_derived out)" "$(ask "SELECT count(*) FROM sample JOIN stream USING (stream_id)
    WHERE characteristic = 'most'")"
for number in 1 2 3; do
    for characteristic in x gone; do
        sample=$(ask "SELECT max(sample_id) FROM sample JOIN stream USING (stream_id)
            JOIN file ON file.file_id = sample.file_id
            WHERE line_revision = $number AND characteristic = '$characteristic'")
        [ -n "$sample" ] || continue
        cp line.store was.store
        sqlite3 line.store "DROP TRIGGER sample_no_update;
            UPDATE sample SET mean = mean * 1.0000001 WHERE sample_id = $sample"
        exits 1 "a mean of description $number" "$a" verify
        says 'which one' "sample $sample of s.$characteristic.*its mean is not that of its readings"
        rm -f line.store*
        mv was.store line.store
    done
done
done_testing
