"""How much one caller may ask, exact over workers: so many requests in a window, then 429.

Off unless the operator keeps keys or says a rate: the proxy limits addresses, this limits callers
by their keys, however many of them share an address. Made before the serving processes are forked,
all of them hold one unnamed file in memory: for each caller and policy when its window began and
what was asked since. Replies say so in the fields of draft-ietf-httpapi-ratelimit-headers-11.
"""

import fcntl
import hashlib
import math
import mmap
import os
import re
import struct
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple

from flask import Flask, Response, current_app, g, request

from stillpipe.api.problems import RequestError
from stillpipe.server import settings
from stillpipe.server.admission import shares

WAYS, BUCKETS = 8, 1024
"""Callers are kept in buckets of so many; in a full one the oldest window is forgotten."""
_ENTRY = struct.Struct("<16sqq")
SECOND = 1_000_000_000
_RATE = re.compile(r"([1-9][0-9]{0,8})/([1-9][0-9]{0,5})")


class Policy(NamedTuple):
    """A policy's ``name``, and its ``quota`` of requests in a ``window`` [s]."""

    name: str
    quota: int
    window: int

    @property
    def field(self) -> str:
        """The policy as a member of RateLimit-Policy, a structured field (RFC 9651)."""
        return f'"{self.name}";q={self.quota};w={self.window}'


class Standing(NamedTuple):
    """What is ``left`` of a quota for so many ``seconds``; whether a request is ``granted``."""

    policy: Policy
    granted: bool
    left: int
    seconds: int

    @property
    def field(self) -> str:
        """The standing as a member of RateLimit, a structured field (RFC 9651)."""
        return f'"{self.policy.name}";r={self.left};t={self.seconds}'


class Rates:
    """Windows of callers, shared by this process and its forks."""

    def __init__(self) -> None:
        self._file = os.memfd_create("stillpipe-rates")
        size = _ENTRY.size * WAYS * BUCKETS
        os.ftruncate(self._file, size)
        self._shared = mmap.mmap(self._file, size)
        self._lock = threading.Lock()

    def ask(self, caller: str, policy: Policy, now: int | None = None) -> Standing:
        """Count a request of ``caller`` unless its quota is used up; ``now`` [ns] by any clock."""
        now = time.monotonic_ns() if now is None else now
        name = hashlib.blake2b(f"{policy.name}\0{caller}".encode(), digest_size=16).digest()
        bucket = int.from_bytes(name[:2], "little") % BUCKETS
        with self._lock, self._kept(bucket):
            at, begun, count = self._find(name, bucket)
            if not count or now - begun >= policy.window * SECOND:
                begun, count = now, 0
            granted = count < policy.quota
            count += granted
            _ENTRY.pack_into(self._shared, at, name, begun, count)
        ends = begun + policy.window * SECOND - now
        return Standing(policy, granted, policy.quota - count, math.ceil(ends / SECOND))

    def _find(self, name: bytes, bucket: int) -> tuple[int, int, int]:
        """Return where the entry ``name`` lies, and what it says; else where the oldest lies."""
        begin = bucket * WAYS * _ENTRY.size
        entries = []
        for at in range(begin, begin + WAYS * _ENTRY.size, _ENTRY.size):
            known, begun, count = _ENTRY.unpack_from(self._shared, at)
            if known == name:
                return at, begun, count
            entries.append((begun, at))
        return min(entries)[1], 0, 0

    @contextmanager
    def _kept(self, bucket: int) -> Iterator[None]:
        """Keep other processes out of a bucket; a process that dies lets go of it."""
        fcntl.lockf(self._file, fcntl.LOCK_EX, 1, bucket)
        try:
            yield
        finally:
            fcntl.lockf(self._file, fcntl.LOCK_UN, 1, bucket)


def policies(keyed: bool) -> dict[str, Policy]:
    """Return the policies of requests and of batches that the settings say.

    ``keyed`` is whether callers have keys; without, there are none unless they are said.

    Raises
    ------
    SettingError
        for what is not QUOTA/SECONDS
    """
    said = {
        "requests": os.environ.get("STILLPIPE_RATE", "") or ("1200/60" if keyed else ""),
        "batches": os.environ.get("STILLPIPE_BATCH_RATE", "") or ("12/60" if keyed else ""),
    }
    found = {}
    for name, text in said.items():
        if not text:
            continue
        match = _RATE.fullmatch(text)
        if not match:
            raise settings.SettingError(f"a rate is QUOTA/SECONDS such as 1200/60, not {text!r}")
        found[name] = Policy(name, int(match[1]), int(match[2]))
    return found


def limit(app: Flask, keyed: bool) -> None:
    """Hold the callers of ``app`` to their rates, and tell them in every reply what is left.

    Addresses that ask for no key are not counted where there are keys.
    """
    known = policies(keyed)
    if not known:
        return
    app.config["RATES"], app.config["POLICIES"] = Rates(), known
    app.before_request(_count)
    app.after_request(_tell)


def _count() -> None:
    """Count the present request.

    Raises
    ------
    RequestError
        ``too-many-requests``, with the time after which the window is over
    """
    rule = request.url_rule.endpoint if request.url_rule else ""
    policy = current_app.config["POLICIES"].get("batches" if rule == "api.many" else "requests")
    keyed = current_app.config["KEYS"] is not None
    if policy is None or request.method == "OPTIONS" or ("caller" not in g and keyed):
        return
    if rule in ("api.livez", "api.readyz", "api.measured"):
        return
    caller = g.get("caller") or shares.network(request.remote_addr or "")
    g.standing = standing = current_app.config["RATES"].ask(caller, policy)
    if not standing.granted:
        raise RequestError(
            "too-many-requests",
            f"{policy.quota} {policy.name} in {policy.window} s are used up.",
            headers={"Retry-After": str(standing.seconds)},
        )


def _tell(reply: Response) -> Response:
    standing: Standing | None = g.get("standing")
    if standing is not None:
        reply.headers["RateLimit-Policy"] = standing.policy.field
        reply.headers["RateLimit"] = standing.field
    return reply
