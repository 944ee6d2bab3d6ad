"""What all freeze points of a job come to together, on draws laid down, and when it is done."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from estimates.by_hand import DRAWS, Frozen, every, group_of, kind_of, plan_of, rising
from estimates.jobs import ZERO_C
from estimates.test_job_points import MAIN, RETURN, replace, stated
from stillpipe.estimates.job import course, waits
from stillpipe.estimates.job.course import Chances, Promise
from stillpipe.estimates.job.plan import Plan
from stillpipe.model.figures import Range
from stillpipe.model.job import Job, LineFluid

FLAGS = NDArray[np.bool_]
STOPS = (4000.0, 6000.0)
NUMBER = np.arange(1, DRAWS + 1)
HOT = LineFluid(temperature=ZERO_C + 60.0)
EMPTY = dict.fromkeys((
    "closure", "ready", "chance_of_ready_by", "planned_ready", "plug_length", "survival", "thaw",
    "planned_thaw",
))  # fmt: skip


@pytest.fixture(autouse=True)
def _helped(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plug that is helped is gone so long after the stop as its hold takes."""
    monkeypatch.setattr(waits, "assisted_thaw", lambda solution: solution.hold)


def level(value: float) -> Any:
    """The same in every draw."""
    return np.full(DRAWS, value)


def small(**changes: Any) -> Frozen:
    """The first of two plugs: draws that rise by one each, helped after a day."""
    return Frozen("small", **({"hold": 86400.0} | changes))


def large(**changes: Any) -> Frozen:
    """The second: the same in every draw, but that only the last eighty hold."""
    given: dict[str, Any] = {
        "closures": level(60.0), "readies": level(160.0), "survivals": level(1040.0),
        "thaws": level(3060.0), "lengths": level(0.11), "planned_ready": 250.0,
        "holds": NUMBER > 20, "hold": 86400.0,
    }  # fmt: skip
    return Frozen("large", **(given | changes))


def planned(one: Frozen, other: Frozen, *, apart: bool = False, **job: Any) -> Plan:
    """The boiler return and the sprinkler main in a group, or in two one after the other."""
    request = stated(RETURN, MAIN, **job)
    second = 2 if apart else 1
    kinds = (
        kind_of(request, one, "boiler return"),
        kind_of(request, other, "sprinkler main", group=second),
    )
    if not apart:
        return plan_of(request, group_of(*kinds, feed=1800.0, ready=2000.0, stop=STOPS[0]))
    first = group_of(kinds[0], feed=1800.0, ready=2000.0, stop=STOPS[0])
    then = group_of(kinds[1], feed=4900.0, ready=5000.0, stop=STOPS[1])
    return plan_of(request, first, then)


def test_the_last_the_longest_and_the_weakest_of_two_plugs_by_hand() -> None:
    """Closed by the hundred draws' own number, but not before 60; ready 100 s later.

    Of the eighty draws 21 to 100 that hold, the 5th percentile is draw 24, the median 60, the 95th
    96. Each lasts 1,000 s and its number, but not beyond 1,040; it is 50 mm and its number long,
    but 110 at least; it is gone after 3,000 s and its number, but not before 3,060.
    """
    found = course.of_all(planned(small(), large()))
    assert found["closure"] == Range(60.0, 60.0, 95.0)
    assert found["ready"] == Range(160.0, 160.0, 195.0)
    assert found["chance_of_ready_by"] is None
    assert found["planned_ready"] == 250.0
    assert found["survival"] == Range(1024.0, 1040.0, 1040.0)
    length = found["plug_length"]
    assert (length.low, length.likely, length.high) == pytest.approx((0.11, 0.11, 0.146))
    assert found["thaw"] == Range(3060.0, 3060.0, 3096.0)
    assert found["planned_thaw"] == found["thaw"]
    assert set(found) == set(EMPTY)


def test_a_plug_that_is_helped_thaws_sooner_and_the_others_as_they_do() -> None:
    """The main is helped, after 3,050 s; the copper thaws in 3,000 and its number."""
    found = course.of_all(planned(small(), large(hold=3050.0)))
    assert found["thaw"] == Range(3060.0, 3060.0, 3096.0)
    assert found["planned_thaw"] == Range(3050.0, 3060.0, 3096.0)


@pytest.mark.parametrize(("by", "chance"), [(159.0, 0.0), (160.0, 0.6), (190.0, 0.9)])
def test_the_chance_that_both_are_ready_by_a_time_of_the_caller(by: float, chance: float) -> None:
    found = course.of_all(planned(small(), large(), ready_by=by))
    assert found["chance_of_ready_by"] == pytest.approx(chance)


