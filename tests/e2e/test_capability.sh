#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# capability on a line of its own: a declared shape against numbers of base R, a circle, counts, and
# every option; wrong options are refused in one line and leave nothing behind.
. "${AN_SOURCE_DIR:?the sources}/tests/e2e/support.sh"

cat >line.yaml <<'END'
line: prova
zone: UTC
shifts: {day: 06:00, night: 18:00}
kinds: {tile: }
stations:
  river:
    folder: river
    files: '*.csv'
    time: {column: at, pattern: rfc3339}
    item: {kind: tile, column: tile}
    characteristics:
      length: {column: miles, unit: '1', subgroup: row, shape: lognormal, spec: {lower: 100, upper: 5000}}
  place:
    folder: place
    files: '*.csv'
    time: {column: at, pattern: rfc3339}
    item: {kind: tile, column: tile}
    characteristics:
      dx: {column: dx, unit: um}
      dy: {column: dy, unit: um}
      off: {derived: {how: radial, of: [dx, dy]}, spec: {upper: 4}}
      passed: {count: bad, opportunities: 50, family: p}
      found: {count: hits, opportunities: 50, family: p}
END
mkdir river place

# lengths of 141 rivers, base R (rivers)
{
    echo 'at,tile,miles'
    i=0
    for miles in $(sed -n '/^[0-9]/p' "$AN_SOURCE_DIR/tests/stat/data/rivers.csv"); do
        i=$((i + 1))
        printf '2026-05-01T%02d:%02d:00Z,T-%d,%s\n' $((i / 60)) $((i % 60)) "$i" "$miles"
    done
} >river/a.csv
# 60 pairs on a spiral: mean not on the centre, no randomness
awk 'BEGIN {
    print "at,tile,dx,dy,bad,hits"
    for (i = 1; i <= 60; i++) {
        a = i * 2.399963; r = sqrt(i / 30)
        printf "2026-05-01T08:%02d:00Z,P-%d,%.4f,%.4f,%d,%d\n", i - 1, i, 1 + r * cos(a), -0.5 + 0.8 * r * sin(a),
            i % 3 == 0, i % 10 < 5 ? 0 : 20
    }
}' >place/b.csv

export ANDAMENTO_STORE="$scratch/line.store"
exits 0 "the description" "$ANDAMENTO" init line.yaml
"$ANDAMENTO" collect --quiet river place >/dev/null 2>err || { cat err >&2; fail "collect"; }

json() { # STREAM FILTER [OPTION...]
    stream=$1
    filter=$2
    shift 2
    "$ANDAMENTO" capability "$stream" --json "$@" | jq -r ".data[0]$filter"
}

# base R 4.2: lognormal by maximum likelihood, percentiles .135 and 99.865 rounded so
near "Pp by percentiles" "$(json river.length .pp.value)" 1.79056393082 6e-5
near "Ppk by percentiles" "$(json river.length .ppk.value)" 0.955089033494 6e-5
near "mu" "$(json river.length .shape.parameters.mu)" 6.1758788811 1e-9
near "sigma" "$(json river.length .shape.parameters.sigma)" 0.589382913498 1e-9
near "Anderson-Darling of the logarithms" "$(json river.length .shape.anderson_darling)" 2.04782561644 1e-8
same "no Cp beside a shape" "$(json river.length .cp.value)" null
same "past only" "$(json river.length .past_only)" true
same "the shape asked for wins" "$(json river.length .method --shape gamma)" "gamma, percentiles"
same "normal as asked" "$(json river.length .method --shape normal)" normal
# 1 / 6 of the room over the sd of all readings: mean 591.184, sd 493.871 (base R)
near "Pp of normal readings" "$(json river.length .pp.value --shape normal)" 1.65360 2e-5
same "auto says so" "$(json river.length .shape.chosen_from_readings --shape auto)" true
ok "the runner-up stands in the lines" sh -c '"$ANDAMENTO" capability river.length --shape auto --detail | grep -q "least BIC; runner-up"'
same "the same bounds at each call" "$(json river.length .ppk)" "$(json river.length .ppk)"
near "tolerance limits, upper" "$(json river.length .tolerance.normal_upper --shape normal --tolerance 99/95)" 2008.40669537 1e-8
same "order wants 473" "$(json river.length .tolerance.order_wants_readings --tolerance 99/95)" 473

same "a circle" "$(json place.off .method)" "position in a circle"
same "pairs" "$(json place.off .position.pairs)" 60
near "mean of dx" "$(json place.off .position.mean_x)" "$(awk -F, 'NR > 1 { s += $3 } END { printf "%.12f", s / 60 }' place/b.csv)" 1e-9
ok "what the offset costs, in words" sh -c '"$ANDAMENTO" capability place.off --detail | grep -q "position: off the centre by .* um (dx +"'
same "no sigma level unasked" "$(json place.passed .counted.sigma_level_by_convention)" null
near "sigma level with its shift" "$(json place.passed .counted.sigma_level_by_convention --sigma-shift 1.5)" 3.974738 1e-5
near "first-pass yield" "$(json place.passed .counted.first_pass_yield)" 0.9933333333 1e-9
ok "counts that scatter are said to" sh -c '"$ANDAMENTO" capability place.found --detail | grep -q "counts scatter .* times as much as binomial ones"'
near "rolled yield" "$("$ANDAMENTO" capability 'place.*' --rolled --json | jq -r '.data[-1].rolled_yield.value')" 0.7946666667 1e-9
same "its steps" "$("$ANDAMENTO" capability 'place.*' --rolled --json | jq -r '.data[-1].steps')" 2

# as many cells in each row of CSV as in its head; no text among the numbers
"$ANDAMENTO" capability --csv >out.csv
ok "CSV rows are whole" sh -c 'head -1 out.csv | tr -cd , | wc -c >a; sed "s/\"[^\"]*\"//g" out.csv | awk -F, -v n="$(cat a)" "NF != n + 1 { exit 1 }"'
same "the table has a row a stream" "$("$ANDAMENTO" capability | wc -l)" 7

exits 64 "a shape that is none" "$ANDAMENTO" capability --shape lognormale
says "which there are" "--shape wants one of normal, lognormal"
exits 64 "half of a tolerance" "$ANDAMENTO" capability --tolerance 99
exits 64 "a tolerance of everything" "$ANDAMENTO" capability --tolerance 100/95
exits 64 "a shift that is none" "$ANDAMENTO" capability --sigma-shift much
exits 0 "no counted stream" "$ANDAMENTO" capability river.length --rolled
says "why there is no rolled yield" "no rolled yield"

# a description with a shape that does not exist names the place
sed 's/shape: lognormal/shape: lognormale/' line.yaml >bad.yaml
exits 78 "an unknown shape in the description" "$ANDAMENTO" init bad.yaml
says "where and what was meant" "bad.yaml:[0-9]*:[0-9]*: .*did you mean 'lognormal'"
sed 's/family: p}/family: p, shape: gamma}/' line.yaml >bad.yaml
exits 78 "a shape of a count" "$ANDAMENTO" init bad.yaml
says "that counts have none" "'shape' is of measured and derived characteristics"

done_testing
