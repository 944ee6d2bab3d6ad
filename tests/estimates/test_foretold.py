"""What is foretold of observations and learned from them, by hand: of draws laid down."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from estimates.test_seen import DRAWN, FROST, HELD, NONE_YET, STOPPED
from stillpipe.estimates import feeding, seen
from stillpipe.estimates.seen import Foretold
from stillpipe.model.observations import AnyObservation, Frost, NoFrost, Seen
from stillpipe.uncertainty import draws, learning
from stillpipe.uncertainty.draws import Sample
from stillpipe.uncertainty.learning import Learned

Array = NDArray[np.float64]

COUNT = 200
EVEN = norm.ppf((np.arange(COUNT) + 0.5) / COUNT)
"""Deviates of so many draws, evenly."""
WEAK = Frost(kind=Seen.FROST, elapsed=210.0, standard_uncertainty=40.0)
"""Frost that leaves most draws as likely."""
SHARP = Frost(kind=Seen.FROST, elapsed=230.0, standard_uncertainty=2.0)
"""Frost that only few draws have."""


class Stood:
    """A freeze with frost at 200 s, 20 s later for each deviate, and closure twice as late."""

    def __init__(self, sample: Sample, asked: list[str] | None = None) -> None:
        self.sample, self.asked = sample, [] if asked is None else asked
        self.ensemble: Any = "ensemble"

    def among(self, sample: Sample, ensemble: Any = None) -> Any:
        found = Stood(sample, self.asked)
        found.ensemble = ensemble or self.ensemble
        return found

    @property
    def frosts(self) -> Array:
        self.asked.append("frosts")
        return np.asarray(200.0 + 20.0 * self.sample.z[:, 0])

    @property
    def closures(self) -> Array:
        return 2.0 * self.frosts


def sample_of(deviates: Array) -> Sample:
    return Sample(np.tile(deviates[:, None], (1, len(draws.NAMES))))


@pytest.fixture
def prior(monkeypatch: pytest.MonkeyPatch) -> Sample:
    """The draws of the table: two hundred."""
    found = sample_of(EVEN)
    monkeypatch.setattr(draws, "prior", lambda: found)
    return found


def learns(monkeypatch: pytest.MonkeyPatch, found: Any) -> list[tuple[Any, ...]]:
    """Let be learned what is ``found`` and return what it was learned from."""
    asked: list[tuple[Any, ...]] = []

    def learned(*given: Any) -> Any:
        asked.append(given)
        return found

    monkeypatch.setattr(learning, "learned", learned)
    return asked


def test_what_is_drawn_by_a_time_is_asked_of_the_feeding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(feeding, "drawn_by", lambda *given: given)
    s: Any = object()
    found: Any = seen.values(DRAWN, s)
    assert found == (s, 240.0)


def test_a_reading_far_above_or_below_is_as_improbable() -> None:
    """Two deviations, either way; a bound on its far side is nearly sure, and never more."""
    weight = np.array([0.25, 0.75])
    for found in (160.0, 240.0):
        assert seen.probability(FROST, np.full(2, found), weight) == pytest.approx(
            2.0 * norm.sf(2.0)
        )
    assert seen.probability(NONE_YET, np.full(2, 240.0), weight) == pytest.approx(norm.cdf(2.0))
    heavy = np.array([0.6, 0.6])
    assert seen.probability(NONE_YET, np.full(2, 900.0), heavy) == 1.0


def test_where_nothing_was_seen_all_draws_are_as_likely() -> None:
    s: Any = Stood(sample_of(EVEN))
    assert seen._together((), s, s.sample).tolist() == [0.0] * COUNT


def test_what_was_seen_is_as_likely_as_all_of_it() -> None:
    """Of the draws of another sample."""
    s: Any = Stood(sample_of(EVEN))
    other = sample_of(EVEN[:3])
    found = seen._together((FROST, STOPPED), s, other)
    frosts = 200.0 + 20.0 * EVEN[:3]
    expected = -0.5 * ((frosts - 200.0) / 20.0) ** 2 + norm.logcdf((200.0 - 2.0 * frosts) / 10.0)
    assert found == pytest.approx(expected)


@pytest.mark.usefixtures("prior")
def test_each_observation_is_foretold_by_those_before_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Weighed by them where they leave draws enough; each figure is worked out once."""
    asked = learns(monkeypatch, None)
    s = Stood(sample_of(EVEN[:2]))
    later = NoFrost(kind=Seen.NO_FROST, elapsed=190.0, standard_uncertainty=20.0)
    found = seen.foretold((WEAK, later, STOPPED), s)  # type: ignore[arg-type]
    frosts = 200.0 + 20.0 * EVEN
    weight = np.full(COUNT, 1.0 / COUNT)
    below = float(weight @ norm.cdf((frosts - 210.0) / 40.0))
    assert found[0].probability == pytest.approx(2.0 * min(below, 1.0 - below))
    weight = weight * norm.pdf((frosts - 210.0) / 40.0)
    weight /= weight.sum()
    assert found[1].probability == pytest.approx(weight @ norm.cdf((frosts - 190.0) / 20.0))
    weight = weight * norm.cdf((frosts - 190.0) / 20.0)
    weight /= weight.sum()
    assert found[2].probability == pytest.approx(weight @ norm.cdf((200.0 - 2.0 * frosts) / 10.0))
    assert [f.observation for f in found] == [WEAK, later, STOPPED]
    assert [f.values.tolist() for f in found] == [
        frosts.tolist(), frosts.tolist(), (2.0 * frosts).tolist()
    ]  # fmt: skip
    assert asked == []
    assert s.asked == ["frosts"] * 3


