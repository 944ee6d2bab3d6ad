"""Percentiles and decisions at a stated chance: what a higher chance may and may not do."""

import itertools
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.jobs import (
    HALF_INCH,
    HOUR,
    TWO_INCH,
    any_request,
    high,
    known,
    likely,
    point_of,
    request_of,
    solution_of,
    water,
)
from estimates.test_plug_time import PERCENTILES, check_percentiles
from stillpipe.estimates import chances
from stillpipe.estimates.co2_mass import co2_mass
from stillpipe.estimates.cylinder_count import CylinderCountFigures, cylinder_count
from stillpipe.estimates.frost_check import frost_check
from stillpipe.estimates.hold_time import hold_time
from stillpipe.estimates.job.job_estimate import JobFigures, job_estimate
from stillpipe.estimates.plug_time import plug_time
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.spacing import spacing
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.figures import Range, Verdict
from stillpipe.model.freeze_point import Jacket
from stillpipe.model.options import JobEstimateRequest
from stillpipe.model.requests import (
    Co2MassRequest,
    CylinderCountRequest,
    FrostCheckRequest,
    HoldTimeRequest,
    PlugTimeRequest,
    SpacingRequest,
)
from stillpipe.model.site import Place, PlaceKind, Room
from stillpipe.tables import pipes

CHANCES = (0.5, 0.75, 0.9, 0.95, 0.99)
PVC = pipes.find("ASTM D1785", "1", "40")
SMALL = Cylinder(net_mass=6.3)
PLACES = (
    Place(name="one", kind=PlaceKind.FREEZE_POINT, at=0.0),
    Place(name="cut", kind=PlaceKind.CUT, at=1.0),
    Place(name="two", kind=PlaceKind.FREEZE_POINT, at=2.0),
)
BODIES: dict[str, Any] = {
    "plug-time": lambda **x: plug_time(request_of(PlugTimeRequest, **x)),
    "hold-time": lambda **x: hold_time(request_of(HoldTimeRequest, **x)),
    "co2-mass": lambda **x: co2_mass(request_of(Co2MassRequest, **x)),
    "cylinder-count": lambda **x: cylinder_count(
        request_of(CylinderCountRequest, TWO_INCH, cylinder=SMALL, **x)
    ),
    "spacing": lambda **x: spacing(request_of(SpacingRequest, places=PLACES, **x)),
    "frost-check": lambda **x: frost_check(
        request_of(FrostCheckRequest, elapsed=60.0, frost_seen=False, **x)
    ),
    "job": lambda **x: job_estimate(
        request_of(JobEstimateRequest, TWO_INCH, places=PLACES, room=Room(volume=60.0), **x)
    ),
}


def every_range(figures: object) -> list[Range]:
    """All ranges in ``figures``, however deep; those of a catalogue's cylinder left out."""
    if isinstance(figures, Range):
        return [figures]
    if isinstance(figures, tuple):
        return [found for each in figures for found in every_range(each)]
    if not is_dataclass(figures):
        return []
    names = [f.name for f in fields(figures) if f.name != "usable"]
    return [found for name in names for found in every_range(getattr(figures, name))]


@given(
    st.lists(st.floats(0.0, 1e6) | st.just(np.inf), min_size=1, max_size=60),
    st.floats(0.01, 0.99),
)
def test_a_percentile_is_the_least_value_that_so_many_do_not_exceed(
    values: list[float], p: float
) -> None:
    """Nearest rank: one of the values, and never None but where it never comes."""
    found, ordered = chances.percentile(np.array(values), p), np.sort(values)
    if found is None:
        assert np.mean(np.isfinite(ordered)) < p
        return
    assert found in values
    assert np.mean(ordered <= found) >= p - 1e-9
    assert np.mean(ordered < found) < p


def test_nothing_is_told_of_nothing() -> None:
    assert chances.percentile(np.zeros(0), 0.5) is None
    assert chances.range_of(np.zeros(0)) is None
    assert chances.range_of(np.array([1.0, np.inf, np.inf])) is None
    assert chances.chance(np.zeros(0, dtype=bool)) == 0.0
    assert chances.range_of(np.array([1.0, 2.0, np.inf])) == Range(1.0, 2.0, None)


@pytest.mark.parametrize("name", BODIES)
def test_every_range_of_every_estimate_tells_what_is_asked_for(name: str) -> None:
    found = every_range(BODIES[name](percentiles=PERCENTILES).figures)
    assert found
    for each in found:
        check_percentiles(each)


