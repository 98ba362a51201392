-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 2 of a line's store: what is known of a file besides its rows, held rows that wait for an
-- item or were released, samples that were superseded or look wrong, files that never came.

PRAGMA user_version = 2;

-- 0: the file as it came; above: the rows of it that were held at first, released so many times.
ALTER TABLE file ADD COLUMN round INTEGER NOT NULL DEFAULT 0 CHECK (round >= 0);
DROP INDEX file_taken_once;
CREATE UNIQUE INDEX file_taken_once ON file (hash, round) WHERE state = 0;

-- An item's visits are looked for by time: only those that overlap can hold the same rows.
DROP INDEX visit_by_rows;
CREATE INDEX visit_by_item ON visit (item_id, last_us, first_us, file_id);

-- The column names of a station's files, each sequence of them once.
CREATE TABLE header (
    header_id INTEGER PRIMARY KEY, -- number of the header
    station TEXT NOT NULL,         -- station's name
    names TEXT NOT NULL,           -- the column names in their order, one a line
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                                   -- the file that brought it first
    UNIQUE (station, names)
) STRICT;
CREATE INDEX header_by_file ON header (file_id);

-- What a file says of itself besides its rows.
CREATE TABLE file_trait (
    file_id INTEGER PRIMARY KEY REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                                   -- the file
    station TEXT NOT NULL,         -- its station, repeated for speed
    header_id INTEGER REFERENCES header (header_id), -- its header; NULL: none was read
    identity TEXT,                 -- the machine it says it comes from; NULL: not asked for
    file_number INTEGER            -- its running number; NULL: not asked for
) STRICT;
CREATE INDEX file_trait_by_station ON file_trait (station, file_id);
CREATE INDEX file_trait_by_number ON file_trait (station, file_number);
CREATE INDEX file_trait_by_identity ON file_trait (station, identity);

-- Numbers that were passed over: the file before had a smaller one, this one a greater.
CREATE TABLE missing_file (
    missing_id INTEGER PRIMARY KEY, -- number of the record
    station TEXT NOT NULL,         -- station's name
    file_number INTEGER NOT NULL,  -- the running number that did not come
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                                   -- the file by which it was noticed
    UNIQUE (station, file_number)
) STRICT;
CREATE INDEX missing_file_by_file ON missing_file (file_id);

-- What a held row waits for: it is tried again when the item is measured.
CREATE TABLE waiting (
    held_id INTEGER PRIMARY KEY REFERENCES held (held_id), -- the held row
    kind TEXT NOT NULL,            -- kind of the item
    serial TEXT NOT NULL,          -- its serial
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED
                                   -- the file of the held row
) STRICT;
CREATE INDEX waiting_by_item ON waiting (kind, serial);
CREATE INDEX waiting_by_file ON waiting (file_id);

-- A sample whose readings were replaced by a re-measurement: kept, in no chart.
CREATE TABLE superseded (
    superseded_id INTEGER PRIMARY KEY, -- number of the record
    sample_id INTEGER NOT NULL UNIQUE REFERENCES sample (sample_id), -- the earlier sample
    stream_id INTEGER NOT NULL REFERENCES stream (stream_id),    -- its stream, for speed
    at_us INTEGER NOT NULL,        -- its event time, for speed
    by_sample_id INTEGER NOT NULL, -- samples of the re-measurement have this number or greater
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED
                                   -- the file of the re-measurement
) STRICT;
CREATE INDEX superseded_by_stream ON superseded (stream_id, by_sample_id, at_us);
CREATE INDEX superseded_by_file ON superseded (file_id);

-- A sample that was taken and is to be looked at twice before limits are made of it.
CREATE TABLE suspect (
    suspect_id INTEGER PRIMARY KEY, -- number of the record
    sample_id INTEGER NOT NULL REFERENCES sample (sample_id), -- the sample
    code TEXT NOT NULL,            -- why: "values.pinned", "gauge.due"
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                                   -- its file
    UNIQUE (sample_id, code)
) STRICT;
CREATE INDEX suspect_by_file ON suspect (file_id);

