#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A collector that follows: what arrives in every way that files arrive, trouble that passes, signals
# told, and how it ends. Nothing sleeps to wait: `await` looks for an event, with a time limit.
# FILES sets how many files come while the collector is stopped (400 by default).
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
unset ANDAMENTO_CLOCK # stations are silent by the clock on the wall
a=$ANDAMENTO
files=${FILES:-400}
pids=
trap 'for p in $pids; do kill -KILL "$p" 2>/dev/null; done; rm -rf "$scratch"' EXIT

# await SECONDS TEXT COMMAND...: until the command succeeds
await() {
    checks=$((checks + 1))
    limit=$(($(date +%s) + $1))
    awaited=$2
    shift 2
    until "$@" >/dev/null 2>&1; do
        if [ "$(date +%s)" -ge "$limit" ]; then
            fail "waited in vain: $awaited"
            tail -5 log 2>/dev/null >&2
            return 1
        fi
        sleep 0.05
    done
}
logs() { grep -q -- "$1" log; }
ask() { sqlite3 -readonly "$1" "$2"; }
is() { [ "$(ask "$1" "$2")" = "$3" ]; }
rows() { # first-serial count: rows whose x is steady
    awk -v f="$1" -v n="$2" 'BEGIN { print "id,at,x,y,z"
        for (i = f; i < f + n; i++) printf "A%06d,%d,%.3f,%.3f,%.3f\n", i, 1772600000 + i,
            10 + (i * 7919 % 13 - 6) / 100, 20 + (i * 104729 % 17 - 8) / 100, 5 + (i * 5 % 11 - 5) / 100 }'
}
drop() { # name first-serial count: written aside, renamed into place
    rows "$2" "$3" >"spool/one/.$1"
    mv "spool/one/.$1" "spool/one/$1"
}
follow() { # log-file options...
    follow_log=$1
    shift
    "$a" collect --follow --store f.store --settle 0.5 --scan 60 --line line.yaml "$@" \
        >signals 2>"$follow_log" &
    follower=$!
    pids="$pids $follower"
}
ends() { # WANTED TEXT: the follower's exit status
    checks=$((checks + 1))
    wait "$follower"
    got=$?
    [ "$got" -eq "$1" ] || fail "$2: exit status $got, wanted $1; $(tail -3 log)"
}

cat >line.yaml <<'END'
line: follow-test
zone: Europe/Rome
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds:
  free: {title: item}
stations:
  one:
    folder: spool/one
    time: {column: at, pattern: "%s"}
    item: {kind: free, column: id}
    silent_after: 1 h
    characteristics:
      x: {column: x, unit: um, subgroup: row, family: individuals, rules: {run_one_side: no}}
      y: {column: y, unit: um, subgroup: row, family: individuals, rules: {run_one_side: no}}
      z: {column: z, unit: um, subgroup: row, family: individuals, rules: {run_one_side: no}}
  two:
    folder: spool/two
    format: {end_marker: END}
    time: {column: at, pattern: "%s"}
    item: {kind: free, column: id}
    characteristics:
      x: {column: x, unit: um, subgroup: row, family: individuals, rules: {run_one_side: no}}
END
mkdir -p spool/one spool/two
cat >command <<'END'
#!/bin/sh
# what it does is written in the file named by its argument
case $(cat "$1") in
record) cat >>"$1.json"; echo "told $2" ;;
hang) exec sleep 600 ;;
*) echo "cannot" >&2; exit 7 ;;
esac
END
chmod +x command
cc -o listener "$AN_SOURCE_DIR/tests/e2e/notify_listener.c" || fail 'listener'

