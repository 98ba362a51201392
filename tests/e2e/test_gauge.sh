#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Studies of gauges and components of variance from end to end: a published study comes out with its
# printed numbers, what is no study leaves nothing behind, the record tells each gauge's state; and the
# oxide data, sent through a station, give the components their source prints.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
data=$AN_SOURCE_DIR/tests/stat/data

cat >line.yaml <<'END'
line: ponente
zone: Europe/Rome
shifts: {early: 06:00, late: 14:00, night: 22:00}
gauges:
  G1: {calibrated_until: 2026-05-01}
kinds:
  wafer: {id: "W[0-9]{3}", product: yes}
stations:
  oxide:
    folder: spool/oxide
    time: {column: at}
    item: {kind: wafer, column: wafer}
    gauge: G1
    characteristics:
      thickness: {column: thickness, unit: nm, ribbon: {column: lot}, spec: {lower: 1950, upper: 2050}}
END
mkdir -p spool/oxide
# lots of three wafers, three sites each: wafer numbers run on, a minute a row
grep -v '^#' "$data/oxide.csv" | awk -F, 'NR == 1 { print "wafer,at,lot,thickness"; next }
    { w = ($1 - 1) * 3 + $2; m = (w * 3 + $3) % 60; h = int((w * 3 + $3) / 60)
      printf "W%03d,2026-03-04T%02d:%02d:00Z,L%s,%s\n", w, 8 + h, m, $1, $4 }' >spool/oxide/one.csv
exits 0 "init" "$a" init --quiet line.yaml
exits 0 "collect" "$a" collect --quiet spool

# ---- components ----
# Pinheiro and Bates, Mixed-Effects Models in S and S-PLUS, 2000: sd 11.398, 5.9888, 3.5454 (from memory)
exits 0 "components" "$a" components oxide.thickness --csv
cp out ladder.csv
near "lot" "$(awk -F, '$2 == "upstream batch" { print $5 }' ladder.csv)" 11.398 0.0001
near "wafer" "$(awk -F, '$2 == "wafer" { print $5 }' ladder.csv)" 5.9888 0.0002
near "site" "$(awk -F, '$2 == "within item" { print $5 }' ladder.csv)" 3.5454 0.0001
near "shares" "$(awk -F, 'NR > 1 { s += $8 } END { print s }' ladder.csv)" 1 1e-12
near "without the lots" "$(awk -F, 'NR == 2 { print $11 }' ladder.csv)" \
    "$(awk -F, 'NR > 2 { s += $5 * $5 } END { print sqrt(s) }' ladder.csv)" 1e-5
exits 66 "a stream that is not there" "$a" components oxide.nothing
exits 0 "ladder" "$a" components oxide.thickness -o ladder.pdf
same "what it says" "$(cat out)" ladder.pdf
cp ladder.pdf ladder1.pdf
exits 0 "ladder again" "$a" components oxide.thickness -o ladder.pdf
cmp -s ladder.pdf ladder1.pdf || fail "two ladders of the same stream differ"
same "pages of the ladder" "$(pdfinfo ladder.pdf | awk '/^Pages/ { print $2 }')" 1
pdftotext -layout ladder.pdf - | tr -s ' \n' '  ' >ladder.txt
for words in 'from upstream batch to upstream batch' '11.4' '5.99' '3.55' 'G1: no study known' 'Were the assumptions met'; do
    grep -q "$words" ladder.txt || fail "the ladder does not say '$words'"
done
exits 0 "a period without readings" "$a" components oxide.thickness --from 2027-01-01 -o empty.pdf
pdftotext empty.pdf - | tr -s ' \n' '  ' | grep -q 'No components of' || fail "no reason on the page"
exits 73 "a folder that is not there" "$a" components oxide.thickness -o nowhere/ladder.pdf
exits 66 "no page of no stream" "$a" components oxide.nothing -o none.pdf
[ -e none.pdf ] && fail "a page of no stream was written"
exits 0 "no readings" "$a" components oxide.thickness --from 2027-01-01
grep -q 'no components' out || fail "no reason in place of the components: $(cat out)"

