"""Who may run a batch now: so many at once in the service, shared by caller, exact over workers.

Made before the serving processes are forked, all of them hold one unnamed file in memory: a place
for each batch, locked by the process that runs it, so that a process that dies gives its places
back; and who was refused a moment ago. A caller holds at most half of the places, and no more than
one while another caller waits.
"""

import fcntl
import hashlib
import ipaddress
import mmap
import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from stillpipe.api.problems import RequestError
from stillpipe.server import settings

NAME = 16
"""Bytes of a caller's digest."""
WAITING = 64
"""Callers that are remembered as waiting."""
PATIENCE = 10_000_000_000
"""How long after a refusal a caller counts as waiting [ns]."""
_ENTRY = NAME + 8


class Shares:
    """The places of batches: ``total`` in the service, at most ``here`` of them in one process."""

    def __init__(self, total: int, here: int) -> None:
        self.total, self.here = total, here
        self.most = max(1, total // 2)
        """Places of one caller."""
        self._file = os.memfd_create("stillpipe-batches")
        size = NAME * total + _ENTRY * WAITING
        os.ftruncate(self._file, size)
        self._shared = mmap.mmap(self._file, size)
        self._lock = threading.Lock()
        self._mine: set[int] = set()

    def enter(self, caller: str) -> "Place":
        """Return the place that ``caller`` gets.

        Raises
        ------
        RequestError
            ``busy`` where there is none for this caller now
        """
        name = hashlib.blake2b(caller.encode(), digest_size=NAME).digest()
        with self._lock, self._table():
            held, free = self._count(name)
            most = 1 if self._others_wait(name) else self.most
            if held < most and free and len(self._mine) < self.here:
                self._take(free[0], name)
                self._wait(name, 0)
                return Place(self, free[0])
            if not held:
                self._wait(name, time.monotonic_ns())
        detail = "As many batches are under way as this service takes on at once."
        if held >= most:
            detail = "Other batches of yours are under way, and others wait for their turn."
        raise RequestError("busy", detail)

    def give_back(self, place: int) -> None:
        """Make ``place`` free for others."""
        with self._lock:
            self._mine.discard(place)
            fcntl.lockf(self._file, fcntl.LOCK_UN, 1, place)

    def held(self) -> int:
        """Return how many places are taken, by all processes."""
        with self._lock, self._table():
            return self.total - len(self._count(b"")[1])

    @contextmanager
    def _table(self) -> Iterator[None]:
        """Keep other processes out of the table."""
        fcntl.lockf(self._file, fcntl.LOCK_EX, 1, self.total)
        try:
            yield
        finally:
            fcntl.lockf(self._file, fcntl.LOCK_UN, 1, self.total)

    def _count(self, name: bytes) -> tuple[int, list[int]]:
        """Return how many places ``name`` holds, and which are free."""
        held, free = 0, []
        for place in range(self.total):
            if place not in self._mine and self._try(place):
                fcntl.lockf(self._file, fcntl.LOCK_UN, 1, place)
                free.append(place)
            elif self._shared[NAME * place : NAME * (place + 1)] == name:
                held += 1
        return held, free

    def _try(self, place: int) -> bool:
        try:
            fcntl.lockf(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB, 1, place)
        except OSError:
            return False
        return True

    def _take(self, place: int, name: bytes) -> None:
        fcntl.lockf(self._file, fcntl.LOCK_EX, 1, place)
        self._shared[NAME * place : NAME * (place + 1)] = name
        self._mine.add(place)

    def _entries(self) -> Iterator[tuple[int, bytes, int]]:
        """Yield where each entry of who waits lies, whose it is, and since when [ns]."""
        begin = NAME * self.total
        for at in range(begin, begin + _ENTRY * WAITING, _ENTRY):
            since = int.from_bytes(self._shared[at + NAME : at + _ENTRY], "little")
            yield at, self._shared[at : at + NAME], since

    def _others_wait(self, name: bytes) -> bool:
        since = time.monotonic_ns() - PATIENCE
        return any(who != name and when > since for _, who, when in self._entries())

    def _wait(self, name: bytes, since: int) -> None:
        """Note that ``name`` waits since then, 0 where no longer; the oldest entry is forgotten."""
        entries = list(self._entries())
        own = [e for e in entries if e[1] == name and e[2]]
        at = own[0][0] if own else min(entries, key=lambda e: e[2])[0]
        if own or since:
            self._shared[at : at + _ENTRY] = name + since.to_bytes(8, "little")


class Place:
    """One batch's place; it is given back once, however often that is said."""

    def __init__(self, shares: Shares, number: int) -> None:
        self._shares, self._number, self._lock = shares, number, threading.Lock()
        self._held = True

    def leave(self) -> None:
        """Give the place back."""
        with self._lock:
            if self._held:
                self._shares.give_back(self._number)
            self._held = False


def network(address: str) -> str:
    """Return who asks from ``address``: in IPv6 one caller has a network of 64 bits."""
    try:
        given = ipaddress.ip_address(address)
    except ValueError:
        return address
    if given.version == 4:
        return address
    return str(ipaddress.ip_network((int(given), 64), strict=False))


def trust_proxies(app: Flask) -> None:
    """Take the caller's address from as many proxies in front as the operator says there are.

    Each of STILLPIPE_TRUSTED_PROXIES proxies has added to X-Forwarded-For whom it was asked by;
    what stands further left may be anyone's invention.
    """
    count = settings.trusted_proxies()
    if count > 0:
        fixed = ProxyFix(app.wsgi_app, x_for=count, x_proto=0, x_host=0)
        app.wsgi_app = fixed  # type: ignore[method-assign]


def from_environment() -> Shares:
    """Return the places that the settings say."""
    return Shares(settings.batches(), settings.batches_here())
