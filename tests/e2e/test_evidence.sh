#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Evidence of a wall, checked by somebody without the program: the folder's own script runs with nothing
# on its PATH but a shell, sha256sum, openssl and other common tools. Then one byte is changed in each
# kind of file, also with the sums made anew: each is found. What stands in the rows is compared with the
# stations' files, read here by awk. Proofs: RFC 9162, 2.1.3.2; signatures: RFC 8032, by openssl.
. "${AN_SOURCE_DIR:?the sources}/tests/e2e/support.sh"
a=$ANDAMENTO
by='--author A.Tester --reason looked'

"$a" demo line >/dev/null 2>&1 || fail demo
export ANDAMENTO_STORE="$scratch/line.store"
"$a" init line/line.yaml >/dev/null 2>&1
"$a" collect --quiet line/spool >/dev/null 2>&1
until=$(jq -r .baseline_until line/truth.json)
"$a" limits propose --all --until "$until" >/dev/null 2>&1
"$a" limits lock --all $by >/dev/null
"$a" check >/dev/null
wall=$(sqlite3 line.store "SELECT serial FROM item WHERE kind = 'wall' ORDER BY serial DESC LIMIT 1")
exits 0 'evidence before the acts' "$a" export evidence "$wall" -o early
# of an early wall, before there were limits: few leaves, to be changed one by one
first_wall=$(sqlite3 line.store "SELECT min(serial) FROM item WHERE kind = 'wall'")
exits 0 'evidence of the first wall' "$a" export evidence "$first_wall" -o small
entries=$("$a" head | sed 's/:.*//')
signal=$(jq -r '.data[0].signal_id' early/records/signals.json)
sample=$(jq -r '.data[0].sample_id' early/records/samples.json)
exits 0 "an author's key" "$a" key new author.key
exits 0 'is recorded' "$a" key add author.key.pub --author 'B. Engineer' --reason 'given in person'
exits 0 'a signed answer' "$a" answer "$signal" --cause 'a worn stamp' --action 'changed it' --author 'B. Engineer' --key author.key
exits 0 'a correction' "$a" correct withdraw --sample "$sample" $by
gauge=$(jq -r '[.data[].gauge | select(. != null)][0]' early/records/visits.json)
{
    echo part,operator,reading
    for o in 1 2; do for p in 1 2 3 4 5; do for t in 1 2; do echo "$p,$o,$p.0$t$o"; done; done; done
} >study.csv
exits 0 'a gauge study' "$a" gauge study study.csv --gauge "$gauge" --columns part=part,operator=operator,reading=reading \
    --author C --reason yearly
carrier=$(jq -r '[.data[] | select(.kind == "carrier") | .serial][0]' early/records/items.json)
{ head -1 "$(find line/spool/carrier -type f | head -1)"
  echo "$carrier,WR26-0001,R,1,oops,410,PREP-001,2026-03-15T00:52:08+01:00"; } >line/spool/carrier/carrier_oops.csv
"$a" collect --quiet line/spool >/dev/null 2>&1
exits 0 'a key' "$a" key new ledger.key
exits 0 'signed evidence of the first wall' "$a" export evidence "$first_wall" -o small-signed --key ledger.key
exits 0 'evidence' "$a" export evidence "wall:$wall" -o ev --key ledger.key --name line-one --json
ok 'what was written is told' jq -e --arg w "$wall" '.schema == "andamento.evidence.1"
    and .data.serial == $w and .data.leaves > 100 and .data.originals > 10 and .data.dropped == 0' out >/dev/null
head=$("$a" head)
same "the head is the ledger's" "$(cat ev/head.txt)" "$head"
ok 'nothing else is left' sh -c '! ls -d ev.part-* 2>/dev/null'

# ---- the check, without the program
mkdir tools
for tool in sh sha256sum od sed grep tail base64 cat openssl tr mktemp rm dirname; do
    ln -s "$(command -v $tool)" tools/$tool
