"""Percentiles by the surface against direct solutions of the same 4,000 draws (a stored table).

The table: ``bash deploy/long.sh percentiles``, a freeze on the fine grid for each draw, at planned
times that stand in the table.
"""

import csv
import functools

import numpy as np

from reference import percentile_cases
from reference.make_percentiles import TABLE, P
from reference.percentile_cases import CASES, PercentileCase, percentile

WATER = [case for case in CASES if case.fluid == "water"]
GLYCOL = [case for case in CASES if case.fluid != "water"]
BAR = 0.02
"""Deviation of a percentile that is asked for [-]."""


@functools.cache
def table() -> dict[tuple[str, str], dict[str, float]]:
    """The rows by case and figure."""
    with TABLE.open(encoding="utf-8") as file:
        return {
            (row["case"], row["figure"]): {
                k: float(v) for k, v in row.items() if k not in ("case", "figure")
            }
            for row in csv.DictReader(file)
        }


@functools.cache
def surfaced(case: PercentileCase) -> dict[str, percentile_cases.Array]:
    """The draws of a case by the surface, at the table's planned times."""
    row = table()[case.name, "closure"]
    return percentile_cases.surfaced(case, row["ready_s"], row["end_s"])


def deviations(case: PercentileCase, figure: str) -> dict[str, float]:
    """How far the percentiles lie from the direct ones [-], those that come."""
    row, values = table()[case.name, figure], surfaced(case)[figure]
    found = {}
    for name, p in zip(("p05", "p50", "p95"), P, strict=True):
        if np.isfinite(row[name]):
            found[name] = percentile(values, p) / row[name] - 1.0
    return found
