"""What takes long: ``python tests/deploy/endurance.py PART ...``, the parts one after another.

slowloris  connections that send a byte a second through nginx, and estimates meanwhile
starts     two services started at once on one empty cache of the compiler
clocks     what waits or limits reads monotonic clocks alone, as the source shows
busy       64 estimates under way that never end, and probes meanwhile; then all callers leave
worst      64 of the dearest requests that are accepted under way, and probes meanwhile
soak       estimates, batches and callers who leave, for so many minutes; memory and descriptors
"""

import argparse
import asyncio
import json
import re
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, suppress
from pathlib import Path
from statistics import median, quantiles

import requests

sys.path.insert(0, str(Path(__file__).parents[1]))

from contract import costs
from deploy.callers import Callers, Question
from deploy.holding import Held, held
from deploy.stack import PATIENCE, ROOT, Server, Stack, until
from deploy.test_admission import (
    APPLICATION,
    ORDINARY,
    TESTS,
    asking,
    cancelled,
    metric,
    wall_clock_readers,
)

EXAMPLES = ROOT / "openapi" / "examples"
JSON = {"Content-Type": "application/json"}


def p99(times: list[float]) -> str:
    """The 99th percentile of ``times`` [s], and the longest, as text."""
    return f"p99 {1e3 * quantiles(times, n=100)[98]:.1f} ms, longest {1e3 * max(times):.1f} ms"


def timed(ask: Callable[[], requests.Response], count: int) -> list[float]:
    """Seconds that each of ``count`` requests took, all answered 200."""
    found = []
    for _ in range(count):
        begun = time.perf_counter()
        reply = ask()
        found.append(time.perf_counter() - begun)
        assert reply.status_code == 200, reply.text
    return found


def dawdle(port: int, head: bytes, ended: threading.Event, left: list[int]) -> None:
    """Send ``head`` and then a byte a second, from new connections as often as thrown out."""
    while not ended.is_set():
        with suppress(OSError), socket.create_connection(("127.0.0.1", port)) as connection:
            connection.sendall(head)
            while not ended.wait(1.0):
                connection.sendall(b"a")
        left.append(1)


def slowloris(options: argparse.Namespace) -> None:
    """Ask for estimates while many slow connections are held open through nginx."""
    heads = [
        b"GET /v1/meta HTTP/1.1\r\nHost: s\r\nX-Slow: ",
        b"POST /v1/plug-time HTTP/1.1\r\nHost: s\r\nContent-Type: application/json\r\n"
        b"Content-Length: 60000\r\n\r\n{",
    ]
    question = (EXAMPLES / "plug-time-request.json").read_bytes()
    ended, left = threading.Event(), list[int]()
    with tempfile.TemporaryDirectory() as folder, Stack(Path(folder)) as stack:
        threads = [
            threading.Thread(target=dawdle, args=(stack.outer, heads[n % 2], ended, left))
            for n in range(options.connections)
        ]
        for thread in threads:
            thread.start()
        session, end = requests.Session(), time.monotonic() + 60.0 * options.minutes
        times: list[float] = []
        while time.monotonic() < end:
            times += timed(
                lambda: session.post(
                    f"{stack.address}/v1/plug-time", question, headers=JSON, timeout=PATIENCE
                ),
                100,
            )
        ended.set()
        for thread in threads:
            thread.join()
    print(
        f"{options.connections} slow connections for {options.minutes:g} min, thrown out "
        f"{len(left) - options.connections} times: {len(times)} estimates, {p99(times)}"
    )


def starts(_options: argparse.Namespace) -> None:
    """Start two services at once where nothing is compiled yet, and both again."""
    question = (EXAMPLES / "plug-time-request.json").read_bytes()
    with tempfile.TemporaryDirectory() as cache:
        for what in ("an empty cache", "the cache they left"):
            begun = time.monotonic()
            servers = [Server(NUMBA_CACHE_DIR=cache) for _ in range(2)]
            threads = [threading.Thread(target=s.start) for s in servers]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
            spent = time.monotonic() - begun
            answers = {
                requests.post(f"{s.address}/v1/plug-time", question, headers=JSON,
                              timeout=PATIENCE).content
                for s in servers
            }  # fmt: skip
            for server in servers:
                server.stop()
            assert len(answers) == 1
            print(f"two starts at once on {what}: both ready after {spent:.1f} s, equal answers")


def clocks(_options: argparse.Namespace) -> None:
    """Say which modules of the service read the wall clock; a jump of it reaches nothing else."""
    readers = wall_clock_readers()
    print("the service's own code reads the wall clock in:", ", ".join(readers) or "no module")
    assert readers == [], "what waits or limits must read a monotonic clock"


def busy(_options: argparse.Namespace) -> None:
    """Probe while 64 estimates that never end are under way, then let their callers leave."""
    with tempfile.TemporaryDirectory() as folder, ExitStack() as held:
        stack = held.enter_context(
            Stack(Path(folder), settings=APPLICATION, PYTHONPATH=TESTS, STILLPIPE_STAND_IN="busy")
        )
        session = requests.Session()
        rest = timed(lambda: session.get(f"{stack.address}/livez", timeout=PATIENCE), 500)
        with asking(stack.address, 64):
            time.sleep(2.0)
            times = timed(lambda: session.get(f"{stack.address}/livez", timeout=PATIENCE), 500)
            pages = timed(lambda: session.get(f"{stack.address}/v1/limits", timeout=PATIENCE), 200)
        begun = time.monotonic()
        timed(
            lambda: session.post(
                f"{stack.address}/v1/ventilation", json=ORDINARY, timeout=PATIENCE
            ),
            1,
        )
        answered = time.monotonic() - begun
        until(lambda: cancelled(stack) >= 64, "all have ended")
        ended = time.monotonic() - begun
    print(
        f"64 estimates without end: /livez {p99(times)} of 500 (at rest {p99(rest)}); "
        f"/v1/limits {p99(pages)} of 200; an ordinary estimate {answered:.2f} s after all left, "
        f"the last work ended within {ended:.2f} s"
    )