def alone(solution: Frozen, **job: Any) -> Plan:
    """Both points freeze alike."""
    request = stated(RETURN, MAIN, **job)
    kind = kind_of(request, solution, "boiler return", "sprinkler main")
    return plan_of(request, group_of(kind, feed=1800.0, ready=2000.0, stop=STOPS[0]))


@pytest.mark.parametrize(("by", "chance"), [(None, None), (150.0, 0.5)])
def test_points_that_are_alike_are_told_as_the_one_is(
    by: float | None, chance: float | None
) -> None:
    """It is helped, after 3,050 s."""
    one = small(hold=3050.0)
    found = course.of_all(alone(one, ready_by=by))
    assert found == {
        "closure": one.closure, "ready": one.ready, "chance_of_ready_by": chance,
        "planned_ready": one.planned_ready, "plug_length": one.plug_length,
        "survival": one.survival, "thaw": one.thaw, "planned_thaw": Range(3005.0, 3050.0, 3050.0),
    }  # fmt: skip
    assert one.closure == Range(5.0, 50.0, 95.0)


def test_points_that_are_alike_and_not_ready_as_planned_close_and_no_more() -> None:
    one = small(planned_ready=None)
    found = course.of_all(alone(one, ready_by=150.0))
    known = {"closure": one.closure, "ready": one.ready, "chance_of_ready_by": 0.5}
    assert found == EMPTY | known
    never = small(planned_ready=None, hopeless=True)
    assert course.of_all(alone(never)) == EMPTY


def test_where_one_never_freezes_nothing_is_told_of_all_but_that_it_is_not_ready() -> None:
    hopeless = large(hopeless=True, planned_ready=None)
    assert course.of_all(planned(small(), hopeless)) == EMPTY
    found = course.of_all(planned(small(), hopeless, ready_by=600.0))
    assert found == EMPTY | {"chance_of_ready_by": 0.0}


def test_where_one_is_not_ready_as_planned_closure_and_ready_alone_are_told() -> None:
    plan = planned(small(), large(planned_ready=None), ready_by=190.0)
    assert course.planned_ready(plan) is None
    found = course.of_all(plan)
    told = {"closure", "ready", "chance_of_ready_by"}
    assert found["closure"] == Range(60.0, 60.0, 95.0)
    assert found["ready"] == Range(160.0, 160.0, 195.0)
    assert found["chance_of_ready_by"] == pytest.approx(0.9)
    assert {k for k, v in found.items() if v is not None} == told


def test_all_are_ready_when_the_last_is() -> None:
    for one, other in ((150.0, 250.0), (250.0, 150.0)):
        plan = planned(small(planned_ready=one), large(planned_ready=other))
        assert course.planned_ready(plan) == 250.0


def needed(enough: FLAGS | None = None, survived: FLAGS | None = None) -> Any:
    """Cylinders that are enough, and exchanges that are outlived, in these draws."""
    return SimpleNamespace(
        enough=every() if enough is None else enough,
        survived=every() if survived is None else survived,
    )


def test_all_goes_well_where_each_thing_does() -> None:
    """Draws 21 to 100 hold; up to 50 the copper is ready by 150 s; 3 of 4 cylinders are enough.

    Each exchange is outlived from draw 11 on. All of it: 21 to 50 but every fourth, 23 of them.
    """
    plan = planned(small(planned_ready=150.0), large())
    well, told = course.chances_of(plan, needed(NUMBER % 4 != 0, NUMBER > 10))
    assert NUMBER[well].tolist() == [n for n in range(21, 51) if n % 4]
    assert told == Chances(ready=0.3, exchanges=0.9, cylinders=0.75)
    assert well.sum() == 23


def test_a_plug_that_is_ready_at_its_planned_time_is_ready_in_time() -> None:
    plan = planned(small(), large(planned_ready=160.0))
    well, told = course.chances_of(plan, needed())
    assert told.ready == pytest.approx(0.75)
    assert NUMBER[well].tolist() == list(range(21, 96))
    late, told = course.chances_of(planned(small(), large(planned_ready=159.0)), needed())
    assert not late.any()
    assert told == Chances(ready=0.0, exchanges=1.0, cylinders=1.0)


def test_judging_chances_leaves_the_plan_as_it_is() -> None:
    plan = planned(small(planned_ready=150.0), large())
    course.chances_of(plan, needed())
    assert plan.holds.sum() == 80


