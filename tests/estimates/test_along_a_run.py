"""Along runs of pipe: what is told of each place, its figures, and what lies on which run."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import (
    HALF_INCH,
    HOUR,
    TWO_INCH,
    high,
    known,
    point_of,
    request_of,
    solution_of,
    water,
)
from stillpipe.estimates import cautions, trapped_water
from stillpipe.estimates.course import Of
from stillpipe.estimates.hold_time import hold_time
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.spacing import (
    Rule,
    Sited,
    SpacingFigures,
    along,
    reasons,
    sited_alike,
    spacing,
)
from stillpipe.model.figures import Amount, Answer, Reason, Severity, Verdict
from stillpipe.model.observations import Frost, Seen
from stillpipe.model.requests import HoldTimeRequest, SpacingRequest
from stillpipe.model.site import Place, PlaceKind
from stillpipe.tables import pipes

INCH = 0.0254
JACKET = 0.025 + 60.3e-3
"""25 mm longer than the pipe is wide [m]."""


def place(name: str, kind: str, at: float, run: str | None = None) -> Place:
    """A place of a ``kind``, ``at`` [m] along its ``run``."""
    return Place(name=name, kind=PlaceKind(kind), at=at, run=run)


def request(*places: Place, hold: float = HOUR, **changes: Any) -> SpacingRequest:
    """A request for 2 in steel with these ``places``, plugs kept for ``hold`` [s]."""
    return request_of(SpacingRequest, TWO_INCH, places=places, hold=hold, **changes)


def answer_of(*places: Place, **changes: Any) -> Answer[SpacingFigures]:
    return spacing(request(*places, **changes))


def one(answer: Answer[SpacingFigures], code: str) -> Reason:
    """The only reason of that ``code``."""
    (found,) = [r for r in answer.reasons if r.code == code]
    return found


@pytest.fixture(scope="module")
def solution() -> Solution:
    return Solution(request(), HOUR)


@pytest.fixture(scope="module")
def small() -> Solution:
    """1/2 in copper, which closes long before 2 in steel."""
    return Solution(request_of(SpacingRequest, HALF_INCH, places=(), hold=HOUR), HOUR)


def test_places_are_taken_in_order_along_each_run_by_itself(solution: Solution) -> None:
    """Stated in no order, and at the same distances on two runs."""
    places = (
        place("b", "freeze-point", 3.0, "main"), place("valve", "valve", 1.4, "riser"),
        place("cut", "cut", 1.5, "main"), place("c", "freeze-point", 0.2, "riser"),
        place("a", "freeze-point", 0.0, "main"),
    )  # fmt: skip
    found = along(sited_alike(solution, places))
    pairs = {(r.run, r.rule, r.between): r.actual for r in found.rules}
    assert pairs == {
        ("main", "cut", ("a", "cut")): 1.5,
        ("main", "jackets", ("a", "b")): 3.0,
        ("main", "plugs", ("a", "b")): 3.0,
        ("main", "cut", ("cut", "b")): 1.5,
        ("riser", "valve", ("c", "valve")): pytest.approx(1.2),
    }
    (between,) = found.trapped_water
    assert (between.run, between.between) == ("main", ("a", "b"))


def test_two_plugs_by_hand_of_unlike_pipes(solution: Solution, small: Solution) -> None:
    """Half of each jacket and a foot; half of each plug, a quarter added, draw by draw."""
    sited = (
        Sited(place=place("a", "freeze-point", 0.0), solution=solution),
        Sited(place=place("b", "freeze-point", 1.0), solution=small),
    )
    rules = {r.rule: r for r in along(sited).rules}
    other = 0.025 + 15.875e-3
    assert rules["jackets"].required == pytest.approx(0.5 * (JACKET + other) + 12.0 * INCH)
    assert rules["jackets"].chance is None
    lengths = [
        np.maximum(s.grown(Of.SOUND, s.plan_end), s.point.jacket.length) for s in (solution, small)
    ]
    both = 0.5 * 1.25 * (lengths[0] + lengths[1])
    held = both[solution.holds & small.holds]
    assert rules["plugs"].required == pytest.approx(np.quantile(held, 0.95), rel=1e-3)
    assert rules["plugs"].chance == 1.0
    near = (sited[0], replace(sited[1], place=place("b", "freeze-point", float(np.median(held)))))
    (rule,) = [r for r in along(near).rules if r.rule == "plugs"]
    assert known(rule.chance) == pytest.approx(0.5, abs=1e-3)


@pytest.fixture(scope="module")
def wide() -> Solution:
    """2 in copper, whose rating is low and which closes late."""
    pipe = pipes.find("ASTM B88", "2", "L")
    return Solution(request_of(SpacingRequest, pipe, places=(), hold=HOUR), HOUR)


def test_the_vent_is_open_for_the_sooner_plug_where_the_later_is_the_worse(
    wide: Solution, small: Solution
) -> None:
    """Each as if both were like it, and both orders along the run."""
    ends = [place("a", "freeze-point", 1.0), place("b", "freeze-point", 3.0)]
    late, soon = (along(sited_alike(s, tuple(ends))).trapped_water[0] for s in (wide, small))
    assert late.pressure / late.rating > soon.pressure / soon.rating
    assert known(soon.vent_open_from) < known(late.vent_open_from)
    for pair in ((wide, small), (small, wide)):
        sited = tuple(Sited(place=p, solution=s) for p, s in zip(ends, pair, strict=True))
        (found,) = along(sited).trapped_water
        assert (found.pressure, found.rating) == (late.pressure, late.rating)
        assert found.vent_open_from == soon.vent_open_from


def test_water_is_as_long_as_its_plugs_are_apart(solution: Solution) -> None:
    """Wherever on the run they are."""
    first, other = (
        along(
            sited_alike(
                solution, (place("a", "freeze-point", at), place("b", "freeze-point", at + 3.0))
            )
        ).trapped_water[0]
        for at in (0.0, 2.0)
    )
    assert first.pressure == pytest.approx(other.pressure)
    assert first.frozen == pytest.approx(other.frozen)


def test_a_cut_may_lie_between_any_two_of_three_plugs() -> None:
    points = (
        place("a", "freeze-point", 0.0), place("b", "freeze-point", 1.5),
        place("c", "freeze-point", 3.0), place("v", "vent", 0.7), place("w", "vent", 2.3),
    )  # fmt: skip
    assert answer_of(*points, place("cut", "cut", 2.2)).verdict is Verdict.GO
    outside = one(answer_of(*points, place("cut", "cut", 4.0)), "cut-outside")
    assert outside.limit == Amount(3.0, "length")


def test_water_between_unlike_plugs_is_judged_by_the_worse(
    solution: Solution, small: Solution
) -> None:
    """As if both were like either; the vent is open before the sooner of them can be closed."""
    ends = [place("a", "freeze-point", 0.0, "main"), place("b", "freeze-point", 2.0, "main")]
    alone = [along(sited_alike(s, tuple(ends))).trapped_water[0] for s in (solution, small)]
    worse = max(alone, key=lambda w: w.pressure / w.rating)
    for pair in ((solution, small), (small, solution)):
        sited = tuple(Sited(place=p, solution=s) for p, s in zip(ends, pair, strict=True))
        (found,) = along(sited).trapped_water
        assert found.vent_open_from == alone[1].vent_open_from
        assert known(alone[1].vent_open_from) < known(alone[0].vent_open_from)
        assert (found.pressure, found.rating) == (worse.pressure, worse.rating)
        assert (found.run, found.between) == ("main", ("a", "b"))


@pytest.mark.parametrize(("at", "vented"), [(0.0, False), (0.7, True), (1.5, False), (2.0, False)])
def test_only_a_vent_between_two_plugs_vents(solution: Solution, at: float, vented: bool) -> None:
    places = (place("a", "freeze-point", 0.0), place("b", "freeze-point", 1.5))
    (found,) = along(sited_alike(solution, (*places, place("cock", "vent", at)))).trapped_water
    assert found.vented is vented
    assert found.verdict is (Verdict.GO if vented else Verdict.NO_GO)


def test_trapped_water_is_told_with_what_bounds_it() -> None:
    """Of several sections each has its own figure; the pipe or the weaker plug is the limit."""
    vent = place("cock", "vent", 0.7)
    answer = answer_of(
        place("a", "freeze-point", 0.0), vent, place("b", "freeze-point", 1.5),
        place("c", "freeze-point", 3.0),
    )  # fmt: skip
    assert [w.vented for w in answer.figures.trapped_water] == [True, False]
    reason, found = one(answer, "trapped-water"), answer.figures.trapped_water[1]
    assert (reason.severity, reason.text) == (Severity.STOP, found.found)
    assert reason.figure == "trapped_water.1.pressure"
    assert reason.value == Amount(found.pressure, "pressure")
    assert reason.limit == Amount(min(found.rating, known(found.weakest_holds)), "pressure")
    assert (reason.chance, reason.at) == (found.chance, found.vent_open_from)
    assert reason.action == trapped_water.VENT
    assert "b and c" in reason.text


def test_a_run_of_its_own_without_a_freeze_point_is_named() -> None:
    answer = answer_of(place("a", "freeze-point", 0.0, "main"), place("cut", "cut", 1.0, "riser"))
    reason = one(answer, "no-freeze-point")
    assert (reason.severity, reason.figure) == (Severity.STOP, "inputs.places")
    assert '"riser"' in reason.text
    assert "jackets" in reason.action
    assert "one-plug" not in {r.code for r in answer.reasons}


def test_a_cut_beside_a_single_plug_is_told_what_holds_the_other_side() -> None:
    answer = answer_of(place("a", "freeze-point", 0.0), place("cut", "cut", 2.0))
    reason = one(answer, "one-plug")
    assert (answer.verdict, reason.severity) == (Verdict.GO, Severity.INFO)
    assert reason.figure == "inputs.places"
    assert reason.text.startswith("The run has one freeze point")
    assert '"cut"' in reason.text
    assert "other side" in reason.action


@pytest.mark.parametrize(
    ("at", "nearest"), [(0.0, 1.0), (1.0, 1.0), (3.0, 3.0), (4.0, 3.0), (2.0, None)]
)
def test_a_cut_that_is_not_between_two_plugs_is_a_stop(at: float, nearest: float | None) -> None:
    answer = answer_of(
        place("a", "freeze-point", 1.0), place("v", "vent", 1.5), place("cut", "cut", at),
        place("b", "freeze-point", 3.0),
    )  # fmt: skip
    if nearest is None:
        assert answer.verdict is Verdict.GO
        return
    reason = one(answer, "cut-outside")
    assert (reason.severity, reason.figure) == (Severity.STOP, "inputs.places")
    assert reason.value == Amount(at, "length")
    assert reason.limit == Amount(nearest, "length")
    assert f"{at:.2f} m" in reason.text
    assert "from 1.00 to 3.00 m" in reason.text
    assert "each side" in reason.action


def test_of_rules_that_are_not_kept_the_one_that_lacks_most_is_told() -> None:
    """Three elbows beside a plug: the nearest is named, and that it is so with two more."""
    answer = answer_of(
        place("a", "freeze-point", 1.0), place("first", "fitting", 0.94),
        place("second", "fitting", 0.97), place("third", "fitting", 0.95),
    )  # fmt: skip
    reason = one(answer, "too-near-fitting")
    index = next(i for i, r in enumerate(answer.figures.rules) if "second" in r.between)
    rule = answer.figures.rules[index]
    assert reason.severity is Severity.STOP
    assert reason.figure == f"rules.{index}.actual"
    assert reason.value == Amount(rule.actual, "length")
    assert reason.limit == Amount(rule.required, "length")
    assert reason.chance == rule.chance
    assert "From second to a there are 0.03 m" in reason.text
    assert "so it is with 2 more" in reason.text
    assert f"{rule.required - 0.03:.2f} m more" in reason.action


def test_of_unlike_plugs_the_one_that_lacks_most_is_told(
    solution: Solution, small: Solution
) -> None:
    """An hour's plug on 1/2 in copper is longer than one on 2 in steel: its elbow is told."""
    sited = (
        Sited(place=place("large", "freeze-point", 0.0), solution=solution),
        Sited(place=place("far", "fitting", 0.03)),
        Sited(place=place("near", "fitting", 4.96)),
        Sited(place=place("small", "freeze-point", 5.0), solution=small),
    )
    found = along(sited)
    lacking = {r.between: r.required - r.actual for r in found.rules if r.rule == "fitting"}
    assert lacking["near", "small"] > lacking["large", "far"] + 0.005
    (reason,) = [r for r in reasons(sited, found) if r.code == "too-near-fitting"]
    assert "From near to small" in reason.text
    assert "so it is with 1 more" in reason.text


