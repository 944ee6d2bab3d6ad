#!/usr/bin/env bash
# Sets up a virtual environment with everything the tests need, then lint | types | imports | test.
set -euo pipefail
cd "$(dirname "$0")/.."
# what another Python has made may not run with this one, and is made anew
.venv/bin/python3 -c 'import pip, ssl' 2>/dev/null || python3 -m venv --clear .venv
. .venv/bin/activate
pip install --quiet --require-hashes --requirement deploy/requirements-test.txt
pip install --quiet --no-deps --no-build-isolation --editable .
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    # for the tests of pages and of the proxy, which are skipped where these are missing
    missing=()
    command -v chromedriver >/dev/null || missing+=(chromium chromium-driver)
    command -v nginx >/dev/null || missing+=(nginx)
    if [ "${#missing[@]}" -gt 0 ]; then
        apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq \
            --no-install-recommends "${missing[@]}" >/dev/null || true
    fi
fi
if command -v npm >/dev/null; then
    # for the gates of the description and the TypeScript clients, which are skipped without it
    npm ci --silent --no-audit --no-fund --prefix tests/clients/typescript
fi
ruff check .
ruff format --check .
mypy
lint-imports
# processes run side by side: threads of small matrix products only wait in loops
export OPENBLAS_NUM_THREADS=1
# two at a time: a file stays with one worker, so that its servers are started once
pytest -q -n 2 --dist loadfile
