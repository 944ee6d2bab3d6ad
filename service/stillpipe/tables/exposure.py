"""Workplace limits for carbon dioxide and oxygen in air (sources in SOURCES.md)."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, cast

from stillpipe.errors import Fault, UnknownEntryError
from stillpipe.tables import reading

Path = tuple[str | int, ...]
Bound = Literal["max", "min"]


@dataclass(frozen=True)
class ExposureLimit:
    """One published limit.

    Parameters
    ----------
    regime
        who publishes it, e.g. ``"OSHA"``
    substance
        ``"carbon_dioxide"`` or ``"oxygen"``
    quantity
        ``"TWA"``, ``"STEL"``, ``"IDLH"`` or ``"minimum"``
    bound
        ``"max"`` if the air must stay below, ``"min"`` if it must stay above
    mole_fraction
        share of the air by volume [mol/mol]
    averaging_time
        time over which it is averaged [s]; None for a limit that holds at every moment
    source
        publication and edition
    """

    regime: str
    substance: str
    quantity: str
    bound: Bound
    mole_fraction: float
    averaging_time: float | None
    source: str


def _limit(row: reading.Row) -> ExposureLimit:
    return ExposureLimit(
        regime=row["regime"],
        substance=row["substance"],
        quantity=row["quantity"],
        bound=cast(Bound, row["bound"]),
        mole_fraction=reading.required(row, "value"),
        averaging_time=reading.optional(row, "averaging_time"),
        source=row["source"],
    )


@lru_cache(maxsize=1)
def catalogue() -> tuple[ExposureLimit, ...]:
    """Every limit."""
    return tuple(_limit(row) for row in reading.rows("exposure_limits.csv"))


def find(regime: str, quantity: str, path: Path = ("limit",)) -> ExposureLimit:
    """One limit by regime and quantity.

    Raises
    ------
    UnknownEntryError
        naming ``path`` and the limits there are
    """
    for limit in catalogue():
        if (limit.regime, limit.quantity) == (regime, quantity):
            return limit
    known = ", ".join(f"{x.regime} {x.quantity}" for x in catalogue())
    detail = f"There is no limit {regime!r} {quantity!r}; there are: {known}."
    raise UnknownEntryError(Fault(path, detail))
