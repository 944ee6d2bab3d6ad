"""What was learned from the site: each input before and after, and the times from now."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from stillpipe.estimates import chances, drivers, seen
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.seen import Foretold
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import HIGH, LOW, MIDDLE, Amount, Range
from stillpipe.model.observations import Seen
from stillpipe.uncertainty.table import Z95

ENDS = (LOW, MIDDLE, HIGH)
"""The percentiles that are told [-]."""
KINDS = {
    Seen.FROST: "time",
    Seen.NO_FROST: "time",
    Seen.SURFACE_TEMPERATURE: "temperature",
    Seen.WEIGHT_DRAWN: "mass",
    Seen.FLOW_STOPPED: "time",
    Seen.PRESSURE_HELD: "pressure",
}
"""The kind of quantity of the figure that each kind of observation is about."""


@dataclass(frozen=True, kw_only=True)
class Percentiles:
    """The 5th, 50th and 95th percentile of something; None where that never comes."""

    p05: Annotated[Amount | None, Plain(says="Its 5th percentile.")]
    p50: Annotated[Amount | None, Plain(says="Its 50th percentile.")]
    p95: Annotated[Amount | None, Plain(says="Its 95th percentile.")]


@dataclass(frozen=True, kw_only=True)
class Held:
    """An observation held against what was foretold."""

    kind: Annotated[Seen, Plain(says="What was seen.")]
    elapsed: Annotated[float, Figure("time", says="When it was seen, since the first feed.")]
    foretold: Annotated[
        Percentiles, Plain(says="What was to be expected before anything was seen.")
    ]
    probability: Annotated[
        float,
        Chance(
            says="That it is as it was seen or further off, given the observations before it in "
            "the list."
        ),
    ]
    fits: Annotated[bool, Plain(says="Whether a still, full line of this pipe explains it.")]


@dataclass(frozen=True, kw_only=True)
class LearnedInput:
    """An uncertain input before and after the observations."""

    name: Annotated[str, Plain(says="Which input; model is the model itself.")]
    before: Annotated[Percentiles, Plain(says="Its percentiles before.")]
    after: Annotated[Percentiles, Plain(says="Its percentiles once all was seen.")]
    narrowed: Annotated[float, Chance(says="By what share its spread is narrower now.")]


@dataclass(frozen=True, kw_only=True)
class TimesBefore:
    """The times that were to be expected before anything was seen, since the first feed."""

    closure: Annotated[Range | None, Figure("time", says="Until no liquid path is left.")]
    ready: Annotated[Range | None, Figure("time", says="Until it carries the line pressure.")]


@dataclass(frozen=True, kw_only=True)
class LearnedFigures:
    """What was learned from the observations; all other figures rest on it."""

    now: Annotated[float, Figure("time", says="When the last of them was made.")]
    effective_sample_size: Annotated[
        float, Plain(says="How many of 8,192 draws the answer comes to rest on.")
    ]
    used: Annotated[
        bool,
        Plain(says="Whether figures rest on them; not where one cannot be explained."),
    ]
    observations: Annotated[tuple[Held, ...], Plain(says="Each as it was listed.")]
    inputs: Annotated[tuple[LearnedInput, ...], Plain(says="What was learned of each input.")]
    before: Annotated[TimesBefore, Plain(says="What was to be expected before anything was seen.")]
    closure_from_now: Annotated[
        Range | None, Figure("time", says="Until no liquid path is left; 0 where it is closed.")
    ] = None
    ready_from_now: Annotated[
        Range | None, Figure("time", says="Until the plug carries the line pressure.")
    ] = None
    planned_ready_from_now: Annotated[
        float | None, Figure("time", says="Until ready at the chance that decides: cut no earlier.")
    ] = None


def told(solution: Solution) -> LearnedFigures | None:
    """Return what was learned; None where nothing was seen, or no plug is to be expected."""
    known = solution.evidence
    if known is None:
        return None
    now = max(o.elapsed for o in solution.point.observations)
    before, ready = solution.before, solution.planned_ready if known.used else None
    return LearnedFigures(
        now=now,
        effective_sample_size=float(f"{known.learned.effective:.3g}"),
        used=known.used,
        observations=tuple(_held(f) for f in known.foretold),
        inputs=tuple(_input(solution, name) for name in _names(solution)),
        before=TimesBefore(
            closure=solution.range(before.closures), ready=solution.range(before.readies)
        ),
        closure_from_now=_from(now, solution, solution.closures) if known.used else None,
        ready_from_now=_from(now, solution, solution.readies) if known.used else None,
        planned_ready_from_now=None if ready is None else max(ready - now, 0.0),
    )


def _from(now: float, solution: Solution, times: Array) -> Range | None:
    """Return the range of ``times`` [s] from ``now`` [s] on; 0 for what is past."""
    return solution.range(np.maximum(times - now, 0.0))


def _held(found: Foretold) -> Held:
    """Return an observation held against what was foretold."""
    o = found.observation
    ends = [chances.percentile(found.values, p) for p in ENDS]
    p05, p50, p95 = (None if v is None else Amount(v, KINDS[o.kind]) for v in ends)
    return Held(
        kind=o.kind,
        elapsed=o.elapsed,
        foretold=Percentiles(p05=p05, p50=p50, p95=p95),
        probability=found.probability,
        fits=found.probability >= seen.UNLIKELY,
    )


def _names(solution: Solution) -> list[str]:
    """Return the inputs of which something may be learned."""
    kinds = {o.kind for o in solution.point.observations}
    fed = ("capture", "cylinder_temperature") if Seen.WEIGHT_DRAWN in kinds else ()
    return [*solution.cases.names, "adhesion", *fed, "model"]


def _input(solution: Solution, name: str) -> LearnedInput:
    """Return the input called ``name`` before and after."""
    z = solution.sample.of(name)
    return LearnedInput(
        name=name,
        before=_percentiles(solution, name, (-Z95, 0.0, Z95)),
        after=_percentiles(solution, name, [chances.percentile(z, p) for p in ENDS]),
        narrowed=min(max(1.0 - float(np.std(z)), 0.0), 1.0),
    )


def _percentiles(solution: Solution, name: str, z: Iterable[float | None]) -> Percentiles:
    """Return an input at deviates ``z`` [-] of its percentiles, least first."""
    p05, p50, p95 = (None if at is None else drivers.amount(solution, name, at) for at in z)
    return Percentiles(p05=p05, p50=p50, p95=p95)
