"""The moments of a job: of which points, when at the earliest and the latest, and on the clock."""

import math
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C, known
from estimates.test_job_estimate import job
from estimates.test_job_points import MAIN, REPAIR, RETURN, SETUP, two
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.timeline import Event, of_point, timeline
from stillpipe.estimates.manifold import Exchange, ExchangedPoint
from stillpipe.estimates.solution import Solution
from stillpipe.model.figures import Range
from stillpipe.model.freeze_point import Fluid
from stillpipe.model.job import Cooling, CoolingMethod, LineFluid

PLUG = ("frost-by", "closed", "ready", "bond-lost", "thawed")
SMALL, LARGE = "boiler return", "sprinkler main"


@pytest.fixture(scope="module")
def plan() -> Plan:
    """Both pipes in one group."""
    return Plan(two(start=datetime.fromisoformat("2031-03-04T07:30:00+01:00")))


@pytest.fixture
def events(plan: Plan) -> tuple[Event, ...]:
    return timeline(plan, ())


@pytest.fixture(scope="module")
def alike() -> Plan:
    """Two points alike on 1/2 in copper."""
    return Plan(job(start=None))


def of(events: tuple[Event, ...], code: str, name: str | None = None) -> Event:
    """The only moment of a ``code``, of a point by ``name``."""
    (found,) = [e for e in events if e.code == code and (name is None or name in e.points)]
    return found


def held(plan: Plan, name: str) -> Solution:
    """A point of the only group, fed until the last of it is done."""
    (group,) = plan.groups
    return next(k.solution for k in group.kinds if name in k.names)


def ends(event: Event) -> tuple[float, float, float | None]:
    return event.earliest, event.at, event.latest


def of_range(span: Range | None, since: float) -> tuple[Any, Any, Any]:
    """A range that must be there, moved by ``since`` [s]."""
    found = known(span)
    high = None if found.high is None else pytest.approx(found.high + since)
    return pytest.approx(found.low + since), pytest.approx(found.likely + since), high


def test_every_moment_of_each_plug_is_told_once_with_its_range(
    plan: Plan, events: tuple[Event, ...]
) -> None:
    """Frost and closure since the first feed, letting go and thaw since the cylinders are shut."""
    for name in (SMALL, LARGE):
        solution = held(plan, name)
        for code, span, since in (
            ("frost-by", solution.frost_by, SETUP), ("closed", solution.closure, SETUP),
        ):  # fmt: skip
            assert ends(of(events, code, name)) == of_range(span, since)
        stop = SETUP + known(plan.solution_of(LARGE).planned_ready) + REPAIR
        lost, survival = of(events, "bond-lost", name), known(solution.survival)
        assert ends(lost) == (
            pytest.approx(stop + survival.low), pytest.approx(stop + survival.low),
            None if survival.high is None else pytest.approx(stop + survival.high),
        )  # fmt: skip
    assert [e.at for e in events] == sorted(e.at for e in events)
    assert {e.code for e in events} == {"arrive", "feed", "stop", "help-thaw", *PLUG}
    said = {e.code: e.text for e in events}
    for code, words in (
        ("frost-by", "look for the cause"), ("closed", "frozen shut"),
        ("bond-lost", "the line must be whole"), ("help-thaw", "never with a flame"),
        ("thawed", "look for leaks"), ("stop", "close the cylinders"), ("arrive", "jackets"),
    ):  # fmt: skip
        assert words in said[code]


def test_ready_is_planned_and_only_the_last_is_cut(plan: Plan, events: tuple[Event, ...]) -> None:
    """Each at its planned time, no later than its latest; work waits for the slower."""
    for name, told in ((SMALL, "others are not ready"), (LARGE, "cut no earlier")):
        solution, event = plan.solution_of(name), of(events, "ready", name)
        planned, span = known(solution.planned_ready), known(solution.ready)
        assert event.at == pytest.approx(SETUP + planned)
        assert event.earliest == pytest.approx(SETUP + span.low)
        assert known(event.latest) == pytest.approx(SETUP + max(known(span.high), planned))
        assert told in event.text.lower()
        chance = float(np.mean(solution.readies <= planned))
        assert f"probability of {math.floor(100.0 * chance)} %" in event.text
        assert chance > 0.94
    assert "cut" not in of(events, "ready", SMALL).text


