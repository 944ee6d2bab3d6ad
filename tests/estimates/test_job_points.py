"""One whole job on two different pipes by hand, and what groups, manifolds and runs come to.

The plant room of Harbour Lane Baths (invented): a boiler return of 1/2 in copper at 3 bar, and a
sprinkler main of 2 in steel at 8 bar, both at 20 C. Half an hour to set up, 45 min of repair.
"""

import math
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C, high, known, likely, named, request_of
from estimates.test_job_estimate import RATES, codes, quote_of
from stillpipe.errors import StillpipeError
from stillpipe.estimates.co2_mass import co2_mass
from stillpipe.estimates.cylinder_count import cylinder_count
from stillpipe.estimates.hold_time import hold_time
from stillpipe.estimates.job.job_estimate import JobFigures, job_estimate
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.points import PointFigures
from stillpipe.estimates.job.supply import supply
from stillpipe.estimates.plug_time import plug_time
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.figures import Answer, Verdict
from stillpipe.model.freeze_point import Jacket
from stillpipe.model.job import JobPoint, LineFluid
from stillpipe.model.observations import Frost
from stillpipe.model.options import JobEstimateRequest
from stillpipe.model.requests import (
    Co2MassRequest,
    CylinderCountRequest,
    HoldTimeRequest,
    PlugTimeRequest,
)
from stillpipe.model.site import Place, PlaceKind, Room
from stillpipe.tables import pipes

RETURN = JobPoint(name="boiler return", run="heating", at=1.0)
MAIN = JobPoint(
    name="sprinkler main", run="sprinkler", at=2.0, pipe=named(TWO_INCH), line_pressure=8e5
)
SETUP, REPAIR = 1800.0, 2700.0


def stated(*points: JobPoint, **changes: Any) -> JobEstimateRequest:
    """A job as a caller states it, of 1/2 in copper where a point says nothing else."""
    given: dict[str, Any] = {
        "freeze_points": points, "setup": SETUP, "repair": REPAIR, "rates": RATES,
        "cylinder": Cylinder(net_mass=9.1), "room": Room(volume=200.0, air_changes=4.0 / 3600.0),
        "fluid": LineFluid(temperature=ZERO_C + 20.0),
    }  # fmt: skip
    return request_of(JobEstimateRequest, HALF_INCH, 20.0, 20.0, 3.0, **(given | changes))


def two(**changes: Any) -> JobEstimateRequest:
    return stated(RETURN, MAIN, **changes)


@pytest.fixture(scope="module")
def answer() -> Answer[JobFigures]:
    return job_estimate(two(start=datetime.fromisoformat("2031-03-04T07:30:00+01:00")))


@pytest.fixture(scope="module")
def found(answer: Answer[JobFigures]) -> JobFigures:
    return answer.figures


def moments(found: JobFigures, code: str) -> list[float]:
    """The likely times of a moment [s], in order."""
    return [e.at for e in found.timeline if e.code == code]


def point(found: JobFigures, name: str) -> PointFigures:
    return next(p for p in found.freeze_points if p.name == name)


def test_each_point_freezes_as_it_does_alone(found: JobFigures) -> None:
    """Closure and ready of plug-time, on the same pipes at the same pressures."""
    small = plug_time(request_of(PlugTimeRequest)).figures
    large = plug_time(request_of(PlugTimeRequest, TWO_INCH, 20.0, 20.0, 8.0)).figures
    for name, alone in (("boiler return", small), ("sprinkler main", large)):
        told = point(found, name)
        assert likely(told.closure) == pytest.approx(likely(alone.closure), rel=1e-3)
        assert known(told.planned_ready) == pytest.approx(known(alone.planned_ready), rel=1e-3)


def test_the_clock_by_hand(found: JobFigures) -> None:
    """Fed from 08:00. The copper is ready after 477 s, the steel after 1,876 s: 08:31:16.

    Cut then, 45 min of repair: the cylinders are closed at 09:16:16, of both points. The copper is
    thawed some 56 min later by itself, the steel is helped after two hours, at 11:16:16.
    """
    assert moments(found, "feed") == [SETUP]
    ready = known(found.planned_ready)
    assert ready == known(point(found, "sprinkler main").planned_ready)
    assert ready == pytest.approx(1876.0, rel=0.01)
    assert moments(found, "ready")[-1] == pytest.approx(SETUP + ready)
    assert moments(found, "stop") == [pytest.approx(SETUP + ready + REPAIR)]
    assert moments(found, "help-thaw") == [pytest.approx(SETUP + ready + REPAIR + 7200.0)]
    by_clock = {e.code: e.clock for e in found.timeline if e.code in ("arrive", "feed")}
    assert by_clock == {
        "arrive": "2031-03-04T07:30:00+01:00", "feed": "2031-03-04T08:00:00+01:00",
    }  # fmt: skip
    assert [e.at for e in found.timeline] == sorted(e.at for e in found.timeline)