def test_where_few_draws_are_left_others_are_laid_about_them(
    monkeypatch: pytest.MonkeyPatch, prior: Sample
) -> None:
    """By what was seen so far; what comes next is foretold of those, and told of the table."""
    anew = sample_of(np.full(COUNT, 1.5))
    asked = learns(monkeypatch, Learned(anew, 5.0, 0.0))
    s: Any = Stood(sample_of(EVEN[:2]))
    found = seen.foretold((SHARP, WEAK, NONE_YET), s)
    frosts = 200.0 + 20.0 * EVEN
    ((likelihood, near),) = asked
    weight = norm.pdf((frosts - 230.0) / 2.0)
    expected = learning.systematic(weight / weight.sum())
    assert np.array_equal(near.z, prior.z[expected])
    logs = likelihood(sample_of(np.array([1.5, 2.5])))
    assert logs == pytest.approx([0.0, -50.0])
    assert found[1].probability == pytest.approx(2.0 * norm.cdf(-0.5))
    assert found[2].probability == pytest.approx(norm.cdf(1.5))
    assert [f.values.tolist() for f in found] == [frosts.tolist()] * 3


@pytest.mark.parametrize(("left", "laid"), [(99.9, 1), (100.0, 0)])
def test_a_hundred_draws_are_enough(
    monkeypatch: pytest.MonkeyPatch, prior: Sample, left: float, laid: int
) -> None:
    asked = learns(monkeypatch, Learned(prior, 5.0, 0.0))
    monkeypatch.setattr(learning, "effective", lambda _: left)
    s: Any = Stood(prior)
    seen.foretold((WEAK,), s)
    assert len(asked) == laid


def test_where_no_draw_explains_what_was_seen_others_are_laid_too(
    monkeypatch: pytest.MonkeyPatch, prior: Sample
) -> None:
    never = NoFrost(kind=Seen.NO_FROST, elapsed=1e200, standard_uncertainty=1.0)
    asked = learns(monkeypatch, Learned(prior, 5.0, 0.0))
    s: Any = Stood(prior)
    seen.foretold((never, WEAK), s)
    assert len(asked) == 1


def told(monkeypatch: pytest.MonkeyPatch, *probabilities: float) -> tuple[Foretold, ...]:
    """What is foretold of three observations, as probable as that."""
    each: tuple[AnyObservation, ...] = (FROST, STOPPED, HELD)
    found = tuple(
        Foretold(o, np.zeros(1), p) for o, p in zip(each, probabilities, strict=True)
    )  # fmt: skip
    monkeypatch.setattr(seen, "foretold", lambda *given: found if given == (each, S) else None)
    return found


S: Any = Stood(sample_of(EVEN))


def test_what_cannot_be_explained_leaves_all_as_it_was(
    monkeypatch: pytest.MonkeyPatch, prior: Sample
) -> None:
    asked = learns(monkeypatch, None)
    foretold = told(monkeypatch, 0.5, 0.00099, 0.4)
    found = seen.evidence((FROST, STOPPED, HELD), S)
    assert (found.foretold, found.ensemble, found.used) == (foretold, "ensemble", False)
    assert found.learned.sample is prior
    assert (found.learned.effective, found.learned.log_evidence) == (float(COUNT), -np.inf)
    assert found.least == 0.00099
    assert asked == []


def test_what_can_is_learned_twice_the_second_time_on_freezes_near_it(
    monkeypatch: pytest.MonkeyPatch, prior: Sample
) -> None:
    """One in a thousand is explained; draws are laid first about what was learned before."""
    each = (FROST, STOPPED, HELD)
    known = Learned(sample_of(EVEN[:5]), 5.0, -1.0)
    asked = learns(monkeypatch, known)
    foretold = told(monkeypatch, 0.5, 0.001, 0.4)
    monkeypatch.setattr(seen, "_together", lambda *given: given)
    monkeypatch.setattr(seen, "_about", lambda *given: ("near", *given))
    found = seen.evidence(each, S)
    (first, *rest), (second, about) = asked
    assert rest == []
    assert first("sample") == (each, S, "sample")
    whose, on, sample = second("sample")
    near = ("near", S, known.sample)
    assert (whose, on.sample, on.ensemble, sample) == (each, prior, near, "sample")
    assert about is known.sample
    assert (found.foretold, found.learned, found.ensemble) == (foretold, known, near)
    assert found.used is True


@pytest.mark.parametrize(
    ("deviates", "about"),
    [
        ([[0.4, -0.4], [0.5, -0.5]], None),
        ([[0.4, 0.0], [0.6, 0.0]], [0.5, 0.0]),
        ([[1.0, -1.0], [1.0, -1.0]], [1.0, -1.0]),
        ([[0.0, -0.9], [0.0, -0.9]], [0.0, -0.9]),
        ([[4.0, -4.0], [4.0, -4.0]], [2.5, -2.5]),
    ],
)
@pytest.mark.parametrize("closure", [200.0, None])
def test_freezes_are_solved_about_the_mean_of_what_is_known(
    deviates: list[list[float]], about: list[float] | None, closure: float | None
) -> None:
    """Half a deviation off in any input and two and a half at most; not where none closes there."""
    sample, asked = sample_of(EVEN), []

    def solved(z: Any) -> Any:
        asked.append(z if z is None else z.tolist())
        return SimpleNamespace(fine=SimpleNamespace(closure=closure))

    def of(given: Any) -> Array:
        assert given is sample
        return np.array(deviates)

    s: Any = SimpleNamespace(about=solved, ensemble=SimpleNamespace(deviates=of))
    found = seen._about(s, sample)
    assert asked == [about]
    lost = about is not None and closure is None
    assert (found is s.ensemble) is lost
    assert lost or found.fine.closure == closure
