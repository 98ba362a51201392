#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# How long collect takes beside general tools on the same input, all in one run: medians of RUNS=5
# rounds, in each of which every tool has its turn, since machines are not as fast at all times.
#   FILES=20 ROWS=250000 SMALL=2000 THREADS=2 sh tests/bench/collect.sh PROGRAM [BENCH_FOLDER]
# BENCH_FOLDER holds bench_make and bench_read (ninja bench_make bench_read); without it they are
# compiled here. Nothing is asserted. Needs cc, libcsv and sqlite3.
set -eu
program=$(realpath "${1:?the built program}")
here=$(dirname "$(realpath "$0")")
files=${FILES:-20}
rows=${ROWS:-250000}
small=${SMALL:-2000}
threads=${THREADS:-2}
runs=${RUNS:-5}
work=$(mktemp -d "${TMPDIR:-/tmp}/an-bench-XXXXXX")
trap 'rm -rf "$work"' EXIT
if [ -n "${2:-}" ]; then
    tools=$(realpath "$2")
else
    tools=$work
    flags="-O2 -std=c17 -D_POSIX_C_SOURCE=200809L"
    # shellcheck disable=SC2086
    cc $flags -o "$work/bench_make" "$here/bench_make.c"
    # shellcheck disable=SC2086
    cc $flags -o "$work/bench_read" "$here/bench_read.c" -lcsv
fi
cd "$work"

echo "machine: $(lscpu | sed -n 's/^Model name: *//p'), $(nproc) processors, $(awk '/MemTotal/ {
    printf "%.0f GiB", $2 / 1048576 }' /proc/meminfo), $(uname -sr)"
echo "disk: $(df -T . | awk 'NR == 2 { print $1, $2 }'); load before: $(cut -d' ' -f1-3 /proc/loadavg)"

cat >line.yaml <<'YAML'
line: bench
zone: UTC
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds: {tile: {product: yes}}
stations:
  transfer:
    time: {column: placed_at}
    item: {kind: tile, column: tile_id}
    characteristics:
      dx: {column: dx_um, unit: um, split: [head, colour], grid: {row: site_row, column: site_col}}
      dy: {column: dy_um, unit: um, split: [head, colour], grid: {row: site_row, column: site_col}}
YAML

make() { # kind folder files rows
    mkdir "$2"
    "$tools/bench_make" "$1" "$2" "$3" "$4"
    cat "$2"/* >/dev/null
    echo "$2: $3 files of $4 rows, $(du -sb --apparent-size "$2" | cut -f1) bytes"
}

seconds() { # command...: wall seconds, output dropped
    from=$(date +%s.%N)
    "$@" >/dev/null 2>&1
    echo "$(date +%s.%N) $from" | awk '{ printf "%.4f\n", $1 - $2 }'
}

peak_of() { # folder: peak resident memory of collect in KiB
    "$program" collect --quiet --threads "$threads" --station transfer "$1" >/dev/null 2>&1 &
    pid=$!
    most=0
    while now=$(sed -n 's/^VmHWM:[^0-9]*\([0-9]*\) kB/\1/p' "/proc/$pid/status" 2>/dev/null) &&
        [ -n "$now" ]; do
        most=$now
        sleep 0.01
    done
    wait "$pid" || true
    echo "$most"
}

fresh() {
    rm -rf line.store*
    "$program" init line.yaml >/dev/null
}

collect() { # folder threads
    "$program" collect --quiet --threads "$2" --station transfer "$1"
}

import() { # folder: the sqlite3 shell imports every file, then groups
    rm -f import.db
    {
        echo 'CREATE TABLE r (tile_id, head, site_row, site_col, colour, dx_um, dy_um, placed_at);'
        echo 'BEGIN;'
        for file in "$1"/*; do
            echo ".import --csv --skip 1 $file r"
        done
        echo 'COMMIT;'
        echo 'SELECT tile_id, head, colour, count(*), avg(dx_um), avg(dx_um * dx_um), avg(dy_um),'
        echo ' avg(dy_um * dy_um) FROM r GROUP BY tile_id, head, colour;'
    } >import.sql
    sqlite3 import.db <import.sql
}

note() { # name seconds
    echo "$2" >>"times.$1"
}

median() { # name
    sort -n "times.$1" | awk '{ at[NR] = $1 } END {
        print NR % 2 ? at[(NR + 1) / 2] : (at[NR / 2] + at[NR / 2 + 1]) / 2 }'
}

ratio() { # text name reference
    echo "$(median "$2") $(median "$3")" | awk -v text="$1" '{ printf "  %-58s %6.2f\n", text, $1 / $2 }'
}

make dense dense "$files" "$rows"
make dense tenfold $((files * 10)) "$rows"
make small small "$small" 50

run=0
while [ $run -lt "$runs" ]; do
    run=$((run + 1))
    note newlines "$("$tools/bench_read" newlines dense/*)"
    note library "$("$tools/bench_read" library dense/*)"
    fresh
    note collect "$(seconds collect dense "$threads")"
    fresh
    note alone "$(seconds collect dense 1)"
    note library2 "$("$tools/bench_read" library dense/*)"
    if [ $run -le $(((runs + 1) / 2)) ]; then
        note import "$(seconds import dense)"
    fi
    fresh
    note small "$(seconds collect small "$threads")"
done
rm -f import.db
fresh
note tenfold "$(seconds collect tenfold "$threads")"
fresh
note tenfold "$(seconds collect tenfold "$threads")"
fresh
note tenfold "$(seconds collect tenfold "$threads")"

echo "medians in seconds:"
for name in newlines library library2 collect alone import small tenfold; do
    printf '  %-10s %8.3f  (%s)\n' "$name" "$(median $name)" "$(sort -n times.$name | tr '\n' ' ')"
done
echo "ratios:"
ratio "collect, $threads threads / libcsv with empty callbacks, one" collect library
ratio "collect, 1 thread / libcsv with empty callbacks, one" alone library
ratio "libcsv again, at the end of each round / at its beginning" library2 library
ratio "sqlite3 .import and grouping / collect, $threads threads" import collect
ratio "collect, $threads threads / counting newlines" collect newlines
ratio "ten times the rows / the rows" tenfold collect
echo "$(median small) $small" | awk '{ printf "  %-58s %6.0f\n", "small files a second", $2 / $1 }'

fresh
echo "peak memory: $(peak_of dense) KiB on dense"
bytes=$(du -sb --apparent-size dense | cut -f1)
sqlite3 line.store 'PRAGMA wal_checkpoint' >/dev/null
share() { # text sql
    sqlite3 line.store "$2" | awk -v text="$1" -v all="$bytes" '{
        printf "  %-40s %6.1f MB, %4.1f %% of the CSV bytes\n", text, $1 / 1e6, 100 * $1 / all }'
}
echo "store of dense:"
stat -c %s line.store | awk -v all="$bytes" '{
    printf "  %-40s %6.1f MB, %4.1f %% of the CSV bytes\n", "in all", $1 / 1e6, 100 * $1 / all }'
share "of it originals" 'SELECT sum(length(packed)) FROM original_piece'
share "of it packed readings" 'SELECT sum(length(packed)) FROM block'
fresh
echo "peak memory: $(peak_of tenfold) KiB on ten times the rows"
