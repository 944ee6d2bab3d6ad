"""Frost check: states on the clock, causes ranked by what physics can weigh."""

from typing import Any

import pytest
from CoolProp.HumidAirProp import HAPropsSI

from estimates.jobs import HALF_INCH, HOUR, ZERO_C, known, point_of, request_of, solution_of
from stillpipe.estimates.frost_check import (
    FrostCheckFigures,
    FrostState,
    coldest_beside,
    frost_check,
)
from stillpipe.estimates.solution import Solution
from stillpipe.model.cylinder import CylinderTemperature
from stillpipe.model.figures import Answer, Range, Verdict
from stillpipe.model.requests import FrostCheckRequest
from stillpipe.physics import constants, film
from stillpipe.tables import pipes


def answer_of(
    elapsed: float, seen: bool, celsius: float = 20.0, **changes: Any
) -> Answer[FrostCheckFigures]:
    """The answer for 1/2 in copper: frost seen or not ``elapsed`` [s] after the first feed."""
    request = request_of(
        FrostCheckRequest, HALF_INCH, celsius, elapsed=elapsed, frost_seen=seen, **changes
    )
    return frost_check(request)


def reasons(answer: Answer[FrostCheckFigures]) -> dict[str, str]:
    """The reasons of an answer: code to sentence."""
    return {r.code: r.text for r in answer.reasons}


def beside(
    pipe: pipes.Pipe, room: float, elapsed: float, seen: bool, **changes: Any
) -> Answer[FrostCheckFigures]:
    """The answer for a line at 20 C in another pipe and ``room`` [C]."""
    return frost_check(
        request_of(FrostCheckRequest, pipe, 20.0, room, elapsed=elapsed, frost_seen=seen, **changes)
    )


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
    assert list(reasons(answer_of(0.5 * by.low, False))) == ["frost-too-early"]
    late = answer_of(1.01 * latest, False)
    assert (late.figures.state, late.verdict) == (FrostState.OVERDUE, Verdict.NO_GO)
    assert late.figures.causes
    assert answer_of(by.likely, True).figures.state is FrostState.AS_EXPECTED
    assert answer_of(by.likely, True).verdict is Verdict.GO
    assert answer_of(0.2 * by.low, True).figures.state is FrostState.EARLY
    assert f"{latest:.0f} s after the first feed" in reasons(late)["frost-overdue"]


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


THICK = pipes.find("ASTM D1785", "1/2", "80")
WIDE = pipes.find("ASTM D1785", "4", "80")
INCH = pipes.find("ASTM B88", "1", "L")


@pytest.mark.parametrize("pipe", [HALF_INCH, INCH], ids=lambda p: p.id)
def test_frost_far_too_early_is_never_a_go(pipe: pipes.Pipe) -> None:
    """6 s on 1 in: no full pipe does that."""
    answer = beside(pipe, 20.0, 6.0, True)
    assert (answer.figures.state, answer.verdict) == (FrostState.EARLY, Verdict.NO_GO)
    text = reasons(answer)["frost-early"]
    assert "empty, or smaller than stated" in text
    least = known(answer.figures.frost_by).low
    assert f"{0.5 * least:.0f} s" in text
    assert [c.code for c in answer.figures.causes] == ["pipe-empty", "smaller-pipe", "colder"]


@pytest.mark.parametrize(
    ("pipe", "room", "cause", "words"),
    [(THICK, 50.0, "warm-wall", "stays above 0 degC"),
     (WIDE, 24.0, "after-two-hours", "longer than two hours")],
    ids=["warm-wall", "after-two-hours"],
)  # fmt: skip
def test_no_frost_is_explained_by_its_reason(
    pipe: pipes.Pipe, room: float, cause: str, words: str
) -> None:
    """Thick plastic in a hot room ends above 0 C beside the jacket; a wide one gets there late."""
    unseen = beside(pipe, room, 1800.0, False)
    assert unseen.figures.frost_by is None
    assert unseen.figures.state is FrostState.NO_FROST_POSSIBLE
    assert words in reasons(unseen)[f"no-frost-{cause}"]
    seen = beside(pipe, room, 1800.0, True)
    assert seen.figures.state in (FrostState.EARLY, FrostState.UNEXPECTED)
    assert seen.verdict is not Verdict.GO
    assert seen.figures.causes[0].code == "pipe-empty"