-- An act by which held rows or files were let in.
CREATE TABLE release_act (
    act_id INTEGER PRIMARY KEY,    -- number of the act
    known_us INTEGER NOT NULL,     -- when it was done
    cause INTEGER NOT NULL CHECK (cause IN (1, 2, 3)), -- 1 a person's decision, 2 the item that
                                   -- was waited for came, 3 collected again by another description
    as_is INTEGER NOT NULL CHECK (as_is IN (0, 1)), -- 1: let in against a doubt about the file
    line_revision INTEGER REFERENCES line_revision (revision), -- read by; NULL: none was in force
    file_id INTEGER NOT NULL REFERENCES file (file_id), -- the record that has the released rows
    author TEXT NOT NULL CHECK (author <> ''), -- who decided
    reason TEXT NOT NULL CHECK (reason <> ''), -- why
    system_user TEXT NOT NULL,     -- account under which it was done
    host TEXT NOT NULL,            -- machine on which it was done
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;
CREATE INDEX release_act_by_file ON release_act (file_id);

-- One held row, or one file held whole, that an act let in.
CREATE TABLE release (
    release_id INTEGER PRIMARY KEY, -- number of the release
    act_id INTEGER NOT NULL REFERENCES release_act (act_id), -- the act
    held_file_id INTEGER NOT NULL REFERENCES file (file_id), -- the file in which it was held
    held_id INTEGER REFERENCES held (held_id) -- the row; NULL: the whole file
) STRICT;
CREATE UNIQUE INDEX release_once ON release (held_id) WHERE held_id IS NOT NULL;
CREATE UNIQUE INDEX release_file_once ON release (held_file_id) WHERE held_id IS NULL;
CREATE INDEX release_by_act ON release (act_id);
CREATE INDEX release_by_file ON release (held_file_id, held_id);

CREATE TRIGGER header_no_update BEFORE UPDATE ON header
BEGIN SELECT raise(ABORT, 'rows of header are only added, never changed'); END;
CREATE TRIGGER header_no_delete BEFORE DELETE ON header
BEGIN SELECT raise(ABORT, 'rows of header are only added, never deleted'); END;
CREATE TRIGGER file_trait_no_update BEFORE UPDATE ON file_trait
BEGIN SELECT raise(ABORT, 'rows of file_trait are only added, never changed'); END;
CREATE TRIGGER file_trait_no_delete BEFORE DELETE ON file_trait
BEGIN SELECT raise(ABORT, 'rows of file_trait are only added, never deleted'); END;
CREATE TRIGGER missing_file_no_update BEFORE UPDATE ON missing_file
BEGIN SELECT raise(ABORT, 'rows of missing_file are only added, never changed'); END;
CREATE TRIGGER missing_file_no_delete BEFORE DELETE ON missing_file
BEGIN SELECT raise(ABORT, 'rows of missing_file are only added, never deleted'); END;
CREATE TRIGGER waiting_no_update BEFORE UPDATE ON waiting
BEGIN SELECT raise(ABORT, 'rows of waiting are only added, never changed'); END;
CREATE TRIGGER waiting_no_delete BEFORE DELETE ON waiting
BEGIN SELECT raise(ABORT, 'rows of waiting are only added, never deleted'); END;
CREATE TRIGGER superseded_no_update BEFORE UPDATE ON superseded
BEGIN SELECT raise(ABORT, 'rows of superseded are only added, never changed'); END;
CREATE TRIGGER superseded_no_delete BEFORE DELETE ON superseded
BEGIN SELECT raise(ABORT, 'rows of superseded are only added, never deleted'); END;
CREATE TRIGGER suspect_no_update BEFORE UPDATE ON suspect
BEGIN SELECT raise(ABORT, 'rows of suspect are only added, never changed'); END;
CREATE TRIGGER suspect_no_delete BEFORE DELETE ON suspect
BEGIN SELECT raise(ABORT, 'rows of suspect are only added, never deleted'); END;
CREATE TRIGGER release_act_no_update BEFORE UPDATE ON release_act
BEGIN SELECT raise(ABORT, 'rows of release_act are only added, never changed'); END;
CREATE TRIGGER release_act_no_delete BEFORE DELETE ON release_act
BEGIN SELECT raise(ABORT, 'rows of release_act are only added, never deleted'); END;
CREATE TRIGGER release_no_update BEFORE UPDATE ON release
BEGIN SELECT raise(ABORT, 'rows of release are only added, never changed'); END;
CREATE TRIGGER release_no_delete BEFORE DELETE ON release
BEGIN SELECT raise(ABORT, 'rows of release are only added, never deleted'); END;

-- The same views as before, which now leave out or tell what was superseded or released.
DROP VIEW view_samples;
CREATE VIEW view_samples AS
SELECT s.sample_id, t.name AS stream, t.station, t.characteristic, t.split,
       i.kind AS item_kind, i.serial,
       s.at_us, strftime('%Y-%m-%dT%H:%M:%fZ', s.at_us / 1000000.0, 'unixepoch') AS at_utc,
       v.shift, v.purpose, s.n, s.missing, s.mean,
       CASE WHEN s.n > 1 THEN sqrt(s.ssd / (s.n - 1)) END AS sd, -- with n - 1
       s.ssd, s.min_value, s.max_value, s.counted, s.opportunities, s.ribbon,
       v.gauge, v.tool, v.who, v.attempt,
       f.name AS file, s.first_line, s.last_line,
       f.known_us, strftime('%Y-%m-%dT%H:%M:%fZ', f.known_us / 1000000.0, 'unixepoch') AS known_utc,
       (SELECT group_concat(u.code, ' ') FROM suspect u WHERE u.sample_id = s.sample_id) AS suspect
FROM sample s
JOIN stream t ON t.stream_id = s.stream_id
JOIN visit v ON v.visit_id = s.visit_id
JOIN item i ON i.item_id = s.item_id
JOIN file f ON f.file_id = s.file_id
WHERE NOT EXISTS (SELECT 1 FROM superseded x WHERE x.sample_id = s.sample_id);

DROP VIEW view_held;
CREATE VIEW view_held AS
SELECT h.held_id, f.name AS file, f.station, h.line_no, h.column_no, h.column_name, h.code, h.why,
       CAST(h.raw AS TEXT) AS raw_text,
       f.known_us, strftime('%Y-%m-%dT%H:%M:%fZ', f.known_us / 1000000.0, 'unixepoch') AS known_utc,
       (SELECT r.act_id FROM release r WHERE r.held_id = h.held_id) AS released_by
FROM held h
JOIN file f ON f.file_id = h.file_id;

-- One row an act of release.
CREATE VIEW view_releases AS
SELECT a.act_id, CASE a.cause WHEN 1 THEN 'person' WHEN 2 THEN 'item came'
       ELSE 'description changed' END AS cause, a.as_is, a.author, a.reason,
       f.name AS file, f.station, a.file_id,
       (SELECT count(*) FROM release r WHERE r.act_id = a.act_id AND r.held_id IS NOT NULL) AS rows,
       (SELECT count(*) FROM release r WHERE r.act_id = a.act_id AND r.held_id IS NULL) AS files,
       f.taken, f.duplicate, a.known_us,
       strftime('%Y-%m-%dT%H:%M:%fZ', a.known_us / 1000000.0, 'unixepoch') AS known_utc
FROM release_act a
JOIN file f ON f.file_id = a.file_id;

-- One row a file that never came; came_by is the file that brought it after all.
CREATE VIEW view_missing_files AS
SELECT m.station, m.file_number, m.file_id AS noticed_by,
       (SELECT min(t.file_id) FROM file_trait t WHERE t.station = m.station
           AND t.file_number = m.file_number AND t.file_id > m.file_id) AS came_by
FROM missing_file m;
