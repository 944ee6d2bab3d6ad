"""How likely what was seen is in each draw, and what is known of the draws then."""

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr

from stillpipe.estimates import feeding
from stillpipe.estimates.ensemble import Ensemble
from stillpipe.estimates.sampled import Array, Sampled
from stillpipe.model import observations
from stillpipe.model.observations import AnyObservation
from stillpipe.uncertainty import draws, learning
from stillpipe.uncertainty.draws import Sample
from stillpipe.uncertainty.learning import Learned

FAR = 0.5
"""Freezes are solved anew about what is known where that is so far from the likely [-]."""
FARTHEST = 2.5
"""No further from the likely than so [-]."""
FEW = 100.0
"""Effective sample size below which other draws are laid to foretell the next observation [-]."""
UNLIKELY = 0.02
"""An observation less likely than this does not fit [-]."""
ABSURD = 0.001
"""One less likely than this cannot be explained, and nothing is learned from any [-]."""


@dataclass(frozen=True, eq=False)
class Foretold:
    """An observation, and what was to be expected before.

    ``values`` [its kind of quantity] of the draws of the table; ``probability`` [-] that it is as
    it was seen or further off, after the observations before it in the list.
    """

    observation: AnyObservation
    values: Array
    probability: float


@dataclass(frozen=True, eq=False)
class Evidence:
    """What was seen, each held against what was foretold, and what was ``learned``.

    ``ensemble`` are the freezes on which what was learned rests. What cannot be explained is not
    ``used``: no figure rests on it.
    """

    foretold: tuple[Foretold, ...]
    learned: Learned
    ensemble: Ensemble
    used: bool = True

    @property
    def least(self) -> float:
        """The least probability among the observations [-]."""
        return min(f.probability for f in self.foretold)


def values(o: AnyObservation, s: Sampled) -> Array:
    """Return the figure that an observation is about, of the draws [its kind of quantity]."""
    match o:
        case observations.Frost() | observations.NoFrost():
            return s.frosts
        case observations.SurfaceTemperature():
            return s.skin(o.distance, o.elapsed)
        case observations.WeightDrawn():
            return feeding.drawn_by(s, o.elapsed)
        case observations.FlowStopped():
            return s.closures
        case observations.PressureHeld():
            return s.carries(s.gripping(o.elapsed), s.strength) * s.point.safety_factor


def reading(o: AnyObservation) -> float:
    """Return what was read, where a value was [its kind of quantity]."""
    return o.elapsed if isinstance(o, observations.Frost) else getattr(o, "value", o.elapsed)


def _off(o: AnyObservation, found: Array) -> Array:
    """Return by how many standard uncertainties draws lie on the side that explains it [-].

    Of those that are read: by how many they lie above it.
    """
    off = (found - reading(o)) / o.standard_uncertainty
    return -off if isinstance(o, observations.FlowStopped) else np.asarray(off)


def is_read(o: AnyObservation) -> bool:
    """Tell whether a figure itself was read, and not that it is above or below something."""
    kinds = (observations.Frost, observations.SurfaceTemperature, observations.WeightDrawn)
    return isinstance(o, kinds)


def weighed(o: AnyObservation, found: Array) -> Array:
    """Return the logarithm of how likely ``o`` is where its figure is ``found`` [-].

    But for a constant.
    """
    off = _off(o, found)
    return np.asarray(-0.5 * off**2 if is_read(o) else log_ndtr(off))


def likelihood(o: AnyObservation, s: Sampled) -> Array:
    """Return the logarithm of how likely ``o`` is in each draw, but for a constant [-]."""
    return weighed(o, values(o, s))


def _together(seen: tuple[AnyObservation, ...], s: Sampled, sample: draws.Sample) -> Array:
    """Return the logarithm of how likely all of ``seen`` are in each draw of a sample [-]."""
    among = s.among(sample)
    return np.asarray(sum((likelihood(o, among) for o in seen), np.zeros(len(sample))))


def probability(o: AnyObservation, found: Array, weight: NDArray[np.float64]) -> float:
    """Return how probable it is that ``o`` is as it was seen or further off [-].

    ``found`` is its figure in draws of this ``weight`` [-].
    """
    below = float(np.sum(weight * ndtr(_off(o, found))))
    return min(2.0 * min(below, 1.0 - below), 1.0) if is_read(o) else min(below, 1.0)


def foretold(seen: tuple[AnyObservation, ...], s: Sampled) -> tuple[Foretold, ...]:
    """Return each of ``seen`` held against what is foretold once those before it were."""
    prior = now = s.among(draws.prior())
    logs, found = np.zeros(len(prior.sample)), []
    for number, o in enumerate(seen):
        weight = learning.weights(logs)
        if learning.effective(weight) < FEW or not np.isfinite(np.max(logs)):
            near = Sample(now.sample.z[learning.systematic(weight)])
            before = learning.learned(partial(_together, seen[:number], s), near)
            now, logs = s.among(before.sample), np.zeros(len(before.sample))
            weight = learning.weights(logs)
        figure = values(o, now)
        chance = probability(o, figure, weight)
        found.append(Foretold(o, figure if now is prior else values(o, prior), chance))
        logs = logs + weighed(o, figure)
    return tuple(found)


def evidence(seen: tuple[AnyObservation, ...], s: Sampled) -> Evidence:
    """Return what is known of the draws of ``s`` once ``seen`` was."""
    prior, found = draws.prior(), foretold(seen, s)
    if min(f.probability for f in found) < ABSURD:
        nothing = Learned(prior, float(len(prior)), -np.inf)
        return Evidence(found, nothing, s.ensemble, used=False)
    known = learning.learned(partial(_together, seen, s))
    near = _about(s, known.sample)
    again = partial(_together, seen, s.among(prior, near))
    return Evidence(found, learning.learned(again, known.sample), near)


def _about(s: Sampled, sample: draws.Sample) -> Ensemble:
    """Return freezes that tell more than those of ``s``, about ``sample`` where that lies far."""
    z = np.mean(s.ensemble.deviates(sample), axis=0)
    if np.max(np.abs(z)) < FAR:
        return s.about(None)
    found = s.about(np.clip(z, -FARTHEST, FARTHEST))
    return s.ensemble if found.fine.closure is None else found