def test_a_chance_of_one_half_plans_with_half_of_the_plugs() -> None:
    """The 5th percentile stays the earliest, the 95th the latest."""
    plan = Plan(job(decision_probability=0.5))
    event, solution = of(timeline(plan, ()), "ready"), plan.groups[0].kinds[0].solution
    assert "probability of 50 %" in event.text
    assert ends(event) == of_range(solution.ready, SETUP)


def test_moments_are_of_a_group_and_of_the_points_that_differ(events: tuple[Event, ...]) -> None:
    for event in events:
        assert event.group == (None if event.code == "arrive" else 1)
        one = event.code in PLUG or event.code == "help-thaw"
        assert len(event.points) == (1 if one else 0), event.code
    fixed = {e.code: e for e in events if e.code in ("arrive", "feed", "stop")}
    assert ends(fixed["arrive"]) == (0.0, 0.0, 0.0)
    assert ends(fixed["feed"]) == (SETUP, SETUP, SETUP)
    assert fixed["stop"].earliest == fixed["stop"].at == fixed["stop"].latest
    assert "all freeze points" in fixed["feed"].text
    assert all(e.text for e in events)


def test_points_that_are_alike_are_not_named(alike: Plan) -> None:
    for event in timeline(alike, ()):
        assert event.points == ()
        assert event.clock is None


def test_each_moment_has_its_time_of_day(events: tuple[Event, ...]) -> None:
    """To the second, from 07:30 in the zone that was stated."""
    for event in events:
        moment = datetime.fromisoformat(known(event.clock))
        since = moment - datetime.fromisoformat("2031-03-04T07:30:00+01:00")
        assert since == timedelta(seconds=round(event.at))
        assert known(event.clock).endswith("+01:00")


def test_the_moments_of_one_point_are_its_own_and_those_of_all(events: tuple[Event, ...]) -> None:
    own = of_point(events, 1, SMALL)
    assert {e.points for e in own} == {(), (SMALL,)}
    assert {e.code for e in own} == {"arrive", "feed", "stop", *PLUG}
    assert [e.code for e in of_point(events, 2, SMALL)] == ["arrive"]


def test_a_second_group_is_fed_when_the_jackets_have_been_moved() -> None:
    """Moved when the first is done, named in words; all moments have their group."""
    plan = Plan(two(jackets=1))
    found = timeline(plan, ())
    move = of(found, "move")
    stops = [e.at for e in found if e.code == "stop"]
    assert (move.group, ends(move)) == (2, (stops[0], stops[0], stops[0]))
    assert LARGE in move.text
    feeds = {e.group: e for e in found if e.code == "feed"}
    assert SMALL in feeds[1].text
    assert LARGE in feeds[2].text
    assert "all freeze points" not in feeds[1].text
    assert {e.group for e in found if LARGE in e.points} == {2}
    assert {e.group for e in found if SMALL in e.points} == {1}


def swap(at: float, *names: str, manifold: str = "1") -> Exchange:
    """An exchange ``at`` [s] since the first feed, for these points."""
    return Exchange(
        manifold=manifold, cylinder=3, at=at, verdict="survived", advice="Be quick.",
        points=tuple(ExchangedPoint(name=n, verdict="survived") for n in names),
    )  # fmt: skip


