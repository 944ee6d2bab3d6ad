"""Callers who leave before their answer: one thread of each process watches their connections.

A proxy whose patience ends closes its connection too. A caller that has only shut down its sending
side counts as gone: the two look alike until something is written.
"""

import os
import select
import socket
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np

from stillpipe.physics.column.work import Flag

PATIENCE = 60
"""How long a caller may take nothing of a reply before the connection is closed [s]."""
GONE = select.POLLRDHUP | select.POLLHUP | select.POLLERR


class Caller:
    """Somebody who waits for an answer."""

    def __init__(self) -> None:
        self.flag: Flag = np.zeros(1, dtype=np.int64)
        """Not 0 once the caller has left; shape (1,), as the solver takes it."""
        self.called = threading.Event()
        """Set when there is something to do: a place is free, or the caller has left."""

    @property
    def left(self) -> bool:
        """Whether the caller has left."""
        return bool(self.flag[0])

    def leave(self) -> None:
        """Note that the caller has left."""
        self.flag[0] = 1
        self.called.set()


class _Watch:
    """The connections watched by one process."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._callers: dict[int, Caller] = {}
        self._poll = select.epoll()
        threading.Thread(target=self._run, name="departures", daemon=True).start()

    def add(self, descriptor: int, caller: Caller) -> None:
        with self._lock:
            self._callers[descriptor] = caller
            self._poll.register(descriptor, GONE | select.EPOLLONESHOT)

    def drop(self, descriptor: int) -> None:
        with self._lock:
            del self._callers[descriptor]
            self._poll.unregister(descriptor)

    def _run(self) -> None:
        while True:
            for descriptor, _ in self._poll.poll():
                with self._lock:
                    caller = self._callers.get(descriptor)
                    # the event may be of an earlier connection of the same number
                    if caller is not None and _gone(descriptor):
                        caller.leave()
                    elif caller is not None:
                        self._poll.modify(descriptor, GONE | select.EPOLLONESHOT)


def _gone(descriptor: int) -> bool:
    """Return whether the other end of ``descriptor`` is closed, now."""
    poll = select.poll()
    poll.register(descriptor, GONE)
    return bool(poll.poll(0))


_lock = threading.Lock()
_watches: dict[int, _Watch] = {}


def _watch() -> _Watch:
    """Return this process's watch; a fork of this process makes its own."""
    with _lock:
        pid = os.getpid()
        if pid not in _watches:
            _watches.clear()
            _watches[pid] = _Watch()
        return _watches[pid]


@contextmanager
def watched(connection: socket.socket | None) -> Iterator[Caller]:
    """Give the caller at the other end of ``connection``, who is watched for as long as it lasts.

    A caller who takes nothing of the reply for a minute is given up: sending then fails. Without a
    connection, as in a test, the caller never leaves.
    """
    caller = Caller()
    if connection is None:
        yield caller
        return
    limit = struct.pack("@ll", PATIENCE, 0)
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, limit)
    watch, descriptor = _watch(), connection.fileno()
    watch.add(descriptor, caller)
    try:
        yield caller
    finally:
        watch.drop(descriptor)
