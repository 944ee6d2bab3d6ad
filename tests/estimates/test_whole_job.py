"""The whole job put together: which figure comes from which estimate, of what it is asked."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.test_job_points import RETURN, stated, two
from stillpipe.estimates.growth import Growth
from stillpipe.estimates.job import job_estimate as whole
from stillpipe.estimates.job.course import Chances, Promise
from stillpipe.model.figures import Answer, Effort
from stillpipe.model.options import JobEstimateRequest

GROWN = Growth(time=(1.0,), low=(0.1,), likely=(0.2,), high=(0.3,))
EACH = Chances(ready=0.9, exchanges=0.8, cylinders=0.7)
PROMISES = (Promise(chance=0.5, by=7000.0), Promise(chance=0.9, by=8000.0))
WELL = np.array([True, True, True, False])
OF_ALL = {
    "closure": "closure", "ready": "ready", "chance_of_ready_by": 0.4, "planned_ready": 250.0,
    "plug_length": "length", "survival": "survival", "thaw": "thaw", "planned_thaw": "helped",
}  # fmt: skip


def held(name: str, end: float | None) -> Any:
    """How a plug lets go that holds for so long after the repair, None for more than a day."""
    stages = (
        SimpleNamespace(code="ready", at_least=1.0),
        SimpleNamespace(code="repair-end", at_least=end),
    )
    return SimpleNamespace(name=name, stages=stages)


class Estimates:
    """Each estimate of a job, laid down; what it is asked is kept by its name."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.asked: dict[str, tuple[Any, ...]] = {}
        self.plan = SimpleNamespace(lead="lead", is_one=True, closes=True, effort=Effort(17, 4))
        self.needed = SimpleNamespace(
            co2="co2", mix="mix", figures=SimpleNamespace(exchanges="exchanges")
        )
        self.judged = SimpleNamespace(
            needed=self.needed, air=SimpleNamespace(figures="air"), run="run", reasons=("reason",)
        )
        self.points = (
            SimpleNamespace(letting_go=held("long", 900.0), growth=GROWN),
            SimpleNamespace(letting_go=held("short", 600.0), growth=Growth()),
            SimpleNamespace(letting_go=held("ever", None), growth=Growth()),
            SimpleNamespace(letting_go=None, growth=Growth()),
        )
        for where, name, found in (
            (whole, "Plan", self.plan), (whole, "judge", self.judged),
            (whole, "cautions_of", ("caution",)), (whole.timeline, "timeline", ("event",)),
            (whole.course, "chances_of", (WELL, EACH)), (whole.course, "promises", PROMISES),
            (whole.course, "of_all", OF_ALL), (whole.quote, "of_plan", "quote"),
            (whole.remedies, "remedies", "remedies"), (whole.options, "options", ("option",)),
            (whole.learned, "told", "learned"),
        ):  # fmt: skip
            monkeypatch.setattr(where, name, self.laid(name, found))
        monkeypatch.setattr(whole.points, "figures", self.of_points)

    def laid(self, name: str, found: Any) -> Any:
        def answer(*told: Any) -> Any:
            self.asked[name] = told
            return found

        return answer

    def of_points(self, *told: Any) -> Any:
        self.asked["points"] = told
        return self.points


@pytest.fixture
def laid(monkeypatch: pytest.MonkeyPatch) -> Estimates:
    return Estimates(monkeypatch)


def estimated(request: JobEstimateRequest | None = None) -> Answer[whole.JobFigures]:
    return whole.job_estimate(request or two(remedies=True))


def test_each_figure_is_that_of_the_estimate_which_is_about_it(laid: Estimates) -> None:
    """Of four draws three go well: 75 %."""
    found: Any = estimated().figures
    assert found.timeline == ("event",)
    assert (found.chance, found.chances, found.promises) == (0.75, EACH, PROMISES)
    assert found.freeze_points is laid.points
    assert {name: getattr(found, name) for name in OF_ALL} == OF_ALL
    assert (found.co2, found.mix, found.cylinders) == ("co2", "mix", laid.needed.figures)
    assert (found.air, found.spacing, found.quote) == ("air", "run", "quote")
    assert (found.remedies, found.options) == ("remedies", ("option",))


def test_the_answer_has_the_reasons_cautions_and_work_of_the_plan(laid: Estimates) -> None:
    answer: Any = estimated()
    assert answer.reasons == ("reason",)
    assert answer.cautions == ("caution",)
    assert answer.effort == Effort(17, 4)
    assert answer.learned == "learned"
    assert laid.asked["told"] == ("lead",)


def test_each_estimate_is_asked_of_the_same_plan_and_of_what_was_found_before(
    laid: Estimates,
) -> None:
    request = two(remedies=True)
    estimated(request)
    plan, needed = laid.plan, laid.needed
    well = laid.asked["promises"][1]
    assert laid.asked["Plan"] == (request,)
    assert laid.asked["judge"] == laid.asked["of_all"] == laid.asked["cautions_of"] == (plan,)
    assert laid.asked["timeline"] == (plan, "exchanges")
    assert laid.asked["chances_of"] == (plan, needed)
    assert laid.asked["promises"][0] is plan
    assert well is WELL
    assert laid.asked["points"] == (plan, needed, ("event",))
    assert laid.asked["of_plan"] == (plan, needed, {0.5: 7000.0, 0.9: 8000.0})
    assert laid.asked["remedies"] == (laid.judged,)
    assert laid.asked["options"] == (request, plan)


def test_the_plug_that_holds_shortest_after_the_repair_is_told_to_let_go(laid: Estimates) -> None:
    """Of 900 s, 600 s, more than a day and none the second; of those without an end the first."""
    found: Any = estimated().figures
    assert found.letting_go.name == "short"
    laid.points = laid.points[2:]
    found = estimated().figures
    assert found.letting_go.name == "ever"
    laid.points = laid.points[1:]
    assert estimated().figures.letting_go is None


def test_remedies_are_looked_for_where_that_is_asked(laid: Estimates) -> None:
    assert estimated(stated(RETURN)).figures.remedies is None
    assert "remedies" not in laid.asked


def test_without_a_room_there_is_no_air(laid: Estimates) -> None:
    laid.judged.air = None
    assert estimated().figures.air is None


@pytest.mark.parametrize(
    ("is_one", "closes", "told"), [(True, True, GROWN), (True, False, Growth()),
                                   (False, True, Growth()), (False, False, Growth())],
)  # fmt: skip
def test_growth_is_told_of_points_that_are_alike_and_close(
    laid: Estimates, is_one: bool, closes: bool, told: Growth
) -> None:
    laid.plan.is_one, laid.plan.closes = is_one, closes
    answer = estimated()
    assert answer.figures.growth == told
    assert answer.learned == ("learned" if is_one else None)
