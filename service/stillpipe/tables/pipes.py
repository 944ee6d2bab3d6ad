"""Pipe and tube dimensions by standard, size and schedule (sources in SOURCES.md)."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from stillpipe.errors import Fault, UnknownEntryError
from stillpipe.tables import reading, spellings

FILES = (
    "asme_b36_10m.csv",
    "asme_b36_19m.csv",
    "en_10255.csv",
    "astm_b88.csv",
    "en_1057.csv",
    "astm_b43.csv",
    "astm_d1785.csv",
    "astm_f441.csv",
    "astm_d2846.csv",
    "astm_f876.csv",
    "awwa_c151.csv",
    "awwa_c106.csv",
)

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Pipe:
    """One row of a pipe standard.

    Parameters
    ----------
    id
        stable and safe in a URL path, e.g. ``"astm-b88/1-2/L"``
    standard
        e.g. ``"ASTM B88"``
    size
        designation as in the standard, e.g. ``"1-1/4"``; for EN 1057 the outside diameter in mm
    schedule
        schedule, type or class as in the standard; for EN 1057 the wall in mm
    material
        key of the material table
    outside_diameter
        nominal outside diameter [m]
    wall
        wall [m]: nominal for metal, minimum for plastic
    rating
        pressure rating in water at room temperature [Pa], None where the standard gives none;
        for copper the annealed (brazed) value at 38 °C, for plastic the value at 23 °C
    """

    id: str
    standard: str
    size: str
    schedule: str
    material: str
    outside_diameter: float
    wall: float
    rating: float | None

    @property
    def inside_diameter(self) -> float:
        """Bore [m]: outside diameter less two walls."""
        return self.outside_diameter - 2.0 * self.wall


def _url_part(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9.]+", "-", text)


def _pipe(row: reading.Row) -> Pipe:
    standard, size, schedule = row["standard"], row["size"], row["schedule"]
    return Pipe(
        id=f"{_url_part(standard).lower()}/{_url_part(size)}/{_url_part(schedule)}",
        standard=standard,
        size=size,
        schedule=schedule,
        material=row["material"],
        outside_diameter=reading.required(row, "outside_diameter"),
        wall=reading.required(row, "wall"),
        rating=reading.optional(row, "rating"),
    )


@lru_cache(maxsize=1)
def catalogue() -> tuple[Pipe, ...]:
    """Every pipe, by standard and then by size."""
    return tuple(_pipe(row) for name in FILES for row in reading.rows(name))


@lru_cache(maxsize=1)
def _by_designation() -> dict[tuple[str, str, str], Pipe]:
    return {(p.standard, p.size, p.schedule): p for p in catalogue()}


@lru_cache(maxsize=1)
def _by_id() -> dict[str, Pipe]:
    return {p.id.casefold(): p for p in catalogue()}


def _listed(values: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(values))


def standards() -> tuple[str, ...]:
    """Every standard, in catalogue order."""
    return tuple(dict.fromkeys(p.standard for p in catalogue()))


def sizes(standard: str) -> tuple[str, ...]:
    """Sizes of one standard, smallest first; empty for an unknown standard."""
    return tuple(dict.fromkeys(p.size for p in catalogue() if p.standard == standard))


def schedules(standard: str, size: str | None = None) -> tuple[str, ...]:
    """Schedules of one standard, or of one size in it; empty where there is none."""
    return tuple(
        dict.fromkeys(
            p.schedule for p in catalogue() if p.standard == standard and size in (None, p.size)
        )
    )


def spelled(standard: str, size: str, schedule: str) -> tuple[str, str, str]:
    """Return a designation as the catalogue writes it; what no table has, as it is."""
    standard = spellings.standards(standards()).get(spellings.key(standard), standard)
    size = spellings.sizes(standard, sizes(standard)).get(spellings.key(size), size)
    known = schedules(standard, size if size in sizes(standard) else None)
    schedule = spellings.schedules(standard, known).get(spellings.key(schedule), schedule)
    return standard, size, schedule


def _faults(standard: str, size: str, schedule: str, path: Path) -> list[Fault]:
    known_sizes = sizes(standard)
    if not known_sizes:
        return [
            Fault(
                (*path, "standard"),
                f"There is no standard {standard!r}; there are: {_listed(standards())}.",
            )
        ]
    faults = []
    if size not in known_sizes:
        faults.append(
            Fault(
                (*path, "size"),
                f"{standard} has no size {size!r}; it has: {_listed(known_sizes)}.",
            )
        )
    known_schedules = schedules(standard, size if size in known_sizes else None)
    if schedule not in known_schedules:
        where = f"{standard} size {size}" if size in known_sizes else standard
        faults.append(
            Fault(
                (*path, "schedule"),
                f"{where} has no schedule {schedule!r}; it has: {_listed(known_schedules)}.",
            )
        )
    return faults


def find(standard: str, size: str, schedule: str, path: Path = ("pipe",)) -> Pipe:
    """One pipe by its designation, as in the catalogue or as :mod:`spellings` has it.

    Parameters
    ----------
    standard, size, schedule
        e.g. ``"ASTM B88"``, ``"1/2"``, ``"L"``
    path
        where in the request the pipe stands, for the faults

    Raises
    ------
    UnknownEntryError
        with one fault per unknown member; each names what there is
    """
    pipe = _by_designation().get((standard, size, schedule))
    if pipe is None:
        standard, size, schedule = spelled(standard, size, schedule)
        pipe = _by_designation().get((standard, size, schedule))
    if pipe is None:
        raise UnknownEntryError(*_faults(standard, size, schedule, path))
    return pipe


def by_id(id: str, path: Path = ("id",)) -> Pipe:  # noqa: A002
    """One pipe by its stable id, in letters of either case.

    Raises
    ------
    UnknownEntryError
        if there is no such id
    """
    pipe = _by_id().get(id.casefold())
    if pipe is None:
        detail = f"There is no pipe {id!r}; an id reads like {catalogue()[0].id!r}."
        raise UnknownEntryError(Fault(path, detail))
    return pipe
