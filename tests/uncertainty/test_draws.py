"""The draws: the table as it is made, evenly spread, uncorrelated."""

import numpy as np
import pytest

from stillpipe.uncertainty import draws


def test_the_table_is_what_makes_it() -> None:
    """scipy.stats.qmc with the seed that is stated."""
    made = (draws.made() + 0.5) / 2.0**draws.BITS
    assert np.array_equal(draws.uniform(), made)
    assert draws.uniform().shape == (draws.COUNT, len(draws.NAMES))


def test_every_input_is_spread_evenly_and_none_goes_with_another() -> None:
    """A Sobol net: each of 8,192 equal steps of probability holds one draw of every input."""
    steps = np.floor(draws.uniform() * draws.COUNT)
    for column in steps.T:
        assert len(np.unique(column)) == draws.COUNT
    correlation = np.corrcoef(draws.deviates().T)
    off = correlation - np.eye(len(correlation))
    assert np.max(np.abs(off)) < 0.01


@pytest.mark.parametrize("name", draws.NAMES)
def test_the_deviates_are_standard_normal(name: str) -> None:
    z = draws.prior().of(name)
    assert float(np.mean(z)) == pytest.approx(0.0, abs=1e-3)
    assert float(np.std(z)) == pytest.approx(1.0, abs=2e-3)
    assert np.quantile(z, 0.95) == pytest.approx(1.645, abs=5e-3)


def test_nobody_writes_into_the_draws() -> None:
    with pytest.raises(ValueError, match="read-only"):
        draws.deviates()[0, 0] = 1.0


def test_several_inputs_are_the_columns_of_each_and_kept() -> None:
    sample, names = draws.prior(), ("room_film", "model", "adhesion")
    found = sample.of_all(names)
    assert np.array_equal(found, np.stack([sample.of(name) for name in names], axis=1))
    assert sample.of_all(names) is found
    with pytest.raises(ValueError, match="read-only"):
        found[0, 0] = 1.0
