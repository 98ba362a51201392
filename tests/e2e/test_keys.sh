#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# shellcheck disable=SC2016 # commands of an inner shell
# Acts signed by their authors: keys recorded and retired, what is refused, and the signature checked by
# openssl alone (Ed25519, RFC 8032; leaf hash as RFC 9162, 2.1.1), written here from the manual.
. "${AN_SOURCE_DIR:?the sources}/tests/e2e/support.sh"

"$ANDAMENTO" demo --days 6 demo >/dev/null 2>&1
export ANDAMENTO_STORE="$scratch/line.store"
"$ANDAMENTO" init demo/line.yaml >/dev/null 2>&1
"$ANDAMENTO" collect --quiet demo/spool >/dev/null 2>&1
"$ANDAMENTO" limits propose 'transfer.dx*' 'luminance.*' --until 2026-03-05T06:00 >/dev/null 2>&1
for name in manager new other; do "$ANDAMENTO" key new $name.key >/dev/null; done
openssl genpkey -algorithm RSA -out rsa.key 2>/dev/null
openssl pkey -in rsa.key -pubout -out rsa.key.pub
id_of() { openssl pkey -pubin -in "$1" -outform DER | sha256sum | cut -c1-16; }
manager=$(id_of manager.key.pub)
entries() { "$ANDAMENTO" head | cut -d: -f1; }
streams=$("$ANDAMENTO" limits show --csv | grep -c ',proposed,')
ok "there is something to lock" test "$streams" -gt 3

# ---- recording keys
# shellcheck disable=SC2317 # called by exits
add() { "$ANDAMENTO" key add "$@" --reason 'given in person'; }
exits 0 "no keys yet" "$ANDAMENTO" key list
same "says so" "$(cat out)" "no key is recorded"
exits 0 "add" "$ANDAMENTO" key add manager.key.pub --author 'Q. Manager' --reason 'handed over'
ok "with openssl's number of it" grep -q "^key $manager signs for Q. Manager from now on" out
before=$(entries)
exits 64 "again" add manager.key.pub --author 'Q. Manager'
says "whose it is" "key $manager is recorded already, as Q. Manager's"
exits 64 "for another" add manager.key.pub --author 'L. Engineer'
exits 64 "for nobody" add other.key.pub
exits 64 "for no reason" "$ANDAMENTO" key add other.key.pub --author 'L. Engineer'
exits 64 "no file" add --author 'L. Engineer'
exits 66 "a file that is not there" add nowhere.pub --author 'L. Engineer'
exits 65 "a private key" add other.key --author 'L. Engineer'
says "what it is" "other.key: it is a private key, which belongs to its owner alone"
exits 65 "no key" add demo/line.yaml --author 'L. Engineer'
says "what it is not" "demo/line.yaml: it is no public Ed25519 key in PEM"
exits 65 "a key of another kind" add rsa.key.pub --author 'L. Engineer'
# the point of order 1, for which S = 0 signs everything (RFC 8032, 5.1.7)
{ printf '\060\052\060\005\006\003\053\145\160\003\041\000\001'; head -c 31 /dev/zero; } |
    openssl pkey -pubin -inform DER -out weak.pub 2>/dev/null
exits 65 "a key for which anybody signs" add weak.pub --author 'L. Engineer'
says "which" "weak.pub: it is one of the few Ed25519 keys for which anybody can sign"
same "nothing was recorded of all that" "$(entries)" "$before"
same "keys as CSV" "$("$ANDAMENTO" key list --csv | cut -d, -f1,2,4,8)" "key,author,state,acts
$manager,Q. Manager,in force,0"
"$ANDAMENTO" key list --json >out
same "keys as JSON" "$(jq -r '.data[0] | .public_key_base64' out)" \
    "$(openssl pkey -pubin -in manager.key.pub -outform DER | tail -c 32 | base64)"