def test_frost_where_none_can_come_is_conditional() -> None:
    """Seen after half an hour on thick plastic in a hot room."""
    hot = beside(THICK, 50.0, 1800.0, True)
    assert (hot.figures.state, hot.verdict) == (FrostState.UNEXPECTED, Verdict.CONDITIONAL)
    assert "stays above 0 degC" in reasons(hot)["frost-unexpected"]


def test_frost_on_what_stays_slush_is_unexpected_and_no_go() -> None:
    fluid = solution_of("propylene_glycol", 0.3)
    unseen, seen = (answer_of(1800.0, x, fluid=fluid) for x in (False, True))
    assert "no plug forms" in reasons(unseen)["no-frost-no-plug"]
    assert "no plug forms" in reasons(seen)["frost-unexpected"]
    assert (seen.figures.state, seen.verdict) == (FrostState.UNEXPECTED, Verdict.NO_GO)


def test_dry_air_is_named_and_what_is_seen_in_it_is_judged_by_the_clock(by: Range) -> None:
    unseen, seen = (
        answer_of(by.likely, x, relative_humidity=0.001) for x in (False, True)
    )  # fmt: skip
    assert "too dry" in reasons(unseen)["no-frost-dry-air"]
    assert "no-frost-warm-wall" not in reasons(unseen)
    assert seen.figures.state is FrostState.AS_EXPECTED


@pytest.mark.parametrize(
    ("pipe", "within"), [(HALF_INCH, 1.0), (pipes.find("ASTM F876", "1", "SDR 9"), 5.0)],
    ids=["copper", "pex"],
)  # fmt: skip
def test_the_coldest_beside_the_jacket_is_where_the_solver_ends(
    pipe: pipes.Pipe, within: float
) -> None:
    """After eight hours the wall is at 0 C where the steady fin has it [K]."""
    solution = Solution(point_of(pipe), 8 * HOUR)
    history = solution.fine.history(8 * HOUR)
    distance = 0.5 * (history.bonded_length[-1] - solution.point.jacket.length)
    assert coldest_beside(solution, distance) == pytest.approx(ZERO_C, abs=within)


def test_the_coldest_beside_the_jacket_between_dry_ice_and_room() -> None:
    """Warmer the farther, the warmer the room and the weaker the jacket; at the room's far off."""
    solution = Solution(point_of())
    along = [coldest_beside(solution, x) for x in (0.0, 0.01, 0.1, 1.0, 5.0)]
    assert along == sorted(along)
    assert constants.DRY_ICE < along[0] < ZERO_C
    assert along[-1] == pytest.approx(ZERO_C + 20.0, abs=0.1)
    rooms = [coldest_beside(Solution(point_of(THICK, 20.0, r)), 0.01) for r in (10.0, 30.0, 50.0)]
    assert rooms == sorted(rooms)


def test_a_cylinder_without_liquid_ranks_first() -> None:
    hot = CylinderTemperature(temperature=ZERO_C + 35.0)
    causes = answer_of(1800.0, False, cylinder=hot).figures.causes
    assert (causes[0].code, causes[0].weight) == ("cylinder-empty", 1.0)
    assert "as stated" in causes[0].text


def test_a_flow_is_counted_in_drips_only_where_they_can_be_counted() -> None:
    """Up to 600 a minute."""
    small = answer_of(1800.0, False).figures.causes[0].text
    assert "drips a minute" in small
    wide = beside(pipes.find("ASME B36.10M", "2", "40"), 20.0, HOUR, False).figures.causes[0].text
    assert "kg/h" in wide
    assert "drips" not in wide
