"""The OpenAPI description: written by hand with shorthands, served in plain OpenAPI 3.1.

``openapi/openapi.yaml`` says in a line what would take forty; nothing that starts with ``x-`` is
left once it is expanded. What the code knows is added by :mod:`.completed`.
``python -m stillpipe.api.description`` prints the expanded description.

==============  ====================================================================================
shorthand       stands for
==============  ====================================================================================
``x-quantity``  ``{kind, minimum, maximum, unit}``: a quantity of a request, one object for each
                accepted unit with the bounds in that unit, titled by the name it stands under
``x-figure``    ``kind`` or kinds: ``{value, unit}`` of an answer
``x-range``     ``kind`` or kinds: ``{low, likely, high, unit}`` of an answer, with ``percentiles``
                where they are asked for
``x-series``    ``kind`` or kinds: ``{unit, values}`` of an answer
``x-echo``      ``kind`` or kinds: ``{value, unit, default}``, an input as it was used; ``string``,
                ``number`` or ``boolean``: ``{value, default}``
``x-maybe``     the name of a schema: that, or null
``x-members``   an object with exactly these members, all required; ``properties`` beside it are
                further members, not required
``x-include``   names below ``x-fragments``, merged into this object: members are added, lists
                joined, a property given again is replaced
==============  ====================================================================================
"""

import re
import sys
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import orjson
import yaml

import stillpipe
from stillpipe.api import completed, limits, units
from stillpipe.model.declare import Quantity

Tree = dict[str, Any]

FOLDER = Path(stillpipe.__file__).parent / "openapi"
"""The description and its examples: a link in the source tree, files where it is installed."""

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_DUMPER = getattr(yaml, "CSafeDumper", yaml.SafeDumper)
_WORDS = {"/": "Per", "%": "Percent"}


class DescriptionError(RuntimeError):
    """The description or one of its examples cannot be read."""


def expanded(node: Any, fragments: Tree, name: str = "") -> Any:
    """Return ``node`` without shorthands, in objects of its own.

    Parameters
    ----------
    node : Any
        a part of the description as written
    fragments : Tree
        what ``x-include`` may name
    name : str
        what the part is called where it stands

    Raises
    ------
    KeyError
        for a shorthand, a kind of quantity, a unit or a fragment that does not exist
    """
    if isinstance(node, list):
        return [expanded(item, fragments) for item in node]
    if not isinstance(node, dict):
        return node
    found: Tree = {}
    for key, value in node.items():
        if key == "x-include":
            for fragment in value:
                _merge(found, expanded(fragments[fragment], fragments))
        elif key == "x-members":
            _merge(found, _closed(expanded(value, fragments)))
        elif isinstance(key, str) and key.startswith("x-"):
            _merge(found, _SHORTHANDS[key](value, name))
        else:
            _merge(found, {key: expanded(value, fragments, key)})
    return found


def _merge(found: Tree, part: Tree) -> None:
    """Add ``part`` to ``found``: members to objects, items to lists; else the later replaces."""
    for key, value in part.items():
        before = found.get(key)
        if isinstance(before, dict) and isinstance(value, dict):
            found[key] = before | value
        elif isinstance(before, list) and isinstance(value, list):
            found[key] = before + value
        else:
            found[key] = value


def _quantity(said: Tree, name: str) -> Tree:
    """Return a quantity of a request, bounds converted into each accepted unit."""
    kind, unit = units.KINDS[said["kind"]], said["unit"]
    low, high = (kind.to_si(said[end], unit) for end in ("minimum", "maximum"))
    bound = Quantity(kind.name, low, high, says="")
    choices = []
    for accepted in kind.accepted:
        ends = zip(
            ("minimum", "maximum"), map(_number, limits.within(bound, accepted)), strict=True
        )
        # not const, which some client generators ignore: they then take one unit for any other
        members = {
            "value": {"type": "number", **dict(ends)},
            "unit": {"type": "string", "enum": [accepted]},
        }
        choices.append({"title": f"{name}In{_camel(accepted)}", **_closed(members)})
    if len(choices) == 1:
        del choices[0]["title"]
        return choices[0]
    return {"oneOf": choices}


def _figure(kinds: str | list[str], _name: str) -> Tree:
    """Return a quantity of an answer."""
    return _closed({"value": {"type": "number"}, "unit": _answered(kinds)})


