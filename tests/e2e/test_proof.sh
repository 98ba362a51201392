#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Heads and proofs as an outsider checks them: with openssl, sha256sum and a shell, without the program.
# Signatures: RFC 8032; proofs: RFC 9162, 2.1.3.2 and 2.1.4.2, written here from the standard.
. "${AN_SOURCE_DIR:?the sources}/tests/e2e/support.sh"

"$ANDAMENTO" demo --days 6 demo >/dev/null 2>&1
export ANDAMENTO_STORE="$scratch/line.store"
"$ANDAMENTO" init demo/line.yaml >/dev/null 2>&1
first_half=$(find demo/spool -type f | sort | head -7)
# shellcheck disable=SC2086 # names of the demonstration hold no blanks
"$ANDAMENTO" collect --quiet $first_half >/dev/null 2>&1
early=$("$ANDAMENTO" head)
"$ANDAMENTO" collect --quiet demo/spool >/dev/null 2>&1
now=$("$ANDAMENTO" head)
size=${now%%:*}
root=${now#*:}
if [ "$early" = "$now" ] || [ "${early%%:*}" -lt 3 ]; then fail "heads: $early, $now"; fi
same "verify knows the same head" "$("$ANDAMENTO" verify --json | jq -r '"\(.data.ledger_size):\(.data.ledger_root)"')" "$now"

# ---- keys
exits 0 "a key" "$ANDAMENTO" key new one.key
same "for its owner only" "$(stat -c %a one.key)" 600
ok "openssl reads the private key" openssl pkey -in one.key -noout
ok "openssl reads the public key" openssl pkey -pubin -in one.key.pub -noout
before=$(sha256sum one.key one.key.pub)
exits 73 "a key in its place" "$ANDAMENTO" key new one.key
says "never written over" "never written over"
same "both as they were" "$(sha256sum one.key one.key.pub)" "$before"
rm -f half.key
echo other >half.key
exits 73 "a file where the private key would go" "$ANDAMENTO" key new half.key
ok "no half of a pair is left" test ! -e half.key.pub
exits 0 "another key" "$ANDAMENTO" key new two.key
exits 73 "no such folder" "$ANDAMENTO" key new nowhere/a.key
openssl genpkey -algorithm ed25519 -out made.key 2>/dev/null
openssl pkey -in made.key -pubout -out made.key.pub
openssl genpkey -algorithm RSA -out rsa.key 2>/dev/null
openssl pkey -in made.key -aes256 -passout pass:word -out shut.key

# ---- signed heads
exits 0 "sign" "$ANDAMENTO" head sign --key one.key --name line-one
cp out note
same "its first line" "$(sed -n 1p note)" line-one
same "its entries" "$(sed -n 2p note)" "$size"
same "its root" "$(sed -n 3p note | base64 -d | od -An -tx1 | tr -d ' \n')" "$root"
sed '/^$/,$d' note >signed-text
sed -n '$p' note | sed 's/.* //' | base64 -d >key-and-signature
tail -c +5 key-and-signature >signature
same "length of a signature" "$(wc -c <signature)" 64
# the key's short name: SHA-256 of name, LF, byte 1, the key's 32 bytes
same "the key's short name" "$(head -c 4 key-and-signature | od -An -tx1 | tr -d ' \n')" \
    "$({ printf 'line-one\n\001'; openssl pkey -pubin -in one.key.pub -outform DER | tail -c 32; } |
        sha256sum | cut -c1-8)"
verifies() { # TEXT KEY
    openssl pkeyutl -verify -pubin -inkey "$2" -rawin -in "$1" -sigfile signature >/dev/null 2>&1
}
ok "openssl finds the signature right" verifies signed-text one.key.pub
sed "2s/.*/$((size - 1))/" signed-text >changed-text
if verifies changed-text one.key.pub; then fail "openssl takes a changed text"; fi
if verifies signed-text two.key.pub; then fail "openssl takes another key"; fi

