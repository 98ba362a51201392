#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The service unit as systemd reads it: no mistake in it, and little that it could do to the machine
# (exposure at most 2.0 of 10 as systemd-analyze counts it). Passed over where there is no systemd.
set -eu
folder=${AN_SOURCE_DIR:?}/docs/service
if ! command -v systemd-analyze >/dev/null; then
    echo "no systemd-analyze here: the unit is not checked"
    exit 0
fi
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
failed=0
fail() {
    echo "FAILED: $*" >&2
    failed=1
}

check() { # folder-of-unit
    systemd-analyze security --offline=yes --no-pager --threshold=20 \
        "$1/andamento-collect.service" >"$scratch/security" 2>&1
}
sed "s#/usr/bin/andamento#${ANDAMENTO:?}#" "$folder/andamento-collect.service" \
    >"$scratch/andamento-collect.service"
check "$scratch" || fail "exposed: $(tail -1 "$scratch/security")"
tail -1 "$scratch/security"
systemd-analyze verify --man=no "$scratch/andamento-collect.service" >"$scratch/verify" 2>&1 ||
    fail "verify: $(cat "$scratch/verify")"
! grep -i 'unknown\|invalid\|failed' "$scratch/verify" || fail 'verify complains'
# statuses after which a restart would not help, as docs/commands and the manual have them
for status in 64 65 66 73 77 78; do
    grep -q "^RestartPreventExitStatus=.*\b$status\b" "$folder/andamento-collect.service" ||
        fail "status $status restarts"
done

# the check can fail: an open unit is found to be one
mkdir "$scratch/open"
printf '[Service]\nExecStart=/bin/true\n' >"$scratch/open/andamento-collect.service"
if check "$scratch/open"; then fail 'an open unit passes'; fi
exit "$failed"
