"""Draws weighed by what was seen, against posteriors in closed form.

A standard normal input read with a normal error has a normal posterior (conjugate; Gelman et al.,
Bayesian Data Analysis, 3rd ed., 2.5): precision 1 + 1/s2, mean r / (1 + s2).
"""

import math

import numpy as np
import pytest

from stillpipe.uncertainty import draws, learning
from stillpipe.uncertainty.draws import Sample
from stillpipe.uncertainty.learning import Array, Likelihood

P = (0.05, 0.5, 0.95)
DEVIATES = (-1.644854, 0.0, 1.644854)


def read(name: str, value: float, error: float) -> Likelihood:
    """The likelihood of ``value`` read of the input called ``name`` with a normal ``error``."""
    return lambda sample: -0.5 * ((sample.of(name) - value) / error) ** 2


def nearest(z: Array, p: float) -> float:
    return float(np.sort(z)[math.ceil(p * len(z)) - 1])


@pytest.mark.parametrize("value", [0.0, 1.0, -2.0, 3.5])
@pytest.mark.parametrize("error", [1.0, 0.3, 0.1, 0.02])
def test_one_input_read_is_known_as_in_closed_form(value: float, error: float) -> None:
    found = learning.learned(read("convection", value, error))
    spread = math.sqrt(error**2 / (1.0 + error**2))
    mean = value / (1.0 + error**2)
    for p, z in zip(P, DEVIATES, strict=True):
        assert nearest(found.sample.of("convection"), p) == pytest.approx(
            mean + z * spread, abs=0.06 * spread
        )
    assert found.effective > 700.0
    for name in draws.NAMES:
        if name != "convection":  # nothing is learned of the others
            assert np.mean(found.sample.of(name)) == pytest.approx(
                0.0, abs=4.0 / math.sqrt(found.effective)
            )
            assert np.std(found.sample.of(name)) == pytest.approx(1.0, abs=0.08)


@pytest.mark.parametrize("error", [1.0, 0.3, 0.05])
@pytest.mark.parametrize("value", [0.0, 2.0])
def test_how_likely_it_was_before_is_that_of_the_closed_form(value: float, error: float) -> None:
    """The read value is normal with variance 1 + s2 before."""
    found = learning.learned(read("model", value, error))
    wide = 1.0 + error**2
    expected = -0.5 * value**2 / wide + math.log(error / math.sqrt(wide))
    assert found.log_evidence == pytest.approx(expected, abs=0.06)


def test_a_sum_that_is_read_ties_its_parts_together() -> None:
    """Both are as wide as before but for the sum: 1/2 of the variance is gone, correlation -1."""
    sum_of = learning.learned(
        lambda s: -0.5 * ((s.of("convection") + s.of("room_film") - 2.0) / 0.05) ** 2
    )
    a, b = sum_of.sample.of("convection"), sum_of.sample.of("room_film")
    assert np.mean(a) == pytest.approx(1.0, abs=0.05)
    assert np.mean(b) == pytest.approx(1.0, abs=0.05)
    assert np.std(a) == pytest.approx(math.sqrt(0.5), rel=0.05)
    assert np.corrcoef(a, b)[0, 1] < -0.98


def test_many_readings_at_once() -> None:
    """All sixteen inputs read to a tenth: as closed forms, each of its own."""
    values = np.linspace(-1.5, 1.5, len(draws.NAMES))
    found = learning.learned(
        lambda s: np.asarray(-0.5 * np.sum(((s.z - values) / 0.1) ** 2, axis=1))
    )
    assert found.effective > 100.0
    spread = math.sqrt(0.01 / 1.01)
    assert np.mean(found.sample.z, axis=0) == pytest.approx(values / 1.01, abs=0.35 * spread)
    assert np.std(found.sample.z, axis=0) == pytest.approx(spread, rel=0.3)


def test_nothing_seen_leaves_all_as_it_was() -> None:
    found = learning.learned(lambda s: np.zeros(len(s)))
    assert np.array_equal(np.sort(found.sample.z, axis=0), np.sort(draws.deviates(), axis=0))
    assert found.effective == pytest.approx(draws.COUNT)
    assert found.log_evidence == pytest.approx(0.0, abs=1e-9)


def test_what_no_draw_explains_teaches_nothing() -> None:
    found = learning.learned(lambda s: np.full(len(s), -np.inf))
    assert found.sample.z is draws.deviates()
    assert (found.effective, found.log_evidence) == (0.0, -np.inf)


def test_equal_likelihoods_have_equal_answers() -> None:
    first, second = (learning.learned(read("model", 2.0, 0.1)) for _ in range(2))
    assert np.array_equal(first.sample.z, second.sample.z)


def test_draws_are_taken_in_proportion_to_their_weights() -> None:
    """Each as often as its weight says, to one more or less."""
    weight = np.random.default_rng(1).exponential(size=500)
    weight /= weight.sum()
    counts = np.bincount(learning.systematic(weight), minlength=500)
    assert counts.sum() == 500
    assert np.all(np.abs(counts - 500 * weight) < 1.0)


@pytest.mark.parametrize("sharp", [1.0, 1e3, 1e6])
def test_a_sharp_likelihood_is_flattened_until_enough_draws_carry_it(sharp: float) -> None:
    logs = -sharp * np.linspace(0.0, 1.0, 8192) ** 2
    weight, is_whole = learning.flattened(logs)
    whole = learning.effective(learning.weights(logs))
    assert is_whole == (whole >= learning.TEMPERED)
    assert learning.effective(weight) == pytest.approx(max(whole, learning.TEMPERED), rel=0.02)


def test_shares_of_a_sample_are_its_probabilities() -> None:
    assert draws.prior().shares("usable") == pytest.approx(
        draws.uniform()[:, draws.NAMES.index("usable")]
    )
    moved = Sample(draws.deviates() + 1.644854)
    assert nearest(moved.shares("usable"), 0.5) == pytest.approx(0.95, abs=1e-3)
