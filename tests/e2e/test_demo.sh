#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The demonstration line through the whole program, compared with the truth that it tells.
#
# 1. Every seeded fault is signalled on the stream that carries it, on the right panel, not before it
#    began and at the latest by the sample that truth.json calls fair for its size (chance of 0.99 or
#    more a stream; the seed is fixed, so the outcome is too).
# 2. The estimated onset's interval reaches the true onset within its neighbourhood.
# 3. The file mess ends where truth.json says.
# 4. On streams that no fault touches, and on the whole quiet line, hits are as many as the rules in
#    force promise, within 4 standard deviations (error probability below 1e-4).
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO

run_line() { # folder extra-options
    "$a" demo $2 "$1" >/dev/null || fail "demo $1"
    ANDAMENTO_STORE=$scratch/$1.store
    export ANDAMENTO_STORE
    "$a" init "$1/line.yaml" >/dev/null || fail "init $1"
    "$a" collect --json "$1/spool" >"$1.collect.json" 2>"$1.collect.err"
    until=$(jq -r .baseline_until "$1/truth.json")
    "$a" limits propose --all --until "$until" --json >"$1.limits.json" 2>"$1.limits.err"
    "$a" limits lock --all --author 'A. Tester' --reason 'first days' >/dev/null
    "$a" check --json >"$1.check.json"
    "$a" export -o "$1.csv"
}

run_line line ''
truth=line/truth.json

