"""Draws weighed by what was seen (Bayes): importance sampling with the same points every time.

The draws of the table are weighed first. Where few of them carry the weight, others are laid about
those that do, from the same Sobol points, and weighed against where they were laid (adaptive
importance sampling; Cappe et al., J. Comput. Graph. Stat. 13 (2004) 907). In the end as many draws
are taken in proportion to their weights, evenly (systematic resampling), so that all count alike.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from stillpipe.uncertainty import draws
from stillpipe.uncertainty.draws import Sample

Array = NDArray[np.float64]
Likelihood = Callable[[Sample], Array]
"""The logarithm of how likely what was seen is in each draw of a sample [-]."""

ENOUGH = 1000.0
"""Effective sample size from which no other draws are laid [-]."""
ROUNDS = 12
"""How often draws are laid anew at most."""
BETTER = 1.2
"""Laying draws anew goes on while it makes the effective sample size so many times larger [-]."""
WIDER = 1.2
"""By so much wider than the weighed draws others are laid [-]."""
WIDE = 0.1
"""Share of them that is laid as in the table [-]."""
ROUND = 0.003
"""Share of the table's covariance in that of draws laid about others [-]."""
TEMPERED = 150.0
"""Effective sample size down to which a likelihood is flattened before draws are laid about it."""
HALVINGS = 40
"""Steps to find how far it is flattened."""


@dataclass(frozen=True, eq=False)
class Learned:
    """What is known after something was seen.

    ``sample`` of draws that are all as likely; ``effective`` number of draws that carried the
    weight [-]; ``log_evidence`` the logarithm of how likely what was seen was before [-], minus
    infinity where no draw explains it: then the sample is that of the table.
    """

    sample: Sample
    effective: float
    log_evidence: float


def learned(likelihood: Likelihood, near: Sample | None = None) -> Learned:
    """Return what is known of the inputs once what ``likelihood`` weighs was seen.

    ``near`` are draws about which others are laid at first.
    """
    z, logs = draws.deviates(), likelihood(draws.prior())
    best, size = (z, logs), effective(weights(logs))
    if not np.isfinite(np.max(logs)):
        return Learned(draws.prior(), 0.0, -np.inf)
    for number in range(ROUNDS):
        if size >= ENOUGH:
            break
        weight, whole = flattened(logs)
        if number == 0 and near is not None:
            z, weight = near.z, np.full(len(near), 1.0 / len(near))
        mean, factor = _moments(z, weight)
        z = _laid(mean, factor)
        logs = likelihood(Sample(z)) + _before(z) - _density(z, mean, factor)
        if not np.isfinite(np.max(logs)):
            break
        new = effective(weights(logs))
        if whole and new < BETTER * size:
            break
        if new > size:
            best, size = (z, logs), new
    z, logs = best
    evidence = float(logsumexp(logs) - np.log(len(logs)))
    return Learned(Sample(z[systematic(weights(logs))]), size, evidence)


def weights(logs: Array) -> Array:
    """Return weights that add up to 1 from logarithms [-]; all alike where none is finite."""
    top = np.max(logs)
    if not np.isfinite(top):
        return np.full(logs.shape, 1.0 / logs.size)
    found = np.exp(logs - top)
    return np.asarray(found / np.sum(found))


def effective(weight: Array) -> float:
    """Return the effective sample size of ``weight`` [-]; Kish 1965."""
    return float(1.0 / np.sum(weight**2))


def flattened(logs: Array) -> tuple[Array, bool]:
    """Return weights of a likelihood to a power [-], and whether that is 1.

    It is where enough draws carry it.
    """
    if effective(weights(logs)) >= TEMPERED:
        return weights(logs), True
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        power = 0.5 * (low + high)
        low, high = (power, high) if effective(weights(power * logs)) >= TEMPERED else (low, power)
    return weights(low * logs), False


def systematic(weight: Array) -> NDArray[np.intp]:
    """Return which draws are taken, as many as there are, in proportion to ``weight`` [-]."""
    count = len(weight)
    steps = (np.arange(count) + 0.5) / count
    return np.asarray(np.minimum(np.searchsorted(np.cumsum(weight), steps), count - 1))


def _moments(z: Array, weight: Array) -> tuple[Array, Array]:
    """Return the mean and the Cholesky factor of the covariance of weighed draws [-].

    The covariance is drawn a little towards that of the table: few draws may leave it flat.
    """
    mean = weight @ z
    off = z - mean
    spread = (off * weight[:, None]).T @ off
    spread = (1.0 - ROUND) * spread + ROUND * np.eye(z.shape[1])
    return mean, np.asarray(WIDER * np.linalg.cholesky(spread), dtype=np.float64)


def _laid(mean: Array, factor: Array) -> Array:
    """Return draws laid about ``mean``, and a share of them as in the table [-]."""
    z = draws.deviates()
    found = mean + z @ factor.T
    found[_wide()] = z[_wide()]
    return np.asarray(found)


@lru_cache(maxsize=1)
def _wide() -> NDArray[np.intp]:
    """Return which draws are laid as in the table: at random, for Sobol points have an order."""
    some = np.random.default_rng(draws.SEED).permutation(draws.COUNT)
    return np.asarray(np.sort(some[: round(WIDE * draws.COUNT)]))


def _before(z: Array) -> Array:
    """Return the logarithm of the density of draws in the table, but for a constant [-]."""
    return np.asarray(-0.5 * np.sum(z * z, axis=1))


def _density(z: Array, mean: Array, factor: Array) -> Array:
    """Return the logarithm of the density at which draws were laid, but for the same constant."""
    y = np.linalg.solve(factor, (z - mean).T)
    near = -0.5 * np.sum(y * y, axis=0) - float(np.sum(np.log(np.diag(factor))))
    return np.asarray(np.logaddexp(np.log(WIDE) + _before(z), np.log1p(-WIDE) + near))
