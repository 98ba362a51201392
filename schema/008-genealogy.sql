-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 8 of a line's store: links that end, how sure one may be of them, and items that were known
-- under another serial. The share of a link is the part of the child that is made of the parent.

PRAGMA user_version = 8;

-- The same parent may go into the same place of the same child again, after it was taken out: so
-- the time is part of what makes a link the same.
DROP INDEX link_once;
CREATE UNIQUE INDEX link_once ON link (child_id, parent_id, coalesce(role, ''),
    coalesce(region, ''), coalesce(row_no, -1), coalesce(column_no, -1), coalesce(at_us, -1));
CREATE INDEX link_by_place ON link (child_id, row_no, column_no)
    WHERE row_no IS NOT NULL AND column_no IS NOT NULL;

-- What else was told with a link; a link of which nothing was told has no row.
CREATE TABLE link_trait (
    link_id INTEGER PRIMARY KEY REFERENCES link (link_id), -- the link
    confidence INTEGER NOT NULL CHECK (confidence IN (1, 2, 3)), -- how the station came to know of
                                   -- it: 1 scanned, 2 typed, 3 inferred
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED
                                   -- the file that told it
) STRICT;
CREATE INDEX link_trait_by_file ON link_trait (file_id);

-- Parent was taken out of child. A link holds from its own time until the first end after it; what
-- an end does not tell (role, place) it does not ask for.
CREATE TABLE link_end (
    end_id INTEGER PRIMARY KEY,    -- number of the end
    child_id INTEGER NOT NULL REFERENCES item (item_id),  -- the whole
    parent_id INTEGER NOT NULL REFERENCES item (item_id), -- what was taken out of it
    role TEXT,                     -- as what; NULL: in whatever role
    region TEXT,                   -- named place in the child; NULL: wherever
    row_no INTEGER,                -- row in the child's grid; NULL: wherever
    column_no INTEGER,             -- column in the child's grid; NULL: wherever
    at_us INTEGER NOT NULL,        -- event time
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                                   -- the file that told it
    line_no INTEGER NOT NULL       -- line of the file, from 1
) STRICT;
CREATE UNIQUE INDEX link_end_once ON link_end (child_id, parent_id, at_us, coalesce(role, ''),
    coalesce(region, ''), coalesce(row_no, -1), coalesce(column_no, -1));
CREATE INDEX link_end_by_parent ON link_end (parent_id);
CREATE INDEX link_end_by_file ON link_end (file_id);

-- An item was known under another serial for a time. Both are rows of item; a trace takes what was
-- recorded under the other serial in that time as recorded of the item.
CREATE TABLE alias (
    alias_id INTEGER PRIMARY KEY,  -- number of the alias
    item_id INTEGER NOT NULL REFERENCES item (item_id),  -- the item
    other_id INTEGER NOT NULL REFERENCES item (item_id), -- the other serial
    from_us INTEGER,               -- known so since; NULL: ever
    until_us INTEGER,              -- known so until; NULL: it still is
    file_id INTEGER NOT NULL REFERENCES file (file_id) DEFERRABLE INITIALLY DEFERRED,
                                   -- the file that told it
    line_no INTEGER NOT NULL       -- line of the file, from 1
) STRICT;
CREATE UNIQUE INDEX alias_once ON alias (item_id, other_id, coalesce(from_us, -1),
    coalesce(until_us, -1));
CREATE INDEX alias_by_other ON alias (other_id, item_id);
CREATE INDEX alias_by_file ON alias (file_id);

CREATE TRIGGER link_trait_no_update BEFORE UPDATE ON link_trait
BEGIN SELECT raise(ABORT, 'rows of link_trait are only added, never changed'); END;
CREATE TRIGGER link_trait_no_delete BEFORE DELETE ON link_trait
BEGIN SELECT raise(ABORT, 'rows of link_trait are only added, never deleted'); END;
CREATE TRIGGER link_end_no_update BEFORE UPDATE ON link_end
BEGIN SELECT raise(ABORT, 'rows of link_end are only added, never changed'); END;
CREATE TRIGGER link_end_no_delete BEFORE DELETE ON link_end
BEGIN SELECT raise(ABORT, 'rows of link_end are only added, never deleted'); END;
CREATE TRIGGER alias_no_update BEFORE UPDATE ON alias
BEGIN SELECT raise(ABORT, 'rows of alias are only added, never changed'); END;
CREATE TRIGGER alias_no_delete BEFORE DELETE ON alias
BEGIN SELECT raise(ABORT, 'rows of alias are only added, never deleted'); END;

-- The same view as before, with the time for which a link held and how sure it is.
DROP VIEW view_links;
CREATE VIEW view_links AS
SELECT k.link_id, p.kind AS parent_kind, p.serial AS parent, c.kind AS child_kind,
       c.serial AS child, k.role, k.region, k.share, k.row_no, k.column_no,
       k.at_us, strftime('%Y-%m-%dT%H:%M:%fZ', k.at_us / 1000000.0, 'unixepoch') AS at_utc,
       f.name AS file, k.line_no,
       e.at_us AS until_us,
       strftime('%Y-%m-%dT%H:%M:%fZ', e.at_us / 1000000.0, 'unixepoch') AS until_utc,
       CASE t.confidence WHEN 1 THEN 'scanned' WHEN 2 THEN 'typed' WHEN 3 THEN 'inferred' END
           AS confidence
FROM link k
JOIN item p ON p.item_id = k.parent_id
JOIN item c ON c.item_id = k.child_id
JOIN file f ON f.file_id = k.file_id
LEFT JOIN link_trait t ON t.link_id = k.link_id
LEFT JOIN link_end e ON e.end_id = (SELECT x.end_id FROM link_end x
    WHERE x.child_id = k.child_id AND x.parent_id = k.parent_id
    AND (k.at_us IS NULL OR x.at_us > k.at_us) AND (x.role IS NULL OR x.role IS k.role)
    AND (x.region IS NULL OR x.region IS k.region) AND (x.row_no IS NULL OR x.row_no IS k.row_no)
    AND (x.column_no IS NULL OR x.column_no IS k.column_no) ORDER BY x.at_us, x.end_id LIMIT 1);

-- One row a time for which an item was known under another serial.
CREATE VIEW view_aliases AS
SELECT a.alias_id, i.kind, i.serial, o.serial AS other_serial,
       a.from_us, strftime('%Y-%m-%dT%H:%M:%fZ', a.from_us / 1000000.0, 'unixepoch') AS from_utc,
       a.until_us, strftime('%Y-%m-%dT%H:%M:%fZ', a.until_us / 1000000.0, 'unixepoch') AS until_utc,
       f.name AS file, a.line_no
FROM alias a
JOIN item i ON i.item_id = a.item_id
JOIN item o ON o.item_id = a.other_id
JOIN file f ON f.file_id = a.file_id;
