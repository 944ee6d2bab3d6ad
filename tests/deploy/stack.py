"""gunicorn and nginx as they are deployed, started on free ports of this machine."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

import requests

ROOT = Path(__file__).parents[2]
NGINX = shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin")


def free_port() -> int:
    """Return a TCP port that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


PATIENCE = 600.0
"""How long anything is waited for before it is a fault [s]: longer than any machine needs."""


def until(condition: Callable[[], object], what: str) -> None:
    """Wait until ``condition()`` holds; ``what`` is said if it never does."""
    end = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < end, f"never: {what}"
        time.sleep(0.05)


def wait(address: str, process: "subprocess.Popen[bytes]") -> None:
    """Wait until ``address`` answers 200."""

    def answered() -> bool:
        assert process.poll() is None, "the server ended"
        try:
            return requests.get(address, timeout=PATIENCE).status_code == 200
        except requests.ConnectionError:
            return False

    until(answered, f"{address} answers")


class Server:
    """gunicorn alone; ``settings`` are its options, ``environment`` is added to this process's."""

    place = ROOT
    """The folder in which gunicorn is started."""

    def __init__(self, settings: tuple[str, ...] = (), **environment: str) -> None:
        self.settings, self.environment = settings, environment
        self.inner = free_port()
        self.address = f"http://127.0.0.1:{self.inner}"

    def __enter__(self) -> Self:
        self.start()
        return self

    def start(self) -> None:
        """Start gunicorn, and return when it is ready."""
        environment = os.environ | {"STILLPIPE_BIND": f"127.0.0.1:{self.inner}"} | self.environment
        configuration = str(ROOT / "deploy" / "gunicorn.conf.py")
        command = [sys.executable, "-m", "gunicorn", "--config", configuration, *self.settings]
        self.server = subprocess.Popen(command, cwd=self.place, env=environment)
        try:
            wait(f"http://127.0.0.1:{self.inner}/readyz", self.server)
        except BaseException:
            self.server.kill()
            self.server.wait()
            raise

    def stop(self) -> None:
        """Send gunicorn SIGTERM and wait for its end."""
        self.server.terminate()
        self.server.wait(timeout=PATIENCE)

    def workers(self) -> list[int]:
        """Return the process ids of gunicorn's workers."""
        found = subprocess.run(
            ["pgrep", "-P", str(self.server.pid), "-f", "gunicorn"],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        return [int(pid) for pid in found.stdout.split()]

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self.server.poll() is None:
            self.stop()


class Stack(Server):
    """gunicorn behind nginx; ``rate`` and ``burst`` are what one caller may ask.

    ``most`` of each upstream line may be under way; pages of ``origin`` may ask; ``patience`` is
    how long the proxy waits for gunicorn.
    """

    def __init__(
        self,
        folder: Path,
        rate: str = "100000r/s",
        burst: int = 1000,
        most: int = 32,
        origin: str = "",
        patience: str = "60s",
        settings: tuple[str, ...] = (),
        **environment: str,
    ) -> None:
        if origin:
            environment["STILLPIPE_CORS_ORIGINS"] = origin
        super().__init__(settings, **environment)
        self.folder, self.outer = folder, free_port()
        self.address = f"http://127.0.0.1:{self.outer}"
        self.configuration = folder / "nginx"
        shutil.copytree(ROOT / "deploy" / "nginx", self.configuration)
        self._set("listen.conf", "8080", str(self.outer))
        self._set("upstreams.conf", "127.0.0.1:8000", f"127.0.0.1:{self.inner}")
        self._set("upstreams.conf", "max_conns=32 ", f"max_conns={most} ")
        self._set("rates.conf", "20r/s", rate)
        if origin:
            self._set("origins.conf", 'default "";', f'default ""; "{origin}" $http_origin;')
        self._set("nginx.conf", "proxy_read_timeout 60s", f"proxy_read_timeout {patience}")
        self._set("nginx.conf", "burst=40", f"burst={burst}")
        self._set("nginx.conf", "/tmp/", f"{folder}/")  # noqa: S108
        self._set("nginx.conf", "error_log stderr", f"error_log {folder}/error.log")
        self._set("nginx.conf", "/dev/stdout", f"{folder}/access.log")

    def _set(self, name: str, old: str, new: str) -> None:
        file = self.configuration / name
        text = file.read_text()
        assert old in text
        file.write_text(text.replace(old, new))

    def __enter__(self) -> Self:
        assert NGINX
        self.proxy = subprocess.Popen(
            [NGINX, "-p", str(self.folder), "-c", str(self.configuration / "nginx.conf"),
             "-g", "daemon off;" + (" user root;" if os.getuid() == 0 else ""), "-e", "stderr"]
        )  # fmt: skip
        self.start()
        wait(f"{self.address}/readyz", self.proxy)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        super().__exit__(kind, value, trace)
        self.proxy.send_signal(signal.SIGQUIT)
        self.proxy.wait(timeout=PATIENCE)