def test_an_exchange_is_a_moment_of_the_group_that_hangs_on_it() -> None:
    """Since the group's own first feed; of a manifold of its own it is named."""
    plan = Plan(two(jackets=1))
    swaps = (swap(700.0, SMALL), swap(900.0, LARGE, manifold="plant room"))
    found = [e for e in timeline(plan, swaps) if e.code == "exchange"]
    feeds = [e.at for e in timeline(plan, ()) if e.code == "feed"]
    assert [e.at for e in found] == [pytest.approx(feeds[0] + 700.0), pytest.approx(feeds[1] + 900)]
    assert [(e.group, e.points) for e in found] == [(1, (SMALL,)), (2, (LARGE,))]
    assert [e.text for e in found] == [
        "Exchange cylinder 3. Be quick.",
        "Exchange cylinder 3 of manifold plant room. Be quick.",
    ]
    assert all(e.earliest == e.at == e.latest for e in found)


def test_a_plug_that_does_not_thaw_soon_is_helped_after_two_hours(
    plan: Plan, events: tuple[Event, ...]
) -> None:
    """The steel takes longer than the help would, the copper does not."""
    stop = of(events, "stop").at
    helped = of(events, "help-thaw")
    assert ends(helped) == (pytest.approx(stop + 7200.0),) * 3
    assert helped.points == (LARGE,)
    natural = known(held(plan, SMALL).thaw)
    assert of(events, "thawed", SMALL).at == pytest.approx(stop + natural.likely)
    assert of(events, "thawed", LARGE).at > helped.at


def test_a_warm_line_is_fed_when_it_is_cool() -> None:
    """35 C in a room at 20: by itself; flushed where that is asked for; never in a warm room."""
    by_itself = timeline(Plan(job(HALF_INCH, 35.0)), ())
    flushed = timeline(Plan(job(HALF_INCH, 35.0, cooling=Cooling(method=CoolingMethod.FLUSH))), ())
    for found, word in ((by_itself, "has cooled to 25"), (flushed, "flushed with cold water")):
        cooled = of(found, "cooled")
        assert word in cooled.text
        assert cooled.group == 1
        assert cooled.earliest < cooled.at < known(cooled.latest)
        assert of(found, "feed").at >= cooled.at
    never = Plan(job(HALF_INCH, 35.0, 30.0, cooling=Cooling(method=CoolingMethod.ROOM)))
    assert [e.code for e in timeline(never, ())] == ["arrive"]
    assert "cooled" not in {e.code for e in timeline(Plan(job()), ())}


def test_only_the_warm_one_of_two_lines_is_cooled() -> None:
    warm = LineFluid(temperature=ZERO_C + 30.0)
    found = timeline(Plan(two(freeze_points=(RETURN, replace(MAIN, fluid=warm)))), ())
    assert of(found, "cooled").points == (LARGE,)


def test_of_a_plug_that_is_not_to_come_nothing_is_told() -> None:
    """A flow that keeps it open: nobody feeds. Slush: it is fed and never cut."""
    flowing = Plan(job(TWO_INCH, fluid=Fluid(temperature=ZERO_C + 20.0, flow=0.05)))
    names = tuple(n for k in flowing.groups[0].kinds for n in k.names)
    assert [e.code for e in timeline(flowing, (swap(100.0, *names),))] == ["arrive"]
    slush = Fluid(type="propylene_glycol", concentration=0.3, temperature=ZERO_C + 20.0)
    assert [e.code for e in timeline(Plan(job(fluid=slush)), ())] == ["arrive", "feed"]


def test_a_plug_that_may_never_be_ready_has_no_latest_time() -> None:
    """2 in steel under 40 bar: three in four get there, and it is planned with those."""
    plan = Plan(job(TWO_INCH, line_pressure=4e6))
    solution = plan.groups[0].kinds[0].solution
    event = of(timeline(plan, ()), "ready")
    assert known(solution.ready).high is None
    assert ends(event) == (
        pytest.approx(SETUP + known(solution.ready).low),
        pytest.approx(SETUP + known(solution.planned_ready)), None,
    )  # fmt: skip
    assert "probability of 7" in event.text
