#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Installs what is needed, builds with warnings as errors, and runs every test.
# Further arguments go to ctest: sh tests/run.sh -L stat
set -eu
here=$(cd "$(dirname "$0")/.." && pwd)
. "$here/docs/setup.sh"
install_packages "$here/docs/packages.txt" "$here/tests/packages.txt"
cmake --preset ci -S "$here" >/dev/null
cmake --build "$here/.build/ci"
cd "$here/.build/ci"
exec ctest --output-on-failure -j 2 "$@"
