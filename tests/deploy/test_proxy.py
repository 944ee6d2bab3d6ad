"""nginx in front of gunicorn: refusals are problems, rates are exact, slow callers harmless."""

import gzip
import json
import os
import re
import signal
import socket
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from statistics import quantiles

import pytest
import requests

from deploy.stack import NGINX, ROOT, Stack, until
from stillpipe.api import problems

EXAMPLE = (ROOT / "openapi" / "examples" / "plug-time-request.json").read_bytes()
JSON = {"Content-Type": "application/json"}

pytestmark = [
    pytest.mark.server,
    pytest.mark.skipif(NGINX is None, reason="no nginx on this machine"),
]


@pytest.fixture(scope="module")
def stack(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stack]:
    with Stack(tmp_path_factory.mktemp("stack")) as running:
        yield running


def raw(stack: Stack, data: bytes) -> bytes:
    """What the proxy answers to ``data``."""
    with socket.create_connection(("127.0.0.1", stack.outer), timeout=600) as connection:
        connection.sendall(data)
        received = b""
        with suppress(ConnectionResetError):  # when the rest of a refused body never comes
            while piece := connection.recv(65536):
                received += piece
        return received


def refused(reply: bytes) -> tuple[int, str]:
    """The status and problem type of a reply, whose head and body must agree."""
    head, _, body = reply.partition(b"\r\n\r\n")
    status = int(head.split()[1])
    assert b"content-type: application/problem+json" in head.lower(), reply
    assert b"x-content-type-options: nosniff" in head.lower()
    assert b"x-request-id: " in head.lower()
    problem = json.loads(body)
    assert problem["status"] == status
    slug = problem["type"].rpartition("/")[2]
    assert problems.TYPES[slug][:2] == (status, problem["title"])
    return status, slug


def get(path: str, *heads: str) -> bytes:
    lines = [f"GET {path} HTTP/1.1", "Host: stillpipe", "Connection: close", *heads, "", ""]
    return "\r\n".join(lines).encode()


POST = (
    "POST /v1/plug-time HTTP/1.1\r\nHost: s\r\nConnection: close\r\n"
    "Content-Type: application/json\r\n"
)


@pytest.mark.parametrize(
    ("request_", "status", "slug"),
    [
        (get("/" + "a" * 5000), 414, "uri-too-long"),
        (get("/v1/meta", "X-Long: " + "a" * 5000), 431, "headers-too-large"),
        (get("/v1/meta", *(f"X-{i}: {'a' * 100}" for i in range(300))), 431, "headers-too-large"),
        (f"{POST}Content-Length: 70000\r\n\r\n".encode() + b" " * 70000, 413, "too-large"),
        (f"{POST}Transfer-Encoding: chunked\r\n\r\n".encode() + b"11170\r\n" + b" " * 70000
         + b"\r\n0\r\n\r\n", 413, "too-large"),
        (f"{POST}Content-Length: 65537\r\n\r\n".encode() + b" " * 65537, 413, "too-large"),
        (f"{POST}Content-Length: 34000000\r\n\r\n".replace("plug-time", "batch").encode(), 413,
         "too-large"),
        (f"{POST}Content-Length: 3\r\n\r\n".encode() + b"[1,", 400, "malformed-json"),
        (f"{POST}Content-Length: 40000\r\n\r\n".encode() + b"[" * 40000, 400, "malformed-json"),
        (b"NOT HTTP\r\n\r\n", 400, "http"),
        (get("/v1/meta", "Content-Length: 1", "Content-Length: 2"), 400, "http"),
        (get("/v1/meta", "Transfer-Encoding: gzip"), 400, "http"),
        (get("/v1/meta").replace(b"HTTP/1.1", b"HTTP/9.9"), 400, "http"),
        (get("/v1/meta").replace(b"GET", b"TRACE"), 405, "method-not-allowed"),
        (get("/v1/meta").replace(b"GET", b"DELETE"), 405, "method-not-allowed"),
        (get("/metrics"), 404, "not-found"),
        (get("/nowhere"), 404, "not-found"),
    ],
    ids=["uri", "field", "fields", "body", "chunks", "byte-more", "batch", "json", "nesting",
         "not-http", "two-lengths", "coding", "version", "trace", "method", "metrics", "address"],
)  # fmt: skip
def test_what_cannot_be_served_is_told_as_a_problem(
    stack: Stack, request_: bytes, status: int, slug: str
) -> None:
    assert refused(raw(stack, request_)) == (status, slug)


def test_many_small_header_fields_reach_the_service(stack: Stack) -> None:
    """gunicorn's own limit on the number of fields is never what refuses."""
    reply = raw(stack, get("/v1/meta", *(f"X{i}: 1" for i in range(900))))
    assert reply.startswith(b"HTTP/1.1 200")


def test_a_request_of_the_largest_body_is_answered(stack: Stack) -> None:
    body = EXAMPLE + b" " * (65536 - len(EXAMPLE))
    reply = requests.post(f"{stack.address}/v1/plug-time", body, headers=JSON, timeout=600)
    assert reply.status_code == 200


