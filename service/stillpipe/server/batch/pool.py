"""Worker processes for batches: all cores, answers in order, flat memory.

Processes come from a fork server, which has loaded the estimates once and runs no threads, so that
no lock of a serving process is copied. A worker ends with the process that started it.
"""

import multiprocessing
import os
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import connection
from typing import Generic, TypeVar

A = TypeVar("A")
B = TypeVar("B")

AHEAD = 3
"""Chunks in flight per process: enough to keep it busy, few enough for flat memory."""
TRIES = 3
"""How often a chunk is begun before it is given up."""

_lock = threading.Lock()
_pools: dict[int, ProcessPoolExecutor] = {}


def processes() -> int:
    """Return how many processes a batch uses: STILLPIPE_BATCH_PROCESSES, or one per usable core."""
    given = os.environ.get("STILLPIPE_BATCH_PROCESSES", "")
    return max(1, int(given)) if given else len(os.sched_getaffinity(0))


class _Flight(Generic[A, B]):
    """A chunk on its way, and the pool it was given to."""

    def __init__(self, work: Callable[[A], B], chunk: A) -> None:
        self.work, self.chunk = work, chunk
        self.begin()

    def begin(self) -> None:
        self.pool = _pool()
        try:
            self.future: Future[B] = self.pool.submit(self.work, self.chunk)
        except BrokenProcessPool:
            _discard(self.pool)
            self.pool = _pool()
            self.future = self.pool.submit(self.work, self.chunk)

    def land(self, lost: Callable[[A], B]) -> B:
        for _ in range(TRIES - 1):
            try:
                return self.future.result()
            except BrokenProcessPool:
                _discard(self.pool)
                self.begin()
        try:
            return self.future.result()
        except BrokenProcessPool:
            _discard(self.pool)
            return lost(self.chunk)


def ordered(work: Callable[[A], B], chunks: Iterable[A], lost: Callable[[A], B]) -> Iterator[B]:
    """Yield ``work(chunk)`` for every chunk, in order, computed on all cores.

    A chunk whose process dies is begun again, at most three times in all, and then answered by
    ``lost``. Closing the iterator drops what has not begun.
    """
    flying: deque[_Flight[A, B]] = deque()
    most = AHEAD * processes()
    try:
        for chunk in chunks:
            flying.append(_Flight(work, chunk))
            if len(flying) >= most:
                yield flying.popleft().land(lost)
        while flying:
            yield flying.popleft().land(lost)
    finally:
        for flight in flying:
            flight.future.cancel()


def _pool() -> ProcessPoolExecutor:
    """Return this process's pool; a fork of this process makes its own."""
    with _lock:
        pid = os.getpid()
        if pid not in _pools:
            context = multiprocessing.get_context("forkserver")
            context.set_forkserver_preload(["stillpipe.server.batch.warmed"])
            _pools[pid] = ProcessPoolExecutor(processes(), context, _begin)
        return _pools[pid]


def _discard(broken: ProcessPoolExecutor) -> None:
    with _lock:
        if _pools.get(os.getpid()) is broken:
            del _pools[os.getpid()]
    broken.shutdown(wait=False, cancel_futures=True)


def _begin() -> None:
    """Make a worker end when the process that started it has ended."""
    parent = multiprocessing.parent_process()
    assert parent is not None
    sentinel = parent.sentinel

    def watch() -> None:
        connection.wait([sentinel])
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()
