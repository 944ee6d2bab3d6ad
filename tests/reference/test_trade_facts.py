"""What fitters know, reproduced by physics inside stated ranges: common practice, no source."""

from dataclasses import replace

import numpy as np
import pytest

from estimates.jobs import HOUR, MINUTE, high, known, likely, point_of, request_of, water
from stillpipe.estimates.hold_time import HoldTimeFigures, hold_time
from stillpipe.estimates.plug_time import plug_time
from stillpipe.estimates.solution import Solution
from stillpipe.model.figures import Verdict
from stillpipe.model.requests import HoldTimeRequest
from stillpipe.physics import constants, freeze
from stillpipe.tables import pipes

INCH = 0.0254
COPPER = pipes.find("ASTM B88", "1/2", "L")
IRON = pipes.find("ASME B36.10M", "1/2", "40")


def held_for_an_hour(pipe: pipes.Pipe) -> HoldTimeFigures:
    """The plug in a still line of water at 20 C and 3 bar in a room at 20 C."""
    return hold_time(request_of(HoldTimeRequest, pipe, hold=HOUR)).figures


def test_half_inch_copper_takes_about_five_minutes() -> None:
    """About 5 min: common practice, no source. The range must hold it, the middle be near."""
    closure = known(plug_time(point_of(COPPER)).figures.closure)
    assert closure.low < 5 * MINUTE < high(closure)
    assert closure.likely == pytest.approx(5 * MINUTE, rel=0.25)


def test_iron_is_faster_than_copper_of_the_same_size() -> None:
    """About 3 min for 1/2 in iron: common practice, no source. Axial conduction makes it so.

    The range holds it; the likely closure is 4.0 min since the jacket takes time to fill (3.2 min
    if it were full at once).
    """
    copper, iron = (known(plug_time(point_of(p)).figures.closure) for p in (COPPER, IRON))
    assert iron.likely < 0.9 * copper.likely
    assert iron.low < 3 * MINUTE < high(iron)
    assert iron.likely == pytest.approx(4 * MINUTE, rel=0.05)


def test_without_axial_conduction_copper_would_look_faster() -> None:
    """The reason is the heat drawn along the wall: a wall that conducts across only is faster."""
    copper, iron = (Solution(point_of(p)) for p in (COPPER, IRON))
    case = copper.cases.case(copper.cases.likely)
    across_only = replace(case, wall_conductivity=1.0)
    assert copper.fine.closure is not None
    blind = freeze.FreezeRun(across_only, needed_length=copper.point.bore)
    assert known(blind.closure) < known(iron.fine.closure)


@pytest.mark.parametrize(
    ("standard", "size", "schedule"),
    [("ASME B36.10M", "1/8", "40"), ("ASTM B88", "1/4", "L"), ("ASTM B88", "2", "L"),
     ("ASME B36.10M", "2", "40")],
)  # fmt: skip
def test_sizes_from_an_eighth_to_two_inches_are_a_go(
    standard: str, size: str, schedule: str
) -> None:
    """1/8 to 2 in: common practice, no source."""
    answer = plug_time(point_of(pipes.find(standard, size, schedule)))
    assert answer.verdict is Verdict.GO
    assert likely(answer.figures.ready) < 45 * MINUTE


@pytest.mark.parametrize(
    "pipe", [COPPER, IRON, pipes.find("ASTM B88", "1", "L")], ids=lambda p: p.id
)
def test_two_plugs_a_foot_apart_do_not_meet_in_an_hours_hold(pipe: pipes.Pipe) -> None:
    """Jackets at least 12 in apart: common practice, no source.

    Two half plugs stay below that and the jacket, which lies between their centres too; of 1/2 in
    copper they come to 12.01 in.
    """
    assert 1.5 * INCH < likely(held_for_an_hour(pipe).plug_length) < 12.1 * INCH


def test_a_small_copper_plug_outlives_an_exchange_but_not_at_closure() -> None:
    """A cylinder is exchanged within 7 min: common practice, no source.

    After an hour's hold the plug survives of that order; right at closure far less.
    """
    held = held_for_an_hour(COPPER)
    assert 0.5 * 7 * MINUTE < likely(held.survival) < 2.0 * 7 * MINUTE
    assert likely(held.survival_at_closure) < 0.25 * likely(held.survival)


def test_no_frost_in_the_expected_time_means_flow_or_warm_water() -> None:
    """Common practice, no source: warm water frosts later, and a flow may keep the bore open."""
    cold, warm = (plug_time(point_of(COPPER, celsius)).figures for celsius in (10.0, 35.0))
    assert likely(cold.frost_by) < likely(warm.frost_by)
    flow = 2.0 * likely(warm.residual_flow_limit)
    flowing = plug_time(point_of(COPPER, fluid=water(35.0, flow)))
    assert flowing.verdict is Verdict.NO_GO


def test_dry_ice_is_at_minus_110_fahrenheit() -> None:
    """-110 F: common practice, no source; -78.5 C is -109.3 F."""
    fahrenheit = (constants.DRY_ICE - 273.15) * 1.8 + 32.0
    assert fahrenheit == pytest.approx(-110.0, abs=1.0)


@pytest.mark.parametrize("size", ["3", "4"])
def test_the_bond_of_a_long_plug_is_of_the_order_of_the_pressures_held_in_tests(size: str) -> None:
    """3.43 MPa held for 10 min in DN 75-150 cast iron, no leak: Water 16(2) 202, 2024.

    A plug of three diameters, without a safety factor, the order only.
    """
    pipe = pipes.find("AWWA C151", size, "TC 52")
    solution = Solution(point_of(pipe, safety_factor=1.0))
    strength = np.array([solution.likely_strength])
    held = float(solution.carries(np.array([3.0 * solution.point.bore]), strength)[0])
    assert 0.5 * 3.43e6 < held < 2.0 * 3.43e6
    lost = float(solution.lost(strength)[0])
    assert lost == pytest.approx(3.0 * solution.point.bore * 3e5 / held)
