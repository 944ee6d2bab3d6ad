"""Make the tables that hold what is learned from observations against direct solutions.

``observed_posteriors.csv``: of the first 2,000 draws of each freeze point, all solved directly, the
percentiles that are left once something was seen. ``observed_truths.csv``: freezes of other draws,
solved directly, of which something may be seen.

Takes half an hour: ``PYTHONPATH=service:tests python tests/reference/make_observed.py``
(``bash deploy/long.sh observed``).
"""

import csv
import sys
from pathlib import Path
from typing import Any

import numpy as np

from reference import observed_cases as cases
from reference.observed_cases import CASES, FIGURES, KINDS, OF, Array, Moments
from stillpipe.estimates.sampled import Sampled
from stillpipe.model.observations import Seen
from stillpipe.uncertainty import draws
from stillpipe.uncertainty.draws import Sample

POSTERIORS = Path(__file__).with_name("observed_posteriors.csv")
TRUTHS = Path(__file__).with_name("observed_truths.csv")
DRAWS = 2000
"""Draws of each freeze point that are solved directly."""
EACH = 125
"""Truths of each freeze point."""
SEED = 20261126
P = (0.05, 0.5, 0.95)
READ_AT = {Seen.FROST: 0.7, Seen.NO_FROST: 0.5, Seen.SURFACE_TEMPERATURE: 0.3,
           Seen.WEIGHT_DRAWN: 0.7, Seen.FLOW_STOPPED: 0.5, Seen.PRESSURE_HELD: 0.5}  # fmt: skip
"""At which percentile of what was to be expected each kind is read [-]."""


def solved(before: Sampled, when: Moments, sample: Sample, count: int) -> Array:
    """The first draws of ``sample`` solved directly, shape (draws, figures)."""
    return np.array([cases.truth(before, when, sample, i) for i in range(count)])


def posteriors(name: str, when: Moments, found: Array, out: Any) -> None:
    """Write what is left of closure and ready once each kind was seen."""
    for kind in KINDS:
        about = found[:, FIGURES.index(OF[kind])]
        if np.mean(np.isfinite(about)) < 0.95:
            continue  # such as frost on a pipe that hardly has any
        typical = float(np.median(about))
        read = float(f"{np.quantile(about, READ_AT[kind]):.4g}")
        o = cases.observed(kind, when, read, typical)
        weight = cases.weights(o, about)
        size = 1.0 / float(np.sum(weight**2))
        for figure in ("closure", "ready"):
            values = found[:, FIGURES.index(figure)]
            ends = [f"{cases.quantile(values, weight, p):.5g}" for p in P]
            flat = np.full(len(values), 1.0 / len(values))
            first = [f"{cases.quantile(values, flat, p):.5g}" for p in P]
            moment = (when.temperature, when.cylinder, when.test, when.pressure)
            out.writerow([name, kind, *(f"{m:g}" for m in moment), f"{read:g}", f"{typical:g}",
                          f"{size:.0f}", figure, *first, *ends])  # fmt: skip


def main() -> None:
    """Write both tables anew, freeze point by freeze point."""
    with (
        POSTERIORS.open("w", newline="", encoding="utf-8") as one,
        TRUTHS.open("w", newline="", encoding="utf-8") as two,
    ):
        left = csv.writer(one, lineterminator="\n")
        left.writerow(["case", "kind", "temperature_at_s", "cylinder_at_s", "test_at_s",
                       "test_pressure_pa", "read", "typical", "effective", "figure",
                       "before_p05", "before_p50", "before_p95", "p05", "p50", "p95"])  # fmt: skip
        truths = csv.writer(two, lineterminator="\n")
        truths.writerow(["case", "temperature_at_s", "cylinder_at_s", "test_at_s",
                         "test_pressure_pa", *FIGURES])  # fmt: skip
        for number, case in enumerate(CASES):
            solution, when = cases.asked(case)
            moment = (when.temperature, when.cylinder, when.test, when.pressure)
            others = cases.random_sample(EACH, SEED + number)
            for row in solved(solution.before, when, others, EACH):
                told = [*(f"{m:g}" for m in moment), *(f"{x:.5g}" for x in row)]
                truths.writerow([case.name, *told])
            posteriors(case.name, when, solved(solution.before, when, draws.prior(), DRAWS), left)
            one.flush()
            two.flush()
            sys.stdout.write(f"{case.name}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
