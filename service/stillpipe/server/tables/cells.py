"""Cells of a table: what is written in one, put into the request as the column wants it.

What people write and spreadsheets make of it is taken where it can mean one thing only: padding,
``TRUE``, a decimal comma. What can mean two is refused: ``1.000`` may be one or a thousand.
"""

import datetime
import json
import re
from dataclasses import dataclass, field
from typing import Any

from stillpipe.api import reading
from stillpipe.api.inputs.columns import Column
from stillpipe.api.problems import RequestError

Row = dict[str, Any]

DATE = "date"
"""Member that marks a cell of a workbook that holds a date, as text of ISO 8601."""
FAULT = "fault"
"""Member that marks a cell that has no value, and says why."""

NUMERIC = ("number", "quantity", "money")
SIZES = (("pipe", "size"), ("pipe", "schedule"))
"""Inputs of text that spreadsheets like to take for dates."""

_NUMBER = re.compile(r"-?(0|[1-9][0-9]*)([.,][0-9]+)?([eE][+-]?[0-9]+)?")
_ONE_GROUP = re.compile(r"-?[1-9][0-9]{0,2}[.,][0-9]{3}")
"""What may be a number with three decimals, and may be thousands."""
_GROUPS = re.compile("-?[1-9][0-9]{0,2}([.,'\u2019 \u00a0\u202f][0-9]{3})+([.,][0-9]+)?")
_MONTHS = (
    "jan|janv|feb|fév|févr|mar|mär|mrz|mars|mrt|märz|apr|avr|abr|may|mai|mag|mei|jun|juin|giu|jul|"
    "juil|lug|aug|août|ago|sep|sept|set|oct|okt|ott|nov|dec|déc|dez|dic|ene|gen"
)
_DATED = re.compile(
    rf"[0-9]{{1,2}}\.?[-/. ] ?({_MONTHS})\.?([-/. ]+[0-9]{{2,4}})?"
    rf"|({_MONTHS})\.?[-/. ]+[0-9]{{2,4}}"
    r"|[0-9]{1,2}([-/.])[0-9]{1,2}\4([0-9]{4}|[0-9]{2})|[0-9]{4}([-/.])[0-9]{2}\6[0-9]{2}([T ].*)?",
    re.IGNORECASE,
)
_SERIAL = re.compile("[3-7][0-9]{4}")
"""A day as spreadsheets count it, in a column of sizes: 1982 to 2119."""
_ERRORS = frozenset(
    ("#N/A", "#NV", "#DIV/0!", "#REF!", "#BEZUG!", "#VALUE!", "#WERT!", "#NAME?", "#NUM!", "#ZAHL!",
     "#NULL!", "#SPILL!", "#CALC!", "#GETTING_DATA")
)  # fmt: skip
"""What spreadsheets write where a formula has no value, in English and German."""


class CellError(ValueError):
    """A cell that cannot be read; the text says why, and what helps."""


@dataclass
class Decimals:
    """Which decimal mark a table uses, learned from those of its cells that leave no doubt."""

    comma: bool = False
    """Whether a comma may be one: not where it separates cells."""
    seen: set[str] = field(default_factory=set)

    def note(self, column: Column, cell: Any) -> None:
        """Learn from a ``cell`` of ``column``."""
        if column.kind not in NUMERIC or not isinstance(cell, str):
            return
        text = cell.strip()
        found = _NUMBER.fullmatch(text)
        if found and found[2] and not _ONE_GROUP.fullmatch(text):
            self.seen.add(found[2][0])

    @property
    def mark(self) -> str:
        """The mark that is used, empty where that is not known."""
        return "".join(self.seen) if len(self.seen) == 1 else ""

    def plain(self, text: str) -> str:
        """Return ``text`` with a decimal point where it is a number, as it is elsewhere.

        Raises
        ------
        CellError
            where it may mean two numbers, or has a comma that cannot be a decimal one
        """
        found = _NUMBER.fullmatch(text)
        if not found:
            if _GROUPS.fullmatch(text):
                raise CellError(
                    f"{text!r} has separators of thousands: write the number without them"
                )
            return text
        mark = found[2][0] if found[2] else ""
        if _ONE_GROUP.fullmatch(text) and mark != self.mark:
            whole, decimals = re.split("[.,]", text)
            raise CellError(
                f"{text!r} is ambiguous, a number with three decimals or thousands: write "
                f"{whole}{decimals}, or {whole}{mark if self.comma else '.'}{decimals}0"
            )
        if mark == "," and not self.comma:
            raise CellError(
                f"{text!r} has a decimal comma in a table that is separated by commas: write a "
                "point, or separate the cells by semicolons"
            )
        return text.replace(",", ".")


