#!/usr/bin/env bash
# Sets up a virtual environment with everything the tests need, then lint | types | imports | test.
set -euo pipefail
cd "$(dirname "$0")/.."
python3 -m venv .venv
. .venv/bin/activate
pip install --quiet --upgrade pip
pip install --quiet --constraint deploy/constraints.txt -e '.[test]'
ruff check .
ruff format --check .
mypy
lint-imports
pytest -q
