"""What a job lets into its room, by hand: of all freeze points, one stretch after another."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.by_hand import Frozen, group_of, kind_of, plan_of
from estimates.test_job_points import MAIN, RETURN, replace, stated
from stillpipe.estimates.co2_mass import Consumption
from stillpipe.estimates.job import air
from stillpipe.estimates.job.plan import Kind, Plan
from stillpipe.model.figures import Answer, Reason, Severity
from stillpipe.model.site import Release, Room

ROOM = Room(volume=60.0, air_changes=2.0 / 3600.0)
FIRST, SECOND = (1000.0, 1600.0, 2600.0), (3600.0, 3800.0, 4400.0)
"""When a group is fed, ready and stopped [s] after arrival."""


def fed(ready: float, freeze: float, rate: float) -> Consumption:
    """So much for the freeze [kg] in so long [s], then at a rate [kg/s], in every draw but one.

    The last of the hundred draws takes a hundred times as much, which does not decide.
    """
    share = np.ones(100)
    share[-1] = 100.0
    return Consumption(
        ready=ready, hold_duration=0.0, freeze=freeze * share, hold=share, rate=rate * share
    )


def planned(*groups: tuple[tuple[str, ...], tuple[float, float, float]], **job: Any) -> Plan:
    """Groups of freeze points by their names, each a kind of its own, with their times."""
    given: dict[str, Any] = {"room": ROOM, "decision_probability": 0.95} | job
    request = stated(RETURN, replace(RETURN, name="flow"), MAIN, **given)
    found = []
    for number, (names, (feed, ready, stop)) in enumerate(groups, start=1):
        kinds = [kind_of(request, Frozen(n), *n.split("+"), group=number) for n in names]
        found.append(group_of(*kinds, feed=feed, ready=ready, stop=stop))
    return plan_of(request, *found)


def released(plan: Plan, *drawn: Consumption) -> list[tuple[float, float]]:
    """The stretches of a plan whose kinds draw so much: how long [s], and how much [g/s]."""
    known: dict[Kind, Consumption] = dict(zip(plan.kinds, drawn, strict=True))
    found = air._releases(plan, known)
    return [(x.duration, pytest.approx(1e3 * x.rate)) for x in found]


def test_a_point_lets_out_its_freeze_evenly_and_then_what_holds_it() -> None:
    """0.6 kg in 600 s, 1 g/s; then 0.3 g/s until the stop, 1,600 s after the first feed."""
    plan = planned((("boiler return",), FIRST))
    assert released(plan, fed(600.0, 0.6, 0.3e-3)) == [(600.0, 1.0), (1000.0, 0.3)]


def test_two_points_that_are_alike_let_out_twice_as_much() -> None:
    plan = planned((("boiler return+flow",), FIRST))
    assert released(plan, fed(600.0, 0.6, 0.3e-3)) == [(600.0, 2.0), (1000.0, 0.6)]


def test_of_a_group_the_first_to_be_ready_is_held_until_the_stop() -> None:
    """1 g/s and 2 g/s; from 300 s on 0.25 and 2; from 600 s on 0.25 and 0.5."""
    plan = planned((("boiler return", "sprinkler main"), FIRST))
    found = released(plan, fed(300.0, 0.3, 0.25e-3), fed(600.0, 1.2, 0.5e-3))
    assert found == [(300.0, 3.0), (300.0, 2.25), (1000.0, 0.75)]


def test_between_two_groups_nothing_is_let_out() -> None:
    """The second is fed 2,600 s after the first, 1,000 s after that was stopped."""
    plan = planned((("boiler return",), FIRST), (("sprinkler main",), SECOND))
    found = released(plan, fed(600.0, 0.6, 0.3e-3), fed(200.0, 0.8, 0.5e-3))
    assert found == [(600.0, 1.0), (1000.0, 0.3), (1000.0, 0.0), (200.0, 4.0), (600.0, 0.5)]


def test_a_plug_that_is_not_held_is_still_fed_for_a_second() -> None:
    plan = planned((("boiler return",), (1000.0, 1600.0, 1600.0)))
    assert released(plan, fed(600.0, 0.6, 0.3e-3)) == [(600.0, 1.0), (1.0, 0.3)]


def test_what_has_no_end_at_the_chance_that_decides_lets_nothing_out() -> None:
    plan = planned((("boiler return",), FIRST))
    endless = fed(600.0, np.inf, 0.3e-3)
    assert released(plan, endless) == [(600.0, 0.0), (1000.0, 0.3)]


def test_the_air_is_that_of_the_room_with_all_that_is_let_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[tuple[Any, ...]] = []
    monkeypatch.setattr(air.ventilation, "air", lambda *told: asked.append(told) or "air")
    plan = planned((("boiler return",), FIRST))
    (kind,) = plan.kinds
    drawn = {kind: fed(600.0, 0.6, 0.3e-3)}
    assert air.air(plan, drawn) == "air"
    ((room, releases),) = asked
    assert room == plan.request.room
    assert isinstance(releases, tuple)
    assert [x.duration for x in releases] == [600.0, 1000.0]
    assert all(isinstance(x, Release) for x in releases)
    assert air.air(plan, {}) is None
    outdoors = planned((("boiler return",), FIRST), room=None)
    assert air.air(outdoors, dict.fromkeys(outdoors.kinds, drawn[kind])) is None
    assert len(asked) == 1


def test_without_a_room_it_is_said_that_nobody_has_judged_its_air() -> None:
    (told,) = air.reasons(planned((("boiler return",), FIRST), room=None), None)
    assert (told.code, told.severity, told.figure) == (
        "air-not-judged", Severity.WARN, "inputs.room",
    )  # fmt: skip
    assert told.text.startswith("No room was stated")
    assert told.action.startswith("State the room")


def test_reasons_found_with_the_air_are_about_figures_of_the_air() -> None:
    plan = planned((("boiler return",), FIRST))
    found = (Reason("over", "Over.", figure="peak"), Reason("stated", "So.", figure="inputs.room"))
    answer: Answer[Any] = Answer(reasons=found, cautions=(), figures=SimpleNamespace())
    told = air.reasons(plan, answer)
    assert [(r.code, r.figure) for r in told] == [("over", "air.peak"), ("stated", "inputs.room")]
    assert air.reasons(plan, None) == ()
