#!/bin/sh
# Makes .venv with everything that the project, its tests and its demo need.
# Called by demo.sh and test.sh; where nothing changed it does nothing.
set -eu
cd "$(dirname "$0")/.."

supported() {
    "$1" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info < (3, 14))' \
        >/dev/null 2>&1
}

able() {
    "$1" -c 'import ensurepip, venv' >/dev/null 2>&1
}

make_venv() {
    first=""
    for python in python3 python3.13 python3.12 python3.11; do
        supported "$python" || continue
        first="${first:-$python}"
        able "$python" || continue
        echo "making .venv with $python"
        "$python" -m venv --clear .venv && return
    done
    if [ -z "$first" ]; then
        echo "Python 3.11, 3.12 or 3.13 is needed: apt-get install python3" \
            "python3-venv" >&2
    else
        echo "$first cannot make a virtual environment here:" \
            "apt-get install $first-venv" >&2
    fi
    exit 1
}

# the folder is part of the stamp: an editable install points into it
stamp=$({ pwd; cat pyproject.toml deploy/constraints.txt; } | sha256sum)
if [ -x .venv/bin/python ] && [ "$(cat .venv/stamp 2>/dev/null)" = "$stamp" ]; then
    exit 0
fi

.venv/bin/python -c 'import pip' >/dev/null 2>&1 || make_venv

echo "installing the packages of deploy/constraints.txt (a few minutes at first)"
log=.venv/install.log
pip() {
    .venv/bin/python -m pip --disable-pip-version-check install --quiet --no-input \
        --retries 5 --constraint deploy/constraints.txt "$@" >>"$log" 2>&1
}
: >"$log"
# the build backend first and from the same list: an isolated build would take
# whatever version is newest
if pip hatchling editables && pip --no-build-isolation --editable '.[test]'; then
    printf '%s\n' "$stamp" >.venv/stamp
else
    tail -n 20 "$log" >&2
    echo "the packages could not be installed: look in $log" >&2
    exit 1
fi
