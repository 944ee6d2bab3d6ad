"""How long a plug holds without coolant, by hand: stops whose figures are given."""

import math
from typing import Any

import numpy as np
import pytest

from estimates.laid import Run, held, patched
from stillpipe.estimates import course, drawn
from stillpipe.estimates.course import Of
from stillpipe.estimates.drawn import SHARES, Drawn

DAY = 86400.0


def lasting(found: Drawn, power: float = 1.0, begin: float = 100.0) -> list[float]:
    """Let plugs last by a power of the time since ``begin``; return the times asked for."""
    asked: list[float] = []

    def lasts(time: float) -> np.ndarray:
        asked.append(time)
        since = (time - begin) ** power
        return np.array([since, 3.0 * since, 0.0, np.inf])

    patched(found, lasting=lasts)
    return asked


def test_a_few_stops_are_each_solved_in_any_order() -> None:
    """Those of the same tenth of a second once."""
    found = held(4)
    asked = lasting(found)
    late, early, beside, apart = found.lasting_at([400.0, 200.0, 200.04, 200.2])
    assert asked == [200.0, 200.2, 400.0]
    assert late[0] == 300.0
    assert early is beside
    assert early[0] == 100.0
    assert apart[0] == pytest.approx(100.2)
    assert len(found.lasting_at([400.0, 300.0, 200.0, 250.0])) == 4
    assert asked[3:] == [200.0, 250.0, 300.0, 400.0]


@pytest.mark.parametrize(
    ("closure", "begin"), [(100.0, 100.0), (195.0, 180.0), (None, 0.0)]
)  # fmt: skip
def test_of_many_stops_four_are_solved_and_the_rest_lie_straight_in_logarithms(
    closure: float | None, begin: float
) -> None:
    """At shares of the hold; against the time since the likely closure, or a tenth of the first.

    What holds nothing is told so between too, and what holds for ever, for ever.
    """
    found = held(4, fine=Run(closure))
    asked = lasting(found, 1.3, begin)
    times = [200.0, 1200.0, 300.0, 500.0, 700.0, 200.0]
    told = found.lasting_at(times)
    assert asked == pytest.approx([200.0, 270.0, 500.0, 1200.0])
    for time, each in zip(times, told, strict=True):
        since = (time - begin) ** 1.3
        assert each[:2] == pytest.approx([since, 3.0 * since])
        assert each[2] == 0.0
        assert each[3] == math.inf
    assert told[0] is told[-1]


def test_how_long_it_holds_is_worked_out_once() -> None:
    found = held(2, strength=np.full(2, 1e6))
    asked: list[float] = []

    def stopped(time: float) -> np.ndarray:
        asked.append(time)
        return np.tile(np.log(1000.0 * (1.0 - SHARES)), (2, 1)).astype(np.float32)

    patched(found, stopped=stopped, grown=lambda _, time: np.array([1.0, 2.0]) * time)
    first = found.lasting(300.0)
    assert found.lasting(300.0) is first
    assert found.lasting(400.0) is not first
    assert asked == [300.0, 400.0]


def shared(shares: list[float], **known: Any) -> Drawn:
    """Draws that hold down to such shares of a grip of 2 m, each kept for 1000 s times the rest."""
    found = held(len(shares), strength=np.array(shares), **known)
    whole = np.full(len(shares), 2.0)
    return patched(found, lost=lambda strength: 2.0 * strength, grown=lambda *_: whole)


def kept(count: int, whole: float = 1000.0) -> np.ndarray:
    return np.tile(np.log(whole * (1.0 - SHARES)), (count, 1)).astype(np.float32)


def test_a_plug_holds_until_what_is_left_is_what_it_needs() -> None:
    """A quarter, a half and all of its grip, and more than it ever had; by its own times."""
    found = shared([0.25, 0.5, 1.0, 7.0], model=np.array([1.0, 2.0, 1.0, 1.0]))
    assert found._lasting(300.0, kept(4)) == pytest.approx([750.0, 1000.0, 0.0, 0.0], abs=1e-3)


