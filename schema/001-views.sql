-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 1 of a line's store: views for people who bring their own SQL; docs/store.md explains
-- them. Each time stands twice: *_us exact, and *_utc as text cut to milliseconds.

-- One row a sample, with everything needed to make a chart of it.
CREATE VIEW view_samples AS
SELECT s.sample_id, t.name AS stream, t.station, t.characteristic, t.split,
       i.kind AS item_kind, i.serial,
       s.at_us, strftime('%Y-%m-%dT%H:%M:%fZ', s.at_us / 1000000.0, 'unixepoch') AS at_utc,
       v.shift, v.purpose, s.n, s.missing, s.mean,
       CASE WHEN s.n > 1 THEN sqrt(s.ssd / (s.n - 1)) END AS sd, -- with n - 1
       s.ssd, s.min_value, s.max_value, s.counted, s.opportunities, s.ribbon,
       v.gauge, v.tool, v.who, v.attempt,
       f.name AS file, s.first_line, s.last_line,
       f.known_us, strftime('%Y-%m-%dT%H:%M:%fZ', f.known_us / 1000000.0, 'unixepoch') AS known_utc
FROM sample s
JOIN stream t ON t.stream_id = s.stream_id
JOIN visit v ON v.visit_id = s.visit_id
JOIN item i ON i.item_id = s.item_id
JOIN file f ON f.file_id = s.file_id;

-- One row a stream: how many samples, from when to when.
CREATE VIEW view_streams AS
SELECT t.stream_id, t.name AS stream, t.station, t.characteristic, t.split,
       (SELECT count(*) FROM sample s WHERE s.stream_id = t.stream_id) AS samples,
       (SELECT min(s.at_us) FROM sample s WHERE s.stream_id = t.stream_id) AS first_us,
       (SELECT max(s.at_us) FROM sample s WHERE s.stream_id = t.stream_id) AS last_us,
       strftime('%Y-%m-%dT%H:%M:%fZ', (SELECT min(s.at_us) FROM sample s
           WHERE s.stream_id = t.stream_id) / 1000000.0, 'unixepoch') AS first_utc,
       strftime('%Y-%m-%dT%H:%M:%fZ', (SELECT max(s.at_us) FROM sample s
           WHERE s.stream_id = t.stream_id) / 1000000.0, 'unixepoch') AS last_utc
FROM stream t;

-- One row a file, taken or held whole, with its balance of rows.
CREATE VIEW view_files AS
SELECT f.file_id, f.name AS file, f.path, f.station,
       CASE f.state WHEN 0 THEN 'taken' ELSE 'held' END AS state, f.code, f.why,
       f.bytes, lower(hex(f.hash)) AS sha256, f.rows_in, f.taken, f.duplicate, f.held, f.blank,
       (SELECT count(*) FROM file_sighting g WHERE g.file_id = f.file_id) AS seen_again,
       f.first_us, strftime('%Y-%m-%dT%H:%M:%fZ', f.first_us / 1000000.0, 'unixepoch') AS first_utc,
       f.last_us, strftime('%Y-%m-%dT%H:%M:%fZ', f.last_us / 1000000.0, 'unixepoch') AS last_utc,
       f.known_us, strftime('%Y-%m-%dT%H:%M:%fZ', f.known_us / 1000000.0, 'unixepoch') AS known_utc,
       f.line_revision, f.notes, f.entry
FROM file f;

-- One row a held row.
CREATE VIEW view_held AS
SELECT h.held_id, f.name AS file, f.station, h.line_no, h.column_no, h.column_name, h.code, h.why,
       CAST(h.raw AS TEXT) AS raw_text,
       f.known_us, strftime('%Y-%m-%dT%H:%M:%fZ', f.known_us / 1000000.0, 'unixepoch') AS known_utc
FROM held h
JOIN file f ON f.file_id = h.file_id;

