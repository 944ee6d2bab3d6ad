"""How likely an observation is, by hand and by scipy's normal distribution."""

import numpy as np
import pytest
from scipy.stats import norm

from estimates.jobs import HALF_INCH, known, point_of
from stillpipe.estimates import seen
from stillpipe.estimates.course import Of
from stillpipe.estimates.solution import Solution
from stillpipe.model.observations import (
    FlowStopped,
    Frost,
    NoFrost,
    PressureHeld,
    Seen,
    SurfaceTemperature,
    WeightDrawn,
)
from stillpipe.uncertainty import draws

FOUND = np.array([150.0, 200.0, 260.0])
FROST = Frost(kind=Seen.FROST, elapsed=200.0, standard_uncertainty=20.0)
NONE_YET = NoFrost(kind=Seen.NO_FROST, elapsed=200.0, standard_uncertainty=20.0)
STOPPED = FlowStopped(kind=Seen.FLOW_STOPPED, elapsed=200.0, standard_uncertainty=10.0)
WARM = SurfaceTemperature(
    kind=Seen.SURFACE_TEMPERATURE, elapsed=100.0, distance=0.05, value=280.0,
    standard_uncertainty=1.5,
)  # fmt: skip
DRAWN = WeightDrawn(kind=Seen.WEIGHT_DRAWN, elapsed=240.0, value=0.3, standard_uncertainty=0.1)
HELD = PressureHeld(kind=Seen.PRESSURE_HELD, elapsed=420.0, value=3e5, standard_uncertainty=1e4)


def test_what_is_read_and_what_bounds() -> None:
    assert [seen.is_read(o) for o in (FROST, WARM, DRAWN)] == [True] * 3
    assert [seen.is_read(o) for o in (NONE_YET, STOPPED, HELD)] == [False] * 3
    told = [seen.reading(o) for o in (FROST, NONE_YET, STOPPED, WARM, DRAWN, HELD)]
    assert told == [200.0, 200.0, 200.0, 280.0, 0.3, 3e5]


def test_likelihoods_by_hand() -> None:
    """A reading's is normal; a bound's the part of the normal on the side that explains it."""
    normal = norm.logpdf(FOUND, 200.0, 20.0) - norm.logpdf(200.0, 200.0, 20.0)
    assert seen.weighed(FROST, FOUND) == pytest.approx(normal)
    assert seen.weighed(NONE_YET, FOUND) == pytest.approx(norm.logcdf((FOUND - 200.0) / 20.0))
    assert seen.weighed(STOPPED, FOUND) == pytest.approx(norm.logcdf((200.0 - FOUND) / 10.0))


def test_probabilities_by_hand() -> None:
    """Two-sided of what was read, one-sided of the rest; weighed draw for draw."""
    weight = np.array([0.5, 0.3, 0.2])
    below = float(weight @ norm.cdf((FOUND - 200.0) / 20.0))
    assert seen.probability(FROST, FOUND, weight) == pytest.approx(2.0 * min(below, 1.0 - below))
    assert seen.probability(NONE_YET, FOUND, weight) == pytest.approx(below)
    stopped = float(weight @ norm.cdf((200.0 - FOUND) / 10.0))
    assert seen.probability(STOPPED, FOUND, weight) == pytest.approx(stopped)
    assert seen.probability(FROST, np.full(3, 200.0), weight) == pytest.approx(1.0)


def test_what_an_observation_is_about() -> None:
    """Of the pressure that a plug held no safety factor is taken off."""
    s = Solution(point_of(safety_factor=3.0)).before
    assert seen.values(FROST, s) is s.frosts
    assert seen.values(STOPPED, s) is s.closures
    held = 4.0 * s.strength * s.gripping(420.0) / HALF_INCH.inside_diameter
    assert seen.values(HELD, s) == pytest.approx(held)
    assert np.array_equal(seen.values(WARM, s), s.skin(0.05, 100.0))
    assert s.curves_of(Of.GRIP, s.knots_until(420.0)).value.shape[0] == draws.COUNT


def test_what_was_foretold_is_told_of_the_table_whatever_was_seen_before() -> None:
    """Even where so few draws are left that others are laid for the next."""
    s = Solution(point_of()).before
    sharp = Frost(kind=Seen.FROST, elapsed=300.0, standard_uncertainty=1.0)
    first, second = seen.foretold((sharp, STOPPED), s)
    assert np.array_equal(first.values, s.frosts)
    assert np.array_equal(second.values, s.closures)
    alone = seen.foretold((STOPPED,), s)[0].probability
    assert second.probability < 0.2 * alone, "so late a frost does not go with so soon a closure"


def test_freezes_are_solved_anew_about_what_is_known_far_from_the_likely() -> None:
    """And looked up there: closure then lies where both stars agree."""
    s = Solution(point_of()).before
    late = Frost(kind=Seen.FROST, elapsed=330.0, standard_uncertainty=5.0)
    far = seen.evidence((late,), s)
    assert far.ensemble is not s.ensemble
    assert far.used
    (told,) = far.foretold
    assert told.observation is late
    assert far.least == told.probability < 0.2
    near = seen.evidence((Frost(kind=Seen.FROST, elapsed=190.0, standard_uncertainty=40.0),), s)
    assert near.ensemble.fine is s.ensemble.fine
    solution = Solution(point_of(observations=(late,)))
    slow = Solution(point_of()).closure
    assert known(solution.closure).likely > 1.3 * known(slow).likely


def test_what_cannot_be_explained_is_told_and_not_used() -> None:
    """The draws stay those of the table, the freezes those about the likely."""
    s = Solution(point_of()).before
    never = Frost(kind=Seen.FROST, elapsed=6000.0, standard_uncertainty=5.0)
    found = seen.evidence((never,), s)
    assert not found.used
    assert found.ensemble is s.ensemble
    assert found.foretold[0].observation is never
    assert found.least < seen.ABSURD
    assert found.learned.effective == float(draws.COUNT)
