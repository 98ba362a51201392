#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# What is to be expected of limits by luck: of each stream, of the whole line in a shift, in every form of
# answer; and what the memory of a baseline does to them.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
export ANDAMENTO_STORE=line.store
cat >line.yaml <<'END'
line: limits
zone: UTC
shifts: {early: 06:00, late: 14:00, night: 22:00}
kinds: {tile: {product: yes}}
stations:
  bench:
    folder: spool
    time: {column: at, pattern: "%s"}
    item: {kind: tile, column: tile}
    characteristics:
      plain: {column: x, unit: um, family: individuals}
      wander: {column: y, unit: um, family: individuals}
      open: {count: n, opportunities: 5000, per: million, family: u}
END
mkdir spool
# three days of a tile in ten minutes: 48 a shift. Sums of twelve uniform numbers stand for normal ones; each
# y keeps 0.7 of the one before.
awk 'function u() { s = (s * 16807) % 2147483647; return s / 2147483647 }
     function z(   i, t) { t = -6; for (i = 0; i < 12; i++) t += u(); return t }
     BEGIN { s = 20261125; print "tile,at,x,y,n"
        for (i = 0; i < 432; i++) {
            y = 0.7 * y + z(); n = 0; for (k = 0; k < 50; k++) n += u() < 0.1
            printf "T-%04d,%d,%.3f,%.3f,%d\n", i, 1772604000 + 600 * i, 50 + 2 * z(), 20 + y, n } }' \
    >spool/a.csv
"$a" init line.yaml >/dev/null
exits 0 collect "$a" collect spool
"$a" limits propose --all --until 2026-03-06T06:00 >proposed 2>warned
ok 'the proposal warns of the stream that remembers' \
    grep -q '^bench.wander: neighbouring samples are not independent (lag-1 correlation 0.[67]' warned
ok 'with its test' grep -q 'Ljung-Box [0-9.]* with 10 df, p below 1e-9' warned
ok 'with the factor' grep -Eq 'too narrow by a factor of 1\.[6-9][0-9] and' warned
ok 'with what to do' grep -q "'family: residuals'" warned
same 'and of no other' "$(grep -c 'not independent' warned)" 1

# ---- before a lock nothing judges --------------------------------------------------------------------------
exits 0 show "$a" limits show
ok 'no limits in force, no false alarms' grep -q 'about 0 false alarms a shift.*; 3 not locked' out
"$a" limits lock --all --author T --reason baseline >/dev/null

# ---- the whole line ------------------------------------------------------------------------------------------
exits 0 json "$a" limits show --json
cp out whole.json
same 'samples a shift' "$(jq -r '[.data[].samples_a_shift] | unique | join(" ")' out)" 48
same 'streams of the line' "$(jq -r '.whole_line.streams' out)" 3
ok 'the line is the sum of its streams' jq -e \
    '([.data[].false_alarms_a_shift] | add) as $s | (.whole_line.false_alarms / $s - 1) | fabs < 1e-12' out >/dev/null
ok 'each is its pace over what lies between' jq -e \
    'all(.data[]; (.false_alarms_a_shift * .samples_between_false_alarms / 48 - 1) | fabs < 1e-12)' out >/dev/null
same 'by which law' "$(jq -r '.data[] | select(.stream == "bench.open") | .false_alarm_law' out | cut -c1-9)" \
    'Poisson, '
# single values by 9 of one side too: below the 216.7 of known limits, above half of it
ok 'single values' jq -e '.data[] | select(.stream == "bench.plain")
    | .samples_between_false_alarms < 216.7 and .samples_between_false_alarms > 108
      and (.samples_between_if_limits_were_known - 216.6955 | fabs) < 0.001' out >/dev/null
exits 0 csv "$a" limits show --csv
cp out whole.csv
same 'the same in CSV' "$(awk -F, 'NR > 1 { printf "%.6f ", $(NF - 2) }' whole.csv)" \
    "$(jq -r '.data[].samples_between_false_alarms' whole.json | awk '{ printf "%.6f ", $1 }')"
exits 0 table "$a" limits show
ok 'the line below the table' grep -Eq \
    '^whole line: about 0\.[0-9]+ false alarms a shift are to be expected, of 144 samples on 3 streams' out
ok 'one of them remembers' grep -q '; more on 1 whose samples are not independent' out
total=$(grep '^whole line' out)

# ---- one stream -------------------------------------------------------------------------------------------------
exits 0 one "$a" limits show bench.wander
ok 'no total of one stream' sh -c '! grep -q "^whole line" out'
ok 'its memory' grep -Eq '^  memory: lag-1 correlation 0\.[67][0-9] .*Ljung-Box [0-9.]+ with 10 df' out
ok 'and what it does to them' grep -q '^  if its samples were independent, which they are not' out
ok 'its warning' grep -q '^  warning: neighbouring samples' out
ok 'its false alarms' grep -Eq '^  false alarms: one in [0-9]+ samples; normal; 217 if' out
ok 'and how often that is' grep -Eq '^  at 48 samples a shift: 0\.[0-9]+ false alarms a shift' out
exits 0 counts "$a" limits show bench.open
ok 'counts by their law' grep -Eq 'one in [0-9]+ samples; Poisson, [45]\.[0-9]+ counts a sample' out

