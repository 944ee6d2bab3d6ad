"""Many estimates in one request; each item stands for itself. How they come: :mod:`.exchange`."""

import itertools
import logging
from collections.abc import Container, Generator, Iterable, Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
from functools import partial
from typing import IO, Any, NamedTuple

import numpy as np
import orjson
from marshmallow import ValidationError

from stillpipe.api import limits, problems, reading, selection
from stillpipe.api.answers import ANSWERS
from stillpipe.api.problems import RequestError
from stillpipe.api.registry import ENDPOINTS
from stillpipe.api.selection import USUAL, Selection
from stillpipe.errors import CancelledError, StillpipeError
from stillpipe.model.figures import Effort
from stillpipe.physics.column.work import Flag, Work, cancellable
from stillpipe.server.admission.departures import Caller
from stillpipe.server.batch import pool
from stillpipe.server.batch.endings import ClientLeftError, shutdown
from stillpipe.server.batch.spool import Spool
from stillpipe.server.observability import metrics
from stillpipe.server.tables import table
from stillpipe.server.tables.answer import LEFT_OUT

CHUNK = 8
"""Items that a worker takes at a time."""
TOO_LONG = b""
"""Stands for an item that was longer than allowed, and was not kept."""

Chunk = list[bytes]


class Asked(NamedTuple):
    """What is asked of each item: which members, and its cautions as ``codes`` alone.

    Of a ``table`` all that tables leave out is on request.
    """

    members: Selection = USUAL
    codes: bool = False
    table: bool = False


ALL = Asked()


class Done(NamedTuple):
    """An item's answer: whether it succeeded, its reply without its index, and what it took."""

    good: bool
    reply: bytes
    estimate: str = ""
    effort: Effort = Effort()
    cautions: tuple[dict[str, str], ...] = ()
    """Those that the reply has the codes of."""


class Found(NamedTuple):
    """An item's answer as :class:`Done`, its reply not yet written as JSON."""

    good: bool
    reply: dict[str, Any]
    estimate: str = ""
    effort: Effort = Effort()


Answered = list[Done]

_ENDED: Flag = np.ones(1, dtype=np.int64)

_log = logging.getLogger(__name__)


def work(chunk: Chunk, asked: Asked = ALL) -> Answered:
    """Answer the items of ``chunk``: whether each succeeded, and its reply without its index."""
    return [_guarded(raw, asked) for raw in chunk]


def ended(raw: bytes) -> Done:
    """Answer an item that is not computed any more, with what names it."""
    with cancellable(_ENDED):
        return _guarded(raw)


def lost(chunk: Chunk) -> Answered:
    """Answer items whose worker died whenever it was tried."""
    problem = problems.body("internal", "The worker that computed this item ended.")
    return [Done(False, orjson.dumps(_failed(*_names(raw), problem).reply)) for raw in chunk]


def _names(raw: bytes) -> tuple[str | None, str | None]:
    """Return the estimate and the id that an item names, None where they cannot be read."""
    try:
        name, request = _parts(reading.read(raw))
    except (RequestError, ValidationError):
        return None, None
    return name, _id(request)


def _guarded(raw: bytes, asked: Asked = ALL) -> Done:
    """Answer one item; nothing that goes wrong in it leaves here."""
    try:
        found = answer(raw)
        cautions = _lean(found, asked) if found.good else ()
        return Done(found.good, orjson.dumps(found.reply), found.estimate, found.effort, cautions)
    except Exception:
        _log.exception("unexpected error in a batch item")
        return Done(False, _UNANSWERED)


def _lean(found: Found, asked: Asked) -> tuple[dict[str, str], ...]:
    """Leave in an item's result what is asked for; return the cautions that become codes."""
    on_request = LEFT_OUT if asked.table else ENDPOINTS[found.estimate].on_request
    result = found.reply["result"] = selection.chosen(
        found.reply["result"], asked.members, on_request
    )
    if not asked.codes:
        return ()
    cautions = tuple(result["cautions"])
    result["cautions"] = [caution["code"] for caution in cautions]
    return cautions


