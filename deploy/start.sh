#!/usr/bin/env bash
# Sets up a virtual environment, starts gunicorn and, with --demo, answers one request and stops.
set -euo pipefail
cd "$(dirname "$0")/.."
python3 -m venv .venv
. .venv/bin/activate
pip install --quiet --upgrade pip
pip install --quiet --constraint deploy/constraints.txt -e .
export STILLPIPE_BIND="${STILLPIPE_BIND:-127.0.0.1:8000}"
if [ "${1:-}" != "--demo" ]; then
    exec gunicorn --config deploy/gunicorn.conf.py
fi
gunicorn --config deploy/gunicorn.conf.py &
server=$!
trap 'kill "$server"; wait "$server" || true' EXIT
for _ in $(seq 120); do
    curl --silent --fail --output /dev/null "http://$STILLPIPE_BIND/readyz" && break
    sleep 1
done
curl --silent --fail-with-body "http://$STILLPIPE_BIND/v1/plug-time" \
    --header 'Content-Type: application/json' --data @openapi/examples/plug-time-request.json
echo
