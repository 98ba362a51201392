#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Corrected parts where a part sits in one whole at a time: one that would then sit in two, or with
# another at one place, is refused with the file and line that say so; ends told of the wrong part hold
# for the right one; undoing asks the same.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
by="--author A --reason seen"
cat >line.yaml <<'END'
line: moves
zone: UTC
shifts: {d: 06:00}
kinds: {tile: {}, wall: {}}
stations:
  build:
    time: {column: at}
    item: {kind: tile, column: tile}
    links:
      - {column: wall, kind: wall, other_is: child, row_column: r, column_column: c, single: yes,
         ends: {column: act, words: [out]}}
    characteristics: {x: {column: x, unit: um, subgroup: row}}
END
mkdir build
# T1 in W1 from 11 to 12, then in W2; T2 and T3 in W1; T4 nowhere; T5 in W3 from 9 to 10
cat >build/a.csv <<'END'
at,tile,wall,r,c,act,x
2026-03-04T09:00:00Z,T5,W3,1,1,in,1
2026-03-04T10:00:00Z,T5,W3,1,1,out,1
2026-03-04T11:00:00Z,T1,W1,1,1,in,1
2026-03-04T11:00:00Z,T2,W1,1,2,in,1
2026-03-04T11:10:00Z,T3,W1,1,3,in,1
2026-03-04T12:00:00Z,T1,W1,1,1,out,1
2026-03-04T13:00:00Z,T1,W2,1,1,in,1
2026-03-04T13:30:00Z,T6,W1,1,1,in,1
2026-03-04T14:00:00Z,T4,,,,,1
END
"$a" init line.yaml >/dev/null
exits 0 collect "$a" collect build
seats() { # wall: who sits where, from when to when
    "$a" trace "$1" --up --csv | awk -F, -v OFS=, 'NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; next }
        { print $at["serial"], $at["row"] "." $at["column"], substr($at["since"], 12, 5), substr($at["until"], 12, 5) }' |
        sort | tr '\n' ' '
}
seats W1 >/dev/null
before=$(seats W1)
# shellcheck disable=SC2086
{
    exits 64 'a tile that sits elsewhere' "$a" correct parent W1 --was T2 --is T1 $by
    says 'where, and who says so' 'T1 sits in row 1 column 1 of wall W1 by line 4 of "a.csv" at that time'
    exits 64 'a tile at another place of the wall' "$a" correct parent W1 --was T2 --is T3 $by
    says 'which' 'T3 sits in row 1 column 3 of wall W1 by line 6 of "a.csv"'
    exits 64 'dry, too' "$a" correct parent W1 --was T2 --is T3 --dry-run $by
    same 'nothing is stored' "$(sqlite3 line.store 'SELECT count(*) FROM correction')$(seats W1)" "0$before"
    exits 0 'one that sat elsewhere before' "$a" correct parent W1 --was T2 --is T5 $by
    exits 0 'one that sits nowhere, for one that was taken out' "$a" correct parent W1 --was T1 --is T4 $by
}
same 'the end that was told of the wrong tile ends it' "$(seats W1)" \
    'T3,1.3,11:10, T4,1.1,11:00,12:00 T5,1.2,11:00, T6,1.1,13:30, '
same 'also in the view' "$(sqlite3 line.store "SELECT parent, substr(at_utc, 12, 5), substr(until_utc, 12, 5)
    FROM view_links WHERE child = 'W1' AND row_no = 1 AND column_no = 1 ORDER BY at_us" | tr '\n' ' ')" \
    'T4|11:00|12:00 T6|13:30| '
"$a" trace T1 --down >out
ok 'of the wrong one no end is left over' sh -c "! grep -q 'nobody told' out"
# T2's place is free for T2 no more once it sits elsewhere
printf 'at,tile,wall,r,c,act,x\n2026-03-04T15:00:00Z,T2,W4,1,1,in,1\n' >build/b.csv
exits 0 'it is put elsewhere' "$a" collect build
same 'taken' "$("$a" held --count --csv | tail -n +2 | wc -l)" 0
# shellcheck disable=SC2086
{
    exits 64 'undone it would sit in two' "$a" correct undo 1 $by
    says 'where' 'T2 sits in row 1 column 1 of wall W4 by line 2 of "b.csv"'
    exits 0 'it was none' "$a" correct parent W4 --was T2 --is none $by
    exits 0 'now it can be undone' "$a" correct undo 1 $by
    exits 64 'but then not that it was none' "$a" correct undo 3 $by
    says 'where' 'T2 sits in row 1 column 2 of wall W1 by line 5 of "a.csv"'
    # no tile was at 1.3; then T3's place is given to another by a correction; T3 cannot come back
    exits 0 'none was there' "$a" correct parent W1 --was T3 --is none $by
    exits 0 'the other was undone' "$a" correct undo 2 $by
}
same 'as told' "$(seats W1)" 'T1,1.1,11:00,12:00 T2,1.2,11:00, T6,1.1,13:30, '
printf 'at,tile,wall,r,c,act,x\n2026-03-04T16:00:00Z,T4,W1,1,3,in,1\n' >build/c.csv
exits 0 'another is put there' "$a" collect build
# shellcheck disable=SC2086
exits 64 'the place is filled' "$a" correct undo 5 $by
says 'by whom' 'row 1 column 3 of wall W1 holds T4 by line 2 of "c.csv" at that time'
exits 0 'verify' "$a" verify
done_testing
