"""Every place taken by estimates without end: the rest is served, and who leaves ends the work."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import pytest
import requests

from deploy.stack import NGINX, PATIENCE, ROOT, Server, Stack, until
from stillpipe.server import settings

EXAMPLES = ROOT / "openapi" / "examples"
QUESTION = json.loads((EXAMPLES / "plug-time-request.json").read_text())
ORDINARY = json.loads((EXAMPLES / "ventilation-request.json").read_text())
APPLICATION = ("deploy.stand_in:create_app()",)
TESTS = f"{ROOT / 'tests'}:{ROOT / 'service'}"
PAGES = ("/livez", "/readyz", "/metrics", "/v1/pipes", "/v1/limits", "/v1/meta", "/openapi.json",
         "/docs", "/v1/problems/busy")  # fmt: skip
MORE = 8
"""Callers beyond those that are taken on, so that whoever asks next is refused."""

pytestmark = pytest.mark.server
with_nginx = pytest.mark.skipif(NGINX is None, reason="no nginx on this machine")


def ask(address: str, number: int) -> socket.socket:
    """Ask for an estimate without end; the connection is the caller's to close."""
    host, port = address.removeprefix("http://").split(":")
    body = json.dumps(QUESTION | {"id": f"endless-{number}"}).encode()
    head = (
        "POST /v1/plug-time HTTP/1.1\r\nHost: s\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    )
    connection = socket.create_connection((host, int(port)), timeout=PATIENCE)
    connection.sendall(head.encode() + body)
    return connection


def metric(server: Server, name: str) -> float:
    """The sum of a metric of gunicorn's, over its labels and workers."""
    page = requests.get(f"http://127.0.0.1:{server.inner}/metrics", timeout=PATIENCE).text
    return sum(float(v) for v in re.findall(rf"^{name}(?:{{.*}})? (\S+)$", page, re.MULTILINE))


def cancelled(server: Server) -> float:
    return metric(server, "stillpipe_requests_cancelled_total")


@contextmanager
def asking(address: str, count: int) -> Iterator[list[socket.socket]]:
    """So many callers at ``address`` who wait for an estimate without end."""
    with ExitStack() as stack:
        yield [stack.enter_context(ask(address, number)) for number in range(count)]


def computing(server: Server) -> float:
    return metric(server, "stillpipe_estimate_waited_seconds_count")


@pytest.fixture(scope="module")
def alone() -> Iterator[Server]:
    """gunicorn alone, with one worker, so that the count of places is exact."""
    with Server((*APPLICATION, "--workers", "1"), PYTHONPATH=TESTS) as server:
        yield server


def test_everything_else_is_served_while_every_place_is_taken(alone: Server) -> None:
    most = settings.places() + settings.queue()
    begun, gone = computing(alone), cancelled(alone)
    with asking(alone.address, most + MORE) as callers:
        until(lambda: computing(alone) == begun + settings.places(), "every place is taken")
        until(lambda: refused(alone) == 503, "the queue is full")
        for path in PAGES:
            assert requests.get(alone.address + path, timeout=PATIENCE).status_code == 200, path
        faulty = requests.post(f"{alone.address}/v1/plug-time", json={}, timeout=PATIENCE)
        assert faulty.status_code == 422, "a body that cannot be used needs no place"
        batch = json.dumps([{"estimate": "ventilation", "request": ORDINARY}])
        many = requests.post(
            f"{alone.address}/v1/batch", batch, headers={"Content-Type": "application/json"},
            timeout=PATIENCE,
        )  # fmt: skip
        assert many.json()["summary"]["succeeded"] == 1
        for caller in callers:
            caller.close()
        until(lambda: ordinary(alone) == 200, "who asks after they have left is answered")
    # the probes of the full queue left it in between
    until(lambda: cancelled(alone) >= gone + most, "the work of all who left has ended")


def ordinary(server: Server) -> int:
    """The status of an ordinary estimate."""
    address = f"{server.address}/v1/ventilation"
    return requests.post(address, json=ORDINARY, timeout=PATIENCE).status_code


def refused(server: Server) -> int:
    """The status of one more estimate, whose caller gives up where it is not refused at once."""
    try:
        reply = requests.post(
            f"{server.address}/v1/plug-time", json=QUESTION | {"id": "more"}, timeout=(PATIENCE, 1)
        )
    except requests.ReadTimeout:
        return 0
    assert reply.headers["Retry-After"] == "1"
    assert reply.json()["type"] == "/v1/problems/busy"
    return reply.status_code


def test_those_who_wait_come_in_when_those_before_them_leave(alone: Server) -> None:
    begun, gone, places = computing(alone), cancelled(alone), settings.places()
    with asking(alone.address, places) as first:
        until(lambda: computing(alone) == begun + places, "every place is taken")
        with asking(alone.address, places) as second:
            for caller in first:
                caller.close()
            until(lambda: computing(alone) == begun + 2 * places, "the next compute")
            assert len(second) == places
    until(lambda: cancelled(alone) == gone + 2 * places, "all have ended")


@with_nginx
def test_who_leaves_the_proxy_or_outlasts_its_patience_ends_the_work(tmp_path: Path) -> None:
    with Stack(tmp_path, settings=APPLICATION, patience="3s", PYTHONPATH=TESTS) as stack:
        with asking(stack.address, 3):
            until(lambda: computing(stack) == 3, "the three compute")
        until(lambda: cancelled(stack) == 3, "the work of those who left has ended")
        late = requests.post(f"{stack.address}/v1/plug-time", json=QUESTION, timeout=PATIENCE)
        assert late.status_code == 504
        until(lambda: cancelled(stack) == 4, "the work that the proxy gave up has ended")


@with_nginx
def test_pages_pass_the_proxy_while_as_many_estimates_wait_as_may(tmp_path: Path) -> None:
    with Stack(tmp_path, settings=APPLICATION, PYTHONPATH=TESTS) as stack:
        with asking(stack.address, 64 + MORE):
            until(lambda: refused(stack) == 503, "64 are under way")
            for path in PAGES:
                if path != "/metrics":
                    reply = requests.get(stack.address + path, timeout=PATIENCE)
                    assert reply.status_code == 200, path
        until(lambda: cancelled(stack) >= 64, "the work of those who left has ended")


def test_the_proxys_bounds_are_those_of_the_service() -> None:
    """What the proxy lets through fits into one worker: its places and queue, and its threads.

    A batch that is refused takes a thread for a moment, one that runs for as long as it does.
    """
    text = (ROOT / "deploy" / "nginx" / "upstreams.conf").read_text()

    def most(name: str) -> int:
        block = text.partition(f"upstream {name} {{")[2].partition("}")[0]
        return sum(int(n) for n in re.findall(r"max_conns=(\d+)", block))

    assert most("stillpipe_estimates") <= settings.places() + settings.queue()
    assert most("stillpipe_batches") <= settings.batches_here() + settings.SPARE
    taken = settings.places() + settings.queue() + settings.batches_here()
    assert settings.threads() == taken + settings.SPARE


def wall_clock_readers() -> list[str]:
    """Modules of the service that ask what time it is; a log line gets its time from logging."""
    wall = re.compile(r"\btime\.time\b|\bdatetime\.(?:now|utcnow|today)\b|\bfrom time import\b")
    return sorted(
        str(f.relative_to(ROOT)) for f in (ROOT / "service").rglob("*.py")
        if wall.search(f.read_text())
    )  # fmt: skip


def test_a_jump_of_the_wall_clock_reaches_nothing() -> None:
    """No module of the service asks what time it is, so that nothing waits or counts by it."""
    assert wall_clock_readers() == []


def test_a_start_that_fails_leaves_no_files_in_memory() -> None:
    environment = os.environ | {"STILLPIPE_CORS_ORIGINS": "no origin"}
    environment |= {"STILLPIPE_BIND": "127.0.0.1:0"}
    environment.pop("PROMETHEUS_MULTIPROC_DIR", None)
    command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py"]
    started = subprocess.Popen(command, cwd=ROOT, env=environment, stderr=subprocess.PIPE)
    _, said = started.communicate(timeout=PATIENCE)
    assert started.returncode != 0
    assert b"OriginError" in said
    for folder in ("/dev/shm", "/tmp"):  # noqa: S108
        assert not Path(folder, f"stillpipe-metrics-{started.pid}").exists()


def test_a_start_that_is_told_to_end_leaves_no_files_in_memory() -> None:
    environment = os.environ | {"STILLPIPE_BIND": "127.0.0.1:0"}
    environment.pop("PROMETHEUS_MULTIPROC_DIR", None)
    command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py"]
    started = subprocess.Popen(command, cwd=ROOT, env=environment, stderr=subprocess.DEVNULL)
    folders = [Path(f, f"stillpipe-metrics-{started.pid}") for f in ("/dev/shm", "/tmp")]  # noqa: S108
    until(lambda: any(f.exists() for f in folders), "the start has begun")
    time.sleep(0.5)  # it imports and compiles; its own handlers come later
    started.terminate()
    started.wait(timeout=PATIENCE)
    assert not any(f.exists() for f in folders)


def test_an_end_leaves_no_files_in_memory() -> None:
    with Server() as server:
        folder = Path(f"/dev/shm/stillpipe-metrics-{server.server.pid}")  # noqa: S108
        first = set(server.workers())

        def renewed() -> bool:
            """Tell whether two new workers run; the old are told to end, again if need be."""
            for worker in first.intersection(server.workers()):
                with suppress(ProcessLookupError):
                    os.kill(worker, signal.SIGTERM)  # lost on one that has not taken its handlers
            return len(set(server.workers()) - first) == 2

        until(renewed, "two workers are there again")  # a worker's end takes nothing away
        assert not Path("/dev/shm").is_dir() or folder.exists()  # noqa: S108
    assert not folder.exists()


BAD = {
    "414": (b"GET /" + b"a" * 9000 + b" HTTP/1.1\r\nHost: s\r\n\r\n", 414, "uri-too-long"),
    "431": (b"GET / HTTP/1.1\r\nHost: s\r\nX: " + b"a" * 9000 + b"\r\n\r\n", 431,
            "headers-too-large"),
    "not-http": (b"NOT HTTP\r\n\r\n", 400, "http"),
    "version": (b"GET / HTTP/9.9\r\nHost: s\r\n\r\n", 400, "http"),
    "name": (b"GET / HTTP/1.1\r\nHost: s\r\nA B: 1\r\n\r\n", 400, "http"),
    "lengths": (b"POST /v1/meta HTTP/1.1\r\nHost: s\r\nContent-Length: x\r\n\r\n", 400, "http"),
    "coding": (b"POST / HTTP/1.1\r\nHost: s\r\nTransfer-Encoding: gzip\r\n\r\n", 400, "http"),
    "chunk": (b"POST /v1/plug-time HTTP/1.1\r\nHost: s\r\nContent-Type: application/json\r\n"
              b"Transfer-Encoding: chunked\r\n\r\nnot hex\r\n", 400, "http"),
    "expect": (b"GET / HTTP/1.1\r\nHost: s\r\nExpect: the-moon\r\n\r\n", 400, "http"),
}  # fmt: skip


@pytest.mark.parametrize("bad", BAD)
def test_what_gunicorn_refuses_itself_is_a_problem(alone: Server, bad: str) -> None:
    sent, status, slug = BAD[bad]
    with socket.create_connection(("127.0.0.1", alone.inner), timeout=PATIENCE) as connection:
        connection.sendall(sent)
        connection.shutdown(socket.SHUT_WR)
        received = b""
        while piece := connection.recv(65536):
            received += piece
    head, _, body = received.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 %d " % status), received
    assert b"content-type: application/problem+json" in head.lower()
    assert b"content-length: %d\r" % len(body) in head.lower() + b"\r"
    problem = json.loads(body)
    assert (problem["status"], problem["type"]) == (status, f"/v1/problems/{slug}")
