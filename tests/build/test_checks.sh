#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# docs/checks.md knows every suite of the stat layer and every table of expected numbers, and names no
# test that is not there. Its figures are those of the run that made it.
set -eu
cd "$AN_SOURCE_DIR"
status=0
for file in tests/stat/test_*.c; do
    grep -q check_close "$file" || continue
    suite=$(basename "$file" .c)
    grep -q "^| ${suite#test_} |" docs/checks.md || { echo "$suite is not in docs/checks.md" && status=1; }
done
for file in tests/stat/data/*_expected.csv; do
    grep -q "^| $(basename "$file") |" docs/checks.md ||
        { echo "$file is not in docs/checks.md" && status=1; }
done
sed -n '/^## Suite by suite/,$ s/^| \([a-z_]*\) | \([a-z0-9 ]*\) | [0-9].*/\1 \2/p' docs/checks.md |
    while read -r suite test; do
        name=$(echo "$test" | tr ' ' _) # a test, or what several tests share
        grep -q "^START_TEST($name)\|^static .*[ *]$name(" "tests/stat/test_$suite.c" ||
            { echo "no test '$test' in $suite: run docs/checks.sh" && exit 1; }
    done || status=1
exit $status
