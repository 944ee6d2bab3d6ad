"""Many estimates in one request: JSON array, lines of JSON, or CSV; each item stands for itself."""

import itertools
import json
import logging
from collections.abc import Iterable, Iterator
from typing import IO, Any

import orjson
from marshmallow import ValidationError

from stillpipe.api import limits, problems, reading, tabular
from stillpipe.api.answers import ANSWERS
from stillpipe.api.problems import RequestError
from stillpipe.api.registry import ENDPOINTS
from stillpipe.errors import StillpipeError
from stillpipe.server.batch import pool
from stillpipe.server.batch.spool import Spool
from stillpipe.server.observability import metrics

CHUNK = 8
"""Items that a worker takes at a time."""
TOO_LONG = b""
"""Stands for an item that was longer than allowed, and was not kept."""

Chunk = list[bytes]
Answered = list[tuple[bool, bytes]]

_log = logging.getLogger(__name__)


def work(chunk: Chunk) -> Answered:
    """Answer the items of ``chunk``: whether each succeeded, and its reply without its index."""
    return [_item(raw) for raw in chunk]


def lost(chunk: Chunk) -> Answered:
    """Answer a chunk whose worker died whenever it was tried."""
    problem = problems.body("internal", "The worker that computed this item ended.")
    return [_failed(None, None, problem) for _ in chunk]


def _item(raw: bytes) -> tuple[bool, bytes]:
    name, named = None, None
    try:
        if raw == TOO_LONG:
            raise RequestError("too-large", f"An item has at most {limits.BODY_BYTES} bytes.")
        if raw.startswith(tabular.FAULT):
            raise RequestError("malformed-csv", raw.removeprefix(tabular.FAULT).decode())
        tree = reading.read(raw)
        name, request = _parts(tree)
        named = _id(request)
        result = ANSWERS.reply(name, request)
    except (RequestError, ValidationError, StillpipeError) as error:
        base = ("request",) if name else ()
        return _failed(name, named, problems.of(error, base))
    except Exception:
        # one item's fault must not lose the others
        _log.exception("unexpected error in a batch item")
        return _failed(name, named, problems.body("internal", "The item could not be answered."))
    head = {"id": named, "estimate": name, "status": 200}
    return True, orjson.dumps(head | {"result": result})


def _parts(tree: Any) -> tuple[str, Any]:
    """Return the estimate's name and the request of an item."""
    if not isinstance(tree, dict):
        raise ValidationError("must be an object {estimate, request}")
    faults: dict[str, list[str]] = {
        str(k): ["unknown member"] for k in tree if k not in ("estimate", "request")
    }
    faults |= {k: ["required"] for k in ("estimate", "request") if k not in tree}
    name = tree.get("estimate")
    if "estimate" in tree and not (isinstance(name, str) and name in ENDPOINTS):
        faults["estimate"] = ["must be one of " + ", ".join(ENDPOINTS)]
    if faults:
        raise ValidationError(faults)
    return str(name), tree["request"]


def _id(request: Any) -> str | None:
    given = request.get("id") if isinstance(request, dict) else None
    return given if isinstance(given, str) and len(given) <= limits.ID_CHARACTERS else None


def _failed(name: str | None, named: str | None, problem: dict[str, Any]) -> tuple[bool, bytes]:
    head = {"id": named, "estimate": name, "status": problem["status"]}
    return False, orjson.dumps(head | {"problem": problem})


def answered(items: Iterable[bytes], counts: dict[str, int]) -> Iterator[bytes]:
    """Yield every item's reply in order, and count them in ``counts``."""
    source = iter(items)
    chunks = iter(lambda: list(itertools.islice(source, CHUNK)), [])
    replies = pool.ordered(work, chunks, lost)
    for index, (good, reply) in enumerate(itertools.chain.from_iterable(replies)):
        outcome = "succeeded" if good else "failed"
        counts[outcome] += 1
        metrics.ITEMS.labels(outcome).inc()
        yield b'{"index":%d,' % index + reply[1:]


def _counts() -> dict[str, int]:
    return {"succeeded": 0, "failed": 0}


def _summary(counts: dict[str, int], problem: dict[str, Any] | None = None) -> bytes:
    head: dict[str, Any] = {"total": sum(counts.values()), **counts, "complete": problem is None}
    return orjson.dumps(head | ({"problem": problem} if problem else {}))


def of_array(body: bytes) -> Iterator[bytes]:
    """Return the reply to a JSON array, piece by piece.

    Raises
    ------
    RequestError, ValidationError
        where the body is not an array of items, before any piece is made
    """
    tree = reading.read(body)
    if not isinstance(tree, list) or not 1 <= len(tree) <= limits.BATCH_ITEMS:
        raise ValidationError(f"must be an array of 1 to {limits.BATCH_ITEMS} items")
    return _array([json.dumps(item).encode() for item in tree])


def _array(items: list[bytes]) -> Iterator[bytes]:
    counts = _counts()
    separator = b'{"items":['
    for reply in answered(map(bounded, items), counts):
        yield separator + reply
        separator = b","
    yield b'],"summary":' + _summary(counts) + b"}"


def bounded(raw: bytes) -> bytes:
    """Return the item ``raw``, or what stands for one that is too long."""
    return raw if len(raw) <= limits.BODY_BYTES else TOO_LONG


def of_lines(stream: IO[bytes]) -> Iterator[bytes]:
    """Return the reply to lines of JSON, a line for each, and a last line with the summary."""
    counts = _counts()
    spool = Spool(stream, limits.BATCH_BYTES)
    over: list[bool] = []
    try:
        for reply in answered(_lines(spool, over), counts):
            yield reply + b"\n"
        problem = None
        if over or spool.fault == "too-large":
            problem = problems.body("too-large", "Lines beyond the limit were not answered.")
        elif spool.fault:
            problem = problems.body("malformed-json", "The body broke off.")
        yield b'{"summary":' + _summary(counts, problem) + b"}\n"
    finally:
        spool.close()


def _lines(spool: Spool, over: list[bool]) -> Iterator[bytes]:
    """Yield the lines that are not blank, as many as are allowed."""
    count = 0
    for line in spool.lines(limits.BODY_BYTES):
        if line is not None and not line.strip():
            continue
        if count == limits.BATCH_LINES:
            over.append(True)
            return
        count += 1
        yield TOO_LONG if line is None else line


def of_table(body: bytes) -> tuple[bytes, dict[str, int]]:
    """Return the reply to CSV, and how many rows succeeded and failed.

    Raises
    ------
    RequestError
        where the table cannot be read; it names every column it does not know
    """
    counts = _counts()
    items = tabular.items(body, limits.BATCH_ITEMS)
    replies = answered(map(bounded, items), counts)
    return tabular.table(orjson.loads(r) for r in replies), counts
