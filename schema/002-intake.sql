-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 2 of a line's store.

PRAGMA user_version = 2;
