#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The demonstration's files taken by one, two and five threads: the same answer, and the same ledger to
# the root, in which every row, sample and packed column is by its digest. The clock stands still.
# shellcheck source-path=SCRIPTDIR
. "$(dirname "$0")/support.sh"

"$ANDAMENTO" demo line >/dev/null || exit 1
cd line || exit 1
for threads in 1 2 5; do
    rm -f line.store*
    "$ANDAMENTO" init line.yaml >/dev/null || fail "init"
    "$ANDAMENTO" collect --quiet --threads $threads --format json spool >"answer.$threads"
    same "collect finds something, by $threads threads" $? 1
    "$ANDAMENTO" verify --format json >"verify.$threads"
    same "verify is content, by $threads threads" $? 0
    sed -n 's/.*"ledger_root": "\([0-9a-f]*\)".*/\1/p' "verify.$threads" >"root.$threads"
    same "a root of 64 digits" "$(tr -d '\n' <"root.$threads" | wc -c)" 64
    ok "one root for 1 and $threads threads" cmp root.1 "root.$threads"
    ok "one answer for 1 and $threads threads" cmp answer.1 "answer.$threads"
done

"$ANDAMENTO" collect --threads 0 spool >/dev/null 2>message
same "no threads are refused" $? 64
same "in one line" "$(wc -l <message)" 1
done_testing
