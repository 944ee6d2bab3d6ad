"""Fluids that may stand in a pipe, and how far their data reach (sources in SOURCES.md)."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, cast

from stillpipe.errors import Fault, OutOfValidityError, UnknownEntryError
from stillpipe.tables import reading

Path = tuple[str | int, ...]
Basis = Literal["none", "salinity", "mass_fraction"]


@dataclass(frozen=True)
class Fluid:
    """A fluid and the limits of its published data.

    Parameters
    ----------
    key, name
        key used in requests; name for people
    basis
        what its concentration means: ``"none"``, ``"salinity"`` (dissolved salt) or
        ``"mass_fraction"`` (glycol); always mass of solute per mass of solution
    concentration_min, concentration_max
        [kg/kg], both 0 for a pure fluid
    concentration_typical
        [kg/kg], None where there is no usual value
    source
        publication
    """

    key: str
    name: str
    basis: Basis
    concentration_min: float
    concentration_max: float
    concentration_typical: float | None
    source: str


def _fluid(row: reading.Row) -> Fluid:
    return Fluid(
        key=row["key"],
        name=row["name"],
        basis=cast(Basis, row["basis"]),
        concentration_min=reading.optional(row, "concentration_min") or 0.0,
        concentration_max=reading.optional(row, "concentration_max") or 0.0,
        concentration_typical=reading.optional(row, "concentration_typical"),
        source=row["source"],
    )


@lru_cache(maxsize=1)
def catalogue() -> tuple[Fluid, ...]:
    """Every fluid."""
    return tuple(_fluid(row) for row in reading.rows("fluids.csv"))


def find(key: str, path: Path = ("fluid",)) -> Fluid:
    """One fluid by its key.

    Raises
    ------
    UnknownEntryError
        naming ``path`` and the keys there are
    """
    for fluid in catalogue():
        if fluid.key == key:
            return fluid
    known = ", ".join(f.key for f in catalogue())
    raise UnknownEntryError(Fault(path, f"There is no fluid {key!r}; there are: {known}."))


def check_concentration(
    fluid: Fluid, concentration: float, path: Path = ("concentration",)
) -> None:
    """Refuse a concentration [kg/kg] outside the fluid's data.

    Raises
    ------
    OutOfValidityError
        naming ``path`` and the range
    """
    if fluid.concentration_min <= concentration <= fluid.concentration_max:
        return
    if fluid.basis == "none":
        detail = f"{fluid.name} has no concentration."
    else:
        low, high = 100.0 * fluid.concentration_min, 100.0 * fluid.concentration_max
        detail = f"{fluid.name} is covered from {low:g} to {high:g} % by mass."
    raise OutOfValidityError(Fault(path, detail))
