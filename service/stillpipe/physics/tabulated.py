"""Properties tabulated from an equation of state, read once and interpolated.

The tables stand beside the published numbers of the package; SOURCES.md says what made them.
"""

import csv
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]


@lru_cache(maxsize=8)
def columns(name: str, quantities: tuple[str, ...]) -> Array:
    """Columns ``quantities`` of the table ``name``, shape (rows, quantities), in file order.

    A quantity is named by its column's head, which ends in the SI unit it is stored in: [K] for
    ``temperature_K``.

    Raises
    ------
    ValueError
        where the table has no column of that head
    """
    text = (files("stillpipe") / "tables" / name).read_text(encoding="utf-8").splitlines()
    headers = next(csv.reader(text))
    chosen = [headers.index(quantity) for quantity in quantities]
    return np.loadtxt(text[1:], delimiter=",", usecols=chosen, ndmin=2)


@njit(cache=True, nogil=True)
def weights(count: int, x: float) -> tuple[int, float, float, float, float]:
    """First of four neighbouring nodes and their weights for the value at ``x`` nodes [-].

    Lagrange's cubic through nodes 0, 1 ... ``count`` - 1.
    """
    first = min(max(int(x) - 1, 0), count - 4)
    t = x - first
    a, b, c = t - 1.0, t - 2.0, t - 3.0
    return first, -a * b * c / 6.0, 0.5 * t * b * c, -0.5 * t * a * c, t * a * b / 6.0


@njit(cache=True, nogil=True)
def cubic(table: Array, x: float, column: int) -> float:
    """Value of ``column`` of ``table``, shape (rows, columns), at ``x`` rows from the first."""
    i, a, b, c, d = weights(table.shape[0], x)
    value: float = a * table[i, column] + b * table[i + 1, column]
    value += c * table[i + 2, column] + d * table[i + 3, column]
    return value
