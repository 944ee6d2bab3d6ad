"""Frost check: states on the clock, causes with probabilities."""

from typing import Any

import pytest
from CoolProp.HumidAirProp import HAPropsSI

from estimates.jobs import (
    HALF_INCH,
    HOUR,
    ZERO_C,
    known,
    point_of,
    request_of,
    solution_of,
    water,
)
from stillpipe.errors import TooCostlyError
from stillpipe.estimates.faulty import Signs
from stillpipe.estimates.frost_check import (
    LEAST,
    FrostCheckFigures,
    FrostState,
    coldest_beside,
    frost_check,
)
from stillpipe.estimates.solution import Solution
from stillpipe.model.cylinder import CylinderTemperature
from stillpipe.model.figures import Answer, Range, Verdict
from stillpipe.model.freeze_point import Insulation, Lining
from stillpipe.model.observations import Frost, NoFrost, Seen, SurfaceTemperature, WeightDrawn
from stillpipe.model.requests import FrostCheckRequest
from stillpipe.physics import constants, film
from stillpipe.tables import pipes
from stillpipe.uncertainty import faults


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
    ("share", "state", "verdict"),
    [(0.48, FrostState.EARLY, Verdict.NO_GO), (0.52, FrostState.EARLY, Verdict.CONDITIONAL),
     (0.98, FrostState.EARLY, Verdict.CONDITIONAL), (1.02, FrostState.AS_EXPECTED, Verdict.GO)],
)  # fmt: skip
def test_frost_is_early_before_the_earliest_time_and_far_too_early_before_half_of_it(
    by: Range, share: float, state: FrostState, verdict: Verdict
) -> None:
    answer = answer_of(share * by.low, True)
    assert (answer.figures.state, answer.verdict) == (state, verdict)
    if verdict is Verdict.CONDITIONAL:
        text = reasons(answer)["frost-early"]
        assert f"Frost {share * by.low:.0f} s after the first feed is sooner" in text
        assert f"from {by.low:.0f} s on" in text


def test_no_frost_that_is_likelier_from_an_empty_pipe_than_from_a_sound_one_is_a_go(
    by: Range,
) -> None:
    for share in (0.3, 0.6, 0.9, 1.05, 1.2, 1.5):
        answer = answer_of(share * by.low, True)
        first = answer.figures.causes[0].code
        assert (answer.verdict is Verdict.GO) <= (first == "nothing-wrong"), share


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


def probabilities(answer: Answer[FrostCheckFigures]) -> dict[str, float]:
    """The probability of each cause that is told, in their order."""
    return {c.code: c.probability for c in answer.figures.causes}


def test_causes_are_ranked_and_each_says_what_to_do_first_and_what_tells_it() -> None:
    causes = answer_of(1800.0, False).figures.causes
    found = [c.probability for c in causes]
    assert found == sorted(found, reverse=True)
    assert sum(found) == pytest.approx(1.0, abs=12 * LEAST)
    assert {"flow", "jacket", "cylinder-empty"} <= {c.code for c in causes}
    assert all(c.text and c.first and c.tells for c in causes)
    assert "{" not in "".join(c.text + c.first + c.tells for c in causes)


def test_what_keeps_frost_away_for_good_leads_after_a_long_delay() -> None:
    """A flow or no liquid explain half an hour; a poor jacket hardly, warm water does not."""
    found = probabilities(answer_of(1800.0, False))
    assert set(list(found)[:2]) == {"flow", "cylinder-empty"}
    assert found["jacket"] < min(found["flow"], found["cylinder-empty"])
    assert "warm-water" not in found
    assert "nothing-wrong" not in found


def test_flow_does_not_always_lead(by: Range) -> None:
    """A cylinder that has lost nothing is empty; 35 degC far from the jacket is warm water.

    A pipe that is not cold near it speaks of a flow.
    """
    late = 1.5 * known(by.high)
    weighed, far, moved = (
        next(iter(probabilities(answer_of(late, False, observations=(seen,)))))
        for seen in (drawn(late, 0.02), surface(late, 0.3, 35.0), surface(late, 0.05, 19.0))
    )
    assert (weighed, far, moved) == ("cylinder-empty", "warm-water", "flow")


def drawn(elapsed: float, kilograms: float) -> WeightDrawn:
    """The cylinder is so much lighter, read to 50 g."""
    return WeightDrawn(
        kind=Seen.WEIGHT_DRAWN, elapsed=elapsed, value=kilograms, standard_uncertainty=0.05
    )


