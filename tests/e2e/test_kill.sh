#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A collector killed with SIGKILL at random moments, then run again to its end, leaves the same
# content as one that was never killed. KILLS sets how often (200 by default); SEED where the random
# moments start.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
kills=${KILLS:-200}
seed=${SEED:-20260302}
echo "seed $seed, $kills kills"
a=$ANDAMENTO

"$a" demo --days 6 line >/dev/null || fail demo
"$a" init --store whole.store line/line.yaml >/dev/null
start=$(date +%s%N)
"$a" collect --store whole.store line/spool >whole.txt 2>/dev/null
end=$(date +%s%N)
span=$(((end - start) / 1000)) # microseconds of one undisturbed run
"$a" export --store whole.store -o whole.csv
"$a" held --store whole.store --csv >whole-held.csv

# Each life of a store: collect, kill at a moment drawn from the whole span, collect again, kill
# again ... until ten kills are done; then to the end.
done_kills=0
landed=0
while [ "$done_kills" -lt "$kills" ]; do
    rm -f cut.store*
    "$a" init --store cut.store line/line.yaml >/dev/null
    for k in 1 2 3 4 5 6 7 8 9 10; do
        [ "$done_kills" -lt "$kills" ] || break
        seed=$(((seed * 1103515245 + 12345) % 2147483648))
        pause=$((seed % span / (1 + seed / 7 % 8)))
        "$a" collect --store cut.store line/spool >/dev/null 2>&1 &
        pid=$!
        sleep "$(awk -v p="$pause" 'BEGIN { printf "%.6f", p / 1e6 }')"
        kill -KILL "$pid" 2>/dev/null && landed=$((landed + 1))
        wait "$pid" 2>/dev/null
        done_kills=$((done_kills + 1))
    done
    "$a" collect --store cut.store line/spool >/dev/null 2>&1
    "$a" export --store cut.store -o cut.csv
    ok "content after $done_kills kills" cmp whole.csv cut.csv
    "$a" held --store cut.store --csv >cut-held.csv
    ok "held rows after $done_kills kills" sh -c \
        "cut -d, -f2- whole-held.csv | sort >h1; cut -d, -f2- cut-held.csv | sort >h2; cmp h1 h2"
    exits 0 "verify after $done_kills kills" "$a" verify --store cut.store
    same 'files in the store' \
        "$(sqlite3 cut.store 'SELECT count(*) FROM file')" \
        "$(sqlite3 whole.store 'SELECT count(*) FROM file')"
done
echo "$landed of $kills kills struck a running collector"
ok 'most kills struck' test "$landed" -ge $((kills / 2))
done_testing
