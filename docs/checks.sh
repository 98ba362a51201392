#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Writes docs/checks.md: what the statistics were compared with, how often, and the largest difference
# found. Runs the suites of the stat layer and the comparisons with R of a build folder.
#   sh docs/checks.sh BUILD_FOLDER >docs/checks.md
set -eu
build=$(realpath "${1:?the build folder}")
here=$(cd "$(dirname "$0")/.." && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
export AN_CHECKS="$work/checks" CK_VERBOSITY=silent CK_DEFAULT_TIMEOUT=600 LC_ALL=C.UTF-8
export AN_REFERENCE_HARNESS="$build/reference_harness"
for suite in "$build"/stat_test_*; do "$suite" >&2; done
for script in "$here"/tests/reference/test_*.R; do
    (cd "$here/tests/reference" && Rscript --vanilla "$script" >&2)
done

# The comment right above a test, as far as it is one.
for file in "$here"/tests/stat/test_*.c; do
    awk -v file="$(basename "$file")" '
        /^\/\*/ { text = ""; inside = 1 }
        inside { line = $0; gsub(/^\/?[ *]+|[ *]+\/?$/, "", line); text = text (text ? " " : "") line }
        /\*\// { inside = 0; next }
        /^START_TEST/ { name = $0; gsub(/^START_TEST\(|\).*$/, "", name)
            gsub(/-- *|--+/, "", text); gsub(/\|/, "/", text)
            print file "\t" name "_fn\t" text; text = "" }
        /^[^ ]/ && !inside { text = "" }' "$file"
done >"$work/words"
for file in "$here"/tests/stat/data/*_expected.csv; do
    printf '%s\t\t%s\n' "$(basename "$file")" \
        "$(grep '^#' "$file" | sed 's/^# *//; s/|/\//g' | tr '\n' ' ')"
done >>"$work/words"

cat <<'END'
# What the statistics were checked against

Made by `sh docs/checks.sh BUILD_FOLDER`, from the tests as they ran. Differences are relative; where a source prints
few digits, the difference is that of its rounding. "bound" is the widest that a test of the row allows: simulated
and printed values have wide ones.

## Against R

Base R and nlme, asked the same questions (`tests/reference`).

| what | numbers | largest difference | bound |
| --- | ---: | ---: | ---: |
END
rows() { # of lines "a<TAB>b<TAB>off<TAB>bound": per a and b
    awk -F '\t' '{ k = $1 "\t" $2; n[k]++; if ($3 > w[k]) w[k] = $3; if ($4 > b[k]) b[k] = $4 }
        END { for (k in n) printf "%s\t%d\t%.1e\t%.1e\n", k, n[k], w[k], b[k] }' | sort
}
grep '^R	' "$work/checks" | rows | awk -F '\t' '{ printf "| %s | %s | %s | %s |\n", $2, $3, $4, $5 }'
cat <<'END'

## Against published tables with every number beside it

`tests/stat/data`: "computed" was worked out with base R from the same data, "printed" stands in the source.

| table | which | numbers | largest difference | bound | source |
| --- | --- | ---: | ---: | ---: | --- |
END
grep '^[a-z_]*[.]csv	' "$work/checks" | rows | awk -F '\t' -v words="$work/words" '
    BEGIN { while ((getline line < words) > 0) { split(line, f, "\t"); if (f[2] == "") of[f[1]] = f[3] } }
    { printf "| %s | %s | %s | %s | %s | %s |\n", $1, $2, $3, $4, $5, of[$1] }'
cat <<'END'

## Suite by suite

Worked examples of standards and handbooks, closed forms, values by hand, simulations with a fixed seed. Where the
last column is empty, the source stands at the head of the file or beside the numbers.

| suite | test | numbers | largest difference | bound | against |
| --- | --- | ---: | ---: | ---: | --- |
END
grep '^test_[a-z_]*[.]c	' "$work/checks" | rows | awk -F '\t' -v words="$work/words" '
    BEGIN { while ((getline line < words) > 0) { split(line, f, "\t"); of[f[1] "\t" f[2]] = f[3] } }
    { test = $2; sub(/_fn$/, "", test); gsub(/_/, " ", test); suite = $1; gsub(/^test_|[.]c$/, "", suite)
        printf "| %s | %s | %s | %s | %s | %s |\n", suite, test, $3, $4, $5, of[$1 "\t" $2] }'
printf '\n%s numbers in all, with R %s.\n' "$(wc -l <"$work/checks")" \
    "$(Rscript --vanilla -e 'cat(R.version$major, R.version$minor, sep = ".")')"
