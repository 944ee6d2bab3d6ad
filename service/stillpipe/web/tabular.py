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

from marshmallow import Schema, fields

from stillpipe.web import answers
from stillpipe.web.fields import Quantity, Text
from stillpipe.web.problems import RequestError

HEAD = re.compile(r"(?P<path>[a-z0-9_]+(?:\.[a-z0-9_]+)*)(?: \[(?P<unit>[^\]]+)\])?")
NUMBER = re.compile(r"-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
LEFT_OUT = ("inputs", "history", "index", "estimate", "status", "result")

FAULT = b"\n!"
"""Begins what stands for a row that cannot be an item; no line and no JSON begins so."""

Row = dict[str, Any]


class Column:
    """A column of a question: where its cells go and what they are."""

    def __init__(self, path: tuple[str, ...], unit: str | None, kind: str) -> None:
        self.path, self.unit, self.kind = path, unit, kind

    def put(self, cell: str, into: Row) -> None:
        """Put the text ``cell`` into the request ``into``; what cannot be read stays text."""
        value: Any = cell
        if self.kind in ("number", "quantity") and NUMBER.fullmatch(cell):
            value = json.loads(cell)
        elif self.kind == "flag" and cell in ("true", "false"):
            value = cell == "true"
        self.put_typed(value, into)

    def put_typed(self, value: Any, into: Row) -> None:
        """Put ``value``, whose type is known, into the request ``into``."""
        if self.kind == "json" and isinstance(value, str):
            value = _json(value)
        if self.kind == "quantity":
            value = {"value": value, "unit": self.unit}
        for part in self.path[:-1]:
            into = into.setdefault(part, {})
        into[self.path[-1]] = value


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
    path, unit = tuple(match["path"].split(".")), match["unit"]
    known = [f for f in (_field(e.schema, path) for e in answers.ESTIMATES.values()) if f]
    if not known:
        return None, "unknown column"
    kind, units = _kind(known[0])
    if unit == "json":
        kind = "json"
    elif units and unit not in units:
        return None, "needs a unit in brackets, one of " + ", ".join(units)
    elif unit is not None and not units:
        return None, "takes no unit"
    elif kind == "json":
        return None, "has members of its own: name them, or write [json] and give JSON"
    return Column(path, unit, kind), ""


def _kind(field: fields.Field[Any]) -> tuple[str, tuple[str, ...]]:
    """Return what the cells of ``field`` are, and the units they may have."""
    if isinstance(field, Quantity):
        return "quantity", tuple(field.kind.accepted)
    if isinstance(field, fields.Nested | fields.List):
        return "json", ()
    if isinstance(field, Text):
        return "text", ()
    return ("flag" if "Flag" in type(field).__name__ else "number"), ()


def _field(schema: Schema, path: tuple[str, ...]) -> fields.Field[Any] | None:
    """Return the field at ``path`` of ``schema``, None where there is none."""
    field = schema.fields.get(path[0])
    if field is None or len(path) == 1:
        return field
    if isinstance(field, fields.Nested) and not field.many:
        inner = field.schema
        return _field(inner, path[1:]) if isinstance(inner, Schema) else None
    return None


def _item(columns: list[Column | None], row: list[str], head: list[str]) -> bytes:
    if len(row) != len(columns):
        return FAULT + f"the row has {len(row)} cells, the head {len(columns)}".encode()
    cells = [cell or None for cell in row]
    return json.dumps(item_of(head, columns, cells, Column.put)).encode()


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
