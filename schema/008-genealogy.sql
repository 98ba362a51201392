-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 8 of a line's store: links that end, and how sure one may be of them.

PRAGMA user_version = 8;
