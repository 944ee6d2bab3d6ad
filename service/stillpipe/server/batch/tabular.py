"""Tables in and out: a column for each member, quantities with their unit in the column's head.

``line_pressure [bar]`` holds numbers in bar; ``fluid.temperature [degC]`` a member of a member;
``stock [json]`` any member as JSON text. An empty cell leaves the member out. Answers have a column
for every figure, ``closure.likely [s]``, in the order in which they first appear; a text that a
spreadsheet would take for a formula has an apostrophe before it.
"""

import csv
import io
import itertools
import json
import logging
import re
from collections import Counter
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import closing
from typing import Any

import orjson

from stillpipe.api import limits, reading
from stillpipe.api.inputs import columns
from stillpipe.api.inputs.columns import Column
from stillpipe.api.problems import RequestError
from stillpipe.api.registry import REQUESTS
from stillpipe.server.batch.spool import Store, never

HEAD = re.compile(r"(?P<path>[a-z0-9_]+(?:\.[a-z0-9_]+)*)(?: \[(?P<unit>[^\]]+)\])?")
NUMBER = re.compile(r"-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
LEFT_OUT = ("id", "inputs", "history", "profile", "growth")
FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What spreadsheets take for the beginning of a formula, or pass over before one."""
BLOCK = 262144

FAULT = b"\n!"
"""Begins what stands for a row that cannot be an item; no line and no JSON begins so."""

Row = dict[str, Any]

_log = logging.getLogger(__name__)


def put(column: Column, cell: str, into: Row) -> None:
    """Put the text ``cell`` of ``column`` into the request; what cannot be read stays text."""
    value: Any = cell
    if column.kind in ("number", "quantity") and NUMBER.fullmatch(cell):
        value = _json(cell)
    elif column.kind == "flag" and cell in ("true", "false"):
        value = cell == "true"
    put_typed(column, value, into)


def put_typed(column: Column, value: Any, into: Row) -> None:
    """Put ``value`` of ``column``, whose type is known, into the request."""
    if column.kind == "json" and isinstance(value, str):
        value = _json(value)
    if column.kind == "quantity":
        value = {"value": value, "unit": column.unit}
    for part in column.path[:-1]:
        into = into.setdefault(part, {})
    into[column.path[-1]] = value


def _json(cell: str) -> Any:
    """Return the JSON value in ``cell``, or its text where that is none."""
    try:
        return reading.read(cell.encode())
    except RequestError:
        return cell


class _Lines:
    """The lines of a table, as long as the row that they make is not too long."""

    def __init__(self, text: io.TextIOWrapper) -> None:
        self._text, self.row, self.length = text, 1, 0

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = self._text.readline(limits.ROW_LENGTH + 1)
        if not line:
            raise StopIteration
        self.length += len(line)
        if self.length > limits.ROW_LENGTH:
            detail = f"row {self.row} has more than {limits.ROW_LENGTH} characters"
            raise RequestError("malformed-csv", detail)
        return line


def _rows(body: Store) -> Generator[list[str], None, None]:
    """Yield the rows of a table that lies on disk, as :func:`rows_of`."""
    with body.text() as text:
        yield from rows_of(text)


def rows_of(text: io.TextIOWrapper) -> Generator[list[str], None, None]:
    """Yield the rows that are not blank, one at a time.

    Raises
    ------
    RequestError
        where it is not CSV in UTF-8, or has a row that is too long or too many blank ones
    """
    lines, blank = _Lines(text), 0
    try:
        for row in csv.reader(lines, strict=True):
            lines.row, lines.length = lines.row + 1, 0
            blank += not row
            if blank > limits.BATCH_LINES:
                raise RequestError("malformed-csv", f"over {limits.BATCH_LINES} blank rows")
            if row:
                yield row
    except UnicodeDecodeError:
        raise RequestError("malformed-csv", "not UTF-8") from None
    except csv.Error as error:
        raise RequestError("malformed-csv", f"row {lines.row}: {error}") from None


def items(body: Store, most: int, brief: Callable[[], bool] = never) -> Iterator[bytes]:
    """Return an iterator over the items of a table as JSON; the whole table is checked first.

    Once ``brief()`` is true, an item has no more than what names it: nobody will compute it.

    Raises
    ------
    RequestError
        where it is not CSV in UTF-8, has an unknown column, no rows, or more than ``most``
    """
    with closing(_rows(body)) as rows:
        head = next(rows, None)
        known = columns_of(head) if head else []
        count = sum(1 for _ in itertools.islice(rows, most + 1))
    if not head or not 1 <= count <= most:
        raise RequestError("malformed-csv", f"must have a head and 1 to {most} rows")
    return _items(body, head, known, brief)


def _items(
    body: Store, head: list[str], columns: "list[Column | None]", brief: Callable[[], bool]
) -> Iterator[bytes]:
    names = [column is None or column.path == ("id",) for column in columns]
    with closing(_rows(body)) as rows:
        for row in itertools.islice(rows, 1, None):
            short = brief() and len(row) == len(head)
            cells = (
                [c if kept else "" for c, kept in zip(row, names, strict=True)] if short else row
            )
            yield _item(columns, cells, head)


def columns_of(
    head: list[str], requests: Iterable[type[Any]] = REQUESTS, naming: str = "estimate"
) -> list[Column | None]:
    """Return what each column is, an input of any of ``requests``.

    None is the column that is ``naming`` the estimate; there is none where that is empty.

    Raises
    ------
    RequestError
        naming every column that cannot be used
    """
    if len(head) > limits.BATCH_COLUMNS:
        detail = f"must have at most {limits.BATCH_COLUMNS} columns"
        raise RequestError("malformed-csv", detail)
    found: list[Column | None] = []
    errors = []
    for name in head:
        column, fault = (None, "") if name == naming else _column(name, requests)
        if fault:
            errors.append({"detail": fault, "parameter": name})
        found.append(column)
    errors += [
        {"detail": "the column is given twice", "parameter": name}
        for name, times in sorted(Counter(head).items())
        if times > 1
    ]
    errors += [
        {"detail": "another column holds the same member", "parameter": ".".join(path)}
        for path in _shared(Counter(c.path for c in found if c))
    ]
    if naming and naming not in head:
        errors.append({"detail": "required", "parameter": naming})
    if errors:
        raise RequestError("malformed-csv", f"{len(errors)} column(s) cannot be used", errors)
    return found


def _shared(paths: Counter[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Return the paths that stand twice, or hold the member that another path leads into."""
    over = {path[:i] for path in paths for i in range(1, len(path))}
    return sorted(path for path, times in paths.items() if times > 1 or path in over)


def _column(name: str, requests: Iterable[type[Any]]) -> tuple[Column | None, str]:
    """Return the column with the head ``name``, or why there is none."""
    match = HEAD.fullmatch(name)
    if not match:
        return None, "must be a member, with its unit in brackets where it has one"
    found = columns.column(tuple(match["path"].split(".")), match["unit"], requests)
    return (None, found) if isinstance(found, str) else (found, "")


def _item(columns: list[Column | None], row: list[str], head: list[str]) -> bytes:
    """Return a row as an item, or what stands for one that cannot be; no row ends the others."""
    if len(row) != len(columns):
        return FAULT + f"the row has {len(row)} cells, the head {len(columns)}".encode()
    try:
        return json.dumps(item_of(head, columns, [c or None for c in row], put)).encode()
    except Exception:
        _log.exception("unexpected error in a row of a batch")
        return FAULT + b"the row cannot be read"


def item_of(
    head: list[str],
    columns: list[Column | None],
    cells: Iterable[Any],
    put: Callable[[Column, Any, Row], None],
) -> Row:
    """Return the item that a row's ``cells`` make; None leaves its member out."""
    request: Row = {}
    item: Row = {"request": request}
    for name, column, cell in zip(head, columns, cells, strict=True):
        if cell is None:
            continue
        if column is None:
            item[name] = cell
        else:
            put(column, cell, request)
    return item


class Answer:
    """Replies of a batch as a table, kept on disk until all columns are known."""

    def __init__(self) -> None:
        """Begin without rows.

        Raises
        ------
        StorageError
            where there is no room for a file
        """
        self._store = Store()
        self._head: dict[str, None] = {}

    def add(self, reply: bytes) -> None:
        """Add the row of the ``reply`` to an item.

        Raises
        ------
        RequestError
            where the table becomes longer than a caller may have the disk hold
        StorageError
            where the disk takes no more
        """
        row = flat(orjson.loads(reply))
        line = orjson.dumps(row) + b"\n"
        if self._store.size + len(line) > limits.TABLE_BYTES:
            raise RequestError(
                "too-large",
                f"The answer as a table is longer than {limits.TABLE_BYTES:,} bytes: send fewer "
                "rows, or ask for it as lines of JSON, which are not kept here.",
            )
        self._head |= dict.fromkeys(row)
        self._store.append(line)

    def csv(self) -> Iterator[bytes]:
        """Yield the table, piece by piece."""
        out = io.StringIO(newline="")
        writer = csv.DictWriter(out, list(self._head), restval="")
        writer.writeheader()
        for line in self._store.lines():
            writer.writerow({k: _plain(v) for k, v in orjson.loads(line).items()})
            if out.tell() >= BLOCK:
                yield _taken(out)
        yield _taken(out)

    def close(self) -> None:
        """Drop the table."""
        self._store.close()


def _taken(out: io.StringIO) -> bytes:
    """Return what was written, and begin again."""
    written = out.getvalue().encode()
    out.seek(0)
    out.truncate()
    return written


def _plain(value: Any) -> Any:
    """Return ``value`` so that no spreadsheet takes it for a formula."""
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA) else value


def flat(reply: Row) -> Row:
    """Return the reply to an item as a row: a cell for every figure that it has."""
    row = {k: reply[k] for k in ("index", "id", "estimate", "status")}
    problem = reply.get("problem", {})
    row["problem"] = problem.get("type", "")
    row["problem.errors"] = "; ".join(
        [f"{e.get('pointer', '')} {e['detail']}".strip() for e in problem.get("errors", [])]
        or [problem.get("detail", "")]
    )
    _spread(reply.get("result", {}), "", row)
    return row


def _spread(tree: Row, before: str, row: Row) -> None:
    """Put the figures of ``tree`` into ``row``."""
    unit = tree.get("unit")
    for name, value in tree.items():
        if (before == "" and name == "id") or name == "unit" or value is None:
            continue
        label = before + name
        if isinstance(value, dict):
            _spread(value, label + ".", row)
        elif isinstance(value, list):
            coded = value and all(isinstance(v, dict) and "code" in v for v in value)
            row[label] = (
                " ".join(v["code"] for v in value) if coded or not value else json.dumps(value)
            )
        elif unit is not None and isinstance(value, int | float):
            head = before[:-1] if name == "value" else label
            row[f"{head} [{unit}]"] = value
        else:
            row[label] = value
