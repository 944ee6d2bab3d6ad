"""Tables out: the replies of a batch, a row each, as CSV or XLSX.

There is a column for every figure, ``closure.likely [s]``, in the order in which they first appear,
after the columns that every row has and the caller's own. No text becomes a formula or a link: in
CSV it has an apostrophe before it where a spreadsheet would take it for one, in XLSX it is stored
as text.
"""

import csv
import datetime
import io
import json
import re
from collections.abc import Iterable, Iterator
from typing import Any

import orjson
import xlsxwriter
from xlsxwriter.exceptions import XlsxWriterException

from stillpipe.api import limits
from stillpipe.api.problems import RequestError
from stillpipe.server.batch.spool import StorageError, Store
from stillpipe.server.tables.cells import DATE, Row
from stillpipe.server.tables.delimited import Form
from stillpipe.server.tables.heads import MARK

FIXED = ("index", "id", "estimate", "status", "problem", "problem.errors")
"""Columns that every row has, before the caller's own."""
LEFT_OUT = ("inputs", "history", "bands", "profile", "growth")
"""Members of a reply that have no columns unless they are asked for."""
FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What spreadsheets take for the beginning of a formula, or pass over before one."""
BLOCK = 262144

_NUMBER = re.compile(r"-[0-9]+([.,][0-9]+)?")
_MADE = datetime.datetime(2000, 1, 1)
"""When an answer was made, as a workbook states it: equal answers are equal files."""


class Answer:
    """Replies of a batch as a table, kept on disk until all columns are known."""

    def __init__(self, own: Iterable[str] = (), form: Form | None = None) -> None:
        """Begin without rows; ``own`` are the heads of the caller's own columns.

        Raises
        ------
        StorageError
            where there is no room for a file
        """
        self._store, self._made = Store(), Store()
        self._own, self._form = list(own), form or Form()
        self._figures: dict[str, None] = {}

    def add(self, reply: bytes, own: list[Any] | None = None) -> None:
        """Add the row of the ``reply`` to an item, with its ``own`` cells.

        Raises
        ------
        RequestError
            where the table becomes longer than a caller may have the disk hold
        StorageError
            where the disk takes no more
        """
        row = flat(orjson.loads(reply))
        line = orjson.dumps([own or [], row]) + b"\n"
        if self._store.size + len(line) > limits.TABLE_BYTES:
            raise RequestError(
                "too-large",
                f"The answer as a table is longer than {limits.TABLE_BYTES:,} bytes: send fewer "
                "rows, or ask for it as lines of JSON, which are not kept here.",
            )
        self._figures |= dict.fromkeys(k for k in row if k not in FIXED)
        self._store.append(line)

    def head(self) -> list[str]:
        """Return the heads of all columns; an own one that another has is marked."""
        taken = {*FIXED, *self._figures}
        own = [MARK + name if name in taken else name for name in self._own]
        return [*FIXED, *own, *self._figures]

    def _rows(self) -> Iterator[tuple[list[Any], list[Any], list[Any]]]:
        """Yield the fixed cells, the own ones and the figures of every row."""
        for line in self._store.lines():
            own, row = orjson.loads(line)
            own += [None] * (len(self._own) - len(own))
            yield [row[k] for k in FIXED], own, [row.get(k) for k in self._figures]

    def csv(self) -> Iterator[bytes]:
        """Yield the table as CSV, written as the caller's own was, in UTF-8, piece by piece."""
        out = io.StringIO(newline="")
        if self._form.marked:
            out.write("\ufeff")
        writer = csv.writer(out, delimiter=self._form.separator)
        comma = self._form.comma
        writer.writerow([_plain(name) for name in self.head()])
        for fixed, own, figures in self._rows():
            cells = [*map(_plain, fixed), *map(_own, own), *map(_plain, figures)]
            writer.writerow([_figure(c) for c in cells] if comma else cells)
            if out.tell() >= BLOCK:
                yield _taken(out)
        yield _taken(out)

    def xlsx(self) -> Iterator[bytes]:
        """Return the table as a workbook, which is written whole before its first piece is given.

        Raises
        ------
        StorageError
            where the disk takes no more
        """
        self._write(self._made.file)
        return iter(lambda: self._made.file.read(BLOCK), b"")

    def _write(self, made: io.FileIO) -> None:
        options = {"constant_memory": True}
        try:
            made.seek(0)
            made.truncate()
            book = xlsxwriter.Workbook(made, options)
            book.set_properties({"created": _MADE})
            day, time = (book.add_format({"num_format": f}) for f in _DATES)
            sheet = book.add_worksheet("answers")
            sheet.freeze_panes(1, 0)
            for column, name in enumerate(self.head()):
                sheet.write_string(0, column, _text(name))
            for number, (fixed, own, figures) in enumerate(self._rows(), 1):
                for column, cell in enumerate([*fixed, *own, *figures]):
                    _put(sheet, (number, column), cell, (day, time))
            book.close()
            made.seek(0)
        except (OSError, XlsxWriterException) as error:
            raise StorageError from error

    def close(self) -> None:
        """Drop the table."""
        self._store.close()
        self._made.close()


