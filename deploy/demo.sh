#!/bin/sh
# Runs the daemon on an invented insect house, from a clean clone; all options go to
# `rearing-monitor demo`.
#   sh deploy/demo.sh          goes on with small faults until Ctrl-C
#   sh deploy/demo.sh --once   tells the story of one failed heater and ends
set -eu
# a relative --state is meant from where the caller stands
here=$(pwd)
cd "$(dirname "$0")/.."
root=$(pwd)
sh deploy/environment.sh
cd "$here"
# the demo's own last line says where to look
exec "$root/.venv/bin/rearing-monitor" demo "$@"
