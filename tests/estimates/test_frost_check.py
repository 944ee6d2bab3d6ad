"""Frost check: states on the clock, causes ranked by what physics can weigh."""

from dataclasses import replace

import pytest
from CoolProp.HumidAirProp import HAPropsSI

from estimates.jobs import HALF_INCH, ZERO_C
from stillpipe.estimates.frost_check import frost_check
from stillpipe.physics import humidity
from stillpipe.tables import fluids


@pytest.mark.parametrize("celsius", [5.0, 20.0, 35.0])
@pytest.mark.parametrize("relative", [0.3, 0.6, 0.95])
def test_dew_point_is_that_of_humid_air(celsius: float, relative: float) -> None:
    """CoolProp's HAPropsSI (Herrmann, Kretzschmar and Gatley), 0.15 K."""
    expected = HAPropsSI("D", "T", ZERO_C + celsius, "P", 101325, "R", relative)
    found = humidity.frost_point(ZERO_C + celsius, relative)
    assert found == pytest.approx(expected, abs=0.15)


def test_states_follow_the_clock() -> None:
    by = frost_check(HALF_INCH, 0.0, False).frost_by
    assert by is not None
    assert by.high is not None
    assert frost_check(HALF_INCH, 0.5 * by.low, False).state == "too-early"
    assert frost_check(HALF_INCH, 0.99 * by.high, False).state == "too-early"
    late = frost_check(HALF_INCH, 1.01 * by.high, False)
    assert (late.state, late.verdict) == ("overdue", "no-go")
    assert late.causes
    assert frost_check(HALF_INCH, by.likely, True).state == "as-expected"
    assert frost_check(HALF_INCH, 0.2 * by.low, True).state == "early"


def test_causes_are_ranked_and_each_says_what_to_do_first() -> None:
    causes = frost_check(HALF_INCH, 1800.0, False).causes
    weights = [c.weight for c in causes]
    assert weights == sorted(weights, reverse=True)
    assert {"flow", "warm-water", "jacket", "cylinder-empty"} <= {c.code for c in causes}
    assert causes[0].code == "flow"
    assert all(c.first for c in causes)


def test_a_small_delay_is_explained_by_warmer_water_and_a_long_one_is_not() -> None:
    by = frost_check(HALF_INCH, 0.0, False).frost_by
    assert by is not None
    assert by.high is not None
    small, long = (
        next(c for c in frost_check(HALF_INCH, f * by.high, False).causes if c.code == "warm-water")
        for f in (1.05, 8.0)
    )
    assert small.weight > long.weight
    assert "would explain" in small.text


@pytest.mark.parametrize("concentration", [0.3, 0.6])
def test_slush_is_its_own_cause(concentration: float) -> None:
    """At 60 % the freezing curve gives no ice at all."""
    glycol = fluids.find("propylene_glycol")
    job = replace(HALF_INCH, fluid=glycol, concentration=concentration)
    found = frost_check(job, 1800.0, False)
    assert (found.state, found.verdict) == ("no-frost-possible", "no-go")
    assert found.causes[0].code == "wrong-fluid"
    assert "slush" in found.causes[0].text
    assert "warm-water" not in {c.code for c in found.causes}


def test_warm_water_as_told_ranks_high() -> None:
    job = replace(HALF_INCH, fluid_temperature=ZERO_C + 39.5)
    causes = frost_check(job, 3600.0, False).causes
    assert next(c for c in causes if c.code == "warm-water").weight == pytest.approx(0.9)
