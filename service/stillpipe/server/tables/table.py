"""A table of requests, kept on disk row by row, and the items that its rows make.

The whole table is read and checked before the first item is made. A row whose cells cannot be read
is an item of its own that says which cell is at fault; no row ends the others.
"""

import io
import logging
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass, field, replace
from typing import Any

import orjson

from stillpipe.api import limits
from stillpipe.api.inputs.columns import Column
from stillpipe.api.problems import RequestError, pointer
from stillpipe.api.registry import REQUESTS
from stillpipe.server.batch.spool import Store, never
from stillpipe.server.tables import cells, delimited, heads, workbook
from stillpipe.server.tables.cells import CellError, Decimals, Row
from stillpipe.server.tables.delimited import Form
from stillpipe.server.tables.heads import Heading, Special

FAULT = b"\n!"
"""Begins what stands for a row that cannot be an item; no line and no JSON begins so."""

Line = tuple[int, list[Any]]
"""A row's number, from 1, and its cells."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Asked:
    """What the rows of a table are: inputs of ``requests``, an estimate named by ``naming``.

    There are ``least`` to ``most`` rows. ``slug`` is the problem of one that cannot be read.
    """

    requests: tuple[type[Any], ...] = REQUESTS
    naming: str = "estimate"
    most: int = limits.BATCH_ITEMS
    least: int = 1
    slug: str = heads.CSV

    def wrong(self) -> RequestError:
        """Return the error that there is no head, or another number of rows."""
        return RequestError(self.slug, f"must have a head and 1 to {self.most} rows")


@dataclass
class Table:
    """The rows of a table, on disk, under its head."""

    asked: Asked
    head: list[str]
    headings: list[Heading]
    form: Form = field(default_factory=Form)
    taken: dict[str, str] = field(default_factory=dict)
    """What was found out about it, for the answer's header."""
    decimals: Decimals = field(default_factory=Decimals)
    rows: int = 0
    waiting: "deque[tuple[int, list[Any]]]" = field(default_factory=deque)
    """Numbers of the rows whose items are not answered yet, and their own cells."""

    def __post_init__(self) -> None:
        """Make room for the rows.

        Raises
        ------
        StorageError
            where there is none
        """
        self.store = Store()

    @property
    def own(self) -> list[str]:
        """Heads of the columns that are the caller's own."""
        return [n for n, h in zip(self.head, self.headings, strict=True) if h is Special.OWN]

    def fill(self, lines: Iterable[Line]) -> None:
        """Take all ``lines`` after the head.

        Raises
        ------
        RequestError
            where there are none, or more than are allowed
        StorageError
            where the disk takes no more
        """
        for number, row in lines:
            self.rows += 1
            if self.rows > self.asked.most:
                break
            for heading, cell in zip(self.headings, row, strict=False):
                if isinstance(heading, Column):
                    self.decimals.note(heading, cell)
            while row and cells.blank(row[-1]):
                row.pop()
            self.store.append(orjson.dumps([number, row]) + b"\n")
        if not self.asked.least <= self.rows <= self.asked.most:
            raise self.asked.wrong()
        self.form = replace(self.form, comma=self.decimals.mark == ",")
        self.taken |= {"decimals": "comma"} if self.form.comma else {}
        self.taken |= {"own": str(len(self.own))} if self.own else {}

    def lines(self) -> Generator[Line, None, None]:
        """Yield every row, as many cells as the head has or more."""
        for line in self.store.lines():
            number, row = orjson.loads(line)
            yield number, row + [None] * (len(self.head) - len(row))

    def items(self, brief: Callable[[], bool] = never) -> Generator[bytes, None, None]:
        """Yield every row as an item; its number and own cells wait for the item's answer.

        Once ``brief()`` is true, an item has no more than what names it: nobody will compute it.
        """
        with closing(self.lines()) as rows:
            for number, row in rows:
                paired = zip(self.headings, row, strict=False)
                self.waiting.append((number, [c for h, c in paired if h is Special.OWN]))
                yield self._item(number, row, brief())

    def _item(self, number: int, row: list[Any], brief: bool) -> bytes:
        """Return a row as an item, or what stands for one that cannot be."""
        try:
            item, errors = self.parts(number, row, brief)
            if not errors:
                return cells.as_json(item)
            detail = f"row {number}: {len(errors)} cell(s) cannot be used"
            name, named = item.get("estimate"), item["request"].get("id")
        except Exception:
            _log.exception("unexpected error in a row of a batch")
            detail, errors, name, named = f"row {number} cannot be read", [], None, None
        return FAULT + orjson.dumps([name, named, self.asked.slug, detail, errors])

    def parts(self, number: int, row: list[Any], brief: bool = False) -> tuple[Row, list[Row]]:
        """Return the item that a row makes, and what is wrong with its cells."""
        request: Row = {}
        item: Row = {"request": request}
        errors: list[Row] = []
        beyond: list[Heading] = [Special.BLANK] * (len(row) - len(self.head))
        for index, (heading, cell) in enumerate(zip(self.headings + beyond, row, strict=True)):
            named = heading is Special.ESTIMATE or getattr(heading, "path", ()) == ("id",)
            if cells.blank(cell) or heading is Special.OWN or (brief and not named):
                continue
            try:
                if heading is Special.ESTIMATE:
                    item[self.asked.naming] = cell.strip() if isinstance(cell, str) else cell
                elif isinstance(heading, Column):
                    cells.put(heading, cell, request, self.decimals)
                else:
                    raise CellError("holds something, but there is no head above it")
            except CellError as error:
                errors.append({"detail": str(error)} | self._at(number, index, heading))
        return item, errors

    def _at(self, number: int, index: int, heading: Heading) -> Row:
        """Return where a cell is: its member, row, column's head and name."""
        place: Row = {"row": number, "cell": f"{heads.letter(index)}{number}"}
        if isinstance(heading, Column):
            place["pointer"] = pointer(("request", *heading.path))
        return place | ({"column": self.head[index]} if index < len(self.head) else {})

    def located(self, number: int, error: Row, path: list[str]) -> Row:
        """Return an ``error`` in row ``number`` at ``path`` of its request, with the cell named."""
        for index, heading in enumerate(self.headings):
            known = heading.path if isinstance(heading, Column) else ()
            if known and tuple(path[: len(known)]) == known:
                return error | self._at(number, index, Special.BLANK)
        return error | {"row": number}

    def completed(self, reply: bytes) -> tuple[bytes, list[Any]]:
        """Return the ``reply`` to the next item, its faults with their cells, and its own cells.

        Items are answered in order.
        """
        number, own = self.waiting.popleft()
        if b'"problem"' in reply:
            tree = orjson.loads(reply)
            problem = tree.get("problem", {})
            if "errors" in problem:
                problem["errors"] = [self._placed(number, e) for e in problem["errors"]]
                reply = orjson.dumps(tree)
        return reply, own

    def joined(self, reply: bytes, own: list[Any]) -> bytes:
        """Return the ``reply`` to an item with its ``own`` cells as a member."""
        if not own:
            return reply
        shown = {n: cells.shown(c) for n, c in zip(self.own, own, strict=True)}
        return reply[:-1] + b',"own":' + orjson.dumps(shown) + b"}"

    def _placed(self, number: int, error: Row) -> Row:
        if "row" in error:
            return error
        _, *path = error.get("pointer", "#").split("/")
        return self.located(number, error, path[1:]) if path[:1] == ["request"] else error

    def close(self) -> None:
        """Drop the rows."""
        self.store.close()


