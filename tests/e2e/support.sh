# SPDX-License-Identifier: GPL-3.0-or-later
# What the end-to-end scripts share: a scratch folder, checks that say what they saw, exit statuses.
set -u
: "${ANDAMENTO:?the built program}"
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
cd "$scratch" || exit 1
failures=0
checks=0
export ANDAMENTO_CLOCK=2026-06-01T00:00:00Z

fail() {
    echo "FAILED: $*" >&2
    failures=$((failures + 1))
}

# ok TEXT COMMAND...: the command succeeds
ok() {
    checks=$((checks + 1))
    what=$1
    shift
    "$@" || fail "$what"
}

# same TEXT GOT WANTED
same() {
    checks=$((checks + 1))
    [ "$2" = "$3" ] || fail "$1: got '$2', wanted '$3'"
}

# near TEXT GOT WANTED RELATIVE-TOLERANCE
near() {
    checks=$((checks + 1))
    awk -v g="$2" -v w="$3" -v t="$4" 'BEGIN {
        if (g !~ /^[-+0-9.]/ || w !~ /^[-+0-9.]/) exit 1
        d = g - w; if (d < 0) d = -d; s = w < 0 ? -w : w; if (s == 0) s = 1
        exit !(d <= t * s)
    }' || fail "$1: got '$2', wanted '$3' within $4 relative"
}

# exits WANTED TEXT COMMAND...: runs it, keeps out and err, compares the exit status
exits() {
    checks=$((checks + 1))
    wanted=$1
    what=$2
    shift 2
    "$@" >out 2>err
    got=$?
    [ "$got" -eq "$wanted" ] || {
        fail "$what: exit status $got, wanted $wanted; stderr: $(head -3 err)"
    }
}

# says TEXT PATTERN: the last error output has exactly that, in one line
says() {
    checks=$((checks + 1))
    grep -q -- "$2" err || fail "$1: stderr '$(head -3 err)' does not say '$2'"
}

done_testing() {
    echo "$((checks - failures)) passed, $failures failed"
    [ "$failures" -eq 0 ]
    exit
}
