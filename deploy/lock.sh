#!/usr/bin/env bash
# Writes the two locks anew: every package, for every Python from 3.11 on, by version and hash.
set -euo pipefail
cd "$(dirname "$0")/.."
head="# Made by deploy/lock.sh from pyproject.toml; installed with --require-hashes."
lock() {
    local file="$1"
    shift
    uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --upgrade \
        --no-emit-index-url --no-emit-find-links --no-header --no-annotate --extra build "$@" \
        pyproject.toml --output-file "$file"
    sed -i "1i $head" "$file"
}
lock deploy/requirements.txt
lock deploy/requirements-test.txt --extra test