# ---- a proposal judges nothing: the locked limits are counted ------------------------------------------------------
"$a" limits propose bench.plain --until 2026-03-05T06:00 >/dev/null 2>&1
exits 0 again "$a" limits show
same 'the line is what judges' "$(grep '^whole line' out)" "$total"
# ---- a chart designed for a stream -----------------------------------------------------------------------------------
sigma=$(jq -r '.data[] | select(.stream == "bench.plain") | .sigma_level' whole.json)
shift=$(awk -v s="$sigma" 'BEGIN { printf "%.10f", s }')
exits 0 'in its unit' "$a" limits design bench.plain --shift "$shift um" --json
cp out in_unit.json
near 'one sigma' "$(jq -r .data.shift_sigmas out)" 1 1e-8
near 'in nanometres too' "$("$a" limits design bench.plain --json --shift \
    "$(awk -v s="$sigma" 'BEGIN { printf "%.7f", 1000 * s }') nm" | jq -r .data.shift_sigmas)" 1 1e-8
# printed: 43.9 samples until single limits see one sigma; both designs have the false alarms asked for
near 'single limits' "$(jq -r '.data.charts[] | select(.chart == "single limits at 3 sigma") | .delay_at_shift' out)" 43.9 1e-3
near 'of which the delay is so many hours' \
    "$(jq -r '.data.charts[] | select(.chart == "single limits at 3 sigma") | .hours_of_delay' out)" 7.316 1e-3
near 'the ewma bears what it should' "$(jq -r '.data.charts[0].samples_between_false_alarms' out)" 370.4 1e-6
same 'the same as without a stream' "$("$a" limits design --shift 1 --json | jq -c '[.data.charts[].delay_at_shift * 1e6 | round]')" \
    "$("$a" limits design bench.plain --shift 1 --json | jq -c '[.data.charts[:6][].delay_at_shift * 1e6 | round]')"
# the present chart has a run of nine too: 216.7 samples
near 'as it is now' "$(jq -r '.data.charts[] | select(.chart == "as it is now") | .samples_between_false_alarms' out)" 216.6955 1e-6
exits 0 'by the week' "$a" limits design bench.plain --shift 1 --false-alarms-per-week 2 --json
# 48 samples a shift, 21 shifts a week: 1008 samples, so one in 504
near 'two a week' "$(jq -r .data.samples_between_false_alarms out)" 504 1e-9
near 'two a week it is' "$(jq -r .data.false_alarms_a_week out)" 2 1e-9
exits 0 'by the shift' "$a" limits design bench.plain --shift 1 --false-alarms-per-shift 0.1 --json
near 'one in ten shifts' "$(jq -r .data.samples_between_false_alarms out)" 480 1e-9
exits 0 'for people' "$a" limits design bench.plain --shift "2 um" --false-alarms-per-week 2
ok 'what stands now first' sh -c 'sed -n 2p out | grep -q "^as it is now"'
ok 'the line to put in' grep -Eq '^    weighted: \{(ewma: 0\.[0-9]+, limits|cusum: 0\.[0-9]+, interval): [0-9.]+\}$' out
ok 'where' grep -q 'station bench, characteristic plain' out
ok 'and how soon' grep -Eq 'one false alarm in 10\.5 shifts, the shift caught after [0-9.]+ h' out
# the line it tells is one that the description takes, with the false alarms that were asked for
line=$(grep '^    weighted:' out | sed 's/^ *//')
sed "s/plain: {column: x, unit: um, family: individuals}/plain: {column: x, unit: um, family: individuals, $line}/" \
    line.yaml >designed.yaml
exits 0 'the description takes it' "$a" init --dry-run designed.yaml
exits 0 'a stream that remembers' "$a" limits design bench.wander --shift 1
ok 'is told to' grep -q 'its samples are not independent' out

exits 64 'no shift' "$a" limits design bench.plain
exits 64 'a unit without a stream' "$a" limits design --shift '2 um'
says 'what it wants' 'with a stream a size in its unit'
exits 64 'another quantity' "$a" limits design bench.plain --shift '2 V'
says 'which' "'V', which does not convert into um"
exits 64 'a huge shift' "$a" limits design bench.plain --shift '2 mm'
says 'how many sigmas' 'every chart sees a larger one at once'
exits 64 'two ways' "$a" limits design bench.plain --shift 1 --between 200 --false-alarms-per-week 1
exits 64 'a pace without a stream' "$a" limits design --shift 1 --false-alarms-per-week 1
says 'what it wants' 'wants a stream'
exits 64 'too many false alarms' "$a" limits design bench.plain --shift 1 --false-alarms-per-shift 40
says 'how many that are' 'one false alarm in 1.2 samples'
exits 64 'two streams' "$a" limits design 'bench.*' --shift 1
exits 65 'a chart of counts' "$a" limits design bench.open --shift 1
says 'why not' 'its points are counts'

done_testing
