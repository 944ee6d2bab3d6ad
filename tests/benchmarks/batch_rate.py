"""Batches over HTTP: jobs a second and peak memory at 1,000 and 10,000 jobs, in one run.

    python tests/benchmarks/batch_rate.py [TREE]

Starts gunicorn with one worker on a free port; its batch uses every usable core. The jobs are
plug-time requests over the whole pipe catalogue, no two alike, in each of the three forms. Memory
is the greatest sum of proportional set sizes of gunicorn and everything below it, sampled while the
batch runs: pages that processes share are counted once, and are not hidden.
With the folder TREE of another checkout, that is measured in the same run.
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
HEAD = (
    "estimate,id,pipe.standard,pipe.size,pipe.schedule,fluid.temperature [degC],"
    "ambient.temperature [degC],line_pressure [bar]\r\n"
)


def jobs(count: int) -> Iterator[tuple[str, pipes.Pipe, float]]:
    """Yield the name, the pipe and the water's temperature [degC] of ``count`` different jobs."""
    catalogue = itertools.cycle(pipes.catalogue())
    for i, pipe in zip(range(count), catalogue, strict=False):
        yield str(i), pipe, 10.0 + 15.0 * i / count


def lines(count: int) -> Iterator[bytes]:
    """Yield ``count`` items, one line each."""
    for name, pipe, temperature in jobs(count):
        request = {
            "id": name,
            "pipe": {"standard": pipe.standard, "size": pipe.size, "schedule": pipe.schedule},
            "fluid": {"temperature": {"value": temperature, "unit": "degC"}},
            "ambient": {"temperature": {"value": 20, "unit": "degC"}},
            "line_pressure": {"value": 3, "unit": "bar"},
        }
        yield json.dumps({"estimate": "plug-time", "request": request}).encode() + b"\n"


def array(count: int) -> Iterator[bytes]:
    """Yield the pieces of an array of ``count`` items."""
    for i, line in enumerate(lines(count)):
        yield (b"," if i else b"[") + line
    yield b"]"


def table(count: int) -> Iterator[bytes]:
    """Yield the rows of a table of ``count`` items."""
    yield HEAD.encode()
    for name, pipe, temperature in jobs(count):
        cells = (pipe.standard, pipe.size, pipe.schedule, str(temperature))
        quoted = ",".join('"' + cell.replace('"', '""') + '"' for cell in cells)
        yield f"plug-time,{name},{quoted},20,3\r\n".encode()


FORMS = {"application/x-ndjson": lines, "application/json": array, "text/csv": table}


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
        """Return the sum of proportional set sizes [bytes]."""
        total = 0
        for process in [self.root, *self.root.children(recursive=True)]:
            try:
                rollup = Path(f"/proc/{process.pid}/smaps_rollup").read_text()
            except OSError:
                continue
            total += 1024 * sum(int(x.split()[1]) for x in rollup.splitlines() if x[:4] == "Pss:")
        return total


def run(bind: str, root: int, count: int, form: str) -> dict[str, float]:
    """Send ``count`` jobs in ``form`` and return what was measured."""
    watch = Watch(root)
    watch.start()
    connection = http.client.HTTPConnection(bind, timeout=900)
    begun = time.perf_counter()
    connection.request(
        "POST", "/v1/batch", FORMS[form](count), {"Content-Type": form}, encode_chunked=True
    )
    reply = connection.getresponse()
    last = b""
    while piece := reply.read(65536):
        last = last[-500:] + piece
    seconds = time.perf_counter() - begun
    watch.ended = True
    watch.join()
    if form == "text/csv":
        assert (reply.headers["Batch-Succeeded"], reply.headers["Batch-Failed"]) == (
            f"{count}",
            "0",
        )
    else:
        assert b'"total":%d,"succeeded":%d,"failed":0' % (count, count) in last
    connection.close()
    return {"rate": count / seconds, "peak": watch.peak / 2**20}


def serve(tree: Path) -> tuple[str, "subprocess.Popen[bytes]"]:
    """Start gunicorn from ``tree`` with one worker and wait until it is ready."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        bind = f"127.0.0.1:{probe.getsockname()[1]}"
    command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py"]
    added = {
        "STILLPIPE_BIND": bind, "STILLPIPE_WORKERS": "1", "PYTHONPATH": str(tree / "service"),
    }  # fmt: skip
    server = subprocess.Popen(command, cwd=tree, env=os.environ | added, stderr=subprocess.DEVNULL)
    for _ in range(2400):
        try:
            connection = http.client.HTTPConnection(bind, timeout=600)
            connection.request("GET", "/readyz")
            if connection.getresponse().status == 200:
                break
        except OSError:
            time.sleep(0.25)
    return bind, server


def measure(tree: Path, form: str, counts: tuple[int, ...]) -> dict[int, dict[str, float]]:
    """Return what was measured for each count on a new server; the first count warms up."""
    bind, server = serve(tree)
    try:
        run(bind, server.pid, counts[0], form)
        return {count: run(bind, server.pid, count, form) for count in counts[1:]}
    finally:
        server.terminate()
        server.wait()


def main(counts: tuple[int, ...] = (200, 1000, 10000), other: Path | None = None) -> None:
    """Run the benchmark and print it; ``other`` is another checkout to measure alike."""
    cores = len(os.sched_getaffinity(0))
    for tree, form in itertools.product([ROOT] + ([other] if other else []), FORMS):
        found = measure(tree, form, counts)
        name = ("other " if tree == other else "") + form
        for count, figures in found.items():
            print(
                f"{name}: {count:6d} jobs: {figures['rate']:.0f} jobs/s, "
                f"{figures['rate'] / cores:.0f} per core ({cores} cores), "
                f"peak {figures['peak']:.0f} MiB", flush=True,
            )  # fmt: skip
        ratio = found[counts[-1]]["peak"] / found[counts[1]]["peak"]
        print(f"{name}: peak, {counts[-1]} over {counts[1]} jobs: {ratio:.3f}", flush=True)


if __name__ == "__main__":
    main(other=Path(sys.argv[1]).resolve() if len(sys.argv) > 1 else None)
