"""Worker processes for batches: all cores, answers in order, flat memory.

Processes come from a fork server, which has loaded the estimates once and runs no threads, so that
no lock of a serving process is copied. A worker ends with the process that started it. They give
way to the serving processes, so that a batch takes what single requests leave.
"""

import multiprocessing
import os
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import CancelledError, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import connection
from typing import Generic, TypeVar

import numpy as np

from stillpipe.api.problems import RequestError
from stillpipe.physics.column.work import Flag, cancellable

A = TypeVar("A")
B = TypeVar("B")

AHEAD = 3
"""Chunks in flight per process: enough to keep it busy, few enough for flat memory."""
TRIES = 3
"""How often a chunk is begun with others, and then each of its items alone."""
POLL = 0.25
"""How often a wait for a chunk looks whether it should go on [s]."""
STUCK = 20
"""Looks after which a process found dead means that the pool will not notice by itself."""
NICE = 10
"""By how much the processes give way [-]."""
FLAGS = 256
"""Batches that one serving process can have under way, those that are just ending included."""

_flags: Flag = np.zeros(FLAGS, dtype=np.int64)
"""In a worker: one flag for each batch, shared with the process that started it."""


def processes() -> int:
    """Return how many processes a batch uses: STILLPIPE_BATCH_PROCESSES, or one per usable core."""
    given = os.environ.get("STILLPIPE_BATCH_PROCESSES", "")
    return max(1, int(given)) if given else len(os.sched_getaffinity(0))


class _Workers:
    """The worker processes of this process, and the flags that they share with it."""

    def __init__(self) -> None:
        self.context = multiprocessing.get_context("forkserver")
        self.context.set_forkserver_preload(["stillpipe.server.batch.warmed"])
        self.shared = self.context.RawArray("q", FLAGS)
        self.flags: Flag = np.frombuffer(self.shared, dtype=np.int64)
        self.free = deque(range(FLAGS))
        self.lock = threading.Lock()
        self.pool = self.start(processes())

    def start(self, count: int) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(count, self.context, _begin, (self.shared,))

    def submit(
        self, work: Callable[..., B], *given: object
    ) -> "tuple[ProcessPoolExecutor, Future[B]]":
        """Give ``work`` to the pool, to a new one where it is broken.

        Raises
        ------
        RequestError
            ``busy``, where this process is at its end
        """
        while True:
            with self.lock:
                pool = self.pool
            try:
                return pool, pool.submit(work, *given)
            except BrokenProcessPool:
                self.discard(pool)
            except RuntimeError as error:
                # shut down by the interpreter's end, unless by another thread that replaced it
                if self.pool is pool:
                    raise RequestError("busy", "The service is ending.") from error

    def discard(self, broken: ProcessPoolExecutor) -> None:
        with self.lock:
            if self.pool is broken:
                self.pool = self.start(processes())
        broken.shutdown(wait=False, cancel_futures=True)


_lock = threading.Lock()
_all: dict[int, _Workers] = {}


def _workers() -> _Workers:
    """Return this process's workers; a fork of this process makes its own."""
    with _lock:
        if os.getpid() not in _all:
            _all[os.getpid()] = _Workers()
        return _all[os.getpid()]


class Task:
    """What is done for one batch, so that all of it can be ended at once."""

    def __init__(self) -> None:
        self._workers = _workers()
        self._slot = self._workers.free.popleft()
        self._lock, self._under_way, self._closed = threading.Lock(), 0, False

    def submit(self, work: Callable[[A], B], given: A) -> "tuple[ProcessPoolExecutor, Future[B]]":
        """Give ``work(given)`` to the workers, which end it when this task is cancelled."""
        with self._lock:
            self._under_way += 1
        try:
            pool, future = self._workers.submit(_run, work, given, self._slot)
        except BaseException:
            self._ended()
            raise
        future.add_done_callback(self._ended)
        return pool, future

    def alone(self, work: Callable[[A], B], given: A) -> B | None:
        """Return ``work(given)`` from a process of its own, None where that process ended."""
        with self._workers.start(1) as pool:
            try:
                return pool.submit(_run, work, given, self._slot).result()
            except BrokenProcessPool:
                return None

    def discard(self, broken: ProcessPoolExecutor) -> None:
        """Replace a pool that is broken."""
        self._workers.discard(broken)

    def cancel(self) -> None:
        """End what is under way; it still returns, with what it has by then."""
        self._workers.flags[self._slot] = 1

    def close(self) -> None:
        """Cancel, and give the flag back once nothing is under way that looks at it."""
        self.cancel()
        with self._lock:
            self._closed = True
            idle = self._under_way == 0
        if idle:
            self._release()

    def _ended(self, _: "Future[B] | None" = None) -> None:
        with self._lock:
            self._under_way -= 1
            last = self._closed and self._under_way == 0
        if last:
            self._release()

    def _release(self) -> None:
        self._workers.flags[self._slot] = 0
        self._workers.free.append(self._slot)