# --- usage --------------------------------------------------------------------------------------
exits 0 init "$a" init --store f.store line.yaml
exits 64 'no path' "$a" collect --store f.store
exits 64 'path and follow' "$a" collect --follow --store f.store spool
says 'path and follow' 'no PATH'
exits 64 'dry run' "$a" collect --follow --dry-run --store f.store
exits 64 'an option of following only' "$a" collect --settle 3 --store f.store spool
says 'an option of following only' '--settle wants --follow'
exits 64 'no number' "$a" collect --follow --settle soon --store f.store
exits 64 'argument without command' "$a" collect --follow --on-signal-arg x --store f.store
exits 66 'no store' "$a" collect --follow --store none.store
sed 's/folder: .*/folder: ""/' line.yaml >bad.yaml
exits 78 'line that is wrong' "$a" collect --follow --store f.store --line bad.yaml
exits 66 'line that is missing' "$a" collect --follow --store f.store --line none.yaml

# --- readiness, files that come whole ------------------------------------------------------------
./listener @andamento-$$ >notes &
pids="$pids $!"
await 20 'the listener' grep -q listening notes
drop before.csv 1 30
echo record >mode
NOTIFY_SOCKET=@andamento-$$ WATCHDOG_USEC=2000000 follow log -v --on-signal ./command \
    --on-signal-arg mode --on-signal-arg 'two words; $(no shell)' --on-signal-limit 1
await 60 'ready' grep -q '^READY=1' notes
ok 'ready only after the first scan' grep -q 'collector.ready: follows 2 folders, 1 file there' log
await 20 'status' grep -q '^STATUS=2 of 2 folders' notes
await 20 'what was there before' is f.store "SELECT count(*) FROM file WHERE name = 'before.csv'" 1
drop renamed.csv 100 30
await 20 'a renamed file' is f.store "SELECT count(*) FROM file WHERE name = 'renamed.csv'" 1

# in pieces, the writer never closing it; then in pieces, closing it each time
rows 200 30 >whole
(
    exec 3>spool/one/slow.csv
    split -b 100 whole piece.
    for piece in piece.*; do
        cat "$piece" >&3
        sleep 0.1
    done
)
(
    for piece in piece.*; do
        cat "$piece" >>spool/two/slow.csv
        sleep 0.02
    done
    echo END >>spool/two/slow.csv
)
await 30 'written slowly' is f.store "SELECT count(*) FROM file WHERE name = 'slow.csv'" 2
same 'never taken half' "$(ask f.store "SELECT min(taken) || ' ' || max(taken) || ' ' || sum(held)
    FROM file WHERE name = 'slow.csv'")" '30 30 0'
await 20 'signs of life' grep -q '^WATCHDOG=1' notes

# --- what is left alone ---------------------------------------------------------------------------
echo x >elsewhere.csv
ln -s "$scratch/elsewhere.csv" spool/one/link.csv
await 20 'a link' logs 'name.no-file: .*link.csv: is a symbolic link'
mkfifo spool/one/pipe.csv
await 20 'a pipe' logs 'name.no-file: .*pipe.csv: is a pipe'
rm spool/one/link.csv spool/one/pipe.csv

# --- a folder that goes and comes back --------------------------------------------------------------
mv spool/one away
await 20 'folder gone' logs 'folder.gone: .*spool/one'
rows 300 30 >away/back.csv
mv away spool/one
await 60 'folder back' logs 'folder.back: .*spool/one.* again after'
await 30 'what came meanwhile' is f.store "SELECT count(*) FROM file WHERE name = 'back.csv'" 1
same 'said once' "$(grep -c folder.gone log)" 1

# --- events lost ----------------------------------------------------------------------------------
kill -STOP "$follower"
i=0
most=$(cat /proc/sys/fs/inotify/max_queued_events)
while [ "$i" -lt "$most" ]; do # two names in turn: equal events that follow each other are one
    : >spool/one/.a
    : >spool/one/.b
    i=$((i + 2))
done
awk -v n="$files" 'BEGIN { for (i = 0; i < n; i++) { f = "spool/one/many-" i ".csv"
    printf "id,at,x,y,z\nB%06d,%d,%.3f,%.3f,%.3f\n", i, 1772700000 + i,
        10 + (i * 7919 % 13 - 6) / 100, 20 + (i * 104729 % 17 - 8) / 100,
        5 + (i * 5 % 11 - 5) / 100 >f; close(f) } }'