def test_request_id_and_trace_context_pass_through(stack: Stack) -> None:
    trace = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"
    heads = {"traceparent": trace, "X-Request-Id": "harbour-lane-1"}
    reply = requests.get(f"{stack.address}/v1/meta", headers=heads, timeout=600)
    assert reply.headers["traceparent"] == trace
    assert reply.headers["X-Request-Id"] == "harbour-lane-1"
    made = requests.get(f"{stack.address}/v1/meta", timeout=600).headers["X-Request-Id"]
    assert re.fullmatch("[0-9a-f]{32}", made)

    def logged() -> bool:
        lines = (stack.folder / "access.log").read_text().splitlines()
        return {"harbour-lane-1", made} <= {json.loads(line)["request_id"] for line in lines}

    until(logged, "both requests are in the log")


def test_a_page_of_a_listed_origin_can_read_the_proxys_refusals(tmp_path: Path) -> None:
    """One field from the service, or one from the proxy, never both; none for another origin."""
    page, other = "https://dispatch.harbour-lane.example", "https://other.example"
    with Stack(tmp_path, rate="1r/m", burst=2, origin=page) as stack:

        def ask(origin: str) -> requests.Response:
            return requests.get(f"{stack.address}/v1/meta", headers={"Origin": origin}, timeout=600)

        replies = [ask(page) for _ in range(4)] + [ask(other)]
    assert [r.status_code for r in replies] == [200, 200, 200, 429, 429]
    allowed = [r.headers.get("Access-Control-Allow-Origin") for r in replies]
    assert allowed == [page] * 4 + [None]
    assert "Retry-After" in replies[3].headers["Access-Control-Expose-Headers"]
    assert all("Origin" in r.headers["Vary"].split(", ") for r in replies)


@pytest.mark.parametrize("path", ["/v1/batch", "/v1/batch/lines"])
def test_a_batch_streams_through(path: str, stack: Stack) -> None:
    """Also one that is longer than the body of an estimate may be."""
    lines = (ROOT / "openapi" / "examples" / "batch-lines.ndjson").read_bytes()
    heads = {"Content-Type": "application/x-ndjson"}
    body = lines + b"\n" * 70000
    reply = requests.post(f"{stack.address}{path}", body, headers=heads, timeout=600)
    assert reply.headers["RateLimit-Policy"].startswith('"address-batches"')
    assert json.loads(reply.content.splitlines()[-1])["summary"]["complete"] is True


def test_a_long_table_is_waited_for_and_a_lost_estimate_is_not(tmp_path: Path) -> None:
    """The proxy waits half a second for an estimate, and for a table as long as it takes."""
    head, *rows = (ROOT / "openapi" / "examples" / "batch-table.csv").read_text().splitlines()
    table = "\n".join([head, *(rows[i % len(rows)] for i in range(300))])
    with Stack(tmp_path, patience="500ms") as stack:
        begun = time.perf_counter()
        reply = requests.post(
            f"{stack.address}/v1/batch/table", table, headers={"Content-Type": "text/csv"},
            timeout=300,
        )  # fmt: skip
        assert time.perf_counter() - begun > 0.5
        assert (reply.status_code, reply.headers["Batch-Succeeded"]) == (200, "300")
        for worker in stack.workers():
            os.kill(worker, signal.SIGSTOP)
        late = raw(stack, POST.encode() + b"Content-Length: %d\r\n\r\n%s" % (len(EXAMPLE), EXAMPLE))
        for worker in stack.workers():
            os.kill(worker, signal.SIGCONT)
    assert refused(late) == (504, "timed-out")


def test_the_proxys_problems_are_the_services(stack: Stack) -> None:
    """Type, title and status of every problem in the configuration are in the service's list."""
    text = (stack.configuration / "problems.conf").read_text()
    found = [json.loads(body) for body in re.findall(r"return \d+ '(.*)';", text)]
    assert len(found) == text.count("error_page")
    for problem in found:
        slug = problem["type"].removeprefix("/v1/problems/")
        assert problems.TYPES[slug][:2] == (problem["status"], problem["title"])
        page = requests.get(stack.address + problem["type"], timeout=600)
        assert page.json()["title"] == problem["title"]


def test_the_rate_of_a_caller_is_exact(tmp_path: Path) -> None:
    """Of 200 requests at once over all nginx processes the burst and one pass, to the last one."""
    with Stack(tmp_path, rate="1r/m", burst=40) as stack, ThreadPoolExecutor(16) as pool:
        asked = [
            pool.submit(requests.get, f"{stack.address}/v1/problems/busy", timeout=600)
            for _ in range(200)
        ]
        replies = [a.result() for a in asked]
    passed = [r for r in replies if r.status_code == 200]
    others = [r for r in replies if r.status_code != 200]
    assert len(passed) == 41
    for reply in others:
        assert reply.status_code == 429
        assert int(reply.headers["Retry-After"]) > 0
        assert reply.json()["type"] == "/v1/problems/too-many-requests"
        assert reply.json()["request_id"] == reply.headers["X-Request-Id"]
        assert reply.headers["RateLimit"] == '"address";r=0;t=5'
    assert {r.headers["RateLimit-Policy"] for r in replies} == {'"address";q=40;w=2'}


