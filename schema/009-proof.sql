-- SPDX-License-Identifier: GPL-3.0-or-later
-- Format 9 of a line's store: public keys and signed heads of the ledger.

PRAGMA user_version = 9;