def test_the_carbon_dioxide_by_hand(found: JobFigures) -> None:
    """The copper is fed until 1,876 s and 45 min more, though it is ready after 477 s.

    0.354 kg until then, and some 31 to 35 W over (1,876 - 477 + 2,700) s x 1 / 100 kJ/kg: 1.3 kg
    more. The steel has 2.17 L/m of water: as by co2-mass alone.
    """
    small, large = (point(found, n) for n in ("boiler return", "sprinkler main"))
    longer = known(found.planned_ready) - known(small.planned_ready) + REPAIR
    assert likely(small.co2) == pytest.approx(0.354 + 33.0 * longer / 100e3, rel=0.06)
    alone = co2_mass(request_of(Co2MassRequest, hold=longer)).figures
    assert likely(small.co2) == pytest.approx(likely(alone.total), rel=1e-3)
    other = co2_mass(request_of(Co2MassRequest, TWO_INCH, 20.0, 20.0, 8.0, hold=REPAIR)).figures
    assert likely(large.co2) == pytest.approx(likely(other.total), rel=1e-3)
    whole = likely(small.co2) + likely(large.co2)
    assert likely(found.co2.job_total) == pytest.approx(whole, rel=0.005)
    assert found.co2.total is None


def test_survival_is_that_after_its_own_hold(found: JobFigures) -> None:
    small = point(found, "boiler return")
    longer = known(found.planned_ready) - known(small.planned_ready) + REPAIR
    alone = hold_time(request_of(HoldTimeRequest, hold=longer)).figures
    assert likely(small.survival) == pytest.approx(likely(alone.survival), rel=0.01)
    assert likely(small.plug_length) == pytest.approx(likely(alone.plug_length), rel=0.01)
    assert likely(found.survival) == pytest.approx(likely(small.survival), rel=0.01)


def test_the_cylinders_by_hand(found: JobFigures) -> None:
    """9.1 kg give 6.5 kg at least, nine tenths of it are used: 5.85 kg.

    The copper needs 2.6 kg at 95 of 100, one cylinder. The steel needs 9.6 kg, two, and one
    exchange.
    """
    assert [m.points for m in found.cylinders.manifolds] == [
        ("boiler return",),
        ("sprinkler main",),
    ]
    assert [m.planned_count for m in found.cylinders.manifolds] == [1, 2]
    assert found.cylinders.planned_count == 3
    (swap,) = found.cylinders.exchanges
    assert (swap.manifold, [p.name for p in swap.points]) == ("2", ["sprinkler main"])
    request = request_of(
        CylinderCountRequest, TWO_INCH, 20.0, 20.0, 8.0, cylinder=Cylinder(net_mass=9.1),
        hold=REPAIR,
    )  # fmt: skip
    alone = cylinder_count(request).figures
    assert swap.at == pytest.approx(alone.exchanges[0].at, rel=1e-3)
    assert known(swap.survival) == pytest.approx(known(alone.exchanges[0].survival), rel=0.01)


def test_the_air_by_hand(found: JobFigures) -> None:
    """All that may be let out: 2.6 kg and 9.6 kg, into 200 m3 changed four times an hour."""
    air = known(found.air)
    most = sum(high(p.co2) for p in found.freeze_points)
    assert air.released == pytest.approx(most, rel=0.02)
    gas = air.released / 1.839
    assert air.peak < air.sealed == pytest.approx(gas / (200.0 + gas) + 420e-6, rel=0.02)


def test_the_quote_by_hand(found: JobFigures) -> None:
    """Labour from arrival until the last plug is gone, a quarter of an hour for the second point.

    At 62.00: 4.26 h are 264.12 and 0.25 h 15.50; 7.96 kg at 3.40 are 27.06; one exchange at 25.00;
    40.00 to come.
    """
    lines = {x.item: x for x in quote_of(found).lines}
    hours = moments(found, "thawed")[-1] / 3600.0
    assert float(lines["labour"].quantity) == pytest.approx(hours, abs=0.006)
    assert lines["further-points"].amount == Decimal("15.50")
    assert float(lines["co2"].quantity) == pytest.approx(likely(found.co2.job_total), abs=0.006)
    assert lines["exchanges"].amount == Decimal("25.00")


