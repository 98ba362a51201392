-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 1 of a line's store: the tables. Records are only added; triggers at the end refuse the
-- rest. Times ending in _us are microseconds since 1970-01-01T00:00:00Z (POSIX, no leap seconds).
-- Ids count from 1 in order of arrival and are given by the one writer. Rows that belong to a
-- file are written before the file's own row, in the same transaction: hence the deferred keys.

PRAGMA application_id = 1634624621; -- "andm"
PRAGMA user_version = 1;

-- One entry for each act; entry k is leaf k of a Merkle tree as in RFC 9162, section 2.1.
CREATE TABLE ledger (
    entry INTEGER PRIMARY KEY CHECK (entry >= 0), -- from 0, without gaps
    at_us INTEGER NOT NULL,   -- when it became known; written by the store
    kind TEXT NOT NULL,       -- which act: "file", "limits.lock", "signal", ...
    payload TEXT NOT NULL,    -- canonical JSON: what was done, with a digest where it is large
    leaf BLOB NOT NULL CHECK (length(leaf) = 32),       -- SHA-256 of 00, at_us LF kind LF payload
    peaks BLOB NOT NULL CHECK (length(peaks) % 32 = 0)  -- roots of the full subtrees of the tree
                              -- of all entries up to this one, largest first: what is needed to
                              -- extend it, and to know its root
) STRICT;

