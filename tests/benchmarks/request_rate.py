"""Requests a second, cold and repeated, against a bare endpoint under the same gunicorn.

    python tests/benchmarks/request_rate.py

Both servers run at once, one worker each, and are asked in turns over kept connections, so that
whatever else the machine does falls on both alike; the ratio of the medians is what counts. Cold:
no two bodies alike. Repeated: one body.
"""

import http.client
import json
import os
import socket
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
EXAMPLE = ROOT / "openapi" / "examples" / "plug-time-request.json"
HEADERS = {"Content-Type": "application/json"}


class Server:
    """gunicorn with one worker, and a kept connection to it."""

    def __init__(self, application: str) -> None:
        """Start ``application`` and wait until it is ready."""
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.bind = f"127.0.0.1:{probe.getsockname()[1]}"
        command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py",
                   application]  # fmt: skip
        environment = os.environ | {
            "STILLPIPE_BIND": self.bind, "STILLPIPE_WORKERS": "1",
            "PYTHONPATH": str(ROOT / "tests" / "benchmarks"),
        }  # fmt: skip
        self.process = subprocess.Popen(
            command, cwd=ROOT, env=environment, stderr=subprocess.DEVNULL
        )
        for _ in range(2400):
            try:
                self.connection = http.client.HTTPConnection(self.bind, timeout=600)
                self.connection.request("GET", "/readyz")
                if self.connection.getresponse().read():
                    return
            except OSError:
                time.sleep(0.25)
        raise SystemExit("the server did not get ready")

    def rate(self, bodies: list[bytes]) -> float:
        """Post ``bodies`` one after another; return requests a second."""
        begun = time.perf_counter()
        for body in bodies:
            self.connection.request("POST", "/v1/plug-time", body, HEADERS)
            reply = self.connection.getresponse()
            reply.read()
            assert reply.status == 200
        return len(bodies) / (time.perf_counter() - begun)

    def stop(self) -> None:
        """End the server."""
        self.connection.close()
        self.process.terminate()
        self.process.wait()


def main(rounds: int = 15, count: int = 400) -> None:
    """Run the benchmark and print the ratios."""
    example = json.loads(EXAMPLE.read_text())
    repeated = EXAMPLE.read_bytes()
    ours, bare = Server("stillpipe.server.app:create_app()"), Server("bare:create_app()")
    rates: dict[str, list[float]] = {"bare": [], "repeated": [], "cold": []}
    try:
        for turn in range(rounds):
            rates["bare"].append(bare.rate([repeated] * count))
            rates["repeated"].append(ours.rate([repeated] * count))
            cold = [
                json.dumps(example | {"id": f"{turn}-{i}"}).encode() for i in range(count // 10)
            ]
            rates["cold"].append(ours.rate(cold))
    finally:
        ours.stop()
        bare.stop()
    middle = {name: statistics.median(found) for name, found in rates.items()}
    for name, rate in middle.items():
        print(f"{name:9s} {rate:7.0f} requests/s, {rate / middle['bare']:.3f} x bare")


if __name__ == "__main__":
    main()