# ---- a published study ----
# AIAG, Measurement Systems Analysis: 27.9 % of study, 7.8 % of the variance, about 4.9 categories
grep -v '^#' "$data/appraisers.csv" >grr.csv
# shellcheck disable=SC2317 # called through exits
study() { "$a" gauge study "$@" --columns part=part,operator=operator,reading=reading --author 'Q. Lead' --reason 'new camera'; }
exits 0 "dry run" study grr.csv --gauge G1 --dry-run
exits 0 "nothing recorded" "$a" gauge list --all --csv
same "studies after a dry run" "$(wc -l <out)" 1
exits 0 "study" study grr.csv --gauge G1 --csv
of() { awk -F, -v w="$1" -v o="$2" '$1 == w && $2 == o { print $3 }' out; }
near "gauge, of study" "$(of 'per cent of study variation' 'whole gauge')" 27.86 0.001
near "gauge, of variance" "$(of 'per cent of total variance' 'whole gauge')" 7.76 0.001
near "categories" "$(of 'distinct categories' parts)" 4.87 0.002
near "p of interaction" "$(of p 'operator by part')" 0.9741 0.0001
exits 1 "not fit for a narrow tolerance" study grr.csv --gauge G1 --tolerance 2
exits 0 "tolerance of a stream" study grr.csv --gauge G1 --stream oxide.thickness --json
grep -q '"tolerance": 100' out || fail "the tolerance is not the width of the specification"

# ---- what is no study ----
before=$("$a" gauge list --all --csv | wc -l)
exits 65 "no such column" "$a" gauge study grr.csv --gauge G1 --columns part=part,operator=who,reading=reading --author a --reason b
says "no such column" "grr.csv:1: no column 'who' (operator)"
sed '5s/,[^,]*$/,high/' grr.csv >text.csv
exits 65 "text in a reading" study text.csv --gauge G1
says "text in a reading" "text.csv:5:4: 'high' in column 'reading' is not a number"
grep -v '^3,2,' grr.csv >hole.csv
exits 65 "an empty cell" study hole.csv --gauge G1
says "an empty cell" "part '3' has no reading by operator '2'"
sed '7d' grr.csv >short.csv
exits 65 "unbalanced" study short.csv --gauge G1
says "unbalanced" "wants the same number everywhere"
grep -E '^part|^[0-9]*,1,' grr.csv >one.csv
exits 65 "one operator" study one.csv --gauge G1
says "one operator" "10 parts, 1 operator"
exits 64 "no author" "$a" gauge study grr.csv --gauge G1 --columns part=part,operator=operator,reading=reading --reason b
exits 64 "an unknown kind" study grr.csv --gauge G1 --kind round
exits 64 "an unknown role" "$a" gauge study grr.csv --gauge G1 --columns piece=part --author a --reason b
exits 64 "no tolerance at all" study grr.csv --gauge G1 --tolerance 0
exits 66 "no such file" study nothing.csv --gauge G1
same "studies after refusals" "$("$a" gauge list --all --csv | wc -l)" "$before"

# ---- the state of the gauge ----
exits 1 "past its calibration" "$a" gauge list
grep -q 'calibration ended 2026-05-01' out || fail "the list does not tell the calibration: $(cat out)"
exits 0 "report" "$a" report week -o week.pdf
pdftotext -layout week.pdf week.txt
tr -s ' \n' '  ' <week.txt | grep -q 'G1 (oxide).*takes .* of the tolerance' ||
    fail "the week report does not tell the gauge's state"