exits 0 "check" "$ANDAMENTO" head check note --public-key one.key.pub
ok "says that it was so" grep -q "^signed, and the ledger was so: $now\$" out
exits 1 "check with another key" "$ANDAMENTO" head check note --public-key two.key.pub
says "whose it is not" "not signed by this key"
sed "2s/.*/$((size - 1))/" note >forged
exits 1 "check of a changed note" "$ANDAMENTO" head check forged --public-key one.key.pub
says "changed" "changed after signing"
exits 0 "sign by openssl's key" "$ANDAMENTO" head sign --key made.key
cp out note-made
exits 0 "check by openssl's key" "$ANDAMENTO" head check note-made --public-key made.key.pub
{ cat note; tail -n 1 note-made; } >both
exits 0 "a second signature on it" "$ANDAMENTO" head check both --public-key one.key.pub
exits 64 "no key named" "$ANDAMENTO" head sign
exits 66 "a key that is not there" "$ANDAMENTO" head sign --key nowhere.key
exits 65 "a key that is none" "$ANDAMENTO" head sign --key demo/line.yaml
says "which file, and what" "demo/line.yaml: it is no private Ed25519 key"
exits 65 "a key of another kind" "$ANDAMENTO" head sign --key rsa.key
exits 65 "a key with a password" "$ANDAMENTO" head sign --key shut.key </dev/null
exits 65 "a public key for signing" "$ANDAMENTO" head sign --key one.key.pub
exits 64 "a name with a blank" "$ANDAMENTO" head sign --key one.key --name 'line one'
exits 65 "a note that is none" "$ANDAMENTO" head check demo/line.yaml --public-key one.key.pub
says "which line" "demo/line.yaml:[0-9]*:1: "

# ---- proofs with sha256sum
bytes() { # HEX...: as bytes; octal, since not every printf knows more
    for pair in $(echo "$*" | tr -d ' ' | sed 's/../& /g'); do
        # shellcheck disable=SC2059 # the escape is the format
        printf "\\$(printf '%03o' "0x$pair")"
    done
}
node() { bytes 01 "$1" "$2" | sha256sum | cut -c1-64; }
word() { sed -n "s/^$1 //p" proof; }
root_by_proof() {
    at=$({ printf '\000%s\n%s\n' "$(word at_us)" "$(word kind)"; word payload | head -c -1; } |
        sha256sum | cut -c1-64)
    while read -r side hash; do
        case $side in
        left) at=$(node "$hash" "$at") ;;
        right) at=$(node "$at" "$hash") ;;
        esac
    done <proof
    echo "$at"
}
for entry in 0 1 2 $((size / 2)) $((size - 2)) $((size - 1)); do
    exits 0 "proof of entry $entry" "$ANDAMENTO" head prove "$entry"
    cp out proof
    same "entry $entry is in the tree" "$(root_by_proof)" "$root"
done
sed 's/^at_us ./at_us 9/' out >proof
if [ "$(root_by_proof)" = "$root" ]; then fail "a changed entry is in the tree"; fi
exits 66 "an entry that is not there" "$ANDAMENTO" head prove "$size"
exits 64 "no number" "$ANDAMENTO" head prove 1x
"$ANDAMENTO" head prove 1 --json >out
ok "a proof as JSON" jq -e '.schema == "andamento.inclusion.1" and (.data.proof | length) > 0' out

# ---- the steps of the manual, as they stand there
block() { # NAME: what stands in docs/verify.md under it
    sed -n "/^# $1:/,/^\`\`\`/p" "$AN_SOURCE_DIR/docs/verify.md" | sed '/^```/d'
}
entry=$(sqlite3 line.store 'SELECT min(entry) FROM file WHERE state = 0')
name=$(sqlite3 line.store "SELECT name FROM file WHERE entry = $entry")
"$ANDAMENTO" head prove "$entry" >proof
cp note head-of-today
cp one.key.pub ledger.key.pub
block check-proof >check-proof
block check-signature >check-signature
ok "the manual has the steps" test -s check-proof -a -s check-signature
same "an entry is in the ledger" "$(sh check-proof)" "in the ledger under root $root"
ok "the root is signed" sh -c 'sh check-signature | grep -q Success'
same "it is this root" "$(sh check-signature | tail -n 1)" "$root"
original=$(find demo/spool -name "$name" | head -1)
same "the entry holds the hash of the original" "$(sed -n 's/^payload //p' proof | jq -r .sha256)" \
    "$(sha256sum <"$original" | cut -c1-64)"
sed -i 's/"rows":[0-9]*/"rows":1/' proof
same "a planted change in the entry shows" "$(sh check-proof)" ""
sed -i "2s/.*/$((size - 1))/" head-of-today
if sh check-signature 2>&1 | grep -q 'Verified Success'; then fail "a planted change in the head"; fi

