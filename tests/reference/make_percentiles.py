"""Make the table of percentiles that direct solutions of 4,000 draws give.

Takes a quarter of an hour: ``PYTHONPATH=service:tests python tests/reference/make_percentiles.py``
(``bash deploy/long.sh percentiles``).
"""

import csv
import sys
from pathlib import Path

import numpy as np

from reference import percentile_cases
from reference.percentile_cases import (
    CASES,
    DRAWS,
    FIGURES,
    HOLD,
    ROOMS,
    SOLUTIONS,
    percentile,
)
from stillpipe.estimates.solution import Solution

TABLE = Path(__file__).with_name("percentiles.csv")
P = (0.05, 0.5, 0.95)


def main() -> None:
    """Write the table anew, case by case."""
    with TABLE.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(["case", "ready_s", "end_s", "figure", "p05", "p50", "p95", "comes"])
        for case in (*CASES, *ROOMS, *SOLUTIONS):
            ready, end = percentile_cases.planned(Solution(case.request(), HOLD))
            found = percentile_cases.solved(case, ready, end, range(DRAWS))
            for figure in FIGURES:
                values = found[figure]
                told = [f"{percentile(values, p):.6g}" for p in P]
                comes = f"{float(np.mean(np.isfinite(values))):.4f}"
                out.writerow([case.name, f"{ready:g}", f"{end:g}", figure, *told, comes])
            file.flush()
            sys.stdout.write(f"{case.name}\n")


if __name__ == "__main__":
    main()
