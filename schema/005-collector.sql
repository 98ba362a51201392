-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 5 of a line's store: the diary of the collector that follows the spools.

PRAGMA user_version = 5;

-- A start or an end of the collector, a step of the wall clock, a signal told to people.
CREATE TABLE collector_event (
    event_id INTEGER PRIMARY KEY,  -- number of the event
    known_us INTEGER NOT NULL,     -- when, by the wall clock
    monotonic_us INTEGER NOT NULL, -- when, by the clock that is never set, since the machine started
    boot TEXT NOT NULL,            -- the kernel's id of that start of the machine; '' not known
    act INTEGER NOT NULL CHECK (act IN (1, 2, 3, 4)), -- 1 start, 2 end, 3 clock, 4 signal told
    step_us INTEGER,               -- by how much the wall clock was set; NULL: not about the clock
    signal_id INTEGER,             -- the signal told; of a start: newest that needs no telling,
                                   -- 0 none; NULL: not about signals
    detail TEXT NOT NULL,          -- what happened, as a sentence
    process INTEGER NOT NULL,      -- process id of the collector
    system_user TEXT NOT NULL,     -- account under which it ran
    host TEXT NOT NULL,            -- machine on which it ran
    entry INTEGER NOT NULL REFERENCES ledger (entry) -- its ledger entry
) STRICT;
CREATE INDEX collector_event_signal ON collector_event (signal_id) WHERE signal_id IS NOT NULL;

CREATE TRIGGER collector_event_no_update BEFORE UPDATE ON collector_event
BEGIN SELECT raise(ABORT, 'rows of collector_event are only added, never changed'); END;
CREATE TRIGGER collector_event_no_delete BEFORE DELETE ON collector_event
BEGIN SELECT raise(ABORT, 'rows of collector_event are only added, never deleted'); END;
