"""Batches over HTTP: jobs a second and peak memory at 1,000 and 10,000 jobs, in one run.

    python tests/benchmarks/batch_rate.py

Starts gunicorn with one worker on a free port; its batch uses every usable core. The jobs are
plug-time requests over the whole pipe catalogue, no two alike, as lines of JSON. Memory is the
greatest sum of unique set sizes of gunicorn and everything below it, sampled while the batch runs.
"""

import http.client
import itertools
import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import psutil

from stillpipe.tables import pipes

ROOT = Path(__file__).resolve().parents[2]


def jobs(count: int) -> Iterator[bytes]:
    """Yield ``count`` different plug-time items, one line each."""
    catalogue = itertools.cycle(pipes.catalogue())
    for i, pipe in zip(range(count), catalogue, strict=False):
        request = {
            "id": str(i),
            "pipe": {"standard": pipe.standard, "size": pipe.size, "schedule": pipe.schedule},
            "fluid": {"temperature": {"value": 10.0 + 15.0 * i / count, "unit": "degC"}},
            "ambient": {"temperature": {"value": 20, "unit": "degC"}},
            "line_pressure": {"value": 3, "unit": "bar"},
        }
        yield json.dumps({"estimate": "plug-time", "request": request}).encode() + b"\n"


class Watch(threading.Thread):
    """Samples the memory of a process and everything below it."""

    def __init__(self, root: int) -> None:
        """Begin to watch process ``root``."""
        super().__init__(daemon=True)
        self.root, self.peak, self.ended = psutil.Process(root), 0, False

    def run(self) -> None:
        """Sample until told to end."""
        while not self.ended:
            self.peak = max(self.peak, self.sample())
            time.sleep(0.2)

    def sample(self) -> int:
        """Return the sum of unique set sizes [bytes]."""
        total = 0
        for process in [self.root, *self.root.children(recursive=True)]:
            try:
                total += process.memory_full_info().uss
            except psutil.Error:
                continue
        return total


def run(bind: str, root: int, count: int) -> dict[str, float]:
    """Send ``count`` jobs and return what was measured."""
    watch = Watch(root)
    watch.start()
    connection = http.client.HTTPConnection(bind, timeout=900)
    begun = time.perf_counter()
    connection.request(
        "POST", "/v1/batch", jobs(count), {"Content-Type": "application/x-ndjson"},
        encode_chunked=True,
    )  # fmt: skip
    reply = connection.getresponse()
    last = b""
    while line := reply.readline():
        last = line
    seconds = time.perf_counter() - begun
    watch.ended = True
    summary = json.loads(last)["summary"]
    assert summary["total"] == count
    assert summary["failed"] == 0
    return {"rate": count / seconds, "peak": watch.peak / 2**20}


def serve() -> tuple[str, "subprocess.Popen[bytes]"]:
    """Start gunicorn with one worker and wait until it is ready."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        bind = f"127.0.0.1:{probe.getsockname()[1]}"
    command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py"]
    environment = os.environ | {"STILLPIPE_BIND": bind, "STILLPIPE_WORKERS": "1"}
    server = subprocess.Popen(command, cwd=ROOT, env=environment, stderr=subprocess.DEVNULL)
    for _ in range(2400):
        try:
            connection = http.client.HTTPConnection(bind, timeout=600)
            connection.request("GET", "/readyz")
            if connection.getresponse().status == 200:
                break
        except OSError:
            time.sleep(0.25)
    return bind, server


def main(counts: tuple[int, ...] = (200, 1000, 10000)) -> None:
    """Run the benchmark and print it; the first count warms up."""
    cores = len(os.sched_getaffinity(0))
    bind, server = serve()
    try:
        run(bind, server.pid, counts[0])
        found = {count: run(bind, server.pid, count) for count in counts[1:]}
    finally:
        server.terminate()
        server.wait()
    for count, figures in found.items():
        print(
            f"{count:6d} jobs: {figures['rate']:.0f} jobs/s, {figures['rate'] / cores:.0f} per core"
            f" ({cores} cores), peak {figures['peak']:.0f} MiB"
        )
    first, last = (found[c] for c in (counts[1], counts[-1]))
    print(f"peak memory, {counts[-1]} over {counts[1]} jobs: {last['peak'] / first['peak']:.3f}")


if __name__ == "__main__":
    main()
