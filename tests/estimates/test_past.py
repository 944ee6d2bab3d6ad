"""What one past freeze says, by hand: what was seen of stand-ins whose figures are known."""

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from estimates.jobs import request_of
from stillpipe.estimates import past, seen
from stillpipe.estimates.past import BLOCK, Freezes, Past
from stillpipe.model.observations import (
    AnyObservation,
    Frost,
    NoFrost,
    Seen,
    SurfaceTemperature,
    WeightDrawn,
)
from stillpipe.model.requests import Record
from stillpipe.physics.column.work import Work
from stillpipe.uncertainty import draws

FROST = Frost(kind=Seen.FROST, elapsed=200.0, standard_uncertainty=20.0)
NONE_YET = NoFrost(kind=Seen.NO_FROST, elapsed=200.0, standard_uncertainty=20.0)
COLD = SurfaceTemperature(
    kind=Seen.SURFACE_TEMPERATURE, elapsed=100.0, value=280.0, standard_uncertainty=0.8
)
DRAWN = WeightDrawn(kind=Seen.WEIGHT_DRAWN, elapsed=240.0, value=0.3, standard_uncertainty=0.1)
SHAPE = (15, 15, 29)
"""So many deviates of conductance, filling and capture at which it is told what a record says."""


class Stood:
    """Freezes of which each observation's figures are given, solved in so many runs."""

    def __init__(
        self, values: dict[AnyObservation, Any], scattered: Any = None, *, hopeless: bool = False,
        solves: int = 1,
    ) -> None:  # fmt: skip
        self._values, self._scattered = values, scattered
        self.sampled = SimpleNamespace(hopeless=hopeless, solves=[None] * solves)
        self.asked: list[tuple[AnyObservation, int]] = []

    def values(self, o: AnyObservation) -> Any:
        return self._values[o]

    def scattered(self, o: AnyObservation, block: int) -> Any:
        self.asked.append((o, block))
        return self._scattered[o] if isinstance(self._scattered, dict) else self._scattered


def record(*seen: AnyObservation, **changes: Any) -> Record:
    return request_of(Record, observations=seen, **changes)


def past_of(stood: Stood, *seen: AnyObservation, index: int = 0) -> Past:
    """A record of which this was seen, its freezes as they stand."""
    return Past(record(*seen), stood, index)  # type: ignore[arg-type]


def by_conductance(low: float, high: float, count: int = 2) -> np.ndarray:
    """Figures of ``count`` draws alike, from low to high along the nodes of the conductance."""
    found = np.linspace(low, high, SHAPE[0])[:, None, None, None]
    return np.broadcast_to(found, (*SHAPE[:2], 1, count))


def two_sided(off: float) -> float:
    """How probable it is to be so many standard deviations off, or more [-]."""
    return 2.0 * float(norm.sf(abs(off)))


def test_the_chance_of_what_was_seen_is_its_least_times_how_many_it_is() -> None:
    """Frost two deviations before all draws have it, no frost one before: 2 x 4.6 %."""
    stood = Stood({FROST: np.full(2, 240.0), NONE_YET: np.full(2, 220.0)})
    even = np.array([0.5, 0.5])
    assert past_of(stood, FROST).chance(even) == pytest.approx(two_sided(2.0))
    assert past_of(stood, NONE_YET).chance(even) == pytest.approx(norm.cdf(1.0))
    assert past_of(stood, NONE_YET, FROST).chance(even) == pytest.approx(2.0 * two_sided(2.0))


def test_no_chance_is_above_one() -> None:
    stood = Stood({FROST: np.full(2, 200.0), NONE_YET: np.full(2, 220.0)})
    assert past_of(stood, FROST, NONE_YET).chance(np.array([0.5, 0.5])) == 1.0


def test_draws_count_for_a_chance_by_their_weight() -> None:
    stood = Stood({NONE_YET: np.array([180.0, 220.0])})
    found = past_of(stood, NONE_YET).chance(np.array([0.9, 0.1]))
    assert found == pytest.approx(0.9 * norm.cdf(-1.0) + 0.1 * norm.cdf(1.0))


@pytest.mark.parametrize(
    ("weight", "expected"),
    [
        ([0.2, 0.2, 0.6], 200.0), ([0.6, 0.1, 0.3], 300.0), ([0.1, 0.8, 0.1], 100.0),
        ([0.0, 0.5, 0.5], 100.0), ([0.1, 0.1, 0.1], 300.0),
    ],
)  # fmt: skip
def test_foretold_is_the_draw_below_which_half_of_the_weight_lies(
    weight: list[float], expected: float
) -> None:
    """Of 100, 200 and 300 s; the last where weights add up to less than a half."""
    stood = Stood({FROST: np.array([300.0, 100.0, 200.0])})
    assert past_of(stood, FROST).foretold(np.array(weight)) == [expected]


