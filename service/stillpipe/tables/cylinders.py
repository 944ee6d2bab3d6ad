"""Generic carbon dioxide cylinders (sources in SOURCES.md)."""

from dataclasses import dataclass
from functools import lru_cache

from stillpipe.errors import Fault, UnknownEntryError
from stillpipe.tables import reading

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Cylinder:
    """A full cylinder of liquid carbon dioxide.

    Parameters
    ----------
    id
        ours, after the net mass, e.g. ``"co2-22.7kg"``
    net_mass
        carbon dioxide when full [kg]
    water_volume
        inside volume [m3]
    fill_ratio
        greatest mass of carbon dioxide per inside volume [kg/m3]
    dip_tube
        whether it delivers liquid while standing upright
    """

    id: str
    net_mass: float
    water_volume: float
    fill_ratio: float
    dip_tube: bool


def _cylinder(row: reading.Row) -> Cylinder:
    return Cylinder(
        id=row["id"],
        net_mass=reading.required(row, "net_mass"),
        water_volume=reading.required(row, "water_volume"),
        fill_ratio=reading.required(row, "fill_ratio"),
        dip_tube=row["dip_tube"] == "yes",
    )


@lru_cache(maxsize=1)
def catalogue() -> tuple[Cylinder, ...]:
    """Every cylinder, lightest first."""
    return tuple(_cylinder(row) for row in reading.rows("cylinders.csv"))


def find(id: str, path: Path = ("cylinder",)) -> Cylinder:  # noqa: A002
    """One cylinder by its id.

    Raises
    ------
    UnknownEntryError
        naming ``path`` and the ids there are
    """
    for cylinder in catalogue():
        if cylinder.id == id:
            return cylinder
    known = ", ".join(c.id for c in catalogue())
    raise UnknownEntryError(Fault(path, f"There is no cylinder {id!r}; there are: {known}."))