_DATES = ("yyyy-mm-dd", "yyyy-mm-dd hh:mm:ss")


def _put(sheet: Any, place: tuple[int, int], cell: Any, formats: tuple[Any, Any]) -> None:
    """Write a ``cell`` of an answer at ``place``; what is blank is left out."""
    if isinstance(cell, dict):
        text = cell.get(DATE, "")
        try:
            moment = datetime.datetime.fromisoformat(text)
        except ValueError:
            sheet.write_string(*place, _text(text))
        else:
            sheet.write_datetime(*place, moment, formats[len(text) > len("2000-01-01")])
    elif isinstance(cell, bool):
        sheet.write_boolean(*place, cell)
    elif isinstance(cell, int | float):
        sheet.write_number(*place, cell)
    elif cell:
        sheet.write_string(*place, _text(str(cell)))


def _text(text: str) -> str:
    """Return ``text`` as a cell of a workbook can hold it."""
    length = len(text.encode("utf-16-le")) // 2
    if length > limits.WORKBOOK_TEXT:
        return f"too long for a cell ({length:,} characters): ask for CSV or JSON"
    # the writer takes such a text for markup of its own, and would not escape it
    return f"{text} " if text.startswith("<r>") and text.endswith("</r>") else text


def _taken(out: io.StringIO) -> bytes:
    """Return what was written, and begin again."""
    written = out.getvalue().encode()
    out.seek(0)
    out.truncate()
    return written


def _plain(value: Any) -> Any:
    """Return ``value`` so that no spreadsheet takes it for a formula."""
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA) else value


def _own(value: Any) -> Any:
    """Return a cell of the caller's own: as it was, unless a spreadsheet took it for a formula."""
    if isinstance(value, dict):
        return value.get(DATE)
    if isinstance(value, str) and _NUMBER.fullmatch(value):
        return value
    return _plain(value)


def _figure(cell: Any) -> Any:
    """Return a number with a decimal comma."""
    return str(cell).replace(".", ",") if isinstance(cell, float) else cell


def flat(reply: Row) -> Row:
    """Return the reply to an item as a row: a cell for every figure that it has."""
    row = {k: reply[k] for k in ("index", "id", "estimate", "status")}
    problem = reply.get("problem", {})
    row["problem"] = problem.get("type", "")
    row["problem.errors"] = "; ".join(
        [_fault(e) for e in problem.get("errors", [])] or [problem.get("detail", "")]
    )
    _spread(reply.get("result", {}), "", row)
    return row


def _fault(error: Row) -> str:
    """Return an error as text, with the row, the column and the cell that are at fault."""
    places = [f"{k} {error[k]}" for k in ("row", "column", "cell") if k in error]
    text = f"{error.get('pointer', '')} {error['detail']}".strip()
    return f"{text} ({', '.join(places)})" if places else text


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
