#!/usr/bin/env bash
# Replays the Dockerfile's steps without a container: installs into a folder, makes it read-only,
# starts it as user 10001 where that is possible, and answers one question.
set -euo pipefail
cd "$(dirname "$0")/.."
work="$(mktemp -d)"
server=""
trap '[ -z "$server" ] || { kill "$server"; wait "$server" || true; }; chmod -R u+w "$work"; rm -rf "$work"' EXIT
mkdir -p "$work/srv" "$work/tmp" "$work/build/deploy"
cp -r pyproject.toml README.md openapi service "$work/build"
cp deploy/requirements.txt "$work/build/deploy"
as=()
python=python3
if [ "$(id -u)" = 0 ]; then
    as=(setpriv --reuid 10001 --regid 10001 --clear-groups)
    # an interpreter that lies in root's own folder cannot be run by anybody else
    for python in python3 /usr/bin/python3; do
        "${as[@]}" env "$(command -v "$python")" -c 'import ensurepip' 2>/dev/null && break
    done
fi
"$python" -m venv "$work/opt"
(
    cd "$work/build"
    pip="$work/opt/bin/pip"
    export PIP_DISABLE_PIP_VERSION_CHECK=1
    "$pip" install --quiet --require-hashes --requirement deploy/requirements.txt
    "$pip" install --quiet --no-deps --no-build-isolation .
    "$pip" uninstall --quiet --yes setuptools
)
cp deploy/gunicorn.conf.py "$work/srv"
chmod -R a-w,a+rX "$work/opt" "$work/srv"
chmod 755 "$work"
chmod 1777 "$work/tmp"
bind="127.0.0.1:${STILLPIPE_REPLAY_PORT:-8765}"
cd "$work/srv"
"${as[@]}" env -i PATH="$work/opt/bin:/usr/bin:/bin" PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 \
    TMPDIR="$work/tmp" NUMBA_CACHE_DIR="$work/tmp/numba" MPLCONFIGDIR="$work/tmp/matplotlib" \
    STILLPIPE_BIND="$bind" \
    gunicorn --config gunicorn.conf.py &
server=$!
"$work/opt/bin/python" - "$bind" "$work/build/openapi/examples" <<'PY'
import sys, time, urllib.error, urllib.request

address = f"http://{sys.argv[1]}"
for _ in range(2400):
    try:
        urllib.request.urlopen(f"{address}/readyz", timeout=60)
        break
    except (urllib.error.URLError, ConnectionError):
        time.sleep(0.25)
body = open(f"{sys.argv[2]}/plug-time-request.json", "rb").read()
question = urllib.request.Request(
    f"{address}/v1/plug-time", body, {"Content-Type": "application/json"}
)
with urllib.request.urlopen(question, timeout=600) as reply:
    assert b'"closure"' in reply.read()
items = b'[{"estimate":"plug-time","request":' + body + b"}]"
question = urllib.request.Request(f"{address}/v1/batch", items, {"Content-Type": "application/json"})
with urllib.request.urlopen(question, timeout=600) as reply:
    assert b'"failed":0' in reply.read()
print("replayed: ready, one estimate and one batch answered")
PY
if [ "$(id -u)" = 0 ]; then
    grep -q "^Uid:[[:space:]]*10001" "/proc/$server/status"
fi