def read_csv(file: io.FileIO, asked: Asked) -> Table:
    """Return the table in the CSV ``file``, read to its end and checked.

    Raises
    ------
    RequestError
        where it cannot be read as a whole, or has a column that cannot be used
    StorageError
        where there is no room for its rows
    """

    def recognised(head: list[str]) -> int:
        return heads.recognised(head, asked.requests, asked.naming)

    form = delimited.form_of(file, recognised)
    with closing(delimited.lines(file, form)) as lines:
        table = _begun(lines, asked)
        table.form, table.taken = form, form.taken
        table.decimals.comma = form.separator != ","
        return _filled(table, lines)


def read_workbook(file: io.FileIO, asked: Asked, bounds: workbook.Bounds | None = None) -> Table:
    """Return the table on the first sheet of the workbook in ``file``, as :func:`read_csv`.

    Raises
    ------
    RequestError
        where it cannot be read as a whole, or has a column that cannot be used
    StorageError
        where there is no room for its rows
    """
    taken: dict[str, str] = {}
    with closing(workbook.lines(file, bounds or workbook.Bounds(), taken)) as lines:
        table = _begun(lines, asked)
        table.taken = taken
        table.decimals.comma = True
        return _filled(table, lines)


def _begun(lines: Iterator[Line], asked: Asked) -> Table:
    """Return a table that has a head only."""
    _, first = next(lines, (0, []))
    head = heads.trimmed([cells.shown(c) for c in first])
    if not head:
        raise asked.wrong()
    headings = heads.read(head, asked.requests, asked.naming, asked.slug)
    return Table(asked, head, headings)


def _filled(table: Table, lines: Iterator[Line]) -> Table:
    try:
        table.fill(lines)
    except BaseException:
        table.close()
        raise
    return table
