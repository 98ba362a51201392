#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The tour of the README, command by command, as it stands there.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
andamento() {
    "$ANDAMENTO" "$@"
}
ANDAMENTO_STORE=demo.store
export ANDAMENTO_STORE
sed -n 's/^    \(andamento .*[^ ]\)$/\1/p' "$AN_SOURCE_DIR/README.md" >tour.txt
ok 'the README has a tour' test "$(wc -l <tour.txt)" -ge 10
while IFS= read -r command; do
    checks=$((checks + 1))
    eval "$command" >out 2>err
    status=$?
    [ "$status" -le 1 ] || fail "$command: exit status $status, $(head -2 err)"
done <tour.txt
ok 'its report is there' sh -c 'pdfinfo shift.pdf >/dev/null'
ok 'its export has rows' test "$(wc -l <dx.csv)" -gt 100
done_testing
