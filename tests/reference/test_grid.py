"""Every figure of a freeze, a hold and a thaw on the production grid against a far finer one.

Forty-five pipes of the catalogue, drawn by a fixed seed, beside the fifteen that an explicit
solution is made of: how the grid was chosen must not show on them alone.
"""

import random
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from estimates.jobs import known
from reference import make_held_2d
from reference.cases_held_2d import CASES, Held
from reference.test_held_2d import SHORT, solved
from stillpipe.physics import freeze
from stillpipe.tables import pipes

COUNT, SEED = 45, 5
FINE = replace(
    freeze.PRODUCTION, axial=18, radial=14, eta=0.03, stretch=1.25, finest=0.004, freeze_step=1.0,
    hold_step=2.0, thaw_step=1.0, melt_step=1.0, pieces=8, bore_share=0.25, fin_share=1.0 / 30.0,
    plug_share=0.5, fading_eta=0.03, fading_width=1.0,
)  # fmt: skip
JUST_CLOSED = 1.2
"""A plug is no figure until so many times its closure: its length begins endlessly steep."""
BOUNDS = {
    "closure": (0.007, 0.003), "ready": (0.008, 0.004), "ready_rated": (0.029, 0.010),
    "length": (0.027, 0.006), "grip": (0.015, 0.005), "survival_at_closure": (0.022, 0.009),
    "survival_at_ready": (0.041, 0.011), "survival": (0.015, 0.006), "thaw": (0.016, 0.005),
    "heat": (0.006, 0.002), "heat_jacket": (0.010, 0.003), "frost": (0.075, 0.026),
}  # fmt: skip
"""How far a figure may be off at most, and root mean square [-]."""


def drawn() -> list[Held]:
    """Pipes that get ready at their rating, none of those with a table."""
    draw, known = random.Random(SEED), {held.name for held in CASES}
    found: list[Held] = []
    while len(found) < COUNT:
        pipe = draw.choice(pipes.catalogue())
        held = Held(f"{pipe.standard} {pipe.size} {pipe.schedule}", pipe)
        needed = make_held_2d.SAFETY * make_held_2d.yield_grip(held, held.rated)
        run = freeze.FreezeRun(held.case, needed_length=pipe.inside_diameter, needed_grip=needed)
        if held.name not in known and run.ready is not None:
            known.add(held.name)
            found.append(held)
    return found


@cache
def deviations() -> dict[str, list[float]]:
    """How far figures are off [-], by figure; nothing where an instant counts for more."""
    found: dict[str, list[float]] = {}
    for held in drawn():
        told, fine = solved(held), solved(held, FINE)
        for figure, value in fine.items():
            minutes = figure.removeprefix("plug_length_")
            if minutes.isdigit() and float(minutes) * 60.0 < JUST_CLOSED * known(fine["closure"]):
                continue
            mine = told[figure]
            assert (mine is None) == (value is None), (held.name, figure)
            if mine is not None and value is not None:
                instant = abs(mine - value) <= SHORT.get(figure, 0.0)
                name = "length" if minutes.isdigit() else figure
                found.setdefault(name, []).append(0.0 if instant else mine / value - 1.0)
    return found


@pytest.mark.parametrize("figure", BOUNDS)
def test_a_finer_grid_tells_the_same(figure: str) -> None:
    off = np.array(deviations()[figure])
    most, usual = BOUNDS[figure]
    assert len(off) >= COUNT
    assert float(np.max(np.abs(off))) <= most
    assert float(np.sqrt(np.mean(off**2))) <= usual