# ---- what is refused, and nothing done
# shellcheck disable=SC2317 # called by exits
lock() { "$ANDAMENTO" limits lock "$@" --reason 'four days'; }
before=$(entries)
exits 77 "a key that is not recorded" lock --all --author 'Q. Manager' --key other.key
says "which, and what to do" "key $(id_of other.key.pub) is not recorded: 'andamento key add'"
exits 77 "another author's" lock --all --author 'L. Engineer' --key manager.key
says "whose" "key $manager is recorded as Q. Manager's, and signs nothing for L. Engineer"
exits 66 "a file that is not there" lock --all --author 'Q. Manager' --key nowhere.key
exits 65 "the public half" lock --all --author 'Q. Manager' --key manager.key.pub
says "which file" "manager.key.pub: it is no private Ed25519 key"
exits 65 "no key" lock --all --author 'Q. Manager' --key demo/line.yaml
exits 65 "a key of another kind" lock --all --author 'Q. Manager' --key rsa.key
same "nothing was done" "$(entries)" "$before"
same "nothing was locked" "$("$ANDAMENTO" limits show --csv | grep -c ',locked,')" 0
exits 64 "reading commands take no key" "$ANDAMENTO" limits show --key manager.key

# ---- signed acts
one=$("$ANDAMENTO" limits show --csv | sed -n 's/^"\{0,1\}\(luminance[^",]*\).*proposed.*/\1/p' | head -1)
exits 0 "sign one" lock "$one" --author 'Q. Manager' --key manager.key
ok "says so" grep -q "^1 act signed with key $manager" out
exits 0 "and the others not" lock --all --author 'Q. Manager'
"$ANDAMENTO" limits show >out
same "one is shown signed" "$(grep -c "signed, key $manager" out)" 1
same "in CSV its number" "$("$ANDAMENTO" limits show --csv | grep -c ",$manager\$")" 1
"$ANDAMENTO" limits show "$one" --json >out
same "in JSON" "$(jq -r '.data[0].signed_key' out)" "$manager"
"$ANDAMENTO" check >/dev/null 2>&1
signal=$("$ANDAMENTO" signals --csv | sed -n 2p | cut -d, -f1)
exits 0 "a dry run signs nothing" "$ANDAMENTO" answer "$signal" --author 'Q. Manager' --cause x --key manager.key --dry-run
same "and says nothing of it" "$(grep -c 'signed with' out)" 0
exits 77 "yet it looks at the key" "$ANDAMENTO" answer "$signal" --author 'Q. Manager' --cause x --key other.key --dry-run
exits 0 "an answer" "$ANDAMENTO" answer "$signal" --author 'Q. Manager' --cause 'stamp worn' --key manager.key
ok "shown" sh -c '"$0" signals | grep -q "Q. Manager *signed, key"' "$ANDAMENTO"
wall=$(sqlite3 line.store "SELECT serial FROM item WHERE kind = 'tile' ORDER BY item_id LIMIT 1")
exits 0 "a correction" "$ANDAMENTO" correct serial "tile:$wall" --is "$wall-X" --author 'Q. Manager' --reason 'read again' --key manager.key
ok "shown" sh -c '"$0" correct list | grep -q "signed, key"' "$ANDAMENTO"
printf 'tile,who,x\n' >study.csv
for tile in 1 2 3 4 5; do for who in a b; do printf '%s,%s,%s\n%s,%s,%s\n' $tile $who $tile.1 $tile $who $tile.2; done; done >>study.csv
"$ANDAMENTO" gauge study study.csv --gauge G9 --columns part=tile,operator=who,reading=x --tolerance 9 \
    --author 'Q. Manager' --reason 'new' --key manager.key >/dev/null 2>&1
