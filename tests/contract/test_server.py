"""Real gunicorn on loopback: one request answered, oversized chunks refused, generated traffic."""

import http.client
import json
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest
import requests

from contract import fuzz
from deploy.stack import Server, until

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "openapi" / "examples" / "plug-time-request.json"

pytestmark = pytest.mark.server


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """The address of a running gunicorn that says it is ready."""
    with Server(PYTHONWARNINGS="error::RuntimeWarning") as server:
        yield server.address


def test_a_real_request_is_answered(address: str) -> None:
    reply = requests.post(
        f"{address}/v1/plug-time", json=json.loads(EXAMPLE.read_text()), timeout=600
    )
    assert reply.status_code == 200
    assert reply.json()["closure"]["unit"] == "s"


def test_an_oversized_chunked_body_is_413(address: str) -> None:
    chunks = (b" " * 4096 for _ in range(64))
    headers = {"Content-Type": "application/json"}
    reply = requests.post(f"{address}/v1/plug-time", data=chunks, headers=headers, timeout=600)
    assert reply.status_code == 413
    assert reply.headers["Content-Type"] == "application/problem+json"


SLOW = "/v1/(hold-time|co2-mass|cylinder-count|spacing-validation|frost-check|job-estimate|batch)"
"""Estimates whose every combination of edge values would take many minutes."""


@pytest.mark.parametrize(
    "chosen",
    [
        ["--phases", "examples,fuzzing,stateful", "--max-examples", "200"],
        ["--phases", "coverage", "--exclude-path-regex", SLOW],
    ],
    ids=["fuzzing", "edge-values"],
)
def test_generated_traffic_finds_no_fault(address: str, chosen: list[str]) -> None:
    done = fuzz.run(address, ["--generation-deterministic", *chosen], 4 * 3600.0)
    assert done.returncode == 0, done.stdout[-6000:]


def _stream(address: str) -> http.client.HTTPConnection:
    connection = http.client.HTTPConnection(address.removeprefix("http://"), timeout=600)
    connection.putrequest("POST", "/v1/batch")
    connection.putheader("Content-Type", "application/x-ndjson")
    connection.putheader("Transfer-Encoding", "chunked")
    connection.endheaders()
    return connection


def _send(connection: http.client.HTTPConnection, data: bytes) -> None:
    connection.send(b"%x\r\n%s\r\n" % (len(data), data))


def test_lines_sent_all_before_any_is_read_are_all_answered(address: str) -> None:
    """A client that reads nothing until it has sent everything never blocks the service."""
    item = {"estimate": "plug-time", "request": json.loads(EXAMPLE.read_text())}
    line = json.dumps(item | {"estimate": "no-such"}).encode() + b"\n"
    connection = _stream(address)
    for _ in range(20):
        _send(connection, line * 1000)
    _send(connection, b"")
    reply = connection.getresponse()
    assert reply.status == 200
    answers = reply.read().splitlines()
    assert len(answers) == 20_001
    assert json.loads(answers[-1])["summary"]["failed"] == 20_000
    connection.close()


def test_a_client_that_leaves_stops_the_work(address: str) -> None:
    """After the client has gone, the batch's workers fall idle long before its end."""
    item = {"estimate": "hold-time", "request": json.loads(EXAMPLE.read_text())}
    lines = [
        json.dumps(item | {"request": item["request"] | {"id": str(i)}}).encode()
        for i in range(20_000)
    ]
    connection = _stream(address)
    _send(connection, b"\n".join(lines) + b"\n")
    _send(connection, b"")
    reply = connection.getresponse()
    left = threading.Event()

    def read() -> None:
        while not left.is_set():
            reply.readline()

    reader = threading.Thread(target=read)
    reader.start()
    until(lambda: _busy(address), "the workers are at work")
    left.set()
    reader.join()
    reply.close()
    connection.close()
    until(lambda: not _busy(address), "the batch ends after its client has gone")


def _busy(address: str) -> bool:
    """Whether the processes below the gunicorn on ``address`` use more than half a core."""
    port = int(address.rsplit(":", 1)[1])
    parents = [
        p for p in psutil.process_iter()
        if any(c.laddr.port == port and c.status == "LISTEN" for c in _sockets(p))
    ]  # fmt: skip
    family = {c for p in parents for c in p.children(recursive=True)}

    def spent() -> float:
        return sum(c.cpu_times().user for c in family if c.is_running())

    before = spent()
    time.sleep(1.0)
    return spent() - before > 0.5


def _sockets(process: psutil.Process) -> list[Any]:
    try:
        return list(process.net_connections("tcp"))
    except (psutil.Error, OSError):
        return []


def test_metrics_are_those_of_all_workers(address: str) -> None:
    """Requests spread over two workers are counted once each, whichever worker is asked."""

    def count() -> float:
        text = requests.get(f"{address}/metrics", timeout=600).text
        name = 'stillpipe_requests_total{method="GET",route="/livez",status="200"}'
        return sum(float(line.split()[-1]) for line in text.splitlines() if name in line)

    before = count()
    for _ in range(40):
        requests.get(f"{address}/livez", timeout=600)
    assert [count() for _ in range(5)] == [before + 40.0] * 5
