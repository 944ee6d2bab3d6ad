"""A poor line between a caller and the proxy: it ends, stalls and delivers in pieces."""

import gzip
import http.client
import io
import math
import socket
import struct
import time
from contextlib import suppress
from dataclasses import dataclass
from random import Random
from typing import Any, NamedTuple

from deploy.stack import PATIENCE

LINES, ARRAY = "application/x-ndjson", "application/json"


class Request(NamedTuple):
    """What is sent, the same at every try."""

    path: str
    body: bytes
    name: str
    """Its X-Request-Id."""
    form: str = ARRAY

    def sent(self, packed: bool) -> bytes:
        """The request as it goes over the wire; the reply may be ``packed``."""
        heads = {
            "Host": "stillpipe",
            "Content-Type": self.form,
            "Content-Length": len(self.body),
            "X-Request-Id": self.name,
            "Connection": "close",
        } | ({"Accept-Encoding": "gzip"} if packed else {})
        head = "".join(f"{k}: {v}\r\n" for k, v in heads.items())
        return f"POST {self.path} HTTP/1.1\r\n{head}\r\n".encode() + self.body


class Reply(NamedTuple):
    """What came back; without a head the status is 0."""

    status: int = 0
    heads: Any = None
    body: bytes = b""
    whole: bool = False


@dataclass(frozen=True)
class Fault:
    """How a line fails."""

    kind: str = "none"
    sent: float = math.inf
    """So much of the request gets through [bytes]."""
    received: float = math.inf
    """So much of the reply gets through [bytes]."""
    lasts: float = math.inf
    """So long the caller waits [s]."""
    reset: bool = False
    """Whether it ends by a reset, and not by closing."""
    piece: int = 1 << 20
    """So much is sent at once [bytes]."""


NONE = Fault()


def fault(chance: Random, size: int) -> Fault:
    """Draw what happens to a request of ``size`` bytes."""
    reset = chance.random() < 0.5
    kind = chance.choice(("request cut", "reply cut", "reply cut", "timed out", "timed out",
                          "in pieces"))  # fmt: skip
    if kind == "request cut":
        return Fault(kind, sent=chance.randrange(size), reset=reset)
    if kind == "reply cut":
        return Fault(kind, received=int(10 ** chance.uniform(0.0, 4.8)), reset=reset)
    if kind == "timed out":
        return Fault(kind, lasts=10 ** chance.uniform(-3.0, 0.5), reset=reset)
    return Fault(kind, piece=max(1, size // chance.randint(2, 8)))


class Line(io.RawIOBase):
    """A connection from ``source``, an address of the loopback, that fails as ``fault`` says."""

    def __init__(self, port: int, source: str, fault: Fault) -> None:
        self.fault, self.left = fault, fault.received
        self.end = time.monotonic() + fault.lasts
        self.socket = socket.create_connection(("127.0.0.1", port), PATIENCE, (source, 0))

    def readable(self) -> bool:
        return True

    def makefile(self, *_: object) -> io.BufferedReader:
        """What http.client reads from."""
        return io.BufferedReader(self)

    def send(self, data: bytes) -> None:
        """Send ``data``, or as much as gets through.

        Raises
        ------
        ConnectionError
            where the line ends meanwhile
        """
        most = int(min(self.fault.sent, len(data)))
        for begin in range(0, most, self.fault.piece):
            self.socket.sendall(data[begin : min(begin + self.fault.piece, most)])
            time.sleep(0.005 if most > self.fault.piece else 0.0)
        if most < len(data):
            raise ConnectionAbortedError

    def readinto(self, buffer: Any) -> int:
        """Read what comes; nothing where the line has ended.

        Raises
        ------
        TimeoutError
            where the caller waits no longer
        """
        remaining = min(self.end - time.monotonic(), PATIENCE)
        if remaining <= 0.0:
            raise TimeoutError
        self.socket.settimeout(remaining)
        most = int(min(self.left, len(buffer)))
        count = self.socket.recv_into(buffer, most) if most else 0
        self.left -= count
        return count

    def close(self) -> None:
        """End the connection, as the fault says."""
        if not self.closed and self.fault.reset:
            with suppress(OSError):
                self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        self.socket.close()
        super().close()


def ask(port: int, source: str, request: Request, fault: Fault, packed: bool = False) -> Reply:
    """Send ``request`` once over a line with a ``fault``, and return what came through."""
    reply, got = Reply(), b""
    with Line(port, source, fault) as line:
        try:
            line.send(request.sent(packed))
            response = http.client.HTTPResponse(line, method="POST")  # type: ignore[arg-type]
            response.begin()
            reply = Reply(response.status, response.headers)
            while piece := response.read1(1 << 16):
                got += piece
            # http.client takes a head that was cut off for a whole one
            whole = response.chunked or response.length == 0
            reply = reply._replace(whole=whole)
        except (http.client.HTTPException, OSError):
            pass
    if reply.whole and reply.heads.get("Content-Encoding") == "gzip":
        got = gzip.decompress(got)
    return reply._replace(body=got)
