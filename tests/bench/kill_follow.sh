#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A following collector killed with SIGKILL at random moments while files arrive, started again each
# time: nothing is lost, nothing is doubled, the ledger is whole, and the store tells the same as one
# collected and checked in one go from the same files.
# KILLS: how often (2,000 by default); EACH: kills in the life of one store (100); SEED: where the
# random moments start. Needs ANDAMENTO and AN_SOURCE_DIR as the end-to-end scripts do.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
kills=${KILLS:-2000}
each=${EACH:-100}
seed=${SEED:-20260302}
follower=
trap '[ -z "$follower" ] || kill -KILL "$follower" 2>/dev/null; rm -rf "$scratch"' EXIT
echo "seed $seed, $kills kills, $each in the life of a store"

cat >line.yaml <<'END'
line: kill-test
zone: UTC
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds:
  free: {title: item}
  lot: {title: lot}
stations:
  one:
    folder: spool/one
    time: {column: at, pattern: "%s"}
    item: {kind: free, column: id}
    links: [{column: lot, kind: lot}]
    characteristics:
      x: {column: x, unit: um, family: individuals, rules: {run_one_side: no}}
      y: {column: y, unit: um, family: individuals, rules: {run_one_side: no}}
  two:
    folder: spool/two
    format: {end_marker: END}
    time: {column: at, pattern: "%s"}
    item: {kind: free, column: id}
    characteristics:
      x: {column: x, unit: um, family: individuals, rules: {run_one_side: no}}
END

ask() { sqlite3 -readonly -cmd '.timeout 10000' "$1" "$2"; }
next() { # a number below $1 into $drawn
    seed=$(((seed * 1103515245 + 12345) % 2147483648))
    drawn=$((seed / 8 % $1))
}
# Rows first..first+count-1 of a sheet; every seventh file has readings that signal, every fifth row
# that is held.
rows() { # first count bad
    awk -v f="$1" -v n="$2" -v bad="$3" 'BEGIN { print "id,lot,at,x,y"
        for (i = f; i < f + n; i++) printf "A%06d,L%03d,%d,%.3f,%s\n", i, i / 10, 1772600000 + i,
            10 + (i * 7919 % 13 - 6) / 100 + (bad == 1 ? 1 : 0),
            bad == 2 && i % 5 == 0 ? "none" : sprintf("%.3f", 20 + (i * 104729 % 17 - 8) / 100) }'
}
bad_of() { # number: into $bad
    bad=0
    [ $(($1 % 7)) -ne 0 ] || bad=1
    [ $(($1 % 5)) -ne 0 ] || bad=2
}
# The next file arrives, in one of the ways that files do; number $number, its name in order.
drop() {
    number=$((number + 1))
    name=$(printf 'f%06d.csv' "$number")
    first=$((number * 10))
    bad_of "$number"
    next 6
    case $drawn in
    0) # in two pieces, with an end marker
        rows "$first" 10 0 | cut -d, -f1,3,4 >whole
        head -n 4 whole >"spool/two/$name"
        { tail -n +5 whole && echo END; } >>"spool/two/$name" ;;
    1) # some rows of the file before it, in another order, and new ones
        {
            rows "$first" 10 "$bad"
            bad_of $((number - 1))
            rows $((first - 10)) 10 "$bad" | tail -n 5 | sort -r
        } >"spool/one/.$name"
        mv "spool/one/.$name" "spool/one/$name" ;;
    2) # a copy of a file that may have been taken
        next "$number"
        copied=$(printf 'f%06d.csv' "$((drawn > 0 ? drawn : 1))")
        { cat "spool/one/$copied" 2>/dev/null || rows "$first" 10 "$bad"; } >"spool/one/.$name"
        mv "spool/one/.$name" "spool/one/$name" ;;
    *)
        rows "$first" 10 "$bad" >"spool/one/.$name"
        mv "spool/one/.$name" "spool/one/$name" ;;
    esac
}
begin() { # store: made, thirty samples of a quiet line taken, limits of them locked
    "$a" init --store "$1" line.yaml >/dev/null || fail "init $1"
    "$a" collect --store "$1" --station one start.csv >/dev/null || fail "start $1"
    "$a" limits propose --store "$1" --all >/dev/null 2>&1 # with a warning: readings of few steps
    "$a" limits lock --store "$1" --all --author T --reason baseline >/dev/null 2>&1 ||
        fail "limits $1"
}
follow() {
    "$a" collect --follow --store cut.store --line line.yaml --settle 0.1 --scan 1 --least-free 1 \
        -q >/dev/null 2>>log &
    follower=$!
}
# What a store tells of files, held rows and links, without numbers and clocks; the export has samples,
# limits and the rules that each sample met. Of rows that came in two files the first one taken has
# them, and which files are first is for the arrivals to say; so is whether hits are one signal or two,
# which is told by what lay between them when they were judged.
told() {
    ask "$1" "SELECT station, state, rows_in, taken + duplicate, held, blank, hex(hash) FROM file;
        SELECT hex(f.hash), h.line_no, h.code FROM held h JOIN file f USING (file_id);
        SELECT c.serial, p.serial FROM link JOIN item c ON c.item_id = child_id
            JOIN item p ON p.item_id = parent_id;"
}
wait_until_taken() { # every file that lies there is a file of the store or a sighting
    limit=$(($(date +%s) + 60))
    wanted=$(find spool -type f | wc -l)
    until [ "$(ask cut.store "SELECT (SELECT count(*) FROM file) - 1
            + (SELECT count(DISTINCT path) FROM file_sighting)")" -ge "$wanted" ]; do
        if [ "$(date +%s)" -ge "$limit" ]; then
            fail "not everything was taken: $wanted files lie there"
            tail -n 5 log >&2
            return
        fi
        sleep 0.05
    done
}