@pytest.mark.parametrize("name", BODIES)
def test_equal_bodies_get_equal_answers_to_the_last_digit(name: str) -> None:
    assert BODIES[name]() == BODIES[name]()


@pytest.mark.parametrize("name", BODIES)
def test_percentiles_asked_for_change_nothing_else(name: str) -> None:
    plain, more = (BODIES[name](percentiles=p) for p in ((), (0.25,)))
    ends = [[(r.low, r.likely, r.high) for r in every_range(a.figures)] for a in (plain, more)]
    assert ends[0] == ends[1]
    assert (plain.reasons, plain.effort) == (more.reasons, more.effort)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(any_request(HoldTimeRequest, hold=1800.0), st.permutations(CHANCES))
def test_a_higher_chance_never_plans_an_earlier_cut_or_a_shorter_plug(
    request: HoldTimeRequest, wanted: list[float]
) -> None:
    one, other = (
        Solution(replace(request, decision_probability=p), 1800.0) for p in sorted(wanted[:2])
    )
    if one.planned_ready is None or other.planned_ready is None:
        assert one.planned_ready is other.planned_ready
        return
    assert one.planned_ready <= other.planned_ready
    assert likely(one.plug_length) <= likely(other.plug_length) * (1.0 + 3e-3)


def cylinders_of(p: float, pipe: pipes.Pipe) -> CylinderCountFigures:
    return cylinder_count(
        request_of(
            CylinderCountRequest, pipe, cylinder=Cylinder(net_mass=4.0), hold=2.0 * HOUR,
            decision_probability=p,
        )
    ).figures  # fmt: skip


@pytest.mark.parametrize("pipe", [HALF_INCH, TWO_INCH], ids=lambda p: p.id)
def test_a_higher_chance_never_takes_less_co2_or_fewer_cylinders(pipe: pipes.Pipe) -> None:
    found = [cylinders_of(p, pipe) for p in CHANCES]
    masses = [known(f.co2.planned_total) for f in found]
    counts = [known(f.planned_count) for f in found]
    assert masses == sorted(set(masses))
    assert counts == sorted(counts)
    assert counts[0] < counts[-1] or pipe is HALF_INCH


@pytest.mark.parametrize("pipe", [TWO_INCH, PVC], ids=lambda p: p.id)
def test_a_higher_chance_never_asks_for_a_shorter_distance(pipe: pipes.Pipe) -> None:
    found = [
        spacing(request_of(SpacingRequest, pipe, places=PLACES, decision_probability=p)).figures
        for p in CHANCES[::2]
    ]
    for one, other in itertools.pairwise(found):
        for a, b in zip(one.rules, other.rules, strict=True):
            assert (a.rule, a.between) == (b.rule, b.between)
            assert a.required <= b.required
        pressures = [f.trapped_water[0].pressure for f in (one, other)]
        assert pressures == sorted(pressures)
        opened = [known(f.trapped_water[0].vent_open_from) for f in (one, other)]
        assert opened == sorted(opened, reverse=True)


@pytest.mark.parametrize("pipe", [HALF_INCH, TWO_INCH, PVC], ids=lambda p: p.id)
def test_the_chance_of_ready_by_a_time_rises_with_it_and_is_that_of_the_plan(
    pipe: pipes.Pipe,
) -> None:
    planned = known(plug_time(point_of(pipe)).figures.planned_ready)
    times = [planned * x for x in (0.1, 0.5, 0.8, 1.0, 1.2, 3.0)]
    found = [plug_time(point_of(pipe, ready_by=t)).figures for t in times]
    told = [known(f.chance_of_ready_by) for f in found]
    assert told == sorted(told)
    assert found[3].chance_of_ready > 0.999
    assert told[3] == pytest.approx(0.95, abs=2e-4)
    assert (told[0], told[-1]) == (0.0, pytest.approx(1.0, abs=2e-3))
    assert plug_time(point_of(pipe)).figures.chance_of_ready_by is None


@pytest.mark.parametrize("p", CHANCES)
def test_the_plan_is_ready_at_the_chance_that_decides(p: float) -> None:
    solution = Solution(point_of(TWO_INCH, decision_probability=p))
    planned = known(solution.planned_ready)
    assert solution.chance_of_ready_by(planned) == pytest.approx(p, abs=2e-4)


def test_where_a_few_plugs_never_get_ready_the_plan_has_the_chance_that_decides_all_the_same() -> (
    None
):  # fmt: skip
    """A go by the chance of ready is one by the plan too."""
    solution = Solution(point_of(fluid=water(flow=1.25e-4)))
    assert 0.95 < solution.ready_chance < 0.99
    by = solution.chance_of_ready_by(solution.planned_ready)
    assert by == pytest.approx(0.95, abs=2e-4)
    assert solution.planned_ready == pytest.approx(known(solution.ready).high)