# ---- the gauge beside the values ----
# 6 * 0.30237 of 100 nm (AIAG, the same study: sd of repeatability and reproducibility 0.30237)
cell() { sed -n '1p;2p' out.csv | awk -F, -v t="$1" 'NR == 1 { for (i = 1; i <= NF; i++) if ($i == t) k = i } NR == 2 { print $k }'; }
exits 0 "capability" "$a" capability oxide.thickness --csv
cp out out.csv
same "gauge" "$(cell gauge)" G1
same "study of the stream, not the newest" "$(cell gauge_study)" 3
same "held against" "$(cell gauge_percent_of)" tolerance
near "per cent" "$(cell gauge_percent)" 1.81422 0.0001
near "categories" "$(cell gauge_categories)" 4.87 0.002
same "grade" "$(cell gauge_grade)" fit
same "age" "$(cell gauge_age_days)" 0
exits 0 "capability as JSON" "$a" capability oxide.thickness --json
grep -q '"percent_of": "tolerance"' out || fail "JSON does not tell the gauge"
grep -q '"distinct_categories"' out || fail "JSON does not tell the categories"
exits 0 "capability as a table" "$a" capability oxide.thickness
grep -q '1.8 %, 4.9 categories, 0 d' out || fail "the table does not tell the gauge: $(cat out)"
exits 0 "capability in detail" "$a" capability oxide.thickness --detail
grep -q 'gauge: G1 takes 1.8 % of the tolerance (95 % bounds' out || fail "the lines do not tell the gauge"
awk -F, -v OFS=, 'NR > 1 { $NF *= 20 } 1' grr.csv >coarse.csv
exits 1 "a coarse gauge" study coarse.csv --gauge G1 --stream oxide.thickness
exits 0 "capability with a coarse gauge" "$a" capability oxide.thickness
grep -q '36.3 %: NOT FIT' out || fail "the table does not warn: $(cat out)"
grep -q '^oxide.thickness: the gauge is not fit: it takes 36.3 % of the tolerance' out || fail "no warning below the table"
grep -Eq '^oxide.thickness .* [0-9.]+ \([0-9.]+ to [0-9.]+\)' out || fail "the index is not shown with the warning: $(cat out)"
exits 1 "propose, with warnings" "$a" limits propose oxide.thickness
exits 0 "limits show" "$a" limits show oxide.thickness
grep -q 'the gauge is not fit: it takes 36.3 %' out || fail "limits show does not tell the gauge: $(cat out)"
exits 0 "limits show as JSON" "$a" limits show oxide.thickness --json
grep -q '"grade": "not fit"' out || fail "limits show --json does not tell the gauge"
exits 0 "the ladder has the gauge" "$a" components oxide.thickness -o ladder.pdf
pdftotext -layout ladder.pdf - | grep -q 'of this, the gauge' || fail "no rung of the gauge"

# ---- stability ----
awk 'BEGIN { print "at,item,nm"; for (i = 0; i < 24; i++) for (k = 0; k < 3; k++)
    printf "2026-%02d-%02d,R1,%.2f\n", 2 + int(i / 12), 1 + i % 12 * 2, 2000 + (i * 7 % 5 - 2) * .3 + (k - 1) * .8 }' >still.csv
