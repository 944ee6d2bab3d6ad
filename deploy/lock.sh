#!/usr/bin/env bash
# Writes the locks anew: every package, for every Python from 3.11 on, by version and hash.
set -euo pipefail
cd "$(dirname "$0")/.."
lock() {
    local file="$1" source="$2"
    shift 2
    uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --upgrade \
        --no-emit-index-url --no-emit-find-links --no-header --no-annotate "$@" \
        --output-file "$file"
    sed -i "1i # Made by deploy/lock.sh from $source; installed with --require-hashes." "$file"
}
lock deploy/requirements.txt pyproject.toml --extra build pyproject.toml
lock deploy/requirements-test.txt pyproject.toml --extra build --extra test pyproject.toml
# for mutation testing alone, beside the packages of the tests
lock deploy/requirements-mutants.txt "mutmut 3.8.0" \
    --constraint deploy/requirements-test.txt - <<<"mutmut==3.8.0"
