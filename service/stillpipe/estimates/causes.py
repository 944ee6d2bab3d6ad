"""How probable each cause is, by Bayes: its prior, and how likely it makes what is seen.

The spread about what the solver finds under a cause is that of the sound freeze: of its draws, with
the model's discrepancy. Severities lie between those solved, straight in their deviates.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, logsumexp

from stillpipe.estimates import course, seen
from stillpipe.estimates.faulty import CHANGES, Signs
from stillpipe.estimates.sampled import Sampled
from stillpipe.lazy import cached_property
from stillpipe.model.observations import Frost, NoFrost, SurfaceTemperature, WeightDrawn
from stillpipe.model.requests import FrostCheckRequest
from stillpipe.physics import film, freeze
from stillpipe.physics.constants import DRY_ICE, ZERO_C
from stillpipe.uncertainty import faults, learning
from stillpipe.uncertainty.faults import Fault
from stillpipe.uncertainty.table import Distribution, UncertainInput

Array = NDArray[np.float64]

NODES = (-1.3, 0.0, 1.3)
"""Severities that are solved, as standard normal deviates [-]."""
CLOSER = (-1.6, -0.8, 0.0, 0.8, 1.6)
"""Those of a flow, which from some strength on keeps frost away [-]."""
SEVERITY = "usable"
"""The draws of what a cylinder gives, on which no frost hangs, draw the severity too."""
WATCHED = 0.05
"""Standard uncertainty of when frost is seen by the time [-]: a fitter looks every now and then; an
assumption."""
MISREAD = 1e-4
"""How likely an observation is by a slip in reading it, over how likely it is where a draw is right
on it [-]: a slip in a thousand, anywhere within ten times the likely spread; an assumption."""
SOUND, FLOW, WARM, INSULATED, DRY, LINED, FLUID = (
    "nothing-wrong", "flow", "warm-water", "insulated", "dry-air", "lined-pipe", "wrong-fluid"
)  # fmt: skip
COVERED = 0.8
"""Chance that frost is hidden by insulation that is stated beside the jacket [-]: an assumption;
and that air stated so dry that frost settles below 0 degC only is so."""
SURVEYED = 0.5
"""Who states a lining has looked: a lined pipe is so much less likely than by the table [-]; an
assumption."""
MIXED = 2.5
"""A line of glycol holds more of it than stated so much more likely than water holds any [-]; an
assumption."""
SOONER = ("pipe-empty", "smaller-pipe", "colder")
"""What is weighed, by the table alone, where frost is seen that the solver finds under no cause."""
UNHEARD = 20.0
"""Where no cause makes what is seen likelier than exp of minus this [-], the solver knows too
little of it: likelihoods are flattened until the greatest is as great. An assumption."""
STATED_HUMIDITY = 0.05
"""Half of the spread of a humidity that is stated, 5th to 95th percentile [-]: an assumption."""


@dataclass(frozen=True, kw_only=True)
class Probable:
    """A cause with its ``probability`` among the others [-]."""

    code: str
    probability: float


def stated(request: FrostCheckRequest) -> tuple[Fault, ...]:
    """Return what may be wrong, as likely as what is stated makes it; priors that add up to 1."""
    known = {(f.cause, f.way): f.prior for f in faults.catalogue()}
    if request.insulation:
        _taken_over(known, (INSULATED, ""))
    dry = film.frost_point(request.ambient.temperature, request.relative_humidity) < ZERO_C
    if dry:
        _taken_over(known, (DRY, ""))
    if request.lining:
        known = {k: p * (SURVEYED if k[0] == LINED else 1.0) for k, p in known.items()}
    if request.fluid.type != "water":
        known = {k: p * (MIXED if k[0] == FLUID else 1.0) for k, p in known.items()}
    whole = sum(known.values())
    found = [replace(f, prior=known[f.cause, f.way] / whole) for f in faults.catalogue()]
    if not dry:
        return tuple(found)
    humid = _about(request.relative_humidity)
    return tuple(replace(f, severity=humid) if f.cause == DRY else f for f in found)


def _taken_over(known: dict[tuple[str, str], float], by: tuple[str, str]) -> None:
    """Let what is stated be the case where nothing else is wrong, but for a rest of doubt."""
    moved = COVERED * known[SOUND, ""]
    known[by] += moved
    known[SOUND, ""] -= moved


def _about(humidity: float) -> UncertainInput:
    """Return how a relative ``humidity`` [-] that is stated is distributed."""
    return UncertainInput(
        name=DRY, of="", distribution=Distribution.NORMAL, low=humidity - STATED_HUMIDITY,
        likely=humidity, high=humidity + STATED_HUMIDITY, source="as stated",
    )  # fmt: skip


def by_table(request: FrostCheckRequest, among: tuple[str, ...] = ()) -> tuple[Probable, ...]:
    """Return the causes, or those ``among`` them, as likely as what is stated makes them."""
    rows = tuple(f for f in stated(request) if f.cause in among or not among)
    return _ranked(rows, np.zeros(len(rows)))


def _ranked(rows: tuple[Fault, ...], known: Array) -> tuple[Probable, ...]:
    """Return causes, likeliest first; ``known`` logarithms of their likelihood [-]."""
    logs = known + np.log([f.prior for f in rows])
    summed: dict[str, float] = {}
    for fault, each in zip(rows, learning.weights(logs).tolist(), strict=True):
        summed[fault.cause] = summed.get(fault.cause, 0.0) + each
    ranked = sorted(summed.items(), key=lambda item: -item[1])
    return tuple(Probable(code=code, probability=p) for code, p in ranked)


class Weighed:
    """What is seen, held against each cause, by draws from before anything was seen."""

    def __init__(self, request: FrostCheckRequest, sampled: Sampled) -> None:
        """Solve nothing yet; ``sampled`` must not be one of slush."""
        self._request, self._sampled = request, sampled
        kinds = (SurfaceTemperature, WeightDrawn) if sampled.fine.closure else ()
        self._read = tuple(o for o in request.observations if isinstance(o, kinds))
        self._frost = tuple(o for o in request.observations if isinstance(o, Frost | NoFrost))
        latest = max((request.elapsed, *(o.elapsed for o in request.observations)))
        self._signs = Signs(sampled, self._read, latest)

    @cached_property
    def _usual(self) -> Array:
        """Times of frost of the sound freeze, however late, of the draws [s]."""
        s = self._sampled
        return np.asarray(np.exp(s.logs(course.frost)[:, 0]) * s.model)

    @cached_property
    def _values(self) -> tuple[Array, ...]:
        """What surface temperatures and weights are about, of the sound freeze and the draws.

        Temperatures over dry ice [K], weights [kg].
        """
        return tuple(
            found - DRY_ICE if isinstance(o, SurfaceTemperature) else found
            for o in self._read
            for found in (seen.values(o, self._sampled),)
        )

    @cached_property
    def ranked(self) -> tuple[Probable, ...]:
        """Every cause, likeliest first."""
        request, rows = self._request, stated(self._request)
        if request.elapsed <= 0.0 and not request.frost_seen and not request.observations:
            return by_table(request)
        known = np.array([self._likelihood(f) for f in rows])
        best = float(np.max(known))
        if not np.isfinite(best):
            return by_table(request, SOONER)
        return _ranked(rows, known * min(1.0, UNHEARD / max(-best, UNHEARD)))

    def warmth(self, longer: float) -> float | None:
        """Return how warm water brings frost so many times ``longer`` [-] [K]; None for none.

        As far as water is tried, straight in between.
        """
        fault = next(f for f in faults.catalogue() if f.cause == WARM and f.severity)
        found = [(0.0, 0.0)]
        for z in NODES:
            value = float(fault.severity.at(z)) if fault.severity else 0.0
            found.append((float(self._signs.of(fault, value)[0]), value))
        delay, warmer = np.transpose(found)
        if not 0.0 <= np.log(longer) <= delay[-1]:
            return None
        return self._request.fluid.temperature + float(np.interp(np.log(longer), delay, warmer))

    def _moved(self, fault: Fault) -> Array:
        """Return logarithms by which a fault moves each figure, (draws, figures) [-]."""
        count = len(self._sampled.sample)
        if (fault.cause, fault.way) not in CHANGES:
            return np.zeros((count, 1 + len(self._read)))
        if fault.severity is None:
            return np.tile(self._signs.of(fault, 0.0), (count, 1))
        nodes = CLOSER if fault.cause == FLOW else NODES
        solved = np.array([self._signs.of(fault, float(fault.severity.at(z))) for z in nodes])
        return _between(np.array(nodes), solved, self._sampled.sample.of(SEVERITY))

    def _likelihood(self, fault: Fault) -> float:
        """Return the logarithm of how likely what is seen is under ``fault`` [-]."""
        moved = self._moved(fault)
        found = self._usual * np.exp(moved[:, 0])
        late = np.where(found > freeze.LATEST_FROST, np.inf, found)
        logs = self._told(late)
        for when in self._frost:
            logs += _doubted(seen.weighed(when, late))
        for o, usual, by in zip(self._read, self._values, moved.T[1:], strict=True):
            zero = DRY_ICE if isinstance(o, SurfaceTemperature) else 0.0
            logs += _doubted(seen.weighed(o, zero + usual * np.exp(by)))
        return float(logsumexp(logs) - np.log(len(logs)))

    def _told(self, frosts: Array) -> Array:
        """Return the logarithm of how likely it is that frost is seen by now, or is not [-]."""
        request = self._request
        off = (np.log(max(request.elapsed, 1.0)) - np.log(frosts)) / WATCHED
        return np.asarray(log_ndtr(off if request.frost_seen else -off))


def _between(nodes: Array, solved: Array, z: Array) -> Array:
    """Return what was ``solved`` at ``nodes`` at deviates ``z`` [-], (draws, figures).

    Straight between nodes, level beyond. What never comes at a node, infinite there, does not half
    of the way to the next.
    """
    never = np.interp(z, nodes, np.isinf(solved[:, 0])) > 0.5
    finite = np.isfinite(solved[:, 0])
    known = solved.copy()
    known[:, 0] = np.interp(nodes, nodes[finite], solved[finite, 0]) if finite.any() else 0.0
    found = np.stack([np.interp(z, nodes, column) for column in known.T], axis=1)
    found[never, 0] = np.inf
    return found


def _doubted(logs: Array) -> Array:
    """Return ``logs`` of a likelihood [-] with the chance that what is told is wrong."""
    return np.asarray(np.logaddexp(np.log1p(-MISREAD) + logs, np.log(MISREAD)))
