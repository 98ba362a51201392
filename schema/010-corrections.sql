-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 10 of a line's store: what was found to be wrong, and what is right.

PRAGMA user_version = 10;
