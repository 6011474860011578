#!/bin/sh
# Sets up and runs every check: formatter, linter, strict type checker, tests. Arguments go to pytest.
# Installs the system packages it needs when it may (root and apt-get); otherwise says what it could not run.
# With CI=true anything that could not be run is a failure.
set -eu
cd "$(dirname "$0")/.."
. deploy/setup.sh
find_python
make_venv .venv test

missing() {
    for pair in mosquitto:mosquitto mosquitto_pub:mosquitto-clients chromium:chromium shellcheck:shellcheck \
        victoria-metrics:victoria-metrics; do
        command -v "${pair%%:*}" >/dev/null 2>&1 || [ -x "/usr/sbin/${pair%%:*}" ] || printf '%s ' "${pair#*:}"
    done
}

packages=$(missing)
if [ -n "$packages" ] && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "Installing system packages for the tests: $packages"
    apt-get update -qq
    # shellcheck disable=SC2086  # one word a package
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $packages >/dev/null
fi
packages=$(missing)
if [ -n "$packages" ]; then
    echo "Not installed, so the tests that need them can't run: $packages"
    if [ "${CI:-}" = true ]; then
        exit 1
    fi
fi
PATH=$PATH:/usr/sbin
export PATH

.venv/bin/ruff format --check .
.venv/bin/ruff check .
.venv/bin/mypy
if command -v shellcheck >/dev/null 2>&1; then
    shellcheck -x deploy/*.sh .ci/run
fi
# A process for each core; a file stays with one of them, since its fixtures are dear.
exec .venv/bin/python -m pytest -n auto --dist loadfile "$@"
