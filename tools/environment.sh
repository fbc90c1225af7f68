#!/bin/sh
# Make .venv and put byrewright in it, with the pinned packages of the given requirements file.
# usage: tools/environment.sh requirements.txt
#
# Everything installed is named in a requirements file with its hash, and only wheels are taken,
# so nothing unpinned is fetched to build anything. Uses uv where it is found; otherwise the
# venv module and pip.
set -eu
cd "$(dirname "$0")/.."
requirements=$1
python=${PYTHON:-python3}

stop() {
    echo "$*" >&2
    exit 1
}

command -v "$python" >/dev/null 2>&1 ||
    stop "Python was not found: install Python 3.11 or later (on Debian: apt install python3 python3-venv)."
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' ||
    stop "byrewright needs Python 3.11 or later, but $python is $("$python" -V 2>&1): name another with 'make PYTHON=python3.12 ...'."

if command -v uv >/dev/null 2>&1; then with_uv=yes; else with_uv=no; fi
[ $with_uv = yes ] || "$python" -c 'import ensurepip, venv' 2>/dev/null ||
    stop "Python's venv module is missing: install it (on Debian: apt install python3-venv) and run make again."

if ! .venv/bin/python -c '' 2>/dev/null; then
    rm -rf .venv
    if [ $with_uv = yes ]; then
        uv venv --quiet --python "$(command -v "$python")" .venv
    else
        "$python" -m venv .venv
    fi
fi

echo "Installing the pinned packages of $requirements into .venv (a minute or two the first time) ..."
if [ $with_uv = yes ]; then
    install() { uv pip install --quiet --python .venv/bin/python "$@"; }
else
    .venv/bin/python -c 'import pip' 2>/dev/null || .venv/bin/python -m ensurepip >/dev/null
    install() { .venv/bin/python -m pip install --quiet --no-input --disable-pip-version-check "$@"; }
fi
install --require-hashes --only-binary :all: -r "$requirements" -r requirements-build.txt
install --no-deps --no-build-isolation --editable .