ok "a study" sh -c '"$0" gauge list --all | grep -q "signed, key"' "$ANDAMENTO"
"$ANDAMENTO" held release --code number.bad --author 'Q. Manager' --reason 'again' --key manager.key >/dev/null 2>err
sed 's/^zone:/keep: {readings: 1 days}\nzone:/' demo/line.yaml >keep.yaml
"$ANDAMENTO" init keep.yaml >/dev/null 2>&1
ANDAMENTO_CLOCK=2029-06-01T00:00:00Z "$ANDAMENTO" retain --yes --author 'Q. Manager' --reason 'space' --key manager.key >out 2>err
ok "dropping" grep -q "signed with key $manager" out
same "kinds of signed acts" "$(sqlite3 line.store "SELECT group_concat(kind, ' ') FROM
    (SELECT DISTINCT kind FROM view_signatures WHERE kind <> 'held.release' ORDER BY kind)")" \
    "correction gauge.study limits.locked retention signal.answered"
exits 0 "verify finds nothing" "$ANDAMENTO" verify
ok "and has compared them" grep -q "^[0-9]* signed acts and 0 signed heads compared with keys" out

# ---- with openssl alone, the steps of the manual
sed -n '/^# check-act:/,/^```/p' "$AN_SOURCE_DIR/docs/keys.md" | sed '/^```/d' >check-act
ok "the manual has the steps" test -s check-act
at=$(sqlite3 line.store "SELECT signed_entry FROM view_signatures WHERE kind = 'signal.answered'")
"$ANDAMENTO" head prove "$at" >act
"$ANDAMENTO" head prove $((at + 1)) >signed
ok "openssl finds the signature right" sh -c 'sh check-act 2>&1 | grep -q "Verified Success"'
same "it is this key" "$(sh check-act 2>/dev/null | tail -n 1)" "$manager"
root=$(sed -n 's/^payload //p' signed | jq -r .root)
exits 0 "the root it signs is of this ledger" "$ANDAMENTO" head since "$((at + 1)):$root"
cp act act.whole
sed -i 's/stamp worn/stamp good/' act
if sh check-act 2>&1 | grep -q 'Verified Success'; then fail "a planted change in the act"; fi
cp act.whole act
cp manager.key.pub kept.pub
cp other.key.pub manager.key.pub
if sh check-act 2>&1 | grep -q 'Verified Success'; then fail "another key"; fi
cp kept.pub manager.key.pub

# ---- a new key in the place of the old one
exits 0 "the new one, signed with the old" "$ANDAMENTO" key add new.key.pub --author 'Q. Manager' --reason yearly --key manager.key
exits 64 "retire without a reason" "$ANDAMENTO" key retire "$manager" --author 'Q. Manager'
exits 66 "retire what is not there" "$ANDAMENTO" key retire 0123456789abcdef --author 'Q. Manager' --reason yearly
says "what to do" "'andamento key list' lists them"
exits 0 "the old one retired" "$ANDAMENTO" key retire "$(echo "$manager" | cut -c1-8)" --author 'Q. Manager' --reason yearly --key new.key
exits 64 "twice" "$ANDAMENTO" key retire "$manager" --author 'Q. Manager' --reason yearly
before=$(entries)
exits 77 "the old one signs nothing" "$ANDAMENTO" answer "$signal" --author 'Q. Manager' --cause more --key manager.key
says "why" "key $manager was retired at .* by Q. Manager: yearly"
same "nothing was done" "$(entries)" "$before"
exits 0 "the new one does" "$ANDAMENTO" answer "$signal" --author 'Q. Manager' --cause more --key new.key
exits 0 "verify: what the old one signed is signed" "$ANDAMENTO" verify
same "as it was known before" "$("$ANDAMENTO" key list --csv --as-of $((at + 1)) | cut -d, -f4)" "state
in force"
same "and now" "$("$ANDAMENTO" key list --csv | cut -d, -f4)" "state
retired
in force"