def test_only_what_was_read_is_foretold() -> None:
    stood = Stood({
        NONE_YET: np.array([1.0, 2.0]), COLD: np.array([280.0, 281.0]), DRAWN: np.array([0.3, 0.4])
    })  # fmt: skip
    found = past_of(stood, NONE_YET, COLD, DRAWN)
    assert found.read == [COLD, DRAWN]
    assert found.foretold(np.array([0.2, 0.8])) == [281.0, 0.4]


def test_what_a_record_says_is_the_mean_over_the_other_inputs() -> None:
    """One draw explains frost at 200 s to the second, one is two deviations off."""
    off = math.hypot(20.0, past.SURFACE_TIME * 200.0)
    figures = np.broadcast_to(np.array([200.0, 200.0 + 2.0 * off]), (*SHAPE[:2], 1, 2))
    stood = Stood({}, figures)
    found = past_of(stood, FROST, index=7)
    assert found.logs.shape == SHAPE
    assert np.allclose(found.logs, math.log(0.5 * (1.0 + math.exp(-2.0))))
    assert stood.asked == [(FROST, 7)]


def test_what_is_said_is_told_at_each_node_and_of_all_that_was_seen() -> None:
    """One deviation of 20 s more at each node of the conductance; the other alike everywhere."""
    far = np.arange(SHAPE[0]) - 4.0
    times = np.broadcast_to((200.0 + 20.0 * far)[:, None, None, None], (*SHAPE[:2], 1, 2))
    stood = Stood({}, {NONE_YET: times, DRAWN: np.full((*SHAPE, 2), 0.5)})
    found = past_of(stood, NONE_YET, DRAWN).logs
    expected = norm.logcdf(far) - 0.5 * 2.0**2
    assert found == pytest.approx(np.broadcast_to(expected[:, None, None], SHAPE), rel=1e-9)


def test_a_draw_is_followed_no_further_than_sixty_below_the_best() -> None:
    """A likelihood of exp(-60) of the best: neither of them is lost in the mean."""
    figures = np.full((*SHAPE[:2], 1, 2), 200.0)
    figures[0] = 1e6
    found = past_of(Stood({}, figures), FROST).logs
    assert np.allclose(found[1:], 0.0, atol=1e-12)
    assert np.allclose(found[0], -60.0, rtol=1e-9)


def test_what_no_draw_explains_is_not_explained_but_teaches_that() -> None:
    found = past_of(Stood({}, np.full((*SHAPE[:2], 1, 2), np.inf)), FROST)
    assert found.logs.shape == SHAPE
    assert np.all(found.logs == -np.inf)
    assert not found.is_explained
    assert found.why_nothing == ""


def test_what_is_explained_somewhere_is_explained() -> None:
    figures = np.full((*SHAPE[:2], 1, 2), np.inf)
    figures[3, 4] = 200.0
    assert past_of(Stood({}, figures), FROST).is_explained


def test_why_a_record_teaches_nothing() -> None:
    """Nothing seen, no plug to be seen, or what any jackets would do; else it teaches."""
    told = Stood({}, by_conductance(300.0, 100.0))
    level = Stood({}, by_conductance(200.0, 200.0))
    found = [
        past_of(told).why_nothing,
        past_of(Stood({}, by_conductance(300.0, 100.0), hopeless=True), FROST).why_nothing,
        past_of(level, FROST).why_nothing,
        past_of(told, FROST).why_nothing,
    ]
    assert ["seen." in found[0], "No plug" in found[1], "whatever" in found[2]] == [True] * 3
    assert found[3] == ""
    assert len(set(found)) == 4


def test_a_settled_record_has_let_go_of_its_freezes_and_still_answers() -> None:
    stood = Stood({FROST: np.full(2, 240.0)}, by_conductance(300.0, 100.0))
    found = past_of(stood, FROST)
    found.settle()
    assert not hasattr(found, "freezes")
    assert found.chance(np.array([0.5, 0.5])) == pytest.approx(two_sided(2.0))
    assert found.why_nothing == ""
    assert np.all(np.isfinite(found.logs))
    assert stood.asked == [(FROST, 0)]


def test_of_a_record_that_teaches_nothing_no_figures_are_worked_out() -> None:
    found = past_of(Stood({}, by_conductance(200.0, 200.0)), FROST)
    found.settle()
    assert found.why_nothing
    assert not hasattr(found, "freezes")


