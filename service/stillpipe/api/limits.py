"""What the service accepts: sizes of bodies, and the range of every input in every unit."""

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from stillpipe.api import units
from stillpipe.model.declare import (
    Choice,
    Count,
    Group,
    Input,
    Many,
    Number,
    Numbers,
    Quantity,
    Text,
    inputs,
)

BODY_BYTES = 65536
"""Largest request body [bytes]."""
BATCH_BYTES = 33554432
"""Largest body of a batch [bytes]."""
BATCH_ITEMS = 10000
"""Most items of a batch as a JSON array or CSV."""
BATCH_LINES = 100000
"""Most lines of a batch as lines of JSON."""
TABLE_BYTES = 201326592
"""Longest answer to a batch as CSV, as it lies on disk [bytes]: 10,000 rows of 19 KiB."""
BATCH_COLUMNS = 256
"""Most columns of a batch as CSV."""
ROW_LENGTH = 131072
"""Longest row of a batch as CSV [characters]."""
WORKBOOK_BYTES = 67108864
"""Largest workbook once unpacked, by what it says itself before it is [bytes]."""
WORKBOOK_PARTS = 1000
"""Most files in a workbook."""
WORKBOOK_CELLS = 500000
"""Most cells of a workbook, and most texts that its cells share."""
WORKBOOK_TEXT = 32767
"""Longest text in one cell of a workbook [UTF-16 units]; what Excel takes."""
MEMBERS = 1000
"""Most members of one JSON object."""
ID_CHARACTERS = 128
"""Longest name that a caller may give a request."""

Published = dict[str, dict[str, Any]]


def within(declared: Quantity, unit: str) -> tuple[float, float]:
    """Return the accepted range in ``unit``, ends rounded inwards to six significant digits."""
    kind = units.KINDS[declared.kind]
    low, high = kind.from_si(declared.low, unit), kind.from_si(declared.high, unit)
    return _inward(low, up=True), _inward(high, up=False)


def _inward(value: float, up: bool) -> float:
    near = units.rounded(value, 6)
    if abs(near - value) <= 1e-9 * max(abs(value), 1e-6):
        return near
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 5)
    return units.rounded((math.ceil if up else math.floor)(value / step) * step, 6)


def named(requests: Iterable[type[Any]]) -> Iterator[tuple[str, Input]]:
    """Yield the published name and the declaration of every input of ``requests``.

    Inputs that may stand in several places have one name, so a name comes more than once.
    """
    for request in requests:
        for member in inputs(request).values():
            declared = member.declaration
            if isinstance(declared, Input):
                yield declared.limit or member.name, declared
            if isinstance(declared, Group | Many):
                yield from named(member.groups)


def published(requests: Iterable[type[Any]]) -> Published:
    """Return the range, the length or the choices of every input of ``requests`` by its name.

    The kinds that tell alternatives apart are one list.
    """
    found: Published = {k: {} for k in ("quantities", "numbers", "lists", "texts", "choices")}
    for name, declared in named(requests):
        match declared:
            case Quantity():
                accepted = units.KINDS[declared.kind].accepted
                found["quantities"][name] = {u: _range(within(declared, u)) for u in accepted}
            case Number() | Count():
                found["numbers"][name] = _range((declared.low, declared.high))
            case Numbers():
                found["numbers"][name] = _range((declared.low, declared.high))
                found["lists"][name] = _range((1, declared.most))
            case Many():
                found["lists"][name] = _range((1, declared.most))
            case Text():
                found["texts"][name] = _range((1, declared.longest))
            case Choice():
                known = found["choices"].setdefault(name, [])
                known += [str(c) for c in declared.choices if str(c) not in known]
    return found


def _range(ends: tuple[float, float]) -> Mapping[str, float]:
    return {"minimum": ends[0], "maximum": ends[1]}
