"""Which members of a reply are asked for: ``fields`` to ask for less, ``include`` for more.

What a name may be is read from the description, so that every member that it has can be asked for.
A verdict, its reasons and the cautions can never be left out, nor the unit of a figure.
"""

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any, NamedTuple

from stillpipe.api import completed, description
from stillpipe.api.problems import RequestError
from stillpipe.api.registry import ENDPOINTS

JSON = dict[str, Any]
Branches = dict[str, "Branches"]
"""Names below names; without any the whole member is meant."""

KEPT = ("id", "model_version", "units", "verdict", "reasons", "cautions")
"""Members of every reply, whatever is asked for."""


class Selection(NamedTuple):
    """What is asked for: dotted names in order, none of them for all that is not on request."""

    fields: tuple[str, ...] = ()
    include: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The same for equal selections alone; empty for the usual reply."""
        if not (self.fields or self.include):
            return ""
        return f";fields={','.join(self.fields)};include={','.join(self.include)}"


USUAL = Selection()
"""All but what is made on request."""


def read(query: Mapping[str, str], names: Iterable[str] = ENDPOINTS) -> Selection:
    """Return what a query asks of the estimates ``names``; a name must be known to one of them.

    Raises
    ------
    RequestError
        ``invalid-parameter``, naming every name that no reply has
    """
    names, errors, asked = tuple(names), [], {}
    known = {
        "fields": dict.fromkeys(field for name in names for field in fields(name)),
        "include": dict.fromkeys(field for name in names for field in ENDPOINTS[name].on_request),
    }
    for parameter, choices in known.items():
        listed = query[parameter].split(",") if parameter in query else []
        if len(listed) > completed.MOST:
            detail = f"names at most {completed.MOST} members"
            errors.append({"detail": detail, "parameter": parameter})
        errors += [
            {"detail": _unknown(field, choices), "parameter": parameter}
            for field in dict.fromkeys(listed[: completed.MOST])
            if field not in choices
        ]
        asked[parameter] = tuple(sorted(set(listed)))
    if errors:
        raise RequestError("invalid-parameter", f"{len(errors)} value(s) cannot be used", errors)
    return Selection(**asked)


@lru_cache(maxsize=16)
def fields(name: str) -> tuple[str, ...]:
    """Return the members of replies of the estimate ``name``, and those of its members."""
    tree = description.tree()
    reply = tree["paths"][f"/v1/{name}"]["post"]["responses"]["200"]["content"]["application/json"]
    return tuple(completed.names(reply["schema"], tree["components"]["schemas"]))


def _unknown(field: str, known: Iterable[str]) -> str:
    """Return what is wrong with a name, and which names there are at its place."""
    above = field.rpartition(".")[0]
    before = f"{above}." if above else ""
    near = [k for k in known if k.startswith(before) and "." not in k.removeprefix(before)]
    if not near:
        near = [k for k in known if "." not in k]
    return f"there is no member {field[:64]!r}; there are {', '.join(near)}"


def chosen(reply: JSON, asked: Selection, on_request: Iterable[str]) -> JSON:
    """Return the members of ``reply`` that are asked for; ``on_request`` are others' names."""
    if asked.fields:
        branches = _branches(asked.fields + asked.include)
        return {
            name: value if name in KEPT else _part(value, branches[name])
            for name, value in reply.items()
            if name in KEPT or name in branches
        }
    left_out = set(on_request).difference(asked.include)
    return {name: value for name, value in reply.items() if name not in left_out}


@lru_cache(maxsize=256)
def _branches(fields: tuple[str, ...]) -> Branches:
    """Return dotted names as names below names."""
    whole = set(fields)
    found: Branches = {}
    for field in fields:
        parts = field.split(".")
        if any(".".join(parts[:n]) in whole for n in range(1, len(parts))):
            continue
        at = found
        for part in parts:
            at = at.setdefault(part, {})
    return found


def _part(value: Any, branches: Branches) -> Any:
    """Return what of ``value`` is named, of each of its entries where it is a list."""
    if not branches:
        return value
    if isinstance(value, list):
        return [_part(entry, branches) for entry in value]
    if not isinstance(value, dict):
        return value
    return {
        name: _part(inner, branches[name]) if name in branches else inner
        for name, inner in value.items()
        if name in branches or name == "unit"
    }
