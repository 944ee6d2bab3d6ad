"""The head of a table: which input each column holds, and which columns are the caller's own.

``line_pressure [bar]`` holds numbers in bar; ``fluid.temperature [degC]`` a member of a member;
``stock [json]`` any member as JSON text. A head that is no input and near none is the caller's own,
and so is every head that begins with ``#``; one that is near an input is taken for a slip.
"""

import difflib
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from enum import Enum
from functools import lru_cache
from typing import Any

from xlsxwriter.utility import xl_col_to_name

from stillpipe.api import limits
from stillpipe.api.inputs import columns
from stillpipe.api.inputs.columns import Column, Path
from stillpipe.api.problems import RequestError
from stillpipe.api.registry import REQUESTS

CSV = "malformed-csv"
"""The problem of a table that cannot be read, where it is CSV."""
MARK = "#"
"""Begins a head that is the caller's own whatever it is near to."""

_HEAD = re.compile(r"(?P<path>[a-z0-9_]+(?:\.[a-z0-9_]+)*)(?: \[(?P<unit>[^\]]+)\])?")
_UNIT = re.compile(r"\s*[\[(]([^\])]*)[\])]\s*$")
_APART = re.compile(r"[\s_.\-/]+")
_NEAR = 0.8
"""Least likeness of two names, one of which is a slip for the other (0 to 1)."""
_LONGEST = 64
"""Longest head that is compared; no input has one half as long [characters]."""


class Special(Enum):
    """A column that holds no input."""

    ESTIMATE = "names the estimate"
    OWN = "the caller's own"
    BLANK = "has no head"


Heading = Column | Special


def letter(index: int) -> str:
    """Return how spreadsheets call the column at ``index`` from 0: A, B ... AA."""
    return str(xl_col_to_name(index))


def trimmed(cells: Sequence[Any]) -> list[str]:
    """Return the head's cells as text without padding, and without blank ones at its end."""
    head = ["" if c is None else str(c).strip() for c in cells]
    while head and not head[-1]:
        head.pop()
    return head


def read(
    head: list[str],
    requests: Iterable[type[Any]] = REQUESTS,
    naming: str = "estimate",
    slug: str = CSV,
) -> list[Heading]:
    """Return what each column is, an input of any of ``requests`` or something special.

    The column ``naming`` names the estimate; there is none where that is empty.

    Raises
    ------
    RequestError
        of type ``slug``, naming every column that cannot be used
    """
    requests = tuple(requests)
    if len(head) > limits.BATCH_COLUMNS:
        raise RequestError(slug, f"must have at most {limits.BATCH_COLUMNS} columns")
    found: list[Heading] = []
    errors = []
    for index, name in enumerate(head):
        heading = _heading(name, requests, naming)
        if isinstance(heading, str):
            errors.append({"detail": heading, "parameter": name, "column": letter(index)})
            heading = Special.BLANK
        found.append(heading)
    errors += _twice(head, found)
    if naming and naming not in head:
        errors.append({"detail": "required", "parameter": naming})
    if errors:
        raise RequestError(slug, f"{len(errors)} column(s) cannot be used", errors)
    if all(h in (Special.OWN, Special.BLANK) for h in found):
        raise RequestError(slug, "has no column that is an input; is its first row the head?")
    return found


def _twice(head: list[str], found: list[Heading]) -> list[dict[str, str]]:
    """Return the errors of heads and of members that stand more than once."""
    names = sorted(Counter(filter(None, head)).items())
    paths = _shared(Counter(c.path for c in found if isinstance(c, Column)))
    return [
        {"detail": "the column is given twice", "parameter": name}
        for name, times in names
        if times > 1
    ] + [
        {"detail": "another column holds the same member", "parameter": ".".join(path)}
        for path in paths
    ]


def recognised(head: list[str], requests: Iterable[type[Any]], naming: str) -> int:
    """Return how many of the columns are inputs, or name the estimate."""
    requests = tuple(requests)
    found = (_heading(name, requests, naming) for name in head[: limits.BATCH_COLUMNS] if name)
    return sum(isinstance(h, Column) or h is Special.ESTIMATE for h in found)


def _shared(paths: Counter[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Return the paths that stand twice, or hold the member that another path leads into."""
    over = {path[:i] for path in paths for i in range(1, len(path))}
    return sorted(path for path, times in paths.items() if times > 1 or path in over)


def _heading(name: str, requests: tuple[type[Any], ...], naming: str) -> Heading | str:
    """Return what the column with the head ``name`` is, or why it cannot be used."""
    if not name or name == naming:
        return Special.ESTIMATE if name else Special.BLANK
    if name.startswith(MARK):
        return Special.OWN
    match = _HEAD.fullmatch(name)
    if match:
        found = columns.column(tuple(match["path"].split(".")), match["unit"], requests)
        if isinstance(found, Column) or found != columns.UNKNOWN:
            return found
    near = _near(name, requests, naming)
    if not near:
        return Special.OWN
    return (
        f"is no input, but near {' and '.join(near)}: write that, or begin the head with {MARK} "
        "where the column is your own"
    )


def _near(name: str, requests: tuple[type[Any], ...], naming: str) -> list[str]:
    """Return the inputs that ``name`` is probably meant to be."""
    if len(name) > _LONGEST:
        return []
    unit = _UNIT.search(name)
    asked = _APART.sub("_", _UNIT.sub("", name).strip().casefold()).strip("_")
    known = _known(requests)
    words = asked.split("_")
    found = [
        flat
        for flat in known
        if flat == asked
        or (flat.split("_")[-1] == words[-1] and set(words) <= set(flat.split("_")))
    ]
    if not found:
        names = [*known, naming] if naming else list(known)
        found = difflib.get_close_matches(asked, names, 2, _NEAR)
    if not found and "." in name and (group := name.partition(".")[0]) in known:
        return [group]
    stated = unit[1].strip() if unit else ""
    return [columns.head(known[f], requests, stated) if f in known else f for f in found[:3]]


@lru_cache(maxsize=64)
def _known(requests: tuple[type[Any], ...]) -> dict[str, Path]:
    """Return where every input lies by its words, joined with underscores."""
    return {"_".join(path): path for path in columns.paths(requests)}
