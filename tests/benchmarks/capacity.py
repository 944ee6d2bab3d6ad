"""What two workers can do: ``python tests/benchmarks/capacity.py [SECONDS] [ROUNDS]``.

gunicorn as it is deployed, asked by callers on the same machine: processor time of the service for
a request by endpoint, the least of so many rounds, and requests a second, the most; each has water
of another temperature so that none is answered from memory. Processor time means the same on a
machine that others use. Then the memory of the workers, and the bytes of a batch by what is asked.
"""

import gzip
import itertools
import json
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import psutil
import requests

sys.path.insert(0, str(Path(__file__).parents[1]))
from deploy.stack import ROOT, Server, until
from stillpipe.server import settings

EXAMPLES = ROOT / "openapi" / "examples"
CALLERS = 8
ESTIMATES = (
    "plug-time", "hold-time", "co2-mass", "cylinder-count", "spacing-validation", "frost-check",
    "ventilation", "job-estimate",
)  # fmt: skip
QUERIES = ("", "?cautions=codes", "?fields=planned_ready,planned_count,survival,total",
           "?fields=planned_ready,planned_count,survival,total&cautions=codes")  # fmt: skip


def varied(body: dict[str, Any], number: int) -> dict[str, Any]:
    """Return ``body`` as a request that was not made before."""
    if "fluid" in body:
        temperature = {"value": round(15.0 + 1e-4 * number, 4), "unit": "degC"}
        return body | {"fluid": body["fluid"] | {"temperature": temperature}}
    return body | {"id": str(number)}


def spent(workers: list[psutil.Process]) -> float:
    """Return the processor time that the workers have taken [s]."""
    return sum(sum(worker.cpu_times()[:2]) for worker in workers)


def measure(
    ask: Callable[[requests.Session], Any], workers: list[psutil.Process], seconds: float
) -> tuple[float, float]:
    """Return processor time for a request [s] and requests a second, asked by several callers."""
    done = itertools.count()
    ends = time.perf_counter() + seconds

    def caller() -> None:
        with requests.Session() as session:
            while time.perf_counter() < ends:
                ask(session)
                next(done)

    begun, before = time.perf_counter(), spent(workers)
    with ThreadPoolExecutor(CALLERS) as pool:
        for future in [pool.submit(caller) for _ in range(CALLERS)]:
            future.result()
    count = next(done)
    return (spent(workers) - before) / count, count / (time.perf_counter() - begun)


def report(name: str, found: list[tuple[float, float]]) -> None:
    """Print the best of the rounds."""
    cost, rate = min(c for c, _ in found), max(r for _, r in found)
    print(f"{name}: {1e3 * cost:.2f} ms of a core, {rate:.1f}/s", flush=True)


def proportional(pid: int) -> float:
    """Return the proportional set size of a process [MiB]."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return sum(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024.0


def rates(server: Server, workers: list[psutil.Process], seconds: float, rounds: int) -> None:
    """Print requests a second by endpoint."""
    numbers, lock = itertools.count(), threading.Lock()
    for name in ESTIMATES:
        body = json.loads((EXAMPLES / f"{name}-request.json").read_text())

        def ask(session: requests.Session, name: str = name, body: Any = body) -> None:
            with lock:
                number = next(numbers)
            reply = session.post(f"{server.address}/v1/{name}", json=varied(body, number))
            assert reply.status_code == 200, reply.text

        report(name, [measure(ask, workers, seconds) for _ in range(rounds)])
    again = (EXAMPLES / "plug-time-request.json").read_bytes()
    heads = {"Content-Type": "application/json"}
    kinds: dict[str, Callable[[requests.Session], Any]] = {
        "plug-time from memory": lambda s: s.post(
            f"{server.address}/v1/plug-time", again, headers=heads
        ),
        "a catalogue": lambda s: s.get(f"{server.address}/v1/materials"),
    }
    for told, send in kinds.items():
        report(told, [measure(send, workers, seconds) for _ in range(rounds)])


def sizes(server: Server) -> None:
    """Print the bytes of the example of a batch by what is asked for, and what gzip leaves."""
    for name, kind in (("batch-array.json", "application/json"), ("batch-table.csv", "text/csv")):
        body = (EXAMPLES / name).read_bytes()
        for query in QUERIES:
            url = f"{server.address}/v1/batch{query}"
            if kind == "text/csv" and "codes" in query:
                continue
            reply = requests.post(url, body, headers={"Content-Type": kind}, timeout=600)
            packed = len(gzip.compress(reply.content, 5))
            print(f"{name}{query}: {len(reply.content)} bytes, {packed} by gzip", flush=True)


def main(seconds: float, rounds: int) -> None:
    """Measure and print everything."""
    with Server() as server:
        arbiter = psutil.Process(server.server.pid)
        until(lambda: len(arbiter.children()) >= settings.workers(), "all workers serve")
        workers = arbiter.children()
        processes = [arbiter.pid, *(worker.pid for worker in workers)]
        rest = [proportional(pid) for pid in processes]
        rates(server, workers, seconds, rounds)
        after = [proportional(pid) for pid in processes]
        sizes(server)
        whole = sum(proportional(p.pid) for p in [arbiter, *arbiter.children(True)])
    for told, found in (("at rest", rest), ("after all", after)):
        shown = ", ".join(f"{size:.0f}" for size in found)
        print(f"memory {told}, arbiter and workers [MiB]: {shown}; together {sum(found):.0f}")
    print(f"with the processes of batches: {whole:.0f} MiB; load {psutil.getloadavg()}")


if __name__ == "__main__":
    main(float((sys.argv[1:] or ["5"])[0]), int((sys.argv[2:] or ["3"])[0]))