def test_in_a_room_that_keeps_enough_of_its_bond_it_holds_for_ever() -> None:
    found = shared([0.25, 0.5, 0.75], _cold=np.full(3, 0.5))
    assert found._lasting(300.0, kept(3)) == pytest.approx([np.inf, 500.0, 250.0], rel=1e-5)


def test_a_plug_that_is_not_there_holds_nothing_however_cold_the_room() -> None:
    """Nor one of a grip next to none."""
    found = shared([0.25, 0.25], _cold=np.array([1.0, 0.0]))
    patched(found, grown=lambda *_: np.array([0.0, 1e-12]))
    patched(found, lost=lambda _: np.array([0.0, 0.5e-9]))
    assert found._lasting(300.0, kept(2)) == pytest.approx([0.0, 500.0], rel=1e-5)


def test_what_holds_beyond_a_day_as_solved_holds_for_ever() -> None:
    found = shared([0.25, 0.75], model=np.array([0.5, 2.0]))
    assert found._lasting(300.0, kept(2, 2.0 * DAY)) == pytest.approx([np.inf, DAY], rel=1e-5)


def test_what_holds_for_a_day_to_the_second_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(course, "kept", lambda *_: np.array([DAY, DAY + 1.0]))
    assert shared([0.25, 0.25])._lasting(300.0, kept(2)).tolist() == [DAY, np.inf]


def test_the_grip_is_that_of_the_time_that_is_asked_about() -> None:
    found = shared([0.25])
    patched(found, grown=lambda of, time: np.array([time / 150.0 if of is Of.GRIP else 0.0]))
    assert found._lasting(300.0, kept(1)) == pytest.approx([750.0], rel=1e-5)
    assert found._lasting(600.0, kept(1)) == pytest.approx([875.0], rel=1e-5)


@pytest.mark.parametrize(
    ("grips", "part"),
    [
        ((2.0, 1.0, 4.0), 0.5), ((1.0, 1.0, 4.0), 0.0), ((4.0, 1.0, 4.0), 1.0),
        ((9.0, 1.0, 4.0), 1.0), ((0.5, 1.0, 4.0), -0.5), ((0.01, 1.0, 4.0), -1.0),
        ((math.exp(0.01), 1.0, 1.0), 0.5), ((math.exp(0.01), 1.0, 0.5), 0.5),
        ((3e-5, 0.0, 0.9), 0.5),
    ],
)  # fmt: skip
def test_beside_two_stops_it_goes_with_the_logarithm_of_the_grip(
    grips: tuple[float, float, float], part: float
) -> None:
    """As far before the first as between both, and no farther than the second.

    A grip that grows by less than 2 % counts as if it grew by that; none counts as a millionth
    of a millimetre.
    """
    grown = dict(zip((300.0, 200.0, 500.0), grips, strict=True))
    logs = {200.0: np.full((1, 2), 1.0, np.float32), 500.0: np.full((1, 2), 3.0, np.float32)}
    found = patched(
        held(), grown=lambda of, time: np.array([grown[time] if of is Of.GRIP else -1.0]),
        stopped=lambda time: logs[time], _lasting=lambda time, stopped: (time, stopped),
    )  # fmt: skip
    time, told = found.lasting_beside(300.0, (200.0, 500.0))
    assert time == 300.0
    assert told.dtype == np.float32
    assert told == pytest.approx(np.full((1, 2), 1.0 + 2.0 * part), abs=1e-4)
    assert course.TINY == 1e-9


def test_times_are_told_from_a_tenth_of_a_second_to_two_days() -> None:
    times = np.array([0.0, 0.05, 0.2, 1.0, DAY, 3.0 * DAY, np.inf, np.nan])
    found = np.exp(drawn._log(times))
    assert found[:-1] == pytest.approx([0.1, 0.1, 0.2, 1.0, DAY, 2.0 * DAY, 2.0 * DAY])
    assert np.isnan(found[-1])
    assert np.exp(drawn._log(times[3:5], 50.0)) == pytest.approx([1.0, 50.0])