# ---- the faults
jq -r '.faults[] | .id as $id | .streams[] | [$id, .stream, .panel, .onset_utc, .fair_delay_samples] | @tsv' $truth >faults.tsv
ok 'truth names faults' test "$(wc -l <faults.tsv)" -ge 10
tab=$(printf '\t')
while IFS="$tab" read -r id stream panel onset delay; do
    # the time by which it is fair to expect the signal: that of the delay-th sample from the onset
    deadline=$(awk -F, -v s="$stream" -v o="$onset" -v d="$delay" '
        { sub(/^"/, ""); }
        index($0, s ",") == 1 || index($0, s "\",") == 1 {
            line = $0; sub(/^[^0-9]*/, "", line)
            if (match($0, /20[0-9][0-9]-[0-9-]*T[0-9:]*(\.[0-9]*)?Z/)) {
                at = substr($0, RSTART, RLENGTH)
                if (at >= o && ++n == d) { print at; exit }
            }
        }' line.csv)
    ok "$id: $stream has $delay samples after its onset" test -n "$deadline"
    checks=$((checks + 1))
    jq -e --arg s "$stream" --arg p "$panel" --arg o "$onset" --arg d "$deadline" '
        [.data.signals[] | select(.stream == $s and .panel == $p) | .hits[]
         | select(.at >= $o and .at <= $d)] | length > 0' line.check.json >/dev/null ||
        fail "$id: no signal on the $panel of $stream between $onset and $deadline"
done <faults.tsv

ok 'there are steps to date' jq -e '[.faults[] | select(.kind == "step") | .streams[] | select(.samples > 30)] | length >= 3' $truth
jq -r '.faults[] | select(.kind == "step") | .streams[] | select(.samples > 30) | [.stream, .onset_utc] | @tsv' $truth |
    while IFS="$tab" read -r stream onset; do
        jq -e --arg s "$stream" --arg o "$onset" '
            def seconds: sub("\\.[0-9]+Z$"; "Z") | fromdateiso8601;
            [.data.signals[] | select(.stream == $s and .onset_at != null)
             | select((.onset_earliest | seconds) - 7200 <= ($o | seconds)
                      and ($o | seconds) <= (.onset_latest | seconds) + 7200)] | length > 0' \
            line.check.json >/dev/null || echo "onset of $stream at $onset is not dated" >>onset-failures
    done
ok "onsets are dated: $(cat onset-failures 2>/dev/null)" test ! -s onset-failures

# ---- the mess
jq -r '.mess[] | [.kind, .file, .outcome, .rows_taken, .rows_held] | @tsv' $truth |
    while IFS="$tab" read -r kind file outcome taken held; do
        case $outcome in duplicate) outcome='seen before' ;; esac
        jq -e --arg f "/spool/$file" --arg o "$outcome" --argjson t "$taken" --argjson h "$held" '
            [.data.files[] | select(.path | endswith($f))] | length == 1 and
            .[0].outcome == $o and ($o == "seen before" or (.[0].taken == $t and .[0].held == $h))' \
            line.collect.json >/dev/null || {
            echo "$kind: $(jq -c --arg f "/spool/$file" '.data.files[] | select(.path | endswith($f)) | {outcome, taken, held, code, why}' line.collect.json), wanted $outcome $taken $held"
        }
    done >mess-failures
ok "file mess: $(cat mess-failures)" test ! -s mess-failures
# the copy was seen before, so its rows, those of the file it is a copy of, are not in the answer
original=$(jq -r '.mess[] | select(.kind == "duplicate") | .file | sub("_copy"; "")' $truth)
same 'rows in the answer are those of the truth, less the copy' \
    "$(jq '.data.rows_taken + .data.rows_held' line.collect.json)" \
    "$(jq --arg f "/spool/$original" --argjson all "$(jq .totals.rows $truth)" \
        '$all - ([.data.files[] | select(.path | endswith($f)) | .rows] | first)' line.collect.json)"

# ---- false alarms
run_line quiet --quiet-line
same 'the quiet line holds nothing' "$(jq '.data.rows_held + .data.files_held' quiet.collect.json)" 0
jq -r '[.faults[] | (.streams[].stream), .may_also_signal[]] | unique[]' $truth >touched
: >touched-none
for line in line quiet; do
    jq -r '.data[] | [.stream, .sigma_relative_se, .centre_half_width / 1.959964 / .sigma_level, .n_nominal, .family] | @tsv' $line.limits.json >$line.limits.tsv
    jq -r '.data.signals[] | .stream as $s | .panel as $p | .hits[] | [$s, $p, .rule, .at] | @tsv' $line.check.json >$line.hits.tsv
done
cat >alarms.R <<'R'
arg <- commandArgs(TRUE)
from <- arg[3]
x <- read.csv(paste0(arg[1], ".csv"), stringsAsFactors = FALSE)
lim <- read.delim(paste0(arg[1], ".limits.tsv"), header = FALSE, stringsAsFactors = FALSE)
hits <- tryCatch(read.delim(paste0(arg[1], ".hits.tsv"), header = FALSE, stringsAsFactors = FALSE), error = function(e) data.frame(V1 = character(), V2 = character(), V3 = character(), V4 = character()))
skip <- readLines(arg[2])
x <- x[!(x$stream %in% skip) & !grepl("purpose=", x$stream) & x$at_utc >= from & !is.na(x$level_z), ]
hits <- hits[!(hits$V1 %in% skip) & !grepl("purpose=", hits$V1) & hits$V4 >= from & hits$V2 == "level", ]
h1 <- sum(hits$V3 == "beyond_limit"); h9 <- sum(hits$V3 == "run_one_side")
e1 <- v1 <- e9 <- v9 <- 0
for (s in unique(x$stream)) {
  n <- sum(x$stream == s); r <- lim[lim$V1 == s, ]
  se <- r$V2; d <- r$V3                   # relative error of sigma, error of the centre in sigmas
  grid <- qnorm((seq_len(41) - 0.5) / 41) # both estimated: average over what they may be
  w <- outer(grid, grid, function(a, b) { k <- 3 * (1 + se * a); pnorm(-k + d * b) + pnorm(-k - d * b) })
  q <- sapply(grid, function(b) pnorm(d * b)^9 + pnorm(-d * b)^9)
  e1 <- e1 + n * mean(w); v1 <- v1 + n * mean(w) + n^2 * var(as.vector(w))
  e9 <- e9 + n * mean(q); v9 <- v9 + 3 * n * mean(q) + n^2 * var(q) # runs come in clumps: factor 3
}
z1 <- (h1 - e1) / sqrt(v1); z9 <- (h9 - e9) / sqrt(v9)
cat(sprintf("%s: %d points on %d streams; beyond_limit %d (expected %.1f, sd %.1f); run_one_side %d (expected %.1f, sd %.1f)\n",
  arg[1], nrow(x), length(unique(x$stream)), h1, e1, sqrt(v1), h9, e9, sqrt(v9)))
quit(status = as.integer(abs(z1) > 4 || abs(z9) > 4 || nrow(x) < 5000))
R
# points after the baseline only: those inside it made the limits
from=$(jq -r '.baseline_until' $truth)
from=$(date -u -d "$from" +%Y-%m-%dT%H:%M:%SZ)
ok 'quiet line: hits agree with the rules in force' Rscript --vanilla alarms.R quiet touched-none "$from"
ok 'faulty line: hits on untouched streams agree too' Rscript --vanilla alarms.R line touched "$from"

# ---- the report, and that judging does not depend on how often it is asked
exits 0 'report' "$a" report shift --store line.store -o one.pdf
exits 0 'report again' env LC_ALL=de_DE.UTF-8 TZ=Asia/Tokyo HOME=/nonexistent "$a" report shift --store line.store -o two.pdf
ok 'the same bytes' cmp one.pdf two.pdf
"$a" check --json --store line.store >again.json
same 'a second check judges nothing new' "$(jq .data.samples_judged again.json)" 0
ok 'and tells the same signals' sh -c \
    "jq -S .data.signals line.check.json >s1; jq -S .data.signals again.json >s2; cmp s1 s2"
exits 0 'verify' "$a" verify --store line.store
done_testing
