-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 9 of a line's store: public keys and whose they are, what was signed with their private
-- halves, and signed heads of the ledger. A private key is never in a store.

PRAGMA user_version = 9;

-- A public key with which an author signs acts, or heads of the ledger.
CREATE TABLE signing_key (
    key_no INTEGER PRIMARY KEY,    -- number of the key
    key_id TEXT NOT NULL UNIQUE CHECK (length(key_id) = 16), -- first digits of SHA-256, in
                                   -- hexadecimal, of the key as SubjectPublicKeyInfo in DER
    public_key BLOB NOT NULL CHECK (length(public_key) = 32), -- Ed25519 (RFC 8032)
    known_us INTEGER NOT NULL,     -- when it was recorded
    author TEXT NOT NULL CHECK (author <> ''), -- whose it is: it signs acts of this author only
    reason TEXT NOT NULL CHECK (reason <> ''), -- how it was handed over, or why it is a new one
    system_user TEXT NOT NULL,     -- account that recorded it
    host TEXT NOT NULL,            -- machine on which it was recorded
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;

-- From its entry on, the key signs nothing more; what it signed before stays signed.
CREATE TABLE key_retirement (
    retirement_id INTEGER PRIMARY KEY, -- number of the retirement
    key_id TEXT NOT NULL UNIQUE REFERENCES signing_key (key_id), -- the key
    known_us INTEGER NOT NULL,     -- when it was retired
    author TEXT NOT NULL CHECK (author <> ''), -- who retired it
    reason TEXT NOT NULL CHECK (reason <> ''), -- why: lost, replaced, its owner left
    system_user TEXT NOT NULL,     -- account under which it was done
    host TEXT NOT NULL,            -- machine on which it was done
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;

-- An author's signature on one entry of the ledger and on the tree that it completed. docs/keys.md
-- has the bytes that are signed.
CREATE TABLE act_signature (
    signature_id INTEGER PRIMARY KEY, -- number of the signature
    signed_entry INTEGER NOT NULL UNIQUE REFERENCES ledger (entry), -- entry of the act
    leaf BLOB NOT NULL CHECK (length(leaf) = 32), -- its hash
    root BLOB NOT NULL CHECK (length(root) = 32), -- root of the tree of all entries up to it
    key_id TEXT NOT NULL REFERENCES signing_key (key_id), -- the key whose private half signed
    signature TEXT NOT NULL CHECK (length(signature) = 88), -- Ed25519, in base64
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its own ledger entry
) STRICT;
CREATE INDEX act_signature_by_key ON act_signature (key_id);

-- A head of the ledger that somebody signed, kept beside what it is about.
CREATE TABLE signed_head (
    head_id INTEGER PRIMARY KEY,   -- number of the head
    known_us INTEGER NOT NULL,     -- when it was recorded
    entries INTEGER NOT NULL CHECK (entries > 0), -- of the ledger, as the note says
    root BLOB NOT NULL CHECK (length(root) = 32), -- of their tree, as the note says
    key_id TEXT NOT NULL REFERENCES signing_key (key_id), -- a key that signed the note
    note TEXT NOT NULL UNIQUE,     -- the signed note as it was given
    system_user TEXT NOT NULL,     -- account that recorded it
    host TEXT NOT NULL,            -- machine on which it was recorded
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;
CREATE INDEX signed_head_by_key ON signed_head (key_id);

CREATE TRIGGER signing_key_no_update BEFORE UPDATE ON signing_key
BEGIN SELECT raise(ABORT, 'rows of signing_key are only added, never changed'); END;
CREATE TRIGGER signing_key_no_delete BEFORE DELETE ON signing_key
BEGIN SELECT raise(ABORT, 'rows of signing_key are only added, never deleted'); END;
CREATE TRIGGER key_retirement_no_update BEFORE UPDATE ON key_retirement
BEGIN SELECT raise(ABORT, 'rows of key_retirement are only added, never changed'); END;
CREATE TRIGGER key_retirement_no_delete BEFORE DELETE ON key_retirement
BEGIN SELECT raise(ABORT, 'rows of key_retirement are only added, never deleted'); END;
CREATE TRIGGER act_signature_no_update BEFORE UPDATE ON act_signature
BEGIN SELECT raise(ABORT, 'rows of act_signature are only added, never changed'); END;
CREATE TRIGGER act_signature_no_delete BEFORE DELETE ON act_signature
BEGIN SELECT raise(ABORT, 'rows of act_signature are only added, never deleted'); END;
CREATE TRIGGER signed_head_no_update BEFORE UPDATE ON signed_head
BEGIN SELECT raise(ABORT, 'rows of signed_head are only added, never changed'); END;
CREATE TRIGGER signed_head_no_delete BEFORE DELETE ON signed_head
BEGIN SELECT raise(ABORT, 'rows of signed_head are only added, never deleted'); END;

-- One row a key; in force until retired_us.
CREATE VIEW view_signing_keys AS
SELECT k.key_id, k.author, k.reason, lower(hex(k.public_key)) AS public_key,
       k.known_us, strftime('%Y-%m-%dT%H:%M:%fZ', k.known_us / 1000000.0, 'unixepoch') AS known_utc,
       r.known_us AS retired_us,
       strftime('%Y-%m-%dT%H:%M:%fZ', r.known_us / 1000000.0, 'unixepoch') AS retired_utc,
       r.author AS retired_by, r.reason AS retired_because,
       (SELECT count(*) FROM act_signature s WHERE s.key_id = k.key_id) AS acts,
       (SELECT count(*) FROM signed_head h WHERE h.key_id = k.key_id) AS heads
FROM signing_key k
LEFT JOIN key_retirement r ON r.key_id = k.key_id;

-- One row a signed act; signed_utc is when the act was recorded.
CREATE VIEW view_signatures AS
SELECT s.signature_id, s.signed_entry, l.kind, k.author, s.key_id, s.signature,
       lower(hex(s.leaf)) AS leaf_sha256, lower(hex(s.root)) AS root_sha256,
       l.at_us AS signed_us,
       strftime('%Y-%m-%dT%H:%M:%fZ', l.at_us / 1000000.0, 'unixepoch') AS signed_utc
FROM act_signature s
JOIN signing_key k ON k.key_id = s.key_id
JOIN ledger l ON l.entry = s.signed_entry;
