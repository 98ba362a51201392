#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The layers' arrows, the owners of the outside libraries, the calls that are banned, and headers
# that stand alone. Each rule is also tried on a file that breaks it: a check that cannot fail is
# none.
set -eu
src=${AN_SOURCE_DIR:?}
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
failed=0
fail() {
    echo "$1" >&2
    failed=1
}

below() {
    case $1 in
    base) echo base ;;
    stat) echo base stat ;;
    line) echo base stat line ;;
    store) echo base store ;;
    intake) echo base stat line store intake ;;
    judge) echo base stat line store judge ;;
    trace) echo base stat line store trace ;;
    draw) echo base draw ;;
    report) echo base stat line store judge trace draw report ;;
    demo) echo base demo ;;
    cli) echo base stat line store intake judge trace draw report demo cli ;;
    esac
}

# prints the includes of a layer's files that its arrows do not allow
upward() { # folder-of-sources layer
    allowed=" $(below "$2") "
    find "$1/src/$2" "$1/include/andamento/$2" -name '*.[ch]' 2>/dev/null | while read -r file; do
        sed -n 's/^ *# *include *"\([^"]*\)".*/\1/p' "$file" | while read -r include; do
            layer=$(echo "$include" | sed 's|^andamento/||; s|/.*||')
            case $include in
            *..*) echo "$file includes $include: no path with .." ;;
            */*)
                case $allowed in
                *" $layer "*) ;;
                *) echo "$file includes $include, which lies above it" ;;
                esac
                ;;
            *) echo "$file includes $include: write it with its layer" ;;
            esac
        done
    done
}

# prints uses of an outside library's header outside its owner's folders
owners() { # folder-of-sources
    while read -r header allowed; do
        grep -rln "^ *# *include *<$header" "$1/src" 2>/dev/null | while read -r file; do
            layer=$(echo "${file#"$1/src/"}" | sed 's|/.*||')
            case " $allowed " in
            *" $layer "*) ;;
            *) echo "$file includes <$header>, which belongs to $allowed" ;;
            esac
        done
    done <<'END'
sqlite3.h store
zstd.h store
csv.h intake
cairo draw
pango draw
Rmath.h stat
openssl base
glib.h base
libfyaml.h line report
jansson.h judge store
END
}

banned() { # folder-of-sources
    grep -rnE '(^|[^a-zA-Z0-9_.>])(atoi|atof|sprintf|strcpy|strcat|strtok|localtime|gmtime|setlocale|gets|rand|srand|system)\(' \
        "$1/src" --include='*.c' | grep -v '^\S*: *\*' || true
    grep -rnE '(^|[^a-zA-Z0-9_.>])(malloc|calloc|realloc)\(' "$1/src" --include='*.c' |
        grep -v '/base/memory.c' || true
    grep -rnE '(^|[^a-zA-Z0-9_.>])(printf|puts|putchar|exit|abort)\(' "$1/src" --include='*.c' |
        grep -v '/cli/' || true
    grep -rLE '^/\* SPDX-License-Identifier: GPL-3.0-or-later \*/' "$1/src" --include='*.[ch]' |
        sed 's/$/: no SPDX line/' || true
}

for layer in base stat line store intake judge draw report demo cli; do
    found=$(upward "$src" "$layer")
    [ -z "$found" ] || fail "$found"
done
found=$(owners "$src")
[ -z "$found" ] || fail "$found"
found=$(banned "$src")
[ -z "$found" ] || fail "banned here: $found"

# headers alone, under the warnings of the build
mkdir -p "$scratch/roots"
for layer in line intake judge report demo cli base stat draw store; do
    ln -s "$src/src/$layer" "$scratch/roots/$layer"
done
for header in $(cd "$src" && find include/andamento -name '*.h'); do
    echo "#include \"${header#include/}\"" >"$scratch/one.c"
    cc -std=c17 -D_POSIX_C_SOURCE=200809L -Wall -Wextra -Wpedantic -Werror -I"$src/include" \
        -I"$scratch/roots" -fsyntax-only "$scratch/one.c" || fail "$header does not stand alone"
done

# the checks themselves: each must find what is planted
mkdir -p "$scratch/bad/src/stat" "$scratch/bad/include"
printf '#include "judge/judge.h"\n#include <sqlite3.h>\nint f(void) { return atoi("1"); }\nvoid *g(void) { return malloc(1); }\n' \
    >"$scratch/bad/src/stat/bad.c"
[ -n "$(upward "$scratch/bad" stat)" ] || fail "the arrow check misses an upward include"
[ -n "$(owners "$scratch/bad")" ] || fail "the owner check misses a stray library"
[ "$(banned "$scratch/bad" | wc -l)" -ge 3 ] || fail "the ban misses a banned call"

exit $failed
