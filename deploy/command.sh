#!/bin/sh
# What keepers type, for /usr/local/bin/rearing-monitor: the installed program, told
# where the daemon keeps its socket and its store.
set -eu
export REARING_SOCKET="${REARING_SOCKET:-/run/rearing-monitor/control.sock}"
export REARING_STATE="${REARING_STATE:-/var/lib/rearing-monitor}"
exec /opt/rearing-monitor/.venv/bin/rearing-monitor "$@"
