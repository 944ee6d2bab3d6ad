"""A plug of a solution: none of its figures leaves the bounds that the plug itself has."""

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, high, point_of, request_of, solution_of
from stillpipe.estimates.course import Of
from stillpipe.estimates.hold_time import hold_time
from stillpipe.estimates.solution import Solution
from stillpipe.model.requests import HoldTimeRequest
from stillpipe.tables import pipes

BRASS = pipes.find("ASTM B43", "3/8", "extra strong")
SOLUTIONS = [
    (HALF_INCH, "propylene_glycol", 0.02),
    (pipes.find("EN 1057", "28", "1.2"), "ethylene_glycol", 0.04),
    (pipes.find("EN 1057", "18", "0.8"), "seawater", 0.10),
    (BRASS, "seawater", 0.02),
    (TWO_INCH, "propylene_glycol", 0.03),
]


@pytest.mark.parametrize(("pipe", "fluid", "concentration"), SOLUTIONS)
def test_no_plug_grips_or_is_sound_over_more_than_it_reaches(
    pipe: pipes.Pipe, fluid: str, concentration: float
) -> None:
    solution = Solution(point_of(pipe, fluid=solution_of(fluid, concentration)), 3600.0)
    for knots in (solution.ensemble.knots, solution.knots):
        grip, sound, reach = (
            solution.curves_of(of, knots).value for of in (Of.GRIP, Of.SOUND, Of.REACH)
        )
        assert grip.shape == sound.shape == reach.shape
        assert np.all(np.exp(grip - reach) <= 1.11)
        assert np.all(np.exp(sound - reach) <= 1.11)


@pytest.mark.parametrize(("pipe", "fluid", "concentration"), SOLUTIONS)
def test_a_plug_of_a_solution_is_no_longer_and_no_firmer_than_one_of_water(
    pipe: pipes.Pipe, fluid: str, concentration: float
) -> None:
    """Of the same hold: its ends are warmer, its bond weaker."""
    line = solution_of(fluid, concentration)
    one, other = (
        hold_time(request_of(HoldTimeRequest, pipe, **changes)).figures
        for changes in ({"fluid": line}, {})
    )
    assert high(one.plug_length) < 1.2 * high(other.plug_length)
    assert high(one.holding_pressure) < high(other.holding_pressure)