@pytest.mark.parametrize(
    ("o", "whole"), [(FROST, math.hypot(20.0, 5.0)), (COLD, 1.0), (DRAWN, 0.1), (NONE_YET, 20.0)]
)
def test_what_the_surface_is_off_is_added_to_what_a_reading_is(
    o: AnyObservation, whole: float
) -> None:
    """0.025 of the time of frost, 0.6 K of a temperature of 0.8 K; nothing of the others."""
    found = past._less_sure(o)
    assert found.standard_uncertainty == pytest.approx(whole)
    assert replace(found, standard_uncertainty=o.standard_uncertainty) == o


class Drawing:
    """A freeze point that keeps what it is asked for."""

    def __init__(self, point: Record) -> None:
        self.point, self.work = point, Work()
        self.asked: list[Any] = []
        self.stars: list[Any] = []

    def about(self, z: Any, asked: tuple[str, ...]) -> object:
        self.stars.append((z, asked))
        return "a star"

    def among(self, sample: draws.Sample, ensemble: object = None) -> SimpleNamespace:
        self.asked.append((sample, ensemble))
        return SimpleNamespace(sample=sample, among=self.among, whole=self)


def test_freezes_are_of_the_table_and_on_a_star_that_tells_of_the_jackets(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(past, "Sampled", Drawing)
    spent, point = Work(), record()
    whole = Freezes(point, spent).sampled.whole  # type: ignore[attr-defined]
    assert whole.point is point
    assert whole.work is spent
    assert whole.stars == [(None, ("jacket_conductance", "jacket_filling"))]
    assert whole.asked == [(draws.prior(), "a star")]
    alone = Freezes(point).sampled.whole  # type: ignore[attr-defined]
    assert isinstance(alone.work, Work)


@pytest.fixture
def freezes(monkeypatch: pytest.MonkeyPatch) -> Freezes:
    """Freezes whose every figure is 4 + the conductance + 0.1 of filling + 0.01 of convection.

    All as deviates.
    """

    def values(o: AnyObservation, s: Any) -> np.ndarray:
        assert o in (FROST, DRAWN)
        assert np.all(s.sample.of("capture") == 0.0) or len(s.sample) == draws.COUNT
        of = s.sample.of
        found = 4.0 + of("jacket_conductance") + 0.1 * of("jacket_filling")
        return np.asarray(found + 0.01 * of("convection"))

    monkeypatch.setattr(past, "Sampled", Drawing)
    monkeypatch.setattr(seen, "values", values)
    return Freezes(record())


def test_a_figure_is_of_the_draws_of_the_table(freezes: Freezes) -> None:
    sample = draws.prior()
    expected = 4.0 + sample.of("jacket_conductance") + 0.1 * sample.of("jacket_filling")
    found = freezes.values(FROST)
    assert found == pytest.approx(expected + 0.01 * sample.of("convection"))


@pytest.mark.parametrize(("block", "first"), [(0, 0), (3, 768), (31, 7936), (33, 256)])
def test_figures_are_scattered_over_draws_of_the_others_in_a_block(
    freezes: Freezes, block: int, first: int
) -> None:
    """Each block of 256 of the table's draws, round and round; the set's own lie on the nodes."""
    found = freezes.scattered(FROST, block)
    assert found.shape == (*SHAPE[:2], 1, BLOCK)
    nodes = np.linspace(-4.2, 4.2, 15)
    others = draws.prior().of("convection")[first : first + 256]
    for i, j in ((0, 0), (0, 14), (7, 7), (14, 3)):
        expected = 4.0 + nodes[i] + 0.1 * nodes[j] + 0.01 * others
        assert found[i, j, 0] == pytest.approx(expected)


def test_on_capture_hangs_the_weight_alone_and_as_its_inverse(freezes: Freezes) -> None:
    """Normal about 0.6, 0.8 at the 95th percentile; no more is captured than there is."""
    plain, heavy = freezes.scattered(FROST, 0), freezes.scattered(DRAWN, 0)
    assert heavy.shape == (*SHAPE, BLOCK)
    shares = 0.6 + (0.1998 / 1.6448536) * np.linspace(-4.2, 4.2, 29)
    assert shares[-1] > 1.0
    for k in (0, 10, 14, 18, 28):
        expected = plain[:, :, 0] * 0.6 / min(shares[k], 1.0)
        np.testing.assert_allclose(heavy[:, :, k], expected, rtol=1e-6)