kill -CONT "$follower"
await 60 'events lost' logs 'events.lost'
await 300 'every file of the flood' is f.store \
    "SELECT count(*) FROM file WHERE name LIKE 'many-%'" "$files"
rm spool/one/many-*.csv spool/one/.a spool/one/.b

# --- the description, read again ------------------------------------------------------------------
cp line.yaml good.yaml
sed 's/^line: follow-test/line: follow-test\ntitle: A line that is followed/' good.yaml >line.yaml
kill -HUP "$follower"
await 20 'a new revision' logs 'line.taken: line.yaml is revision 2'
await 20 'told as reloading' grep -q '^RELOADING=1' notes
await 20 'with its time' grep -q '^MONOTONIC_USEC=[0-9]' notes
echo '  - {' >>line.yaml
kill -HUP "$follower"
await 20 'a bad one' logs 'line.refused: .*goes on by revision 2'
ok 'its mistakes' logs 'line.mistake: line.yaml:[0-9]*:[0-9]*: '
cp good.yaml line.yaml
drop after.csv 400 30
await 20 'still followed' is f.store "SELECT count(*) FROM file WHERE name = 'after.csv'" 1
same 'revisions' "$(ask f.store 'SELECT count(*) FROM line_revision')" 2

# --- limits by a person meanwhile; signals ----------------------------------------------------------
"$a" limits propose --all --store f.store >out 2>err # with remarks on the made-up values, or not
ok 'propose beside it' test "$?" -le 1
exits 0 'lock beside it' "$a" limits lock --all --author 'A. Tester' --reason test --store f.store
rows 500 5 | awk -F, -v OFS=, 'NR == 4 { $3 = 99 } { print }' >spool/one/.off-x
mv spool/one/.off-x spool/one/off-x.csv
await 30 'the signal on standard output' grep -q 'one\.x' signals
await 30 'the command' logs 'command.done: signal [0-9]*: the command ended with exit status 0'
ok 'what it said' logs 'command.says: signal [0-9]*: told two words; $(no shell)'
ok 'the signal as JSON' jq -e '.schema == "andamento.signal.1" and .data.station == "one"
    and .data.characteristic == "x" and .data.hits[0].value == 99 and (.data.sentence | length > 20)
    and .data.open' mode.json
echo hang >mode
rows 600 5 | awk -F, -v OFS=, 'NR == 4 { $4 = 99 } { print }' >spool/one/.off-y
mv spool/one/.off-y spool/one/off-y.csv
await 30 'a command that hangs' logs 'command.failed: .*had not ended by itself within 1.0 s'
echo fail >mode
rows 700 5 | awk -F, -v OFS=, 'NR == 4 { $5 = 99 } { print }' >spool/one/.off-z
mv spool/one/.off-z spool/one/off-z.csv
await 30 'a command that fails' logs 'command.failed: .*exit status 7'
ok 'its complaint' logs 'command.says: .*cannot'
same 'three lines' "$(grep -c . signals)" 3
await 20 'each in the diary' is f.store \
    'SELECT count(*) FROM collector_event WHERE act = 4' "$(grep -c . signals)"

# --- ending ---------------------------------------------------------------------------------------
awk 'BEGIN { print "id,at,x,y,z"; for (i = 0; i < 60000; i++)
    printf "C%d,%d,10,20,5\n", i, 1772800000 + i }' >spool/one/.big
mv spool/one/.big spool/one/big.csv
has_big() { ls -l "/proc/$follower/fd" | grep -q 'big.csv'; }
await 30 'the file in hand' has_big
kill -TERM "$follower"
ends 0 'asked to end'
ok 'said' logs 'collector.stopping'
same 'the file in hand was finished' \
    "$(ask f.store "SELECT taken FROM file WHERE name = 'big.csv'")" 60000
same 'the diary' "$(ask f.store "SELECT group_concat(act, ' ') FROM
    (SELECT act FROM collector_event ORDER BY event_id)")" '1 4 4 4 2'
ok 'stopping told' grep -q '^STOPPING=1' notes

awk 'BEGIN { print "id,at,x,y,z"; for (i = 0; i < 60000; i++)
    printf "D%d,%d,10,20,5\n", i, 1772800000 + i }' >spool/one/.big
