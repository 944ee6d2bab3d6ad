"""A streamed body: read to its end by a thread, on disk, its lines handed out as they arrive.

Reading never waits for writing, so that a client which sends everything before it reads the first
answer cannot block itself and the service.
"""

import io
import os
import tempfile
import threading
from collections.abc import Callable, Iterator
from typing import IO

from werkzeug.exceptions import RequestEntityTooLarge

from stillpipe.api.problems import RequestError

BLOCK = 65536
POLL = 0.25
"""How often a wait for more of the body asks whether it should end [s]."""


class StorageError(RequestError):
    """The disk that holds bodies and tables for a while takes no more."""

    def __init__(self) -> None:
        super().__init__("insufficient-storage", "There is no room to hold the body or its answer.")


class Store:
    """A file without a name: bytes are added at its end and read at any place."""

    def __init__(self) -> None:
        """Begin empty.

        Raises
        ------
        StorageError
            where there is no room for a file
        """
        try:
            self.file: io.FileIO = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115 - see close()
        except OSError as error:
            raise StorageError from error
        self.size = 0

    def append(self, data: bytes) -> None:
        """Add ``data`` at the end, whole or not at all.

        Raises
        ------
        StorageError
            where the disk takes no more
        """
        rest, at = memoryview(data), self.size
        try:
            while rest:
                written = os.pwrite(self.file.fileno(), rest, at)
                rest, at = rest[written:], at + written
        except OSError as error:
            raise StorageError from error
        self.size = at

    def read(self, at: int, length: int) -> bytes:
        """Return at most ``length`` bytes from ``at``; empty at the end."""
        return os.pread(self.file.fileno(), min(length, max(0, self.size - at)), at)

    def lines(self) -> Iterator[bytes]:
        """Yield every line with its end."""
        self.file.seek(0)
        reader = io.BufferedReader(self.file, BLOCK)
        try:
            yield from reader
        finally:
            if not self.file.closed:
                reader.detach()

    def close(self) -> None:
        """Drop the file."""
        self.file.close()


def never() -> bool:
    """Return False: nothing ends the wait but the body's own end."""
    return False


class Spool:
    """The body in ``stream``, at most ``longest`` bytes, which should be ``expected`` bytes."""

    def __init__(self, stream: IO[bytes], longest: int, expected: int | None = None) -> None:
        """Begin to read ``stream``.

        Raises
        ------
        StorageError
            where there is no room for a file
        """
        self.store = Store()
        self._stream, self._longest, self._expected = stream, longest, expected
        self.ended, self._closed = False, False
        self.fault = ""
        """Why the body is not whole: "", "too-large", "broken-off" or "insufficient-storage"."""
        self._news = threading.Condition()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        fault = ""
        try:
            while not fault and (block := self._stream.read(BLOCK)):
                fault = self._keep(block)
            if not fault and self._expected is not None and self.store.size < self._expected:
                fault = "broken-off"
        except Exception:
            # whatever the server's reader raises, nobody may wait for this body for ever
            fault = "broken-off"
        with self._news:
            self.fault, self.ended = fault, True
            self._news.notify()

    def _keep(self, block: bytes) -> str:
        """Store ``block``; return why no more should be read, empty where more may come."""
        with self._news:
            if self._closed:
                return "broken-off"
            if self.store.size + len(block) > self._longest:
                return "too-large"
            try:
                self.store.append(block)
            except StorageError as error:
                return error.slug
            self._news.notify()
        return ""

    def begun(self, ends: Callable[[], bool] = never) -> None:
        """Wait for the first of the body.

        Raises
        ------
        StorageError
            where there was no room for it
        """
        self._await(0, ends)
        if self.fault == "insufficient-storage" and self.store.size == 0:
            raise StorageError

    def whole(self, broken: str, ends: Callable[[], bool] = never) -> Store:
        """Wait for the end of the body and return it.

        Raises
        ------
        RequestEntityTooLarge
            where it is too long
        StorageError
            where there was no room for it
        RequestError
            of type ``broken`` where it broke off; ``busy`` where it is not waited for
        """
        self._await(self._longest, ends)
        if self.fault == "too-large":
            raise RequestEntityTooLarge
        if self.fault == "insufficient-storage":
            raise StorageError
        if self.fault:
            raise RequestError(broken, "The body broke off.")
        if not self.ended:
            raise RequestError("busy", "The service is ending, or nobody waits for the answer.")
        return self.store

    def lines(self, longest: int, ends: Callable[[], bool] = never) -> Iterator[bytes | None]:
        """Yield every line without its end; None stands for a line longer than ``longest``.

        As soon as ``ends()`` is true, no more is waited for.
        """
        rest, at, cut = b"", 0, False
        while block := self._block(at, ends):
            at += len(block)
            *whole, rest = (rest + block).split(b"\n")
            for line in whole:
                yield None if cut or len(line) > longest else line
                cut = False
            if len(rest) > longest:
                rest, cut = b"", True
        if self.fault or not self.ended:
            return
        if cut:
            yield None
        elif rest:
            yield rest

    def _await(self, at: int, ends: Callable[[], bool]) -> None:
        """Wait until there is more than ``at`` bytes, or the body's end, or ``ends()`` is true."""
        with self._news:
            while not (self.store.size > at or self.ended or ends()):
                self._news.wait(POLL)

    def _block(self, at: int, ends: Callable[[], bool]) -> bytes:
        """Return what lies at ``at``, after waiting for it; empty at the end."""
        self._await(at, ends)
        return self.store.read(at, BLOCK)

    def close(self) -> None:
        """Drop the file; the reading thread ends with its next block."""
        with self._news:
            self._closed = True
            self.store.close()
