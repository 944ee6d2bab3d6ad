"""Figures over the draws: percentiles, chances, decisions at a stated chance.

An array of a figure holds one value a draw, infinite where that never comes.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stillpipe.model.figures import HIGH, LOW, MIDDLE, Range

Array = NDArray[np.float64]
Draws = NDArray[np.bool_]

ROUNDED = 1e-9
"""By so much of a draw a rank may be off by rounding: 1 - 0.95 is more than 0.05 [-]."""


def percentile(values: Array, p: float) -> float | None:
    """Return the value that is not exceeded with probability ``p`` [-]; None where it never comes.

    The draw of that rank, between which nothing is made up.
    """
    if len(values) == 0:
        return None
    rank = rank_of(len(values), p)
    found = float(np.partition(values, rank)[rank])
    return found if np.isfinite(found) else None


def percentiles(values: Array, wanted: tuple[float, ...]) -> list[float | None]:
    """Return several percentiles ``wanted`` [-], each as :func:`percentile`."""
    if len(values) == 0:
        return [None] * len(wanted)
    ordered = np.sort(values)
    found = (float(ordered[rank_of(len(values), p)]) for p in wanted)
    return [value if np.isfinite(value) else None for value in found]


def along(values: Sequence[Array], wanted: tuple[float, ...], never: float = 0.0) -> Array:
    """Return how percentiles ``wanted`` [-] go over several ``values``: (percentiles, values).

    ``never`` stands where one does not come.
    """
    found = [[never if p is None else p for p in percentiles(x, wanted)] for x in values]
    return np.array(found).T


def rank_of(count: int, p: float) -> int:
    """Return which of ``count`` ordered draws is the percentile ``p`` [-]."""
    return min(max(int(np.ceil(p * count - ROUNDED)) - 1, 0), count - 1)


def range_of(values: Array, more: tuple[float, ...] = ()) -> Range | None:
    """Return the 5th, 50th and 95th percentile of a figure and ``more`` of them [-].

    None where the 50th never comes; an end that never comes is None.
    """
    wanted = (LOW, MIDDLE, HIGH, *more)
    low, likely, high, *others = percentiles(values, wanted)
    if low is None or likely is None:
        return None
    return Range(low, likely, high, tuple(zip(more, others, strict=True)))


def chance(true: Draws) -> float:
    """Return the share of draws for which something is ``true`` [-]."""
    return float(np.count_nonzero(true)) / len(true) if len(true) else 0.0
