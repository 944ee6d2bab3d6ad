"""Why work ends before it is done: its client has left, or this process is told to end."""

import errno
import threading
import time
from collections.abc import Callable

SPARE = 5.0
"""Left of the server's grace for saying what was not answered [s]."""


class ClientLeftError(BrokenPipeError):
    """Nobody reads the reply any more; to the server it is a connection that was closed."""

    def __init__(self) -> None:
        super().__init__(errno.EPIPE, "the client has left")


class Shutdown:
    """Whether this process is told to end, and how long it may still take."""

    def __init__(self) -> None:
        self._serving: Callable[[], bool] = lambda: True
        self._grace = 0.0
        self._noticed: float | None = None
        self._lock = threading.Lock()

    def watch(self, serving: Callable[[], bool], grace: float) -> None:
        """Learn from ``serving`` whether to go on; ``grace`` [s] is left once it says no."""
        with self._lock:
            self._serving, self._grace, self._noticed = serving, grace, None

    def due(self) -> bool:
        """Return whether work must come to its end now."""
        with self._lock:
            if self._serving():
                return False
            if self._noticed is None:
                self._noticed = time.monotonic()
            return time.monotonic() - self._noticed >= max(0.0, self._grace - SPARE)


shutdown = Shutdown()
"""Of this process; the server says what to watch."""
