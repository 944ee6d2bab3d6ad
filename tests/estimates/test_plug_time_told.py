"""What plug time tells, figure by figure, of a freeze that is made up."""

from dataclasses import fields
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import point_of
from stillpipe.estimates import assess, cautions, drivers, growth, learned, plug_time
from stillpipe.estimates.course import Of
from stillpipe.estimates.growth import NO_PROFILE
from stillpipe.estimates.plug_time import BandFigures, HistoryFigures, PlugTimeFigures
from stillpipe.model.figures import Effort, Range

BORE, STRENGTH = 0.016, 5e5
CLOSURE, PLANNED = 100.0, 200.0
FIRM = Range(60.0, 100.0, 150.0)


class Run:
    """A freeze closed after 100 s, followed for 300 s in steps of a second."""

    closure: float | None = CLOSURE
    last = SimpleNamespace(time=300.0)

    def __init__(self, times: Any = None, closure: float | None = CLOSURE) -> None:
        self.closure = closure
        time = np.arange(0.0, 301.0) if times is None else np.asarray(times)
        open_ = np.clip(1.0 - time / CLOSURE, 0.0, 1.0) ** 2
        self.asked: list[tuple[float, bool]] = []
        self.series = SimpleNamespace(
            time=time, plug_length=0.001 * time, bonded_length=0.002 * time, grip=0.0005 * time,
            heat_jacket=50.0 * time, liquid_fraction=1.1 * open_ - 0.05,
        )  # fmt: skip

    def history(self, until: float, beyond: bool = False) -> SimpleNamespace:
        self.asked.append((until, beyond))
        return self.series


def solved(run: Run | None = None, **changes: Any) -> Any:
    """A freeze that closes in 60 to 150 s and is planned to be ready after 200 s."""
    point = SimpleNamespace(bore=BORE)
    given = {
        "fine": run or Run(), "evidence": None, "closure": FIRM, "planned_ready": PLANNED,
        "point": point, "likely_strength": STRENGTH, "grown": None,
        "carries": lambda grip, strength: grip * strength,
    }  # fmt: skip
    return SimpleNamespace(**(given | changes))


SEEN = SimpleNamespace(used=True)


@pytest.mark.parametrize(
    ("changes", "pace"),
    [
        ({"evidence": SEEN, "closure": Range(60.0, 125.0, None)}, 1.25),
        ({"closure": Range(60.0, 125.0, None)}, 1.0),
        ({"evidence": SimpleNamespace(used=False), "closure": Range(60.0, 125.0, None)}, 1.0),
        ({"evidence": SEEN, "closure": None}, 1.0),
        ({"evidence": SEEN, "run": Run(closure=None)}, 1.0),
    ],
)  # fmt: skip
def test_the_freeze_is_told_at_the_pace_of_what_was_seen(
    changes: dict[str, Any], pace: float
) -> None:
    """Where that is used, and both the likely plug and the one that is solved close."""
    assert plug_time._pace(solved(**changes)) == pace


def test_the_course_is_told_to_the_planned_ready_or_as_far_as_it_was_fed() -> None:
    """As solved: what takes half as long again is ready there the sooner."""
    assert plug_time._until(solved()) == 200.0
    assert plug_time._until(solved(), 1.25) == 160.0
    assert plug_time._until(solved(planned_ready=None), 1.25) == 300.0


