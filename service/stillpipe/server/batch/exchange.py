"""How a batch comes and how it is answered: JSON array, lines of JSON, CSV, or XLSX, each to each.

The body is held on disk and so is a table's answer, so that memory stays flat whatever the length.
An array and a table are checked as a whole before the first item is answered: what is malformed is
refused with a 400 and nothing is computed.
"""

import codecs
from collections.abc import Callable, Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import Any

from werkzeug.datastructures import MIMEAccept

from stillpipe.api import limits, problems
from stillpipe.api.problems import RequestError
from stillpipe.errors import CancelledError, Fault
from stillpipe.server.batch import json_array
from stillpipe.server.batch.batch import TOO_LONG, Call, bounded
from stillpipe.server.batch.endings import ClientLeftError
from stillpipe.server.batch.spool import Spool, StorageError
from stillpipe.server.tables import answer, package, table
from stillpipe.server.tables.table import Asked, Table

JSON = "application/json"
LINES = "application/x-ndjson"
CSV = "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FORMS = (JSON, LINES, CSV, XLSX)
"""What a batch may come as, and be answered as."""
TABLE_ADDRESSES = {"table": CSV, "workbook": XLSX}
"""Addresses below that of what takes tables, each for one form."""
ADDRESSES = {
    "/v1/batch": FORMS,
    "/v1/batch/lines": (LINES,),
    **{f"/v1/batch/{name}": (form,) for name, form in TABLE_ADDRESSES.items()},
}
"""What a batch may come as, by address. A generated client has a function for each, and can type
and send but one form with a function."""
TABLES = {CSV: f"{CSV}; charset=utf-8", XLSX: XLSX}
"""Tables, as their media type is stated in an answer."""

Completed = tuple[bytes, list[Any]]


@dataclass
class Source:
    """Items as they came, and what is to be said of their answers."""

    items: Iterator[bytes]
    table: Table | None = None
    """The table that they are the rows of."""
    shortfall: Callable[[], dict[str, Any] | None] = lambda: None
    """Says, when all are answered, why that is not all of the body; None where it is."""

    def completed(self, call: Call) -> Generator[Completed, None, None]:
        """Yield every item's reply, its faults with the cells they lie in, and its row's cells."""
        with closing(call.answered(self.items)) as replies:
            for reply in replies:
                yield (reply, []) if self.table is None else self.table.completed(reply)

    def joined(self, call: Call) -> Generator[bytes, None, None]:
        """Yield every item's reply, with the cells of its row that are the caller's own."""
        with closing(self.completed(call)) as replies:
            for reply, own in replies:
                yield reply if self.table is None else self.table.joined(reply, own)


def wanted(given: str, accepted: MIMEAccept) -> str:
    """Return the form of the answer to a batch in the form ``given``.

    The one that the caller likes best; of those that it likes equally, and where it takes none, the
    form given.
    """
    best = max(FORMS, key=lambda form: (accepted[form], form == given))
    return best if accepted[best] > 0 else given


def answered(call: Call, given: str, form: str) -> Iterator[bytes]:
    """Return the answer in ``form`` to a batch in the form ``given``, piece by piece.

    Raises
    ------
    RequestError, ValidationError, RequestEntityTooLarge
        where the body cannot be read as a whole, before any piece is made; where the answer is a
        table and too long
    StorageError
        where there is no room for the body or the answer
    CancelledError
        where the client left before all rows of an answer that is a table were answered
    """
    if given == JSON:
        source = _array(call)
    elif given == LINES:
        source = _lines(call, streamed=form not in TABLES)
    else:
        source = _rows(call, given)
    if form in TABLES:
        return _as_table(call, source, form)
    return _as_array(call, source) if form == JSON else _as_lines(call, source)


def _array(call: Call) -> Source:
    body = call.spool().whole("malformed-json", call.ends)
    items = json_array.items(body, limits.BATCH_ITEMS, limits.BODY_BYTES)
    return Source(TOO_LONG if item is None else item for item in items)