def test_where_too_few_plugs_get_ready_the_plan_is_of_those_that_do() -> None:
    point = point_of(fluid=solution_of("propylene_glycol", 0.08))
    solution = Solution(point)
    assert 0.5 < solution.ready_chance < 0.95
    by = solution.chance_of_ready_by(solution.planned_ready)
    assert by == pytest.approx(0.95 * solution.ready_chance, abs=2e-4)


def test_glycol_of_15_percent_has_a_chance_and_is_no_go_all_the_same() -> None:
    """Slush, not for certain: the text names the chance, and no figure of a plug is told."""
    answer = plug_time(point_of(fluid=solution_of("propylene_glycol", 0.15)))
    assert answer.verdict is Verdict.NO_GO
    (reason,) = answer.reasons
    assert reason.code == "slush"
    assert "40 %" in reason.text
    assert 0.2 < answer.figures.chance_of_closing < 0.5
    assert (answer.figures.closure, answer.figures.planned_ready) == (None, None)


def test_a_stated_jacket_conductance_narrows_closure() -> None:
    """164 W/(m2 K) differs from the default of 165, which nobody stated."""
    spans = []
    for conductance in (165.0, 164.0):
        jacket = Jacket(length=0.0409, conductance=conductance)
        found = known(plug_time(point_of(jacket=jacket)).figures.closure)
        spans.append(high(found) / found.low)
    assert spans[1] < 0.85 * spans[0]


@pytest.mark.parametrize(
    "changes",
    [{"adhesion": 0.51e6}, {"relative_humidity": 0.51}],
    ids=lambda x: next(iter(x)),
)  # fmt: skip
def test_what_else_is_stated_never_widens_ready(changes: dict[str, Any]) -> None:
    """But for 1 %, by which the figures themselves move with what is stated."""
    plain, stated = (
        known(plug_time(point_of(TWO_INCH, 20.0, 20.0, 16.0, **x)).figures.ready)
        for x in ({}, changes)
    )
    assert high(stated) / stated.low <= high(plain) / plain.low * 1.01


def job_of(p: float = 0.95, **changes: Any) -> JobFigures:
    return job_estimate(
        request_of(
            JobEstimateRequest, TWO_INCH, decision_probability=p,
            **({"cylinder": SMALL, "repair": 2.0 * HOUR} | changes),
        )
    ).figures  # fmt: skip


@pytest.mark.parametrize("p", [0.5, 0.95])
@pytest.mark.parametrize("bar", [3.0, 20.0])
def test_a_job_is_no_likelier_than_each_of_its_parts(p: float, bar: float) -> None:
    """Nor less likely than if all that can go wrong did so in different draws."""
    found = job_of(p, line_pressure=bar * 1e5)
    parts = [getattr(found.chances, f.name) for f in fields(found.chances)]
    assert parts[0] == pytest.approx(p, abs=0.02)
    assert found.chances.cylinders >= p - 0.03
    for part in parts:
        assert found.chance <= part
    assert found.chance >= 1.0 - sum(1.0 - part for part in parts) - 1e-9
    for exchange in found.cylinders.exchanges:
        if exchange.chance is not None:
            assert found.chances.exchanges <= exchange.chance + 1e-9


def test_promises_rise_with_their_chance_and_come_after_the_repair() -> None:
    for pipe in (HALF_INCH, TWO_INCH, PVC):
        found = job_estimate(request_of(JobEstimateRequest, pipe)).figures
        assert [x.chance for x in found.promises] == [0.5, 0.9]
        one, other = (x.by for x in found.promises)
        stop = next(e.at for e in found.timeline if e.code == "stop")
        assert stop < one <= other
        assert (one < other) is (pipe is HALF_INCH)  # the others are helped at either chance
        thawed = next(e for e in found.timeline if e.code == "thawed")
        assert thawed.at <= one <= 1.02 * thawed.at  # what does not go well is never done


def test_a_higher_chance_promises_no_earlier_end() -> None:
    """Of what is promised at both: at one half only a half of all jobs go as planned."""
    ends = [{x.chance: x.by for x in job_of(p).promises} for p in CHANCES[::2]]
    assert all(0.5 in promised for promised in ends[1:])
    for one, other in itertools.pairwise(ends):
        assert all(one[p] <= other[p] * (1.0 + 5e-3) for p in one.keys() & other.keys())
