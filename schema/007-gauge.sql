-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 7 of a line's store: studies of gauges.

PRAGMA user_version = 7;

-- A study of a gauge, with the file it rests on. What it says can be had again from the file.
CREATE TABLE gauge_study (
    study_id INTEGER PRIMARY KEY, -- number of the study
    known_us INTEGER NOT NULL,    -- when it was recorded
    gauge TEXT NOT NULL,          -- the gauge's name, as stations and line description have it
    kind INTEGER NOT NULL CHECK (kind IN (1, 2, 3, 4, 5)), -- 1 crossed, 2 bias, 3 linearity, 4 sorting, 5 stability
    stream TEXT,                  -- whose specification gave the tolerance; NULL: none
    part TEXT,                    -- column of the part; NULL: not used
    operator TEXT,                -- column of the operator, of a stability study of the time; NULL: not used
    reading TEXT NOT NULL,        -- column of the reading
    reference TEXT,               -- column of the reference; NULL: not used
    reference_value REAL,         -- reference of all readings; NULL: none
    tolerance REAL,               -- width of the tolerance; NULL: none
    pool_above REAL NOT NULL,     -- interaction left out of the model if its p is above this
    file TEXT NOT NULL,           -- name of the file
    data BLOB NOT NULL,           -- its bytes
    hash BLOB NOT NULL CHECK (length(hash) = 32), -- SHA-256 of the bytes
    grade INTEGER NOT NULL CHECK (grade IN (1, 2, 3)), -- 1 nothing to do, 2 look, 3 not fit
    verdict TEXT NOT NULL,        -- the result as a sentence
    author TEXT NOT NULL,         -- who answers for it
    reason TEXT NOT NULL,         -- why it was made
    system_user TEXT NOT NULL,    -- account under which it was recorded
    host TEXT NOT NULL,           -- machine on which it was recorded
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;
CREATE INDEX gauge_study_by_gauge ON gauge_study (gauge, study_id);

CREATE TRIGGER gauge_study_no_update BEFORE UPDATE ON gauge_study
BEGIN SELECT raise(ABORT, 'rows of gauge_study are only added, never changed'); END;
CREATE TRIGGER gauge_study_no_delete BEFORE DELETE ON gauge_study
BEGIN SELECT raise(ABORT, 'rows of gauge_study are only added, never deleted'); END;