# ---- signed heads in the store
exits 77 "by the retired key" "$ANDAMENTO" head sign --key manager.key --record
exits 0 "sign and keep" "$ANDAMENTO" head sign --key new.key --name line-one --record
cp out note
exits 64 "once" "$ANDAMENTO" head record note
says "as which" "note: this head is recorded already, as head 1"
exits 0 "signed elsewhere" "$ANDAMENTO" head sign --key new.key --name line-one
cp out later
exits 0 "and kept" "$ANDAMENTO" head record later
ok "whose" grep -q "signed by Q. Manager, key $(id_of new.key.pub)" out
"$ANDAMENTO" head sign --key other.key >unknown
exits 77 "by a key that is not recorded" "$ANDAMENTO" head record unknown
sed '2s/.*/7/' later >forged
exits 65 "changed after signing" "$ANDAMENTO" head record forged
exits 65 "no note" "$ANDAMENTO" head record demo/line.yaml
says "which line" "demo/line.yaml:[0-9]*:1: "
"$ANDAMENTO" init demo/line.yaml --store strange.store >/dev/null 2>&1
sed 's/^zone:/# another\nzone:/' demo/line.yaml >another.yaml
"$ANDAMENTO" init another.yaml --store strange.store >/dev/null 2>&1
"$ANDAMENTO" head sign --key new.key --store strange.store >strange
exits 66 "of another ledger" "$ANDAMENTO" head record strange
says "why" "strange: the ledger never had this head"
same "heads as CSV" "$("$ANDAMENTO" head list --csv | cut -d, -f1,5)" "head,signed by
1,Q. Manager
2,Q. Manager"
"$ANDAMENTO" head list --json | jq -r '.data[0].note' | sed '$d' >given-back
ok "the note is given back to the byte" cmp -s given-back note
exits 0 "and is as good as given away" "$ANDAMENTO" head check given-back --public-key new.key.pub
exits 0 "verify" "$ANDAMENTO" verify
ok "heads compared" grep -q "signed acts and 2 signed heads compared with keys" out

# ---- in somebody's hands
tampered() { # WHAT SAYS SQL
    cp line.store bad.store
    sqlite3 bad.store "SELECT 'DROP TRIGGER ' || name || ';' FROM sqlite_schema WHERE type = 'trigger'
        AND tbl_name IN ('signing_key', 'key_retirement', 'act_signature', 'signed_head', 'answer')" >drops
    { cat drops; echo "PRAGMA foreign_keys = OFF;" "$3;"; } | sqlite3 bad.store >/dev/null || fail "$1: SQL"
    exits 1 "$1" "$ANDAMENTO" verify --store bad.store
    says "$1" "$2"
}
tampered "a signature" "signature 1 on ledger entry [0-9]* (limits.locked): the signature is not that of key" \
    "UPDATE act_signature SET signature = (SELECT signature FROM act_signature WHERE signature_id = 2) WHERE signature_id = 1"
tampered "the author of a key" "the act names another author" "UPDATE signing_key SET author = 'Z' WHERE key_no = 1"
tampered "a key" "the signature is not that of key $manager" \
    "UPDATE signing_key SET public_key = (SELECT public_key FROM signing_key WHERE key_no = 2) WHERE key_no = 1"
tampered "a key taken away" "key $manager is not recorded" "DELETE FROM signing_key WHERE key_no = 1"
tampered "a key recorded later" "was not recorded yet" "UPDATE signing_key SET entry = (SELECT max(entry) FROM ledger) WHERE key_no = 1"
tampered "a key retired earlier" "had been retired before" "UPDATE key_retirement SET entry = 1"
tampered "a retirement taken away" "(key.retired): table key_retirement has no row of it" "DELETE FROM key_retirement"
tampered "a signature taken away" "(act.signed): table act_signature has no row of it" "DELETE FROM act_signature WHERE signature_id = 1"
tampered "the author of an act" "table answer, row 1: author is not what" "UPDATE answer SET author = 'Z' WHERE answer_id = 1"
tampered "a head" "signed head 1 .*: the signature is not that of key" "UPDATE signed_head SET note = replace(note, 'line', 'lone') WHERE head_id = 1"

done_testing
