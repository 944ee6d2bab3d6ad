"""How people write standards, sizes and schedules, each in closed tables made from the catalogue.

Nothing is parsed: what is written is looked up, letters of either case and blanks as one alike.
Designations of nominal size (DN) as in ISO 6708 and ASME B36.10M, for the standards whose sizes
are nominal pipe sizes in inches.
"""

from collections.abc import Iterable, Mapping
from functools import cache

FRACTIONS = {"1/8": "⅛", "1/4": "¼", "3/8": "⅜", "1/2": "½", "5/8": "⅝", "3/4": "¾"}
"""Fractions of an inch as one character."""
NOMINAL = {
    "1/8": 6, "1/4": 8, "3/8": 10, "1/2": 15, "3/4": 20, "1": 25, "1-1/4": 32, "1-1/2": 40,
    "2": 50, "2-1/2": 65, "3": 80, "3-1/2": 90, "4": 100,
}  # fmt: skip
"""Nominal pipe size and its DN: ISO 6708:1995, ASME B36.10M."""
BY_NOMINAL = (
    "ASME B36.10M", "ASME B36.19M", "EN 10255", "ASTM B43", "ASTM D1785", "ASTM F441",
    "AWWA C151", "AWWA C106",
)  # fmt: skip
"""Standards whose sizes are nominal pipe sizes."""
BY_DIAMETER = "EN 1057"
"""The standard whose sizes and schedules are millimetres."""
INCHES = ("", '"', "″", " in", "in", " in.", " inch")
MILLIMETRES = ("", " mm", "mm")
NUMBERED = ("", "sch ", "sch", "sch. ", "schedule ")
LETTERED = ("", "type ")


def key(text: str) -> str:
    """Return ``text`` as it is looked up: small letters, blanks as one."""
    return " ".join(text.casefold().split())


def _table(spelled: Mapping[str, Iterable[str]]) -> dict[str, str]:
    """Return what each spelling means; the designation itself stands before any other.

    ``spelled`` are the spellings of each designation. One that would mean two is none.
    """
    found: dict[str, set[str]] = {}
    for meant, spellings in spelled.items():
        for spelling in spellings:
            found.setdefault(key(spelling), set()).add(meant)
    table = {k: next(iter(meant)) for k, meant in found.items() if len(meant) == 1}
    return table | {key(meant): meant for meant in spelled}


@cache
def standards(known: tuple[str, ...]) -> dict[str, str]:
    """Return what each spelling of the ``known`` standards means: small letters, or with a dash."""
    return _table({s: (s, s.replace(" ", "-")) for s in known})


@cache
def sizes(standard: str, known: tuple[str, ...]) -> dict[str, str]:
    """Return what each spelling of the ``known`` sizes of a ``standard`` means."""
    if standard == BY_DIAMETER:
        return _table({size: [size + unit for unit in MILLIMETRES] for size in known})
    return _table({size: _size(size, standard) for size in known})


def _size(size: str, standard: str) -> list[str]:
    """Return how a size in inches is written."""
    whole, _, part = size.rpartition("-")
    forms = [size]
    if whole:
        forms.append(f"{whole} {part}")
    if part in FRACTIONS:
        forms += [f"{whole}{FRACTIONS[part]}", f"{whole} {FRACTIONS[part]}"]
    found = [form + unit for form in forms for unit in INCHES]
    if standard in BY_NOMINAL and size in NOMINAL:
        found += [f"DN {NOMINAL[size]}", f"DN{NOMINAL[size]}"]
    return found


@cache
def schedules(standard: str, known: tuple[str, ...]) -> dict[str, str]:
    """Return what each spelling of the ``known`` schedules of a ``standard`` means."""
    return _table({schedule: _schedule(schedule, standard) for schedule in known})


def _schedule(schedule: str, standard: str) -> list[str]:
    """Return how a schedule, a type, a class or a wall is written."""
    if standard == BY_DIAMETER:
        short = schedule.removesuffix(".0")
        return [form + unit for form in (schedule, short) for unit in MILLIMETRES]
    if schedule[0].isdigit():
        return [before + schedule for before in NUMBERED]
    joined = (schedule, schedule.replace(" ", ""), schedule.replace(" ", "-"))
    return [before + form for before in LETTERED for form in joined]