unset ANDAMENTO_CLOCK
rows 1 30 0 >start.csv
done_kills=0
landed=0
files=0
while [ "$done_kills" -lt "$kills" ] && [ "$failures" -eq 0 ]; do
    rm -rf cut.store* whole.store* spool
    mkdir -p spool/one spool/two
    : >log
    number=10
    begin cut.store
    k=0
    while [ "$k" -lt "$each" ] && [ "$done_kills" -lt "$kills" ]; do
        next 3
        for _ in $(seq "$drawn"); do drop; done
        follow
        next 60
        sleep "0.0$((drawn / 10))$((drawn % 10))"
        drop # while it runs
        next 90
        sleep "0.0$((drawn / 10))$((drawn % 10))"
        kill -KILL "$follower" 2>/dev/null && landed=$((landed + 1))
        wait "$follower" 2>/dev/null
        k=$((k + 1))
        done_kills=$((done_kills + 1))
    done
    follow
    drop # only a follower that runs takes it: one killed before it catches signals would end with 143
    wait_until_taken
    kill -TERM "$follower"
    wait "$follower" 2>/dev/null || fail "the last one ended with $?: $(tail -n 3 log)"
    follower=
    exits 0 "verify after $done_kills kills" "$a" verify --store cut.store
    begin whole.store
    "$a" collect --store whole.store spool >/dev/null 2>&1
    "$a" check --store whole.store >/dev/null 2>&1
    "$a" check --store cut.store >/dev/null 2>&1
    for store in cut whole; do
        told $store.store | sort >$store.told
        "$a" export --store $store.store -o $store.csv >/dev/null 2>&1
        cut -d, -f1-29 $store.csv | sort >$store.sorted
    done
    ok "told after $done_kills kills" cmp cut.told whole.told
    ok "content after $done_kills kills" cmp cut.sorted whole.sorted
    same 'no doubled sample' "$(ask cut.store "SELECT count(*) - count(DISTINCT
        stream_id || ' ' || item_id || ' ' || at_us) FROM sample")" 0
    same 'no lost reading' "$(ask cut.store "SELECT count(DISTINCT at_us) FROM sample")" \
        "$(ask whole.store "SELECT count(DISTINCT at_us) FROM sample")"
    files=$((files + $(find spool -type f | wc -l)))
    if [ "$failures" -gt 0 ]; then
        echo "stores kept in ${KEEP:=$(mktemp -d)}"
        cp -r . "$KEEP"
    fi
done
hits=$(ask cut.store 'SELECT count(*) FROM hit')
echo "$landed of $done_kills kills struck a running collector; $files files; $hits hits in the last store"
ok 'there was something to signal' test "$hits" -gt 0
ok 'most kills struck' test "$landed" -ge $((done_kills / 2))
done_testing
