"""The room's air: CO2 and oxygen against time, limits reached, air changes needed."""

import math
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from stillpipe.estimates import assess, cautions, words
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Amount, Answer, Reason
from stillpipe.model.requests import VentilationRequest
from stillpipe.model.site import Release, Room
from stillpipe.physics import room
from stillpipe.tables import exposure

MINUTE, HOUR = 60.0, 3600.0
DANGEROUS_OXYGEN = 0.16
"""Oxygen below which no respirator but one with air of its own will do, up to 3,000 ft above the
sea [mole fraction]: table II of 29 CFR 1910.134, as WAC 296-307-60205 has it in its table 4."""
DAY = 8.0 * 3600.0
"""Followed after the last release, and the longest time a limit is averaged over [s]."""
POINTS = 61
"""Moments of the series that is answered."""
MOST_CHANGES = 1000.0 / 3600.0
"""Most air changes that are looked for [1/s]: a thousand an hour."""

Series = tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class LimitCheck:
    """A limit, how near the air comes to it, and the fresh air that keeps it."""

    quantity: Annotated[str, Plain(says="Which limit.")]
    regime: Annotated[str, Plain(says="Who publishes it.")]
    limit: Annotated[float, Figure("mole_fraction", says="CO2 at the limit.")]
    averaging_time: Annotated[float | None, Figure("time", says="It is an average over this.")]
    worst: Annotated[float, Figure("mole_fraction", says="The greatest average over that time.")]
    passed_at: Annotated[float | None, Figure("time", says="When the air first passes it.")]
    air_changes_needed: Annotated[
        float | None, Figure("air_changes", says="That keep it; null where a thousand would not.")
    ]
    source: Annotated[str, Plain(says="Where it is published.")]


@dataclass(frozen=True, kw_only=True)
class CourseFigures:
    """The room's air against time, series of equal length."""

    time: Annotated[Series, Figure("time", says="Since the first release.")]
    carbon_dioxide: Annotated[Series, Figure("mole_fraction", says="CO2 in the air.")]
    oxygen: Annotated[Series, Figure("oxygen", says="Oxygen in the air.")]


@dataclass(frozen=True, kw_only=True)
class AirFigures:
    """Figures about a room's air."""

    released: Annotated[float, Figure("mass", says="CO2 let out in all.")]
    peak: Annotated[float, Figure("mole_fraction", says="The most CO2 in the air.")]
    least_oxygen: Annotated[float, Figure("oxygen", says="The least oxygen in the air.")]
    sealed: Annotated[float, Figure("mole_fraction", says="Were the room sealed.")]
    limits: Annotated[tuple[LimitCheck, ...], Plain(says="Every limit that applies.")]
    binding: Annotated[str, Plain(says="The limit that needs the most fresh air.")] = ""
    air_changes_needed: Annotated[
        float | None, Figure("air_changes", says="That keep every limit.")
    ] = None
    course: Annotated[CourseFigures, Plain(says="The air against time.")]


def ventilation(request: VentilationRequest) -> Answer[AirFigures]:
    """Estimate the air of a room while CO2 is let out, and for 8 h after."""
    return air(request.room, request.release)


def air(place: Room, *releases: tuple[Release, ...]) -> Answer[AirFigures]:
    """Estimate the air of ``place`` through a release, and for 8 h after.

    Where several releases are possible, each limit is judged on the one that is worst for it, and
    the other figures are those of the one with the highest peak.
    """
    limits, outdoor = _limits(place.regime), place.outdoor_carbon_dioxide
    bounds = [_bound(limit, outdoor) for limit in limits]
    found = [_followed(place, release, limits, bounds) for release in releases]
    checks = tuple(max(same, key=_weight) for same in zip(*(f.limits for f in found), strict=True))
    needed = [c.air_changes_needed for c in checks]
    figures = replace(
        max(found, key=lambda f: f.peak),
        limits=checks,
        binding=max(checks, key=_weight).quantity,
        air_changes_needed=None if None in needed else max(n for n in needed if n is not None),
    )
    passed = enumerate(zip(limits, checks, strict=True))
    what = _to_do(figures.air_changes_needed)
    reasons = [_reason(x, c, i, outdoor, what) for i, (x, c) in passed if c.passed_at is not None]
    return Answer(reasons=tuple(reasons), cautions=cautions.AIR, figures=figures)


def _followed(
    place: Room, release: tuple[Release, ...], limits: list[exposure.ExposureLimit],
    bounds: list[float],
) -> AirFigures:  # fmt: skip
    """Return the figures of one release; ``bounds`` [mole fraction of CO2] are those of limits."""
    spans = [0.0 if x.averaging_time is None else min(x.averaging_time, DAY) for x in limits]
    duration = np.array([*(r.duration for r in release), DAY], dtype=float)
    rate = np.array([*(r.rate for r in release), 0.0], dtype=float)
    times = np.linspace(0.0, 2.0 * sum(r.duration for r in release), POINTS)
    fresh = place.volume * place.air_changes
    outdoor = place.outdoor_carbon_dioxide
    course = room.course(place.volume, fresh, outdoor, rate / place.gas_density, duration)
    checked = [
        room.check(course, bound, span, MOST_CHANGES)
        for bound, span in zip(bounds, spans, strict=True)
    ]
    peak = room.worst(course, 0.0)
    mass = sum(r.rate * r.duration for r in release)
    return AirFigures(
        released=mass,
        peak=peak,
        least_oxygen=room.oxygen(peak, outdoor),
        sealed=room.sealed(mass / place.gas_density, place.volume, outdoor),
        limits=tuple(map(_check, limits, bounds, checked)),
        course=_course(times, room.concentrations(course, times).tolist(), outdoor),
    )


