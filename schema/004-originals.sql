-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 4 of a line's store: an original may be kept as columns, from which its bytes come back.

PRAGMA user_version = 4;

-- 1: its pieces are one zstd frame, cut; 2: each piece has some of its lines as packed columns
-- (src/store/layout.h), at most a block of rows.
ALTER TABLE original ADD COLUMN form INTEGER NOT NULL DEFAULT 1 CHECK (form IN (1, 2));
