#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A spool with files that may not be read and names that nobody would choose: each is told in a line,
# and the others are taken. What may not be read needs a user who may not: nobody, when we are root.
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
a=$ANDAMENTO
as=
if [ "$(id -u)" -eq 0 ]; then
    as='setpriv --reuid=65534 --regid=65534 --clear-groups'
    chmod 0777 .
    # shellcheck disable=SC2086
    $as "$a" --version >/dev/null 2>&1 || as=none # the program lies where nobody may not enter
fi
cat >line.yaml <<'END'
line: spool-test
zone: UTC
shifts: {day: 06:00}
kinds: {free: {title: item}}
stations:
  one:
    folder: spool
    time: {column: at}
    item: {kind: free, column: id}
    characteristics: {x: {column: x, unit: um}}
END
mkdir -p spool/closed spool/open
file() { printf 'id,at,x\n%s,2026-03-04T06:00:00Z,0.5\n' "$2" >"$1"; }
file spool/a.csv A
file spool/z.csv Z
file spool/open/b.csv B
file spool/denied.csv D
file spool/closed/c.csv C
file 'spool/-rf.csv' N1
file "$(printf 'spool/two\nlines.csv')" N2
file "$(printf 'spool/\265m.csv')" N3
file "$(printf 'spool/\033[2J.csv')" N4
ln -s /etc/passwd spool/link.csv
mkfifo spool/pipe.csv
mkdir spool/folder.csv
chmod 000 spool/denied.csv spool/closed
if [ "$as" != none ]; then
    # shellcheck disable=SC2086
    exits 0 init $as "$a" init --store s line.yaml
    # shellcheck disable=SC2086
    exits 1 collect $as timeout 60 "$a" collect --store s spool --station one
    says 'the file' 'denied.csv: not permitted'
    says 'the folder' 'closed: not permitted'
    says 'the link' 'link.csv: is a symbolic link'
    says 'the pipe' 'pipe.csv: is a pipe, not a regular file'
    ok 'no control characters on the terminal' sh -c '! grep -q "$(printf "\033")" err'
    same 'lines told' "$(wc -l <err)" 4
    ok 'the others are taken' grep -q '^7 files taken, 0 held, 0 seen before' out
    chmod 644 spool/denied.csv
    chmod 755 spool/closed
    # shellcheck disable=SC2086
    exits 1 'once they may be read' $as "$a" collect --store s spool --station one
    ok 'they are taken too' grep -q '^2 files taken, 0 held, 7 seen before' out
    exits 0 verify "$a" verify --store s
else
    echo 'nobody may not run the program: left out'
    chmod 755 spool/closed
fi
done_testing
