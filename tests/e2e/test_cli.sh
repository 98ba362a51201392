#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The command line itself: help, exact options, exit statuses, answers on standard output only, and
# a standard output that cannot be written.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO

exits 64 'no arguments' "$a"
exits 0 'help' "$a" --help
for command in demo init collect held streams 'limits propose' 'limits lock' 'limits show' check \
    signals answer capability 'report shift' export verify; do
    ok "overview names $command" grep -q "^  $command " out
done
"$a" --help >overview
sed -n 's/^  \([a-z][a-z ]*[a-z]\)   *[a-z].*/\1/p' overview | while read -r command; do
    # shellcheck disable=SC2086
    "$a" $command --help >out 2>err || echo "help of $command fails" >>help-failures
    [ -s err ] && echo "help of $command writes to stderr" >>help-failures
    head -1 out | grep -q '^  andamento ' || echo "help of $command does not begin with an example" >>help-failures
done
ok 'help of every command' test ! -s help-failures
sh "$AN_SOURCE_DIR/docs/commands.sh" "$a" >commands.md
ok 'docs/commands.md is current: sh docs/commands.sh PROGRAM >docs/commands.md' \
    cmp commands.md "$AN_SOURCE_DIR/docs/commands.md"
exits 0 'version' "$a" --version
ok 'version names SQLite and the format' grep -q 'store format [0-9]*, SQLite 3' out

exits 64 'unknown command' "$a" colect
says 'the nearest command' "did you mean 'collect'"
exits 64 'a command of two words' "$a" corect list
says 'the nearest first word' "did you mean 'correct'"
exits 64 'half a command' "$a" limits
says 'its verbs' 'limits propose'
exits 64 'abbreviated option' "$a" collect --dry x
says 'the whole option' "did you mean '--dry-run'"
exits 64 'unknown letter' "$a" collect -z x
exits 64 'missing value' "$a" collect --station
exits 64 'value for a switch' "$a" collect --dry-run=yes x
exits 64 'missing operand' "$a" collect
exits 64 'operand too many' "$a" init a b
exits 64 'unknown format' "$a" streams --format xml
exits 66 'no such store' "$a" streams --store nowhere.store
says 'names the store' 'nowhere.store'

exits 0 'demo' "$a" demo --days 6 line
exits 73 'demo into a folder that is not empty' "$a" demo line
exits 0 'init' "$a" init line/line.yaml
exits 0 'init again stores nothing' "$a" init line/line.yaml
ok 'and says so' grep -q 'nothing stored' out
exits 78 'init of nonsense' "$a" init --store other.store line/truth.json
ok 'no store left behind' test ! -e other.store
exits 66 'init of a missing file' "$a" init missing.yaml

sum() { cat line.store line.store-wal 2>/dev/null | sha256sum; }
before=$(sum)
"$a" collect --dry-run line/spool >out 2>err
same 'dry run stores nothing' "$(sum)" "$before"
ok 'dry run says what it would do' grep -q '^would have: ' out

"$a" collect --json line/spool >collect.json 2>err
ok 'collect --json is JSON' jq -e '.schema == "andamento.collect.1"' collect.json
ok 'rows balance in the answer' jq -e \
    '.data | .rows == .rows_taken + .rows_duplicate + .rows_held + .rows_blank and .rows > 1000' collect.json
"$a" collect line/spool >out 2>err
ok 'all seen before the second time' grep -q '^0 files taken, 0 held, ' out

exits 66 'unknown stream' "$a" limits propose transfer.nothing
exits 64 'no stream named' "$a" limits propose
exits 64 'lock without author' "$a" limits lock --all --reason why
exits 64 'lock without reason' "$a" limits lock --all --author me
exits 64 'not a time' "$a" export --from yesterday
exits 64 'not a shift' "$a" report shift --shift 'sometime'
exits 73 'report into a missing folder' "$a" report shift -o missing/x.pdf
exits 73 'report onto a folder' "$a" report shift -o line
same 'nothing left beside' "$(find . -name '*.part-*' | wc -l)" 0

"$a" limits propose --all --json >limits.json 2>err
ok 'limits are JSON' jq -e '.data | length > 10' limits.json
exits 0 'lock' "$a" limits lock --all --author 'A. Tester' --reason 'a test'
for command in streams held 'limits show' check signals capability export verify \
    'collect line/spool'; do
    for form in --json --csv --format=table; do
        case "$command $form" in *verify*--csv | *collect*--csv) continue ;; esac
        # shellcheck disable=SC2086
        "$a" $command $form >out 2>err
        status=$?
        ok "$command $form ends well ($status)" test "$status" -le 1
        ok "$command $form answers" test -s out
        [ "$form" != --json ] || ok "$command --json parses" jq -e '.schema and .generated_by and has("data")' out
    done
    # shellcheck disable=SC2086
    "$a" $command >/dev/full 2>err
    same "$command with a full standard output" $? 74
done
"$a" signals --json >signals.json
first=$(jq '.data[0].signal.signal_id' signals.json)
second=$(jq '.data[1].signal.signal_id' signals.json)
open=$(jq '.data | length' signals.json)
exits 64 'answer without author' "$a" answer "$first" --cause 'stamp worn'
exits 64 'answer without a word' "$a" answer "$first" --author me
exits 64 'answer to no number' "$a" answer 1x --author me --cause c
exits 66 'answer to no signal' "$a" answer "$first" 999999 --author me --cause c
exits 0 'answer in a dry run' "$a" answer "$first" --dry-run --author me --cause c
same 'nothing answered by then' "$("$a" signals --open --json | jq '.data | length')" "$open"
exits 0 'answer' "$a" answer "$first" "$second" --author 'L. Engineer' --cause 'stamp worn'
exits 0 'a second answer' "$a" answer "$first" --author 'Q. Manager' --containment 'tiles held'
same 'two signals less are open' "$("$a" signals --open --json | jq '.data | length')" $((open - 2))
"$a" signals --answered --json >signals.json
ok 'both answers stand beside each other' jq -e --argjson id "$first" \
    '.data[] | select(.signal.signal_id == $id) | .answers | length == 2 and
     .[0].cause == "stamp worn" and .[1].containment == "tiles held"' signals.json
exits 0 'the record holds' "$a" verify

"$a" export --csv >one.csv
"$a" export -o two.csv
ok 'export to a file and to standard output agree' cmp one.csv two.csv
LC_ALL=de_DE.UTF-8 TZ=Asia/Tokyo "$a" export -o three.csv
ok 'export does not know locale and zone' cmp one.csv three.csv
exits 74 'export to a full disk' "$a" export -o /dev/full
done_testing
