-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 3 of a line's store: what is kept no longer. Readings and originals may go once a row
-- here says of which file, by whom and why; everything else stays for good.

PRAGMA user_version = 3;

-- One row an act: the files of one transaction of a retain run.
CREATE TABLE retention (
    retention_id INTEGER PRIMARY KEY, -- number of the act
    known_us INTEGER NOT NULL,     -- when it was done
    files INTEGER NOT NULL CHECK (files > 0), -- files with a row in retention_file
    bytes INTEGER NOT NULL,        -- freed: the sum over them
    digest BLOB NOT NULL CHECK (length(digest) = 32), -- SHA-256 of its rows of retention_file;
                                   -- docs/retention.md has the bytes
    author TEXT NOT NULL CHECK (author <> ''), -- who had it done
    reason TEXT NOT NULL CHECK (reason <> ''), -- why
    line_revision INTEGER REFERENCES line_revision (revision), -- whose 'keep' it followed;
                                   -- NULL: none was in the store
    system_user TEXT NOT NULL,     -- account under which it was done
    host TEXT NOT NULL,            -- machine on which it was done
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;

-- What went of a file. Written before anything is deleted, in the same transaction.
CREATE TABLE retention_file (
    file_id INTEGER NOT NULL REFERENCES file (file_id), -- the file
    kind INTEGER NOT NULL CHECK (kind IN (1, 2)), -- 1 readings, 2 original
    retention_id INTEGER NOT NULL
        REFERENCES retention (retention_id) DEFERRABLE INITIALLY DEFERRED,
                                   -- the act
    row_count INTEGER NOT NULL,    -- rows of block, or of original_piece, that went
    bytes INTEGER NOT NULL,        -- packed bytes in them
    hash BLOB NOT NULL CHECK (length(hash) = 32), -- 1: of the rows, as in the file's digest
                                   -- (docs/store.md); 2: of the original's bytes
    PRIMARY KEY (file_id, kind)
) STRICT, WITHOUT ROWID;
CREATE INDEX retention_file_by_act ON retention_file (retention_id, file_id, kind);

CREATE TRIGGER retention_no_update BEFORE UPDATE ON retention
BEGIN SELECT raise(ABORT, 'rows of retention are only added, never changed'); END;
CREATE TRIGGER retention_no_delete BEFORE DELETE ON retention
BEGIN SELECT raise(ABORT, 'rows of retention are only added, never deleted'); END;
CREATE TRIGGER retention_file_no_update BEFORE UPDATE ON retention_file
BEGIN SELECT raise(ABORT, 'rows of retention_file are only added, never changed'); END;
CREATE TRIGGER retention_file_no_delete BEFORE DELETE ON retention_file
BEGIN SELECT raise(ABORT, 'rows of retention_file are only added, never deleted'); END;

-- Instead of the triggers of format 1: a row may go if the record for its file and kind stands.
DROP TRIGGER block_no_delete;
CREATE TRIGGER block_no_delete BEFORE DELETE ON block
WHEN NOT EXISTS (SELECT 1 FROM retention_file WHERE file_id = OLD.file_id AND kind = 1)
BEGIN SELECT raise(ABORT, 'rows of block are only added, never deleted'); END;
DROP TRIGGER original_no_delete;
CREATE TRIGGER original_no_delete BEFORE DELETE ON original
WHEN NOT EXISTS (SELECT 1 FROM retention_file WHERE file_id = OLD.file_id AND kind = 2)
BEGIN SELECT raise(ABORT, 'rows of original are only added, never deleted'); END;
DROP TRIGGER original_piece_no_delete;
CREATE TRIGGER original_piece_no_delete BEFORE DELETE ON original_piece
WHEN NOT EXISTS (SELECT 1 FROM retention_file WHERE file_id = OLD.file_id AND kind = 2)
BEGIN SELECT raise(ABORT, 'rows of original_piece are only added, never deleted'); END;

-- One row a file and kind that is kept no longer.
CREATE VIEW view_kept_no_longer AS
SELECT f.file_id, f.name AS file, f.station, lower(hex(f.hash)) AS sha256,
       CASE d.kind WHEN 1 THEN 'readings' ELSE 'original' END AS what, d.row_count, d.bytes,
       r.author, r.reason, r.known_us,
       strftime('%Y-%m-%dT%H:%M:%fZ', r.known_us / 1000000.0, 'unixepoch') AS known_utc,
       r.retention_id, r.entry
FROM retention_file d
JOIN retention r ON r.retention_id = d.retention_id
JOIN file f ON f.file_id = d.file_id;