def _course(times: room.Array, series: list[float], outdoor: float) -> CourseFigures:
    """Return the air at ``times`` [s]: mole fractions of CO2 [-], oxygen from that ``outdoor``."""
    return CourseFigures(
        time=tuple(times.tolist()),
        carbon_dioxide=tuple(series),
        oxygen=tuple(room.oxygen(x, outdoor) for x in series),
    )


def _weight(c: LimitCheck) -> tuple[float, float]:
    """Return what ranks a limit: the air it needs [1/s], then how near it is come [-]."""
    needed = math.inf if c.air_changes_needed is None else c.air_changes_needed
    return needed, c.worst / c.limit


def _limits(regime: str) -> list[exposure.ExposureLimit]:
    """Return the limits of ``regime``; what it does not publish, NIOSH's IDLH and OSHA's oxygen."""
    own = [e for e in exposure.catalogue() if e.regime == regime]
    have = {e.quantity for e in own}
    others = (("NIOSH", "STEL"), ("NIOSH", "IDLH"), ("OSHA", "minimum"))
    return own + [exposure.find(r, q) for r, q in others if q not in have]


def _bound(limit: exposure.ExposureLimit, outdoor: float) -> float:
    """Return the mole fraction of CO2 [-] at a limit; ``outdoor`` [-] that of fresh air."""
    if limit.bound == "max":
        return limit.mole_fraction
    return 1.0 - limit.mole_fraction / room.OXYGEN * (1.0 - outdoor)


def _check(limit: exposure.ExposureLimit, bound: float, found: room.Check) -> LimitCheck:
    """Return how near the air comes to a limit at ``bound`` [mole fraction]."""
    return LimitCheck(
        quantity=limit.quantity,
        regime=limit.regime,
        limit=bound,
        averaging_time=limit.averaging_time,
        worst=found.worst,
        passed_at=found.passed_at if math.isfinite(found.passed_at) else None,
        air_changes_needed=found.changes_needed if math.isfinite(found.changes_needed) else None,
        source=limit.source,
    )


def _to_do(changes: float | None) -> str:
    """Return what to do where a limit is passed; ``changes`` [1/s] of fresh air keep them all."""
    if changes is None:
        return "Lead the gas outdoors by a hose"
    return f"Bring in {HOUR * changes:.1f} air changes an hour or lead the gas outdoors"


def _reason(
    limit: exposure.ExposureLimit, found: LimitCheck, index: int, outdoor: float, action: str
) -> Reason:
    """Say how far and when the air passes ``limit``, the one of that ``index`` in the answer.

    ``outdoor`` [-] is the mole fraction of CO2 of fresh air.
    """
    name, after = f"{limit.regime} {limit.quantity}", words.time(found.passed_at or 0.0)
    if limit.bound == "min":
        return _of_oxygen(limit, found, room.oxygen(found.worst, outdoor), after, action)
    over = f"The air comes to {words.share(found.worst)} of CO2"
    if limit.averaging_time is not None:
        over += f" over {limit.averaging_time / MINUTE:.0f} min"
    over += f" and passes {words.share(limit.mole_fraction)}, {name}, after {after}"
    code, reason = f"over-{limit.quantity.lower()}", assess.warn
    if limit.quantity == "IDLH":
        over += ": the concentration that is held to be immediately dangerous to life or health"
        code, reason = "air-dangerous", assess.stop
    return reason(
        code, f"{over}.", figure=f"limits.{index}.worst", at=found.passed_at,
        value=Amount(found.worst, "mole_fraction"),
        limit=Amount(limit.mole_fraction, "mole_fraction"),
        action=f"{action}; leave before then.",
    )  # fmt: skip


def _of_oxygen(
    limit: exposure.ExposureLimit, found: LimitCheck, least: float, after: str, action: str
) -> Reason:
    """Say that oxygen falls to its ``least`` share of the air [-], below ``limit``.

    Air below 19.5 % is no danger to life at once, but is treated as one where respirators are
    chosen: 29 CFR 1910.134(d)(2)(iii).
    """
    text = (
        f"Oxygen falls to {100.0 * least:.1f} %, and below {100.0 * limit.mole_fraction:.1f} % "
        f"after {after}: the air is oxygen-deficient (29 CFR 1910.146(b)). OSHA treats such air as "
        "IDLH for the choice of respirators (29 CFR 1910.134(d)(2)(iii))."
    )
    code = "oxygen-deficient"
    if least < DANGEROUS_OXYGEN:
        code = "air-dangerous"
        text = f"{text} Below {100.0 * DANGEROUS_OXYGEN:.0f} % it is a danger to life."
    return assess.stop(
        code, text, figure="least_oxygen", value=Amount(least, "oxygen"),
        limit=Amount(limit.mole_fraction, "oxygen"), at=found.passed_at,
        action=f"{action}; nobody goes in but with supplied air.",
    )  # fmt: skip
