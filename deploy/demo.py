"""Starts gunicorn on a free port of this machine, asks one real question, prints the answer."""

import json
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
QUESTION = ROOT / "openapi" / "examples" / "plug-time-request.json"


def main() -> int:
    """Answer the question and return the exit code."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        bind = f"127.0.0.1:{probe.getsockname()[1]}"
    command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py"]
    server = subprocess.Popen(command, cwd=ROOT, env=os.environ | {"STILLPIPE_BIND": bind})
    try:
        wait(f"http://{bind}/readyz", server)
        print(json.dumps(ask(f"http://{bind}/v1/plug-time"), indent=2, ensure_ascii=False))
    finally:
        server.terminate()
        server.wait()
    return 0


def wait(address: str, server: "subprocess.Popen[bytes]") -> None:
    """Wait until the server says that it is ready."""
    for _ in range(480):
        if server.poll() is not None:
            raise SystemExit("gunicorn ended before it was ready")
        try:
            with urllib.request.urlopen(address, timeout=5):
                return
        except (urllib.error.URLError, TimeoutError, ConnectionError):
            time.sleep(0.25)
    raise SystemExit("gunicorn did not get ready")


def ask(address: str) -> dict[str, object]:
    """Post the example question and return the answer."""
    question = urllib.request.Request(
        address, QUESTION.read_bytes(), {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(question, timeout=60) as reply:
        answer: dict[str, object] = json.load(reply)
    return answer


if __name__ == "__main__":
    raise SystemExit(main())