done
check() { # FOLDER [KEY]: exit status, the answer in `said`
    env -i PATH="$scratch/tools" "$scratch/tools/sh" "$1/check.sh" ${2:+"$2"} >said 2>said.err
}
checks_out() { check ev "${1:-}" && grep -q "under head $head, " said && ! [ -s said.err ]; }
ok 'all is as proved' checks_out
ok 'with the key from elsewhere' checks_out ledger.key.pub
ok 'whose' grep -q '^signed by .*ledger.key.pub: ' said
ok 'the earlier one, unsigned' check early
ok 'the first wall' check small
ok 'which says so' grep -q '^unsigned: compare head' said
"$a" key new other.key >/dev/null
if check early ledger.key.pub; then fail "unsigned evidence is taken for signed"; fi
ok 'the note that is not there' grep -q '^head.note: it is missing' said
if check small-signed other.key.pub; then fail "another's key is taken"; fi
ok 'the note is not of that key' grep -q '^head.note: not signed by ' said
for shell in dash bash busybox; do
    command -v $shell >/dev/null || continue
    [ $shell = busybox ] && shell='busybox sh'
    ok "in $shell" sh -c "$shell small-signed/check.sh >/dev/null"
done
command -v shellcheck >/dev/null &&
    ok 'the script is clean' shellcheck -s sh -e SC2046,SC2059,SC2015,SC2086 ev/check.sh

# ---- the rows are those of the stations' files
original() { # NAME of a file: its original
    echo "ev/originals/$(jq -r --arg n "$1" '.data[] | select(.name == $n) | .sha256' ev/records/files.json)"
}
jq -r '.data[].name' ev/records/files.json >names
while read -r name; do
    ok "the original of $name" cmp -s "$(original "$name")" "$(find line/spool -name "$name")"
done <names
assembly=$(grep assembly names)
awk -F, '/^#/ { next } $1 ~ /^[0-9]+$/ { print $3, $1, $2 }' "$(original "$assembly")" | sort >tiles.wanted
jq -r --arg w "$wall" '.data[] | select(.child == $w) | "\(.parent) \(.row) \(.column)"' \
    ev/records/links.json | sort >tiles.got
ok 'there are tiles' test "$(wc -l <tiles.got)" -gt 10
ok 'the tiles in their places' cmp tiles.wanted tiles.got
jq -r --arg w "$wall" '.data[] | select(.child == $w) | "\(.sha256) \(.line) \(.parent)"' \
    ev/records/links.json >where
while read -r hash line tile; do
    sed -n "${line}p" "ev/originals/$hash" | grep -q "$tile" || fail "line $line does not tell of $tile"
done <where
# a sample's mean from the lines of the original: station carrier, release_layer_um by carrier_id
jq -r '[.data[] | select(.stream == "carrier.release_layer")][0]
    | "\(.sha256) \(.first_line) \(.last_line) \(.serial) \(.mean) \(.n) \(.entry)"' ev/records/samples.json >one
read -r hash first last serial mean n entry <one
jq -r --arg s "$serial" '.data[] | select(.source_item == $s) | "\(.source_line) \(.release_layer_um)"' \
    "ev/readings/$entry.json" >values.got
same 'as many readings' "$(wc -l <values.got)" "$n"
near 'their mean' "$(awk '{ s += $2 } END { print s / NR }' values.got)" "$mean" 1e-5
while read -r line value; do
    sed -n "${line}p" "ev/originals/$hash" | tr ',' '.' | grep -q "$value" || fail "$value is not in line $line"
    if [ "$line" -lt "$first" ] || [ "$line" -gt "$last" ]; then fail "line $line lies elsewhere"; fi
