"""Why work ends before it is done: its client has left, or this process is told to end."""

import errno
import select
import socket
import struct
import threading
import time
from collections.abc import Callable

PATIENCE = 60
"""How long a client may take nothing of a reply before it counts as gone [s]."""
SPARE = 5.0
"""Left of the server's grace for saying what was not answered [s]."""


class ClientLeftError(BrokenPipeError):
    """Nobody reads the reply any more; to the server it is a connection that was closed."""

    def __init__(self) -> None:
        super().__init__(errno.EPIPE, "the client has left")


class Connection:
    """The client's end of a request, where the server shows it."""

    def __init__(self, client: socket.socket | None) -> None:
        """Watch ``client``; a client that takes nothing of its reply is given up after a minute."""
        self._poll: select.poll | None = None
        if client is not None:
            limit = struct.pack("@ll", PATIENCE, 0)
            client.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, limit)
            self._poll = select.poll()
            self._poll.register(client.fileno(), select.POLLRDHUP)

    def left(self) -> bool:
        """Return whether the client has closed its end, with or without unread data before it."""
        return self._poll is not None and bool(self._poll.poll(0))


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
