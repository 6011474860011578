# Sourced by demo.sh and test.sh: finds a Python, makes the virtual environment, installs into it.
# shellcheck shell=sh

# find_python: sets PYTHON to an interpreter of version 3.11 or later, or ends.
find_python() {
    for candidate in "${PYTHON:-}" python3 python3.14 python3.13 python3.12 python3.11 python; do
        [ -n "$candidate" ] || continue
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            PYTHON=$candidate
            return 0
        fi
    done
    echo "No Python 3.11 or later was found. Install one, or name it: PYTHON=/path/to/python3 sh $0" >&2
    exit 1
}

# make_venv FOLDER EXTRAS: a virtual environment with this tree installed, editable; quick when it is there already.
make_venv() {
    venv=$1
    stamp="$venv/.installed-$2"
    if [ ! -x "$venv/bin/python" ]; then
        if ! "$PYTHON" -m venv "$venv" 2>/dev/null; then
            rm -rf "$venv"
            echo "$PYTHON can't make a virtual environment; on Debian install the package python3-venv." >&2
            exit 1
        fi
    fi
    if [ -n "$(find pyproject.toml -newer "$stamp" 2>/dev/null || echo new)" ]; then
        echo "Installing into $venv (once; takes a minute) ..."
        # Python compiles what is used when it is first used; to compile all that came along takes half of the time.
        "$venv/bin/python" -m pip install --quiet --no-compile --disable-pip-version-check --editable ".[$2]"
        touch "$stamp"
    fi
}
