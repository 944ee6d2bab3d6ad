"""From records of past freezes to what is known of a set of jackets."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

import numpy as np

import stillpipe
from stillpipe.estimates import assess, cautions, seen
from stillpipe.estimates.learned import ENDS, Percentiles
from stillpipe.estimates.past import Set
from stillpipe.estimates.sampled import Array
from stillpipe.model.calibration import NAMES, Calibration, Factor
from stillpipe.model.declare import Chance, Plain
from stillpipe.model.figures import Amount, Answer, Caution, Reason
from stillpipe.model.freeze_point import Jacket
from stillpipe.model.observations import AnyObservation, Seen
from stillpipe.model.requests import CAPTURE, CalibrationRequest
from stillpipe.uncertainty import draws, table
from stillpipe.uncertainty.common import Common

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
        text = (
            f"None of {len(jackets.past)} records teaches anything of this set of jackets: there "
            "is no calibration."
        )
        return (
            assess.stop(
                "nothing-learned", text, figure="calibration", value=Amount(0.0, "factor"),
                limit=Amount(1.0, "factor"),
                action="Look in `uninformative` why not; note frost, temperatures or weights of "
                "the next freezes with their times.",
            ),
        )  # fmt: skip
    if not outliers:
        return ()
    worst = min(range(len(outliers)), key=lambda i: outliers[i].probability)
    least = outliers[worst].probability
    text = (
        f"{len(outliers)} of {len(jackets.teaching)} records do not fit the others: record "
        f"{outliers[worst].index} is as likely as {max(least, 1e-4):.2g} or less by them."
    )
    return (
        assess.warn(
            "records-do-not-fit", text, figure=f"outliers.{worst}.probability", chance=least,
            value=Amount(least, "factor"), limit=Amount(seen.UNLIKELY, "factor"),
            action="Look whether they belong to this set, and what was read.",
        ),
    )  # fmt: skip


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