def surface(elapsed: float, distance: float, celsius: float) -> SurfaceTemperature:
    """The pipe is so warm at a ``distance`` [m] from the jacket."""
    return SurfaceTemperature(
        kind=Seen.SURFACE_TEMPERATURE, elapsed=elapsed, distance=distance, value=ZERO_C + celsius
    )


def test_a_cold_pipe_without_frost_speaks_of_dry_air_or_of_what_hides_it(by: Range) -> None:
    late = 1.2 * known(by.high)
    found = probabilities(answer_of(late, False, observations=(surface(late, 0.01, -14.0),)))
    assert set(list(found)[:2]) == {"dry-air", "insulated"}


def test_nothing_wrong_falls_as_time_passes_without_frost(by: Range) -> None:
    """From about its prior where no freeze has frost, to little where a sound one has."""
    found = [
        probabilities(answer_of(share * by.likely, False))["nothing-wrong"]
        for share in (0.3, 1.0, 1.5)
    ]
    assert found == sorted(found, reverse=True)
    assert found[0] == pytest.approx(0.48, abs=0.03)
    assert found[-1] < 0.2


def test_frost_in_time_makes_it_likely_that_nothing_is_wrong(by: Range) -> None:
    causes = answer_of(by.likely, True).figures.causes
    assert causes[0].code == "nothing-wrong"
    assert causes[0].probability > 0.6
    assert "cylinder-empty" not in {c.code for c in causes}


def test_no_frost_seen_counts_the_same_as_an_observation(by: Range) -> None:
    """Frost watched for at 1.5 times its usual time, told in one way or the other."""
    late = 1.5 * by.likely
    nothing = NoFrost(kind=Seen.NO_FROST, elapsed=late, standard_uncertainty=0.05 * late)
    direct = probabilities(answer_of(late, False))
    listed = probabilities(answer_of(1.0, False, observations=(nothing,)))
    for code in list(direct)[:4]:
        assert listed[code] == pytest.approx(direct[code], abs=0.03)


def test_when_frost_came_is_learned_from(by: Range) -> None:
    """Frost at the usual time leaves no poor jacket; at twice that it is one of the first."""
    usual, late = (
        probabilities(
            answer_of(3.0 * by.likely, True, observations=(Frost(kind=Seen.FROST, elapsed=when),))
        )
        for when in (by.likely, 2.5 * by.likely)
    )
    assert next(iter(usual)) == "nothing-wrong"
    assert late["jacket"] > 5.0 * usual.get("jacket", LEAST)


def test_the_overdue_freeze_is_weighed_by_the_chance_of_a_sound_one(by: Range) -> None:
    """What is observed does not make itself expected: no frost stays overdue."""
    late = 1.05 * known(by.high)
    plain = answer_of(late, False)
    seen = answer_of(late, False, observations=(NoFrost(kind=Seen.NO_FROST, elapsed=late),))
    assert plain.figures.state is seen.figures.state is FrostState.OVERDUE
    assert plain.figures.chance_of_no_frost == seen.figures.chance_of_no_frost < 0.05
    assert known(seen.figures.frost_by).likely > known(plain.figures.frost_by).likely


def test_a_small_delay_is_explained_by_warmer_water_and_a_long_one_is_not(by: Range) -> None:
    small, long = (answer_of(factor * known(by.high), False) for factor in (1.05, 8.0))
    assert probabilities(small)["warm-water"] > probabilities(long).get("warm-water", 0.0)
    text = next(c.text for c in small.figures.causes if c.code == "warm-water")
    assert "would explain" in text


def test_the_warmth_that_explains_a_delay_does(by: Range) -> None:
    """Frost at the 95th percentile of water as warm as said comes at the time that has passed."""
    elapsed = 1.25 * known(by.high)
    causes = answer_of(elapsed, False).figures.causes
    text = next(c.text for c in causes if c.code == "warm-water")
    celsius = float(text.split(" degC")[0].split()[-1])
    latest = [
        known(known(answer_of(0.0, False, warm).figures.frost_by).high)
        for warm in (celsius - 2.0, celsius + 2.0)
    ]
    assert latest[0] < elapsed < latest[1]


