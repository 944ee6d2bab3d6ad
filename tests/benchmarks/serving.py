"""gunicorn from a tree, with one worker: its start, its requests, its batches."""

import http.client
import itertools
import json
import os
import random
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

from benchmarks import jobs
from benchmarks.memory import Watch
from stillpipe.tables import pipes

HERE = Path(__file__).parent
CONFIG = ("-m", "gunicorn", "--config", "deploy/gunicorn.conf.py")
HEADERS = {"Content-Type": "application/json"}
HEAD = (
    "estimate,id,pipe.standard,pipe.size,pipe.schedule,fluid.temperature [degC],"
    "ambient.temperature [degC],line_pressure [bar]\r\n"
)


class Server:
    """gunicorn with one worker, ready, and a kept connection to it.

    ``start`` is how long it took from the command to ready [s].
    """

    def __init__(self, tree: Path, *application: str) -> None:
        """Start the service of ``tree``, or another ``application``, and wait until it is ready."""
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.bind = f"127.0.0.1:{probe.getsockname()[1]}"
        added = {
            "STILLPIPE_BIND": self.bind, "STILLPIPE_WORKERS": "1",
            "PYTHONPATH": f"{tree / 'service'}{os.pathsep}{HERE}",
        }  # fmt: skip
        begun = time.perf_counter()
        self.log = tempfile.TemporaryFile("w+")  # noqa: SIM115 - as long as the server
        self.process = subprocess.Popen(
            [sys.executable, *CONFIG, *application], cwd=tree, env=os.environ | added,
            stderr=self.log,
        )  # fmt: skip
        self.connection = self._ready()
        self.start = time.perf_counter() - begun

    def _ready(self) -> http.client.HTTPConnection:
        for _ in range(12_000):
            connection = http.client.HTTPConnection(self.bind, timeout=900)
            try:
                connection.request("GET", "/readyz")
                reply = connection.getresponse()
                reply.read()
                if reply.status == 200:
                    return connection
            except OSError:
                if self.process.poll() is not None:
                    break
            time.sleep(0.05)
        self.log.seek(0)
        raise SystemExit(f"the server did not get ready: {self.log.read()[-3000:]}")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:  # fmt: skip
        self.connection.close()
        self.process.terminate()
        self.process.wait()
        self.log.close()

    def rate(self, body: bytes, count: int) -> float:
        """Post ``body`` to plug-time ``count`` times, one after another; return requests/s.

        The connection is a new one, since an idle one is closed, and is made before.
        """
        self.connection.close()
        self._post(body)
        begun = time.perf_counter()
        for _ in range(count):
            self._post(body)
        return count / (time.perf_counter() - begun)

    def _post(self, body: bytes) -> None:
        self.connection.request("POST", "/v1/plug-time", body, HEADERS)
        reply = self.connection.getresponse()
        reply.read()
        assert reply.status == 200

    def batch(self, form: str, count: int, seed: int) -> tuple[float, float]:
        """Send ``count`` jobs as media type ``form``; return jobs/s and greatest memory [MiB]."""
        watch = Watch(self.process.pid)
        watch.start()
        connection = http.client.HTTPConnection(self.bind, timeout=3600)
        begun = time.perf_counter()
        connection.request(
            "POST", "/v1/batch", FORMS[form](count, seed), {"Content-Type": form},
            encode_chunked=True,
        )  # fmt: skip
        reply = connection.getresponse()
        last = b""
        while piece := reply.read(65536):
            last = last[-500:] + piece
        seconds = time.perf_counter() - begun
        connection.close()
        if form == "text/csv":
            told = reply.headers["Batch-Succeeded"], reply.headers["Batch-Failed"]
            assert told == (str(count), "0")
        else:
            assert b'"total":%d,"succeeded":%d,"failed":0' % (count, count) in last
        return count / seconds, watch.end()


def _jobs(count: int, seed: int) -> Iterator[tuple[str, pipes.Pipe, float]]:
    """Yield the name, the pipe and the water's temperature [degC] of different jobs."""
    draw = random.Random(seed)
    for i, pipe in zip(range(count), itertools.cycle(pipes.catalogue()), strict=False):
        yield str(i), pipe, draw.uniform(10.0, 25.0)


def lines(count: int, seed: int) -> Iterator[bytes]:
    """Yield ``count`` items, one line each."""
    for name, pipe, temperature in _jobs(count, seed):
        request = {
            "id": name,
            "pipe": {"standard": pipe.standard, "size": pipe.size, "schedule": pipe.schedule},
            "fluid": {"temperature": {"value": temperature, "unit": "degC"}},
            "ambient": {"temperature": {"value": 20, "unit": "degC"}},
            "line_pressure": {"value": 3, "unit": "bar"},
        }
        yield json.dumps({"estimate": "plug-time", "request": request}).encode() + b"\n"


def array(count: int, seed: int) -> Iterator[bytes]:
    """Yield the pieces of an array of ``count`` items."""
    for i, line in enumerate(lines(count, seed)):
        yield (b"," if i else b"[") + line
    yield b"]"


def table(count: int, seed: int) -> Iterator[bytes]:
    """Yield the rows of a table of ``count`` items."""
    yield HEAD.encode()
    for name, pipe, temperature in _jobs(count, seed):
        cells = (pipe.standard, pipe.size, pipe.schedule, str(temperature))
        quoted = ",".join('"' + cell.replace('"', '""') + '"' for cell in cells)
        yield f"plug-time,{name},{quoted},20,3\r\n".encode()


FORMS = {"application/x-ndjson": lines, "application/json": array, "text/csv": table}


def repeated() -> bytes:
    """Return the body that is asked again and again."""
    return (jobs.EXAMPLES / "plug-time-request.json").read_bytes()
