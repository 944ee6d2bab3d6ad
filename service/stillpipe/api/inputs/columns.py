"""Columns of a table of requests: which input a column holds, and what its cells are."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from stillpipe.api import units
from stillpipe.model.declare import (
    Count,
    Flag,
    Group,
    Many,
    Member,
    Money,
    Number,
    Numbers,
    Quantity,
    inputs,
)

Path = tuple[str, ...]

MEMBERS = "has members of its own: name them, or "
UNKNOWN = "unknown column"


@dataclass(frozen=True)
class Column:
    """A column: where its cells go, their ``unit`` if they have one, and what they are.

    ``kind`` is number, quantity, text, flag, money or json.
    """

    path: Path
    unit: str | None
    kind: str


def column(path: Path, unit: str | None, requests: Iterable[type[Any]]) -> Column | str:
    """Return the column of the input at ``path`` of any of ``requests``, or why there is none.

    ``unit`` is what its head has in brackets: a unit, or ``json`` for a cell of JSON text.
    """
    found = next((m for r in requests if (m := _at(path, r)) is not None), None)
    if found is None:
        return UNKNOWN
    if unit == "json":
        return Column(path, unit, "json")
    kind, accepted = _kind(found)
    if accepted and unit not in accepted:
        return "needs a unit in brackets, one of " + ", ".join(accepted)
    if unit is not None and not accepted:
        return "takes no unit"
    if kind == "json":
        of = "is a list: " if isinstance(found.declaration, Numbers) else MEMBERS
        return f"{of}write [json] and give JSON"
    return Column(path, unit, kind)


def paths(requests: Iterable[type[Any]]) -> list[Path]:
    """Return where every input of ``requests`` lies that may have a column, each once."""
    found: dict[Path, None] = {}
    for request in requests:
        for name, member in inputs(request).items():
            found[(name,)] = None
            if isinstance(member.declaration, Group):
                found |= dict.fromkeys((name, *rest) for rest in paths((member.group,)))
    return list(found)


def head(path: Path, requests: Iterable[type[Any]], stated: str = "") -> str:
    """Return a head for the input at ``path``: in the unit ``stated``, or else its first one."""
    found = next((m for r in requests if (m := _at(path, r)) is not None), None)
    kind, accepted = ("", ()) if found is None else _kind(found)
    unit = stated if stated in accepted else next(iter(accepted), "")
    unit = "json" if kind == "json" else unit
    return ".".join(path) + (f" [{unit}]" if unit else "")


def _at(path: Path, request: type[Any]) -> Member | None:
    """Return the input at ``path``, None where there is none."""
    member = inputs(request).get(path[0])
    if member is None or len(path) == 1:
        return member
    return _at(path[1:], member.group) if isinstance(member.declaration, Group) else None


def _kind(member: Member) -> tuple[str, tuple[str, ...]]:
    """Return what the cells of an input are, and the units they may have."""
    match member.declaration:
        case Quantity(kind=kind):
            return "quantity", tuple(units.KINDS[kind].accepted)
        case Group() | Many() | Numbers():
            return "json", ()
        case Number() | Count():
            return "number", ()
        case Flag():
            return "flag", ()
        case Money():
            return "money", ()
    return "text", ()
