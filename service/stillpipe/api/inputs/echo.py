"""The effective inputs of a request, each marked where the caller left it out."""

from datetime import datetime
from decimal import Decimal
from enum import Enum
from typing import Any

from stillpipe.api import units
from stillpipe.model.declare import Declaration, Group, Many, Name, Quantity, members
from stillpipe.model.requests import Request

JSON = dict[str, Any]

HEAD = ("id", "units")
"""Inputs that an answer shows beside the others and not among them."""


def inputs(request: Request, given: frozenset[str]) -> JSON:
    """Return every declared input of a completed ``request``; ``given`` names what was stated.

    A leaf is ``{"value", "default"}``, or ``{"value", "unit", "default"}`` where it has a unit.
    Groups nest, one that is absent is None; lists are lists of such objects. What does not apply
    is left out.
    """
    shown = _group(request, given, request.units, "")
    return {name: value for name, value in shown.items() if name not in HEAD}


def _group(group: Any, given: frozenset[str], system: str, before: str) -> JSON:
    shown: JSON = {}
    for name, member in members(type(group)).items():
        value, path = getattr(group, name), before + name
        declared = member.declaration
        if isinstance(declared, Group):
            shown[name] = None if value is None else _group(value, given, system, f"{path}.")
        elif isinstance(declared, Many):
            shown[name] = [
                _group(entry, given, system, f"{path}.{index}.")
                for index, entry in enumerate(value)
            ]
        elif value not in (None, ()):
            leaf = shown[name] = _leaf(declared, value, system)
            if not isinstance(declared, Name):
                leaf["default"] = path not in given
    return shown


def _leaf(declared: Declaration, value: Any, system: str) -> Any:
    if isinstance(declared, Quantity):
        return units.display(declared.kind, system).quantity(value)
    plain = isinstance(declared, Name)
    return scalar(value) if plain else {"value": scalar(value)}


def scalar(value: Any) -> Any:
    """Return ``value`` as JSON has it: an enum's word, money as text."""
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, tuple):
        return list(value)
    if isinstance(value, datetime):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value
