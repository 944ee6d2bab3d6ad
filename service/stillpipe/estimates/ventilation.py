"""The room's air: CO2 and oxygen against time, limits reached, air changes needed."""

import math
from dataclasses import dataclass

from stillpipe.estimates import plug_time
from stillpipe.estimates.job import Note
from stillpipe.physics import room
from stillpipe.tables import exposure

OUTDOOR = 420e-6
"""Mole fraction of CO2 outdoors [-]; global mean of 2023 about 420 ppm, from memory."""
DAY = 8.0 * 3600.0
SHORT = 900.0
POINTS = 121
MOST_CHANGES = 1000.0
"""Most air changes an hour that are looked for [1/h]."""

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
class Reach:
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
    limits: tuple[Reach, ...]
    binding: str
    changes_needed: float | None
    cautions: tuple[Note, ...]


@dataclass(frozen=True)
class _Stretch:
    """A stretch of the course: from ``at`` [s] with mole fraction ``x``, gas at ``flow`` [m3/s]."""

    at: float
    x: float
    flow: float
    duration: float


class _Course:
    """The mole fraction of a room against time, closed form on every stretch."""

    def __init__(self, place: Room, segments: tuple[Segment, ...]) -> None:
        self.place, self.fresh = place, place.volume * place.changes
        self.stretches: list[_Stretch] = []
        at, x = 0.0, place.outdoor
        quiet = Segment(0.0, DAY)
        for segment in (*segments, quiet):
            flow = room.gas_volume(segment.rate, place.temperature)
            self.stretches.append(_Stretch(at, x, flow, segment.duration))
            x = self.after(self.stretches[-1], segment.duration)
            at += segment.duration

    def after(self, s: _Stretch, time: float) -> float:
        return room.later(s.x, time, self.place.volume, self.fresh, s.flow, self.place.outdoor)

    def at(self, time: float) -> float:
        s = next(s for s in reversed(self.stretches) if s.at <= time)
        return self.after(s, time - s.at)

    def dose(self, end: float) -> float:
        """Integral of the mole fraction from 0 to ``end`` [s]."""
        total = 0.0
        for s in self.stretches:
            if end > s.at:
                part = min(end - s.at, s.duration)
                total += room.dose(
                    s.x, part, self.place.volume, self.fresh, s.flow, self.place.outdoor
                )
        return total

    def mean(self, begun: float, span: float) -> float:
        return (self.dose(begun + span) - self.dose(max(begun, 0.0))) / span

    def first(self, limit: float) -> float | None:
        """Time [s] when the mole fraction first passes ``limit``."""
        for s in self.stretches:
            found = room.reaches(
                limit, s.x, self.place.volume, self.fresh, s.flow, self.place.outdoor
            )
            if found is not None and found <= s.duration:
                return s.at + found
        return None

    def worst(self, span: float | None) -> float:
        """Greatest mole fraction, or its greatest mean over a window of ``span`` [s].

        The mean's maximum has its window's ends at equal mole fractions or at the edge of a
        stretch; it is bracketed on a grid and refined by golden section.
        """
        edges = [s.at for s in self.stretches]
        if span is None:
            return max(self.at(e) for e in edges)
        last = edges[-1]
        starts = [last * i / 240.0 for i in range(241)]
        starts += edges + [max(e - span, 0.0) for e in edges]
        best = max(starts, key=lambda t: self.mean(t, span))
        step = max(last / 240.0, 1e-9)
        low, high = max(best - step, 0.0), best + step
        for _ in range(60):
            a, b = low + 0.382 * (high - low), low + 0.618 * (high - low)
            low, high = (a, high) if self.mean(a, span) < self.mean(b, span) else (low, b)
        return max(self.mean(best, span), self.mean(0.5 * (low + high), span))


def ventilation(place: Room, segments: tuple[Segment, ...]) -> Ventilation:
    """Estimate the air of ``place`` while the ``segments`` let their CO2 out, and for 8 h after."""
    course = _Course(place, segments)
    released = sum(s.rate * s.duration for s in segments)
    peak = course.worst(None)
    found = tuple(_reach(place, segments, course, limit) for limit in _limits(place.regime))
    passed = [r for r in found if r.passed_at is not None]
    needed = [r.changes_needed for r in found]
    end = sum(s.duration for s in segments)
    times = tuple(2.0 * end * i / (POINTS - 1) for i in range(POINTS))
    series = tuple(course.at(t) for t in times)
    reasons = tuple(_reason(r) for r in passed)
    gas = room.gas_volume(released, place.temperature)
    return Ventilation(
        verdict=plug_time.verdict(reasons),
        reasons=reasons,
        released=released,
        peak=peak,
        least_oxygen=room.oxygen(peak, place.outdoor),
        sealed=room.sealed(gas, place.volume, place.outdoor),
        time=times,
        carbon_dioxide=series,
        oxygen=tuple(room.oxygen(x, place.outdoor) for x in series),
        limits=found,
        binding=max(found, key=_weight).quantity,
        changes_needed=None if None in needed else max(n for n in needed if n is not None),
        cautions=CAUTIONS,
    )


def _weight(r: Reach) -> tuple[float, float]:
    """Return what ranks a limit: the air it needs [1/s], then how near it is come [-]."""
    needed = math.inf if r.changes_needed is None else r.changes_needed
    return needed, r.worst / r.limit


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


def _span(limit: exposure.ExposureLimit) -> float | None:
    return None if limit.averaging_time is None else min(limit.averaging_time, DAY)


def _reach(
    place: Room, segments: tuple[Segment, ...], course: _Course, limit: exposure.ExposureLimit
) -> Reach:
    bound, span = _bound(limit, place), _span(limit)
    worst = course.worst(span)
    over = worst > bound
    return Reach(
        limit.quantity, limit.regime, bound, limit.averaging_time, worst,
        course.first(bound) if over else None, _needed(place, segments, bound, span), limit.source,
    )  # fmt: skip


def _needed(
    place: Room, segments: tuple[Segment, ...], bound: float, span: float | None
) -> float | None:
    """Fresh air [1/s] that keeps the limit, by bisection; None beyond a thousand an hour."""

    def kept(changes: float) -> bool:
        tried = Room(place.volume, changes, place.temperature, place.outdoor, place.regime)
        return _Course(tried, segments).worst(span) <= bound

    low, high = 0.0, MOST_CHANGES / 3600.0
    if kept(low):
        return 0.0
    if not kept(high):
        return None
    for _ in range(24):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if kept(middle) else (middle, high)
    return high


def _reason(r: Reach) -> Note:
    over = f"{r.regime} {r.quantity}"
    if r.quantity in ("IDLH", "minimum"):
        return Note("air-dangerous", f"The air passes {over}: immediate danger to life.", "stop")
    return Note(
        f"over-{r.quantity.lower()}", f"The air passes {over}; ventilate more or leave.", "warn"
    )
