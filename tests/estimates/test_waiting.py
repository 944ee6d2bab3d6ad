"""Waits by hand: lines that cool and plugs that thaw, on films and freezes that are laid down."""

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.by_hand import Frozen
from estimates.jobs import ZERO_C
from estimates.test_job_points import replace, stated
from stillpipe.estimates.job import waits
from stillpipe.model.figures import Range
from stillpipe.model.freeze_point import Ambient, Lining
from stillpipe.model.job import Cooling, CoolingMethod, Job, LineFluid
from stillpipe.model.pipe import Pipe
from stillpipe.uncertainty.table import Z95

STEEL = Pipe(outside_diameter=0.1, wall=0.01, material="carbon_steel")
"""7,850 kg/m3 and 450 J/kg K: 3.5325 MJ/m3 K."""
SCALE = Lining(material="iron_oxide_scale", thickness=0.002)
"""Leaves a bore of 76 mm of the 80 mm inside the steel."""
FILM = 0.1 * np.arange(144.0)
"""A film of 0.1 W/m2 K for each kelvin of the surface above 190 K."""


def line(celsius: float, room: float = 15.0, **changes: Any) -> Job:
    """A line of 100 mm steel with scale at a temperature [C] in a ``room`` [C], to be at 25 C."""
    given: dict[str, Any] = {
        "points": 1, "pipe": STEEL, "lining": SCALE, "ambient": Ambient(temperature=ZERO_C + room),
        "fluid": LineFluid(temperature=ZERO_C + celsius),
    }  # fmt: skip
    return stated(**(given | changes)).each[0].request


def in_room() -> Any:
    """A freeze of which only the film to the room is known."""
    return SimpleNamespace(room_film=FILM)


STANDING = 11031.0
"""How long that line takes from 60 to 25 C in a room at 15 C, by hand [s].

Water 4.18 MJ/m3 K x 0.25 pi x 76^2 mm2 and steel 3.5325 x 0.25 pi x (100^2 - 80^2), over pi x
100 mm: 92,152 J/m2 K. The film at 42.5 C is 12.565 W/m2 K: 7,334 s, times ln(45 / 10).
"""


def test_a_line_left_to_the_room_cools_as_a_lump_of_water_and_wall() -> None:
    assert waits.standing(line(60.0), in_room()) == pytest.approx(STANDING, rel=1e-4)


def test_a_line_that_is_cool_enough_takes_no_time_wherever_it_stands() -> None:
    """At 25 C already, even where room and water are as warm."""
    warm = Cooling(water=ZERO_C + 30.0)
    for room in (15.0, 25.0, 40.0):
        assert waits.standing(line(25.0, room), in_room()) == 0.0
        assert waits.standing(line(10.0, room), in_room()) == 0.0
    assert waits.flushing(ZERO_C + 25.0, warm) == 0.0
    assert waits.cooling(line(25.0, 40.0, cooling=warm), in_room()) == Range(0.0, 0.0, 0.0)


def test_a_room_or_water_no_colder_than_the_line_is_to_be_never_cools_it() -> None:
    for celsius in (25.0, 30.0):
        assert waits.standing(line(60.0, celsius), in_room()) == math.inf
        assert waits.flushing(ZERO_C + 60.0, Cooling(water=ZERO_C + celsius)) == math.inf


def test_flushing_is_exponential_in_its_time_constant() -> None:
    """From 45 K above the water to 10 K above it: ln 4.5 times ten minutes."""
    cooling = Cooling(time_constant=600.0)
    assert waits.flushing(ZERO_C + 60.0, cooling) == pytest.approx(902.45, abs=0.01)


def test_a_line_arrives_as_it_is_and_is_warm_above_what_it_is_fed_at() -> None:
    assert waits.arrival(line(60.0)) == ZERO_C + 60.0
    assert waits.arrival(line(20.0)) == ZERO_C + 20.0
    assert [waits.is_warm(line(c)) for c in (60.0, 25.01, 25.0, 20.0)] == [True, True, False, False]


@pytest.mark.parametrize(
    ("room", "cooling", "flushed"),
    [
        (15.0, Cooling(), True),  # an hour times ln 4.5, and some three hours in the room
        (15.0, Cooling(time_constant=2.0 * 3600.0), True),  # 3 h against 3 h 4 min
        (15.0, Cooling(time_constant=2.1 * 3600.0), False),  # 3 h 9 min
        (40.0, Cooling(), True),  # the room never does it
        (40.0, Cooling(water=ZERO_C + 30.0), False),  # neither does
        (15.0, Cooling(method=CoolingMethod.ROOM), False),
        (15.0, Cooling(method=CoolingMethod.FLUSH, time_constant=8 * 3600.0), True),
    ],
)
def test_a_line_is_flushed_where_that_is_sooner_or_asked_for(
    room: float, cooling: Cooling, flushed: bool
) -> None:
    assert waits.is_flushed(line(60.0, room, cooling=cooling), in_room()) is flushed


def test_a_cool_line_is_not_flushed_even_where_that_is_asked_for() -> None:
    cool = line(20.0, cooling=Cooling(method=CoolingMethod.FLUSH))
    assert waits.is_flushed(cool, in_room()) is False


