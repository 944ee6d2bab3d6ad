"""What freezes with one set of jackets have in common (Bayes, a hierarchical normal model).

The deviate of an input in freeze i of a set is m + e_i: m is the set's own, e_i differs from freeze
to freeze. Both are normal and their variances, 1 - s^2 and s^2, add up to that of the table, so
that what is known before any record is the table's distribution. How large s^2 is is itself not
known: one of ``SHARES``, the same for each input. What a freeze says about its own deviates is
given at ``NODES`` of each input; its integral over e_i and the product over the freezes are taken
on a grid of m and s^2. See Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), chapter 5.
"""

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from stillpipe.lazy import cached_property
from stillpipe.uncertainty import learning

Array = NDArray[np.float64]

SHARES = np.array([0.10, 0.15, 0.20, 0.27, 0.40])
"""Share of an input's variance that lies from freeze to freeze, each as likely [-]: an assumption,
about a fifth; no records were at hand."""
NODES = tuple(np.linspace(-4.2, 4.2, count) for count in (15, 15, 29))
"""Deviates of each input at which it is given what a freeze says [-]."""
BETWEEN = np.linspace(-4.2, 4.2, 43)
"""Deviates of each input over which it is integrated [-]."""
MEANS = tuple(np.linspace(-3.3, 3.3, count) for count in (45, 34, 34))
"""Deviates of the set's own at which it is looked for, of each input [-]."""
LOOKED_UP = np.linspace(-6.0, 6.0, 481)
"""Deviates of another freeze at which its distribution is looked up [-]."""
LEAST, MOST = -60.0, 1.0
"""A logarithm of a likelihood over the largest is not followed beyond these [-]."""
TINY = 1e-30
"""Least likelihood that is told apart from none [-]."""


def gained(logs: Array) -> float:
    """Return what one freeze tells of its inputs, a divergence from the table [nat].

    ``logs``, shape (nodes,) of each input, are those of its likelihood at ``NODES`` [-].
    """
    whole = np.exp(-0.5 * _squares(NODES))
    whole /= np.sum(whole)
    likely = np.exp(np.maximum(logs - np.max(logs), LEAST))
    mean = float(np.sum(whole * likely))
    after = whole * likely / mean
    return float(np.sum(after * np.log(likely / mean)))


def _squares(places: tuple[Array, ...]) -> Array:
    """Return the squared distance from 0 on the grid of ``places`` of each input [-]."""
    squares = np.meshgrid(*(place**2 for place in places), indexing="ij")
    return np.asarray(np.sum(np.array(squares), axis=0))


@lru_cache(maxsize=1)
def _finer() -> tuple[Array, ...]:
    """Return what makes of logarithms at ``NODES`` those at ``BETWEEN``, for each input.

    A cubic spline, which is linear in them: shapes (between, nodes).
    """
    from scipy.interpolate import CubicSpline  # noqa: PLC0415 - a third of a second

    return tuple(np.asarray(CubicSpline(n, np.eye(len(n)))(BETWEEN)) for n in NODES)


def _along(logs: Array, matrices: Iterable[Array]) -> Array:
    """Return an array whose every axis is multiplied by the matrix of that input."""
    for axis, matrix in enumerate(matrices):
        logs = np.asarray(np.moveaxis(np.tensordot(matrix, logs, (1, axis)), 0, axis))
    return logs


def _near(means: Array, share: float) -> Array:
    """Return how likely a deviate is ``BETWEEN`` about each of the ``means`` [-].

    Shape (means, between), rows that add up to 1.
    """
    found = np.exp(-0.5 * (means[:, None] - BETWEEN) ** 2 / share)
    return np.asarray(found / np.sum(found, axis=1, keepdims=True))


