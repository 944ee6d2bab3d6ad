"""The production grid against two independent solutions of the same freeze, case by case.

The explicit solution has resolved walls and is converged; FiPy solves nine of the cases.
"""

import csv
import statistics
from pathlib import Path

import pytest

from reference import closing, explicit_2d, library_2d, make_library_2d, problem_2d
from reference.cases_2d import CASES, Named
from stillpipe.physics import freeze

BOUND = 0.01
"""Largest relative error of a closure time that is allowed."""

with make_library_2d.TABLE.open(newline="") as file:
    LIBRARY = {row["case"]: row for row in csv.DictReader(file)}


@pytest.fixture(scope="module")
def errors() -> dict[str, float]:
    """Relative errors found so far in this run."""
    return {}


def _closure(named: Named) -> float:
    closure = closing.closure_only(named.case, freeze.PRODUCTION)
    assert closure is not None
    return closure


@pytest.mark.parametrize("named", CASES, ids=lambda n: n.name)
def test_closure_is_that_of_a_fine_explicit_solution(
    named: Named, errors: dict[str, float]
) -> None:
    closure = _closure(named)
    best, moved = explicit_2d.converged(problem_2d.of(named.case), 1.4 * closure)
    assert abs(moved) < BOUND, "the reference itself must be converged"
    errors[named.name] = closure / best - 1.0
    assert closure == pytest.approx(best, rel=BOUND)


def test_the_stated_figures_are_the_measured_ones(errors: dict[str, float]) -> None:
    if len(errors) < len(CASES):
        pytest.skip("needs the errors of all cases, run in this session")
    sizes = [abs(e) for e in errors.values()]
    assert max(sizes) < 0.0100
    assert statistics.median(sizes) < 0.0050


@pytest.mark.parametrize("named", make_library_2d.CHOSEN, ids=lambda n: n.name)
def test_closure_is_that_of_a_general_library(named: Named) -> None:
    """FiPy on two meshes, extrapolated; the table is made by ``make_library_2d``."""
    row = LIBRARY[named.name]
    assert _closure(named) == pytest.approx(float(row["extrapolated_s"]), rel=BOUND)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", ["ASTM B88 1/2 L 20 C", "ASME B36.10M 1/2 40 20 C"])
def test_the_librarys_table_is_reproducible(name: str) -> None:
    named = next(n for n in CASES if n.name == name)
    mesh, steps = make_library_2d.MESHES[0]
    row = LIBRARY[name]
    found = library_2d.closure(named.case, mesh, float(row["horizon_s"]), steps)
    assert found == pytest.approx(float(row["coarse_s"]), rel=0.002)


def test_the_two_references_agree() -> None:
    """Explicit and FiPy, two codes and two ways in time, within 0.5 %, both extrapolated."""
    named = next(n for n in CASES if n.name == "ASME B36.10M 2 40 20 C")
    row = LIBRARY[named.name]
    found, _ = explicit_2d.converged(problem_2d.of(named.case), float(row["horizon_s"]))
    assert found == pytest.approx(float(row["extrapolated_s"]), rel=0.005)


def test_the_table_has_every_case() -> None:
    assert list(LIBRARY) == [n.name for n in make_library_2d.CHOSEN]
    assert Path(make_library_2d.TABLE).name == "library_2d.csv"