def test_a_rule_that_is_all_but_kept_is_a_warning() -> None:
    """A support 2 in beyond the jacket's end, and a twentieth of that less."""
    required = 0.5 * JACKET + 2.0 * INCH
    answer = answer_of(
        place("a", "freeze-point", 1.0), place("hanger", "support", 1.0 + 0.95 * required)
    )
    reason = one(answer, "near")
    assert (answer.verdict, reason.severity) == (Verdict.CONDITIONAL, Severity.WARN)
    assert reason.limit == Amount(pytest.approx(required), "length")
    assert known(reason.value).value == pytest.approx(0.95 * required)
    assert reason.chance is None
    assert "more" not in reason.text
    assert "watch the plug's end" in reason.action


@pytest.mark.parametrize(
    ("share", "verdict"),
    [
        (1.0, "go"),
        (0.999, "conditional"),
        (0.9, "conditional"),
        (0.901, "conditional"),
        (0.899, "no-go"),
    ],
)
def test_what_a_tenth_less_than_required_comes_to(share: float, verdict: str) -> None:
    required = known(rules(place("it", "support", 3.0))[0].required)
    (rule,) = rules(place("it", "support", share * required))
    assert rule.verdict is Verdict(verdict)


def rules(other: Place) -> tuple[Rule, ...]:
    """The rules between a plug at 0 m and ``other``."""
    return answer_of(place("a", "freeze-point", 0.0), other).figures.rules


