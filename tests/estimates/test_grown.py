"""The ice's shape and the plug's length, by hand: of a freeze that is laid down.

Its ice is a cone about the jacket's centre that grows by 1 mm a second, with half of the bore's
area free at its foot; from closure on 0.4 of the way out is shut.
"""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from estimates.by_hand import Frozen, rising
from estimates.jobs import HALF_INCH, point_of, water
from stillpipe.estimates import growth
from stillpipe.estimates.course import Of
from stillpipe.estimates.growth import Growth, Profile

Array = NDArray[np.float64]

CLOSURE, UNTIL = 200.0, 300.0
FIRST = 40.0
"""When there is the first ice [s]."""


class Run:
    """A freeze closed after 200 s, whose history goes beyond that where it is asked to."""

    closure: float | None = CLOSURE

    def history(self, until: float, *, beyond: bool = False) -> Any:
        count = 5 if beyond else 4
        time = np.array([0.0, FIRST, FIRST + 1e-6, CLOSURE, until])[:count]
        volume = np.array([0.0, 0.0, 1e-9, 0.5, 1.0])[:count]
        return SimpleNamespace(time=time, ice_volume=volume, plug_length=1e-3 * time)

    def at(self, times: Array) -> Any:
        length = np.where(times >= CLOSURE, 2.0 * 0.4 * 1e-3 * times, -1e-3)
        return SimpleNamespace(plug_length=length)

    def open_share(self, times: Array, at: Array) -> Array:
        return np.asarray(np.clip(0.5 + 0.5 * at / (1e-3 * times[:, None]), 0.0, 1.0))


def solved(run: Any = None, **changes: Any) -> Any:
    return SimpleNamespace(fine=run or Run(), point=point_of(**changes))


def test_the_shape_is_told_from_first_ice_to_closure_and_to_the_end() -> None:
    """At four quarters of the way to closure, then at half and all of the rest of the way."""
    found = growth.profile(solved(), UNTIL)
    times = [m.time for m in found.moments]
    assert times == pytest.approx([80.0, 120.0, 160.0, 200.0, 250.0, 300.0], abs=1e-4)
    paced = growth.profile(solved(), UNTIL, 1.5)
    assert [m.time for m in paced.moments] == pytest.approx(1.5 * np.array(times))


def test_the_shape_is_that_of_the_ice_at_seventeen_places_to_its_end() -> None:
    """They end where at no time more than a thousandth of the bore is ice, 299.4 mm out.

    Or one of the 200 places later at which that is looked for.
    """
    found = growth.profile(solved(), UNTIL)
    end = found.position[-1]
    assert len(found.position) == 17
    assert np.diff(found.position) == pytest.approx(end / 16.0)
    step = (0.3 + point_of().jacket.length + 10.0 * HALF_INCH.outside_diameter) / 199.0
    assert 0.2994 <= end < 0.2994 + step
    at = np.array(found.position)
    for moment in found.moments:
        area = np.clip(0.5 + 0.5 * at / (1e-3 * moment.time), 0.0, 1.0)
        closed = 0.4e-3 * moment.time if moment.time >= CLOSURE - 1e-6 else -1.0
        radius = 0.5 * HALF_INCH.inside_diameter * np.sqrt(np.where(at <= closed, 0.0, area))
        assert moment.liquid_radius == pytest.approx(radius, abs=1e-6)


def test_of_water_that_moved_the_shape_is_told_from_closure_on() -> None:
    found = growth.profile(solved(fluid=water(flow=1e-5)), UNTIL)
    assert [m.time for m in found.moments] == pytest.approx([200.0, 250.0, 300.0])


@pytest.mark.parametrize(("closure", "until"), [(None, 300.0), (200.0, 200.0), (200.0, 100.0)])
def test_there_is_no_shape_of_what_is_not_closed_by_then(
    closure: float | None, until: float
) -> None:
    run = Run()
    run.closure = closure
    assert growth.profile(solved(run), until) == Profile()


def grown(of: Of, time: float) -> Array:
    """A hundred draws of 1 to 100 mm, half as long after 500 s."""
    assert of is Of.SOUND
    assert isinstance(time, float)
    return rising(0.0, 0.001) * (1.0 if time < 500.0 else 0.5)


def frozen(**changes: Any) -> Any:
    found: Any = Frozen()
    vars(found).update({"grown": grown, "holds": rising(0.0, 1.0) > 20.0} | changes)
    return found


def test_the_length_is_told_from_the_earliest_closure_to_the_end_of_the_hold() -> None:
    """After 5, 50 and 122.5 s, and at five moments of the hold from 195 to 795 s.

    Of the 80 draws that hold: the 24th, the 60th and the 96th; no length ever falls.
    """
    found = growth.growth(frozen())
    times = [5.0, 50.0, 122.5, 195.0, 345.0, 495.0, 645.0, 795.0]
    assert found.time == pytest.approx(times)
    assert found.low == pytest.approx([0.024] * 8)
    assert found.likely == pytest.approx([0.06] * 8)
    assert found.high == pytest.approx([0.096] * 8)


@pytest.mark.parametrize("changes", [{"closures": np.full(100, np.inf)}, {"planned_ready": None}])
def test_there_is_no_length_of_what_is_not_closed_or_not_to_be_ready(
    changes: dict[str, Any],
) -> None:
    assert growth.growth(frozen(**changes)) == Growth()
