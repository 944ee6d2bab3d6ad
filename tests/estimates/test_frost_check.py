"""Frost check: states on the clock, causes ranked by what physics can weigh."""

from typing import Any

import pytest
from CoolProp.HumidAirProp import HAPropsSI

from estimates.jobs import HALF_INCH, ZERO_C, known, request_of, solution_of
from stillpipe.estimates.frost_check import FrostCheckFigures, FrostState, frost_check
from stillpipe.model.figures import Answer, Range, Verdict
from stillpipe.model.requests import FrostCheckRequest
from stillpipe.physics import film


def answer_of(
    elapsed: float, seen: bool, celsius: float = 20.0, **changes: Any
) -> Answer[FrostCheckFigures]:
    """The answer for 1/2 in copper: frost seen or not ``elapsed`` [s] after the first feed."""
    request = request_of(
        FrostCheckRequest, HALF_INCH, celsius, elapsed=elapsed, frost_seen=seen, **changes
    )
    return frost_check(request)


@pytest.fixture(scope="module")
def by() -> Range:
    """When frost is expected on 1/2 in copper."""
    found = known(answer_of(0.0, False).figures.frost_by)
    assert found.high is not None
    return found


@pytest.mark.parametrize("celsius", [5.0, 20.0, 35.0])
@pytest.mark.parametrize("relative", [0.3, 0.6, 0.95])
def test_dew_point_is_that_of_humid_air(celsius: float, relative: float) -> None:
    """CoolProp's HAPropsSI (Herrmann, Kretzschmar and Gatley), 0.15 K."""
    expected = HAPropsSI("D", "T", ZERO_C + celsius, "P", 101325, "R", relative)
    found = film.frost_point(ZERO_C + celsius, relative)
    assert found == pytest.approx(expected, abs=0.15)


def test_states_follow_the_clock(by: Range) -> None:
    latest = known(by.high)
    assert answer_of(0.5 * by.low, False).figures.state is FrostState.TOO_EARLY
    assert answer_of(0.99 * latest, False).figures.state is FrostState.TOO_EARLY
    late = answer_of(1.01 * latest, False)
    assert (late.figures.state, late.verdict) == (FrostState.OVERDUE, Verdict.NO_GO)
    assert late.figures.causes
    assert answer_of(by.likely, True).figures.state is FrostState.AS_EXPECTED
    assert answer_of(0.2 * by.low, True).figures.state is FrostState.EARLY


@pytest.mark.parametrize(
    ("share", "state"), [(0.48, FrostState.EARLY), (0.52, FrostState.AS_EXPECTED)]
)
def test_frost_is_early_before_half_of_the_earliest_time(
    by: Range, share: float, state: FrostState
) -> None:
    assert answer_of(share * by.low, True).figures.state is state


@pytest.mark.parametrize(
    ("frost_point", "state"),
    [(-41.0, FrostState.NO_FROST_POSSIBLE), (-39.0, FrostState.OVERDUE),
     (-15.0, FrostState.OVERDUE)],
)  # fmt: skip
def test_air_is_too_dry_for_frost_below_a_frost_point_of_minus_40(
    frost_point: float, state: FrostState
) -> None:
    """Humidity of air at 20 C by its frost point [C]: CoolProp's HAPropsSI."""
    relative = HAPropsSI("R", "T", ZERO_C + 20.0, "P", 101325, "D", ZERO_C + frost_point)
    found = answer_of(3600.0, False, relative_humidity=relative).figures
    assert found.frost_point == pytest.approx(ZERO_C + frost_point, abs=0.3)
    assert found.state is state


def test_causes_are_ranked_and_each_says_what_to_do_first() -> None:
    causes = answer_of(1800.0, False).figures.causes
    weights = [c.weight for c in causes]
    assert weights == sorted(weights, reverse=True)
    assert {"flow", "warm-water", "jacket", "cylinder-empty"} <= {c.code for c in causes}
    assert causes[0].code == "flow"
    assert all(c.first for c in causes)


def test_the_rank_of_every_cause_of_a_long_delay() -> None:
    """Two that physics weighs, flow and jacket, stand before what is asked by common practice.

    Then the cylinder, then water too warm to be water in a line, then what is rare.
    """
    causes = answer_of(1800.0, False, relative_humidity=0.2).figures.causes
    assert [c.code for c in causes] == [
        "flow", "jacket", "cylinder-empty", "warm-water", "wrong-fluid", "lined-pipe", "dry-air",
    ]  # fmt: skip


def test_a_small_delay_is_explained_by_warmer_water_and_a_long_one_is_not(by: Range) -> None:
    small, long = (
        next(
            c
            for c in answer_of(factor * known(by.high), False).figures.causes
            if c.code == "warm-water"
        )
        for factor in (1.05, 8.0)
    )
    assert small.weight > long.weight
    assert "would explain" in small.text


def test_the_warmth_that_explains_a_delay_does(by: Range) -> None:
    """Frost on the slowest run of water as warm as said comes at the time that has passed."""
    elapsed = 1.05 * known(by.high)
    causes = answer_of(elapsed, False).figures.causes
    text = next(c.text for c in causes if c.code == "warm-water")
    celsius = float(text.split(" degC")[0].split()[-1])
    latest = [
        known(known(answer_of(0.0, False, warm).figures.frost_by).high)
        for warm in (celsius - 1.0, celsius + 1.0)
    ]
    assert latest[0] < elapsed < latest[1]


@pytest.mark.parametrize("concentration", [0.3, 0.6])
def test_slush_is_its_own_cause(concentration: float) -> None:
    """At 60 % the freezing curve gives no ice at all."""
    answer = answer_of(1800.0, False, fluid=solution_of("propylene_glycol", concentration))
    found = answer.figures
    assert (found.state, answer.verdict) == (FrostState.NO_FROST_POSSIBLE, Verdict.NO_GO)
    assert found.causes[0].code == "wrong-fluid"
    assert "slush" in found.causes[0].text
    assert "warm-water" not in {c.code for c in found.causes}


def test_warm_water_as_stated_ranks_high() -> None:
    causes = answer_of(3600.0, False, 39.5).figures.causes
    weight = next(c.weight for c in causes if c.code == "warm-water")
    assert weight == pytest.approx(0.9)
