#!/usr/bin/env bash
# Asks an advisory database whether anything in the locks has a known vulnerability: 0 if nothing has.
# Fails where the database cannot be reached or does not know a package. Needs the tests' environment.
set -euo pipefail
cd "$(dirname "$0")/.."
for lock in "${@:-deploy/requirements.txt}"; do
    .venv/bin/pip-audit --strict --require-hashes --disable-pip --requirement "$lock"
done