@dataclass(frozen=True, eq=False)
class Common:
    """What is known of a set: the ``weight`` of each m, shape (shares, means of each input) [-]."""

    weight: Array

    @cached_property
    def _single(self) -> tuple[Array, ...]:
        """The weight of each m of one input alone, shape (shares, means)."""
        axes = range(1, self.weight.ndim)
        return tuple(np.sum(self.weight, axis=tuple(a for a in axes if a != i)) for i in axes)

    def own(self, i: int, p: Sequence[float]) -> Array:
        """Return percentiles of the set's own deviate of the input ``i`` [-]."""
        means = MEANS[i]
        below = np.append(0.0, np.cumsum(np.sum(self._single[i], axis=0)))
        half = 0.5 * (means[1] - means[0])
        return np.asarray(np.interp(p, below, np.append(means - half, means[-1] + half)))

    def next(self, i: int, p: Sequence[float]) -> Array:
        """Return percentiles of the deviate of the input ``i`` in another freeze [-]."""
        below = np.zeros(len(LOOKED_UP))
        for weight, share in zip(self._single[i], SHARES, strict=True):
            below += ndtr((LOOKED_UP[:, None] - MEANS[i]) / np.sqrt(share)) @ weight
        return np.asarray(np.interp(p, below, LOOKED_UP))

    def deviation(self, i: int) -> float:
        """Return the standard deviation of what is known of the set's own deviate [-]."""
        weight = np.sum(self._single[i], axis=0)
        mean = float(weight @ MEANS[i])
        return float(np.sqrt(weight @ (MEANS[i] - mean) ** 2))

    @cached_property
    def moments(self) -> tuple[Array, Array]:
        """Mean and covariance of the deviates in another freeze [-]."""
        joint, count = np.sum(self.weight, axis=0), len(MEANS)
        mean = np.array([np.sum(self._single[i], axis=0) @ MEANS[i] for i in range(count)])
        spread = float(np.sum(self.weight, axis=(1, 2, 3)) @ SHARES) * np.eye(count)
        for i in range(count):
            spread[i, i] += self.deviation(i) ** 2
            for j in range(i):
                both = np.sum(joint, axis=3 - i - j)
                off = (MEANS[j] - mean[j]) @ both @ (MEANS[i] - mean[i])
                spread[i, j] += off
                spread[j, i] += off
        return mean, spread

    def weights(self, z: Array) -> Array:
        """Return how likely draws ``z`` of the table, (draws, inputs), are in another freeze.

        As of a normal distribution of the same moments; they add up to 1 [-].
        """
        mean, spread = self.moments
        away = z - mean
        logs = 0.5 * np.sum(z * z - away @ np.linalg.inv(spread) * away, axis=1)
        return learning.weights(logs)


class Records:
    """What freezes of one set say about it, each of which may be left out."""

    def __init__(self, logs: Mapping[int, Array]) -> None:
        """Work out what each says about the set, from its likelihood at ``NODES`` [log]."""
        self.known = tuple(logs)
        self._about = {i: _about(each) for i, each in logs.items()}
        self._whole = _before()
        for each in self._about.values():
            self._whole += each

    def common(self, records: Container[int]) -> Common:
        """Return what is known of the set from some of the ``records``."""
        logs = self._whole.copy()
        for i in self.known:
            if i not in records:
                logs -= self._about[i]
        return Common(learning.weights(logs))


def _before() -> Array:
    """Return the logarithm of how likely each m is by the table, shape (shares, means)."""
    squares = _squares(MEANS)
    own = (1.0 - SHARES).reshape(-1, *(1 for _ in MEANS))
    return np.asarray(-0.5 * squares / own - 0.5 * len(MEANS) * np.log(own))


def _about(logs: Array) -> NDArray[np.float32]:
    """Return the logarithm of how likely a freeze is for each m and share [-]."""
    finer = _along(np.maximum(logs - np.max(logs), LEAST), _finer())
    likely = np.exp(np.minimum(finer, MOST))
    found = [
        _along(likely, [_near(means, share) for means in MEANS]) for share in SHARES.tolist()
    ]  # fmt: skip
    return np.asarray(np.log(np.maximum(found, TINY)), dtype=np.float32)
