#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A long fuzz run, by hand: RUNS executions of each target named (all, if none is), at most
# SECONDS_EACH for one, at the lowest priority, one after the other. Prints figures of each; what is
# found stays in .build/fuzz, the grown corpora too, so that the next run goes on from there.
#   RUNS=10000000 SECONDS_EACH=3600 sh tests/fuzz/long.sh packed number
set -eu
cd "$(dirname "$0")/../.."
runs=${RUNS:-10000000}
seconds=${SECONDS_EACH:-3600}
# shellcheck disable=SC2046 # names without blanks
[ $# -gt 0 ] || set -- $(for f in tests/fuzz/fuzz_*.c; do basename "$f" .c | sed 's/^fuzz_//'; done)
cmake --preset fuzz >/dev/null
# shellcheck disable=SC2046
cmake --build .build/fuzz --target $(for topic in "$@"; do echo "fuzz_$topic"; done)
# a short quarantine: most inputs are small, and speed finds more here
ASAN_OPTIONS=${ASAN_OPTIONS:-quarantine_size_mb=8:malloc_context_size=8:max_malloc_fill_size=64}
export ASAN_OPTIONS
status=0
printf '%-12s %12s %8s %8s  %s\n' target executions seconds 'per s' 'how it ended'
for topic in "$@"; do
    corpus=.build/fuzz/corpus-$topic
    log=.build/fuzz/long-$topic.log
    mkdir -p "$corpus"
    how=clean
    nice -n 19 ".build/fuzz/fuzz_$topic" -runs="$runs" -max_total_time="$seconds" -timeout=25 \
        -entropic=0 -max_len=1500 -print_final_stats=1 \
        -artifact_prefix=".build/fuzz/found-$topic-" "$corpus" "tests/fuzz/corpus/$topic" \
        >"$log" 2>&1 || { how="FOUND SOMETHING, see $log" && status=1; }
    sed -n 's/^Done \([0-9]*\) runs in \([0-9]*\) second.*/\1 \2/p' "$log" | tail -n 1 | {
        read -r done spent || { done=0 && spent=0; }
        printf '%-12s %12s %8s %8s  %s\n' "$topic" "$done" "$spent" \
            "$((done / (spent > 0 ? spent : 1)))" "$how"
    }
done
exit $status
