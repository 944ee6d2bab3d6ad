#!/usr/bin/env bash
# Sets up a virtual environment and starts the service; with --demo it answers one question and
# stops. Needs Python 3.11 or newer and pip only.
set -euo pipefail
case "${1:-}" in
    "" | --demo) ;;
    *)
        echo "usage: bash deploy/start.sh [--demo [--whole]]" >&2
        exit 2
        ;;
esac
cd "$(dirname "$0")/.."
# what another Python has made may not run with this one, and is made anew
.venv/bin/python3 -c 'import pip, ssl' 2>/dev/null || python3 -m venv --clear .venv
. .venv/bin/activate
pip install --quiet --require-hashes --requirement deploy/requirements.txt
pip install --quiet --no-deps --no-build-isolation --editable .
if [ "${1:-}" = "--demo" ]; then
    exec python deploy/demo.py "${@:2}"
fi
exec gunicorn --config deploy/gunicorn.conf.py
