-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 10 of a line's store: what was found to be wrong, and what is right. Nothing that was
-- recorded changes: a correction stands beside it, and is read over it.

PRAGMA user_version = 10;

-- What a person put right. In force as long as no later correction undoes it.
CREATE TABLE correction (
    correction_id INTEGER PRIMARY KEY, -- number of the correction
    known_us INTEGER NOT NULL,     -- when it was recorded
    kind INTEGER NOT NULL CHECK (kind IN (1, 2, 3, 4)), -- 1 the serial of an item, 2 the parent of
                                   -- a link, 3 a sample withdrawn, 4 an earlier correction undone
    item_id INTEGER REFERENCES item (item_id), -- 1: the item under its wrong serial; else NULL
    serial TEXT,                   -- 1: its right serial; else NULL
    link_id INTEGER REFERENCES link (link_id), -- 2: the link; else NULL
    parent_id INTEGER REFERENCES item (item_id), -- 2: its right parent; else NULL
    sample_id INTEGER REFERENCES sample (sample_id), -- 3: the sample; else NULL
    stream_id INTEGER REFERENCES stream (stream_id), -- 3, and 4 of a 3: the sample's stream, which
                                   -- is to be judged again; else NULL
    at_us INTEGER,                 -- with stream_id: event time of the sample; else NULL
    undoes INTEGER UNIQUE REFERENCES correction (correction_id), -- 4: the correction; else NULL
    author TEXT NOT NULL CHECK (author <> ''), -- who answers for it
    reason TEXT NOT NULL CHECK (reason <> ''), -- why
    system_user TEXT NOT NULL,     -- account under which it was done
    host TEXT NOT NULL,            -- machine on which it was done
    entry INTEGER NOT NULL REFERENCES ledger (entry), -- its ledger entry
    CHECK ((kind = 1) = (item_id IS NOT NULL AND serial IS NOT NULL)),
    CHECK ((kind = 2) = (link_id IS NOT NULL AND parent_id IS NOT NULL)),
    CHECK ((kind = 3) = (sample_id IS NOT NULL)),
    CHECK ((kind = 4) = (undoes IS NOT NULL))
) STRICT;
CREATE INDEX correction_by_item ON correction (item_id) WHERE item_id IS NOT NULL;
CREATE INDEX correction_by_serial ON correction (serial) WHERE serial IS NOT NULL;
CREATE INDEX correction_by_link ON correction (link_id) WHERE link_id IS NOT NULL;
CREATE INDEX correction_by_parent ON correction (parent_id) WHERE parent_id IS NOT NULL;
CREATE INDEX correction_by_sample ON correction (sample_id) WHERE sample_id IS NOT NULL;
CREATE INDEX correction_by_stream ON correction (stream_id, entry) WHERE stream_id IS NOT NULL;

CREATE TRIGGER correction_no_update BEFORE UPDATE ON correction
BEGIN SELECT raise(ABORT, 'rows of correction are only added, never changed'); END;
CREATE TRIGGER correction_no_delete BEFORE DELETE ON correction
BEGIN SELECT raise(ABORT, 'rows of correction are only added, never deleted'); END;

-- The same view as before, which now leaves out samples that were withdrawn, too.
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
WHERE NOT EXISTS (SELECT 1 FROM superseded x WHERE x.sample_id = s.sample_id)
AND NOT EXISTS (SELECT 1 FROM correction c WHERE c.sample_id = s.sample_id
    AND NOT EXISTS (SELECT 1 FROM correction u WHERE u.undoes = c.correction_id));

-- One row a correction, with what stands beside it in the record.
CREATE VIEW view_corrections AS
SELECT c.correction_id,
       CASE c.kind WHEN 1 THEN 'serial' WHEN 2 THEN 'parent' WHEN 3 THEN 'value' ELSE 'undo' END
           AS kind,
       i.kind AS item_kind, i.serial AS was_serial, c.serial AS is_serial,
       c.link_id, w.serial AS was_parent, p.serial AS is_parent,
       c.sample_id, t.name AS stream, s.mean AS withdrawn_mean, c.undoes,
       (SELECT u.correction_id FROM correction u WHERE u.undoes = c.correction_id) AS undone_by,
       c.author, c.reason, c.system_user, c.host, c.known_us,
       strftime('%Y-%m-%dT%H:%M:%fZ', c.known_us / 1000000.0, 'unixepoch') AS known_utc, c.entry
FROM correction c
LEFT JOIN item i ON i.item_id = c.item_id
LEFT JOIN link k ON k.link_id = c.link_id
LEFT JOIN item w ON w.item_id = k.parent_id
LEFT JOIN item p ON p.item_id = c.parent_id
LEFT JOIN sample s ON s.sample_id = c.sample_id
LEFT JOIN stream t ON t.stream_id = c.stream_id;
