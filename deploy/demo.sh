#!/bin/sh
# The whole thing on this machine alone: broker, simulated shed, monitor, page. Needs Python 3.11 or later, nothing else.
#   sh deploy/demo.sh                 until Ctrl-C
#   sh deploy/demo.sh --minutes 2     ends by itself with a summary
set -eu
cd "$(dirname "$0")/.."
. deploy/setup.sh
find_python
make_venv .venv demo
exec .venv/bin/python deploy/demo.py "$@"