@pytest.mark.parametrize(
    ("change", "code"),
    [({"insulation": Insulation(material="elastomeric_foam", thickness=0.013)}, "insulated"),
     ({"relative_humidity": 0.1}, "dry-air")],
    ids=["insulation", "dry air"],
)  # fmt: skip
def test_what_is_stated_to_hide_frost_is_the_first_cause_of_none(
    by: Range, change: dict[str, Any], code: str
) -> None:
    late = 1.2 * known(by.high)
    stated, plain = (probabilities(answer_of(late, False, **x)) for x in (change, {}))
    assert next(iter(stated)) == code
    assert stated[code] > 3.0 * plain[code]


def test_a_stated_lining_makes_a_lined_pipe_less_probable() -> None:
    lining = Lining(material="iron_oxide_scale", thickness=0.0005)
    with_, without = (
        probabilities(answer_of(0.0, False, **x))["lined-pipe"] for x in ({"lining": lining}, {})
    )
    assert with_ == pytest.approx(0.5 * without, rel=0.05)


def test_the_observation_that_tells_two_causes_apart(by: Range) -> None:
    """Too soon to judge: wait. Cylinder against the next: its weight, which says how much."""
    soon = answer_of(0.8 * by.likely, False).figures.causes[0]
    assert soon.code == "nothing-wrong"
    assert f"{known(by.high):.0f} s" in soon.tells
    cylinder = next(c for c in answer_of(1800.0, False).figures.causes if c.code.startswith("cyl"))
    assert "Weigh the cylinder" in cylinder.tells
    assert "kg" in cylinder.tells


@pytest.mark.parametrize("concentration", [0.3, 0.6])
def test_slush_is_its_own_cause(concentration: float) -> None:
    """At 60 % the freezing curve gives no ice at all."""
    answer = answer_of(1800.0, False, fluid=solution_of("propylene_glycol", concentration))
    found = answer.figures
    assert (found.state, answer.verdict) == (FrostState.NO_FROST_POSSIBLE, Verdict.NO_GO)
    assert found.causes[0].code == "wrong-fluid"
    assert "slush" in found.causes[0].text
    assert "warm-water" not in {c.code for c in found.causes}


def test_warmer_water_than_warm_is_less_of_an_explanation() -> None:
    """Of water at 39.5 degC, by as many times its usual time."""
    usual = known(answer_of(0.0, False, 39.5).figures.frost_by)
    found = probabilities(answer_of(1.05 * known(usual.high), False, 39.5))
    cool = known(answer_of(0.0, False, 10.0).figures.frost_by)
    assert found["warm-water"] < probabilities(
        answer_of(1.05 * known(cool.high), False, 10.0)
    )["warm-water"]  # fmt: skip


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
    causes = answer.figures.causes
    assert causes[0].code == "pipe-empty"
    assert causes[0].probability > 0.8
    assert not {"flow", "warm-water", "cylinder-empty"} & {c.code for c in causes}


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
    assert [(c.code, c.probability) for c in causes] == [("cylinder-empty", 1.0)]
    assert "as stated" in causes[0].text


def test_a_flow_as_stated_that_keeps_the_pipe_open_is_the_cause() -> None:
    causes = answer_of(1800.0, False, fluid=water(flow=0.05)).figures.causes
    assert [(c.code, c.probability) for c in causes] == [("flow", 1.0)]
    assert "as stated" in causes[0].text


def flow_text(answer: Answer[FrostCheckFigures]) -> str:
    """What is said of a flow."""
    return next(c.text for c in answer.figures.causes if c.code == "flow")


def test_a_flow_is_counted_in_drips_only_where_they_can_be_counted() -> None:
    """Up to 600 a minute."""
    assert "drips a minute" in flow_text(answer_of(1800.0, False))
    wide = flow_text(beside(pipes.find("ASME B36.10M", "2", "40"), 20.0, HOUR, False))
    assert "kg/h" in wide
    assert "drips" not in wide


@pytest.mark.parametrize(
    ("code", "path"), [("flow", ("fluid", "flow")), ("cylinder-empty", ("elapsed",))]
)
def test_causes_that_cost_too_much_name_a_member(code: str, path: tuple[str, ...]) -> None:
    """With hardly any work left after the sound freeze."""
    before = Solution(request_of(FrostCheckRequest, elapsed=HOUR, frost_seen=False)).before
    fault = next(f for f in faults.catalogue() if f.cause == code)
    signs = Signs(before, (), HOUR)
    signs.of(next(f for f in faults.catalogue() if f.cause == "colder"), 5.0)
    before.work.counts[1] = before.work.taken + 100
    with pytest.raises(TooCostlyError) as caught:
        signs.of(fault, known(fault.severity).likely)
    assert [f.path for f in caught.value.faults] == [path]
