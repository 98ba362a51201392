-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 6 of a line's store: where the charts with memory stand.

PRAGMA user_version = 6;

-- What an ewma, cusum or moving average has gathered after a sample. Derived: it can be had again
-- from the samples since the limits came in force. A row holds as long as no later one of its
-- stream judged again from its time or before.
CREATE TABLE running (
    running_id INTEGER PRIMARY KEY, -- number of the row
    stream_id INTEGER NOT NULL REFERENCES stream (stream_id), -- the stream
    limits_id INTEGER NOT NULL REFERENCES limits (limits_id), -- the limits that judged the sample
    from_us INTEGER NOT NULL,       -- event time of the first sample judged for this row
    at_us INTEGER NOT NULL,         -- event time of the last one
    sample_id INTEGER NOT NULL REFERENCES sample (sample_id), -- the last one
    state TEXT NOT NULL,            -- the numbers gathered after it, a JSON array
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;
CREATE INDEX running_by_time ON running (stream_id, limits_id, at_us);
CREATE INDEX running_later ON running (stream_id, running_id, from_us);

CREATE TRIGGER running_no_update BEFORE UPDATE ON running
BEGIN SELECT raise(ABORT, 'rows of running are only added, never changed'); END;
CREATE TRIGGER running_no_delete BEFORE DELETE ON running
BEGIN SELECT raise(ABORT, 'rows of running are only added, never deleted'); END;