def test_flushing_takes_half_to_twice_as_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waits.draws, "flushing", lambda: Z95 * np.array([-1.0, 0.0, 1.0]))
    found = waits.coolings(line(60.0, cooling=Cooling(time_constant=600.0)), in_room())
    assert found == pytest.approx([451.2, 902.4, 1804.9], abs=0.1)


def drawn_film() -> Any:
    """A freeze whose film to the room is half, as likely and twice as likely in three draws."""
    share = {"room_film": np.array([0.5, 1.0, 2.0])}
    return SimpleNamespace(
        room_film=FILM,
        sample=SimpleNamespace(of=lambda name: np.log2(share[name])),
        cases=SimpleNamespace(
            input=lambda name: SimpleNamespace(at=lambda z: 2.0**z if name in share else None)
        ),
    )


def test_the_room_cools_a_line_the_faster_the_more_its_film_carries() -> None:
    left = line(60.0, cooling=Cooling(method=CoolingMethod.ROOM))
    found = waits.coolings(left, drawn_film())
    assert found == pytest.approx([2.0 * STANDING, STANDING, 0.5 * STANDING], rel=1e-4)


def test_how_long_a_line_cools_is_told_with_the_percentiles_that_are_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The three draws of flushing: their middle is the median, and the third the 90th of them."""
    monkeypatch.setattr(waits.draws, "flushing", lambda: Z95 * np.array([-1.0, 0.0, 1.0]))
    cooling = Cooling(time_constant=600.0)
    found = waits.cooling(line(60.0, cooling=cooling, percentiles=(0.4, 0.9)), in_room())
    assert found is not None
    assert (found.low, found.likely, found.high) == pytest.approx((451.2, 902.4, 1804.9), abs=0.1)
    assert [p for p, _ in found.more] == [0.4, 0.9]
    assert [v for _, v in found.more] == pytest.approx([902.4, 1804.9], abs=0.1)


def test_a_line_that_never_cools_has_no_time() -> None:
    never = line(60.0, 40.0, cooling=Cooling(method=CoolingMethod.ROOM))
    assert waits.cooling(never, drawn_film()) is None


def thick(resistance: float) -> Any:
    """A plug of 80 mm in 100 mm steel with a lining of so much ``resistance`` [m K/W]."""
    pipe, material = (
        SimpleNamespace(outside_diameter=0.1, wall=0.01),
        SimpleNamespace(conductivity=50.0),
    )
    return SimpleNamespace(
        bore=0.08, pipe=pipe, material=material, lining_resistance=resistance
    )  # fmt: skip


def test_help_comes_after_two_hours_and_melts_all_of_the_ice() -> None:
    """916.7 kg/m3 x 333.4 kJ/kg x 80^2 / (4 x 100) mm: 4.891 MJ/m2 of the outside, 40 K away.

    Through 20 m2 K/kW, and 0.223 of steel: 50 mm x ln(100 / 80) / 50 W/m K: 2,473 s. Through a
    lining of 0.4 m K/W, 20 m2 K/kW on 50 mm, as well: 4,918 s.
    """
    for resistance, expected in ((0.0, 2472.6), (0.4, 4917.9)):
        found = waits.assisted_thaw(Frozen(point=thick(resistance)))  # type: ignore[arg-type]
        assert found == pytest.approx(7200.0 + expected, abs=0.5)


@pytest.fixture
def helped(monkeypatch: pytest.MonkeyPatch) -> float:
    """When a plug that is helped is gone [s]: a figure of its own freeze."""
    monkeypatch.setattr(waits, "assisted_thaw", lambda solution: 2450.0 + solution.hold)
    return 2450.0 + Frozen().hold


def test_a_plug_is_helped_where_it_is_likely_gone_later_by_itself(helped: float) -> None:
    """The draws thaw in 3,001 to 3,100 s, 3,050 of them the median; a second later, or never."""
    likely = Frozen()
    assert waits.is_assisted(likely) is False  # type: ignore[arg-type]
    later = Frozen(thaws=likely.thaws + 1.0)
    assert waits.is_assisted(later) is True  # type: ignore[arg-type]
    never = Frozen(thaws=np.full(100, np.inf))
    assert never.thaw is None
    assert waits.is_assisted(never) is True  # type: ignore[arg-type]
    assert likely.thaw is not None
    assert likely.thaw.likely == helped


def test_a_thaw_is_as_long_as_by_itself_or_as_with_help_of_what_holds(helped: float) -> None:
    """Of the odd draws alone, which hold: 3,001 to 3,099 s, none beyond 3,050."""
    holds = np.arange(1, 101) % 2 == 1
    plug = Frozen(holds=holds)
    assert waits.thaws(plug).max() == helped  # type: ignore[arg-type]
    assert waits.thaws(plug)[:3].tolist() == [3001.0, 3002.0, 3003.0]  # type: ignore[arg-type]
    assert waits.thaw(plug) == Range(3005.0, 3049.0, 3050.0)  # type: ignore[arg-type]
    unplanned = replace(plug, planned_ready=None)
    assert waits.thaw(unplanned) is None  # type: ignore[arg-type]


def test_temperatures_are_told_in_whole_degrees() -> None:
    assert [waits.in_words(ZERO_C + t) for t in (25.0, 59.6, -4.4)] == [
        "25 degC", "60 degC", "-4 degC",
    ]  # fmt: skip