-- Every revision of the line description that was in force.
CREATE TABLE line_revision (
    revision INTEGER PRIMARY KEY,  -- from 1
    known_us INTEGER NOT NULL,     -- when it was taken
    hash BLOB NOT NULL CHECK (length(hash) = 32), -- SHA-256 of yaml
    folder TEXT NOT NULL,          -- where relative spool folders start
    yaml BLOB NOT NULL,            -- the description as it was read
    system_user TEXT NOT NULL,     -- account that did it
    host TEXT NOT NULL,            -- machine on which it was done
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;

-- One row for each file that was taken or held whole; written by collect.
CREATE TABLE file (
    file_id INTEGER PRIMARY KEY, -- number of the file
    hash BLOB NOT NULL CHECK (length(hash) = 32), -- SHA-256 of the original bytes
    bytes INTEGER NOT NULL CHECK (bytes >= 0),    -- length of the original
    name TEXT NOT NULL,            -- base name, made safe to show
    path TEXT NOT NULL,            -- as it was given
    station TEXT,                  -- NULL: no station of the description fits
    modified_us INTEGER,           -- the file's own time; NULL: not known
    known_us INTEGER NOT NULL,     -- when it was taken
    line_revision INTEGER REFERENCES line_revision (revision), -- NULL: none was in force
    state INTEGER NOT NULL CHECK (state IN (0, 1)), -- 0 taken, 1 held whole
    code TEXT,                     -- reason of a held file; NULL: taken
    why TEXT,                      -- the reason as a sentence; NULL: taken
    why_line INTEGER NOT NULL,     -- line the reason is about, from 1; 0: none
    why_column INTEGER NOT NULL,   -- field the reason is about, from 1; 0: none
    notes TEXT,                    -- JSON array of {code, text, line}; NULL: nothing noted
    rows_in INTEGER NOT NULL,      -- lines seen after the header
    taken INTEGER NOT NULL CHECK (taken >= 0),         -- of them: stored
    duplicate INTEGER NOT NULL CHECK (duplicate >= 0), -- of them: had been stored before
    held INTEGER NOT NULL CHECK (held >= 0),           -- of them: kept in table held
    blank INTEGER NOT NULL CHECK (blank >= 0),         -- of them: empty
    first_us INTEGER,              -- earliest event time of its rows; NULL: no row
    last_us INTEGER,               -- latest event time of its rows; NULL: no row
    about_first_us INTEGER NOT NULL, -- first_us; without rows: modified_us, or else known_us
    about_last_us INTEGER NOT NULL,  -- last_us; without rows: modified_us, or else known_us
    entry INTEGER NOT NULL REFERENCES ledger (entry), -- its ledger entry
    CHECK (rows_in = taken + duplicate + held + blank)
) STRICT;
CREATE UNIQUE INDEX file_taken_once ON file (hash) WHERE state = 0;
CREATE INDEX file_by_hash ON file (hash, state, file_id);
CREATE INDEX file_by_known ON file (known_us, file_id);
CREATE INDEX file_by_station ON file (station, last_us);
CREATE INDEX file_by_about ON file (about_last_us, about_first_us);

-- The same bytes seen again.
CREATE TABLE file_sighting (
    sighting_id INTEGER PRIMARY KEY, -- number of the sighting
    file_id INTEGER NOT NULL REFERENCES file (file_id), -- the file that was known already
    path TEXT NOT NULL,            -- where the bytes lay this time
    known_us INTEGER NOT NULL,     -- when that was noticed
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;
CREATE INDEX file_sighting_by_file ON file_sighting (file_id);

-- The original bytes of a file: one zstd frame, cut into pieces.
CREATE TABLE original (
    file_id INTEGER PRIMARY KEY REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                               -- the file that told it
    hash BLOB NOT NULL CHECK (length(hash) = 32), -- SHA-256 of the bytes before packing
    bytes INTEGER NOT NULL,        -- their length
    pieces INTEGER NOT NULL        -- rows of original_piece
) STRICT;
CREATE INDEX original_by_hash ON original (hash);

CREATE TABLE original_piece (
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                               -- the file that told it
    piece INTEGER NOT NULL,        -- from 0
    packed BLOB NOT NULL,          -- next part of the zstd frame, at most 1 MiB
    PRIMARY KEY (file_id, piece)
) STRICT;

-- Anything with a serial: wafer, carrier, tile, wall, material lot.
CREATE TABLE item (
    item_id INTEGER PRIMARY KEY, -- number of the item
    kind TEXT NOT NULL,            -- as the line description names it
    serial TEXT NOT NULL,          -- as the station wrote it, in UTF-8
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                                   -- the file that named it first
    UNIQUE (kind, serial)
) STRICT;
CREATE INDEX item_by_file ON item (file_id);

-- One characteristic within one split: what has a chart.
CREATE TABLE stream (
    stream_id INTEGER PRIMARY KEY, -- number of the stream
    station TEXT NOT NULL,         -- station's name
    characteristic TEXT NOT NULL,  -- characteristic's name
    split TEXT NOT NULL,           -- "colour=R,head=H2"; empty: not split
    name TEXT NOT NULL UNIQUE,     -- station.characteristic@split
    file_id INTEGER REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                                   -- the file that brought it first; NULL: added outside a file
    entry INTEGER REFERENCES ledger (entry), -- its own ledger entry; NULL: told by its file's
    UNIQUE (station, characteristic, split)
) STRICT;
CREATE INDEX stream_by_file ON stream (file_id);

-- Parent went into child.
CREATE TABLE link (
    link_id INTEGER PRIMARY KEY, -- number of the link
    child_id INTEGER NOT NULL REFERENCES item (item_id),  -- the whole
    parent_id INTEGER NOT NULL REFERENCES item (item_id), -- what went into it
    role TEXT,                     -- as what ("R", "backplane"); NULL: not told
    region TEXT,                   -- named place in the child; NULL: not told
    share REAL,                    -- part of the parent used, 0 to 1; NULL: not told
    row_no INTEGER,                -- row in the child's grid; NULL: not told
    column_no INTEGER,             -- column in the child's grid; NULL: not told
    at_us INTEGER,                 -- event time; NULL: not told
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                               -- the file that told it
    line_no INTEGER NOT NULL       -- line of the file, from 1
) STRICT;
CREATE UNIQUE INDEX link_once ON link (child_id, parent_id, coalesce(role, ''),
    coalesce(region, ''), coalesce(row_no, -1), coalesce(column_no, -1));
CREATE INDEX link_by_parent ON link (parent_id, child_id);
CREATE INDEX link_by_file ON link (file_id);

-- One item's stay at a station as one file tells it.
CREATE TABLE visit (
    visit_id INTEGER PRIMARY KEY, -- number of the visit
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                               -- the file that told it
    item_id INTEGER NOT NULL REFERENCES item (item_id), -- the item
    first_us INTEGER NOT NULL,     -- earliest event time of its rows
    last_us INTEGER NOT NULL,      -- latest event time of its rows
    shift_from_us INTEGER,         -- start of its shift, fixed at intake; NULL: between shifts
    shift TEXT,                    -- label of that shift, "2026-03-04 night"; NULL: between shifts
    first_line INTEGER NOT NULL,   -- lines of the file, from 1
    last_line INTEGER NOT NULL, -- the last of them
    rows_taken INTEGER NOT NULL,   -- rows of the item in the file
    rows_digest BLOB NOT NULL CHECK (length(rows_digest) = 32), -- of its rows, in any order
    purpose TEXT,                  -- NULL: production; else "reference", "engineering", ...
    gauge TEXT,                    -- what measured; NULL: not told
    tool TEXT,                     -- what did the work; NULL: not told
    who TEXT,                      -- who did it; NULL: not told
    attempt TEXT                   -- number of the attempt, as written; NULL: not told
) STRICT;
CREATE INDEX visit_by_rows ON visit (item_id, rows_digest, file_id);
CREATE INDEX visit_by_file ON visit (file_id);

-- One rational subgroup with the statistics charts are made of, in the characteristic's unit.
CREATE TABLE sample (
    sample_id INTEGER PRIMARY KEY, -- number of the sample
    stream_id INTEGER NOT NULL REFERENCES stream (stream_id), -- the stream
    ordinal INTEGER NOT NULL,      -- how many samples the stream has with this one
    visit_id INTEGER NOT NULL REFERENCES visit (visit_id), -- the visit it was made in
    item_id INTEGER NOT NULL REFERENCES item (item_id), -- of the visit, repeated for speed
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                               -- the file that told it
    at_us INTEGER NOT NULL,        -- event time of its last row
    shift_from_us INTEGER,         -- start of its shift; NULL: between shifts
    n INTEGER NOT NULL,            -- readings used
    missing INTEGER NOT NULL,      -- readings that were codes or empty
    mean REAL,                     -- NULL: no reading
    ssd REAL,                      -- sum of squared deviations from the mean; NULL: no reading
    min_value REAL,                -- smallest reading; NULL: no reading
    max_value REAL,                -- largest reading; NULL: no reading
    counted REAL,                  -- count of events; NULL: a measured characteristic
    opportunities REAL,            -- among so many; NULL: a measured characteristic
    decimals INTEGER NOT NULL,     -- most decimals among its readings, in the column's unit
    first_line INTEGER NOT NULL,   -- lines of the file, from 1
    last_line INTEGER NOT NULL, -- the last of them
    ribbon TEXT                    -- upstream batch, several joined by " + "; NULL: not known
) STRICT;
CREATE INDEX sample_by_time ON sample (stream_id, at_us, sample_id);
CREATE INDEX sample_by_arrival ON sample (stream_id, sample_id, at_us);
CREATE INDEX sample_by_file ON sample (file_id);

-- The readings themselves: one column of one block of taken rows; src/store/packed.h has the bytes.
CREATE TABLE block (
    block_id INTEGER PRIMARY KEY, -- number of the block
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                               -- the file that told it
    column_name TEXT NOT NULL,     -- of the file; "@line", "@visit": line number, visit_id
    block_no INTEGER NOT NULL,     -- from 0
    kind INTEGER NOT NULL CHECK (kind IN (1, 2)), -- 1 numbers, 2 texts
    row_count INTEGER NOT NULL,    -- rows in the block
    packed BLOB NOT NULL, -- src/store/packed.h has the bytes
    UNIQUE (file_id, column_name, block_no)
) STRICT;

-- Rows that were not taken.
CREATE TABLE held (
    held_id INTEGER PRIMARY KEY, -- number of the held row
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                               -- the file that told it
    line_no INTEGER NOT NULL,      -- first line of the row in the file, from 1
    column_no INTEGER NOT NULL,    -- field, from 1; 0: about the whole row
    column_name TEXT,              -- its name; NULL: about the whole row
    code TEXT NOT NULL,            -- reason code; docs/held.md lists them
    why TEXT NOT NULL,             -- the reason as a sentence
    raw BLOB NOT NULL              -- the row as it stood, at most 64 KiB
) STRICT;
CREATE INDEX held_by_file ON held (file_id, code);
CREATE INDEX held_by_code ON held (code);

-- Limits of a stream as learnt from a baseline; they judge nothing until limits_lock says so.
CREATE TABLE limits (
    limits_id INTEGER PRIMARY KEY, -- number of the limits
    stream_id INTEGER NOT NULL REFERENCES stream (stream_id), -- the stream
    known_us INTEGER NOT NULL,     -- when they were proposed
    baseline_from_us INTEGER,      -- event times of the baseline; NULL: open
    baseline_until_us INTEGER,     -- (the end not included); NULL: open
    baseline_samples INTEGER NOT NULL, -- samples used
    model TEXT NOT NULL,           -- JSON: family, centre, sigmas, positions, diagnostics
    exclusions TEXT,               -- JSON array of {sample_id, reason}; NULL: none
    system_user TEXT NOT NULL,     -- account that proposed them
    host TEXT NOT NULL,            -- machine on which that was done
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;
CREATE INDEX limits_by_stream ON limits (stream_id, limits_id);

-- What a person decided about proposed limits.
CREATE TABLE limits_lock (
    limits_id INTEGER PRIMARY KEY REFERENCES limits (limits_id), -- decided once
    known_us INTEGER NOT NULL,     -- when it was decided
    decision INTEGER NOT NULL CHECK (decision IN (1, 2)), -- 1 locked, 2 refused
    in_force_us INTEGER,           -- event time from which they judge; NULL: refused
    author TEXT NOT NULL CHECK (author <> ''), -- who decided
    reason TEXT NOT NULL CHECK (reason <> ''), -- why
    system_user TEXT NOT NULL,     -- account under which it was done
    host TEXT NOT NULL,            -- machine on which it was done
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;

-- An episode: points of one stream that met rules, close to each other.
CREATE TABLE signal (
    signal_id INTEGER PRIMARY KEY, -- number of the signal
    stream_id INTEGER NOT NULL REFERENCES stream (stream_id), -- the stream
    limits_id INTEGER REFERENCES limits (limits_id), -- in force at the signal; NULL: none
    known_us INTEGER NOT NULL,         -- when it was found
    first_sample_id INTEGER NOT NULL REFERENCES sample (sample_id), -- start of the first window
    first_us INTEGER NOT NULL,         -- its event time
    signal_sample_id INTEGER NOT NULL REFERENCES sample (sample_id), -- where it was first met
    signal_us INTEGER NOT NULL,        -- its event time
    panel INTEGER NOT NULL CHECK (panel IN (0, 1)),    -- 0 level, 1 spread
    side INTEGER NOT NULL CHECK (side IN (-1, 0, 1)),  -- 1 above, -1 below, 0 neither
    rule INTEGER NOT NULL,             -- number of the rule, as in stat/rules.h
    entry INTEGER NOT NULL REFERENCES ledger (entry)   -- its ledger entry
) STRICT;
CREATE INDEX signal_by_stream ON signal (stream_id, signal_us);

-- A point at which a rule was met.
CREATE TABLE hit (
    hit_id INTEGER PRIMARY KEY, -- number of the hit
    signal_id INTEGER NOT NULL REFERENCES signal (signal_id), -- the signal
    stream_id INTEGER NOT NULL REFERENCES stream (stream_id), -- of the signal, repeated for speed
    sample_id INTEGER NOT NULL REFERENCES sample (sample_id), -- the point
    at_us INTEGER NOT NULL,            -- its event time
    window_first_sample_id INTEGER NOT NULL REFERENCES sample (sample_id), -- start of the window
    rule INTEGER NOT NULL,             -- number of the rule, as in stat/rules.h
    panel INTEGER NOT NULL CHECK (panel IN (0, 1)),    -- 0 level, 1 spread
    side INTEGER NOT NULL CHECK (side IN (-1, 0, 1)),  -- 1 above, -1 below, 0 neither
    value REAL,                        -- plotted statistic; NULL: not a number
    z REAL,                            -- its distance from the centre in sigmas; NULL: no sigma
    known_us INTEGER NOT NULL,         -- when it was found
    entry INTEGER NOT NULL REFERENCES ledger (entry)   -- its ledger entry
) STRICT;
CREATE INDEX hit_by_signal ON hit (signal_id, at_us);
CREATE INDEX hit_by_stream ON hit (stream_id, at_us, rule);
CREATE INDEX hit_by_time ON hit (at_us, signal_id);

-- A hit that no longer holds once late samples came.
CREATE TABLE hit_withdrawal (
    hit_id INTEGER PRIMARY KEY REFERENCES hit (hit_id), -- the hit; withdrawn once
    known_us INTEGER NOT NULL,         -- when it was withdrawn
    reason TEXT NOT NULL,              -- why
    entry INTEGER NOT NULL REFERENCES ledger (entry)   -- its ledger entry
) STRICT;

-- How far a stream was judged, one row a check.
CREATE TABLE judged (
    judged_id INTEGER PRIMARY KEY, -- number of the row
    stream_id INTEGER NOT NULL REFERENCES stream (stream_id), -- the stream
    limits_id INTEGER REFERENCES limits (limits_id), -- newest in force then; NULL: none
    newest_sample_id INTEGER NOT NULL, -- newest of the stream then; 0: none
    until_us INTEGER,                  -- newest event time judged; NULL: none
    samples INTEGER NOT NULL,          -- judged in that check
    known_us INTEGER NOT NULL,         -- when
    entry INTEGER NOT NULL REFERENCES ledger (entry)   -- its ledger entry
) STRICT;
CREATE INDEX judged_by_stream ON judged (stream_id, judged_id);

-- What people found and did about a signal.
CREATE TABLE answer (
    answer_id INTEGER PRIMARY KEY, -- number of the answer
    signal_id INTEGER NOT NULL REFERENCES signal (signal_id), -- the signal
    known_us INTEGER NOT NULL,         -- when it was recorded
    author TEXT NOT NULL CHECK (author <> ''), -- who answers
    cause TEXT,                        -- what was found; NULL: not told
    action TEXT,                       -- what was done; NULL: not told
    containment TEXT,                  -- what was done with the items; NULL: not told
    reason TEXT NOT NULL,              -- why this answer
    system_user TEXT NOT NULL,         -- account under which it was done
    host TEXT NOT NULL,                -- machine on which it was done
    entry INTEGER NOT NULL REFERENCES ledger (entry)   -- its ledger entry
) STRICT;
CREATE INDEX answer_by_signal ON answer (signal_id);

CREATE TRIGGER ledger_no_update BEFORE UPDATE ON ledger
BEGIN SELECT raise(ABORT, 'rows of ledger are only added, never changed'); END;
CREATE TRIGGER ledger_no_delete BEFORE DELETE ON ledger
BEGIN SELECT raise(ABORT, 'rows of ledger are only added, never deleted'); END;
CREATE TRIGGER line_revision_no_update BEFORE UPDATE ON line_revision
BEGIN SELECT raise(ABORT, 'rows of line_revision are only added, never changed'); END;
CREATE TRIGGER line_revision_no_delete BEFORE DELETE ON line_revision
BEGIN SELECT raise(ABORT, 'rows of line_revision are only added, never deleted'); END;
CREATE TRIGGER file_no_update BEFORE UPDATE ON file
BEGIN SELECT raise(ABORT, 'rows of file are only added, never changed'); END;
CREATE TRIGGER file_no_delete BEFORE DELETE ON file
BEGIN SELECT raise(ABORT, 'rows of file are only added, never deleted'); END;
CREATE TRIGGER file_sighting_no_update BEFORE UPDATE ON file_sighting
BEGIN SELECT raise(ABORT, 'rows of file_sighting are only added, never changed'); END;
CREATE TRIGGER file_sighting_no_delete BEFORE DELETE ON file_sighting
BEGIN SELECT raise(ABORT, 'rows of file_sighting are only added, never deleted'); END;
CREATE TRIGGER original_no_update BEFORE UPDATE ON original
BEGIN SELECT raise(ABORT, 'rows of original are only added, never changed'); END;
CREATE TRIGGER original_no_delete BEFORE DELETE ON original
BEGIN SELECT raise(ABORT, 'rows of original are only added, never deleted'); END;
CREATE TRIGGER original_piece_no_update BEFORE UPDATE ON original_piece
BEGIN SELECT raise(ABORT, 'rows of original_piece are only added, never changed'); END;
CREATE TRIGGER original_piece_no_delete BEFORE DELETE ON original_piece
BEGIN SELECT raise(ABORT, 'rows of original_piece are only added, never deleted'); END;
CREATE TRIGGER item_no_update BEFORE UPDATE ON item
BEGIN SELECT raise(ABORT, 'rows of item are only added, never changed'); END;
CREATE TRIGGER item_no_delete BEFORE DELETE ON item
BEGIN SELECT raise(ABORT, 'rows of item are only added, never deleted'); END;
CREATE TRIGGER stream_no_update BEFORE UPDATE ON stream
BEGIN SELECT raise(ABORT, 'rows of stream are only added, never changed'); END;
CREATE TRIGGER stream_no_delete BEFORE DELETE ON stream
BEGIN SELECT raise(ABORT, 'rows of stream are only added, never deleted'); END;
CREATE TRIGGER link_no_update BEFORE UPDATE ON link
BEGIN SELECT raise(ABORT, 'rows of link are only added, never changed'); END;
CREATE TRIGGER link_no_delete BEFORE DELETE ON link
BEGIN SELECT raise(ABORT, 'rows of link are only added, never deleted'); END;
CREATE TRIGGER visit_no_update BEFORE UPDATE ON visit
BEGIN SELECT raise(ABORT, 'rows of visit are only added, never changed'); END;
CREATE TRIGGER visit_no_delete BEFORE DELETE ON visit
BEGIN SELECT raise(ABORT, 'rows of visit are only added, never deleted'); END;
CREATE TRIGGER sample_no_update BEFORE UPDATE ON sample
BEGIN SELECT raise(ABORT, 'rows of sample are only added, never changed'); END;
CREATE TRIGGER sample_no_delete BEFORE DELETE ON sample
BEGIN SELECT raise(ABORT, 'rows of sample are only added, never deleted'); END;
CREATE TRIGGER block_no_update BEFORE UPDATE ON block
BEGIN SELECT raise(ABORT, 'rows of block are only added, never changed'); END;
CREATE TRIGGER block_no_delete BEFORE DELETE ON block
BEGIN SELECT raise(ABORT, 'rows of block are only added, never deleted'); END;
CREATE TRIGGER held_no_update BEFORE UPDATE ON held
BEGIN SELECT raise(ABORT, 'rows of held are only added, never changed'); END;
CREATE TRIGGER held_no_delete BEFORE DELETE ON held
BEGIN SELECT raise(ABORT, 'rows of held are only added, never deleted'); END;
CREATE TRIGGER limits_no_update BEFORE UPDATE ON limits
BEGIN SELECT raise(ABORT, 'rows of limits are only added, never changed'); END;
CREATE TRIGGER limits_no_delete BEFORE DELETE ON limits
BEGIN SELECT raise(ABORT, 'rows of limits are only added, never deleted'); END;
CREATE TRIGGER limits_lock_no_update BEFORE UPDATE ON limits_lock
BEGIN SELECT raise(ABORT, 'rows of limits_lock are only added, never changed'); END;
CREATE TRIGGER limits_lock_no_delete BEFORE DELETE ON limits_lock
BEGIN SELECT raise(ABORT, 'rows of limits_lock are only added, never deleted'); END;
CREATE TRIGGER signal_no_update BEFORE UPDATE ON signal
BEGIN SELECT raise(ABORT, 'rows of signal are only added, never changed'); END;
CREATE TRIGGER signal_no_delete BEFORE DELETE ON signal
BEGIN SELECT raise(ABORT, 'rows of signal are only added, never deleted'); END;
CREATE TRIGGER hit_no_update BEFORE UPDATE ON hit
BEGIN SELECT raise(ABORT, 'rows of hit are only added, never changed'); END;
CREATE TRIGGER hit_no_delete BEFORE DELETE ON hit
BEGIN SELECT raise(ABORT, 'rows of hit are only added, never deleted'); END;
CREATE TRIGGER hit_withdrawal_no_update BEFORE UPDATE ON hit_withdrawal
BEGIN SELECT raise(ABORT, 'rows of hit_withdrawal are only added, never changed'); END;
CREATE TRIGGER hit_withdrawal_no_delete BEFORE DELETE ON hit_withdrawal
BEGIN SELECT raise(ABORT, 'rows of hit_withdrawal are only added, never deleted'); END;
CREATE TRIGGER judged_no_update BEFORE UPDATE ON judged
BEGIN SELECT raise(ABORT, 'rows of judged are only added, never changed'); END;
CREATE TRIGGER judged_no_delete BEFORE DELETE ON judged
BEGIN SELECT raise(ABORT, 'rows of judged are only added, never deleted'); END;
CREATE TRIGGER answer_no_update BEFORE UPDATE ON answer
BEGIN SELECT raise(ABORT, 'rows of answer are only added, never changed'); END;
CREATE TRIGGER answer_no_delete BEFORE DELETE ON answer
BEGIN SELECT raise(ABORT, 'rows of answer are only added, never deleted'); END;
