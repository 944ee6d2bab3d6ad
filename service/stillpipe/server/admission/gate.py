"""Admission: so many estimates at once, the next in a bounded queue, more are refused at once.

What is no estimate never comes here; batches are shared out by :mod:`.shares`. A caller who leaves
the queue gives up the place in it.
"""

import threading
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager

from flask import current_app, g, request

from stillpipe.api.problems import RequestError
from stillpipe.errors import CancelledError, Fault
from stillpipe.physics.column import work
from stillpipe.server import settings
from stillpipe.server.admission import departures
from stillpipe.server.admission.departures import Caller
from stillpipe.server.observability import metrics


class Gate:
    """``places`` for those who compute, and a queue of at most ``longest``, in order."""

    def __init__(self, places: int, longest: int) -> None:
        self._lock = threading.Lock()
        self._free, self._longest = places, longest
        self._queue: deque[Caller] = deque()

    @contextmanager
    def place(self, caller: Caller) -> Iterator[None]:
        """Hold a place, after waiting for it.

        Raises
        ------
        RequestError
            ``busy``, where the queue is full
        CancelledError
            where the caller leaves the queue
        """
        self._enter(caller)
        try:
            yield
        finally:
            self._leave()

    def _enter(self, caller: Caller) -> None:
        with self._lock:
            if self._free:
                self._free -= 1
                return
            if len(self._queue) >= self._longest:
                raise RequestError("busy", "As many estimates wait as may; ask again shortly.")
            self._queue.append(caller)
        caller.called.wait()
        if not caller.left:
            return
        with self._lock:
            waiting = caller in self._queue
            if waiting:
                self._queue.remove(caller)
        if not waiting:
            self._leave()
        raise CancelledError(Fault((), "the caller left the queue"))

    def _leave(self) -> None:
        """Pass the place on to the first in the queue."""
        with self._lock:
            if self._queue:
                self._queue.popleft().called.set()
            else:
                self._free += 1


def gate() -> Gate:
    """Return a gate of the size that the settings say."""
    return Gate(settings.places(), settings.queue())


@contextmanager
def admitted() -> Iterator[None]:
    """Hold a place for the present request, and end its work when its caller leaves."""
    begun = time.perf_counter()
    with (
        departures.watched(request.environ.get("gunicorn.socket")) as caller,
        current_app.config["GATE"].place(caller),
        work.cancellable(caller.flag),
    ):
        g.admitted = time.perf_counter()
        metrics.WAITED.observe(g.admitted - begun)
        yield