def test_the_chance_that_a_plug_leaves_room_is_that_of_its_draws(solution: Solution) -> None:
    """A cut 2 in beyond half the median plug, a quarter added, is left so much in half of them."""
    lengths = np.maximum(solution.grown(Of.SOUND, solution.plan_end), JACKET)[solution.holds]
    wanted = np.sort(0.5 * 1.25 * lengths + 2.0 * INCH)
    at = float(wanted[len(wanted) // 2])
    (rule,) = rules(place("cut", "cut", at))
    assert known(rule.chance) == pytest.approx(0.5, abs=1e-3)
    assert known(rule.chance) == np.mean(wanted <= at), "the very draw that needs so much has it"
    assert (rule.between, rule.actual, rule.run) == (("a", "cut"), pytest.approx(at), None)


def test_the_answer_is_of_the_hold_that_is_asked_for() -> None:
    """Length, reasons, cautions and what it took are those of the plug after the hold."""
    changes: dict[str, Any] = {"fluid": water(25.0)}
    answer = answer_of(place("a", "freeze-point", 0.0), hold=600.0, **changes)
    asked = request_of(HoldTimeRequest, TWO_INCH, hold=600.0, **changes)
    assert answer.figures.plug_length == hold_time(asked).figures.plug_length
    assert high(answer.figures.plug_length) > 0.0
    assert answer.cautions == cautions.of_freeze(request(**changes))
    assert answer.effort.freezes == 17, "the likely one and a star of sixteen"
    assert answer.effort.units > 0
    assert answer.learned is None


def test_where_no_plug_closes_its_jacket_alone_is_kept_clear() -> None:
    """What stays slush has no length: half a jacket, a quarter added; and the reason is told."""
    slush = solution_of("propylene_glycol", 0.30)
    answer = answer_of(place("a", "freeze-point", 0.0), place("cut", "cut", 1.0), fluid=slush)
    assert answer.figures.plug_length is None
    (rule,) = answer.figures.rules
    assert rule.required == pytest.approx(0.5 * 1.25 * JACKET + 2.0 * INCH)
    two = answer_of(place("a", "freeze-point", 0.0), place("b", "freeze-point", 1.0), fluid=slush)
    assert two.figures.trapped_water[0].vent_open_from is None
    bare = answer_of(place("a", "freeze-point", 0.0), place("elbow", "fitting", 1.0), fluid=slush)
    assert bare.figures.rules[0].required == pytest.approx(0.5 * JACKET + 2.0 * INCH)
    assert "slush" in {r.code for r in answer.reasons}
    assert point_of(TWO_INCH).jacket.length == pytest.approx(JACKET)


def test_no_rule_binds_what_is_not_frozen() -> None:
    """A cut and a valve beside each other, far from the plug."""
    found = answer_of(
        place("a", "freeze-point", 0.0), place("cut", "cut", 5.0), place("it", "valve", 5.01)
    ).figures.rules
    assert [r.between for r in found] == [("a", "cut"), ("a", "it")]


@pytest.mark.parametrize(
    ("kind", "names"),
    [("cut", {"cut"}), ("heat-source", {"torch"}), ("fitting", {"fitting"}), ("valve", {"valve"}),
     ("support", {"support"}), ("freeze-point", {"jackets", "plugs"})],
)  # fmt: skip
def test_each_rule_says_its_name_why_and_whence(kind: str, names: set[str]) -> None:
    """What is reckoned says so; what is the trade's says that it has no source."""
    found = rules(place("it", kind, 3.0))
    assert {r.rule for r in found} == names
    for rule in found:
        reckoned = rule.rule in {"cut", "fitting", "valve", "plugs"}
        assert rule.source.startswith("computed" if reckoned else "common practice")
        assert rule.reason.endswith(".")
        assert (rule.chance is None) is (rule.rule in {"jackets", "support"})


def test_water_that_pipe_and_plugs_hold_is_a_warning() -> None:
    """200 m of it, of which one in a thousand freezes."""
    answer = answer_of(place("a", "freeze-point", 0.0), place("b", "freeze-point", 200.0))
    reason, found = one(answer, "unvented-water"), answer.figures.trapped_water[0]
    assert (answer.verdict, reason.severity) == (Verdict.CONDITIONAL, Severity.WARN)
    assert found.frozen < 2e-3
    assert reason.value == Amount(found.pressure, "pressure")


def test_what_was_seen_is_told_with_what_was_learned() -> None:
    seen = (Frost(kind=Seen.FROST, elapsed=700.0),)
    answer = answer_of(place("a", "freeze-point", 0.0), observations=seen)
    assert known(answer.learned).now == 700.0


def test_places_before_the_first_plug_are_judged_too() -> None:
    """A cut and a valve are no pair; each of them and the plug beyond is."""
    found = answer_of(
        place("cut", "cut", 0.0), place("it", "valve", 0.5), place("a", "freeze-point", 2.0)
    ).figures.rules
    assert [(r.rule, r.between) for r in found] == [
        ("cut", ("cut", "a")), ("valve", ("it", "a")),
    ]  # fmt: skip


def test_a_plug_that_closes_and_is_not_to_be_ready_counts_as_its_jacket() -> None:
    """Under 400 bar, which it does not carry: there is nothing to hold, and so no length."""
    answer = answer_of(place("a", "freeze-point", 0.0), place("cut", "cut", 1.0), line_pressure=4e7)
    assert answer.verdict is Verdict.NO_GO
    assert answer.figures.plug_length is None
    (rule,) = answer.figures.rules
    assert rule.required == pytest.approx(0.5 * 1.25 * JACKET + 2.0 * INCH)
