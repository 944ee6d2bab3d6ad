"""Starts gunicorn on a free port of this machine, asks one real question, prints the answer.

In ten lines, or as it came with ``--whole``.
"""

import json
import math
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

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
        reply = ask(f"http://{bind}/v1/plug-time")
    finally:
        server.terminate()
        server.wait()
    if "--whole" in sys.argv[1:]:
        print(json.dumps(reply, indent=2, ensure_ascii=False))
    else:
        print("\n".join(told(reply)))
    return 0


def told(reply: dict[str, Any]) -> list[str]:
    """Return the question and the answer in ten lines for people."""
    asked = reply["inputs"]
    pipe = " ".join(asked["pipe"][name]["value"] for name in ("standard", "size", "schedule"))
    inside = f"{asked['fluid']['type']['value']} at {_value(asked['fluid']['temperature'])}"
    room, pressure = _value(asked["ambient"]["temperature"]), _value(asked["line_pressure"])
    codes = ", ".join(c["code"] for c in (*reply["reasons"], *reply["cautions"]))
    return [
        f"POST /v1/plug-time: {reply['id']}",
        f"  pipe            {pipe}, {inside}, {pressure}; room {room}",
        f"  verdict         {reply['verdict']}",
        f"  closed          {_range(reply['closure'])}",
        f"  ready           {_range(reply['ready'])}",
        f"  cut no earlier  {_minutes(reply['planned_ready']['value'])} after the first feed",
        f"  frost           {_range(reply['frost_by'])}",
        f"  chance of ready {math.floor(100.0 * reply['chance_of_ready'])} %",
        f"  mind            {codes}",
        "The whole answer: bash deploy/start.sh --demo --whole. To ask yourself: "
        "bash deploy/start.sh, then http://127.0.0.1:8000/docs.",
    ]


def _value(figure: dict[str, Any]) -> str:
    return f"{figure['value']:g} {figure['unit']}"


def _minutes(seconds: float) -> str:
    return f"{seconds / 60.0:.1f} min"


def _range(found: dict[str, Any]) -> str:
    """Return a range of times [s] in words."""
    low, likely, high = (_minutes(found[end]) for end in ("low", "likely", "high"))
    return f"{likely}, with 90 % from {low} to {high}"


def wait(address: str, server: "subprocess.Popen[bytes]") -> None:
    """Wait until the server says that it is ready; the first start compiles the solver.

    On two busy cores that was more than two minutes; ten are given.
    """
    for _ in range(2400):
        if server.poll() is not None:
            raise SystemExit("gunicorn ended before it was ready")
        try:
            with urllib.request.urlopen(address, timeout=5):
                return
        except (urllib.error.URLError, TimeoutError, ConnectionError):
            time.sleep(0.25)
    raise SystemExit("gunicorn did not get ready")


def ask(address: str) -> dict[str, Any]:
    """Post the example question and return the answer."""
    question = urllib.request.Request(
        address, QUESTION.read_bytes(), {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(question, timeout=60) as reply:
        answer: dict[str, Any] = json.load(reply)
    return answer


if __name__ == "__main__":
    raise SystemExit(main())
