"""Real gunicorn on loopback: one request answered, oversized chunks refused, generated traffic."""

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import requests

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "openapi" / "examples" / "plug-time-request.json"

pytestmark = pytest.mark.server


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """The address of a running gunicorn that says it is ready."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        bind = f"127.0.0.1:{probe.getsockname()[1]}"
    environment = os.environ | {"STILLPIPE_BIND": bind}
    command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py"]
    server = subprocess.Popen(command, cwd=ROOT, env=environment)
    try:
        _wait(f"http://{bind}/readyz", server)
        yield f"http://{bind}"
    finally:
        server.terminate()
        server.wait(timeout=40)


def _wait(address: str, server: subprocess.Popen[bytes]) -> None:
    for _ in range(240):
        assert server.poll() is None, "gunicorn ended"
        try:
            if requests.get(address, timeout=5).status_code == 200:
                return
        except requests.ConnectionError:
            pass
        time.sleep(0.5)
    raise AssertionError("gunicorn never became ready")


def test_a_real_request_is_answered(address: str) -> None:
    reply = requests.post(
        f"{address}/v1/plug-time", json=json.loads(EXAMPLE.read_text()), timeout=30
    )
    assert reply.status_code == 200
    assert reply.json()["closure"]["unit"] == "s"


def test_an_oversized_chunked_body_is_413(address: str) -> None:
    chunks = (b" " * 4096 for _ in range(64))
    headers = {"Content-Type": "application/json"}
    reply = requests.post(f"{address}/v1/plug-time", data=chunks, headers=headers, timeout=30)
    assert reply.status_code == 413
    assert reply.headers["Content-Type"] == "application/problem+json"


def test_generated_traffic_finds_no_fault(address: str) -> None:
    command = [
        str(Path(sys.executable).parent / "schemathesis"), "run", f"{address}/openapi.json",
        "--max-examples", "25", "--generation-deterministic", "--workers", "2",
        "--checks", "all", "--exclude-checks", "positive_data_acceptance,unsupported_method",
    ]  # fmt: skip
    run = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False
    )
    assert run.returncode == 0, run.stdout[-6000:]