def test_points_that_are_alike_are_solved_once_and_told_as_by_their_number() -> None:
    alike = [replace(RETURN, name=n, run=None, at=None) for n in ("1", "2", "3")]
    by_list, by_number = job_estimate(stated(*alike)), job_estimate(stated(points=3))
    assert by_list.figures == by_number.figures
    assert by_list.effort == by_number.effort == job_estimate(stated(points=1)).effort


def test_what_is_common_is_said_once_and_a_point_overrides_it() -> None:
    """A longer jacket on one, warmer water in another: each as if all had it."""
    longer = replace(RETURN, name="longer", jacket=Jacket(length=0.08))
    warmer = replace(RETURN, name="warmer", fluid=LineFluid(temperature=ZERO_C + 24.0))
    found = job_estimate(stated(RETURN, longer, warmer)).figures
    plain, jacketed, warm = found.freeze_points
    alone = job_estimate(stated(points=1, jacket=Jacket(length=0.08))).figures
    assert jacketed.closure == alone.closure
    alone = job_estimate(stated(points=1, fluid=LineFluid(temperature=ZERO_C + 24.0))).figures
    assert warm.closure == alone.closure
    assert likely(jacketed.ready) < likely(plain.ready) < likely(warm.ready)


def test_a_manifold_is_emptied_by_all_that_hang_on_it() -> None:
    """A cylinder of 9.1 kg on both points: drawn by the copper and the steel together."""
    shared = [replace(p, manifold="plant room") for p in (RETURN, MAIN)]
    request = stated(*shared)
    found = job_estimate(request).figures
    (hung,) = found.cylinders.manifolds
    assert (hung.name, hung.points) == ("plant room", ("boiler return", "sprinkler main"))
    drawn = supply(Plan(request)).drawn
    usable = known(found.cylinders.usable)
    for swap in found.cylinders.exchanges:
        mass = np.zeros(8192)
        for kind, needs in drawn.items():
            each = np.minimum(swap.at / needs.ready, 1.0) * needs.freeze
            each = each + np.maximum(swap.at - needs.ready, 0.0) * needs.rate
            mass[kind.solution.holds] += each
        share = next(iter(drawn)).solution.sample.shares("usable")
        kept = 0.9 * (usable.low + share * (high(usable) - usable.low))
        emptied = np.mean((mass >= swap.cylinder * kept)[mass > 0.0])
        assert emptied == pytest.approx(0.05, abs=0.003)
        assert {p.name for p in swap.points} == set(hung.points)
        told = [p.survival for p in swap.points if p.survival is not None]
        whole = len(told) == len(swap.points) or swap.verdict == "exchange-not-survived"
        assert swap.survival == (min(told) if whole else None), "one that is not ready is worse"
    apart = job_estimate(two()).figures
    assert known(found.cylinders.planned_count) <= known(apart.cylinders.planned_count)


def test_fewer_jackets_make_groups_that_follow_each_other() -> None:
    """One jacket for both points: the second is fed 15 min after the first is done."""
    request = two(jackets=1)
    found = job_estimate(request).figures
    one, other = (point(found, n) for n in ("boiler return", "sprinkler main"))
    assert (one.group, other.group) == (1, 2)
    feeds, stops = moments(found, "feed"), moments(found, "stop")
    assert feeds[1] == pytest.approx(stops[0] + 900.0)
    assert stops[0] == pytest.approx(SETUP + known(one.planned_ready) + REPAIR)
    assert stops[1] == pytest.approx(feeds[1] + known(other.planned_ready) + REPAIR)
    assert moments(found, "move") == [stops[0]]
    together = job_estimate(two()).figures
    assert found.promises[0].by > together.promises[0].by
    assert known(found.air).peak < known(together.air).peak
    names = {n for e in one.timeline for n in e.points}
    assert names <= {"boiler return"}
    assert {e.group for e in one.timeline} == {None, 1}


def test_what_lies_on_one_run_is_frozen_together() -> None:
    """Its cut lies between its points: with too few jackets or hands it is a no-go."""
    second = replace(RETURN, name="boiler flow", at=3.0)
    for changes in ({"jackets": 1}, {"crew": 2, "points_each": 1, "jackets": 1}):
        answer = job_estimate(stated(RETURN, second, **changes))
        assert "too-few-hands" in codes(answer)
        assert answer.verdict is Verdict.NO_GO
        assert {p.group for p in answer.figures.freeze_points} == {1}
    assert "too-few-hands" not in codes(job_estimate(stated(RETURN, second)))


