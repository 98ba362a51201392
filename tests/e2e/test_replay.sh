#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The short form of tests/bench/replay.sh: a day of arrivals in nine seconds.
HOURS=${HOURS:-24} SPEED=${SPEED:-9600} exec sh "$AN_SOURCE_DIR/tests/bench/replay.sh"