def worst(options: argparse.Namespace) -> None:
    """Probe while callers of the dearest estimates wait, then ask for an ordinary one."""
    dearest = costs.dearest()
    with tempfile.TemporaryDirectory() as folder, Stack(Path(folder)) as stack:
        session = requests.Session()

        def livez() -> requests.Response:
            return session.get(f"{stack.address}/livez", timeout=PATIENCE)

        def ask(number: int) -> float:
            body = dearest.tree | {"id": f"worst-{number}"}
            address = f"{stack.address}/v1/{dearest.name}"
            reply = requests.post(address, json=body, timeout=PATIENCE)
            assert reply.status_code == 200, reply.text
            return time.monotonic()

        rest, times, begun = timed(livez, 500), list[float](), time.monotonic()
        with ThreadPoolExecutor(options.callers) as callers:
            asked = [callers.submit(ask, n) for n in range(options.callers)]
            until(lambda: metric(stack, "stillpipe_estimate_waited_seconds_count") >= 8, "begun")
            while not all(a.done() for a in asked):
                times += timed(livez, 1)
        ended = max(a.result() for a in asked)
        timed(lambda: session.post(f"{stack.address}/v1/ventilation", json=ORDINARY,
                                   timeout=PATIENCE), 1)  # fmt: skip
        answered = time.monotonic() - ended
    print(
        f"{options.callers} of {dearest.name}, {dearest.units:,} units each, all answered after "
        f"{ended - begun:.1f} s: /livez {p99(times)} of {len(times)} (at rest {p99(rest)}); an "
        f"ordinary estimate {answered:.2f} s after the last one's end"
    )
    assert answered < 2.0
    assert quantiles(times, n=100)[98] < 0.1, "/livez is slow"


def load(stack: Stack, number: int) -> None:
    """Some distinct estimates of every kind, a batch, a refusal and a caller who leaves."""
    questions = []
    for file in sorted(EXAMPLES.glob("*-request.json")):
        body = json.loads(file.read_text()) | {"id": f"soak-{number}"}
        path = f"/v1/{file.stem.removesuffix('-request')}"
        questions += [Question(path, json.dumps(body).encode())]
    tally = asyncio.run(Callers(stack.outer, questions, 2 * len(questions), 4).run())
    assert tally.wrong == [], tally.wrong[:1]
    lines = (EXAMPLES / "batch-lines.ndjson").read_bytes()
    heads = {"Content-Type": "application/x-ndjson"}
    for headers in (heads, heads | {"Content-Encoding": "gzip"}):
        reply = requests.post(f"{stack.address}/v1/batch", lines, headers=headers, timeout=PATIENCE)
        assert reply.status_code in {200, 415, 429, 503}, reply.text
    with suppress(requests.Timeout):
        requests.post(
            f"{stack.address}/v1/job-estimate",
            timeout=(PATIENCE, 0.01),
            json=json.loads(questions[0].body) | {"id": f"left-{number}"},
        )


def soak(options: argparse.Namespace) -> None:
    """Load the service for so many minutes, and compare the middle third with the last.

    In the first third memory fills up to what answers may take; then it must stay.
    """
    samples: list[Held] = []
    with tempfile.TemporaryDirectory() as folder, Stack(Path(folder)) as stack:
        begun = time.monotonic()
        rounds = 0
        while time.monotonic() < begun + 60.0 * options.minutes:
            load(stack, rounds)
            rounds += 1
            samples.append(held(stack))
        page = requests.get(f"http://127.0.0.1:{stack.inner}/metrics", timeout=PATIENCE).text
    third = len(samples) // 3
    thirds = [samples[n * third : (n + 1) * third] for n in range(3)]
    medians = [Held(*map(median, zip(*part, strict=True))) for part in thirds]
    for name in Held._fields:
        values = ", ".join(f"{getattr(m, name):.1f}" for m in medians)
        most = max(getattr(s, name) for s in samples)
        print(f"{name}: at first {getattr(samples[0], name):.1f}, medians of the thirds {values}, "
              f"most {most:.1f}")  # fmt: skip
    errors = len(re.findall(r'requests_total\{.*status="500"', page))
    print(f"{options.minutes:g} min, {rounds} rounds, replies of 500: {errors}")
    assert errors == 0
    _, middle, last = medians
    assert last.anonymous <= 1.02 * middle.anonymous, "memory grows"
    assert last.descriptors <= middle.descriptors + 8, "descriptors grow"


PARTS = {p.__name__: p for p in (slowloris, starts, clocks, busy, worst, soak)}


def main() -> None:
    """Run the parts that are named, all by default."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("parts", nargs="*", choices=[*PARTS, []], help="default: all")
    parser.add_argument("--minutes", type=float, default=30.0, help="length of soak and slowloris")
    parser.add_argument("--callers", type=int, default=64, help="callers of the dearest estimates")
    parser.add_argument("--connections", type=int, default=200, help="slow connections")
    options = parser.parse_args()
    for name in options.parts or PARTS:
        print(f"{name}:", flush=True)
        PARTS[name](options)


if __name__ == "__main__":
    main()
