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
        victoria-metrics:victoria-metrics npm:npm systemd-analyze:systemd faketime:faketime; do
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

# What judges whether everybody can use the pages. It is a test's tool only; its sum says that it is what was tried here.
AXE=4.14.1
AXE_SUM=29348999450cdf2849a8e70b7912fc2da85a849da39c0d0d5394f51d4a9ed95c
axe=.venv/axe/node_modules/axe-core/axe.min.js
axe_is_there() {
    [ -f "$axe" ] && [ "$(sha256sum "$axe" | cut -d' ' -f1)" = "$AXE_SUM" ]
}
if ! axe_is_there && command -v npm >/dev/null 2>&1; then
    echo "Fetching axe-core $AXE from npm's registry (once) ..."
    rm -rf .venv/axe
    mkdir -p .venv/axe
    # npm knows only its own list of authorities; those that this machine trusts count here too.
    known=/etc/ssl/certs/ca-certificates.crt
    if [ -z "${NODE_EXTRA_CA_CERTS:-}" ] && [ -f "$known" ]; then
        NODE_EXTRA_CA_CERTS=$known
        export NODE_EXTRA_CA_CERTS
    fi
    npm install --prefix .venv/axe --no-save --ignore-scripts --no-audit --no-fund --silent "axe-core@$AXE" || true
fi
if ! axe_is_there; then
    echo "axe-core $AXE could not be fetched, so the tests whether everybody can use the pages can't run."
    if [ "${CI:-}" = true ]; then
        exit 1
    fi
fi

.venv/bin/ruff format --check .
.venv/bin/ruff check .
.venv/bin/mypy --num-workers "$(getconf _NPROCESSORS_ONLN)"
if command -v shellcheck >/dev/null 2>&1; then
    shellcheck -x deploy/*.sh deploy/install/*.sh .ci/run
fi
# Hundreds of tests start the service: compiled once it starts in two thirds of the processor time.
unset PYTHONDONTWRITEBYTECODE
# Twice as many processes as cores, since most of the time many tests wait for others. Each has a stretch of neighbouring tests, which
# share dear fixtures; who is done takes over half of what another has left, so that they end together.
exec .venv/bin/python -m pytest -n "$((2 * $(getconf _NPROCESSORS_ONLN)))" --dist worksteal "$@"
