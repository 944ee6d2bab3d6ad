"""Every figure of a freeze, a hold and a thaw of solutions against a far finer grid.

Eight pipes of six materials with propylene and ethylene glycol and sea water, 1 to 16 bar; the ice
of a plug is three quarters of what fills it.
"""

import itertools
from dataclasses import replace

import pytest

from reference.cases_2d import of
from reference.make_held_2d import HOLD, SAFETY
from stillpipe.physics import freeze
from stillpipe.tables import pipes

FINE = replace(
    freeze.PRODUCTION, axial=18, radial=14, eta=0.03, stretch=1.15, finest=0.004, freeze_step=1.0,
    hold_step=2.0, inner_hold_step=2.0, thaw_step=1.0, melt_step=1.0, pieces=8, bore_share=0.1,
    fin_share=1.0 / 140.0, plug_share=0.5, stride=16.0, ahead=10.0, fading_eta=0.03,
    fading_width=1.0, least=0.02, tolerance=1.0,
)  # fmt: skip
CASES = {
    "copper 1": (("ASTM B88", "1", "L"), "propylene_glycol", 0.10, 1.0),
    "steel 1": (("ASME B36.10M", "1", "40"), "ethylene_glycol", 0.08, 16.0),
    "copper 1/2": (("ASTM B88", "1/2", "L"), "propylene_glycol", 0.05, 3.0),
    "PVC 1": (("ASTM D1785", "1", "40"), "ethylene_glycol", 0.06, 3.0),
    "copper 2": (("ASTM B88", "2", "L"), "seawater", 0.035, 3.0),
    "steel 2": (("ASME B36.10M", "2", "40"), "ethylene_glycol", 0.05, 6.0),
    "stainless 1": (("ASME B36.19M", "1", "10S"), "propylene_glycol", 0.08, 6.0),
    "grey iron 3": (("AWWA C106", "3", "Class 150"), "ethylene_glycol", 0.05, 3.0),
}
WEAK = 0.25e6
"""Strength of the bond [Pa]."""
BOUNDS = {
    "closure": 0.012, "ready": 0.01, "length": 0.023, "survival": 0.012, "thaw": 0.01,
    "heat": 0.006, "survival_at_ready": 0.015,
}  # fmt: skip
"""How far a figure may be off [-]."""


def solved(case: freeze.Case, bar: float, grid: freeze.Grid) -> dict[str, float | None]:
    """Return every figure on a ``grid``; lengths at four times after ready, in minutes."""
    lost = 1e5 * bar * case.bore / (4.0 * WEAK)
    run = freeze.FreezeRun(case, needed_length=case.bore, needed_grip=SAFETY * lost, grid=grid)
    assert run.ready is not None
    assert run.at_ready is not None
    end = run.fed_to(run.ready + HOLD)
    return {
        "closure": run.closure,
        "ready": run.ready,
        "survival": run.stop(end, lost).survival,
        "thaw": run.fading(end).thaw,
        "heat": end.heat_jacket - end.heat_ambient,
        "survival_at_ready": run.stop(run.at_ready, lost).survival,
    } | {f"length {m}": run.fed_to(run.ready + 60.0 * m).sound_length for m in (10, 30, 60, 120)}


@pytest.mark.parametrize("name", CASES)
def test_a_finer_grid_tells_the_same_of_a_solution(name: str) -> None:
    pipe, fluid, concentration, bar = CASES[name]
    case = of(pipes.find(*pipe), fluid=fluid, concentration=concentration)
    told, fine = (solved(case, bar, grid) for grid in (freeze.PRODUCTION, FINE))
    off = {}
    for figure, value in fine.items():
        mine = told[figure]
        assert mine is not None
        assert value is not None
        if abs(mine / value - 1.0) > BOUNDS[figure.partition(" ")[0]]:
            off[figure] = (mine, value)
    assert off == {}


def test_a_plug_of_a_solution_never_gets_shorter_while_it_is_fed_and_never_leaps() -> None:
    """8 % ethylene glycol in 1 in steel: in steps of half a minute for two hours."""
    pipe, fluid, concentration, _ = CASES["steel 1"]
    run = freeze.FreezeRun(
        of(pipes.find(*pipe), fluid=fluid, concentration=concentration), needed_length=0.1
    )
    assert run.closure is not None
    told = [run.fed_to(run.closure + 30.0 * n).plug_length for n in range(20, 240)]
    for before, after in itertools.pairwise(told):
        assert 0.999 * before <= after <= before + 0.0022