def test_nobody_works_alone() -> None:
    assert "alone" in codes(job_estimate(two(crew=1)))
    assert "alone" not in codes(job_estimate(two()))


def test_a_cut_is_between_the_freeze_points_of_its_run() -> None:
    second = replace(RETURN, name="boiler flow", at=3.0)
    vent = Place(name="cock", kind=PlaceKind.VENT, at=1.5, run="heating")
    for at, code in ((2.0, set()), (4.0, {"cut-outside"}), (0.2, {"cut-outside"})):
        cut = Place(name="valve", kind=PlaceKind.CUT, at=at, run="heating")
        answer = job_estimate(stated(RETURN, second, places=(cut, vent)))
        assert codes(answer) & {"cut-outside", "one-plug"} == code
    other = Place(name="elsewhere", kind=PlaceKind.CUT, at=2.0, run="cooling")
    assert "no-freeze-point" in codes(job_estimate(stated(RETURN, places=(other,))))


def test_places_of_other_runs_are_not_held_against_each_other() -> None:
    """Two points at the same metre of different runs are no two plugs in one pipe."""
    other = replace(RETURN, name="flow", run="cooling")
    cut = Place(name="valve", kind=PlaceKind.CUT, at=5.0, run="cooling")
    found = job_estimate(stated(RETURN, other, places=(cut,))).figures
    rules = known(found.spacing).rules
    assert [(r.run, r.between) for r in rules] == [("cooling", ("flow", "valve"))]
    assert known(found.spacing).trapped_water == ()


def test_water_between_two_different_plugs_is_judged_by_the_worse() -> None:
    """A reducer: 1/2 in copper and 2 in steel on one run, as if both were the one or the other."""
    near = replace(MAIN, run="heating", at=2.0, line_pressure=None)
    mixed = known(job_estimate(stated(RETURN, near)).figures.spacing).trapped_water[0]
    alone = [
        known(
            job_estimate(
                stated(p, replace(p, name="b", at=2.0)),
            ).figures.spacing
        )
        for p in (replace(RETURN, name="a"), replace(near, name="a", at=1.0))
    ]
    each = [x.trapped_water[0] for x in alone]
    order = list(Verdict)
    assert order.index(mixed.verdict) >= max(order.index(x.verdict) for x in each)
    assert mixed.vent_open_from == pytest.approx(
        min(known(x.vent_open_from) for x in each), rel=0.02
    )


def test_the_vent_of_two_different_plugs_is_open_by_the_time_that_the_advice_tells() -> None:
    """1/2 and 3/4 in copper: the worse is the larger, the smaller closes first."""
    pipe = named(pipes.find("ASTM B88", "3/4", "L"))
    places = (Place(name="cock", kind=PlaceKind.VENT, at=1.8, run="heating"),)
    wide = replace(RETURN, name="wide", at=3.2, pipe=pipe)
    (found,) = known(
        job_estimate(stated(RETURN, wide, places=places)).figures.spacing
    ).trapped_water
    since = known(found.vent_open_from)
    assert f"{math.floor(since / 60.0)} min after the first feed at the earliest" in found.advice


def test_points_that_are_not_placed_are_told() -> None:
    unplaced = [replace(p, run=None, at=None) for p in (RETURN, MAIN)]
    assert "places-not-judged" in codes(job_estimate(stated(*unplaced)))
    assert "places-not-judged" in codes(job_estimate(stated(points=2)))
    assert "places-not-judged" not in codes(job_estimate(stated(points=1)))
    assert "places-not-judged" not in codes(job_estimate(two()))


def test_a_point_that_cannot_be_frozen_stops_the_job_and_is_named() -> None:
    slush = replace(MAIN, fluid=LineFluid(type="ethylene_glycol", concentration=0.4,
                                          temperature=ZERO_C + 20.0))  # fmt: skip
    answer = job_estimate(stated(RETURN, slush))
    assert answer.verdict is Verdict.NO_GO
    assert any(r.text.startswith("sprinkler main:") for r in answer.reasons if r.code == "slush")
    found = answer.figures
    assert (found.closure, found.quote, found.chance, found.promises) == (None, None, 0.0, ())
    assert point(found, "boiler return").closure is not None
    assert point(found, "sprinkler main").closure is None