class _Flight(Generic[A, B]):
    """A chunk on its way."""

    def __init__(self, task: Task, work: Callable[[list[A]], list[B]], chunk: list[A]) -> None:
        self.task, self.work, self.chunk = task, work, chunk
        self.pool, self.future = task.submit(work, chunk)

    def land(self, lost: Callable[[list[A]], list[B]], look: Callable[[], None]) -> list[B]:
        """Return the chunk's answers; ``lost`` answers what ends every process."""
        for again in range(TRIES):
            if again:
                self.pool, self.future = self.task.submit(self.work, self.chunk)
            try:
                return self._wait(look)
            except (BrokenProcessPool, CancelledError):
                self.task.discard(self.pool)
        found: list[B] = []
        for item in self.chunk:
            look()
            found += self._alone(item, lost)
        return found

    def _alone(self, item: A, lost: Callable[[list[A]], list[B]]) -> list[B]:
        """Answer one item of a chunk that was lost: no item may cost another its answer."""
        for _ in range(TRIES):
            if (found := self.task.alone(self.work, [item])) is not None:
                return found
        return lost([item])

    def _wait(self, look: Callable[[], None]) -> list[B]:
        dead = 0
        while True:
            try:
                return self.future.result(POLL)
            except TimeoutError:
                look()
            dead = dead + 1 if _dead(self.pool) else 0
            if dead >= STUCK:
                _kill(self.pool)


def _family(pool: ProcessPoolExecutor) -> "list[multiprocessing.process.BaseProcess]":
    return list((getattr(pool, "_processes", None) or {}).values())


def _dead(pool: ProcessPoolExecutor) -> bool:
    """Return whether a process of ``pool`` has ended.

    The pool replaces all within moments, unless one died in the middle of its answer: then it
    waits for the rest of that answer, and the others for the lock that was held.
    """
    return any(not process.is_alive() for process in _family(pool))


def _kill(pool: ProcessPoolExecutor) -> None:
    """End the processes of ``pool`` and what it reads their answers from, so that it breaks."""
    for process in _family(pool):
        process.kill()
        process.join()
    # this process holds the pipe's other end too, without which the reader meets the end
    writer = getattr(getattr(pool, "_result_queue", None), "_writer", None)
    if writer is not None and not writer.closed:
        writer.close()


def ordered(
    task: Task,
    work: Callable[[list[A]], list[B]],
    chunks: Iterable[list[A]],
    lost: Callable[[list[A]], list[B]],
    look: Callable[[], None] = lambda: None,
) -> Generator[B, None, None]:
    """Yield what ``work`` returns for the items of every chunk, in order, computed on all cores.

    A chunk whose process dies is begun again, at most three times in all, then each of its items
    alone; an item that ends its process even so is answered by ``lost``. ``look()`` is called while
    an answer is waited for; it may raise, or cancel ``task``. Closing the iterator drops what has
    not begun and ends what has.
    """
    flying: deque[_Flight[A, B]] = deque()
    most = AHEAD * processes()
    try:
        for chunk in chunks:
            look()
            flying.append(_Flight(task, work, chunk))
            if len(flying) >= most:
                yield from flying.popleft().land(lost, look)
        while flying:
            look()
            yield from flying.popleft().land(lost, look)
    finally:
        task.cancel()
        for flight in flying:
            flight.future.cancel()
        task.close()


def _run(work: Callable[[A], B], given: A, slot: int) -> B:
    """In a worker: do ``work`` until the flag in ``slot`` is set."""
    with cancellable(_flags[slot : slot + 1]):
        return work(given)


def _begin(shared: object) -> None:
    """Make a worker give way, share the flags, and end when its parent has ended."""
    global _flags  # noqa: PLW0603 - one process, one set of flags
    _flags = np.frombuffer(shared, dtype=np.int64)  # type: ignore[call-overload]
    os.nice(NICE)
    parent = multiprocessing.parent_process()
    if parent is None:
        raise RuntimeError("a worker is started by another process")
    sentinel = parent.sentinel

    def watch() -> None:
        connection.wait([sentinel])
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()
