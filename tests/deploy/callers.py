"""Many callers at once over raw HTTP/1.1: answers compared, refusals counted and retried."""

import asyncio
import json
import random
from collections import Counter
from dataclasses import dataclass, field
from typing import NamedTuple

REFUSALS = {429, 502, 503, 504}
"""Statuses that say that nothing was computed."""


class Question(NamedTuple):
    """A request, and the only right answer to it where that is known."""

    path: str
    body: bytes
    answer: bytes | None = None

    def sent(self) -> bytes:
        """Return the request as it goes over the wire."""
        head = (
            f"POST {self.path} HTTP/1.1\r\nHost: stillpipe\r\nContent-Type: application/json\r\n"
            f"Content-Length: {len(self.body)}\r\n\r\n"
        )
        return head.encode() + self.body


@dataclass
class Tally:
    """What became of the requests."""

    answered: int = 0
    wrong: list[bytes] = field(default_factory=list)
    refused: Counter[str] = field(default_factory=Counter)
    lost: Counter[str] = field(default_factory=Counter)
    """Connections that ended without a whole reply, by the error."""
    without_retry_after: int = 0
    most_tries: int = 0


class Reply(NamedTuple):
    status: int
    heads: dict[str, str]
    body: bytes


async def read(reader: asyncio.StreamReader) -> Reply:
    """Read one reply of known length.

    Raises
    ------
    ConnectionError, asyncio.IncompleteReadError
        where the connection ends before it is whole
    """
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
    heads = dict(line.lower().split(": ", 1) for line in head[1:] if line)
    body = await reader.readexactly(int(heads["content-length"]))
    return Reply(int(head[0].split()[1]), heads, body)


class Line:
    """A connection to the proxy, opened when it is needed."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.writer: asyncio.StreamWriter | None = None

    async def ask(self, question: Question) -> Reply:
        """Send ``question`` and return the reply."""
        if self.writer is None:
            self.reader, self.writer = await asyncio.open_connection("127.0.0.1", self.port)
        self.writer.write(question.sent())
        reply = await asyncio.wait_for(read(self.reader), 600)
        if reply.heads.get("connection") == "close":
            self.close()
        return reply

    def close(self) -> None:
        """Close the connection, if it is open."""
        if self.writer is not None:
            self.writer.close()
            self.writer = None


class Callers:
    """``count`` requests over ``connections`` connections to the proxy at ``port``."""

    def __init__(
        self, port: int, questions: list[Question], count: int, connections: int, tries: int = 100
    ) -> None:
        self.port, self.questions, self.tries = port, questions, tries
        self.left, self.connections = iter(range(count)), connections
        self.tally, self.random = Tally(), random.Random(1)

    async def run(self) -> Tally:
        """Ask everything and return what became of it."""
        await asyncio.gather(*(self._caller() for _ in range(self.connections)))
        return self.tally

    async def _caller(self) -> None:
        line = Line(self.port)
        for number in self.left:
            question = self.questions[number % len(self.questions)]
            tries = 1
            while (pause := await self._once(line, question)) is not None:
                tries += 1
                assert tries <= self.tries, f"never answered: {self.tally}"
                # those who were refused together must not come back together
                await asyncio.sleep(pause * (1.0 + self.random.random()))
            self.tally.most_tries = max(self.tally.most_tries, tries)
        line.close()

    async def _once(self, line: "Line", question: Question) -> float | None:
        """Ask once; return how long to wait before asking again, None if there was an answer."""
        try:
            reply = await line.ask(question)
        except (OSError, asyncio.IncompleteReadError, TimeoutError) as error:
            self.tally.lost[type(error).__name__] += 1
            line.close()
            return 0.05
        if reply.status in REFUSALS:
            slug = json.loads(reply.body)["type"].rpartition("/")[2]
            self.tally.refused[f"{reply.status} {slug}"] += 1
            self.tally.without_retry_after += "retry-after" not in reply.heads
            return float(reply.heads.get("retry-after", 1.0))
        self.tally.answered += 1
        if reply.status != 200 or question.answer not in (None, reply.body):
            self.tally.wrong.append(reply.body)
        return None