awk -F, -v OFS=, 'NR > 1 { $3 += int((NR - 2) / 3) * .4 } 1' still.csv >drift.csv
# shellcheck disable=SC2317 # called through exits
still() { "$a" gauge study "$@" --gauge G2 --kind stability --author 'Q. Lead' --reason monthly; }
exits 0 "stable" still still.csv --columns time=at,part=item,reading=nm --reference 2000 --csv
near "centre" "$(of 'centre and limits' mean)" 2000 1e-4
# d2(3) = 1.69257 (any table of control chart constants): 3 * 1.6 / 1.69257 / sqrt(3) = 1.63729
near "upper limit" "$(awk -F, '$1 == "centre and limits" && $2 == "mean" { print $5 - $3 }' out)" 1.63729 0.0005
same "signals" "$(of signals mean)" 0
exits 1 "drifts" still drift.csv --columns time=at,part=item,reading=nm --reference 2000 --tolerance 20
grep -q 'not fit: not stable: .*; drifts +' out || fail "no drift in: $(cat out)"
exits 1 "state of a gauge that drifts" "$a" gauge list
grep -q '^G2 .*not fit .*drifts' out || fail "the list does not tell the drift: $(cat out)"
printf 'at,nm\n2026-03-04,2000.1\n2026-03-05,2000.3\n' >few.csv
exits 65 "too few occasions" still few.csv --columns time=at,reading=nm --reference 2000
says "too few occasions" "few.csv: 2 occasions; a stability study wants 10 or more"
sed '8s/2026-02-05/2026-01-31/' still.csv >back.csv
exits 65 "time goes back" still back.csv --columns time=at,reading=nm --reference 2000
says "time goes back" "back.csv:8: 2026-01-31 lies before 2026-02-03 in line 7"
sed '9s/R1/R2/' still.csv >two.csv
exits 65 "two items" still two.csv --columns time=at,part=item,reading=nm --reference 2000
says "two items" "two.csv:9: item 'R2' here, 'R1' in line 2"
exits 64 "no reference" still still.csv --columns time=at,reading=nm
exits 64 "two references" still still.csv --columns time=at,reading=nm,reference=nm --reference 2000
exits 64 "no time" still still.csv --columns reading=nm --reference 2000
exits 64 "time in a crossed study" "$a" gauge study grr.csv --gauge G1 --columns part=part,operator=operator,reading=reading,time=part --author a --reason b
exits 0 "page of a drift" "$a" gauge report 6 -o drift.pdf
same "pages of a drift" "$(pdfinfo drift.pdf | awk '/^Pages/ { print $2 }')" 1
pdftotext -layout drift.pdf - | tr -s ' \n' '  ' >drift.txt
for words in 'gauge G2, study 6' 'drifts +' 'mean of 3 readings' 'range of 3 readings' 'R9' 'other studies of it'; do
    grep -q "$words" drift.txt || fail "the page of a drift does not say '$words'"
done

# ---- one page ----
printf 'x\n9.9\n10.2\n10.1\n10.3\n' >bias.csv
exits 0 "bias" "$a" gauge study bias.csv --gauge G1 --kind bias --columns reading=x --reference 10 --author a --reason b
printf 'ref;got\n2;2,1\n2;2,2\n4;4,1\n4;4,0\n6;5,8\n6;5,9\n' >lin.csv
exits 0 "linearity" "$a" gauge study lin.csv --gauge G1 --kind linearity --columns reading=got,reference=ref --author a --reason b
printf 'p,w,x\n1,A,ok\n1,B,ok\n2,A,no\n2,B,no\n3,A,ok\n3,B,no\n4,A,ok\n4,B,ok\n' >sort.csv
exits 0 "sorting" "$a" gauge study sort.csv --gauge G1 --kind sorting --columns part=p,operator=w,reading=x --author a --reason b
for study in 1 2 7 8 9; do
    exits 0 "page of study $study" "$a" gauge report $study -o page.pdf
    cp page.pdf "page$study.pdf"
    exits 0 "again" "$a" gauge report $study -o page.pdf
    cmp -s page.pdf "page$study.pdf" || fail "study $study: two pages of the same study differ"
    same "pages of study $study" "$(pdfinfo page.pdf | awk '/^Pages/ { print $2 }')" 1
done
pdftotext -layout page1.pdf - | tr -s ' \n' '  ' | grep -q 'takes 27.9 % of the study variation' ||
    fail "the page does not tell the verdict"
# signs, units and digits as a reader wants them: the unit is the one of the gauge's station
page() { pdftotext -layout "page$1.pdf" - | tr -s ' \n' '  '; }
page 1 | grep -q 'Readings, nm: a panel an operator' || fail "the crossed study's readings have no unit"
page 1 | grep -q 'operator by part pooled' || fail "the page does not say that the interaction is pooled"
page 7 | grep -q 'Readings, nm, in the order of the file' || fail "the bias study's readings have no unit"
page 8 | grep -q 'Bias = 0[.0-9]* − 0[.0-9]* × reference, in nm' || fail "the line is not written with its sign: $(page 8)"
page 8 | grep -q 'reference, nm' || fail "the references have no unit"
page 8 | grep -q '+ -' && fail "two signs beside each other"
exits 64 "no file to write" "$a" gauge report 1
exits 66 "no such study" "$a" gauge report 99 -o none.pdf
[ -e none.pdf ] && fail "a page of no study was written"
exits 64 "no number" "$a" gauge report one -o none.pdf
exits 0 "the record is whole" "$a" verify
done_testing
