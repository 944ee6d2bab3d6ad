"""The effective inputs of a request, each marked where the caller left it out."""

from decimal import Decimal
from enum import Enum
from typing import Any

from stillpipe.api import units
from stillpipe.model.declare import Derived, Group, Many, Member, Quantity, members
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
        if isinstance(member.declaration, Group):
            shown[name] = None if value is None else _group(value, given, system, f"{path}.")
        elif isinstance(member.declaration, Many):
            shown[name] = [
                _group(entry, given, system, f"{path}.{index}.")
                for index, entry in enumerate(value)
            ]
        elif value is not None:
            shown[name] = _leaf(member, value, system, default=path not in given)
    return shown


def _leaf(member: Member, value: Any, system: str, *, default: bool) -> Any:
    declared = member.declaration
    if isinstance(declared, Quantity):
        return units.quantity(value, declared.kind, system) | {"default": default}
    if isinstance(declared, Derived):
        return units.quantity(value, declared.kind, system) if declared.kind else scalar(value)
    return {"value": scalar(value), "default": default}


def scalar(value: Any) -> Any:
    """Return ``value`` as JSON has it: an enum's word, money as text."""
    if isinstance(value, Enum):
        return value.value
    return str(value) if isinstance(value, Decimal) else value
