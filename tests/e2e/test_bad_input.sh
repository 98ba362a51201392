#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# What the world may hand over that cannot be used: each time one clear line, the right exit
# status, nothing lost and nothing half-written.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO

describe() { # characteristic
    cat >line.yaml <<END
line: little
zone: Europe/Rome
shifts: {day: 06:00, late: 14:00, night: 22:00}
kinds: {tile: {product: yes}}
stations:
  bench:
    folder: spool
    time: {column: at}
    item: {kind: tile, column: tile}
    characteristics:
$1
END
}
rows() { # count formula-of-i
    echo 'tile,at,x'
    awk -v n="$1" "BEGIN { for (i = 1; i <= n; i++) printf \"T%04d,2026-03-02T%02d:%02d:00Z,%s\\n\", i, 6 + int(i / 60), i % 60, $2 }"
}
fresh() { # characteristic count formula
    rm -rf line.store* spool
    mkdir spool
    describe "$1"
    rows "$2" "$3" >spool/one.csv
    "$a" init line.yaml >/dev/null || fail "init for $1"
    "$a" collect spool >out 2>err || fail "collect for $1: $(cat err)"
}
plain='      x: {column: x, unit: um, subgroup: row, spec: {lower: -5, upper: 5}}'

# an empty baseline, n = 1, zero variance
fresh "$plain" 40 '(i * 7919) % 11 / 10'
exits 65 'empty baseline' "$a" limits propose --all --from 2027-01-01
says 'how many there are' '0'
fresh "$plain" 1 0.5
exits 65 'n = 1' "$a" limits propose --all
fresh "$plain" 40 0.25
exits 65 'all values equal' "$a" limits propose --all
says 'what is wrong with them' 'equal'
"$a" capability --json >out 2>err
ok 'capability of equal values gives a reason, not a number' \
    jq -e '.data[0] | .ppk.value == null and (.why_not | length > 0)' out
exits 0 'a report without limits' "$a" report shift -o no-limits.pdf
ok 'says that nothing is judged' sh -c 'pdftotext no-limits.pdf - | grep -qi "without limits\|no limits"'
"$a" check >out 2>err
ok 'check says how many streams have no limits' grep -q 'no limits' out

# one-sided and no spec
fresh '      x: {column: x, unit: um, subgroup: row, spec: {upper: 5}}' 60 '(i * 7919) % 101 / 50'
"$a" limits propose --all >out 2>err
"$a" limits lock --all --author me --reason test >out
"$a" capability --json >out 2>err
ok 'one-sided: no Cp, Pp; Ppk from the one side' jq -e \
    '.data[0] | .pp.value == null and .ppl.value == null and .ppk.value == .ppu.value and .ppk.value > 0' out
fresh '      x: {column: x, unit: um, subgroup: row}' 60 '(i * 7919) % 101 / 50'
"$a" capability --json >out 2>err
ok 'no spec: a reason' jq -e '.data[0] | .ppk.value == null and (.why_not | test("spec"))' out

# a description with several mistakes: all told at once, each with its place
cat >wrong.yaml <<'END'
line: little
zone: Mars/Olympus
shifts: {day: 06:00}
kinds: {tile: {}}
stations:
  bench:
    time: {column: at}
    item: {kind: tyle, column: tile}
    characteristics:
      x: {column: x, unit: um, spec: {lower: 5, upper: 1}, colour: red}
END
exits 78 'mistakes in the description' "$a" init --store new.store wrong.yaml
ok 'the zone at its place' grep -q '^wrong.yaml:2:7: .*Mars/Olympus' err
ok 'the kind at its place' grep -q '^wrong.yaml:8:18: .*tyle' err
ok 'the spec' grep -q '^wrong.yaml:10:.*lower' err
ok 'the unknown key' grep -q '^wrong.yaml:10:.*colour' err
ok 'no store' test ! -e new.store

# stores that are none
echo 'not a database at all, only some text that is long enough to be read as a header page' >text.store
exits 69 'a text file' "$a" streams --store text.store
says 'it is not a store' 'text.store'
exits 69 'an empty file' sh -c ": >empty.store; '$a' streams --store empty.store"
sqlite3 foreign.store 'CREATE TABLE t(a); INSERT INTO t VALUES (1)'
exits 69 "another program's database" "$a" streams --store foreign.store
fresh "$plain" 60 '(i * 7919) % 101 / 50'
sqlite3 line.store 'PRAGMA wal_checkpoint(TRUNCATE)' >/dev/null
size=$(stat -c %s line.store)
head -c $((size / 2)) line.store >cut.store
exits 69 'a truncated store' "$a" streams --store cut.store
cp line.store newer.store
sqlite3 newer.store 'PRAGMA user_version = 999' 2>/dev/null
exits 69 'a store of a newer program' "$a" streams --store newer.store
says 'which format it has' '999'
exits 66 'a folder that is missing' "$a" collect missing
mkfifo spool/pipe.csv
ln -s /etc/passwd spool/link.csv
mkdir spool/folder.csv
timeout 20 "$a" collect spool >out 2>err
ok 'a fifo, a link and a folder named like files do not stop it' test $? -le 1
says 'that the link is refused' '^spool/link.csv: is a symbolic link; collect the file it points to$'
says 'that the pipe is refused' '^spool/pipe.csv: is a pipe, not a regular file$'
rm -r spool/pipe.csv spool/link.csv spool/folder.csv

# a full disk while collecting: a small file system if we may mount one, else a file size limit
fresh "$plain" 60 '(i * 7919) % 101 / 50'
awk 'BEGIN { srand(1); print "tile,at,x"; for (i = 1; i <= 40000; i++) printf "U%05d,2026-03-03T%02d:%02d:%02dZ,%.7f\n", i, 6 + int(i / 3600), int(i / 60) % 60, i % 60, rand() }' >spool/two.csv
"$a" export -o before.csv
(
    ulimit -f 1200
    trap '' XFSZ
    "$a" collect spool >out 2>err
)
same 'a full disk' $? 74
says 'the disk may be full' 'full'
"$a" export -o after.csv
ok 'the store is as it was' cmp before.csv after.csv
exits 0 'and takes the file once there is room' "$a" collect spool
ok 'whole' grep -q '^1 file taken' out
exits 0 'verify' "$a" verify
done_testing
