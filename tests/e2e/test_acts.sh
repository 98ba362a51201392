#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Acts of persons: each command that does one wants an author, writes nothing without, and records
# author, account and machine. A command or a table with an author that is not listed here fails.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
ask() { sqlite3 -readonly line.store "$1"; }

"$a" demo --days 6 line >/dev/null
sed 's/^zone:/keep: {readings: 2 months, originals: 3 months}\nzone:/' line/line.yaml >line/keep.yaml
"$a" init line/keep.yaml >/dev/null
last=$(find line/spool -name 'transfer*' -type f | sort | tail -1)
mkdir later
mv "$last" later/
"$a" collect line/spool >/dev/null 2>&1
# a file from the future, by a clock that is wrong, is held whole
ANDAMENTO_CLOCK=2026-03-02T00:00:00Z "$a" collect "later/$(basename "$last")" \
    --station transfer >/dev/null 2>&1
"$a" limits propose --all >/dev/null 2>&1
cat >study.csv <<'END'
part,operator,reading
a,1,10.1
a,1,10.2
a,2,10.1
a,2,10.3
b,1,12.0
b,1,12.1
b,2,12.2
b,2,12.0
END
stream=$(ask "SELECT name FROM stream ORDER BY name LIMIT 1")
sample=$(ask 'SELECT min(sample_id) FROM sample')
file=$(ask 'SELECT file_id FROM sample ORDER BY sample_id DESC LIMIT 1')
characteristic=$(ask "SELECT t.station || '.' || t.characteristic FROM sample s
    JOIN stream t USING (stream_id) ORDER BY s.sample_id DESC LIMIT 1")
item=$(ask "SELECT serial FROM item WHERE kind = 'tile' LIMIT 1")
link=$(ask "SELECT c.kind || ':' || c.serial || ' --was ' || p.kind || ':' || p.serial
    FROM link k JOIN item c ON c.item_id = k.child_id JOIN item p ON p.item_id = k.parent_id
    GROUP BY k.child_id, k.parent_id HAVING count(*) = 1 LIMIT 1")
held=$(ask 'SELECT code FROM file WHERE state = 1 ORDER BY file_id DESC LIMIT 1')

"$a" key new some.key >/dev/null
key=$(openssl pkey -pubin -in some.key.pub -outform DER | sha256sum | cut -c1-16)

# ---- the list: table, then the command with what else it needs; a reason is added to each --------------
cat >acts <<END
limits_lock|limits lock|$stream
answer|answer|1 --cause worn
release_act|held release|--code $held --as-is
retention|retain|--yes
gauge_study|gauge study|study.csv --gauge G-9 --columns part=part,operator=operator,reading=reading
correction|correct serial|$item --is T-NEVER-SEEN
correction|correct parent|$link --is none
correction|correct unit|$file $characteristic --factor 2
correction|correct withdraw|--sample $sample
correction|correct undo|1
signing_key|key add|some.key.pub
key_retirement|key retire|$key
END
same 'every command that takes an author is listed' \
    "$("$a" --help | sed -n '/^  [a-z]/p' | cut -c3-18 | sed 's/ *$//' | while read -r command; do
        # shellcheck disable=SC2086
        "$a" $command --help | grep -q -- '--author' && echo "$command"
    done | sort | tr '\n' ,)" "$(cut -d'|' -f2 acts | sort -u | tr '\n' ,)"
while IFS='|' read -r table command rest; do
    # shellcheck disable=SC2086
    ok "$command can be signed" sh -c '"$@" | grep -q -- "--key FILE"' sh "$a" $command --help
done <acts
same 'every table with an author is listed' \
    "$(ask "SELECT m.name FROM sqlite_schema m JOIN pragma_table_info(m.name) c
        WHERE m.type = 'table' AND c.name = 'author' ORDER BY 1" | tr '\n' ,)" \
    "$(cut -d'|' -f1 acts | sort -u | tr '\n' ,)"
same 'each of them says by which account and on which machine, and none may be empty' \
    "$(ask "SELECT group_concat(m.name) FROM sqlite_schema m WHERE m.type = 'table' AND EXISTS
        (SELECT 1 FROM pragma_table_info(m.name) c WHERE c.name = 'author') AND
        (SELECT count(*) FROM pragma_table_info(m.name) c WHERE c.name IN
        ('author', 'system_user', 'host', 'reason', 'entry') AND c.\"notnull\") < 5")" ''

"$a" check >/dev/null 2>&1
"$a" limits lock --all --author T --reason first >/dev/null 2>&1
"$a" check >/dev/null 2>&1
"$a" limits propose "$stream" >/dev/null 2>&1
export ANDAMENTO_CLOCK=2026-10-01T00:00:00Z
ok 'there is a signal to answer' test "$(ask 'SELECT count(*) FROM signal')" -gt 0
ok 'something is held' test -n "$held"

while IFS='|' read -r table command rest; do
    entries=$(ask 'SELECT count(*) FROM ledger')
    rows=$(ask "SELECT count(*) FROM $table")
    for author in '' "--author="; do
        # shellcheck disable=SC2086
        exits 64 "$command without an author ($author)" "$a" $command $rest --reason r $author
        says 'so' author
    done
    same "$command: nothing is written then" "$(ask 'SELECT count(*) FROM ledger')" "$entries"
    # shellcheck disable=SC2086
    "$a" $command $rest --author 'A. Person' --reason 'as it is' >out 2>err
    ok "$command with one: $(head -1 err)" test "$(ask "SELECT count(*) FROM $table")" -gt "$rows"
    same "$command: who did it, under which account, where" \
        "$(ask "SELECT author || '/' || reason || '/' || system_user || '/' || host FROM $table
            ORDER BY entry DESC LIMIT 1")" "A. Person/as it is/$(id -un)/$(uname -n)"
    same "$command: its ledger entry says so, too" \
        "$(ask "SELECT payload FROM ledger WHERE entry = (SELECT max(entry) FROM $table)" |
            jq -r '.author + "/" + .system_user + "/" + .host')" "A. Person/$(id -un)/$(uname -n)"
done <acts

# ---- acts without an author: the account answers for them -------------------------------------------------
for table in line_revision limits; do
    same "$table: account and machine" \
        "$(ask "SELECT DISTINCT system_user || '/' || host FROM $table")" "$(id -un)/$(uname -n)"
done
done_testing
