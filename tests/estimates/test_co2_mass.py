"""CO2: a balance that can be redone by hand, and ranges in the right direction."""

import math
from dataclasses import replace

import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C
from stillpipe.estimates import co2_mass, course, plug_time
from stillpipe.estimates.co2_mass import Feeding
from stillpipe.physics import co2, freeze


def test_mass_by_hand() -> None:
    """Mass = (pipe heat + jacket + leak) / (cooling x capture), every figure shown.

    Jacket: 0.1 kg + 5 kg/m x 15.9 mm = 0.179 kg x 1 kJ/kgK x 98.5 K = 17.7 kJ. Leak: 5 W/m2K x
    pi x 0.1159 m x (0.0409 m + 0.0579 m) = 0.180 W/K x 98.5 K = 17.7 W. Cooling of liquid at
    20 C: 166.7 kJ/kg (CoolProp 8), 60 % of it captured.
    """
    plug = plug_time.plug_time(HALF_INCH)
    found = co2_mass.co2_mass(HALF_INCH, Feeding())
    assert plug.heat_removed is not None
    assert plug.ready is not None
    assert found.freeze is not None
    deep = 293.15 - freeze.DRY_ICE
    jacket = (0.1 + 5.0 * 15.875e-3) * 1000.0 * deep
    wide = 0.115875
    leak = 5.0 * math.pi * wide * (HALF_INCH.jacket_length + 0.5 * wide) * deep
    heat = plug.heat_removed.likely + jacket + leak * plug.ready.likely
    assert found.freeze.likely == pytest.approx(heat / (166.7e3 * 0.6), rel=0.007)


def test_a_total_is_its_parts_and_a_job_its_points() -> None:
    one = co2_mass.co2_mass(TWO_INCH, Feeding(hold=1800.0))
    three = co2_mass.co2_mass(TWO_INCH, Feeding(hold=1800.0, points=3))
    assert one.freeze is not None
    assert one.hold is not None
    assert one.total is not None
    assert three.job is not None
    assert one.total.likely == pytest.approx(one.freeze.likely + one.hold.likely)
    assert three.job.likely == pytest.approx(3.0 * one.total.likely)
    assert one.rate is not None
    assert one.hold.likely == pytest.approx(one.rate.likely * 1800.0)


def test_the_band_covers_the_capture_efficiency() -> None:
    """0.4 to 0.8 about 0.6: at least from 0.75 to 1.5 of the likely mass."""
    found = co2_mass.co2_mass(HALF_INCH, Feeding()).total
    assert found is not None
    assert found.high is not None
    assert found.low <= 0.76 * found.likely
    assert found.high >= 1.49 * found.likely


def test_a_colder_cylinder_cools_better() -> None:
    warm, cold = (
        co2_mass.co2_mass(replace(HALF_INCH, cylinder_temperature=ZERO_C + t), Feeding())
        for t in (20.0, 0.0)
    )
    assert warm.total is not None
    assert cold.total is not None
    ratio = co2.cooling(ZERO_C) / co2.cooling(ZERO_C + 20.0)
    assert warm.total.likely / cold.total.likely == pytest.approx(ratio, rel=1e-6)


@pytest.mark.parametrize(
    ("celsius", "verdict", "figures"), [(27.5, "conditional", True), (31.5, "no-go", False)]
)
def test_no_liquid_no_mass(celsius: float, verdict: str, figures: bool) -> None:
    job = replace(HALF_INCH, cylinder_temperature=ZERO_C + celsius)
    found = co2_mass.co2_mass(job, Feeding())
    assert found.verdict == verdict
    assert (found.total is not None) == figures


def test_a_cold_cylinder_is_cautioned() -> None:
    job = replace(HALF_INCH, cylinder_temperature=ZERO_C - 5.0)
    assert "cold-cylinder" in {n.code for n in co2_mass.co2_mass(job, Feeding()).cautions}


def test_hold_rate_falls_as_the_pipe_beside_cools() -> None:
    short, long = (co2_mass.co2_mass(TWO_INCH, Feeding(hold=h)).rate for h in (600.0, 7200.0))
    assert short is not None
    assert long is not None
    assert long.likely < short.likely
    assert course.solve(TWO_INCH).ready is not None
