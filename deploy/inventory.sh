#!/usr/bin/env bash
# What a running service is made of: installs the lock into a folder of its own and writes
# FOLDER/stillpipe.cdx.json (CycloneDX) and FOLDER/LICENCES.md. Needs the tests' environment.
set -euo pipefail
cd "$(dirname "$0")/.."
folder="${1:?usage: deploy/inventory.sh FOLDER}"
tools="$PWD/.venv/bin"
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
mkdir -p "$folder"
python3 -m venv "$work"
python="$work/bin/python"
"$python" -m pip install --quiet --require-hashes --requirement deploy/requirements.txt
mkdir "$work/source"
cp -r pyproject.toml README.md service openapi "$work/source"
"$python" -m pip install --quiet --no-deps --no-build-isolation "$work/source"
"$python" -m pip uninstall --quiet --yes setuptools pip
version="$("$python" -c 'import stillpipe; print(stillpipe.__version__)')"
"$tools/cyclonedx-py" environment --pyproject pyproject.toml --mc-type application \
    --output-reproducible --output-format JSON --output-file "$work/bom.json" "$python"
# the version is not in pyproject.toml, where the tool looks for it
"$python" - "$version" "$work/bom.json" >"$folder/stillpipe.cdx.json" <<'PY'
import json, sys

bill = json.load(open(sys.argv[2], encoding="utf-8"))
bill["metadata"]["component"] |= {"version": sys.argv[1]}
print(json.dumps(bill, indent=1, ensure_ascii=False))
PY
{
    echo "# Licences of what is installed with the service"
    echo
    echo "Made by \`deploy/inventory.sh deploy\` from the lock, as each package states them."
    echo
    "$tools/pip-licenses" --python "$python" --ignore-packages stillpipe --format markdown
} >"$folder/LICENCES.md"
