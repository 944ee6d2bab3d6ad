"""Ranges over draws that can be counted: which draws each is told of, and where there is none."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import point_of
from stillpipe.estimates import course
from stillpipe.estimates.course import Of
from stillpipe.estimates.solution import Solution
from stillpipe.model.figures import Range
from stillpipe.physics import freeze

COUNT = 100
RISING = np.arange(1.0, COUNT + 1.0)
"""A hundred draws whose percentiles are themselves."""
LATE = np.where(RISING > 80.0, np.inf, RISING)
"""The same, a fifth of which never come."""


class Counted(Solution):
    """A solution of which nothing is solved: what it rests on is given."""

    hopeless = stays_slush = False


def counted(point: dict[str, Any] | None = None, **known: Any) -> Counted:
    """A half-inch pipe, of whose draws this is ``known``."""
    found = Counted(point_of(**(point or {})))
    found.__dict__.update(known)
    return found


def told(low: float, likely: float, high: float | None) -> Range:
    return Range(low, likely, high)


def test_a_range_has_the_percentiles_that_are_asked_for() -> None:
    found = counted({"percentiles": (0.1, 0.9)}).range(LATE)
    assert found == Range(5.0, 50.0, None, ((0.1, 10.0), (0.9, None)))
    assert counted().range(np.where(RISING > 40.0, np.inf, RISING)) is None


@pytest.mark.parametrize(("chance", "most", "least"), [(0.9, 90.0, 10.0), (0.75, 75.0, 25.0)])
def test_what_is_decided_on_holds_at_the_stated_chance(
    chance: float, most: float, least: float
) -> None:
    """At most so long, or at least so much."""
    found = counted({"decision_probability": chance})
    assert (found.at_most(RISING), found.at_least(RISING)) == (most, least)
    assert [found.is_sure(p) for p in (chance - 0.01, chance, chance + 0.01)] == [
        False, True, True
    ]  # fmt: skip


def test_what_does_not_come_at_the_stated_chance_never_does() -> None:
    found = counted({"decision_probability": 0.9})
    assert found.at_most(LATE) is None
    assert found.at_least(LATE) == 10.0


def test_the_chance_of_ready_by_a_time_is_the_share_of_draws() -> None:
    """Also of those that are ready at that time."""
    found = counted(readies=LATE)
    assert [found.chance_of_ready_by(t) for t in (0.5, 30.0, 30.9, 1e6)] == [0.0, 0.3, 0.3, 0.8]
    assert found.chance_of_ready_by(None) is None
    never = counted(hopeless=True, readies=RISING)
    assert never.chance_of_ready_by(30.0) == 0.0
    assert never.chance_of_ready_by(None) is None


class Rising:
    """A curve that grows by one a second, of each draw."""

    def at(self, since: np.ndarray) -> np.ndarray:
        """Keep what it is asked for."""
        self.since = since
        return since


def test_what_has_grown_at_last_is_that_of_four_hours() -> None:
    """Of a draw closed after 4000 s, just then, and never; of what is asked about, at its knots."""
    found = counted(
        closed=np.array([4000.0, 14400.0, np.inf]), ensemble=SimpleNamespace(knots="knots")
    )
    curve, asked = Rising(), []
    found.curves_of = lambda *given: asked.append(given) or curve  # type: ignore[method-assign, assignment, func-returns-value]
    assert found.grown_at_last(Of.GRIP).tolist() == [10400.0, course.SOON, 0.0]
    assert asked == [(Of.GRIP, "knots")]
    assert freeze.LONGEST_FREEZE == 14400.0


def test_figures_of_a_plug_that_is_not_to_be_expected_are_not_told() -> None:
    found = counted(
        hopeless=True, closures=RISING, readies=RISING, prevented=False, frosts=RISING,
        flow_limits=RISING,
    )  # fmt: skip
    for name in (
        "closure", "ready", "ready_length", "ready_pressure", "heat_removed", "coldest_wall",
        "survival_at_closure",
    ):  # fmt: skip
        assert getattr(found, name) is None, name
    assert found.frost_by == told(5.0, 50.0, 95.0)
    assert found.flow_limit == told(5.0, 50.0, 95.0)


@pytest.mark.parametrize(
    ("slush", "prevented", "frost", "limit"),
    [(False, False, True, True), (True, False, False, False), (False, True, False, True)],
)
def test_frost_and_the_greatest_flow_are_told_where_they_can_be(
    slush: bool, prevented: bool, frost: bool, limit: bool
) -> None:
    """Neither of what stays slush; no frost on a pipe that its flow keeps open."""
    found = counted(stays_slush=slush, prevented=prevented, frosts=LATE, flow_limits=RISING)
    assert found.frost_by == (told(5.0, 50.0, None) if frost else None)
    assert found.flow_limit == (told(5.0, 50.0, 95.0) if limit else None)


def test_what_is_told_at_ready_is_of_the_draws_that_get_ready() -> None:
    """A bond twice as strong in those that do not: 4 tau L / (D S) by hand."""
    found = counted(readies=LATE, strength=np.where(np.isfinite(LATE), 1e6, 2e6))
    grown = {Of.SOUND: 0.1, Of.GRIP: 0.01, Of.WALL: 250.0}
    found.at_ready = lambda of: np.full(80, grown[of])  # type: ignore[method-assign]
    assert found.ready == told(5.0, 50.0, None)
    assert found.ready_length == told(0.1, 0.1, 0.1)
    assert found.coldest_wall == told(250.0, 250.0, 250.0)
    carried = 4.0 * 1e6 * 0.01 / (found.point.bore * found.point.safety_factor)
    assert found.ready_pressure is not None
    assert found.ready_pressure.low == pytest.approx(carried)
    assert found.ready_pressure.high == pytest.approx(carried)


def test_a_plug_stopped_at_closure_is_one_that_closes() -> None:
    """Of 1 to 80 the 5th percentile is 4, the median 40."""
    found = counted(closures=LATE, survivals_at_closure=RISING)
    assert found.closure == told(5.0, 50.0, None)
    assert found.survival_at_closure == told(4.0, 40.0, 76.0)


def held(**known: Any) -> Counted:
    """A plug that is ready after 30 s, closed in the first half of the draws at the plan's end."""
    given: dict[str, Any] = {
        "planned_ready": 30.0, "plan_end": 90.0, "holds": RISING <= 50.0, "survivals": RISING,
        "thaws": np.where(RISING > 30.0, np.inf, RISING), "strength": np.full(COUNT, 1e6),
    }  # fmt: skip
    found = counted(**(given | known))
    asked: list[tuple[Of, float]] = []

    def grown(of: Of, time: Any) -> np.ndarray:
        asked.append((of, time))
        return 0.001 * RISING

    found.grown = grown  # type: ignore[method-assign]
    found.__dict__["asked"] = asked
    return found


def test_after_the_hold_it_is_told_of_the_draws_that_are_closed() -> None:
    """Of 1 to 50: 3, 25 and 48."""
    found = held()
    assert found.is_planned
    assert found.survival == told(3.0, 25.0, 48.0)
    assert found.thaw == told(3.0, 25.0, None)
    assert found.plug_length == told(0.003, 0.025, 0.048)
    assert found.thawing_chance == 0.6
    by = 4.0 * 1e6 * 0.001 / (found.point.bore * found.point.safety_factor)
    assert found.held_pressures == pytest.approx(by * RISING)
    assert found.held_pressure is not None
    assert found.held_pressure.likely == pytest.approx(25.0 * by)
    assert found.__dict__["asked"] == [(Of.SOUND, 90.0), (Of.GRIP, 90.0)]


def test_without_a_planned_plug_nothing_is_told_of_its_hold() -> None:
    found = held(planned_ready=None)
    assert not found.is_planned
    for name in ("survival", "thaw", "plug_length", "held_pressure"):
        assert getattr(found, name) is None, name
