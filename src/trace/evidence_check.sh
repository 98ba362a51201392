#!/bin/sh
# Checks this folder of evidence: sh check.sh [PUBLIC-KEY]
# Wants sh, sha256sum, od, sed, grep, tail, base64, cat and, for signatures, openssl 3. STEPS.txt says what is
# proved by which step, and what is not. PUBLIC-KEY: the signer's key as you had it from elsewhere.
# Exit status 0: all is as proved; 1: a line for each thing that is not; 2: it cannot be checked.
LC_ALL=C
export LC_ALL
key=${1:-public.key}
case $key in
public.key | /*) ;;
*) key=$PWD/$key ;;
esac
cd "$(dirname "$0")" || exit 2
for tool in sha256sum od sed grep tail base64 cat; do
    command -v $tool >/dev/null || { echo "$tool is missing here"; exit 2; }
done
wrong=0
not() {
    echo "$*"
    wrong=1
}
sum() { # FILE: its SHA-256
    [ -f "$1" ] || return 0
    set -- $(sha256sum <"$1")
    echo "$1"
}
bytes() { # HEX: its bytes
    left=$1
    octal=
    while [ "$left" ]; do
        value=$((0x${left%"${left#??}"}))
        left=${left#??}
        octal="$octal\\$((value >> 6))$((value >> 3 & 7))$((value & 7))"
    done
    printf "$octal"
}
join() { # LEFT RIGHT: sets `at` to the hash of their node, RFC 9162, 2.1.1
    at=$(bytes "01$1$2" | sha256sum)
    at=${at%% *}
}
is_hash() {
    case $1 in
    *[!0-9a-f]*) return 1 ;;
    esac
    [ ${#1} -eq 64 ]
}
is_number() {
    case $1 in
    '' | *[!0-9]*) return 1 ;;
    esac
    [ ${#1} -le 18 ]
}
signed_by_key() { # TEXT SIGNATURE
    openssl pkeyutl -verify -pubin -inkey "$key" -rawin -in "$1" -sigfile "$2" >/dev/null 2>&1
}

# 1. no file is other than when the folder was written
report=$(sha256sum -c SHA256SUMS 2>/dev/null)
while read -r line; do
    case $line in
    *': OK' | '') ;;
    *) not "${line%%: FAILED*}: not as SHA256SUMS has it" ;;
    esac
done <<END
$report
END
[ "$(echo "$report" | grep -c '^')" = "$(grep -c '^' SHA256SUMS)" ] ||
    not "SHA256SUMS: a line of it is no sum"

# 2. the head, and who signed
IFS=: read -r size root <head.txt
if ! is_number "$size" || [ "$size" -lt 1 ] || ! is_hash "$root"; then
    not "head.txt: it is no head"
    exit 1
fi
signed="unsigned: compare head $size:$root with one that you have from elsewhere"
if [ $# -gt 0 ] || [ -e head.note ] || [ -e SHA256SUMS.sig ]; then
    command -v openssl >/dev/null || { echo "openssl is missing here"; exit 2; }
    work=$(mktemp -d) || exit 2
    trap 'rm -rf "$work"' EXIT
    cat head.note >"$work/note" 2>/dev/null || not "head.note: it is missing"
    sed '/^$/,$d' "$work/note" >"$work/text"
    sed -n '$s/.* //p' "$work/note" | base64 -d 2>/dev/null | tail -c +5 >"$work/signature"
    signed_by_key "$work/text" "$work/signature" || not "head.note: not signed by $key"
    [ "$(sed -n 2p "$work/note")" = "$size" ] || not "head.note: another number of entries than head.txt"
    [ "$(sed -n 3p "$work/note" | base64 -d 2>/dev/null | od -An -v -tx1 | tr -d ' \n')" = "$root" ] ||
        not "head.note: another root than head.txt"
    signed_by_key SHA256SUMS SHA256SUMS.sig || not "SHA256SUMS.sig: SHA256SUMS is not signed by $key"
    signed="signed by $key: compare that key with the signer's as you have it from elsewhere"
fi

# 3. each leaf leads to the root: RFC 9162, 2.1.3.2
leaves=0
while read -r entry path; do
    leaf=leaves/$entry
    if ! is_number "$entry" || [ ! -f "$leaf" ]; then
        not "paths.txt: there is no leaf '$entry'"
        continue
    fi
    leaves=$((leaves + 1))
    [ "$(od -An -tx1 -N1 "$leaf")" = " 00" ] || not "$leaf: does not begin as a leaf does"
    at=$(sum "$leaf")
    fn=$entry
    sn=$((size - 1))
    for hash in $path; do
        if ! is_hash "$hash" || [ "$fn" -gt "$sn" ] || [ "$sn" -eq 0 ]; then
            at=none
            break
        fi
        if [ $((fn & 1)) -eq 1 ] || [ "$fn" -eq "$sn" ]; then
            join "$hash" "$at"
            while [ $((fn & 1)) -eq 0 ] && [ "$fn" -ne 0 ]; do
                fn=$((fn >> 1))
                sn=$((sn >> 1))
            done
        else
            join "$at" "$hash"
        fi
        fn=$((fn >> 1))
        sn=$((sn >> 1))
    done
    [ "$fn" -eq 0 ] && [ "$sn" -eq 0 ] && [ "$at" = "$root" ] || not "$leaf: its path does not lead to the root"
done <paths.txt
for leaf in leaves/*; do
    grep -q "^${leaf#leaves/}\( \|\$\)" paths.txt || not "$leaf: paths.txt has no path of it"
done

# 4. each original is the one of which its leaf tells
kept=0
dropped=0
while read -r entry hash state; do
    if ! is_number "$entry" || ! is_hash "$hash" || [ ! -f "leaves/$entry" ]; then
        not "sources.txt: there is no leaf '$entry'"
        continue
    fi
    tail -c +2 "leaves/$entry" | grep -q "\"\(sha256\|hash\)\":\"$hash\"" ||
        not "leaves/$entry: does not tell of originals/$hash"
    if [ "$state" = kept ]; then
        kept=$((kept + 1))
        [ "$(sum "originals/$hash")" = "$hash" ] || not "originals/$hash: its SHA-256 is not its name"
    else
        dropped=$((dropped + 1))
    fi
done <sources.txt
for file in leaves/*; do
    entry=${file#leaves/}
    if tail -c +2 "$file" | sed -n 2p | grep -q '^\(file\.taken\|file\.held\|line\|gauge\.study\)$' &&
        ! grep -q "^$entry " sources.txt; then
        not "$file: sources.txt does not have its original"
    fi
done

# 5. hits that share a leaf are those of which it tells
for leaf in leaves/*; do
    entry=${leaf#leaves/}
    tail -c +2 "$leaf" | sed -n 2p | grep -q '^signal\.hits$' || continue
    tail -c +2 "$leaf" | grep -q "\"hits_sha256\":\"$(sum "hits/$entry")\"" ||
        not "hits/$entry: they are not those of which leaves/$entry tells"
done

[ "$wrong" -eq 0 ] || exit 1
echo "as proved: $leaves leaves under head $size:$root, $kept originals, $dropped no longer kept"
echo "$signed"
