"""What grows of one freeze point and what becomes of it unfed, by hand: freezes stand in."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import point_of, solution_of
from estimates.laid import Freezes, Run, held, patched
from stillpipe.errors import TooCostlyError
from stillpipe.estimates.course import Curves, Knots, Of
from stillpipe.estimates.drawn import SHARES, Drawn
from stillpipe.estimates.sampled import LONG_HOLD
from stillpipe.physics.column.work import MOST

DAY = 86400.0
NONE = np.full(len(SHARES), np.nan)


# what is shared


def test_nothing_is_held_unless_it_is_said_for_how_long() -> None:
    point = point_of()
    found = Drawn(point)
    assert (found.hold, found._member, found.point) == (0.0, "hold", point)
    other = Drawn(point, 60.0, found, member="repair")
    assert (other.hold, other._member) == (60.0, "repair")
    assert other.work is found.work
    assert other.cases is found.cases


def test_held_for_longer_all_that_is_known_goes_with_it() -> None:
    before, seen = object(), object()
    first = held(member="repair", before=before, evidence=seen, planned_ready=150.0)
    found = first.held_for(90.0)
    assert (found.hold, found._member, found.point) == (90.0, "repair", first.point)
    assert found.before is before
    assert found.evidence is seen
    assert found.planned_ready == 150.0
    assert found.plan_end == 240.0
    assert found.work is first.work
    assert type(found) is type(first)


def test_under_another_pressure_the_freezes_and_draws_are_the_same() -> None:
    first = held(member="repair", hold=90.0, evidence=object())
    found = first.under(9e5)
    assert found.point == replace(first.point, line_pressure=9e5)
    assert (found.hold, found._member) == (90.0, "repair")
    assert found.ensemble is first.ensemble
    assert found.sample is first.sample
    assert found.work is first.work
    assert found.__dict__["evidence"] is None


# what has grown


def test_what_has_grown_at_ready_is_of_the_draws_that_get_ready() -> None:
    """1, 2 and 3 J/s since closure, after 10 s, never and 30 s."""
    rates = np.log(np.outer([1.0, 2.0, 3.0], [10.0, 100.0])).astype(np.float32)
    found = held(3, readies=np.array([1.0, np.inf, 1.0]), _since=np.array([10.0, np.inf, 30.0]))
    asked: list[Any] = []

    def curves_of(of: Of, knots: Knots) -> Curves:
        asked.append((of, knots))
        return Curves(of, Knots(np.array([10.0, 100.0])), rates)

    patched(found, curves_of=curves_of)
    assert found.at_ready(Of.HEAT) == pytest.approx([10.0, 90.0], rel=1e-6)
    assert asked == [(Of.HEAT, found.ensemble.knots)]


def test_what_has_grown_at_a_time_is_worked_out_once() -> None:
    """0.1 mm of grip and 2 J a second from 100 s on; none of what is not closed."""
    found = held(2, closed=np.array([100.0, 500.0]), plan_end=400.0)
    grip = found.grown(Of.GRIP, 300.0)
    assert grip == pytest.approx([0.02, 0.0], rel=1e-5)
    assert found.grown(Of.GRIP, 300.0) is grip
    assert found.grown(Of.HEAT, 300.0) == pytest.approx([400.0, 0.0], rel=1e-5)
    assert found.grown(Of.GRIP, 200.0) == pytest.approx([0.01, 0.0], rel=1e-5)
    each = found.grown(Of.GRIP, np.array([200.0, 600.0]))
    assert each == pytest.approx([0.01, 0.01], rel=1e-5)
    assert found.curves(Of.HEAT).of is Of.HEAT
    assert found.curves(Of.HEAT).knots is found.knots


# after the coolant's stop


def test_nothing_is_known_of_a_plug_that_is_not_there_yet_or_not_followed() -> None:
    brief, other, never = Run(), Run(120.0), Run(None)
    found = held(1, brief)
    for run, time in ((None, 300.0), (never, 300.0), (brief, 300.0), (other, 120.0)):
        assert found._unfed(run, time) is None  # type: ignore[arg-type]
        assert np.array_equal(found._fading(run, time), NONE, equal_nan=True)  # type: ignore[arg-type]
        assert np.isnan(found._thawing(run, time)).tolist() == [True]  # type: ignore[arg-type]
    assert found._unfed(other, 121.0) is not None  # type: ignore[arg-type]
    assert brief.fed == never.fed == []
    assert other.fed == [121.0]


def test_the_likely_plug_is_not_stopped_before_it_closes() -> None:
    """A hundredth of its closure later at the earliest, on either grid."""
    fine, centre = Run(100.0), Run(200.0)
    found = held(fine=fine, centre=centre)
    for time in (1.0, 100.0, 300.0):
        assert found._unfed(fine, time) is not None  # type: ignore[arg-type]
        assert found._unfed(centre, time) is not None  # type: ignore[arg-type]
    assert fine.fed == [101.0, 101.0, 300.0]
    assert centre.fed == [202.0, 202.0, 300.0]


def test_how_long_shares_of_the_grip_are_kept_is_between_a_moment_and_two_days() -> None:
    """As long as it has been closed, times one less the share."""
    found, run = held(), Run(120.0)
    assert np.exp(found._fading(run, 170.0)) == pytest.approx(50.0 * (1.0 - SHARES))  # type: ignore[arg-type]
    assert np.exp(found._fading(run, 1e9)) == pytest.approx([2.0 * DAY] * len(SHARES))  # type: ignore[arg-type]
    assert np.exp(found._fading(run, 120.01)) == pytest.approx([0.1] * len(SHARES))  # type: ignore[arg-type]


def test_how_far_beyond_a_day_it_thaws_is_told_up_to_fifty() -> None:
    found, run = held(), Run(120.0)
    for time, thaw in ((170.0, 100.0), (120.0 + 2.0 * DAY, 4.0 * DAY), (1e9, 50.0 * DAY)):
        told = found._thawing(run, time)  # type: ignore[arg-type]
        assert np.exp(told).tolist() == pytest.approx([thaw])


def test_a_brief_freeze_of_other_convection_tells_of_the_likely_plug_stirred_so() -> None:
    """Half as long by twice the convection; but for one stirred alike, and one not brief."""
    still, stirred, alike, followed = Run(), Run(90.0, 2.0), Run(90.0, 1.0), Run(1e9, 2.0)
    found = held(1, stirred, alike, centre=still)
    assert found._stirred(still, 500.0) is None  # type: ignore[arg-type]
    assert found._stirred(None, 500.0) is None
    assert found._stirred(alike, 500.0) is None  # type: ignore[arg-type]
    assert found._stirred(followed, 500.0) is None  # type: ignore[arg-type]
    assert np.exp(found._thawing(stirred, 500.0)).tolist() == pytest.approx([400.0])  # type: ignore[arg-type]
    assert np.exp(found._thawing(still, 500.0)).tolist() == pytest.approx([800.0])  # type: ignore[arg-type]
    assert np.exp(found._thawing(stirred, 50.0)).tolist() == pytest.approx([1.0])  # type: ignore[arg-type]
    assert still.fed[-1] == 101.0
    lost = held(1, stirred, centre=Run(None))
    assert lost._stirred(stirred, 500.0) is None  # type: ignore[arg-type]
    none = patched(held(1, stirred), ensemble=Freezes(1, still, None, stirred))
    assert none._stirred(stirred, 500.0) is None  # type: ignore[arg-type]


THAW, MUSH, HOLD = ("ambient", "temperature"), ("fluid", "concentration"), ("repair",)


@pytest.mark.parametrize("salt", [False, True])
@pytest.mark.parametrize(
    ("ask", "costly"),
    [
        ("stop", "feeding"), ("stop", "fading"), ("thaw", "feeding"), ("thaw", "fading"),
        ("thaw", "melting"), ("stirred", "feeding"), ("stirred", "fading"), ("stirred", "melting"),
        ("closure", "fading"),
    ],
)  # fmt: skip
def test_what_takes_too_much_names_the_hold_or_why_it_hardly_thaws(
    ask: str, costly: str, salt: bool
) -> None:
    """The room of water, the strength of a solution."""
    point = {"fluid": solution_of("seawater", 0.05)} if salt else {}
    run, stirred = Run(costly=costly), Run(90.0, 2.0)
    found = held(1, stirred, fine=run, member="repair", point=point)
    asks: dict[str, Callable[[], object]] = {
        "stop": lambda: found._fading(run, 500.0),  # type: ignore[arg-type]
        "thaw": lambda: found._thawing(run, 500.0),  # type: ignore[arg-type]
        "stirred": lambda: found._thawing(stirred, 500.0),  # type: ignore[arg-type]
        "closure": lambda: found._left_at_closure(run),  # type: ignore[arg-type]
    }
    with pytest.raises(TooCostlyError) as raised:
        asks[ask]()
    (fault,) = raised.value.faults
    assert fault.path == (HOLD if costly == "feeding" else MUSH if salt else THAW)
    assert f"{MOST:,} units" in fault.detail
    if costly == "feeding":
        assert fault.detail.startswith(LONG_HOLD)


def test_a_plug_stopped_as_it_closes_keeps_its_bond_until_the_last_of_it() -> None:
    """Half a second after closure, kept until all is lost."""
    brief, never, run = Run(), Run(None), Run(120.0)
    found = held(1, brief)
    for unknown in (None, brief, never):
        told = found._left_at_closure(unknown)  # type: ignore[arg-type]
        assert np.isnan(told).tolist() == [True]
    assert np.exp(found._left_at_closure(run)).tolist() == pytest.approx([0.5])  # type: ignore[arg-type]


# how long a plug was fed


def by_power(power: float) -> Any:
    """Reads two figures, in such a power of the time since closure, and one that is not known."""

    def read(run: Run, time: float) -> np.ndarray:
        assert run.closure is not None
        since = math.log(time - run.closure)
        return np.array([power * since, np.nan, 3.0 - since])

    return read


def test_a_figure_goes_with_how_long_each_draw_has_been_closed() -> None:
    """By its power of that time: of draws 200 s, 100 s, 50 s and not yet closed after 300 s."""
    found = held(
        4, closed=np.array([100.0, 100.0, 100.0, np.inf]), model=np.array([1.0, 1.5, 2.0, 1.0])
    )  # fmt: skip
    told = found._fed_for(by_power(2.0), 300.0)
    assert told.dtype == np.float32
    own = np.log([1.0, 0.5, 0.25, 1.0])
    assert told[:, 0] == pytest.approx(2.0 * own, abs=1e-5)
    assert told[:, 1].tolist() == [0.0] * 4
    assert told[:, 2] == pytest.approx(-own, abs=1e-5)


def test_no_draw_counts_as_closed_for_less_than_a_fifth_of_the_likely_plug() -> None:
    """200 s: 30 s and no time count as 40 s."""
    found = held(3, closed=np.array([100.0, 100.0, 100.0]), model=np.array([1.0, 300 / 130, 4.0]))
    told = found._fed_for(by_power(1.0), 300.0)[:, 0]
    assert np.exp(told) == pytest.approx([1.0, 0.2, 0.2], rel=1e-5)


def test_times_that_are_learned_to_be_longer_stop_the_freezes_sooner() -> None:
    """Twice as long in the median: 600 s are 300 s as solved."""
    found = held(3, evidence=object(), model=np.array([1.5, 2.0, 4.0]))
    told = np.exp(found._fed_for(by_power(1.0), 600.0)[:, 0])
    assert told == pytest.approx([300.0 / 200.0, 1.0, 50.0 / 200.0], rel=1e-5)


def test_a_likely_plug_just_closed_does_not_tell_how_the_time_counts() -> None:
    found = held(2, model=np.array([1.0, 2.0]))
    for time in (50.0, 100.0, 101.0):
        told = found._fed_for(by_power(1.0), time)
        assert told.dtype == np.float32
        assert told.tolist() == [[0.0]]
    assert np.any(found._fed_for(by_power(1.0), 101.5) != 0.0)
    for centre in (None, Run(None)):
        patched(found, ensemble=Freezes(2, Run(), centre))
        assert found._fed_for(by_power(1.0), 300.0).tolist() == [[0.0]]


def test_stops_are_read_once_as_solved_and_told_for_how_long_each_was_fed() -> None:
    """Likely closed for 200 s; of the second draw, whose times are double, for 50 s."""
    found = held(2, model=np.array([1.0, 2.0]))
    told = found.stopped(300.0)
    assert found.stopped(300.0) is told
    expected = np.outer([200.0, 50.0], 1.0 - SHARES)
    assert np.exp(told) == pytest.approx(expected, rel=1e-5)
    later = found.stopped(500.0)
    assert np.exp(later[0]) == pytest.approx(400.0 * (1.0 - SHARES), rel=1e-5)
    assert np.exp(found.stopped(300.0)) == pytest.approx(expected, rel=1e-5)


def test_freezes_are_stopped_once_for_all_that_share_them() -> None:
    """The fine one, of which the centre on the coarse grid is another."""
    fine = Run()
    found = held(centre=Run(), fine=fine)
    other = patched(found.under(1e5), closed=found.closed, model=found.model, _cold=np.zeros(1))
    assert np.array_equal(found.stopped(300.0), other.stopped(300.0))
    assert fine.fed == [300.0]
    assert found.melted(400.0) == other.melted(400.0) == found.melted(400.0)
    assert fine.fed == [300.0, 400.0]


def test_stops_and_thaws_of_longer_times_are_solved_sooner() -> None:
    """Twice as long in the median: at 600 s the freezes have been closed for 200 s."""
    found = held(3, evidence=object(), model=np.array([2.0, 2.0, 4.0]))
    assert np.exp(found.stopped(600.0)[:, 0]) == pytest.approx([200.0, 200.0, 50.0], rel=1e-5)
    assert found.melted(600.0) == pytest.approx([400.0, 400.0, 100.0], rel=1e-5)


def test_a_plug_melts_unless_the_room_keeps_it() -> None:
    found = held(3, model=np.array([1.0, 2.0, 1.0]), _cold=np.array([0.0, 0.0, 0.01]))
    assert found.melted(300.0) == pytest.approx([400.0, 100.0, np.inf], rel=1e-5)
    assert found.melted(500.0) == pytest.approx([800.0, 300.0, np.inf], rel=1e-5)
    assert found.melted(300.0) == pytest.approx([400.0, 100.0, np.inf], rel=1e-5)
