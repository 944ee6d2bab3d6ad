"""Plug time: ordered ranges, verdicts with their reasons, figures that can be redone by hand."""

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings

from estimates.jobs import (
    HALF_INCH,
    TWO_INCH,
    ZERO_C,
    any_request,
    known,
    likely,
    point_of,
    solution_of,
    water,
)
from stillpipe.estimates.plug_time import PlugTimeFigures, plug_time
from stillpipe.estimates.solution import Solution
from stillpipe.model.cylinder import CylinderTemperature
from stillpipe.model.figures import Answer, Range, Severity, Verdict
from stillpipe.model.freeze_point import Jacket
from stillpipe.model.pipe import Pipe
from stillpipe.model.requests import PlugTimeRequest
from stillpipe.physics import constants, freeze
from stillpipe.tables import pipes
from stillpipe.uncertainty import draws

COPPER, STEEL = point_of(HALF_INCH), point_of(TWO_INCH)


def codes(answer: Answer[PlugTimeFigures]) -> set[str]:
    return {r.code for r in answer.reasons}


def ranges(figures: object) -> list[Range]:
    values = [getattr(figures, f.name) for f in fields(figures)]  # type: ignore[arg-type]
    return [v for v in values if isinstance(v, Range)]


PERCENTILES = (0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99)


def check_percentiles(found: Range) -> None:
    """Hold ``PERCENTILES`` of a range against its ends: rising, never last, nowhere below 0."""
    ends = [v for _, v in found.more]
    told = [v for v in ends if v is not None]
    assert [p for p, _ in found.more] == list(PERCENTILES)
    assert told == sorted(told)
    assert ends[: len(told)] == told
    assert (ends[1], ends[3], ends[5]) == (found.low, found.likely, found.high)
    assert all(math.isfinite(v) and v >= 0.0 for v in told)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(any_request(PlugTimeRequest, percentiles=PERCENTILES))
def test_every_range_is_ordered_and_finite(request: PlugTimeRequest) -> None:
    """What is asked for besides rises with its probability and agrees with the ends."""
    for found in ranges(plug_time(request).figures):
        check_percentiles(found)


@pytest.mark.parametrize(
    ("standard", "size", "celsius", "room", "bar"),
    [("ASTM F441", "2-1/2", 19.05, 4.23, 7.32), ("ASTM D1785", "3-1/2", 31.45, 2.88, 0.0),
     ("ASTM F441", "3", 21.59, 6.38, 0.0), ("ASTM D1785", "4", 18.24, 7.83, 11.92)],
)  # fmt: skip
def test_frost_range_is_ordered_in_a_cold_room(
    standard: str, size: str, celsius: float, room: float, bar: float
) -> None:
    """There the room helps to cool a thick plastic pipe, so that the fast run frosts later."""
    request = point_of(pipes.find(standard, size, "80"), celsius, room, bar)
    frost = known(plug_time(request).figures.frost_by)
    assert frost.low <= frost.likely
    assert frost.high is None or frost.likely <= frost.high


@settings(max_examples=40, deadline=None, derandomize=True)
@given(any_request(PlugTimeRequest))
def test_a_verdict_follows_from_its_reasons(request: PlugTimeRequest) -> None:
    answer = plug_time(request)
    severities = {r.severity for r in answer.reasons}
    expected = (
        Verdict.NO_GO
        if Severity.STOP in severities
        else Verdict.CONDITIONAL
        if Severity.WARN in severities
        else Verdict.GO
    )
    assert answer.verdict is expected
    assert (answer.figures.ready is None) <= (answer.verdict is Verdict.NO_GO)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(any_request(PlugTimeRequest))
def test_closure_then_ready_and_frost_within_two_hours(request: PlugTimeRequest) -> None:
    found = plug_time(request).figures
    if found.closure is None or found.ready is None:
        return
    assert found.closure.likely <= found.ready.likely
    if found.frost_by is not None:
        assert 0.0 < found.frost_by.likely <= freeze.LATEST_FROST