-- One row a revision of limits; state is proposed, locked or refused.
CREATE VIEW view_limits AS
SELECT l.limits_id, t.name AS stream,
       CASE k.decision WHEN 1 THEN 'locked' WHEN 2 THEN 'refused' ELSE 'proposed' END AS state,
       l.baseline_samples,
       l.baseline_from_us, strftime('%Y-%m-%dT%H:%M:%fZ', l.baseline_from_us / 1000000.0,
           'unixepoch') AS baseline_from_utc,
       l.baseline_until_us, strftime('%Y-%m-%dT%H:%M:%fZ', l.baseline_until_us / 1000000.0,
           'unixepoch') AS baseline_until_utc,
       k.in_force_us, strftime('%Y-%m-%dT%H:%M:%fZ', k.in_force_us / 1000000.0,
           'unixepoch') AS in_force_utc,
       l.known_us AS proposed_us, strftime('%Y-%m-%dT%H:%M:%fZ', l.known_us / 1000000.0,
           'unixepoch') AS proposed_utc,
       k.known_us AS decided_us, strftime('%Y-%m-%dT%H:%M:%fZ', k.known_us / 1000000.0,
           'unixepoch') AS decided_utc,
       k.author, k.reason, l.model, l.exclusions
FROM limits l
JOIN stream t ON t.stream_id = l.stream_id
LEFT JOIN limits_lock k ON k.limits_id = l.limits_id;

-- One row a signal; hits counts those that were not withdrawn.
CREATE VIEW view_signals AS
SELECT g.signal_id, t.name AS stream, g.limits_id,
       CASE g.panel WHEN 0 THEN 'level' ELSE 'spread' END AS panel,
       CASE g.side WHEN 1 THEN 'above' WHEN -1 THEN 'below' ELSE 'neither' END AS side, g.rule,
       g.first_us, strftime('%Y-%m-%dT%H:%M:%fZ', g.first_us / 1000000.0, 'unixepoch') AS first_utc,
       g.signal_us, strftime('%Y-%m-%dT%H:%M:%fZ', g.signal_us / 1000000.0, 'unixepoch')
           AS signal_utc,
       i.kind AS item_kind, i.serial,
       (SELECT count(*) FROM hit h WHERE h.signal_id = g.signal_id AND NOT EXISTS
           (SELECT 1 FROM hit_withdrawal w WHERE w.hit_id = h.hit_id)) AS hits,
       (SELECT count(*) FROM hit h JOIN hit_withdrawal w ON w.hit_id = h.hit_id
           WHERE h.signal_id = g.signal_id) AS hits_withdrawn,
       (SELECT count(*) FROM answer a WHERE a.signal_id = g.signal_id) AS answers,
       g.known_us, strftime('%Y-%m-%dT%H:%M:%fZ', g.known_us / 1000000.0, 'unixepoch') AS known_utc
FROM signal g
JOIN stream t ON t.stream_id = g.stream_id
JOIN sample s ON s.sample_id = g.signal_sample_id
JOIN item i ON i.item_id = s.item_id;

-- One row a link: parent went into child.
CREATE VIEW view_links AS
SELECT k.link_id, p.kind AS parent_kind, p.serial AS parent, c.kind AS child_kind,
       c.serial AS child, k.role, k.region, k.share, k.row_no, k.column_no,
       k.at_us, strftime('%Y-%m-%dT%H:%M:%fZ', k.at_us / 1000000.0, 'unixepoch') AS at_utc,
       f.name AS file, k.line_no
FROM link k
JOIN item p ON p.item_id = k.parent_id
JOIN item c ON c.item_id = k.child_id
JOIN file f ON f.file_id = k.file_id;

-- One row an act, with the leaf of the Merkle tree.
CREATE VIEW view_ledger AS
SELECT entry, at_us, strftime('%Y-%m-%dT%H:%M:%fZ', at_us / 1000000.0, 'unixepoch') AS at_utc,
       kind, payload, lower(hex(leaf)) AS leaf_sha256
FROM ledger;
