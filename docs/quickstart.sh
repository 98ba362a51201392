#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# From a fresh Debian machine to a shift report: installs the packages needed, builds, writes the
# demonstration line, collects it, learns and locks limits, judges, and draws the report of the
# newest shift. The last line printed is the path of the PDF.
set -eu
here=$(cd "$(dirname "$0")/.." && pwd)
. "$here/docs/setup.sh"
install_packages "$here/docs/packages.txt"

cmake --preset release -S "$here" -DAN_TESTS=OFF >/dev/null
cmake --build "$here/.build/release" >/dev/null
andamento=$here/.build/release/andamento

work=${1:-$here/demo-line}
if [ -e "$work" ]; then
    echo "$work is there already: remove it, or name another folder: sh docs/quickstart.sh FOLDER" >&2
    exit 73
fi
"$andamento" demo "$work"
ANDAMENTO_STORE=$work/line.store
export ANDAMENTO_STORE
"$andamento" init "$work/line.yaml"
# 1 means "done, and something needs a person": held rows here, open signals below
"$andamento" collect --quiet "$work/spool" || [ $? -eq 1 ]
# the first days of the demonstration line are its baseline
until=$(sed -n 's/.*"baseline_until": *"\([^"]*\)".*/\1/p' "$work/truth.json")
"$andamento" limits propose --all --until "$until" --quiet --csv >"$work/proposal.csv" || [ $? -eq 1 ]
"$andamento" limits lock --all --author 'Demo Engineer' --in-force-from "$until" \
    --reason 'first days of the demonstration line, looked at and found steady'
"$andamento" check >"$work/signals.txt" || [ $? -eq 1 ]
sed -n '1p' "$work/signals.txt"
"$andamento" report shift --quiet -o "$work/shift.pdf" >/dev/null
echo "$work/shift.pdf"
