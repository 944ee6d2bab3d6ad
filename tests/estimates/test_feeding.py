"""What is fed with the heat that is drawn, draw by draw."""

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, ZERO_C, known, point_of, request_of
from stillpipe.estimates import co2_mass, feeding
from stillpipe.estimates.solution import Solution
from stillpipe.model.cylinder import CylinderTemperature
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.model.requests import Co2MassRequest
from stillpipe.physics import co2


def test_a_freeze_point_that_does_not_say_how_it_is_fed_is_fed_as_usual() -> None:
    """A cylinder at the room's 20 C, 60 % captured; all that it states of the pipe is kept."""
    point = point_of(HALF_INCH, 12.0, 18.0, 5.0)
    fed = feeding.feeding(point)
    usual = request_of(Co2MassRequest, HALF_INCH, 12.0, 18.0, 5.0)
    assert fed == usual
    assert fed.capture_efficiency == 0.6
    assert isinstance(point, FreezePoint)
    stated = request_of(Co2MassRequest, capture_efficiency=0.7)
    assert feeding.feeding(stated) is stated


@pytest.mark.parametrize("celsius", [0.0, 20.0])
def test_carbon_dioxide_for_each_joule_by_hand(celsius: float) -> None:
    """1 over cooling and captured share, the cooling of each draw's own temperature; 0.1 %."""
    request = request_of(Co2MassRequest, cylinder=CylinderTemperature(temperature=ZERO_C + celsius))
    solution = Solution(request)
    sample = solution.sample
    off = solution.cases.input("cylinder_temperature").at(sample.of("cylinder_temperature"))
    share = 0.6 * solution.cases.input("capture").at(sample.of("capture"))
    every = slice(0, None, 97)
    cooling = np.array([co2.cooling(ZERO_C + celsius + x) for x in off[every]])
    expected = 1.0 / (cooling * np.minimum(share[every], 1.0))
    assert feeding.per_heat(request, solution)[every] == pytest.approx(expected, rel=1e-3)
    middle = np.quantile(feeding.per_heat(request, solution), 0.5)
    assert middle == pytest.approx(1.0 / (co2.cooling(ZERO_C + celsius) * 0.6), rel=0.01)


def test_a_cylinder_near_the_critical_point_is_cooled_to_just_below_it() -> None:
    """At 30.9 C half of the draws lie beyond 31.0: they give what liquid gives 0.1 K below that."""
    request = request_of(Co2MassRequest, cylinder=CylinderTemperature(temperature=ZERO_C + 30.9))
    found = feeding.per_heat(request, Solution(request))
    assert np.all(np.isfinite(found))
    least = co2.cooling(co2.CRITICAL - 0.1)
    sample = Solution(request).sample
    warm = sample.of("cylinder_temperature") > 1.0
    share = 0.6 * Solution(request).cases.input("capture").at(sample.of("capture"))
    expected = 1.0 / (least * np.minimum(share[warm], 1.0))
    assert found[warm] == pytest.approx(expected, rel=1e-3)


def test_what_is_drawn_by_a_time_is_that_of_the_carbon_dioxide_estimate() -> None:
    """At the planned ready; at no time it is what cools the jacket, twice as much of twice that."""
    request = request_of(Co2MassRequest)
    solution = Solution(request)
    drawn = known(co2_mass.needed(request, solution).drawn)
    by_ready = feeding.drawn_by(solution, known(solution.planned_ready))
    assert by_ready[solution.holds] == pytest.approx(drawn.freeze)
    first = feeding.drawn_by(solution, 1e-6) / feeding.per_heat(request, solution)
    assert first == pytest.approx(request.jacket_heat, rel=0.02)
    later = feeding.drawn_by(solution, 600.0) - feeding.drawn_by(solution, 300.0)
    heat = solution.drawn(600.0) - solution.drawn(300.0) + 300.0 * request.leak_power
    assert later == pytest.approx(heat * feeding.per_heat(request, solution))
