"""Request bodies: one JSON value, strictly read."""

import itertools
import json
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any, NamedTuple

from stillpipe.api import limits
from stillpipe.api.problems import RequestError, pointer

HALF = re.compile("[\\ud800-\\udfff]")
"""Half of a surrogate pair: no character, and not to be written in UTF-8."""
SHOWN = 64
"""So many characters of a member's name are told where it is wrong."""


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is not JSON")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(pairs) > limits.MEMBERS:
        raise ValueError(f"an object has more than {limits.MEMBERS} members")
    found = dict(pairs)
    if len(found) != len(pairs):
        ((twice, _),) = Counter(name for name, _ in pairs).most_common(1)
        raise ValueError(f"a member is given twice: {json.dumps(twice[:SHOWN])}")
    return found


def read(body: bytes) -> Any:
    """Return the JSON value in ``body``, which may begin with a byte order mark (RFC 8259, 8.1).

    Raises
    ------
    RequestError
        where it is not JSON in UTF-8, is nested too deeply, names a member twice or says NaN; it
        names every text that holds half of a surrogate pair
    """
    if not body.strip():
        raise RequestError("malformed-json", "the body is empty")
    try:
        tree = json.loads(
            body.decode("utf-8-sig"), object_pairs_hook=_unique, parse_constant=_refuse_constant
        )
    except RecursionError:
        detail = "nested too deeply"
    except UnicodeDecodeError:
        detail = "not UTF-8"
    except ValueError as error:
        detail = str(error)
    else:
        # only an escape can bring in half of a pair
        if b"\\u" in body:
            _refuse_halves(tree)
        return tree
    raise RequestError("malformed-json", detail)


def _refuse_halves(tree: Any) -> None:
    detail = "holds half of a surrogate pair, which is no character"
    found = itertools.islice(_halves(tree), limits.MEMBERS)
    errors = [{"detail": detail, "pointer": pointer(_path(node))} for node in found]
    if errors:
        raise RequestError("malformed-json", f"{len(errors)} text(s) are not Unicode", errors)


class _Node(NamedTuple):
    """A place in a JSON value; the outermost has no parent."""

    parent: "_Node | None"
    key: str | int


def _path(node: _Node | None) -> tuple[str | int, ...]:
    keys: list[str | int] = []
    while node is not None:
        keys.append(node.key)
        node = node.parent
    return tuple(reversed(keys))


def _halves(tree: Any) -> Iterator[_Node | None]:
    """Yield the place of every text and of every member's name that has half a pair in it."""
    rest: list[tuple[_Node | None, Any]] = [(None, tree)]
    while rest:
        node, value = rest.pop()
        if isinstance(value, str) and HALF.search(value):
            yield node
        elif isinstance(value, list):
            rest += [(_Node(node, i), v) for i, v in enumerate(value)]
        elif isinstance(value, dict):
            for name, inner in value.items():
                shown = name.encode("utf-8", "backslashreplace").decode()
                if shown != name:
                    yield _Node(node, shown)
                rest.append((_Node(node, shown), inner))