def _range(kinds: str | list[str], _name: str) -> Tree:
    """Return a range of an answer."""
    never = "null: never, at that percentile"
    found = _closed(
        {
            "low": {"type": "number"},
            "likely": {"type": "number"},
            "high": {"type": ["number", "null"], "description": never},
            "unit": _answered(kinds),
        }
    )
    value = {"type": ["number", "null"], "description": never}
    entry = _closed({"probability": {"type": "number"}, "value": value})
    asked = {"type": "array", "description": "Where `percentiles` asks for them.", "items": entry}
    found["properties"]["percentiles"] = asked
    return found


def _series(kinds: str | list[str], _name: str) -> Tree:
    """Return a series of an answer."""
    values = {"type": "array", "items": {"type": "number"}}
    return _closed({"unit": _answered(kinds), "values": values})


def _echo(kinds: str | list[str], _name: str) -> Tree:
    """Return an input as it was used."""
    left = {"type": "boolean", "description": "true where the caller left it to the service"}
    if kinds in ("string", "number", "boolean"):
        return _closed({"value": {"type": kinds}, "default": left})
    return _closed({"value": {"type": "number"}, "unit": _answered(kinds), "default": left})


def _maybe(schema: str, _name: str) -> Tree:
    """Return a schema or null."""
    return {"oneOf": [{"$ref": f"#/components/schemas/{schema}"}, {"type": "null"}]}


_SHORTHANDS: dict[str, Callable[[Any, str], Tree]] = {
    "x-quantity": _quantity,
    "x-figure": _figure,
    "x-range": _range,
    "x-series": _series,
    "x-echo": _echo,
    "x-maybe": _maybe,
}


def _closed(members: Tree) -> Tree:
    """Return an object with exactly these members."""
    return {
        "type": "object",
        "properties": members,
        "required": list(members),
        "additionalProperties": False,
    }


def _answered(kinds: str | list[str]) -> Tree:
    """Return the units in which answers give these kinds of quantity."""
    chosen = [units.KINDS[k] for k in ([kinds] if isinstance(kinds, str) else kinds)]
    return {"type": "string", "enum": list(dict.fromkeys(u for k in chosen for u in (k.si, k.us)))}


def _camel(unit: str) -> str:
    """Return a unit as part of a name: ``W/(m2.K)`` as ``WPerM2K``."""
    parts = (_WORDS.get(p, p) for p in re.findall(r"[A-Za-z0-9]+|[/%]", unit))
    return "".join(p[0].upper() + p[1:] for p in parts)


def _number(value: float) -> float | int:
    """Return ``value`` as JSON writes it, whole numbers without a point."""
    return int(value) if value.is_integer() else value


def _with_examples(node: Any) -> Any:
    """Return ``node`` with the contents of example files in the place of their names."""
    if isinstance(node, list):
        return [_with_examples(item) for item in node]
    if not isinstance(node, dict):
        return node
    if "externalValue" in node:
        name = node["externalValue"]
        text = (FOLDER / name).read_text(encoding="utf-8")
        node = node | {"value": orjson.loads(text) if name.endswith(".json") else text}
        del node["externalValue"]
        return node
    return {key: _with_examples(value) for key, value in node.items()}


@lru_cache(maxsize=1)
def tree() -> Tree:
    """Return the description as a tree, expanded, the examples in their places.

    Raises
    ------
    DescriptionError
        where it or an example cannot be read, or a shorthand is wrong; it is tried again at the
        next call
    """
    file = FOLDER / "openapi.yaml"
    try:
        written = yaml.load(file.read_bytes(), _LOADER)  # noqa: S506 - a safe one
        if not isinstance(written, dict) or "paths" not in written:
            raise DescriptionError(f"{file} is no description")
        fragments = written.pop("x-fragments", {})
        found: Tree = completed.complete(_with_examples(expanded(written, fragments)))
        completed.show(found, FOLDER / "replies")
    except (OSError, ValueError, KeyError, yaml.YAMLError) as error:
        raise DescriptionError(f"{file}: {error}") from error
    return found


@lru_cache(maxsize=1)
def text() -> bytes:
    """Return the expanded description as YAML."""
    dumped: bytes = yaml.dump(
        tree(), Dumper=_DUMPER, sort_keys=False, allow_unicode=True, encoding="utf-8"
    )
    return dumped


@lru_cache(maxsize=1)
def json() -> bytes:
    """Return the expanded description as JSON."""
    return orjson.dumps(tree())


if __name__ == "__main__":
    sys.stdout.buffer.write(text())
