-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 10 of a line's store: what was found to be wrong, and what is right. What was recorded
-- stays; a correction is in force until another one undoes it.

PRAGMA user_version = 10;

-- One row an act of correction.
CREATE TABLE correction (
    correction_id INTEGER PRIMARY KEY, -- number of the correction
    kind INTEGER NOT NULL CHECK (kind IN (1, 2, 3, 4, 5)), -- 1 serial, 2 parent, 3 unit,
                                   -- 4 withdrawn, 5 undone
    known_us INTEGER NOT NULL,     -- when it was recorded
    item_id INTEGER REFERENCES item (item_id), -- serial: the item named wrongly; parent: the whole;
                                   -- NULL: about no item
    was_id INTEGER REFERENCES item (item_id), -- parent: the part named wrongly; NULL: not a parent
    is_id INTEGER REFERENCES item (item_id), -- serial: the item of the right serial; parent: the
                                   -- right part; NULL: there is none
    serial TEXT,                   -- serial: the right one; NULL: not a serial
    file_id INTEGER REFERENCES file (file_id), -- unit, withdrawn: of this file only; NULL: of any
    stream TEXT,                   -- unit, withdrawn: station.characteristic; NULL: all, or none
    factor REAL CHECK (factor > 0), -- unit: by which its values are multiplied; NULL: not a unit
    effects INTEGER NOT NULL CHECK (effects >= 0), -- rows of corrected_link or corrected_sample
    undoes INTEGER REFERENCES correction (correction_id), -- undone: which one; NULL: none
    before TEXT NOT NULL,          -- what was recorded, in words
    after TEXT NOT NULL,           -- what holds instead, in words
    author TEXT NOT NULL CHECK (author <> ''), -- who answers for it
    reason TEXT NOT NULL CHECK (reason <> ''), -- why
    system_user TEXT NOT NULL,     -- account under which it was done
    host TEXT NOT NULL,            -- machine on which it was done
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;
CREATE INDEX correction_by_item ON correction (item_id, kind);
CREATE INDEX correction_by_other ON correction (is_id) WHERE is_id IS NOT NULL;
CREATE INDEX correction_by_serial ON correction (serial) WHERE serial IS NOT NULL;
CREATE UNIQUE INDEX correction_undone_once ON correction (undoes) WHERE undoes IS NOT NULL;

-- A link whose part was another one.
CREATE TABLE corrected_link (
    correction_id INTEGER NOT NULL REFERENCES correction (correction_id)
        DEFERRABLE INITIALLY DEFERRED, -- the correction
    link_id INTEGER NOT NULL REFERENCES link (link_id), -- the link
    parent_id INTEGER REFERENCES item (item_id), -- the right part; NULL: there was no such link
    PRIMARY KEY (correction_id, link_id)
) STRICT;
CREATE INDEX corrected_link_by_link ON corrected_link (link_id);
CREATE INDEX corrected_link_by_parent ON corrected_link (parent_id);

-- A sample that is withdrawn, or whose values were in another unit.
CREATE TABLE corrected_sample (
    correction_id INTEGER NOT NULL REFERENCES correction (correction_id)
        DEFERRABLE INITIALLY DEFERRED, -- the correction
    sample_id INTEGER NOT NULL REFERENCES sample (sample_id), -- the sample
    stream_id INTEGER NOT NULL REFERENCES stream (stream_id), -- its stream, for speed
    at_us INTEGER NOT NULL,        -- its event time, for speed
    factor REAL,                   -- by which its values are multiplied; NULL: withdrawn
    PRIMARY KEY (correction_id, sample_id)
) STRICT;
CREATE INDEX corrected_sample_by_sample ON corrected_sample (sample_id);
CREATE INDEX corrected_sample_by_stream ON corrected_sample (stream_id, correction_id, at_us);

CREATE TRIGGER correction_no_update BEFORE UPDATE ON correction
BEGIN SELECT raise(ABORT, 'rows of correction are only added, never changed'); END;
CREATE TRIGGER correction_no_delete BEFORE DELETE ON correction
BEGIN SELECT raise(ABORT, 'rows of correction are only added, never deleted'); END;
CREATE TRIGGER corrected_link_no_update BEFORE UPDATE ON corrected_link
BEGIN SELECT raise(ABORT, 'rows of corrected_link are only added, never changed'); END;
CREATE TRIGGER corrected_link_no_delete BEFORE DELETE ON corrected_link
BEGIN SELECT raise(ABORT, 'rows of corrected_link are only added, never deleted'); END;
CREATE TRIGGER corrected_sample_no_update BEFORE UPDATE ON corrected_sample
BEGIN SELECT raise(ABORT, 'rows of corrected_sample are only added, never changed'); END;
CREATE TRIGGER corrected_sample_no_delete BEFORE DELETE ON corrected_sample
BEGIN SELECT raise(ABORT, 'rows of corrected_sample are only added, never deleted'); END;

-- One row a correction; undone_by is the correction that took it back.
CREATE VIEW view_corrections AS
SELECT c.correction_id, CASE c.kind WHEN 1 THEN 'serial' WHEN 2 THEN 'parent' WHEN 3 THEN 'unit'
       WHEN 4 THEN 'withdrawn' ELSE 'undone' END AS kind,
       c.before, c.after, c.effects, c.undoes,
       (SELECT u.correction_id FROM correction u WHERE u.undoes = c.correction_id) AS undone_by,
       c.author, c.reason, c.system_user, c.host, c.known_us,
       strftime('%Y-%m-%dT%H:%M:%fZ', c.known_us / 1000000.0, 'unixepoch') AS known_utc
FROM correction c;

-- The same view as before, with corrected values and without what was withdrawn.
DROP VIEW view_samples;
CREATE VIEW view_samples AS
SELECT s.sample_id, t.name AS stream, t.station, t.characteristic, t.split,
       i.kind AS item_kind,
       coalesce((SELECT n.serial FROM correction n WHERE n.item_id = i.item_id AND n.kind = 1
           AND n.is_id IS NULL AND NOT EXISTS
           (SELECT 1 FROM correction u WHERE u.undoes = n.correction_id)), i.serial) AS serial,
       s.at_us, strftime('%Y-%m-%dT%H:%M:%fZ', s.at_us / 1000000.0, 'unixepoch') AS at_utc,
       v.shift, v.purpose, s.n, s.missing, s.mean * coalesce(c.factor, 1.0) AS mean,
       CASE WHEN s.n > 1 THEN sqrt(s.ssd / (s.n - 1)) * coalesce(c.factor, 1.0) END AS sd,
       s.ssd * coalesce(c.factor, 1.0) * coalesce(c.factor, 1.0) AS ssd,
       s.min_value * coalesce(c.factor, 1.0) AS min_value,
       s.max_value * coalesce(c.factor, 1.0) AS max_value, s.counted, s.opportunities, s.ribbon,
       v.gauge, v.tool, v.who, v.attempt,
       f.name AS file, s.first_line, s.last_line,
       f.known_us, strftime('%Y-%m-%dT%H:%M:%fZ', f.known_us / 1000000.0, 'unixepoch') AS known_utc,
       (SELECT group_concat(u.code, ' ') FROM suspect u WHERE u.sample_id = s.sample_id) AS suspect,
       c.correction_id AS corrected_by
FROM sample s
JOIN stream t ON t.stream_id = s.stream_id
JOIN visit v ON v.visit_id = s.visit_id
JOIN item i ON i.item_id = s.item_id
JOIN file f ON f.file_id = s.file_id
LEFT JOIN corrected_sample c ON c.sample_id = s.sample_id AND NOT EXISTS
    (SELECT 1 FROM correction u WHERE u.undoes = c.correction_id)
WHERE NOT EXISTS (SELECT 1 FROM superseded x WHERE x.sample_id = s.sample_id)
  AND (c.sample_id IS NULL OR c.factor IS NOT NULL);

-- The same view as before, with the right part of each link and without links that were none. An end
-- that was told of the wrong part ended the link, too.
DROP VIEW view_links;
CREATE VIEW view_links AS
SELECT k.link_id, p.kind AS parent_kind,
       coalesce((SELECT n.serial FROM correction n WHERE n.item_id = p.item_id AND n.kind = 1
           AND n.is_id IS NULL AND NOT EXISTS
           (SELECT 1 FROM correction u WHERE u.undoes = n.correction_id)), p.serial) AS parent,
       c.kind AS child_kind,
       coalesce((SELECT n.serial FROM correction n WHERE n.item_id = c.item_id AND n.kind = 1
           AND n.is_id IS NULL AND NOT EXISTS
           (SELECT 1 FROM correction u WHERE u.undoes = n.correction_id)), c.serial) AS child,
       k.role, k.region, k.share, k.row_no, k.column_no,
       k.at_us, strftime('%Y-%m-%dT%H:%M:%fZ', k.at_us / 1000000.0, 'unixepoch') AS at_utc,
       f.name AS file, k.line_no,
       e.at_us AS until_us,
       strftime('%Y-%m-%dT%H:%M:%fZ', e.at_us / 1000000.0, 'unixepoch') AS until_utc,
       CASE t.confidence WHEN 1 THEN 'scanned' WHEN 2 THEN 'typed' WHEN 3 THEN 'inferred' END
           AS confidence,
       r.correction_id AS corrected_by
FROM link k
LEFT JOIN corrected_link r ON r.link_id = k.link_id AND NOT EXISTS
    (SELECT 1 FROM correction u WHERE u.undoes = r.correction_id)
JOIN item p ON p.item_id = coalesce(r.parent_id, k.parent_id)
JOIN item c ON c.item_id = k.child_id
JOIN file f ON f.file_id = k.file_id
LEFT JOIN link_trait t ON t.link_id = k.link_id
LEFT JOIN link_end e ON e.end_id = (SELECT x.end_id FROM link_end x
    WHERE x.child_id = k.child_id AND x.parent_id IN (k.parent_id, r.parent_id)
    AND (k.at_us IS NULL OR x.at_us > k.at_us) AND (x.role IS NULL OR x.role IS k.role)
    AND (x.region IS NULL OR x.region IS k.region) AND (x.row_no IS NULL OR x.row_no IS k.row_no)
    AND (x.column_no IS NULL OR x.column_no IS k.column_no) ORDER BY x.at_us, x.end_id LIMIT 1)
WHERE r.link_id IS NULL OR r.parent_id IS NOT NULL;
