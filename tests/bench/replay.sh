#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Hours of the demonstration line's arrivals given to a following collector at a multiple of their
# speed, each file at the moment at which its last row was written: every file is taken, memory is as
# flat in the last tenth as in the first, and what is stored and signalled is what one collect and one
# check of the same files give.
# HOURS (8) from FROM (the early shift of the sixth day), SPEED (100, so 288 s), DAYS of the
# demonstration (8). Needs ANDAMENTO and AN_SOURCE_DIR as the end-to-end scripts do.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
hours=${HOURS:-8}
speed=${SPEED:-100}
from=$(date -u -d "${FROM:-2026-03-07T05:00:00Z}" +%s)
follower=
trap '[ -z "$follower" ] || kill -KILL "$follower" 2>/dev/null; rm -rf "$scratch"' EXIT
ask() { sqlite3 -readonly -cmd '.timeout 10000' "$1" "$2"; }
now() { echo $(($(date +%s%N) / 1000000)); } # ms

# The arrivals, from a store that takes them all: when each file was complete, and where it lies.
"$a" demo --days "${DAYS:-8}" line >/dev/null || fail demo
"$a" init --store all.store line/line.yaml >/dev/null
"$a" collect --store all.store line/spool >/dev/null 2>&1
ask all.store "SELECT (coalesce(last_us, modified_us) / 1000000) || ' ' || path FROM file" |
    sort -n >arrivals
until=$((from + hours * 3600))
awk -v f="$from" '$1 < f { print $2 }' arrivals >earlier
awk -v f="$from" -v u="$until" '$1 >= f && $1 < u' arrivals >shift
files=$(wc -l <shift)
echo "$files files of $hours h at $speed times their speed, $(wc -l <earlier) before them"

# Two lines that start alike: the earlier files taken, limits learned from them and locked.
for store in follow batch; do
    mkdir -p $store
    cp line/line.yaml $store/
    (cd line && find spool -type d) | (cd $store && xargs mkdir -p)
    while read -r path; do cp "$path" "$store/${path#line/}"; done <earlier
    "$a" init --store $store.store $store/line.yaml >/dev/null
    "$a" collect --store $store.store $store/spool >/dev/null 2>&1
    "$a" limits propose --store $store.store --all >/dev/null 2>&1
    "$a" limits lock --store $store.store --all --author T --reason baseline >/dev/null 2>&1
    "$a" check --store $store.store >/dev/null 2>&1
done
before=$(ask follow.store 'SELECT count(*) FROM file')
signals_before=$(ask follow.store 'SELECT count(*) FROM signal')

unset ANDAMENTO_CLOCK
"$a" collect --follow --store follow.store --line follow/line.yaml --settle 0.5 --scan 5 \
    --least-free 1 >told 2>log &
follower=$!
limit=$(($(date +%s) + 60))
until grep -q collector.ready log || [ "$(date +%s)" -ge "$limit" ]; do sleep 0.1; done
ok 'ready' grep -q collector.ready log

# The clock of the replay. Memory is looked at every hundredth of it.
start=$(now)
span=$((hours * 3600000 / speed))
: >memory
(
    while [ $(($(now) - start)) -lt $((span + 1000)) ] && [ -d /proc/$follower ]; do
        awk -v at=$(($(now) - start)) '/^VmRSS/ { print at, $2 }' /proc/$follower/status >>memory
        sleep "$(awk -v s=$span 'BEGIN { printf "%.3f", s / 100000 }')"
    done
) &
sampler=$!
while read -r at path; do
    pause=$((start + (at - from) * 1000 / speed - $(now)))
    [ "$pause" -le 0 ] || sleep "$(awk -v p=$pause 'BEGIN { printf "%.3f", p / 1000 }')"
    cp "$path" "follow/${path#line/}.part" # under a name that no station has, then renamed
    mv "follow/${path#line/}.part" "follow/${path#line/}"
    cp "$path" "batch/${path#line/}"
done <shift
wait $sampler
limit=$(($(date +%s) + 60))
until [ "$(ask follow.store 'SELECT count(*) FROM file')" -ge $((before + files)) ] ||
    [ "$(date +%s)" -ge "$limit" ]; do
    sleep 0.2
done
kill -TERM "$follower"
wait "$follower" || fail "the collector ended with $?: $(tail -n 3 log)"
follower=
same 'every file was taken' "$(ask follow.store 'SELECT count(*) FROM file')" $((before + files))
exits 0 verify "$a" verify --store follow.store

# Medians of resident memory over the first and the last tenth of the replay.
tenth() { # from-ms until-ms
    awk -v f="$1" -v u="$2" '$1 >= f && $1 < u { print $2 }' memory | sort -n |
        awk '{ v[NR] = $1 } END { print v[int((NR + 1) / 2)] + 0 }'
}
first=$(tenth 0 $((span / 10)))
last=$(tenth $((span * 9 / 10)) $((span + 1000)))
most=$(awk '$2 > m { m = $2 } END { print m }' memory)
echo "resident memory, KiB: $first in the first tenth, $last in the last, $most at most," \
    "$(wc -l <memory) samples"
# The store's cache (8 MiB) and the largest file's buffers are filled once, which in a short replay is
# after its first tenth.
checks=$((checks + 1))
[ "$last" -gt 0 ] && [ "$last" -le $((first + 24576)) ] || fail "memory grows: $first to $last KiB"

"$a" collect --store batch.store batch/spool >/dev/null 2>&1
"$a" check --store batch.store >/dev/null 2>&1
for store in follow batch; do
    ask $store.store "SELECT name, station, state, rows_in, taken, duplicate, held, blank FROM file;
        SELECT t.station, t.characteristic, t.split, s.panel, s.side, s.rule, s.first_us,
            s.signal_us FROM signal s JOIN stream t USING (stream_id);
        SELECT f.name, h.line_no, h.code FROM held h JOIN file f USING (file_id);" |
        sort >$store.told
    "$a" export --store $store.store -o $store.csv >/dev/null 2>&1
    # less the batch upstream: it is what the links told when the file was taken, and the order of
    # arrivals is another than that of names
    cut -d, -f1-27,29- $store.csv | sort >$store.sorted
done
ok 'files, held rows and signals of a batch collect' cmp follow.told batch.told
ok 'samples, limits and judgements of a batch collect' cmp follow.sorted batch.sorted
signals=$(ask follow.store 'SELECT count(*) FROM signal')
echo "$((signals - signals_before)) new signals, $(wc -l <told) told"
same 'each new signal is told once' "$(wc -l <told)" $((signals - signals_before))
[ "$failures" -eq 0 ] || { [ -z "${KEEP:-}" ] || cp -r . "$KEEP"; }
done_testing
