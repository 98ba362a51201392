#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# How long check, the shift report and the week report take on a line of STREAMS (100 200 400) streams
# with DAYS (90) days of data, and how much memory: linear in streams, or not. Makes its own line:
# tiles measured in FACES (4) splits of as many characteristics as it takes, 24 tiles a day, five
# readings each. Nothing is asserted.
#   STREAMS="100 200 400" sh tests/bench/week.sh PROGRAM
set -eu
program=$(realpath "${1:?the built program}")
days=${DAYS:-90}
faces=${FACES:-4}
work=$(mktemp -d "${TMPDIR:-/tmp}/an-week-XXXXXX")
trap 'rm -rf "$work"' EXIT
cd "$work"
echo "machine: $(lscpu | sed -n 's/^Model name: *//p'), $(nproc) processors; load $(cut -d' ' -f1-3 /proc/loadavg)"

timed() { # name, command...
    name=$1
    shift
    /usr/bin/time -f "%e %U %M" -o cost "$@" >answer 2>err || [ $? -eq 1 ] ||
        { echo "$name failed: $(head -1 err)" && exit 1; }
    tail -n 1 cost | awk -v n="$streams" -v w="$name" '{ printf "%4d streams  %-13s %6.2f s, %6.2f s of it user, %4.0f MiB\n",
        n, w, $1, $2, $3 / 1024 }'
}

for streams in ${STREAMS:-100 200 400}; do
    stations=$(((streams + 10 * faces - 1) / (10 * faces))) # ten characteristics each
    rm -rf line.store* spool line.yaml
    {
        printf 'line: bench\nzone: UTC\nshifts: {early: 06:00, late: 14:00, night: 22:00}\n'
        printf 'kinds: {tile: {product: yes}}\nstations:\n'
        for s in $(seq "$stations"); do
            printf '  s%d:\n    folder: spool/s%d\n    time: {column: at}\n' "$s" "$s"
            printf '    item: {kind: tile, column: tile}\n    characteristics:\n'
            for c in $(seq 10); do
                printf '      x%d: {column: x%d, unit: um, split: face, family: %s, spec: {lower: 5, upper: 15}}\n' \
                    "$c" "$c" "$([ $((c % 2)) = 0 ] && echo xbar_s || echo between_within)"
            done
        done
    } >line.yaml
    for s in $(seq "$stations"); do
        mkdir -p "spool/s$s"
        awk -v days="$days" -v faces="$faces" -v s="$s" 'BEGIN {
            srand(s); pi = atan2(0, -1)
            for (d = 0; d < days; d++) {
                file = sprintf("spool/s%d/d%03d.csv", s, d)
                print "tile,at,face,x1,x2,x3,x4,x5,x6,x7,x8,x9,x10" >file
                for (t = 0; t < 24; t++) {
                    for (f = 1; f <= faces; f++) for (r = 0; r < 5; r++) {
                        printf "T%d-%03d-%02d,%s,F%d", s, d, t,
                            strftime("%Y-%m-%dT%H:%M:%SZ", 1772323200 + 86400 * d + 3600 * t, 1), f >file
                        for (c = 0; c < 10; c++) {
                            size = sqrt(-2 * log(1 - rand()))
                            printf ",%.3f", 10 + size * cos(2 * pi * rand()) >file
                        }
                        print "" >file
                    }
                }
                close(file)
            }
        }'
    done
    "$program" init line.yaml >/dev/null
    timed collect "$program" collect spool
    timed propose "$program" limits propose --all --until 2026-04-30
    timed lock "$program" limits lock --all --author B --reason bench
    timed check "$program" check
    timed 'check again' "$program" check
    timed 'shift report' "$program" report shift -o shift.pdf
    timed 'week report' "$program" report week -o week.pdf
    echo "     $(cat answer err | tail -1)"
done
