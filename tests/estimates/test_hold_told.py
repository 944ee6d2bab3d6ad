"""What a hold tells, on freezes whose survival and thaw are laid down."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.by_hand import DRAWS, Frozen, rising
from estimates.jobs import request_of
from estimates.test_reasons import check
from stillpipe.estimates import assess, cautions, growth, hold_time, learned
from stillpipe.estimates.hold_time import HoldTimeFigures, SurvivalCourse
from stillpipe.model.figures import Amount, Effort, Range, Severity
from stillpipe.model.requests import HoldTimeRequest
from stillpipe.physics import fading


def frozen(**changes: Any) -> Any:
    """A plug that is to be ready after 195 s, which a chance of 95 % decides, held for 10 min."""
    found: Any = Frozen()
    vars(found).update({"is_sure": lambda chance: chance >= 0.95, "thawing_chance": 1.0} | changes)
    return found


def test_the_course_of_a_hold_is_told_at_thirteen_moments_of_it() -> None:
    """A plug lasts as many seconds as its draw, times as long as it was fed; some for ever.

    Of a hundred draws the ninety that are closed count; of these the last ten never let go.
    """
    asked: list[Any] = []

    def lasting_at(times: list[float]) -> list[Any]:
        asked.append(times)
        draws = rising(0.0, 1.0)
        return [np.where(draws > 90.0, np.inf, draws * time) for time in times]

    found = hold_time.course(frozen(lasting_at=lasting_at, holds=rising(0.0, 1.0) > 10.0))
    times = np.linspace(195.0, 795.0, 13)
    assert found.time == pytest.approx(times)
    assert asked == [times.tolist()]
    assert found.low == pytest.approx(15.0 * times)
    assert found.likely == pytest.approx(55.0 * times)
    assert found.high == (fading.LONGEST_THAW,) * 13


@pytest.mark.parametrize(
    "changes", [{"hopeless": True}, {"planned_ready": None}, {"hold": 0.0}, {"hold": -1.0}]
)
def test_there_is_no_course_without_a_plug_or_a_hold(changes: dict[str, Any]) -> None:
    assert hold_time.course(frozen(**changes)) == SurvivalCourse()


def test_a_hold_of_a_second_has_a_course() -> None:
    def lasting_at(times: list[float]) -> list[Any]:
        return [np.full(DRAWS, 60.0)] * len(times)

    found = hold_time.course(frozen(hold=1.0, lasting_at=lasting_at))
    assert (found.time[0], found.time[-1]) == (195.0, 196.0)
    assert set(found.high) == {60.0}


@pytest.fixture(autouse=True)
def _known(monkeypatch: pytest.MonkeyPatch) -> None:
    """The freeze itself has one reason."""
    monkeypatch.setattr(assess, "reasons", lambda of: ("known",) if of.hold else ())


@pytest.mark.parametrize(
    ("chance", "code", "thaw"),
    [
        (0.94, "may-not-thaw", Range(1.0, 7.0, None)), (0.5, "may-not-thaw", None),
        (0.49, "does-not-thaw", None),
    ],
)  # fmt: skip
def test_a_plug_that_may_not_thaw_is_told_with_its_likely_thaw(
    monkeypatch: pytest.MonkeyPatch, chance: float, code: str, thaw: Range | None
) -> None:
    monkeypatch.setattr(Frozen, "thaw", thaw)
    found: Any = hold_time.reasons(frozen(thawing_chance=chance))
    assert found[0] == "known"
    (reason,) = found[1:]
    check(
        reason, code, Severity.WARN, figure="thaw",
        value=None if thaw is None else Amount(7.0, "time"),
        limit=Amount(fading.LONGEST_THAW, "time"), chance=chance,
    )  # fmt: skip
    assert reason.text.endswith(f"by itself within a day is {100 * chance:.0f} %.")
    assert reason.action.startswith("Plan to help it thaw with warm water or warm air")


@pytest.mark.parametrize(
    "changes",
    [{"thawing_chance": 0.95}, {"planned_ready": None, "thawing_chance": 0.1},
     {"hopeless": True, "thawing_chance": 0.1}],
)  # fmt: skip
def test_a_plug_that_thaws_for_sure_is_no_reason_nor_is_none(changes: dict[str, Any]) -> None:
    assert hold_time.reasons(frozen(**changes)) == ("known",)


def test_figures_are_those_after_the_hold() -> None:
    of = frozen(held_pressure=Range(1.0, 2.0, 3.0))
    assert hold_time.figures(of) == HoldTimeFigures(
        ready=Range(105.0, 150.0, 195.0), planned_ready=195.0,
        survival=Range(1005.0, 1050.0, 1095.0), thaw=Range(3005.0, 3050.0, 3095.0),
        plug_length=of.plug_length, holding_pressure=Range(1.0, 2.0, 3.0),
    )  # fmt: skip
    for changes in ({"hopeless": True}, {"planned_ready": None}):
        assert hold_time.figures(frozen(**changes)) == HoldTimeFigures()


def test_the_answer_is_put_together_of_what_was_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """The hold that is asked for, with its course, growth and what there is at closure."""
    request = request_of(HoldTimeRequest, hold=450.0)
    of = SimpleNamespace(effort=Effort(5, 6), survival_at_closure=Range(1.0, 2.0, None))

    def told(found: Any, *wanted: Any) -> Any:
        def asked(*given: Any) -> Any:
            assert given == wanted
            return found

        return asked

    monkeypatch.setattr(hold_time, "Solution", told(of, request, 450.0))
    figures = HoldTimeFigures(planned_ready=195.0)
    for module, name, found, whose in (
        (hold_time, "reasons", ("reasons",), of), (cautions, "of_freeze", ("cautions",), request),
        (hold_time, "figures", figures, of), (hold_time, "course", "course", of),
        (growth, "growth", "growth", of), (learned, "told", "learned", of),
    ):  # fmt: skip
        monkeypatch.setattr(module, name, told(found, whose))
    answer = hold_time.hold_time(request)
    assert (answer.reasons, answer.cautions) == (("reasons",), ("cautions",))
    assert (answer.effort, answer.learned) == (Effort(5, 6), "learned")
    expected: Any = {"course": "course", "growth": "growth"}
    assert answer.figures == HoldTimeFigures(
        planned_ready=195.0, survival_at_closure=Range(1.0, 2.0, None), **expected
    )