def answer(raw: bytes, left_out: Container[str] = ()) -> Found:
    """Answer the item ``raw``; its result has no members of the names ``left_out``."""
    name, named = None, None
    try:
        if raw == TOO_LONG:
            raise RequestError("too-large", f"An item has at most {limits.BODY_BYTES} bytes.")
        if raw.startswith(table.FAULT):
            stated, given, *fault = orjson.loads(raw.removeprefix(table.FAULT))
            name, named = stated if stated in ENDPOINTS else None, _id({"id": given})
            raise RequestError(*fault)
        tree = reading.read(raw)
        name, request = _parts(tree)
        named = _id(request)
        Work().check()
        result, effort = ANSWERS.reply(name, request, left_out)
        head = {"id": named, "estimate": name, "status": 200}
        return Found(True, head | {"result": result}, name, effort)
    except CancelledError:
        problem = problems.body("busy", "The service is ending; this item was not computed.")
    except (RequestError, ValidationError, StillpipeError) as error:
        problem = problems.of(error, ("request",) if name else ())
        if problem["status"] == 500:
            _log.exception("a batch item could not be answered")
    except Exception:
        _log.exception("unexpected error in a batch item")
        problem = problems.body("internal", "The item could not be answered.")
    return _failed(name, named, problem)


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


def _failed(name: str | None, named: str | None, problem: dict[str, Any]) -> Found:
    head = {"id": named, "estimate": name, "status": problem["status"]}
    return Found(False, head | {"problem": problem})


_UNANSWERED = orjson.dumps(
    _failed(None, None, problems.body("internal", "The item could not be answered.")).reply
)


@dataclass
class Call:
    """A request for a batch: its body, who waits for the answer, and what was counted so far.

    ``kept`` is what is given back when the answer ends, however it ends: :meth:`close`.
    """

    stream: IO[bytes]
    length: int | None = None
    """Length of the body where the client said it [bytes]."""
    asked: Asked = ALL
    client: Caller = field(default_factory=Caller)
    kept: ExitStack = field(default_factory=ExitStack)
    counts: dict[str, int] = field(default_factory=lambda: {"succeeded": 0, "failed": 0})
    cautions: dict[str, dict[str, str]] = field(default_factory=dict)
    """Cautions by code whose codes alone stand in the items."""
    read: dict[str, str] = field(default_factory=dict)
    """What was found out about a table, so that the caller can see how it was read."""

    def spool(self) -> Spool:
        """Return the body, which is read to its end from now on.

        Raises
        ------
        StorageError
            where there is no room for it
        """
        spool = Spool(self.stream, limits.BATCH_BYTES, self.length)
        self.kept.callback(spool.close)
        return spool

    def close(self) -> None:
        """Give back what is kept for this request; a second time does nothing."""
        self.kept.close()

    def ends(self) -> bool:
        """Return whether no more of the body should be waited for."""
        return self.client.left or shutdown.due()

    def due(self) -> bool:
        """Return whether this process ends, so that no item is computed any more."""
        return shutdown.due()

    def answered(self, items: Iterable[bytes]) -> Generator[bytes, None, None]:
        """Yield every item's reply in order, and count them.

        Raises
        ------
        ClientLeftError
            where nobody waits for the replies any more
        """
        with closing(self._done(iter(items))) as replies:
            for index, done in enumerate(replies):
                outcome = "succeeded" if done.good else "failed"
                self.counts[outcome] += 1
                metrics.ITEMS.labels(outcome).inc()
                if done.good:
                    metrics.solved(done.estimate, done.effort)
                    self.cautions |= {c["code"]: c for c in done.cautions}
                yield b'{"index":%d,' % index + done.reply[1:]

    def _done(self, source: Iterator[bytes]) -> Generator[Done, None, None]:
        """Yield what the workers make of the items, and once this process ends, what it can say."""
        task = pool.Task()

        def look() -> None:
            if self.client.left:
                task.cancel()
                raise ClientLeftError
            if shutdown.due():
                task.cancel()

        def chunk() -> Chunk:
            return [] if shutdown.due() else list(itertools.islice(source, CHUNK))

        asked = partial(work, asked=self.asked)
        with closing(pool.ordered(task, asked, iter(chunk, []), lost, look)) as replies:
            yield from replies
        # workers give way to everything else, and the time that is left may be short
        for raw in source:
            if self.client.left:
                raise ClientLeftError
            yield ended(raw)

    def summary(self, problem: dict[str, Any] | None = None) -> bytes:
        """Return the summary of what was answered; ``problem`` says why that is not all."""
        head: dict[str, Any] = {
            "total": sum(self.counts.values()),
            **self.counts,
            "complete": problem is None,
        }
        if self.asked.codes:
            head["cautions"] = list(self.cautions.values())
        return orjson.dumps(head | ({"problem": problem} if problem else {}))


def bounded(raw: bytes) -> bytes:
    """Return the item ``raw``, or what stands for one that is too long."""
    return raw if len(raw) <= limits.BODY_BYTES else TOO_LONG
