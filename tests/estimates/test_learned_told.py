"""What a reply tells of what was learned, figure by figure, of draws that can be counted."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from stillpipe.estimates import drivers, learned, seen
from stillpipe.estimates.learned import Held, LearnedInput, Percentiles
from stillpipe.estimates.seen import Foretold
from stillpipe.model.figures import Amount
from stillpipe.model.observations import (
    AnyObservation,
    FlowStopped,
    Frost,
    NoFrost,
    PressureHeld,
    Seen,
    SurfaceTemperature,
    WeightDrawn,
)

FROST = Frost(kind=Seen.FROST, elapsed=230.0)
STOPPED = FlowStopped(kind=Seen.FLOW_STOPPED, elapsed=420.0)
COLD = SurfaceTemperature(kind=Seen.SURFACE_TEMPERATURE, elapsed=200.0, value=271.0)
DRAWN = WeightDrawn(kind=Seen.WEIGHT_DRAWN, elapsed=240.0, value=0.3)
NONE_YET = NoFrost(kind=Seen.NO_FROST, elapsed=150.0)
HELD = PressureHeld(kind=Seen.PRESSURE_HELD, elapsed=500.0, value=3e5)
HUNDRED = np.arange(1.0, 101.0)
"""A hundred draws whose percentiles are themselves."""


def held(o: AnyObservation, values: Any = HUNDRED, probability: float = 0.3) -> Held:
    return learned._held(Foretold(o, np.asarray(values), probability))


@pytest.mark.parametrize(
    ("o", "kind"),
    [(FROST, "time"), (NONE_YET, "time"), (COLD, "temperature"), (DRAWN, "mass"),
     (STOPPED, "time"), (HELD, "pressure")],
)  # fmt: skip
def test_an_observation_is_told_with_what_was_foretold(o: AnyObservation, kind: str) -> None:
    assert held(o, np.random.default_rng(1).permutation(HUNDRED)) == Held(
        kind=o.kind, elapsed=o.elapsed, probability=0.3, fits=True,
        foretold=Percentiles(
            p05=Amount(5.0, kind), p50=Amount(50.0, kind), p95=Amount(95.0, kind)
        ),
    )  # fmt: skip


def test_what_never_comes_in_most_draws_has_no_upper_percentile() -> None:
    found = held(FROST, np.where(HUNDRED > 60.0, np.inf, HUNDRED)).foretold
    assert (found.p05, found.p50, found.p95) == (Amount(5.0, "time"), Amount(50.0, "time"), None)


@pytest.mark.parametrize(("probability", "fits"), [(0.019, False), (0.02, True), (0.021, True)])
def test_what_is_less_likely_than_one_in_fifty_does_not_fit(probability: float, fits: bool) -> None:
    found = held(FROST, probability=probability)
    assert (found.fits, found.probability) == (fits, probability)
    assert seen.UNLIKELY == 0.02


def solution_of(
    *observations: AnyObservation, used: bool = True, planned: float | None = 600.0, **more: Any
) -> Any:
    """What is known of a freeze point of which this was seen, its draws counted."""
    foretold = tuple(Foretold(o, HUNDRED, 0.5) for o in observations)
    deviates = norm.ppf((np.arange(1000) + 0.5) / 1000.0)
    given = {
        "evidence": SimpleNamespace(
            foretold=foretold, used=used, learned=SimpleNamespace(effective=1234.5)
        ),
        "point": SimpleNamespace(observations=observations),
        "before": SimpleNamespace(closures=np.array([1.0, 2.0]), readies=np.array([3.0, 4.0])),
        "planned_ready": planned,
        "closures": np.array([400.0, 500.0]),
        "readies": np.array([450.0, 700.0]),
        "range": lambda values: tuple(values.tolist()),
        "cases": SimpleNamespace(names=("jacket_conductance", "convection")),
        "sample": SimpleNamespace(of=lambda name: SPREADS.get(name, 1.0) * deviates),
    }  # fmt: skip
    return SimpleNamespace(**(given | more))


SPREADS = {"jacket_conductance": 0.25, "adhesion": 1.3, "model": 0.0}
"""How wide the draws of some inputs are now, over how wide they were [-]."""


@pytest.fixture(autouse=True)
def _amounts(monkeypatch: pytest.MonkeyPatch) -> None:
    """An input at a deviate is that deviate."""

    def amount(solution: Any, name: str, z: float) -> Amount:
        assert solution.sample is not None
        return Amount(round(float(z), 1), name)

    monkeypatch.setattr(drivers, "amount", amount)


def told(*observations: AnyObservation, **changes: Any) -> Any:
    found = learned.told(solution_of(*observations, **changes))
    assert found is not None
    return found


def test_where_nothing_was_seen_nothing_is_told() -> None:
    assert learned.told(solution_of(evidence=None)) is None


def test_times_are_told_from_the_latest_observation_on_and_never_below_zero() -> None:
    found = told(STOPPED, FROST)
    assert found.now == 420.0
    assert found.closure_from_now == (0.0, 80.0)
    assert found.ready_from_now == (30.0, 280.0)
    assert found.planned_ready_from_now == 180.0
    assert told(FROST, STOPPED, planned=400.0).planned_ready_from_now == 0.0
    assert told(FROST, STOPPED, planned=None).planned_ready_from_now is None


def test_what_was_before_is_told_beside_how_much_it_rests_on() -> None:
    found = told(FROST, STOPPED)
    assert (found.before.closure, found.before.ready) == ((1.0, 2.0), (3.0, 4.0))
    assert found.effective_sample_size == 1230.0, "to three digits"
    assert found.used
    assert [o.kind for o in found.observations] == [Seen.FROST, Seen.FLOW_STOPPED]


def test_of_what_is_not_used_no_time_is_told() -> None:
    found = told(FROST, used=False)
    assert not found.used
    assert found.closure_from_now is None
    assert found.ready_from_now is None
    assert found.planned_ready_from_now is None
    assert found.before.closure == (1.0, 2.0)
    assert len(found.observations) == 1


def test_what_hangs_on_the_feeding_is_told_where_a_weight_was_seen() -> None:
    def names(*observations: AnyObservation) -> list[str]:
        return [each.name for each in told(*observations).inputs]

    assert names(FROST) == ["jacket_conductance", "convection", "adhesion", "model"]
    fed = ["capture", "cylinder_temperature"]
    expected = ["jacket_conductance", "convection", "adhesion", *fed, "model"]
    assert names(DRAWN) == names(FROST, DRAWN) == expected


def at(name: str, *z: float | None) -> Percentiles:
    """Percentiles of an input at deviates."""
    p05, p50, p95 = (None if each is None else Amount(each, name) for each in z)
    return Percentiles(p05=p05, p50=p50, p95=p95)


def test_an_input_is_told_before_and_after_and_how_much_narrower() -> None:
    """A quarter as wide as before: three quarters narrower."""
    (conductance, convection, *_) = told(FROST).inputs
    assert conductance == LearnedInput(
        name="jacket_conductance", before=at("jacket_conductance", -1.6, 0.0, 1.6),
        after=at("jacket_conductance", -0.4, 0.0, 0.4), narrowed=conductance.narrowed,
    )  # fmt: skip
    assert conductance.narrowed == pytest.approx(0.75, abs=1e-3)
    assert convection.after == convection.before
    assert convection.narrowed == pytest.approx(0.0, abs=2e-3)


def test_nothing_is_narrower_by_less_than_none_or_more_than_all() -> None:
    narrowed = {each.name: each.narrowed for each in told(FROST).inputs}
    assert narrowed["adhesion"] == 0.0
    assert narrowed["model"] == 1.0


def test_a_percentile_that_never_comes_has_no_value() -> None:
    found = learned._percentiles(solution_of(FROST), "adhesion", (None, 0.5, 1.5))
    assert found == at("adhesion", None, 0.5, 1.5)
