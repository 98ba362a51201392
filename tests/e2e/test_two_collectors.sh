#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# One collector a store: a second one is refused and told who the first is, people's commands take
# turns with it, readers hold nothing up, and a killed one leaves the way free at once.
# RACES sets how often several start at once (10 by default).
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
races=${RACES:-10}
pids=
trap 'for p in $pids; do kill -KILL "$p" 2>/dev/null; done; rm -rf "$scratch"' EXIT

await() {
    checks=$((checks + 1))
    limit=$(($(date +%s) + $1))
    awaited=$2
    shift 2
    until "$@" >/dev/null 2>&1; do
        if [ "$(date +%s)" -ge "$limit" ]; then
            fail "waited in vain: $awaited"
            return 1
        fi
        sleep 0.05
    done
}
is() { [ "$(sqlite3 -readonly "$1" "$2")" = "$3" ]; }
drop() { # name first-serial
    awk -v f="$2" 'BEGIN { print "id,at,x"; for (i = f; i < f + 30; i++)
        printf "A%06d,%d,%.2f\n", i, 1772600000 + i, 10 + (i * 7919 % 13 - 6) / 100 }' >"spool/one/.$1"
    mv "spool/one/.$1" "spool/one/$1"
}

cat >line.yaml <<'END'
line: two-collectors
zone: Europe/Rome
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds:
  free: {title: item}
stations:
  one:
    folder: spool/one
    time: {column: at, pattern: "%s"}
    item: {kind: free, column: id}
    characteristics:
      x: {column: x, unit: um, subgroup: row, family: individuals, rules: {run_one_side: no}}
END
mkdir -p spool/one
"$a" init --store f.store line.yaml >/dev/null
drop first.csv 1
"$a" collect --follow --settle 0.2 --store f.store >signals 2>log &
first=$!
pids=$first
await 60 'ready' grep -q collector.ready log
await 20 'the first file' is f.store 'SELECT count(*) FROM file' 1

# --- a second one ---------------------------------------------------------------------------------
exits 75 'a second collector' "$a" collect --follow --store f.store
says 'who the first is' "process $first on host $(uname -n)"
exits 75 'a collector that ends' "$a" collect --store f.store spool
says 'who the first is, again' "process $first on host $(uname -n)"
ln -s f.store other.name
exits 75 'by another name' "$a" collect --follow --store other.name

# --- people's commands ----------------------------------------------------------------------------
for command in streams held export verify 'limits show'; do
    # shellcheck disable=SC2086
    exits 0 "$command beside it" "$a" $command --store f.store
done
exits 0 'check beside it' "$a" check --store f.store
"$a" limits propose --all --store f.store >out 2>err
ok 'propose beside it' test "$?" -le 1
exits 0 'lock beside it' "$a" limits lock --all --author 'A. Tester' --reason test --store f.store
sed 's/^line: .*/&\ntitle: Another title/' line.yaml >second.yaml
exits 0 'a new description beside it' "$a" init --store f.store second.yaml
await 20 'which is followed' grep -q 'line.taken: another command stored revision 2' log

# while files keep coming, none of them is refused
k=100
while [ "$k" -lt 130 ]; do
    drop "many-$k.csv" $((k * 100))
    k=$((k + 1))
done &
k=0
while [ "$k" -lt 5 ]; do
    exits 0 'check while files come' "$a" check --store f.store
    k=$((k + 1))
done
wait "$!"
await 60 'all of them' is f.store "SELECT count(*) FROM file WHERE name LIKE 'many-%'" 30

# --- a reader that does not end ---------------------------------------------------------------------
mkfifo question
sqlite3 -readonly f.store <question >answer &
reader=$!
pids="$pids $reader"
exec 4>question
printf 'BEGIN;\nSELECT count(*) FROM file;\n' >&4
await 20 'the reader has begun' test -s answer
before=$(cat answer)
drop under-reader.csv 50000
await 30 'taken under a reader' is f.store \
    "SELECT count(*) FROM file WHERE name = 'under-reader.csv'" 1
printf 'SELECT count(*) FROM file;\nCOMMIT;\nSELECT count(*) FROM file;\n.exit\n' >&4
exec 4>&-
wait "$reader"
same 'it saw one state to its end' "$(sed -n 2p answer)" "$before"
same 'and the new one after' "$(sed -n 3p answer)" $((before + 1))

# --- another program's transaction ------------------------------------------------------------------
sqlite3 f.store <question >answer &
writer=$!
pids="$pids $writer"
exec 4>question
printf "BEGIN IMMEDIATE;\nSELECT 'begun';\n" >&4
await 20 'the writer has begun' grep -q begun answer
drop under-writer.csv 60000
await 60 'said that the store is busy' grep -q 'store.busy: ' log
printf 'ROLLBACK;\n.exit\n' >&4
exec 4>&-
wait "$writer"
await 60 'taken after it' is f.store "SELECT count(*) FROM file WHERE name = 'under-writer.csv'" 1
await 20 'said that it is free' grep -q 'store.free: ' log

# --- killed -----------------------------------------------------------------------------------------
kill -KILL "$first"
wait "$first" 2>/dev/null
drop after-kill.csv 70000
exits 0 'started at once' "$a" collect --follow --settle 0.2 --until-quiet 1 --store f.store
same 'nothing lost, nothing doubled' "$(sqlite3 f.store 'SELECT count(*) || " " || sum(taken) || " "
    || (SELECT count(*) FROM sample) FROM file')" '34 1020 1020'
exits 0 'whole' "$a" verify --store f.store

# --- several at once: always one ---------------------------------------------------------------------
race=0
while [ "$race" -lt "$races" ]; do
    racers=
    for k in 1 2 3 4; do
        "$a" collect --follow --store f.store >/dev/null 2>"race.$k" &
        racers="$racers $!"
    done
    pids="$pids $racers"
    decided() { [ "$(cat race.1 race.2 race.3 race.4 | grep -c 'collector.failed\|collector.ready')" = 4 ]; }
    await 60 'the race is decided' decided
    same 'one is ready' "$(cat race.1 race.2 race.3 race.4 | grep -c collector.ready)" 1
    same 'three are told who' \
        "$(cat race.1 race.2 race.3 race.4 | grep -c 'collector.failed: .*process [0-9]* on host')" 3
    for p in $racers; do
        kill -KILL "$p" 2>/dev/null
        wait "$p" 2>/dev/null
    done
    race=$((race + 1))
done
exits 0 'and one more' "$a" collect --follow --until-quiet 0.1 --store f.store
done_testing
