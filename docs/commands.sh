#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Prints docs/commands.md from the program's own help: sh docs/commands.sh PROGRAM >docs/commands.md
set -eu
program=${1:?the built program}
cat <<'END'
# Commands

Made from each command's `--help` by `sh docs/commands.sh`; a test sees that it is current.

| exit status | meaning |
| --- | --- |
| 0 | done, nothing to report |
| 1 | done, and something needs a person: an open signal, a held row or file, a warning, a finding |
| 64 | the command line is wrong |
| 65 | the input cannot be used, and nothing of it was stored |
| 66 | a file, stream or record that was named does not exist |
| 69 | not a store, a damaged one, or one made by a newer program |
| 70 | a promise of the program's own is broken: please report it |
| 73 | an output file cannot be made |
| 74 | reading, writing or syncing failed; the disk may be full |
| 75 | busy: another writer holds the store, or memory is out; try again |
| 77 | not permitted |
| 78 | the line description or a report definition is wrong |

END
"$program" --help | sed -n 's/^  \([a-z][a-z ]*[a-z]\)   *[a-z].*/\1/p' | while read -r command; do
    printf '## %s\n\n' "$command"
    # shellcheck disable=SC2086
    "$program" $command --help | sed 's/^./    &/'
    echo
done