def test_the_policies_in_words_are_those_that_hold() -> None:
    """The burst, and the seconds in which the rate gives it back; a test's own rates are not."""
    folder = ROOT / "deploy" / "nginx"
    rates = (folder / "rates.conf").read_text()
    bursts = re.findall(r"zone=(\w+) burst=(\d+)", (folder / "nginx.conf").read_text())
    per = {"s": 1.0, "m": 60.0}
    said = re.findall(r'"(address|address-batches)";q=(\d+);w=(\d+)', rates)
    for (zone, burst), (_, quota, window) in zip(bursts, said, strict=True):
        rate = re.search(rf"zone={zone}:\w+ rate=(\d+)r/(\w)", rates)
        assert rate
        assert (quota, float(window)) == (burst, int(burst) * per[rate[2]] / int(rate[1]))


PAGES = ["/v1/pipes", "/v1/limits", "/openapi.json", "/openapi.yaml", "/docs/swagger-ui-bundle.js"]


@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_sent_compressed_and_not_sent_twice(stack: Stack, path: str) -> None:
    plain = requests.get(stack.address + path, headers={"Accept-Encoding": "identity"}, timeout=600)
    small = requests.get(stack.address + path, headers={"Accept-Encoding": "gzip"}, timeout=600)
    assert "Content-Encoding" not in plain.headers
    assert small.headers["Content-Encoding"] == "gzip"
    assert small.content == plain.content
    assert small.headers["ETag"] == "W/" + plain.headers["ETag"]
    assert "Accept-Encoding" in small.headers["Vary"]
    for tag in (plain.headers["ETag"], small.headers["ETag"]):
        for coding in ("gzip", "identity"):
            heads = {"If-None-Match": tag, "Accept-Encoding": coding}
            again = requests.get(stack.address + path, headers=heads, timeout=600)
            assert (again.status_code, again.content) == (304, b"")


def test_an_estimate_is_sent_compressed_and_lines_as_they_come(stack: Stack) -> None:
    """Compressed lines would wait for each other; an array and a table are waited for anyway."""
    heads = JSON | {"Accept-Encoding": "gzip"}
    single = requests.post(f"{stack.address}/v1/plug-time", EXAMPLE, headers=heads, timeout=600)
    assert single.headers["Content-Encoding"] == "gzip"
    for kind, coding in (("application/x-ndjson", None), ("application/json", "gzip"),
                         ("text/csv", "gzip")):  # fmt: skip
        name = {"application/x-ndjson": "batch-lines.ndjson", "application/json":
                "batch-array.json", "text/csv": "batch-table.csv"}[kind]  # fmt: skip
        body = (ROOT / "openapi" / "examples" / name).read_bytes()
        heads = {"Accept-Encoding": "gzip", "Content-Type": kind}
        reply = requests.post(f"{stack.address}/v1/batch", body, headers=heads, timeout=600)
        assert (reply.status_code, reply.headers.get("Content-Encoding")) == (200, coding)


@pytest.mark.parametrize("coding", ["gzip", "br", "deflate", "zstd", "x"])
def test_a_compressed_request_is_told_what_is_taken(stack: Stack, coding: str) -> None:
    heads = JSON | {"Content-Encoding": coding}
    reply = requests.post(
        f"{stack.address}/v1/plug-time", gzip.compress(EXAMPLE), headers=heads, timeout=600
    )
    assert (reply.status_code, reply.headers["Accept-Encoding"]) == (415, "identity")
    assert reply.json()["type"] == "/v1/problems/unsupported-media-type"


def _dawdle(stack: Stack, head: bytes, ended: threading.Event) -> None:
    """Send a byte now and then until told to stop or thrown out."""
    with socket.create_connection(("127.0.0.1", stack.outer)) as connection:
        connection.sendall(head)
        while not ended.wait(1.0):
            try:
                connection.send(b"a")
            except OSError:
                return


def test_slow_callers_do_not_hold_up_a_probe(stack: Stack) -> None:
    """200 connections that send a byte a second: half in the head, half in the body."""
    ended = threading.Event()
    heads = [b"GET /v1/meta HTTP/1.1\r\nHost: s\r\nX-Slow: ",
             f"{POST}Content-Length: 5000\r\n\r\n{{".encode()]  # fmt: skip
    slow = [threading.Thread(target=_dawdle, args=(stack, heads[i % 2], ended)) for i in range(200)]
    for thread in slow:
        thread.start()
    time.sleep(1.5)
    times = []
    session = requests.Session()
    for _ in range(500):
        begun = time.perf_counter()
        reply = session.post(f"{stack.address}/v1/plug-time", EXAMPLE, headers=JSON, timeout=600)
        times.append(time.perf_counter() - begun)
        assert reply.status_code == 200
    still = sum(t.is_alive() for t in slow)
    ended.set()
    for thread in slow:
        thread.join()
    p99 = quantiles(times, n=100)[98]
    print(f"200 slow connections, {still} alive at the end: p99 {1e3 * p99:.1f} ms of 500")
    assert still == 200
    assert p99 < 0.1
