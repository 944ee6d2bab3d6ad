"""The room's air: CO2 and oxygen against time, limits reached, air changes needed."""

import math
from dataclasses import dataclass

import numpy as np

from stillpipe.estimates import plug_time
from stillpipe.estimates.job import Note
from stillpipe.physics import room
from stillpipe.tables import exposure

OUTDOOR = 420e-6
"""Mole fraction of CO2 outdoors [-]; global mean of 2023 about 420 ppm, from memory."""
DAY = 8.0 * 3600.0
"""Followed after the last release, and the longest time a limit is averaged over [s]."""
POINTS = 121
"""Moments of the series that is answered."""
MOST_CHANGES = 1000.0 / 3600.0
"""Most air changes that are looked for [1/s]: a thousand an hour."""

CAUTIONS = (
    Note(
        "asphyxiation",
        "CO2 gas displaces air and gathers low: pits, cellars and the floor are worse than this "
        "well-mixed figure.",
        "warn",
    ),
    Note("co2-monitor", "Carry a CO2 monitor; this estimate does not replace measuring.", "warn"),
    Note("not-alone", "Nobody works alone where CO2 is let out.", "warn"),
    Note(
        "licensed-practice",
        "Follow local codes and the rules for confined spaces; this is an engineering estimate, "
        "not an authorisation.",
        "info",
    ),
)


@dataclass(frozen=True)
class Segment:
    """A stretch of constant release: ``rate`` [kg/s] for ``duration`` [s]."""

    rate: float
    duration: float


@dataclass(frozen=True)
class Room:
    """A room: ``volume`` [m3], ``changes`` of fresh air [1/s], ``temperature`` [K].

    ``outdoor`` mole fraction of CO2 [-]; ``regime`` who publishes the limits.
    """

    volume: float
    changes: float = 0.0
    temperature: float = 293.15
    outdoor: float = OUTDOOR
    regime: str = "OSHA"


@dataclass(frozen=True)
class LimitCheck:
    """A limit: when the air first passes it [s], None for never, and the air changes it needs.

    ``worst`` is the greatest average over the limit's time [mole fraction]; ``changes_needed``
    [1/s] is None where not even very strong ventilation would do.
    """

    quantity: str
    regime: str
    limit: float
    averaging: float | None
    worst: float
    passed_at: float | None
    changes_needed: float | None
    source: str


@dataclass(frozen=True)
class Ventilation:
    """Answer: series of time [s], CO2 and oxygen [mole fraction], limits and the binding one."""

    verdict: str
    reasons: tuple[Note, ...]
    released: float
    peak: float
    least_oxygen: float
    sealed: float
    time: tuple[float, ...]
    carbon_dioxide: tuple[float, ...]
    oxygen: tuple[float, ...]
    limits: tuple[LimitCheck, ...]
    binding: str
    changes_needed: float | None
    cautions: tuple[Note, ...]


def ventilation(place: Room, segments: tuple[Segment, ...]) -> Ventilation:
    """Estimate the air of ``place`` while the ``segments`` let their CO2 out, and for 8 h after."""
    course = _course(place, segments)
    released = sum(s.rate * s.duration for s in segments)
    limits = _limits(place.regime)
    checks = tuple(_check(place, course, limit) for limit in limits)
    reasons = tuple(
        _reason(limit)
        for limit, check in zip(limits, checks, strict=True)
        if check.passed_at is not None
    )
    needed = [c.changes_needed for c in checks]
    end = sum(s.duration for s in segments)
    times = np.array([2.0 * end * i / (POINTS - 1) for i in range(POINTS)])
    series = tuple(room.concentrations(course, times).tolist())
    peak = room.worst(course, 0.0)
    gas = room.gas_volume(released, place.temperature)
    return Ventilation(
        verdict=plug_time.verdict(reasons),
        reasons=reasons,
        released=released,
        peak=peak,
        least_oxygen=room.oxygen(peak, place.outdoor),
        sealed=room.sealed(gas, place.volume, place.outdoor),
        time=tuple(times.tolist()),
        carbon_dioxide=series,
        oxygen=tuple(room.oxygen(x, place.outdoor) for x in series),
        limits=checks,
        binding=max(checks, key=_weight).quantity,
        changes_needed=None if None in needed else max(n for n in needed if n is not None),
        cautions=CAUTIONS,
    )


def _course(place: Room, segments: tuple[Segment, ...]) -> room.Course:
    """Follow the air of ``place`` through its ``segments`` and the quiet hours after them."""
    whole = (*segments, Segment(0.0, DAY))
    release = np.array([room.gas_volume(s.rate, place.temperature) for s in whole])
    duration = np.array([s.duration for s in whole], dtype=float)
    fresh = place.volume * place.changes
    return room.course(place.volume, fresh, place.outdoor, release, duration)


def _weight(c: LimitCheck) -> tuple[float, float]:
    """Return what ranks a limit: the air it needs [1/s], then how near it is come [-]."""
    needed = math.inf if c.changes_needed is None else c.changes_needed
    return needed, c.worst / c.limit


def _limits(regime: str) -> list[exposure.ExposureLimit]:
    """Return the limits of ``regime``; what it does not publish, NIOSH's IDLH and OSHA's oxygen."""
    own = [e for e in exposure.catalogue() if e.regime == regime]
    have = {e.quantity for e in own}
    others = (("NIOSH", "STEL"), ("NIOSH", "IDLH"), ("OSHA", "minimum"))
    return own + [exposure.find(r, q) for r, q in others if q not in have]


def _bound(limit: exposure.ExposureLimit, place: Room) -> float:
    """Return the mole fraction of CO2 at which the limit stands."""
    if limit.bound == "max":
        return limit.mole_fraction
    return 1.0 - limit.mole_fraction / room.OXYGEN * (1.0 - place.outdoor)


def _check(place: Room, course: room.Course, limit: exposure.ExposureLimit) -> LimitCheck:
    """Hold a course against one limit."""
    bound = _bound(limit, place)
    span = 0.0 if limit.averaging_time is None else min(limit.averaging_time, DAY)
    worst = room.worst(course, span)
    passed_at = room.time_over(course, bound) if worst > bound else math.inf
    needed = room.changes_needed(course, bound, span, MOST_CHANGES)
    return LimitCheck(
        quantity=limit.quantity,
        regime=limit.regime,
        limit=bound,
        averaging=limit.averaging_time,
        worst=worst,
        passed_at=passed_at if math.isfinite(passed_at) else None,
        changes_needed=needed if math.isfinite(needed) else None,
        source=limit.source,
    )


def _reason(limit: exposure.ExposureLimit) -> Note:
    """Say that the air passes ``limit``."""
    over = f"{limit.regime} {limit.quantity}"
    if limit.bound == "min":
        share = f"{100.0 * limit.mole_fraction:.1f} %"
        text = f"Oxygen falls below {share}, the {over}: the air is oxygen-deficient."
        return Note("air-dangerous", text, "stop")
    if limit.quantity == "IDLH":
        return Note("air-dangerous", f"The air passes {over}: immediate danger to life.", "stop")
    return Note(
        f"over-{limit.quantity.lower()}", f"The air passes {over}; ventilate more or leave.", "warn"
    )