@settings(max_examples=25, deadline=None, derandomize=True)
@given(any_request(PlugTimeRequest))
def test_a_history_is_that_of_one_run(request: PlugTimeRequest) -> None:
    found = plug_time(request).figures
    h = found.history
    series = [getattr(h, f.name) for f in fields(h)]
    assert len({len(s) for s in series}) == 1
    assert list(h.time) == sorted(set(h.time))
    assert list(h.plug_length) == sorted(h.plug_length)
    assert all(0.0 <= r <= 0.5 * request.bore * 1.000001 for r in h.liquid_radius)
    if found.ready is not None:
        assert h.time[-1] >= found.ready.likely
        assert min(h.plug_length[-1], h.bonded_length[-1]) >= 0.999 * request.bore
        load = request.line_pressure * (1.0 - 1e-3)
        assert h.holding_pressure[-1] >= load


def test_the_grip_needed_by_hand() -> None:
    """p SF D / (4 tau) = 10 bar x 2 x 52.5 mm / (4 x 0.5 MPa) = 52.5 mm, of the likely bond."""
    request = replace(STEEL, line_pressure=1e6)
    bore = 60.325e-3 - 2.0 * 3.9116e-3
    assert request.bore == pytest.approx(bore, rel=1e-3)
    solution = Solution(request)
    assert solution.likely_need == pytest.approx(1e6 * 2.0 * bore / (4.0 * 0.5e6), rel=1e-3)
    likely_bond = np.array([np.median(solution.strength)])
    assert 2.0 * solution.lost(likely_bond)[0] == pytest.approx(solution.likely_need, rel=1e-3)


def test_a_plug_is_at_least_one_bore_long_however_low_the_pressure() -> None:
    """In every draw: the length at ready is the bore's, whatever the inputs."""
    solution = Solution(replace(STEEL, line_pressure=0.0))
    assert solution.likely_need == 0.0
    assert known(solution.fine.at_ready).sound_length == pytest.approx(STEEL.bore, rel=0.03)
    length = known(plug_time(solution.point).figures.plug_length)
    for end in (length.low, length.likely, length.high):
        assert end == pytest.approx(STEEL.bore, rel=0.01)


def test_salt_and_glycol_bond_half_as_well() -> None:
    """Half: an assumption. Seawater at the same pressure needs twice the grip."""
    salt = replace(STEEL, fluid=replace(STEEL.fluid, type="seawater", concentration=0.035))
    bonds = [Solution(point) for point in (salt, STEEL)]
    assert bonds[0].likely_need == pytest.approx(2.0 * bonds[1].likely_need)
    assert bonds[0].strength == pytest.approx(0.5 * bonds[1].strength)


def test_holding_pressure_by_hand() -> None:
    """4 tau L / (D SF) = 4 x 0.5 MPa x 100 mm / (52.5 mm x 2) = 1.905 MPa."""
    expected = 4.0 * 0.5e6 * 0.1 / (STEEL.bore * 2.0)
    solution = Solution(STEEL)
    found = solution.carries(np.array([0.1]), solution.likely_strength)
    assert found[0] == pytest.approx(expected)
    assert expected == pytest.approx(1.905e6, rel=2e-3)


def test_half_an_hour_of_heat_by_hand() -> None:
    """Heat to ready is that of the water under the jacket and its share of wall and fin, roughly.

    1/2 in copper, 40.9 mm jacket: 6.1 g of water takes 84 + 333 + some 60 kJ/kg = 2.9 kJ; wall and
    the fin beside the jacket about as much again.
    """
    heat = likely(plug_time(COPPER).figures.heat_removed)
    held = math.pi / 4.0 * COPPER.bore**2 * COPPER.jacket.length * 1000.0 * 477e3
    assert 1.5 * held < heat < 3.5 * held


def test_the_greatest_flow_in_drips_by_hand() -> None:
    """20 drips to the millilitre (common practice, no source), water of 999.8 kg/m3 at 0 C."""
    found = plug_time(COPPER).figures
    per_minute = likely(found.residual_flow_limit) / 999.8 * 1e6 * 20.0 * 60.0
    assert likely(found.residual_drips_per_minute) == pytest.approx(per_minute)