mv spool/one/.big spool/one/big2.csv
follow log
has_big() { ls -l "/proc/$follower/fd" | grep -q 'big2.csv'; }
await 30 'the next file in hand' has_big
kill -TERM "$follower"
await 10 'noted' true
kill -TERM "$follower" 2>/dev/null
ends 0 'asked twice'
taken=$(ask f.store "SELECT count(*) FROM file WHERE name = 'big2.csv'")
echo "asked twice to end: the file in hand was $([ "$taken" = 0 ] && echo undone || echo finished)"
exits 0 'whole' "$a" verify --store f.store
follow log --until-quiet 1
ends 0 'until quiet'
same 'taken at last' "$(ask f.store "SELECT taken FROM file WHERE name = 'big2.csv'")" 60000
same 'no signal told twice' "$(grep -c . signals)" 0

# --- killed between signal and diary: told once more, never left out ---------------------------------
sqlite3 f.store 'SELECT max(signal_id) FROM signal' >last-signal
echo hang >mode
rows 800 40 | awk -F, -v OFS=, 'NR > 30 { $3 = 50 } { print }' >spool/one/.off-again
mv spool/one/.off-again spool/one/off-again.csv
follow log --on-signal ./command --on-signal-arg mode --on-signal-limit 60
await 30 'a new signal' sh -c 'test -s signals'
kill -KILL "$follower"
wait "$follower" 2>/dev/null
echo record >mode
rm -f mode.json
follow log --on-signal ./command --on-signal-arg mode --until-quiet 1
ends 0 'after being killed'
ok 'told once more' jq -e '.data.signal_id > 0' mode.json

# --- silence, disk, journal -------------------------------------------------------------------------
sed 's/silent_after: 1 h/silent_after: 2 s/' good.yaml >line.yaml
follow log
await 30 'silent' logs 'station.silent: one: silent since 2'
drop heard.csv 900 30
await 30 'heard again' logs 'station.back: one: a file came after'
kill -TERM "$follower"
ends 0 'silence'
cp good.yaml line.yaml
follow log --least-free 900000000
await 20 'a disk that is too small' logs 'disk.low: .* nothing is taken in'
drop later.csv 1000 30
kill -TERM "$follower"
ends 0 'disk'
same 'nothing taken' "$(ask f.store "SELECT count(*) FROM file WHERE name = 'later.csv'")" 0
ok 'the source is where it was' test -s spool/one/later.csv
: >log
JOURNAL_STREAM=$(stat -c '%d:%i' log) follow log --until-quiet 1
ends 0 'under the journal'
ok 'priorities' grep -q '^<6>collector.ready: ' log
ok 'on every line' sh -c '! grep -v "^<[3-7]>[a-z-]*\.[a-z-]*: " log'
same 'taken now' "$(ask f.store "SELECT count(*) FROM file WHERE name = 'later.csv'")" 1

# --- a file that may not be read; root may read anything ---------------------------------------------
if [ "$(id -u)" = 0 ] && command -v setpriv >/dev/null; then
    mkdir -p other/spool/one other/spool/two
    cp good.yaml other/line.yaml
    "$a" init --store other/f.store other/line.yaml >/dev/null
    rows 1 5 >other/spool/one/shut.csv
    chmod 000 other/spool/one/shut.csv
    chmod 755 "$scratch"
    chown -R 65534:65534 other
    setpriv --reuid=65534 --regid=65534 --clear-groups "$a" collect --follow --settle 0.5 \
        --store other/f.store >/dev/null 2>log &
    follower=$!
    pids="$pids $follower"
    await 20 'a file that may not be read' logs 'file.fails: .*shut.csv'
    chmod 644 other/spool/one/shut.csv
    await 30 'readable again' logs 'file.readable: .*shut.csv: could be read after'
    kill -TERM "$follower"
    ends 0 'not permitted'
    same 'taken' "$(ask other/f.store 'SELECT count(*) FROM file')" 1
fi
exits 0 'whole at the end' "$a" verify --store f.store
done_testing
