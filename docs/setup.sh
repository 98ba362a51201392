# SPDX-License-Identifier: GPL-3.0-or-later
# Installs the Debian packages listed in the files given, unless all of them are there already.
# Sourced by quickstart.sh and tests/run.sh; uses sudo only when not root.
install_packages() {
    wanted=$(cat "$@")
    missing=
    for package in $wanted; do
        dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'ok installed' ||
            missing="$missing $package"
    done
    [ -n "$missing" ] || return 0
    if ! command -v apt-get >/dev/null 2>&1; then
        echo "this script installs Debian packages, and there is no apt-get here; please install:$missing" >&2
        return 1
    fi
    as_root=
    [ "$(id -u)" -eq 0 ] || as_root=sudo
    echo "installing:$missing" >&2
    $as_root apt-get update -q >&2 &&
        DEBIAN_FRONTEND=noninteractive $as_root apt-get install -y -q --no-install-recommends $missing >&2
}
