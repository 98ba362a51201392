#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Peak memory of collect on one file of about a gigabyte (MEGABYTES=1000), against one of a hundredth
# of it. Run by hand: sh tests/bench/collect_memory.sh PROGRAM
set -eu
program=$(realpath "${1:?the built program}")
megabytes=${MEGABYTES:-1000}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
uname -sr
nproc | sed 's/$/ cores/'

cat >line.yaml <<'END'
line: dense
zone: UTC
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds: {tile: {product: yes}}
stations:
  transfer:
    folder: spool
    time: {column: placed_at}
    item: {kind: tile, column: tile_id}
    characteristics:
      dx: {column: dx_um, unit: um, split: [head, colour]}
      dy: {column: dy_um, unit: um, split: [head, colour]}
END

make() { # megabytes file
    awk -v bytes="$(($1 * 1000000))" 'BEGIN {
        srand(7); print "tile_id,head,site_row,site_col,colour,dx_um,dy_um,placed_at"
        split("R G B", c, " ")
        while (written < bytes) {
            i++; t = int(i / 1200)
            line = sprintf("T-%07d,H%d,%d,%d,%s,%.3f,%.3f,2026-03-%02dT%02d:%02d:%02dZ", t, 1 + t % 4,
                int(i / 40) % 30, i % 40, c[1 + i % 3], rand() - 0.5, rand() - 0.5,
                2 + int(t / 20000) % 26, int(t / 800) % 24, int(t / 14) % 60, t % 60)
            written += length(line) + 1; print line
        } }' >"$2"
}

peak() { # file: kilobytes of resident memory at its highest
    rm -rf line.store* spool
    mkdir spool
    mv "$1" spool/dense.csv
    "$program" init line.yaml >/dev/null
    /usr/bin/env python3 - "$program" <<'PY'
import resource, subprocess, sys, time
start = time.monotonic()
subprocess.run([sys.argv[1], "collect", "spool"], check=True)
print("%.1f s, peak %d KiB resident" % (time.monotonic() - start,
      resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss))
PY
    ls -l spool/dense.csv line.store | awk '{ printf "%s %.1f MB\n", $NF, $5 / 1e6 }'
}

make $((megabytes / 100 + 1)) small.csv
peak small.csv
make "$megabytes" big.csv
peak big.csv
