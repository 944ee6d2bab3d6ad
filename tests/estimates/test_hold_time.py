"""Hold time: a plug kept longer lasts longer, and what is never reached is said."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings

from estimates.jobs import HALF_INCH, TWO_INCH, any_job
from estimates.test_plug_time import ranges
from stillpipe.estimates import hold_time
from stillpipe.estimates.job import Freeze
from stillpipe.tables import fluids

ZERO_C = 273.15


@settings(max_examples=20, deadline=None, derandomize=True)
@given(any_job())
def test_every_range_is_ordered_and_finite(job: Freeze) -> None:
    for found in ranges(hold_time.hold_time(job, 1800.0)):
        ends = [found.low, found.likely, *([] if found.high is None else [found.high])]
        assert ends == sorted(ends)
        assert all(math.isfinite(v) and v >= 0.0 for v in ends)


@pytest.mark.parametrize("job", [HALF_INCH, TWO_INCH])
def test_a_plug_held_longer_is_longer_and_lasts_longer(job: Freeze) -> None:
    found = [hold_time.hold_time(job, minutes * 60.0) for minutes in (0, 10, 30, 120)]
    survivals = [f.survival.likely for f in found if f.survival]
    lengths = [f.plug_length.likely for f in found if f.plug_length]
    assert len(survivals) == len(lengths) == 4
    assert survivals == sorted(survivals)
    assert lengths == sorted(lengths)


def test_a_plug_lets_go_before_it_is_gone() -> None:
    found = hold_time.hold_time(TWO_INCH, 1800.0)
    assert found.survival is not None
    assert found.thaw is not None
    assert found.survival.likely < found.thaw.likely


def test_a_higher_pressure_is_ready_later() -> None:
    """The plug must be longer before it may be cut; the hold begins then, on a longer plug."""
    low, high = (
        hold_time.hold_time(replace(TWO_INCH, line_pressure=p), 1800.0) for p in (1e5, 8e5)
    )
    assert low.ready is not None
    assert high.ready is not None
    assert low.plug_length is not None
    assert high.plug_length is not None
    assert high.ready.likely > low.ready.likely
    assert high.plug_length.likely > low.plug_length.likely


def test_a_cold_room_keeps_the_plug() -> None:
    cool, warm = (
        hold_time.hold_time(replace(TWO_INCH, ambient_temperature=ZERO_C + t), 1800.0).thaw
        for t in (8.0, 30.0)
    )
    assert cool is not None
    assert warm is not None
    assert cool.likely > 1.5 * warm.likely


def test_below_freezing_the_plug_does_not_thaw_and_this_is_said() -> None:
    found = hold_time.hold_time(replace(HALF_INCH, ambient_temperature=ZERO_C - 5.0), 600.0)
    assert found.thaw is None
    assert "does-not-thaw" in {n.code for n in found.reasons}
    assert "freezing-room" in {n.code for n in found.cautions}


def test_slush_is_refused_before_anything_is_solved() -> None:
    job = replace(HALF_INCH, fluid=fluids.find("ethylene_glycol"), concentration=0.40)
    found = hold_time.hold_time(job, 600.0)
    assert found.verdict == "no-go"
    assert ranges(found) == []


def test_thaw_takes_at_least_the_latent_heat_over_the_greatest_film() -> None:
    """By hand: a plug of length L cannot thaw faster than its latent heat through its surface.

    Heat in is at most the empty jacket's 14 W/m2K (10 x 1.4) and the film beside on the pipe's own
    surface plus conduction along the wall; ten times that film is a safe bound from below.
    """
    found = hold_time.hold_time(TWO_INCH, 1800.0)
    assert found.thaw is not None
    assert found.plug_length is not None
    length = found.plug_length.likely
    latent = math.pi / 4.0 * TWO_INCH.bore**2 * length * 917.0 * 333.43e3
    power = 10.0 * 14.0 * math.pi * TWO_INCH.outside_diameter * length * 20.0
    assert found.thaw.likely > latent / power