done <values.got
for file in ev/records/*.json ev/readings/*.json; do
    same "as many rows as CSV and JSON: $file" "$(sqlite3 :memory: ".import --csv ${file%.json}.csv t" \
        'SELECT count(*) FROM t' 2>/dev/null || echo 0)" "$(jq '.data | length' "$file")"
done
# each act: the columns of its row stand in its leaf under the same names
acts() { # SET COLUMN...
    set=$1
    shift
    checks=$((checks + 1))
    [ "$(jq '.data | length' "ev/records/$set.json")" -gt 0 ] || fail "no $set"
    for column; do
        jq -r --arg c "$column" '.data[] | "\(.entry) \(.[$c] // "")"' "ev/records/$set.json" | head -40 >pairs
        while read -r entry value; do
            told=$(tail -c +2 "ev/leaves/$entry" | sed 1,2d | jq -r --arg c "$column" '.[$c] // ""')
            [ "$told" = "$value" ] || fail "$set, entry $entry: $column is '$value', its leaf tells '$told'"
        done <pairs
    done
}
acts limits limits_id baseline_samples
acts signals signal_id limits_id first_us signal_us rule side
# hits share leaves: their lines are there
jq -c '.data[] | [.entry, .hit_id, .signal_id, .sample_id, .at_us, .rule, .value]' ev/records/hits.json | sort >hits.got
for file in ev/hits/*; do
    jq -c --argjson e "${file#ev/hits/}" '[$e, .hit_id, .signal_id, .sample_id, .at_us, .rule, .value]' "$file"
done | sort >hits.told
ok 'there are hits' test -s hits.got
same 'all of them in the lines of their leaves' "$(comm -23 hits.got hits.told)" ''
rm -rf bad
cp -r ev bad
hits=$(ls -S bad/hits | head -1)
sed -i 's/"rule":0/"rule":1/' "bad/hits/$hits"
rm bad/SHA256SUMS.sig bad/head.note # and nobody signed
(cd bad && grep -v 'head.note' SHA256SUMS | cut -c67- >../list && xargs -d '\n' sha256sum <../list >../sums && cp ../sums SHA256SUMS)
if check bad; then fail 'other hits are taken'; fi
same 'which' "$(cat said)" "hits/$hits: they are not those of which leaves/$hits tells"
acts answers answer_id signal_id author cause action
acts corrections correction_id author reason effects
acts gauge_studies study_id gauge grade
jq -r '.data[0] | "andamento signed act 1\nentry \(.signed_entry)\nleaf \(.leaf)\nroot \(.root)"' \
    ev/records/signatures.json >signed-act
jq -r '.data[0].signature' ev/records/signatures.json | base64 -d >signature
ok 'the answer is signed by its author' openssl pkeyutl -verify -pubin -inkey author.key.pub -rawin -in signed-act \
    -sigfile signature -out out
same 'its leaf is here' "$(jq -r '.data[0] | "\(.leaf)  leaves/\(.signed_entry)"' ev/records/signatures.json)" \
    "$(cd ev && sha256sum "leaves/$(jq -r '.data[0].entry' records/answers.json)")"
same 'the answer is of the signal' "$(jq -r '.data[0].signal_id' ev/records/answers.json)" "$signal"
same 'the sample is marked' "$(jq -r --argjson s "$sample" '.data[] | select(.sample_id == $s) | .corrected_by' \
    ev/records/samples.json)" 1
ok 'the study is an original' cmp -s study.csv "ev/originals/$(sha256sum <study.csv | cut -c1-64)"
ok 'so is the line description' cmp -s line/line.yaml "ev/originals/$(sha256sum <line/line.yaml | cut -c1-64)"
same 'the held row that names a carrier of it' "$(jq -r '.data[] | "\(.code) \(.line) \(.row)"' ev/records/held.json)" \
    "number.bad 2 $(sed -n 2p line/spool/carrier/carrier_oops.csv)"
same 'signals are those in force with limits' "$(jq -r '[.data[].limits_id] - ([inputs.data[].limits_id]) | length' \
    ev/records/signals.json ev/records/limits.json)" 0

# ---- as of an earlier moment: the same folder
exits 0 'as of then' "$a" export evidence "$wall" -o then --as-of "$entries"
ok 'is checked' check then
ok 'the same bytes' diff -r early then

# ---- one byte changed
turn() { # FILE OFFSET: another byte there
    old=$(od -An -tu1 -j "$2" -N 1 "$1" | tr -d ' ')
    # shellcheck disable=SC2059 # the escape is the format
    printf "\\$(printf '%03o' $((old ^ 1)))" | dd of="$1" bs=1 seek="$2" conv=notrunc 2>/dev/null
}
resum() { # FOLDER: sums as if nothing had been changed
    (cd "$1" && cut -c67- SHA256SUMS >../list && xargs -d '\n' sha256sum <../list >../sums && cp ../sums SHA256SUMS)
}
found() { # TEXT FOLDER PATTERN: the check finds it in a line of its own
    checks=$((checks + 1))
    check "$2" && fail "$1: not found"
    grep -q "$3" said || fail "$1: said '$(head -2 said)' instead of '$3'"
    ! grep -q '^as proved' said || fail "$1: it is called proved all the same"
    [ -s said.err ] && fail "$1: $(head -1 said.err)"
}
spoil() { # TEXT FILE OFFSET PATTERN: what is found though the sums are made anew; empty: by the sums
    rm -rf bad
    cp -r small bad
    turn "bad/$2" "$3"
    cmp -s "small/$2" "bad/$2" && fail "$1: nothing was changed"
    if [ "$4" ]; then
        resum bad
        found "$1, sums made anew" bad "$4"
    else
        found "$1" bad "^$2: not as SHA256SUMS has it"
    fi
}
original=$(jq -r '[.data[] | select(.station == "assembly") | .sha256][0]' small/records/files.json)
reading=$(ls small/readings | head -1)
leaf=$(ls small/leaves | sort -n | sed -n 20p)
spoil 'an original' "originals/$original" 100 "^originals/$original: its SHA-256 is not its name"
spoil 'an original, by the sums' "originals/$original" 100 ''
spoil 'a leaf, by the sums' "leaves/$leaf" 60 ''
spoil 'a path, by the sums' paths.txt 100 ''
spoil 'the head, by the sums' head.txt 20 ''
spoil 'a leaf' "leaves/$leaf" 60 "^leaves/$leaf: its path does not lead to the root"
spoil 'the first byte of a leaf' "leaves/$leaf" 0 "^leaves/$leaf: does not begin as a leaf does"
spoil 'a path' paths.txt 100 '^leaves/.*: its path does not lead to the root'
spoil 'the number of entries' head.txt 0 '' # with new sums and without a signature it may pass: STEPS.txt says so
spoil 'the root' head.txt 20 'its path does not lead to the root\|head.txt: it is no head'
spoil 'a source' sources.txt 20 'does not tell of originals\|there is no leaf'
spoil 'the number of a source' sources.txt 0 'leaf\|does not tell'
spoil 'a record' records/samples.csv 2000 ''
spoil 'a record of an act' records/limits.json 500 ''
spoil 'a reading' "readings/$reading" 200 ''
spoil 'the steps' STEPS.txt 10 ''
spoil 'the script' check.sh 60 ''
rm -rf bad
cp -r small bad
turn bad/SHA256SUMS 5
found 'a sum' bad ': not as SHA256SUMS has it\|a line of it is no sum'
cp small/SHA256SUMS bad
turn bad/SHA256SUMS 64
found 'a line of the sums' bad '^SHA256SUMS: a line of it is no sum'
cp small/SHA256SUMS bad
rm bad/leaves/"$leaf"
found 'a leaf that is missing' bad "^paths.txt: there is no leaf '$leaf'"
other=$(ls small/leaves | sort -n | sed -n 21p)
cp bad/leaves/"$other" bad/leaves/"$leaf"
resum bad
found 'a leaf in the place of another' bad "^leaves/$leaf: its path does not lead to the root"
cp -r small/leaves small/SHA256SUMS bad
sed -i "/^$leaf /d" bad/paths.txt
resum bad
found 'a path that is missing' bad "^leaves/$leaf: paths.txt has no path of it"
cp small/paths.txt bad
taken=$(jq -r '.data[0].entry' small/records/files.json)
sed -i "/^$taken /d" bad/sources.txt
resum bad
found 'an original kept back' bad "^leaves/$taken: sources.txt does not have its original"
rm bad/originals/"$original"
found 'an original that is missing' bad "^originals/$original: "
# with a signature also what is in no leaf is found
signed() { # TEXT FILE OFFSET PATTERN
    rm -rf bad
    cp -r small-signed bad
    turn "bad/$2" "$3"
    resum bad
    found "$1, signed" bad "$4"
}
signed 'a record' records/samples.csv 2000 '^SHA256SUMS.sig: SHA256SUMS is not signed by'
signed 'the signature' SHA256SUMS.sig 9 '^SHA256SUMS.sig: SHA256SUMS is not signed by'
signed 'the number of entries of the note' head.note 10 '^head.note: '
signed 'the root of the note' head.note 20 '^head.note: '
signed 'the number of entries beside the note' head.txt 0 '^head.note: another number of entries than head.txt'
signed 'the head beside the note' head.txt 20 '^head.note: another root than head.txt\|^head.txt: it is no head'
signed 'the key' public.key 50 '^head.note: not signed by'
rm -rf bad
cp -r small-signed bad
rm bad/head.note
found 'the note taken away' bad '^head.note: '

# ---- what cannot be exported leaves nothing
listing() { find . -path ./bad -prune -o ! -name out ! -name err ! -name 'names-*' ! -name '*.store*' -print | sort; }
listing >names-before
exits 73 'a folder that is there' "$a" export evidence "$wall" -o ev
says 'never' "'ev' is there already and is never written over"
exits 73 'a file that is there' "$a" export evidence "$wall" -o study.csv
exits 73 'no folder above' "$a" export evidence "$wall" -o nowhere/ev2
exits 66 'no such item' "$a" export evidence "${wall}9" -o ev2
says 'the nearest' "$wall"
exits 64 'no item' "$a" export evidence -o ev2
exits 64 'an empty name' "$a" export evidence "$wall" -o ''
exits 64 'a name and no key' "$a" export evidence "$wall" -o ev2 --name x
exits 66 'no such key' "$a" export evidence "$wall" -o ev2 --key nowhere.key
exits 65 'no key' "$a" export evidence "$wall" -o ev2 --key line/line.yaml
says 'which file' 'line/line.yaml: it is no private Ed25519 key'
exits 64 'a name with a blank' "$a" export evidence "$wall" -o ev2 --key ledger.key --name 'line one'
exits 66 'as of before all' "$a" export evidence "$wall" -o ev2 --as-of 2001-01-01
tampered() { # TEXT STATUS SQL PATTERN
    rm -f tampered.store
    sqlite3 line.store '.backup tampered.store'
    sqlite3 tampered.store "SELECT 'DROP TRIGGER ' || name || ';' FROM sqlite_schema WHERE type = 'trigger'" |
        sqlite3 tampered.store
    sqlite3 tampered.store "$3"
    exits "$2" "$1" "$a" export evidence "$wall" -o ev2 --store tampered.store
    says "$1" "$4"
    rm -f tampered.store*
}
tampered 'a sample was changed' 69 "UPDATE sample SET mean = mean + 1 WHERE sample_id = $sample" 'what is stored of file'
big_leaf=$(ls early/leaves | sort -n | sed -n 50p)
tampered 'an entry was changed' 69 "UPDATE ledger SET payload = payload || ' ' WHERE entry = $big_leaf" \
    "ledger entry $big_leaf does not lead to the ledger's root: run verify"
tampered 'peaks were changed' 69 "UPDATE ledger SET peaks = zeroblob(length(peaks))
    WHERE entry < (SELECT max(entry) FROM ledger)" 'run verify'
tampered 'an entry is gone' 69 "DELETE FROM ledger WHERE entry = $big_leaf" 'run verify'
tampered 'originals are gone' 69 'DELETE FROM original; DELETE FROM original_piece' 'no record says who dropped it'
tampered 'an original was changed' 69 "UPDATE original_piece SET packed = zeroblob(9)" 'original'
listing >names-after
same 'nothing is left' "$(diff names-before names-after)" ''
exits 0 'a batch' "$a" export evidence "$carrier"
ok 'in a folder of its name' check "evidence-$carrier"

# ---- originals that retain dropped
cp line.store kept.store
sed 's/^zone:/keep: {readings: 2 months, originals: 3 months}\nzone:/' line/line.yaml >keep.yaml
export ANDAMENTO_CLOCK=2027-10-01T00:00:00Z
exits 0 'a revision with keep' "$a" init keep.yaml --store kept.store
exits 0 'retain' "$a" retain --author 'A. Keeper' --reason 'three months' --yes --store kept.store
exits 0 'evidence of what is left' "$a" export evidence "$first_wall" -o left --store kept.store --json
dropped=$(jq .data.dropped out)
ok 'originals are no longer there' test "$dropped" -gt 0
ok 'is checked' check left
ok 'and told' grep -q "$dropped no longer kept" said
same 'by record' "$(jq '[.data[] | select(.what == "original") | .sha256] | unique | length' left/records/dropped.json)" "$dropped"
same 'by whom' "$(jq -r '[.data[].author] | unique[]' left/records/dropped.json)" 'A. Keeper'
same 'whose entry is here' "$(jq -r '[.data[].entry] | unique[]' left/records/dropped.json | while read -r n; do
    [ -e "left/leaves/$n" ] || echo "$n"; done)" ''
exits 0 'as of before' "$a" export evidence "$first_wall" -o left-then --store kept.store --as-of "$entries"
ok 'what was dropped later has no leaf then' check left-then

# ---- heads in files
"$a" head >head-plain
exits 0 'a head in a file' "$a" verify --quiet --head-file head-plain
exits 0 'signed ones, too' "$a" verify --head-file ev/head.note --head-file early/head.txt
says 'what was not looked at' 'ev/head.note: who signed it was not checked: give --public-key'
exits 0 'and who signed' "$a" verify --head-file ev/head.note --public-key ledger.key.pub
exits 1 'not that key' "$a" verify --head-file ev/head.note --public-key other.key.pub
says 'whose' 'head ev/head.note: it is not signed by this key'
sed 's/^line-one$/line-two/' ev/head.note >forged
exits 1 'changed after signing' "$a" verify --head-file forged --public-key ledger.key.pub
exits 1 'not signed at all' "$a" verify --head-file head-plain --public-key ledger.key.pub
says 'that' 'head head-plain: it is not signed'
sed 's/:./:x/; s/x/0/; s/:0/:1/' head-plain >wrong-head
cmp -s head-plain wrong-head && sed -i 's/:1/:2/' wrong-head
exits 1 'a head that it never had' "$a" verify --quiet --head-file head-plain --head-file wrong-head
says 'which' 'head wrong-head: the ledger.s first'
echo "$((entries + 100000)):0123456789abcdef" >later-head
exits 1 'a head of later' "$a" verify --quiet --head-file later-head
says 'its end' 'head later-head: the ledger never had'
: >empty
exits 65 'an empty file' "$a" verify --head-file empty
says 'that' 'empty: the file is empty, and no head'
echo '12:zz' >broken
exits 65 'no head' "$a" verify --head-file broken
says 'which' "broken: '12:zz' is no head"
exits 65 'no head at all' "$a" verify --head-file study.csv
says 'where' 'study.csv:2:1: '
exits 66 'no such file' "$a" verify --head-file nowhere
exits 64 'a key and no head' "$a" verify --public-key ledger.key.pub
exits 65 'a key that is none' "$a" verify --head-file head-plain --public-key study.csv

done_testing
