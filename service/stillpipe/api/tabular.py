"""Tables in and out: a column for each member, quantities with their unit in the column's head.

``line_pressure [bar]`` holds numbers in bar; ``fluid.temperature [degC]`` a member of a member;
``stock [json]`` any member as JSON text. An empty cell leaves the member out. Answers have a column
for every figure, ``closure.likely [s]``, in the order in which they first appear.
"""

import csv
import io
import json
import re
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from stillpipe.api.inputs import columns
from stillpipe.api.inputs.columns import Column
from stillpipe.api.problems import RequestError
from stillpipe.api.registry import REQUESTS

HEAD = re.compile(r"(?P<path>[a-z0-9_]+(?:\.[a-z0-9_]+)*)(?: \[(?P<unit>[^\]]+)\])?")
NUMBER = re.compile(r"-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
LEFT_OUT = ("inputs", "history", "index", "estimate", "status", "result")

FAULT = b"\n!"
"""Begins what stands for a row that cannot be an item; no line and no JSON begins so."""

Row = dict[str, Any]


def put(column: Column, cell: str, into: Row) -> None:
    """Put the text ``cell`` of ``column`` into the request; what cannot be read stays text."""
    value: Any = cell
    if column.kind in ("number", "quantity") and NUMBER.fullmatch(cell):
        value = json.loads(cell)
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
    try:
        return json.loads(cell)
    except (ValueError, RecursionError):
        return cell


def items(body: bytes, most: int) -> Iterator[bytes]:
    """Yield the items of a table as JSON.

    Raises
    ------
    RequestError
        where it is not CSV in UTF-8, has an unknown column, no rows, or more than ``most``
    """
    try:
        rows = list(csv.reader(io.StringIO(body.decode("utf-8-sig"), newline=""), strict=True))
    except UnicodeDecodeError:
        raise RequestError("malformed-csv", "not UTF-8") from None
    except csv.Error as error:
        raise RequestError("malformed-csv", str(error)) from None
    rows = [r for r in rows if r]
    if not 2 <= len(rows) <= most + 1:
        raise RequestError("malformed-csv", f"must have a head and 1 to {most} rows")
    columns = columns_of(rows[0])
    return (_item(columns, row, rows[0]) for row in rows[1:])


def columns_of(head: list[str]) -> list[Column | None]:
    """Return what each column is; None is the column that names the estimate.

    Raises
    ------
    RequestError
        naming every column that cannot be used
    """
    found: list[Column | None] = []
    errors = []
    for name in head:
        column, fault = (None, "") if name == "estimate" else _column(name)
        if fault:
            errors.append({"detail": fault, "parameter": name})
        found.append(column)
    errors += [
        {"detail": "the column is given twice", "parameter": name}
        for name in sorted({n for n in head if head.count(n) > 1})
    ]
    paths = [c.path for c in found if c]
    errors += [
        {"detail": "another column holds the same member", "parameter": ".".join(p)}
        for p in sorted(set(paths))
        if any(q != p and q[: len(p)] == p for q in paths) or paths.count(p) > 1
    ]
    if "estimate" not in head:
        errors.append({"detail": "required", "parameter": "estimate"})
    if errors:
        raise RequestError("malformed-csv", f"{len(errors)} column(s) cannot be used", errors)
    return found


def _column(name: str) -> tuple[Column | None, str]:
    """Return the column with the head ``name``, or why there is none."""
    match = HEAD.fullmatch(name)
    if not match:
        return None, "must be a member, with its unit in brackets where it has one"
    found = columns.column(tuple(match["path"].split(".")), match["unit"], REQUESTS)
    return (None, found) if isinstance(found, str) else (found, "")


def _item(columns: list[Column | None], row: list[str], head: list[str]) -> bytes:
    if len(row) != len(columns):
        return FAULT + f"the row has {len(row)} cells, the head {len(columns)}".encode()
    cells = [cell or None for cell in row]
    return json.dumps(item_of(head, columns, cells, put)).encode()


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


def table(replies: Iterable[Row]) -> bytes:
    """Return replies of a batch as CSV."""
    rows = [flat(r) for r in replies]
    head = list(dict.fromkeys(name for row in rows for name in row))
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, head, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


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
        if (before == "" and name in (*LEFT_OUT, "id")) or name == "unit" or value is None:
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