def test_glycol_that_stays_slush_is_a_no_go() -> None:
    answer = plug_time(point_of(fluid=solution_of("propylene_glycol", 0.30)))
    assert (answer.verdict, codes(answer)) == (Verdict.NO_GO, {"slush"})
    assert answer.figures.closure is None
    assert answer.figures.history.time == ()


def test_a_little_glycol_closes_later_than_water() -> None:
    fluids = (water(), solution_of("propylene_glycol", 0.05))
    plain, mixed = (known(plug_time(point_of(fluid=f)).figures.closure) for f in fluids)
    assert mixed.likely > 1.01 * plain.likely


def test_a_flow_beyond_the_limit_is_a_no_go_and_near_it_conditional() -> None:
    limit = Solution(COPPER).flow_limit
    beyond, near, slow = (
        plug_time(point_of(fluid=water(flow=flow)))
        for flow in (1.3 * limit.likely, 0.8 * limit.likely, 0.5 * limit.low)
    )
    assert (beyond.verdict, "flowing" in codes(beyond)) == (Verdict.NO_GO, True)
    assert (near.verdict, "flow-near-limit" in codes(near)) == (Verdict.CONDITIONAL, True)
    assert slow.verdict is Verdict.GO


def test_the_chance_of_closing_falls_with_the_flow_as_the_limit_is_spread() -> None:
    """No more draws close than have a limit beyond the flow: 0.81 kg/h, 0.53 to 1.24."""
    limits = Solution(COPPER).flow_limits
    flows = [x / 3600.0 for x in (0.3, 0.5, 0.6, 0.7)]
    found = [plug_time(point_of(fluid=water(flow=f))).figures.chance_of_closing for f in flows]
    assert found == sorted(found, reverse=True)
    for flow, chance in zip(flows, found, strict=True):
        assert chance == pytest.approx(np.mean(flow <= limits), abs=0.06)
        assert chance <= np.mean(flow <= limits)


def test_a_flow_that_prevents_the_plug_has_no_course_of_one() -> None:
    found = plug_time(point_of(fluid=water(flow=2.0 * likely(Solution(COPPER).flow_limit)))).figures
    assert (found.closure, found.ready, found.heat_removed) == (None, None, None)
    assert found.history.time == ()
    assert found.drivers == ()


def test_a_flow_delays_closure_and_takes_more_heat() -> None:
    """Half the 5th percentile of the limit; the last step passes the planned ready a little."""
    flow = 0.5 * Solution(COPPER).flow_limit.low
    still, moving = (plug_time(point_of(fluid=water(flow=f))).figures for f in (0.0, flow))
    assert likely(moving.closure) > 1.05 * likely(still.closure)
    assert likely(moving.heat_removed) > 1.05 * likely(still.heat_removed)
    assert all(d.closure_at_low is not None for d in moving.drivers)
    assert moving.history.time[-2] < known(moving.planned_ready) <= moving.history.time[-1]


@pytest.mark.parametrize(
    ("celsius", "verdict", "code"),
    [(26.8, "go", None), (26.9, "conditional", "cylinder-near-critical"),
     (30.9, "conditional", "cylinder-near-critical"), (31.0, "no-go", "no-liquid-co2"),
     (45.0, "no-go", "no-liquid-co2")],
)  # fmt: skip
def test_a_warm_cylinder_is_conditional_and_a_hot_one_a_no_go(
    celsius: float, verdict: str, code: str | None
) -> None:
    """26.81 C at 68 % fill and 31.0 C critical: Span and Wagner 1996."""
    cylinder = CylinderTemperature(temperature=ZERO_C + celsius)
    answer = plug_time(point_of(cylinder=cylinder))
    assert answer.verdict == verdict
    assert codes(answer) == ({code} if code else set())


def test_too_high_a_pressure_is_said_to_be_never_ready_or_not_surely_ready() -> None:
    answer = plug_time(replace(STEEL, line_pressure=4e6, adhesion=0.05e6))
    assert (answer.verdict, codes(answer)) == (Verdict.NO_GO, {"never-ready"})
    assert answer.figures.closure is not None
    assert answer.figures.ready is None