def put(column: Column, cell: Any, into: Row, decimals: Decimals) -> None:
    """Put ``cell`` of ``column`` into the request; what is of another kind stays as it is.

    Raises
    ------
    CellError
        where it has no value, is a date or an error of a formula, or may mean two things
    """
    if isinstance(cell, dict) and FAULT in cell:
        raise CellError(cell[FAULT])
    text = cell[DATE] if isinstance(cell, dict) else cell
    if isinstance(text, str):
        _refuse_error(text.strip())
    if column.kind in NUMERIC or column.kind == "flag" or column.path in SIZES:
        _refuse_date(column, cell)
    put_typed(column, _valued(column, text, decimals), into)


def _valued(column: Column, cell: Any, decimals: Decimals) -> Any:
    """Return what a ``cell`` holds, text without padding."""
    if not isinstance(cell, str):
        typed = column.kind in ("number", "quantity", "flag", "json")
        return cell if typed or not isinstance(cell, int | float) else _written(cell)
    text = cell.strip()
    if column.kind in NUMERIC:
        text = decimals.plain(text)
        if column.kind != "money" and _NUMBER.fullmatch(text):
            return _json(text)
    if column.kind == "flag" and text.casefold() in ("true", "false"):
        return text.casefold() == "true"
    return text


def _written(value: float) -> str:
    """Return a number, or true or false, as text."""
    return str(value).lower() if isinstance(value, bool) else f"{value:.12g}"


def _refuse_error(text: str) -> None:
    if text.upper() in _ERRORS:
        raise CellError(f"holds the error {text} of a formula")


def _refuse_date(column: Column, cell: Any) -> None:
    """Refuse a date, which no number, no flag and no size is."""
    if isinstance(cell, dict):
        text, dated = cell[DATE], True
    else:
        text = cell.strip() if isinstance(cell, str) else f"{cell}"
        serial = column.path in SIZES and _SERIAL.fullmatch(text) is not None
        dated = serial or _DATED.fullmatch(text) is not None
    if dated:
        raise CellError(
            f"holds the date {text!r}, which a spreadsheet makes of 1/2 or 1.5: format the column "
            "as text, then type the value again"
        )


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


def kept(value: Any) -> Any:
    """Return a cell of a workbook as it is kept: a date as its text, marked as one."""
    if isinstance(value, datetime.datetime):
        day = value.time() == datetime.time()
        return {DATE: value.date().isoformat() if day else value.isoformat()}
    if isinstance(value, datetime.date | datetime.time):
        return {DATE: value.isoformat()}
    if isinstance(value, datetime.timedelta):
        return {DATE: str(value)}
    return value


def blank(cell: Any) -> bool:
    """Return whether nothing is written in ``cell``."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def shown(cell: Any) -> Any:
    """Return a cell of the caller's own as JSON and CSV show it."""
    if isinstance(cell, dict):
        return cell.get(DATE)
    return cell


def as_json(item: Row) -> bytes:
    """Return an item as JSON; it may hold half of a surrogate pair, which reading it refuses."""
    return json.dumps(item).encode()
