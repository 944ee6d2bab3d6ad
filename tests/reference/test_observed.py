"""What is learned from observations, against the exact posterior of direct solutions.

The tables are made by ``bash deploy/long.sh observed``: 2,000 draws of nine freeze points of seven
materials, each solved directly and weighed by what was seen (Bayes' rule, nothing else), and others
of which something may have been seen (simulation-based calibration; Talts et al., arXiv
1804.06788). Here a part of the latter is asked, all of it with ``STILLPIPE_TEST_TRUTHS=1000``.
"""

import csv
import functools
import math
import os
from pathlib import Path

import numpy as np
import pytest

from reference import observed_cases as cases
from reference.observed_cases import CASES, KINDS, OF, Array, Moments, ObservedCase
from stillpipe.estimates.sampled import Sampled
from stillpipe.estimates.solution import Solution
from stillpipe.model.observations import Seen
from stillpipe.tables import pipes

HERE = Path(__file__).parent
WIDTH = 0.10
"""Deviation of a width, as a ratio of logarithms, that is asked for [-]."""
LEFT = 0.6
"""Most of closure's width on a metal pipe that frost known to a tenth leaves [-]."""
BY_NAME = {c.name: c for c in CASES}
TRUTHS = int(os.environ.get("STILLPIPE_TEST_TRUTHS", "90"))
"""How many truths each kind is tried with."""
PLASTIC = ("pvc", "cpvc", "pex")
P = (0.05, 0.5, 0.95)


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


POSTERIORS = rows("observed_posteriors.csv")


@functools.cache
def before(case: ObservedCase) -> Sampled:
    """The freezes of a case before anything was seen."""
    return cases.before(case)


def when(row: dict[str, str]) -> Moments:
    """The moments of a row."""
    return Moments(
        temperature=float(row["temperature_at_s"]), cylinder=float(row["cylinder_at_s"]),
        test=float(row["test_at_s"]), pressure=float(row["test_pressure_pa"]),
    )  # fmt: skip


@functools.cache
def learned(name: str, kind: str) -> Solution:
    """The solution once what the table has was seen."""
    row = next(r for r in POSTERIORS if (r["case"], r["kind"]) == (name, kind))
    o = cases.observed(Seen(kind), when(row), float(row["read"]), float(row["typical"]))
    return cases.conditioned(BY_NAME[name], before(BY_NAME[name]), o)


def width(low: float, high: float) -> float:
    return math.log(high / low)


@pytest.mark.parametrize("row", POSTERIORS, ids=lambda r: f"{r['case']} {r['kind']} {r['figure']}")
def test_widths_are_those_of_the_exact_posterior(row: dict[str, str]) -> None:
    """And the median lies where it does, to a tenth of the width."""
    solution = learned(row["case"], row["kind"])
    found = solution.closure if row["figure"] == "closure" else solution.ready
    assert found is not None
    assert found.high is not None
    exact = width(float(row["p05"]), float(row["p95"]))
    ratio = width(found.low, found.high) / exact
    assert ratio == pytest.approx(1.0, abs=WIDTH)
    assert abs(width(float(row["p50"]), found.likely)) < WIDTH * exact


def test_every_kind_stands_in_the_table_of_eight_pipes() -> None:
    for kind in KINDS:
        assert len({r["case"] for r in POSTERIORS if r["kind"] == kind}) >= 8


def test_the_prior_would_fail() -> None:
    """Widths before anything was seen are further off than the bar for most of the table."""
    off = [
        abs(width(float(r["before_p05"]), float(r["before_p95"]))
            / width(float(r["p05"]), float(r["p95"])) - 1.0)
        for r in POSTERIORS
    ]  # fmt: skip
    assert np.mean(np.array(off) > WIDTH) > 0.5


METAL = [c for c in CASES if pipes.find(*c.pipe).material not in PLASTIC]


