#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# What differs between a moment and now, row by row: every difference is told, nothing else is, and
# each has the act that the store's own tables hold.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
ask() { sqlite3 -readonly line.store "$1"; }
tell() { "$a" "$@" --then-and-now --as-of 2026-06-01; }

"$a" demo --days 6 line >/dev/null
"$a" init line/line.yaml >/dev/null
find line/spool -type f | sort | awk 'NR % 9 == 0' >late
while read -r file; do
    mkdir -p "later/$(dirname "$file")"
    mv "$file" "later/$file"
done <late
export ANDAMENTO_CLOCK=2026-06-01T10:00:00Z
"$a" collect line/spool >/dev/null 2>&1
"$a" limits propose --all >/dev/null 2>&1
"$a" limits lock --all --author T --reason baseline >/dev/null 2>&1
"$a" check >/dev/null 2>&1
"$a" export >then.csv
entries=$(ask 'SELECT count(*) FROM ledger')

for command in export signals 'limits show'; do
    # shellcheck disable=SC2086
    exits 0 "$command: nothing came since" tell $command
    same "$command says so" "$(cat out)" 'the same then and now'
done

# ---- what comes later ---------------------------------------------------------------------------------
export ANDAMENTO_CLOCK=2026-06-02T10:00:00Z
cp -r later/line/spool/. line/spool/
"$a" collect line/spool >/dev/null 2>&1
"$a" limits propose 'luminance.*' >/dev/null 2>&1
"$a" limits lock 'luminance.*' --author U --reason 'more data' >/dev/null 2>&1
"$a" check >/dev/null 2>&1
first=$(ask 'SELECT min(signal_id) FROM signal')
"$a" answer "$first" --author V --cause 'stamp worn' --action changed --reason r >/dev/null
"$a" export >now.csv

# ---- samples -------------------------------------------------------------------------------------------
exits 1 'there are differences' tell export --json
mv out export.json
late_samples=$(ask "SELECT count(*) FROM sample s JOIN file f USING (file_id)
    WHERE f.entry >= $entries AND NOT EXISTS
    (SELECT 1 FROM superseded x WHERE x.sample_id = s.sample_id)")
ok 'late samples came' test "$late_samples" -gt 100
same 'each late sample is new' \
    "$(jq '[.data[] | select(.change == "new")] | length' export.json)" "$late_samples"
jq -r '.data[] | select(.change == "new") | .cause' export.json | sort | uniq -c |
    awk '{ print $4, $1 }' | sort >told
ask "SELECT f.name || ' ' || count(*) FROM sample s JOIN file f USING (file_id)
    WHERE f.entry >= $entries AND NOT EXISTS
    (SELECT 1 FROM superseded x WHERE x.sample_id = s.sample_id) GROUP BY f.file_id" |
    sort >wanted
ok 'each by its own file' cmp told wanted
# rows that are in both exports and are not the same, told by another tool
sort then.csv >then.sorted
sort now.csv >now.sorted
comm -13 then.sorted now.sorted | wc -l >differing
same 'no difference is left out, none is made up' \
    "$(jq '[.data[] | select(.change != "gone") | .row] | unique | length' export.json)" \
    "$(cat differing | tr -d ' ')"
same 'every one has a cause' "$(jq '[.data[] | select(.cause == null)] | length' export.json)" 0
same 'changes of luminance are by the new limits, and whose they are' \
    "$(jq -r '[.data[] | select(.change == "changed" and (.row.stream | startswith("luminance")))
        | .cause_kind + " by " + .who] | unique | join(", ")' export.json)" 'new limits by U'
same 'when it became known' \
    "$(jq -r '[.data[].known_at] | unique | join(", ")' export.json)" 2026-06-02T10:00:00Z

# ---- signals -------------------------------------------------------------------------------------------
exits 1 'signals differ' tell signals --json
same 'the answer, by whom' \
    "$(jq -r ".data[] | select(.row.signal == \"$first\" and .cause_kind == \"answered\") | .who
        + \" \" + (.columns[] | select(.column == \"cause\") | .now)" out)" 'V stamp worn'
same 'signals that went are those withdrawn' \
    "$(jq '[.data[] | select(.change == "gone")] | length' out)" \
    "$(ask "SELECT count(*) FROM signal g WHERE g.entry < $entries AND NOT EXISTS (SELECT 1 FROM hit h
        WHERE h.signal_id = g.signal_id AND NOT EXISTS
        (SELECT 1 FROM hit_withdrawal w WHERE w.hit_id = h.hit_id))")"
same 'every one has a cause' "$(jq '[.data[] | select(.cause == null)] | length' out)" 0
jq -r '.data[] | select(.change == "gone" and .cause_kind == "late file") | .cause' out >gone
while read -r cause; do
    ok "$cause: a file that came later, with samples of the stream" test "$(ask "SELECT count(*) FROM file
        WHERE entry >= $entries AND name = '${cause#withdrawn by late file }'")" -ge 1
done <gone
exits 66 'a stream that was not known then' "$a" export transfer.nothing --then-and-now --as-of 2026-06-01
says 'so' "no stream 'transfer.nothing' was known at that moment"
exits 1 'signals that are open no longer' tell signals --open --json
same 'gone, as it was answered' \
    "$(jq -r ".data[] | select(.row.signal == \"$first\") | .change + \" \" + .who" out)" 'gone V'

# ---- limits --------------------------------------------------------------------------------------------
exits 1 'limits differ' tell limits show --json
same 'those of luminance, by their lock' \
    "$(jq -r '[.data[].row.stream] | sort | join(" ")' out)" \
    "$(ask "SELECT name FROM stream WHERE name LIKE 'luminance.%' ORDER BY name" | tr '\n' ' ' |
        sed 's/ $//')"
same 'who' "$(jq -r '[.data[].who] | unique | join(" ")' out)" U
exits 1 'as a table' tell limits show
ok 'with then and now' grep -q 'author T -> U; reason baseline -> more data' out
exits 1 'as CSV' tell limits show --csv
same 'its columns' "$(head -1 out)" 'change,row,then -> now,cause,who,when'

# ---- what cannot be asked --------------------------------------------------------------------------------
exits 64 'without a moment' "$a" export --then-and-now
says 'so' 'wants --as-of TIME'
exits 64 'into a file' tell export -o x.csv
says 'so' 'leave --output out'
ok 'no file' test ! -e x.csv
exits 64 'a command without rows' "$a" report week --as-of 2026-06-01 --then-and-now -o w.pdf
exits 66 'before anything' "$a" export --as-of 2020-01-01 --then-and-now
says 'so' 'nothing was known yet'
same 'nothing is written' "$(cat out)" ''
done_testing
