#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Builds the fuzz targets (preset fuzz: clang, libFuzzer, ASan, UBSan) and runs each for some seconds
# from its stored corpus: SECONDS_ALL for all of them together, a minute by default. A crash, a
# report of a sanitizer, a hang of ten seconds or a leak ends it with the input kept in .build/fuzz.
set -eu
cd "$(dirname "$0")/../.."
all=${SECONDS_ALL:-60}
targets=$(for f in tests/fuzz/fuzz_*.c; do basename "$f" .c; done)
cmake --preset fuzz >/dev/null
# shellcheck disable=SC2086 # one name a word
cmake --build .build/fuzz --target $targets
each=$((all / $(echo "$targets" | wc -l)))
[ "$each" -gt 0 ] || each=1
for target in $targets; do
    topic=${target#fuzz_}
    found=$(mktemp -d) # what is found here is not for the stored corpus
    if ! ".build/fuzz/$target" -max_total_time="$each" -timeout=10 -max_len=4096 -seed=20260304 \
        -artifact_prefix=".build/fuzz/found-$topic-" "$found" "tests/fuzz/corpus/$topic" \
        >".build/fuzz/$target.log" 2>&1; then
        tail -n 60 ".build/fuzz/$target.log" >&2
        echo "$target: found something; its input is .build/fuzz/found-$topic-*" >&2
        rm -rf "$found"
        exit 1
    fi
    rm -rf "$found"
    echo "$target: $(tail -n 1 ".build/fuzz/$target.log")"
done
