"""CO2: a balance that can be redone by hand, and ranges in the right direction."""

import math
from typing import Any

import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C, high, known, likely, request_of
from stillpipe.estimates.co2_mass import Co2Figures, co2_mass
from stillpipe.estimates.plug_time import plug_time
from stillpipe.model.cylinder import CylinderTemperature
from stillpipe.model.figures import Answer
from stillpipe.model.requests import Co2MassRequest
from stillpipe.physics import co2, constants
from stillpipe.tables import pipes


def answer_of(pipe: pipes.Pipe = HALF_INCH, **changes: Any) -> Answer[Co2Figures]:
    """The answer for water of 20 C and 3 bar in ``pipe``."""
    return co2_mass(request_of(Co2MassRequest, pipe, **changes))


def with_cylinder_at(celsius: float) -> Answer[Co2Figures]:
    """The answer for 1/2 in copper with liquid CO2 of a temperature [C]."""
    return answer_of(cylinder=CylinderTemperature(temperature=ZERO_C + celsius))


def test_mass_by_hand() -> None:
    """Mass = (pipe heat + jacket + leak) / (cooling x capture), every figure shown.

    Jacket: 0.1 kg + 5 kg/m x 15.9 mm = 0.179 kg x 1 kJ/kgK x 98.5 K = 17.7 kJ. Leak: 5 W/m2K x
    pi x 0.1159 m x (0.0409 m + 0.0579 m) = 0.180 W/K x 98.5 K = 17.7 W. Cooling of liquid at
    20 C: 166.7 kJ/kg (CoolProp 8), 60 % of it captured.
    """
    request = request_of(Co2MassRequest)
    plug = plug_time(request).figures
    found = co2_mass(request).figures
    drop = 293.15 - constants.DRY_ICE
    jacket = (0.1 + 5.0 * 15.875e-3) * 1000.0 * drop
    outer = 0.115875
    leak = 5.0 * math.pi * outer * (request.jacket.length + 0.5 * outer) * drop
    heat = likely(plug.heat_removed) + jacket + leak * likely(plug.ready)
    assert likely(found.freeze) == pytest.approx(heat / (166.7e3 * 0.6), rel=0.007)
    assert found.jacket_heat == pytest.approx(jacket)


def test_a_total_is_its_parts_and_a_job_its_points() -> None:
    one = answer_of(TWO_INCH, hold=1800.0).figures
    three = answer_of(TWO_INCH, hold=1800.0, points=3).figures
    assert likely(one.total) == pytest.approx(likely(one.freeze) + likely(one.hold))
    assert likely(three.job_total) == pytest.approx(3.0 * likely(one.total))
    assert likely(one.hold) == pytest.approx(likely(one.hold_rate) * 1800.0)


def test_the_band_covers_the_capture_efficiency() -> None:
    """0.4 to 0.8 about 0.6: at least from 0.75 to 1.5 of the likely mass."""
    found = known(answer_of().figures.total)
    assert found.low <= 0.76 * found.likely
    assert high(found) >= 1.49 * found.likely


def test_a_capture_near_one_is_never_more_than_all() -> None:
    """The high end of 0.4 / 0.6 to 0.8 / 0.6 of 0.9 would be 1.2: no more than 1 is captured."""
    found = known(answer_of(capture_efficiency=0.9).figures.total)
    all_of_it = known(answer_of(capture_efficiency=1.0).figures.total)
    assert found.low == pytest.approx(all_of_it.low)


def test_a_colder_cylinder_cools_better() -> None:
    warm, cold = (likely(with_cylinder_at(celsius).figures.total) for celsius in (20.0, 0.0))
    ratio = co2.cooling(ZERO_C) / co2.cooling(ZERO_C + 20.0)
    assert warm / cold == pytest.approx(ratio, rel=1e-6)


@pytest.mark.parametrize(
    ("celsius", "verdict", "figures"), [(27.5, "conditional", True), (31.5, "no-go", False)]
)
def test_no_liquid_no_mass(celsius: float, verdict: str, figures: bool) -> None:
    answer = with_cylinder_at(celsius)
    assert answer.verdict == verdict
    assert (answer.figures.total is not None) == figures


def test_a_cold_cylinder_is_cautioned() -> None:
    assert "cold-cylinder" in {c.code for c in with_cylinder_at(-5.0).cautions}
    assert "cold-cylinder" not in {c.code for c in with_cylinder_at(5.0).cautions}


def test_hold_rate_falls_as_the_pipe_beside_cools() -> None:
    short, long = (
        likely(answer_of(TWO_INCH, hold=hold).figures.hold_rate) for hold in (600.0, 7200.0)
    )
    assert long < short
