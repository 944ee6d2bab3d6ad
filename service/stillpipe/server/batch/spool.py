"""A streamed body: read to its end by a thread, on disk, its lines handed out as they arrive.

Reading never waits for writing, so that a client which sends everything before it reads the first
answer cannot block itself and the service.
"""

import tempfile
import threading
from collections.abc import Iterator
from typing import IO

BLOCK = 65536


class Spool:
    """The lines of ``stream``, at most ``longest`` bytes in all."""

    def __init__(self, stream: IO[bytes], longest: int) -> None:
        """Begin to read ``stream``."""
        self._file = tempfile.TemporaryFile()  # noqa: SIM115 - closed by close()
        self._stream, self._longest = stream, longest
        self._size, self._ended, self._closed = 0, False, False
        self.fault = ""
        """Why the body is not whole: ``""``, ``"too-large"`` or ``"broken-off"``."""
        self._news = threading.Condition()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        fault = ""
        try:
            while not self._closed and (block := self._stream.read(BLOCK)):
                if self._size + len(block) > self._longest:
                    fault = "too-large"
                    break
                with self._news:
                    if self._closed:
                        return
                    self._file.seek(0, 2)
                    self._file.write(block)
                    self._size += len(block)
                    self._news.notify()
        except OSError:
            fault = "broken-off"
        with self._news:
            self.fault, self._ended = fault, True
            self._news.notify()

    def lines(self, longest: int) -> Iterator[bytes | None]:
        """Yield every line without its end; None stands for a line longer than ``longest``."""
        rest, at, cut = b"", 0, False
        while block := self._block(at):
            at += len(block)
            *whole, rest = (rest + block).split(b"\n")
            for line in whole:
                yield None if cut or len(line) > longest else line
                cut = False
            if len(rest) > longest:
                rest, cut = b"", True
        if cut:
            yield None
        elif rest and not self.fault:
            yield rest

    def _block(self, at: int) -> bytes:
        """Return what lies at ``at``, after waiting for it; empty at the end."""
        with self._news:
            self._news.wait_for(lambda: self._size > at or self._ended)
            self._file.seek(at)
            return self._file.read(BLOCK)

    def close(self) -> None:
        """Drop the file; the reading thread ends with its next block."""
        with self._news:
            self._closed = True
            self._file.close()