@pytest.mark.parametrize("case", METAL, ids=lambda c: c.name)
def test_frost_known_to_a_tenth_narrows_closure(case: ObservedCase) -> None:
    """By the service, and by the exact posterior too."""
    found = learned(case.name, Seen.FROST).closure
    first = before(case).closures
    whole = width(*np.quantile(first, (0.05, 0.95)))
    assert found is not None
    assert found.high is not None
    assert width(found.low, found.high) < LEFT * whole
    row = next(
        r for r in POSTERIORS
        if (r["case"], r["kind"], r["figure"]) == (case.name, Seen.FROST, "closure")
    )  # fmt: skip
    assert width(float(row["p05"]), float(row["p95"])) < LEFT * whole


def trials(kind: Seen) -> list[tuple[ObservedCase, dict[str, str], float]]:
    """Truths of which ``kind`` is seen: case, row, what is read [its own].

    What is read has its error. That there was no frost, that a flow has stopped, that a plug holds
    is seen of those where it is so, its error included.
    """
    chance = np.random.default_rng(list(kind.encode()))
    found = []
    table = rows("observed_truths.csv")
    for i in chance.permutation(len(table)):
        row, case = table[i], BY_NAME[table[i]["case"]]
        figure, typical = float(row[OF[kind]]), expected(case, kind, when(row))
        if not math.isfinite(typical):
            continue
        o = cases.observed(kind, when(row), typical, typical)
        noise = float(chance.standard_normal()) * o.standard_uncertainty
        if kind in (Seen.FROST, Seen.SURFACE_TEMPERATURE, Seen.WEIGHT_DRAWN):
            if math.isfinite(figure) and figure + noise > 0.0:
                found.append((case, row, figure + noise))
        elif cases.off(o, np.array([figure + noise]))[0] > 0.0:
            found.append((case, row, typical))
    return found


@functools.cache
def expected(case: ObservedCase, kind: Seen, at: Moments) -> float:
    """What is to be expected of ``kind`` before anything was seen, infinite for never."""
    s = before(case)
    values = {
        "frost": lambda: s.frosts,
        "near": lambda: s.skin(cases.NEAR, at.temperature),
        "mass": lambda: cases.feeding.drawn_by(s, at.cylinder),
        "closure": lambda: s.closures,
        "carries": lambda: s.closures,
    }[OF[kind]]()
    return float(np.median(values))


def ranks(kind: Seen, count: int, figure: str = "closures") -> tuple[Array, Array]:
    """Where the truths lie in what was learned of them, and in what was known before [-]."""
    after, first = [], []
    for case, row, read in trials(kind)[:count]:
        typical = expected(case, kind, when(row))
        o = cases.observed(kind, when(row), read, typical)
        solution = cases.conditioned(case, before(case), o)
        true = float(row["closure" if figure == "closures" else "ready"])
        after.append(float(np.mean(getattr(solution, figure) < true)))
        first.append(float(np.mean(before(case).closures < true)))
    return np.array(after), np.array(first)


@functools.cache
def calibrated(kind: Seen) -> tuple[Array, Array]:
    return ranks(kind, TRUTHS)


@pytest.mark.parametrize("kind", KINDS)
def test_truths_lie_evenly_in_what_is_learned_of_them(kind: Seen) -> None:
    """Ranks are uniform (chi squared, ten bins, 0.1 %) and 90 % intervals hold 86 to 94 %.

    Of as few as are tried here, by three standard deviations of the binomial more.
    """
    found, _ = calibrated(kind)
    counts, _ = np.histogram(found, bins=10, range=(0.0, 1.0))
    assert np.sum((counts - len(found) / 10) ** 2 / (len(found) / 10)) < 27.9
    inside = np.mean((found > 0.05) & (found < 0.95))
    more = 0.0 if len(found) >= 500 else 3.0 * math.sqrt(0.09 / len(found)) - 0.04
    assert 0.86 - max(more, 0.0) < inside < 0.94 + max(more, 0.0)


def test_what_was_known_before_is_wider_than_what_is_learned() -> None:
    """A service that returned the prior has its truths as evenly, but its intervals are wider."""
    for kind in (Seen.FROST, Seen.SURFACE_TEMPERATURE):
        name = CASES[0].name
        found = learned(name, kind).closure
        assert found is not None
        first = width(*np.quantile(before(CASES[0]).closures, (0.05, 0.95)))
        assert width(found.low, found.longest) < 0.9 * first
