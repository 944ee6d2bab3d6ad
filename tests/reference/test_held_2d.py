"""A whole freeze, its hold and its thaw against an explicit solution with a resolved wall.

Nine pipes at 3 bar, water and room at 20 C, an hour's hold; the table is made by ``make_held_2d``.
What each figure deviates by at most is stated in ``BOUNDS`` as it was measured, with little to
spare. Survival right at closure and the plug's length hang on the plug's end, which the slices
beside the jacket resolve poorly; the reference itself still moves there from mesh to mesh, by up
to 7 %. Survival after the hold is within 3.1 % but for PVC, whose thick wall has one node: -10 %.
"""

import csv

import pytest

from reference import explicit_2d, make_held_2d
from reference.cases_2d import Named
from stillpipe.physics import freeze

with make_held_2d.TABLE.open(newline="") as file:
    TABLE = {(row["case"], row["figure"]): row for row in csv.DictReader(file)}

BOUNDS = {
    "closure": 0.01, "ready": 0.025, "survival_at_closure": 0.14, "survival": 0.11, "thaw": 0.015,
    "heat": 0.027, "plug_length": 0.19,
}  # fmt: skip
"""Largest relative deviation of each figure."""
CASES = list(make_held_2d.cases())


def solved(case: freeze.Case) -> dict[str, float | None]:
    """Return every figure of the production grid."""
    run = freeze.FreezeRun(
        case, needed_length=make_held_2d.needed_length(case), horizon=freeze.LONGEST_FREEZE
    )
    assert run.closure is not None
    assert run.ready is not None
    assert run.at_closure is not None
    held = run.fed_to(run.ready + make_held_2d.HOLD)
    late = run.stop(held, make_held_2d.yield_length(case))
    return {
        "closure": run.closure,
        "ready": run.ready,
        "survival_at_closure": run.stop(run.at_closure, 0.0).survival,
        "survival": late.survival,
        "thaw": late.thaw,
        "heat": held.heat_jacket - held.heat_ambient,
        "plug_length": held.sound_length,
    }


@pytest.mark.parametrize("named", CASES, ids=lambda n: n.name)
def test_every_figure_is_that_of_the_explicit_solution(named: Named) -> None:
    found = solved(named.case)
    for figure in make_held_2d.FIGURES:
        reference = float(TABLE[named.name, figure]["extrapolated"])
        assert found[figure] == pytest.approx(reference, rel=BOUNDS[figure]), figure


def test_the_table_has_every_figure() -> None:
    assert list(TABLE) == [(n.name, f) for n in CASES for f in make_held_2d.FIGURES]


def test_the_table_is_reproducible() -> None:
    """The coarser mesh of the quickest pipe, solved again."""
    named = next(n for n in CASES if n.name == "ASTM D1785 2 40")
    again = make_held_2d.solved(named.case, explicit_2d.COARSE)
    for figure, value in again.items():
        stored = float(TABLE[named.name, figure]["coarse"])
        assert value == pytest.approx(stored, rel=1e-4), figure
