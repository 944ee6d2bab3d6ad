"""What fitters know, reproduced by physics inside stated ranges: common practice, no source."""

from dataclasses import replace

import pytest

from stillpipe.estimates import course, hold_time, plug_time
from stillpipe.estimates.job import Freeze
from stillpipe.tables import fluids, materials, pipes

MINUTE, INCH = 60.0, 0.0254


def job(standard: str, size: str, schedule: str) -> Freeze:
    """A still line of water at 20 C and 3 bar in a room at 20 C."""
    pipe = pipes.find(standard, size, schedule)
    return Freeze(
        outside_diameter=pipe.outside_diameter, wall=pipe.wall,
        material=materials.find(pipe.material), fluid=fluids.find("water"), concentration=0.0,
        fluid_temperature=293.15, ambient_temperature=293.15, line_pressure=3e5,
        jacket_length=0.025 + pipe.outside_diameter,
    )  # fmt: skip


COPPER = job("ASTM B88", "1/2", "L")
IRON = job("ASME B36.10M", "1/2", "40")


def test_half_inch_copper_takes_about_five_minutes() -> None:
    """About 5 min: common practice, no source. The range must hold it, the middle be near."""
    closure = plug_time.plug_time(COPPER).closure
    assert closure is not None
    assert closure.high is not None
    assert closure.low < 5 * MINUTE < closure.high
    assert closure.likely == pytest.approx(5 * MINUTE, rel=0.25)


def test_iron_is_faster_than_copper_of_the_same_size() -> None:
    """About 3 min for 1/2 in iron: common practice, no source. Axial conduction makes it so."""
    copper, iron = (plug_time.plug_time(j).closure for j in (COPPER, IRON))
    assert copper is not None
    assert iron is not None
    assert iron.likely < 0.9 * copper.likely
    assert iron.low < 3 * MINUTE
    assert iron.likely == pytest.approx(3 * MINUTE, rel=0.25)


def test_without_axial_conduction_copper_would_look_faster() -> None:
    """The reason is the heat drawn along the wall: a wall that conducts across only is faster."""
    laid = course.case(COPPER)
    blind = replace(laid, wall_conductivity=1.0, wall=laid.wall)
    assert course.solve(COPPER).closure is not None
    column = course.freeze.Column(blind, course.PRODUCTION, 3600.0)
    state = column.advance(column.start(), 4 * 3600.0, course.column.CLOSED)
    blind_closure = float(state.clock[5])
    iron = course.solve(IRON).closure
    assert iron is not None
    assert blind_closure < iron


@pytest.mark.parametrize(
    ("standard", "size", "schedule"),
    [("ASME B36.10M", "1/8", "40"), ("ASTM B88", "1/4", "L"), ("ASTM B88", "2", "L"),
     ("ASME B36.10M", "2", "40")],
)  # fmt: skip
def test_sizes_from_an_eighth_to_two_inches_are_a_go(
    standard: str, size: str, schedule: str
) -> None:
    """1/8 to 2 in: common practice, no source."""
    found = plug_time.plug_time(job(standard, size, schedule))
    assert found.verdict == "go"
    assert found.ready is not None
    assert found.ready.likely < 45 * MINUTE


@pytest.mark.parametrize("which", [COPPER, IRON, job("ASTM B88", "1", "L")])
def test_two_plugs_a_foot_apart_do_not_meet_in_an_hours_hold(which: Freeze) -> None:
    """Jackets at least 12 in apart: common practice, no source. Two half plugs stay below it."""
    held = hold_time.hold_time(which, 3600.0)
    assert held.plug_length is not None
    assert held.plug_length.likely < 12 * INCH
    assert held.plug_length.likely > 1.5 * INCH


def test_a_small_copper_plug_outlives_an_exchange_but_not_at_closure() -> None:
    """A cylinder is exchanged within 7 min: common practice, no source.

    After an hour's hold the plug survives of that order; right at closure far less.
    """
    held = hold_time.hold_time(COPPER, 3600.0)
    assert held.survival is not None
    assert held.survival_at_closure is not None
    assert 0.5 * 7 * MINUTE < held.survival.likely < 2.0 * 7 * MINUTE
    assert held.survival_at_closure.likely < 0.25 * held.survival.likely


def test_no_frost_in_the_expected_time_means_flow_or_warm_water() -> None:
    """Common practice, no source: warm water frosts later, and a flow may keep the bore open."""
    cold = plug_time.plug_time(replace(COPPER, fluid_temperature=283.15))
    warm = plug_time.plug_time(replace(COPPER, fluid_temperature=308.15))
    assert cold.frost_by is not None
    assert warm.frost_by is not None
    assert cold.frost_by.likely < warm.frost_by.likely
    assert warm.residual_flow_limit is not None
    flowing = replace(COPPER, fluid_temperature=308.15, flow=2.0 * warm.residual_flow_limit.likely)
    assert plug_time.plug_time(flowing).verdict == "no-go"


def test_dry_ice_is_at_minus_110_fahrenheit() -> None:
    """-110 F: common practice, no source; -78.5 C is -109.3 F."""
    fahrenheit = (course.freeze.DRY_ICE - 273.15) * 1.8 + 32.0
    assert fahrenheit == pytest.approx(-110.0, abs=1.0)


def test_the_bond_of_a_long_plug_is_of_the_order_of_the_pressures_held_in_tests() -> None:
    """3.43 MPa held for 10 min in DN 75-150 cast iron, no leak: Water 16(2) 202, 2024.

    4 tau L / D with tau 0.28 MPa and a plug of three diameters, the order only.
    """
    held = 4.0 * 0.28e6 * 3.0
    assert 0.5 * 3.43e6 < held < 2.0 * 3.43e6