# RFC 9162, 2.1.4.2: prints "old-root new-root" that the proof leads to
roots_since() { # FIRST ROOT-THEN SECOND, hashes one a line in `hashes`
    fn=$(($1 - 1))
    sn=$(($3 - 1))
    while [ $((fn & 1)) = 1 ]; do fn=$((fn >> 1)) sn=$((sn >> 1)); done
    # where then is a power of two its root is the first hash
    if [ $(($1 & ($1 - 1))) = 0 ]; then { echo "$2"; cat hashes; } >path; else cp hashes path; fi
    fr=$(sed -n 1p path)
    sr=$fr
    sed 1d path >rest
    while read -r c; do
        [ "$sn" -gt 0 ] || { echo too long; return; }
        if [ $((fn & 1)) = 1 ] || [ "$fn" = "$sn" ]; then
            fr=$(node "$c" "$fr")
            sr=$(node "$c" "$sr")
            while [ $((fn & 1)) = 0 ] && [ "$fn" -gt 0 ]; do fn=$((fn >> 1)) sn=$((sn >> 1)); done
        else
            sr=$(node "$sr" "$c")
        fi
        fn=$((fn >> 1)) sn=$((sn >> 1))
    done <rest
    echo "$fr $sr"
}
exits 0 "since the early head" "$ANDAMENTO" head since "$early"
sed -n 's/^hash //p' out >hashes
ok "there are hashes" test -s hashes
same "the early tree is the beginning of today's" "$(roots_since "${early%%:*}" "${early#*:}" "$size")" \
    "${early#*:} $root"
exits 0 "since today" "$ANDAMENTO" head since "$now"
ok "needs no hashes" test "$(grep -c '^hash' out)" -eq 0
exits 64 "a head that is none" "$ANDAMENTO" head since 12
exits 1 "a head of elsewhere" "$ANDAMENTO" head since "${early%%:*}:0123456789abcdef"
says "no proof" "no proof that leads from this head"
exits 1 "a head of later" "$ANDAMENTO" head since "$((size + 1)):0123456789abcdef"
says "never" "never had so many entries"

# ---- a store that was rewritten
cp line.store other.store
exits 0 "check of the copy" "$ANDAMENTO" head check note --public-key one.key.pub --store other.store
sed 's/^zone:/# another revision\nzone:/' demo/line.yaml >later.yaml
"$ANDAMENTO" init later.yaml --store other.store >/dev/null 2>&1
exits 0 "a store that went on" "$ANDAMENTO" head check note --public-key one.key.pub --store other.store
"$ANDAMENTO" init demo/line.yaml --store new.store >/dev/null 2>&1
exits 1 "a store made anew" "$ANDAMENTO" head check note --public-key one.key.pub --store new.store
says "its end" "never had so many entries"
find demo/spool -type f | sort -r >backwards
# shellcheck disable=SC2046
ANDAMENTO_CLOCK=2026-06-02T00:00:00Z "$ANDAMENTO" collect --quiet --store new.store $(cat backwards) >/dev/null 2>&1
exits 1 "the same files, another history" "$ANDAMENTO" head check note --public-key one.key.pub --store new.store
says "another root" "another root"

# ---- a ledger that was tampered with
loose() { # STORE: without the ledger's triggers
    cp line.store "$1"
    sqlite3 "$1" "SELECT 'DROP TRIGGER ' || name || ';' FROM sqlite_schema
        WHERE type = 'trigger' AND tbl_name = 'ledger'" >drops
    ok "the ledger has triggers" test -s drops
    sqlite3 "$1" <drops
}
loose cut.store
sqlite3 cut.store "DELETE FROM ledger WHERE entry = $((size - 1))"
exits 1 "the last entry cut off" "$ANDAMENTO" head check note --public-key one.key.pub --store cut.store
says "its end" "its end was cut off"
exits 1 "since a head that it no longer has" "$ANDAMENTO" head since "$now" --store cut.store
loose changed.store
sqlite3 changed.store "UPDATE ledger SET payload = payload || ' ' WHERE entry = 1"
exits 1 "an entry changed" "$ANDAMENTO" head check note --public-key one.key.pub --store changed.store
says "which" "is broken at entry 1"
loose holed.store
sqlite3 holed.store "DELETE FROM ledger WHERE entry = 1"
exits 69 "no proof out of a ledger with a hole" "$ANDAMENTO" head prove 0 --store holed.store
says "what to do" "run verify"
sqlite3 changed.store "UPDATE ledger SET leaf = zeroblob(32) WHERE entry = 2"
exits 69 "no proof that does not hold" "$ANDAMENTO" head prove 0 --store changed.store
says "what to do" "run verify"

# ---- damage: what can be compared is compared, what cannot is a finding like others
damaged() { # TABLE SET
    cp line.store damaged.store
    sqlite3 damaged.store "DROP TRIGGER $1_no_update; UPDATE $1 SET $2"
    exits 1 "damaged $1" "$ANDAMENTO" verify --store damaged.store --head "$now"
    ok "goes on to the end" grep -q '^ledger of' out
}
damaged block "packed = x'00'"
says "the file" "what is stored of file 1 is not what"
says "what could not be compared" "the samples could not be compared to the end: "
damaged line_revision "yaml = x'00'"
says "the description" "table line_revision, row 1: yaml is not what"
damaged original_piece "packed = x'00'"
says "the original" "an original kept in .* is damaged"
exits 64 "a head that is none" "$ANDAMENTO" verify --head 12:xyz
says "what a head is" "'12:xyz' is no head: write entries:root"

done_testing
