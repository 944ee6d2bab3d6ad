#!/usr/bin/env bash
# Sets up a virtual environment with everything the tests need, then lint | types | imports | test.
set -euo pipefail
cd "$(dirname "$0")/.."
python3 -m venv .venv
. .venv/bin/activate
pip install --quiet --upgrade pip
pip install --quiet --constraint deploy/constraints.txt -e '.[test]'
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null && ! command -v chromedriver >/dev/null; then
    # for the browser tests, which are skipped where there is no browser
    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq \
        --no-install-recommends chromium chromium-driver >/dev/null || true
fi
ruff check .
ruff format --check .
mypy
lint-imports
pytest -q
