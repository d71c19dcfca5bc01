#!/bin/sh
# Sets up, then runs linter, format, types and tests; ends with one line.
#   sh deploy/test.sh           what every change must pass
#   sh deploy/test.sh --long    the long drills too
set -eu
cd "$(dirname "$0")/.."
marked="not long"
for word; do
    case "$word" in
    --long) marked="" ;;
    *)
        echo "usage: sh deploy/test.sh [--long]" >&2
        exit 2
        ;;
    esac
done
exec </dev/null
# brokers live in sbin, which is not on everybody's PATH
PATH="$PATH:/usr/local/sbin:/usr/sbin:/sbin"

install_broker() {
    policy=/usr/sbin/policy-rc.d
    log=.venv/apt.log
    # the package would start its service, and only the program is wanted
    if [ ! -e "$policy" ]; then
        trap 'rm -f "$policy"' EXIT INT TERM
        printf '#!/bin/sh\nexit 101\n' >"$policy"
        chmod 755 "$policy"
    fi
    export DEBIAN_FRONTEND=noninteractive
    {
        apt-get -q -o DPkg::Lock::Timeout=120 update || true
        apt-get -q -y -o DPkg::Lock::Timeout=120 install \
            --no-install-recommends mosquitto mosquitto-clients
    } >"$log" 2>&1 || echo "mosquitto could not be installed: look in $log"
}

broker() {
    command -v mosquitto >/dev/null && command -v mosquitto_pub >/dev/null
}

sh deploy/environment.sh

left_out=""
if ! broker && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "installing mosquitto and its clients"
    # in a shell of its own, so that what it lays aside is cleared at once
    (install_broker)
fi
if ! broker; then
    echo "no mosquitto: apt-get install mosquitto mosquitto-clients"
    left_out="; NOT run: the tests marked mosquitto (listed as SKIPPED above)"
fi

failed=""
stage() {
    name=$1
    shift
    echo "== $name"
    "$@" || failed="$failed $name"
}

python=.venv/bin/python
stage lint $python -m ruff check --output-format concise .
stage format $python -m ruff format --check --output-format concise .
stage types $python -m mypy
stage tests $python -m pytest -q -rfEs -n 3 --dist loadfile -m "$marked" \
    --hypothesis-profile ci

if [ "$failed" ]; then
    echo "FAILED:$failed; look above from the line '== ${failed##* }'"
    exit 1
fi
echo "passed: lint, format, types, tests$left_out"
