"""Make the table of invented freezes with something wrong: ``bash deploy/long.sh causes``.

python tests/reference/make_frost_causes.py
"""

import csv
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from reference.frost_cases import (
    LINES,
    PLACES,
    SCALES,
    THERMOMETER,
    WATCH,
    Line,
    Truth,
    drawn,
)
from stillpipe.estimates.solution import Solution

TABLE = Path(__file__).with_name("frost_causes.csv")
EACH = 60
"""Cases of each line."""
SEED = 20261127
SOONEST, LATEST = 0.4, 3.0
"""Who asks does so from so many times to so many times the median of frost [-]: common practice,
no source."""


def row(line: Line, usual: float, chance: np.random.Generator) -> dict[str, str]:
    """One case of a line whose frost usually comes at ``usual`` [s]."""
    what = drawn(chance)
    truth = Truth(line, what)
    frost = truth.frost()
    asked = usual * float(np.exp(chance.uniform(np.log(SOONEST), np.log(LATEST))))
    mass, hot = truth.read(asked)
    read = hot + THERMOMETER * chance.standard_normal(len(hot))
    watched = frost + max(WATCH * frost, 1.0) * chance.standard_normal()
    return {
        "line": line.name, "cause": what.fault.cause, "way": what.fault.way,
        "severity": f"{what.severity:.4g}", "frost_s": f"{frost:.1f}", "asked_s": f"{asked:.1f}",
        "seen": "yes" if frost <= asked else "no",
        "watched_s": f"{max(watched, 1.0):.1f}" if frost <= asked else "",
        "drawn_kg": f"{mass + SCALES * chance.standard_normal():.3f}",
        **{name: f"{value:.2f}" for name, value in zip(PLACES, read.tolist(), strict=True)},
    }  # fmt: skip


def main() -> None:
    """Write the table."""
    rows = []
    for number, line in enumerate(LINES):
        chance = np.random.default_rng([SEED, number])
        by = Solution(line.request()).frost_by
        if by is None:
            raise SystemExit(f"no frost is expected on {line.name}")
        rows += [row(line, by.likely, chance) for _ in range(EACH)]
        print(line.name, flush=True)
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()
