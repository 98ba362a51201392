#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The short form of tests/bench/kill_follow.sh: thirty kills of a following collector.
KILLS=${KILLS:-30} EACH=${EACH:-15} exec sh "$AN_SOURCE_DIR/tests/bench/kill_follow.sh"