def test_a_plug_that_only_the_least_favourable_inputs_keep_from_ready_is_conditional() -> None:
    """The higher the pressure: ready, not surely ready, never."""
    pressures = (3.0, 15.0, 20.0, 25.0, 30.0, 40.0)
    found = [plug_time(point_of(TWO_INCH, 20.0, 20.0, bar)) for bar in pressures]
    order = ("may-not-be-ready", "never-ready")
    ranks = [sum(n for n, code in enumerate(order, 1) if code in codes(a)) for a in found]
    assert ranks == sorted(ranks)
    assert 1 in ranks
    assert all(
        a.verdict is Verdict.CONDITIONAL for a, r in zip(found, ranks, strict=True) if r == 1
    )


def test_a_jacket_too_weak_for_a_large_plastic_pipe_never_closes() -> None:
    wide = point_of(
        TWO_INCH, 38.0, 40.0,
        pipe=Pipe(outside_diameter=0.11, wall=0.002, material=TWO_INCH.material),
        jacket=Jacket(length=0.03, conductance=50.0),
    )  # fmt: skip
    answer = plug_time(wide)
    assert (answer.verdict, codes(answer)) == (Verdict.NO_GO, {"never-closes"})


def test_drivers_bracket_the_likely_closure() -> None:
    found = plug_time(STEEL).figures
    closure = likely(found.closure)
    assert {d.name for d in found.drivers} == {*draws.SOLVED, "model"} - {"ice_fraction"}
    for driver in found.drivers:
        low, high = sorted((known(driver.closure_at_low), known(driver.closure_at_high)))
        assert low * 0.97 <= closure <= high * 1.03


def test_drivers_share_the_variance_the_greatest_first() -> None:
    """Shares make one; the model's is its own variance over that of closure in the draws, 10 %."""
    found = plug_time(STEEL).figures
    shares = [d.share for d in found.drivers]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1.0)
    (model,) = [d for d in found.drivers if d.name == "model"]
    closures = Solution(STEEL).closures
    variance = float(np.var(np.log(closures[np.isfinite(closures)])))
    sigma = math.log(1.16 / 0.862) / (2.0 * 1.645)
    assert model.share == pytest.approx(sigma**2 / variance, rel=0.1)
    assert known(model.closure_at_high) / known(model.closure_at_low) == pytest.approx(1.16 / 0.862)


def test_a_driver_is_told_at_its_own_percentiles() -> None:
    """110 and 250 W/(m2 K) about 165; 10 and 90 s about 30; the room 2 K to either side."""
    found = {d.name: d for d in plug_time(STEEL).figures.drivers}
    for name, low, high in (
        ("jacket_conductance", 110.0, 250.0), ("jacket_filling", 10.0, 90.0),
        ("ambient_temperature", 291.15, 295.15), ("fluid_temperature", 291.15, 295.15),
    ):  # fmt: skip
        assert found[name].low.value == pytest.approx(low, rel=0.01)
        assert found[name].high.value == pytest.approx(high, rel=0.01)


def test_the_water_is_called_warm_above_30_degrees() -> None:
    """Common practice, no source: the line is near room temperature first."""
    for celsius, warm in ((29.9, False), (30.1, True)):
        cautions = plug_time(point_of(HALF_INCH, celsius)).cautions
        assert ("warm-fluid" in {c.code for c in cautions}) is warm


def test_the_coldest_wall_is_a_little_below_the_mean_under_the_jacket() -> None:
    """By hand: what is drawn at ready over the jacket's conductance and surface, above dry ice.

    The centre, which is told, is colder than the ends, which the pipe beside warms.
    """
    answer = plug_time(point_of(TWO_INCH))
    found, solution = known(answer.figures.coldest_wall), Solution(point_of(TWO_INCH))
    ready = likely(answer.figures.ready)
    history = solution.fine.history(ready)
    power = np.interp(ready, history.time, np.gradient(history.heat_jacket, history.time))
    surface = math.pi * TWO_INCH.outside_diameter * (0.025 + TWO_INCH.outside_diameter)
    mean = constants.DRY_ICE + power / (165.0 * surface)
    assert mean - 10.0 < found.likely < mean
    assert constants.DRY_ICE < found.low <= found.likely <= known(found.high) < ZERO_C