def test_nobody_is_told_to_cut_where_one_of_two_plugs_never_closes() -> None:
    """A flow of 72 kg/h through the second: no plan to cut at the first, which would close."""
    moving = replace(MAIN, run="heating", at=3.0,
                     fluid=LineFluid(temperature=ZERO_C + 20.0, flow=0.02))  # fmt: skip
    answer = job_estimate(stated(RETURN, moving))
    assert answer.verdict is Verdict.NO_GO
    assert {e.code for e in answer.figures.timeline} == {"arrive"}
    one, other = answer.figures.freeze_points
    assert one.planned_ready is not None
    assert (one.cut_at, other.cut_at, other.planned_ready) == (None, None, None)
    assert (answer.figures.letting_go, one.letting_go, other.letting_go) == (None, None, None)


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"points": 2}, ("points",)),
        ({"places": (Place(name="x", kind=PlaceKind.FREEZE_POINT, at=0.0),)}, ("places", 0)),
        ({"observations": (Frost(kind="frost", elapsed=100.0),)}, ("observations",)),
        ({"freeze_points": (RETURN, replace(MAIN, name=RETURN.name))},
         ("freeze_points", 0, "name")),
        ({"freeze_points": (RETURN, replace(MAIN, fluid=LineFluid(
            type="ethylene_glycol", concentration=0.9, temperature=ZERO_C + 20.0)))},
         ("freeze_points", 1, "fluid", "concentration")),
        ({"start": datetime.fromisoformat("9999-12-30T07:30:00+01:00")}, ("start",)),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named(changes: dict[str, Any], path: tuple[str | int, ...]) -> None:
    with pytest.raises(StillpipeError) as caught:
        stated(**({"freeze_points": (RETURN, MAIN)} | changes))
    assert path in [f.path for f in caught.value.faults]


def test_points_must_be_as_many_as_places_has() -> None:
    places = tuple(
        Place(name=n, kind=PlaceKind.FREEZE_POINT, at=a) for n, a in (("a", 0.0), ("b", 2.0))
    )
    assert stated(places=places).points == 2
    assert [p.name for p in stated(places=places).each] == ["a", "b"]
    with pytest.raises(StillpipeError) as caught:
        stated(places=places, points=3)
    assert [f.path for f in caught.value.faults] == [("points",)]


def test_freeze_points_among_places_have_names_that_differ() -> None:
    alike = [Place(name="a", kind=PlaceKind.FREEZE_POINT, at=at) for at in (0.0, 2.0)]
    other = Place(name="a", kind=PlaceKind.VALVE, at=1.0)
    with pytest.raises(StillpipeError) as caught:
        stated(places=(alike[0], other, alike[1]))
    assert [f.path for f in caught.value.faults] == [("places", 0, "name"), ("places", 2, "name")]


def test_points_alike_that_are_exchanged_at_once_bear_it_alike() -> None:
    """Six of 1/2 in copper on a manifold each: emptied at one moment, after the plug is ready."""
    places = tuple(Place(name=f"{n}", kind=PlaceKind.FREEZE_POINT, at=5.0 * n) for n in range(6))
    answer = job_estimate(stated(places=places, crew=6, repair=4 * 3600.0))
    cylinders = answer.figures.cylinders
    assert [m.exchanges for m in cylinders.manifolds] == [cylinders.manifolds[0].exchanges] * 6
    first = [s for s in cylinders.exchanges if s.cylinder == 1]
    assert [s.manifold for s in first] == ["1", "2", "3", "4", "5", "6"]
    assert {s.at > known(answer.figures.planned_ready) for s in first} == {True}
    assert len({(s.at, s.chance, s.survival) for s in first}) == 1


def test_thirty_points_of_three_kinds_take_three_solutions() -> None:
    kinds = (RETURN, MAIN, replace(RETURN, fluid=LineFluid(temperature=ZERO_C + 8.0)))
    many = [replace(kinds[n % 3], name=f"p{n}", run=None, at=None) for n in range(30)]
    answer = job_estimate(stated(*many, crew=8))
    assert len(answer.figures.freeze_points) == 30
    each = [job_estimate(stated(replace(k, run=None, at=None))).effort.freezes for k in kinds]
    assert answer.effort.freezes == sum(each)


def test_sea_water_and_a_chilled_line_go_through_the_whole_job() -> None:
    """A chilled line at 6 C closes sooner than one at 20 C; sea water of 3.5 % later than water."""
    chilled, plain, sea = (
        job_estimate(stated(points=1, fluid=fluid)).figures
        for fluid in (
            LineFluid(temperature=ZERO_C + 6.0), LineFluid(temperature=ZERO_C + 20.0),
            LineFluid(type="seawater", concentration=0.035, temperature=ZERO_C + 20.0),
        )
    )  # fmt: skip
    assert likely(chilled.closure) < likely(plain.closure) < likely(sea.closure)
