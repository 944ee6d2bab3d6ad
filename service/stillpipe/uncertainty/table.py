"""The uncertain inputs: how each is distributed, in units of the standard normal deviate.

Every one is held against its likely value: a factor, or what is added to it. Where the caller's
value differs from the default it counts as stated, and the table's spread of stated values holds.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from stillpipe.lazy import cached_property
from stillpipe.tables import reading

Array = NDArray[np.float64]

Z95 = 1.6448536269514722
"""Standard normal deviate of 95 % [-]."""
MIDDLE = 0.9
"""Share of a uniform distribution between its 5th and 95th percentile [-]."""


class Distribution(StrEnum):
    """How an uncertain input is distributed."""

    LOGNORMAL = "lognormal"
    NORMAL = "normal"
    UNIFORM = "uniform"


def probability(z: Array | float) -> Array:
    """Return how likely a standard normal deviate is below ``z`` [-]."""
    return np.asarray(ndtr(z))


@dataclass(frozen=True, kw_only=True)
class UncertainInput:
    """One uncertain input, ``of`` one material or all (empty).

    ``low``, ``likely`` and ``high`` are its 5th, 50th and 95th percentile [as the source says].
    """

    name: str
    of: str
    distribution: Distribution
    low: float
    likely: float
    high: float
    source: str

    @cached_property
    def _sigma(self) -> float:
        """Standard deviation, of the logarithm where that is normal [as the source says]."""
        logs = self.distribution is Distribution.LOGNORMAL
        spread = math.log(self.high / self.low) if logs else self.high - self.low
        return spread / (2.0 * Z95)

    def value(self, z: float) -> float:
        """Return its value at one standard normal deviate ``z`` [-]."""
        return float(self._at(z, math.exp))

    def at(self, z: Array | float) -> Array:
        """Return its value where the standard normal deviate is ``z`` [-]."""
        return np.asarray(self._at(np.asarray(z, dtype=float), np.exp))

    def _at(self, z: Array | float, exp: Callable[..., Array | float]) -> Array | float:
        """Return its value at ``z`` [-], by an exponential for numbers or for arrays."""
        if self.distribution is Distribution.LOGNORMAL:
            return self.likely * exp(self._sigma * z)
        if self.distribution is Distribution.NORMAL:
            return self.likely + self._sigma * z
        wide = (self.high - self.low) / MIDDLE
        return self.low - 0.5 * (1.0 - MIDDLE) * wide + wide * probability(z)


FILE = "uncertain_inputs.csv"


@lru_cache(maxsize=1)
def _rows() -> tuple[tuple[UncertainInput, UncertainInput], ...]:
    """Return every row: as nobody stated it, and as stated."""
    return tuple((_read(row, ""), _read(row, "stated_")) for row in reading.rows(FILE))


def _read(row: reading.Row, stated: str) -> UncertainInput:
    """Return a row with its own or its ``stated`` spread; the own one where there is no other."""
    own = stated if row[f"{stated}p05"] else ""
    return UncertainInput(
        name=row["input"], of=row["of"], distribution=Distribution(row["distribution"]),
        low=float(row[f"{own}p05"]), likely=float(row["p50"]), high=float(row[f"{own}p95"]),
        source=row["source"],
    )  # fmt: skip


def catalogue() -> tuple[UncertainInput, ...]:
    """Return every row of the table, as nobody stated it."""
    return tuple(row for row, _ in _rows())


@lru_cache(maxsize=512)
def find(name: str, of: str = "", *, stated: bool = False) -> UncertainInput:
    """Return the input called ``name`` for a material, or the row for all.

    Raises
    ------
    KeyError
        where the table has no such input
    """
    known = {(row.name, row.of): (row, told) for row, told in _rows()}
    row, told = known.get((name, of)) or known[name, ""]
    return told if stated else row