def _lines(call: Call, streamed: bool) -> Source:
    """Return the lines of JSON in the body, as they arrive or, not ``streamed``, when all have.

    Of a table nobody could see that lines are missing, so for one they must all be there.
    """
    spool = call.spool()
    if streamed:
        spool.begun(call.ends)
    else:
        spool.whole("malformed-json", call.ends)
        _check_count(call, spool)
    over: list[bool] = []
    return Source(_each(call, spool, over), shortfall=lambda: _shortfall(spool, bool(over)))


def _check_count(call: Call, spool: Spool) -> None:
    over: list[bool] = []
    for _ in _each(call, spool, over):
        pass
    if over:
        raise RequestError("too-large", f"A batch has at most {limits.BATCH_LINES:,} lines.")


def _each(call: Call, spool: Spool, over: list[bool]) -> Iterator[bytes]:
    """Yield the lines that are not blank, as many as are allowed; of blank ones as many again."""
    count = blank = 0
    for number, stored in enumerate(spool.lines(limits.BODY_BYTES, call.ends)):
        line = stored.removeprefix(codecs.BOM_UTF8) if stored and number == 0 else stored
        if line is not None and not line.strip():
            blank += 1
        else:
            count += 1
        if max(count, blank) > limits.BATCH_LINES:
            over.append(True)
            return
        if line is None or line.strip():
            yield TOO_LONG if line is None else line


def _shortfall(spool: Spool, over: bool) -> dict[str, Any] | None:
    """Return why not all lines were answered, None where they were."""
    if over or spool.fault == "too-large":
        return problems.body("too-large", "Lines beyond the limit were not answered.")
    if spool.fault == "insufficient-storage":
        return problems.of(StorageError())
    if spool.fault:
        return problems.body("malformed-json", "The body broke off.")
    if not spool.ended:
        return problems.body("busy", "The service is ending; later lines were not read.")
    return None


def _rows(call: Call, given: str) -> Source:
    slug = "malformed-csv" if given == CSV else package.SLUG
    body = call.spool().whole(slug, call.ends)
    asked = Asked(slug=slug)
    read = table.read_csv if given == CSV else table.read_workbook
    rows = read(body.file, asked)
    call.kept.callback(rows.close)
    call.read |= rows.taken
    return Source(map(bounded, rows.items(call.due)), rows)


def _as_array(call: Call, source: Source) -> Iterator[bytes]:
    try:
        separator = b'{"items":['
        for reply in source.joined(call):
            yield separator + reply
            separator = b","
        if separator != b",":
            yield separator
        yield b'],"summary":' + call.summary(source.shortfall()) + b"}"
    finally:
        call.close()


def _as_lines(call: Call, source: Source) -> Iterator[bytes]:
    try:
        for reply in source.joined(call):
            yield reply + b"\n"
        yield b'{"summary":' + call.summary(source.shortfall()) + b"}\n"
    finally:
        call.close()


def _as_table(call: Call, source: Source, form: str) -> Iterator[bytes]:
    """Return the answer as a table, when all items are answered and counted."""
    rows = source.table
    made = answer.Answer(rows.own, rows.form) if rows else answer.Answer()
    call.kept.callback(made.close)
    try:
        for reply, own in source.completed(call):
            made.add(reply, own)
    except ClientLeftError as error:
        raise CancelledError(Fault((), "the caller left before all rows were answered")) from error
    return _pieces(call, made.csv() if form == CSV else made.xlsx())


def _pieces(call: Call, pieces: Iterator[bytes]) -> Iterator[bytes]:
    try:
        yield from pieces
    finally:
        call.close()


def summary(call: Call, form: str) -> dict[str, str]:
    """Return what an answer's header fields say: how a table was read, and for one, what counts."""
    counts = call.counts if form in TABLES else {}
    counted = {f"Batch-{k.title()}": str(v) for k, v in counts.items()}
    read = "; ".join(f"{k}={v}" for k, v in call.read.items())
    return counted | ({"Batch-Read": read} if read else {})
