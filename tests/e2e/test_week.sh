#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The week report of the demonstration line, its numbers made again from the exported samples: counts
# by awk, bounds by R (binom.test: Clopper and Pearson, Biometrika 26, 1934; poisson.test: Garwood,
# Biometrika 28, 1936).
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO

"$a" demo line >/dev/null
"$a" init line/line.yaml >/dev/null
"$a" collect line/spool >/dev/null 2>&1
"$a" limits propose --all --until "$(jq -r .baseline_until line/truth.json)" >/dev/null 2>&1
"$a" limits lock --all --author 'A. Tester' --reason 'first days' >/dev/null
"$a" check >/dev/null
exits 0 'week report' "$a" report week --week 2026-W11 -o week.pdf --json
same 'its period' "$(jq -r .data.week out)" 2026-W11
exits 0 'the newest week' "$a" report week -o newest.pdf
ok 'is the same, to the byte' cmp week.pdf newest.pdf
exits 64 'no such week' "$a" report week --week 2026-W54
says 'how weeks are written' "such as '2026-W10'"
exits 0 'a week without samples' "$a" report week --week 2025-W30 -o empty.pdf
pdftotext -layout empty.pdf - >empty.txt
ok 'says that nothing was judged' grep -q 'No station sent a sample in this week' empty.txt
ok 'says that nothing was counted' grep -q 'Nothing was counted this week' empty.txt
ok 'says that nothing went on' grep -q 'No item went from one station to the next' empty.txt
pdftotext -layout week.pdf - >week.txt
ok 'the lead counts streams' grep -Eq '[0-9]+ of [0-9]+ streams judged this week' week.txt
ok 'no text is cut to nothing' sh -c '! grep -q "(null)" week.txt'

# week 2026-W11: from 9 March 06:00 to 16 March 06:00 in Rome (UTC+1)
"$a" export --from 2026-03-09T06:00 --until 2026-03-16T06:00 >week.csv
"$a" export --until 2026-03-16T06:00 >both.csv
column() { head -1 week.csv | tr , '\n' | grep -nx "$1" | cut -d: -f1; }
count=$(column count)
opportunities=$(column opportunities)
item=$(column item)

# ---- rates: events and opportunities of each head
grep -F 'transfer.misses@head=' week.csv | awk -F, -v c="$count" -v o="$opportunities" '
    { split($1, part, "head="); events[part[2]] += $c; chances[part[2]] += $o }
    END { for (head in events) print head, events[head], chances[head] }' >heads
ok 'four heads' test "$(wc -l <heads)" -eq 4
while read -r head events chances; do
    bounds=$(Rscript -e "x <- poisson.test($events, $chances)\$conf.int * 1e6; cat(sprintf('%.0f (%.0f\u2013%.0f)', $events / $chances * 1e6, x[1], x[2]))")
    grep -E "head $head " week.txt | grep -qF "$bounds" && checks=$((checks + 1)) ||
        fail "head $head: no '$bounds' in '$(grep -E "head $head " week.txt | tail -1)'"
done <heads

# ---- first pass of inspection: tiles whose defect rate is within the specification of 0.0014
grep '^inspection.defects,' both.csv | sort -t, -k2,2 | awk -F, -v i="$item" -v c="$count" -v o="$opportunities" '
    !seen[$i]++ && $2 >= "2026-03-09T05:00" { n++; good += $c / $o <= 0.0014 } END { print good, n }' >first
read -r good all <first
bounds=$(Rscript -e "x <- binom.test($good, $all)\$conf.int * 100; cat(sprintf('%.1f %% (%.1f\u2013%.1f)', 100 * $good / $all, x[1], x[2]))")
ok "inspection has '$bounds'" grep -qF "$bounds" week.txt
ok 'and the numbers behind it' grep -Eq "Inspection after transfer .* $good of $all " week.txt

# ---- completeness: tiles of the week seen by inspection after transfer
grep '^transfer.dx@' week.csv | cut -d, -f"$item" | sort -u >left
cut -d, -f1,"$item" both.csv | grep '^inspection.defects,' | cut -d, -f2 | sort -u >came
same 'tiles that came' "$(grep -Eo 'Mass transfer +Inspection[^0-9]*[0-9,]+ of [0-9,]+' week.txt | grep -Eo '[0-9,]+ of [0-9,]+' | tr -d ,)" \
    "$(comm -12 left came | wc -l) of $(wc -l <left)"

# ---- a definition of one's own
printf 'report: week\ntitle: Our week\npages:\n  - page: front\n    sections: [{section: yield, most: 2}]\n' >own.yaml
exits 0 'own definition' "$a" report week --definition own.yaml -o own.pdf
pdftotext own.pdf own.txt
ok 'has its title' grep -q 'Our week' own.txt
ok 'and its section only' sh -c '! grep -q "Open signals" own.txt'
exits 78 "another report's definition" "$a" report shift --definition own.yaml -o x.pdf
says 'which is wanted' "write 'report: shift'"
printf 'report: week\npages:\n  - page: frnt\n' >bad.yaml
exits 78 'a mistake in it' "$a" report week --definition bad.yaml -o x.pdf
says 'its place' 'bad.yaml:3:11'
exits 66 'a definition that is not there' "$a" report week --definition none.yaml -o x.pdf
ok 'nothing was written' test ! -e x.pdf
exits 73 'a folder that is not there' "$a" report week -o none/x.pdf
done_testing