def test_the_shape_of_the_ice_is_told_as_far_and_at_that_pace(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(growth, "profile", lambda *given: given)
    of = solved(evidence=SEEN, closure=Range(60.0, 125.0, None))
    found: Any = plug_time._profile(of)
    assert found == (of, 160.0, 1.25)


def test_half_of_the_points_of_a_history_are_told_of_each_part() -> None:
    """Evenly by their number, both ends among them; few are all told."""
    times = np.arange(100.0, 201.0)
    found = plug_time._thinned(times)
    assert len(found) == 30
    assert (found[0], found[-1]) == (100.0, 200.0)
    steps = np.diff(found)
    assert set(steps) == {3.0, 4.0}
    assert plug_time._thinned(times[:30]).tolist() == times[:30].tolist()
    assert plug_time._thinned(times[:3]).tolist() == [100.0, 101.0, 102.0]
    assert plug_time._thinned(times[:0]).tolist() == []


def test_a_history_has_thirty_points_before_closure_and_thirty_after() -> None:
    """Up to the planned ready; series go straight between what was solved."""
    run = Run()
    found = plug_time._history(solved(run))
    time = np.array(found.time)
    assert run.asked == [(200.0, True)]
    assert len(time) == 60
    assert (time[0], time[29], time[30], time[-1]) == (0.0, 99.0, 100.0, 200.0)
    assert found.plug_length == pytest.approx(0.001 * time)
    assert found.bonded_length == pytest.approx(0.002 * time)
    assert found.holding_pressure == pytest.approx(0.0005 * time * STRENGTH)
    assert found.heat == pytest.approx(50.0 * time)
    left = np.clip(1.1 * np.clip(1.0 - time / CLOSURE, 0.0, 1.0) ** 2 - 0.05, 0.0, 1.0)
    assert found.liquid_radius == pytest.approx(0.5 * BORE * np.sqrt(left), abs=1e-12)
    assert found.liquid_radius[0] == 0.5 * BORE
    assert found.liquid_radius[-1] == 0.0


def test_a_history_ends_between_two_steps_where_ready_does() -> None:
    run = Run([0.0, 60.0, 120.0, 180.0, 240.0])
    found = plug_time._history(solved(run))
    assert found.time == (0.0, 60.0, 120.0, 180.0, 200.0)
    assert found.heat == pytest.approx((0.0, 3000.0, 6000.0, 9000.0, 10000.0))
    at_step = plug_time._history(solved(run, planned_ready=180.0))
    assert at_step.time == (0.0, 60.0, 120.0, 180.0)


def test_once_something_was_seen_a_history_is_stretched() -> None:
    """To a closure of 125 s: what is told at 200 s is what was solved at 160 s."""
    run = Run([0.0, 60.0, 120.0, 180.0, 240.0])
    found = plug_time._history(solved(run, evidence=SEEN, closure=Range(60.0, 125.0, None)))
    assert found.time == pytest.approx((0.0, 75.0, 150.0, 200.0))
    assert found.heat == pytest.approx((0.0, 3000.0, 6000.0, 8000.0))
    assert run.asked == [(160.0, True)]


def test_a_history_of_what_is_not_closed_is_told_to_its_end() -> None:
    """Thirty points, and the end."""
    found = plug_time._history(solved(Run(closure=None), planned_ready=None))
    assert len(found.time) == 31
    assert (found.time[0], found.time[29], found.time[30]) == (0.0, 299.0, 300.0)


def grown(of: Of, time: float) -> np.ndarray:
    """A hundred draws that grow by 1 to 100 mm a second until 150 s, and are bare from then on."""
    assert of is Of.SOUND
    assert isinstance(time, float)
    return np.arange(1.0, 101.0) * 1e-3 * (time if time <= 150.0 else 0.0)


def test_a_band_is_told_evenly_and_while_the_bore_closes() -> None:
    """Eight moments of each, up to the planned ready."""
    run = Run()
    found = plug_time._bands(solved(run, grown=grown))
    whole, closing = np.linspace(0.0, 200.0, 8), np.linspace(60.0, 150.0, 8)
    assert found.time == pytest.approx(sorted({*whole.tolist(), *closing.tolist()}))
    assert [until for until, _ in run.asked] == [200.0]


def test_closing_is_followed_no_further_than_the_planned_ready() -> None:
    for high, last in ((None, 200.0), (150.0, 150.0), (900.0, 200.0)):
        found = plug_time._bands(solved(grown=grown, closure=Range(60.0, 100.0, high)))
        closing = np.linspace(60.0, last, 8)
        assert len(found.time) == len({*np.linspace(0.0, 200.0, 8).tolist(), *closing.tolist()})
        assert set(np.round(closing, 6)) <= set(np.round(found.time, 6))
        assert found.time[-1] == 200.0


def test_the_lengths_of_a_band_never_fall() -> None:
    """5 and 95 mm a second up to 150 s, and from then on as long as they were."""
    found = plug_time._bands(solved(grown=grown))
    until = np.minimum(found.time, 150.0)
    assert found.plug_length_low == pytest.approx(0.005 * until)
    assert found.plug_length_high == pytest.approx(0.095 * until)


@pytest.mark.parametrize(("high", "late"), [(150.0, 150.0), (None, 100.0)])
def test_the_ice_front_of_a_band_is_the_likely_one_stretched_to_its_closures(
    high: float | None, late: float
) -> None:
    """Whole until a tenth of closure, half as wide at half of it, a tenth at closure, then shut.

    Solved with a closure of 80 s, the states of 8 s, 40 s and 80 s; where the late one never
    closes the likely one stands for it.
    """
    run = Run([8.0, 40.0, 80.0], closure=80.0)
    run.series.liquid_fraction = np.array([0.81, 0.25, 0.01])
    found = plug_time._bands(solved(run, grown=grown, closure=Range(60.0, 100.0, high)))
    time = np.array(found.time)
    for radius, closed in ((found.liquid_radius_low, 60.0), (found.liquid_radius_high, late)):
        share = time / closed
        inner = np.where(share < 0.5, 0.9 - (share - 0.1), 0.5 - 0.8 * (share - 0.5))
        expected = np.where(share < 0.1, 1.0, np.where(share > 1.0, 0.0, inner))
        assert radius == pytest.approx(0.5 * BORE * expected, abs=1e-12)
        assert radius[0] == 0.5 * BORE
        assert radius[-1] == 0.0


def test_no_front_of_a_band_is_wider_than_the_bore() -> None:
    run = Run([8.0, 40.0, 80.0], closure=80.0)
    run.series.liquid_fraction = np.array([1.3, 1.1, -0.1])
    found = plug_time._bands(solved(run, grown=grown))
    assert max(found.liquid_radius_high) == max(found.liquid_radius_low) == 0.5 * BORE
    assert min(found.liquid_radius_high) == 0.0


def test_there_is_no_band_of_what_does_not_close() -> None:
    assert plug_time._bands(solved(grown=grown, closure=None)) == BandFigures()
    assert plug_time._bands(solved(Run(closure=None), grown=grown)) == BandFigures()


FIGURES = {
    "closure": "closure", "ready": "ready", "chance_of_closing": "closing_chance",
    "chance_of_ready": "ready_chance", "planned_ready": "planned_ready", "frost_by": "frost_by",
    "plug_length": "ready_length", "holding_pressure": "ready_pressure",
    "residual_flow_limit": "flow_limit", "heat_removed": "heat_removed",
    "coldest_wall": "coldest_wall",
}  # fmt: skip
"""Figures of the reply, and what a solution calls them."""


def answered(
    monkeypatch: pytest.MonkeyPatch, ready_by: float | None = None, **changes: Any
) -> tuple[Any, dict[str, Any]]:
    """The answer of a solution whose every figure says what it is, and that solution's figures."""
    request = point_of(ready_by=ready_by)
    known: dict[str, Any] = {name: f"of {name}" for name in FIGURES.values()} | {
        "stays_slush": False, "is_planned": True, "effort": Effort(17, 99),
        "flow_limit": Range(0.001, 0.002, 0.004),
        "chance_of_ready_by": lambda time: f"by {time}",
    } | changes  # fmt: skip
    solution = SimpleNamespace(**known)

    def of(given: object) -> SimpleNamespace:
        assert given is request
        return solution

    def about(kind: str, whose: object) -> Any:
        def said(given: object) -> str:
            assert given is whose
            return kind

        return said

    monkeypatch.setattr(plug_time, "Solution", of)
    monkeypatch.setattr(cautions, "of_freeze", about("cautions", request))
    for module, name in (
        (assess, "reasons"), (learned, "told"), (drivers, "of_closure"),
        (plug_time, "_history"), (plug_time, "_bands"), (plug_time, "_profile"),
    ):  # fmt: skip
        monkeypatch.setattr(module, name, about(name, solution))
    return plug_time.plug_time(request), known


def test_every_figure_is_the_solutions_own(monkeypatch: pytest.MonkeyPatch) -> None:
    answer, known = answered(monkeypatch, ready_by=600.0)
    for name, own in FIGURES.items():
        assert getattr(answer.figures, name) == known[own], name
    assert answer.figures.chance_of_ready_by == "by 600.0"
    drips = answer.figures.residual_drips_per_minute
    assert drips is not None
    assert drips.likely == pytest.approx(60.0 * 20e6 * 0.002 / 1000.0, rel=1e-3), "of 1/20 mL each"
    assert (answer.figures.drivers, answer.figures.history) == ("of_closure", "_history")
    assert (answer.figures.bands, answer.figures.profile) == ("_bands", "_profile")
    assert (answer.reasons, answer.cautions, answer.learned) == ("reasons", "cautions", "told")
    assert answer.effort == Effort(17, 99)


def test_without_a_greatest_flow_there_are_no_drips(monkeypatch: pytest.MonkeyPatch) -> None:
    figures = answered(monkeypatch, flow_limit=None)[0].figures
    assert figures.residual_drips_per_minute is None
    assert figures.residual_flow_limit is None


def test_a_plug_that_closes_but_is_not_planned_has_no_band(monkeypatch: pytest.MonkeyPatch) -> None:
    figures = answered(monkeypatch, is_planned=False)[0].figures
    assert figures.bands == BandFigures()
    assert figures.history == "_history"


def test_of_what_does_not_close_no_course_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    figures = answered(monkeypatch, closure=None)[0].figures
    assert figures.drivers == ()
    assert figures.history == HistoryFigures()
    assert figures.bands == BandFigures()
    assert figures.profile == NO_PROFILE
    assert figures.ready == "of ready"


@pytest.mark.parametrize(("ready_by", "chance"), [(None, None), (600.0, 0.0)])
def test_what_stays_slush_has_no_figures_but_chances_of_nothing(
    monkeypatch: pytest.MonkeyPatch, ready_by: float | None, chance: float | None
) -> None:
    answer, _ = answered(monkeypatch, ready_by, stays_slush=True)
    told = {"chance_of_closing": 0.0, "chance_of_ready": 0.0, "chance_of_ready_by": chance}
    plain = PlugTimeFigures(chance_of_closing=0.0, chance_of_ready=0.0)
    for field in fields(PlugTimeFigures):
        expected = told.get(field.name, getattr(plain, field.name))
        assert getattr(answer.figures, field.name) == expected, field.name
    assert answer.reasons == "reasons"
