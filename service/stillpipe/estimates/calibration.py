"""From records of past freezes to what is known of a set of jackets."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Annotated

import numpy as np

import stillpipe
from stillpipe.errors import Fault, StillpipeError, TooCostlyError
from stillpipe.estimates import assess, cautions, seen
from stillpipe.estimates.learned import Percentiles
from stillpipe.estimates.sampled import Array, Sampled
from stillpipe.model.calibration import NAMES, Calibration, Factor
from stillpipe.model.declare import Chance, Plain
from stillpipe.model.figures import HIGH, LOW, MIDDLE, Amount, Answer, Caution, Effort, Reason
from stillpipe.model.freeze_point import Jacket
from stillpipe.model.observations import AnyObservation, Seen
from stillpipe.model.requests import CAPTURE, CalibrationRequest, Record
from stillpipe.physics.column import work
from stillpipe.uncertainty import common, draws, table
from stillpipe.uncertainty.common import NODES, Common, Records
from stillpipe.uncertainty.draws import Sample

BLOCK = 256
"""Draws of the other inputs over which what a record says is taken."""
SURFACE_TIME, SURFACE_SKIN = 0.025, 0.6
"""Standard deviation of frost by the surface about direct solutions, over its time [-], and of the
temperature beside the jacket [K]; 150 draws on each of four pipes."""
MOST = 3 * work.MOST // 2
"""Units of solver work that all records of a request may take together [-]; fifty of common pipes
take about half of it."""
NOTHING = 0.01
"""A record that tells less of the three inputs teaches nothing [nat]."""
ENDS = (LOW, MIDDLE, HIGH)
DEFAULTS = {
    "jacket_conductance": (Jacket.conductance, "conductance"),
    "jacket_filling": (Jacket.fill_time, "time"),
    "capture": (CAPTURE, "factor"),
}
"""What the factors are held against, and its kind of quantity."""


@dataclass(frozen=True, kw_only=True)
class CalibratedInput:
    """An uncertain input of a set of jackets, before and after its records."""

    name: Annotated[str, Plain(says="Which input.")]
    before: Annotated[Percentiles, Plain(says="By the table, where there is no record.")]
    own: Annotated[Percentiles, Plain(says="The set's own value, about which its freezes lie.")]
    next: Annotated[Percentiles, Plain(says="In the next freeze with this set.")]
    narrowed: Annotated[
        float, Chance(says="By what share the set's own value is known closer than by the table.")
    ]


@dataclass(frozen=True, kw_only=True)
class ForetellingError:
    """How far off observations were foretold, each by the other records alone."""

    kind: Annotated[Seen, Plain(says="What was seen.")]
    count: Annotated[int, Plain(says="How many were read.")]
    before: Annotated[Amount, Plain(says="Root mean square by the table.")]
    after: Annotated[Amount, Plain(says="Root mean square by the other records.")]


@dataclass(frozen=True, kw_only=True)
class Outlier:
    """A record that does not fit the others."""

    index: Annotated[int, Plain(says="Which of the records, from 0.")]
    id: Annotated[str | None, Plain(says="The caller's name for it.")]
    probability: Annotated[float, Chance(says="Of what was seen or further off, by the others.")]
    used: Annotated[bool, Plain(says="Whether the calibration rests on it all the same.")]


@dataclass(frozen=True, kw_only=True)
class Uninformative:
    """A record that teaches nothing of the set."""

    index: Annotated[int, Plain(says="Which of the records, from 0.")]
    id: Annotated[str | None, Plain(says="The caller's name for it.")]
    why: Annotated[str, Plain(says="Why, in one sentence.")]


@dataclass(frozen=True, kw_only=True)
class CalibrationFigures:
    """What the records come to."""

    jackets: Annotated[
        tuple[CalibratedInput, ...], Plain(says="The inputs that belong to the set.")
    ]
    errors: Annotated[tuple[ForetellingError, ...], Plain(says="By leaving each record out.")]
    outliers: Annotated[tuple[Outlier, ...], Plain(says="Records that do not fit the others.")]
    uninformative: Annotated[
        tuple[Uninformative, ...], Plain(says="Records that teach nothing, and why.")
    ]
    calibration: Annotated[
        Calibration | None, Plain(says="To be stored, and passed in later requests.")
    ]


ASSUMED = Caution(
    "one-set-of-jackets",
    "Records are taken as freezes with one set of jackets, fed in one way, each apart from the "
    "others in all else: in its readings and in what the model itself is off by.",
)


class Freezes:
    """The freezes of one freeze point, which several records may share."""

    def __init__(self, point: Record, spent: work.Work | None = None) -> None:
        """Solve nothing yet; ``spent`` counts the work of all freezes of a request."""
        whole = Sampled(point)
        whole.work = spent or whole.work
        self.sampled = whole.among(draws.prior(), whole.about(None, NAMES[:2]))

    def values(self, o: AnyObservation) -> Array:
        """Return the figure that ``o`` is about, of the draws of the table [its kind]."""
        return seen.values(o, self.sampled)

    def scattered(self, o: AnyObservation, block: int) -> Array:
        """Return the figure that ``o`` is about, shape (nodes, of each input, draws) [its kind].

        The draws are of all other inputs, those of a ``block``; on capture hangs the mass alone.
        """
        first = block * BLOCK % draws.COUNT
        conductance, filling, capture = NODES
        z = np.tile(
            draws.deviates()[first : first + BLOCK], (len(conductance), len(filling), 1, 1)
        )  # fmt: skip
        z[..., draws.NAMES.index(NAMES[0])] = conductance[:, None, None]
        z[..., draws.NAMES.index(NAMES[1])] = filling[:, None]
        z[..., draws.NAMES.index(NAMES[2])] = 0.0
        among = self.sampled.among(Sample(z.reshape(-1, len(draws.NAMES))))
        found = seen.values(o, among).reshape(len(conductance), len(filling), 1, BLOCK)
        if o.kind is not Seen.WEIGHT_DRAWN:
            return found
        share = CAPTURE * table.find("capture").at(np.append(0.0, capture))
        each = 1.0 / np.minimum(share, 1.0)
        return np.asarray(found * (each[1:] / each[0])[:, None])


class Past:
    """One record: its freeze in the draws of the table, and what was seen of it."""

    def __init__(self, record: Record, freezes: Freezes, index: int) -> None:
        """Take the ``freezes`` of its point; ``index`` is its place in the list."""
        self.record, self.seen = record, record.observations
        self.freezes, self.index = freezes, index

    @cached_property
    def why_nothing(self) -> str:
        """Why it teaches nothing; empty where it does."""
        if not self.seen:
            return "Nothing was seen."
        if self.freezes.sampled.hopeless:
            return "No plug is to be expected, so what was seen tells nothing about one."
        if self.is_explained and common.gained(self.logs) < NOTHING:
            return "What was seen is as likely whatever the jackets are like."
        return ""

    @property
    def is_explained(self) -> bool:
        """Whether any values of its inputs explain what was seen."""
        return bool(np.isfinite(np.max(self.logs)))

    @cached_property
    def _values(self) -> list[Array]:
        """The figure that each observation is about, of the draws of the table."""
        return [self.freezes.values(o) for o in self.seen]

    def chance(self, weight: Array) -> float:
        """Return how probable what was seen or further off is in draws of this ``weight`` [-].

        The least of its observations, times how many they are.
        """
        found = [
            seen.probability(o, v, weight) for o, v in zip(self.seen, self._values, strict=True)
        ]
        return min(min(found) * len(found), 1.0)

    def foretold(self, weight: Array) -> list[float]:
        """Return the median of each observation that is read, in draws of this ``weight`` [-]."""
        found = []
        for o, values in zip(self.seen, self._values, strict=True):
            if seen.is_read(o):
                order = np.argsort(values)
                rank = int(np.searchsorted(np.cumsum(weight[order]), MIDDLE))
                found.append(float(values[order[min(rank, len(order) - 1)]]))
        return found

    @property
    def read(self) -> list[AnyObservation]:
        """Observations of a figure that was read."""
        return [o for o in self.seen if seen.is_read(o)]

    @cached_property
    def logs(self) -> Array:
        """How likely what was seen is at ``NODES`` of each of the set's inputs [log].

        The mean over draws of the other inputs, which are those of another block for each record.
        """
        found, shape = np.zeros(()), [len(nodes) for nodes in NODES]
        for o in self.seen:
            found = found + seen.weighed(_less_sure(o), self.freezes.scattered(o, self.index))
        top = np.max(found)
        if not np.isfinite(top):
            return np.full(shape, -np.inf)
        mean = np.mean(np.exp(np.maximum(found - top, common.LEAST)), axis=-1)
        return np.asarray(top + np.log(np.broadcast_to(mean, shape)))


def _less_sure(o: AnyObservation) -> AnyObservation:
    """Return an observation with what the surface is off added to its uncertainty."""
    off = {Seen.FROST: SURFACE_TIME * o.elapsed, Seen.SURFACE_TEMPERATURE: SURFACE_SKIN}
    whole = math.hypot(o.standard_uncertainty, off.get(o.kind, 0.0))
    return replace(o, standard_uncertainty=whole)


class Set:
    """A set of jackets, and what its records say."""

    def __init__(
        self, records: tuple[Record, ...], known: dict[Record, Freezes] | None = None
    ) -> None:  # fmt: skip
        """Solve the freezes of ``records``, where they are not ``known``; those alike once."""
        known = {} if known is None else known
        self.work = work.Work(MOST)
        self.past: list[Past] = []
        self.teaching: list[int] = []
        for index, record in enumerate(records):
            alike = replace(record, id=None, observations=())
            freezes = known.get(alike) or Freezes(alike, self.work)
            known[alike] = freezes
            with _of_record(index):
                past = Past(record, freezes, index)
                self.teaching += [] if past.why_nothing else [index]
            self.past.append(past)
        self.freezes = list(known.values())

    @property
    def effort(self) -> Effort:
        """What solving took."""
        return Effort(sum(len(f.sampled.solves) for f in self.freezes), self.work.taken)

    @cached_property
    def _records(self) -> Records:
        """What the records say that teach something and are explained by their pipe."""
        fit = [i for i in self.teaching if self.past[i].is_explained]
        return Records({i: self.past[i].logs for i in fit})

    def without(self, index: int, used: set[int]) -> Array:
        """Return how likely draws are for a record by what the other ``used`` ones say [-]."""
        z = np.stack([draws.of(name) for name in NAMES], axis=1)
        return self._records.common(used - {index}).weights(z)

    def chance(self, index: int, used: set[int]) -> float:
        """Return how probable what was seen is for a record by the other ``used`` ones [-]."""
        return self.past[index].chance(self.without(index, used))

    @cached_property
    def used(self) -> set[int]:
        """Records on which the calibration rests: those that the others can explain.

        What they cannot is left out, the least likely first, and the others are looked at anew.
        """
        used = set(self._records.known)
        while used:
            least, worst = min((self.chance(i, used), i) for i in used)
            if least >= seen.ABSURD:
                break
            used.remove(worst)
        return used

    @cached_property
    def chances(self) -> dict[int, float]:
        """How probable what was seen is for each record that teaches, by the others [-]."""
        return {i: self.chance(i, self.used) for i in self.teaching}

    @cached_property
    def common(self) -> Common:
        """What the records that are used say."""
        return self._records.common(self.used)


@contextmanager
def _of_record(index: int) -> Iterator[None]:
    """Let what goes wrong inside name the record at ``index``.

    Raises
    ------
    StillpipeError
        of the same kind
    """
    try:
        yield
    except TooCostlyError as error:
        detail = (
            "send fewer records at once, or without a pipe, jacket or flow as far from common ones "
            f"as here: together they take more than {MOST:,} units of solver work"
        )
        raise TooCostlyError(Fault(("records", index), detail)) from error
    except StillpipeError as error:
        faults = (Fault(("records", index, *f.path), f.detail) for f in error.faults)
        raise type(error)(*faults) from error


def calibration(request: CalibrationRequest) -> Answer[CalibrationFigures]:
    """Estimate the inputs of a set of jackets from records of its freezes."""
    jackets = Set(request.records)
    outliers = tuple(
        Outlier(
            index=i, id=request.records[i].id, probability=chance, used=i in jackets.used
        )
        for i, chance in jackets.chances.items()
        if chance < seen.UNLIKELY
    )  # fmt: skip
    figures = CalibrationFigures(
        jackets=tuple(_input(jackets.common, name) for name in NAMES),
        errors=tuple(_errors(jackets)),
        outliers=outliers,
        uninformative=tuple(
            Uninformative(index=i, id=p.record.id, why=p.why_nothing)
            for i, p in enumerate(jackets.past)
            if p.why_nothing
        ),
        calibration=_object(jackets) if jackets.used else None,
    )
    return Answer(
        reasons=_reasons(jackets, outliers),
        cautions=(ASSUMED, cautions.LICENSED),
        figures=figures,
        effort=jackets.effort,
    )


def _reasons(jackets: Set, outliers: tuple[Outlier, ...]) -> tuple[Reason, ...]:
    """Return what keeps the calibration from being used, or what to look at first."""
    if not jackets.used:
        text = "No record teaches anything of this set of jackets: there is no calibration."
        return (assess.stop("nothing-learned", text),)
    if not outliers:
        return ()
    text = (
        f"{len(outliers)} of {len(jackets.teaching)} records do not fit the others: look whether "
        "they belong to this set, and what was read."
    )
    return (assess.warn("records-do-not-fit", text),)


def _input(known: Common, name: str) -> CalibratedInput:
    """Return the input called ``name`` before and after."""
    i = NAMES.index(name)
    return CalibratedInput(
        name=name,
        before=_percentiles(name, np.array([-table.Z95, 0.0, table.Z95])),
        own=_percentiles(name, known.own(i, ENDS)),
        next=_percentiles(name, known.next(i, ENDS)),
        narrowed=min(max(1.0 - known.deviation(i), 0.0), 1.0),
    )


def _percentiles(name: str, z: Array) -> Percentiles:
    """Return an input at deviates ``z`` [-] of its percentiles, least first."""
    default, kind = DEFAULTS[name]
    p05, p50, p95 = (Amount(default * float(f), kind) for f in table.find(name).at(z))
    return Percentiles(p05=p05, p50=p50, p95=p95)


def _errors(jackets: Set) -> Iterator[ForetellingError]:
    """Yield how far off each kind of observation was foretold, before and after."""
    found: dict[Seen, list[tuple[float, float]]] = {}
    even = np.full(draws.COUNT, 1.0 / draws.COUNT)
    for i in sorted(jackets.used):
        past = jackets.past[i]
        others = jackets.without(i, jackets.used)
        foretold = zip(past.foretold(even), past.foretold(others), strict=True)
        for o, (before, after) in zip(past.read, foretold, strict=True):
            if np.isfinite(before) and np.isfinite(after):
                found.setdefault(o.kind, []).append((_off(o, before), _off(o, after)))
    for kind, off in found.items():
        of = "temperature_difference" if kind is Seen.SURFACE_TEMPERATURE else "factor"
        ends = [Amount(float(rms), of) for rms in np.sqrt(np.mean(np.square(off), axis=0))]
        yield ForetellingError(kind=kind, count=len(off), before=ends[0], after=ends[1])


def _off(o: AnyObservation, foretold: float) -> float:
    """Return by how much ``foretold`` is off what was read.

    Times and masses as the logarithm of their ratio [-], temperatures by their difference [K].
    """
    read = seen.reading(o)
    return foretold - read if o.kind is Seen.SURFACE_TEMPERATURE else float(np.log(foretold / read))


def _object(jackets: Set) -> Calibration:
    """Return what is stored: the inputs in the next freeze as factors on their defaults."""
    factors = {}
    for i, name in enumerate(NAMES):
        ends = table.find(name).at(jackets.common.next(i, ENDS))
        p05, p50, p95 = (float(f"{f:.4g}") for f in ends)
        factors[name] = Factor(p05=p05, p50=p50, p95=p95)
    wide = [jackets.past[i].record.pipe.outside_diameter for i in jackets.used]
    return Calibration(
        model_version=stillpipe.MODEL_VERSION, records=len(wide), **factors,
        least_diameter=min(wide), greatest_diameter=max(wide),
    )  # fmt: skip