def test_without_cylinders_that_are_enough_nothing_goes_as_planned() -> None:
    none = np.zeros(DRAWS, dtype=bool)
    well, told = course.chances_of(planned(small(), large()), needed(none))
    assert (len(well), well.dtype, well.any()) == (DRAWS, np.dtype(bool), False)
    assert told == Chances()
    assert course.promises(planned(small(), large()), well) == ()


def test_one_draw_in_which_all_goes_well_is_a_chance_but_no_promise() -> None:
    first = NUMBER == 30
    well, told = course.chances_of(planned(small(), large()), needed(first))
    assert NUMBER[well].tolist() == [30]
    assert told.cylinders == pytest.approx(0.01)
    assert course.promises(planned(small(), large()), well) == ()


def test_a_job_is_done_when_the_last_plug_has_thawed() -> None:
    """Stopped at 4,000 s; gone after 3,000 s and the draw's number, but not before 3,060."""
    plan = planned(small(), large())
    assert course.promises(plan, every()) == (
        Promise(chance=0.5, by=7060.0), Promise(chance=0.9, by=7090.0),
    )  # fmt: skip


def test_what_does_not_go_well_is_not_promised() -> None:
    """The sixty draws that thaw last: half of the hundred by draw 90, nine tenths never."""
    plan = planned(small(), large())
    assert course.promises(plan, NUMBER > 40) == (Promise(chance=0.5, by=7090.0),)


def test_the_group_that_thaws_last_counts_whether_or_not_it_was_last() -> None:
    """The first is stopped at 4,000 s, the second at 6,000."""
    plan = planned(small(), large(), apart=True)
    assert {p.by for p in course.promises(plan, every())} == {9060.0}
    plan = planned(small(thaws=rising(6000.0, 1.0)), large(), apart=True)
    assert [p.by for p in course.promises(plan, every())] == [10050.0, 10090.0]


def cooling_in(monkeypatch: pytest.MonkeyPatch, **times: Any) -> None:
    """Lines of which each takes so long to cool from 60 C, by the name of its freeze."""

    def coolings(request: Job, solution: Any) -> Any:
        return times[solution.name] + waits.arrival(request) - HOT.temperature

    monkeypatch.setattr(waits, "coolings", coolings)
    monkeypatch.setattr(waits, "cooling", lambda *_: Range(0.0, 0.0, 0.0))


def warm(one: Frozen, other: Frozen, *, apart: bool, both: bool = False) -> Plan:
    """The two, the line of the first hot on arrival, or of both."""
    request = stated(replace(RETURN, fluid=HOT), replace(MAIN, fluid=HOT if both else None))
    second = 2 if apart else 1
    kinds = (
        kind_of(request, one, "boiler return"),
        kind_of(request, other, "sprinkler main", group=second),
    )
    if not apart:
        both_at_once = group_of(*reversed(kinds), feed=1800.0, ready=2000.0, stop=STOPS[0])
        return plan_of(request, both_at_once)
    first = group_of(kinds[0], feed=1800.0, ready=2000.0, stop=STOPS[0])
    return plan_of(request, first, group_of(kinds[1], feed=4900.0, ready=5000.0, stop=STOPS[1]))


def test_a_line_that_cools_late_delays_its_group_and_those_after_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Fed at 1,800 s; cool by then in half of the draws, 10 s later for each beyond the fiftieth.

    The others do not make up for it, nor is one that cools sooner than planned done sooner.
    """
    cooling_in(monkeypatch, small=1800.0 + 10.0 * (NUMBER - 50.0))
    hot = {"thaws": level(3000.0)}
    found = []
    for apart in (False, True):
        plan = warm(small(**hot), large(**hot), apart=apart)
        found.append([p.by for p in course.promises(plan, every())])
    assert found == [[7000.0, 7400.0], [9000.0, 9400.0]]


def test_of_two_lines_that_cool_late_the_later_delays_the_job(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The first 300 s after its feed at 1,800 s, the second 200 s after its own at 4,900 s."""
    hot = {"thaws": level(3000.0)}
    for late, second in (({"small": 2100.0, "large": 5100.0}, 300.0),
                         ({"small": 1900.0, "large": 5100.0}, 200.0)):  # fmt: skip
        cooling_in(monkeypatch, **{name: level(time) for name, time in late.items()})
        plan = warm(small(**hot), large(**hot), apart=True, both=True)
        assert {p.by for p in course.promises(plan, every())} == {9000.0 + second}
