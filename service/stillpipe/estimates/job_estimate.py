"""The whole job: one timeline, one verdict, one quote."""

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from stillpipe.estimates import (
    cautions,
    course,
    cylinder_count,
    hold_time,
    plug_time,
    spacing,
    ventilation,
)
from stillpipe.estimates.co2_mass import Co2Mass, Feeding
from stillpipe.estimates.cylinder_count import Bottle, CylinderCount, Plan
from stillpipe.estimates.job import Freeze, Note, Range
from stillpipe.estimates.outcomes import HoldTime, PlugTime
from stillpipe.estimates.spacing import Place, Spacing
from stillpipe.estimates.ventilation import Room, Segment, Ventilation
from stillpipe.physics import film

CENT = Decimal("0.01")
WARM = 298.15
"""A line warmer than this is left to cool first [K]: water near room temperature; common
practice, no source."""


@dataclass(frozen=True)
class Rates:
    """The caller's own rates; money in ``currency`` (ISO 4217)."""

    currency: str
    labour_per_hour: Decimal
    co2_per_kg: Decimal
    exchange: Decimal = Decimal(0)
    call_out: Decimal = Decimal(0)


@dataclass(frozen=True)
class DrainDown:
    """The alternative of draining the line: ``litres``, ``drain_rate`` and ``fill_rate`` [L/s].

    ``inhibitor_per_litre`` and ``downtime_per_hour`` in the rates' currency; ``other`` [s] is
    the time for venting and balancing.
    """

    litres: float
    drain_rate: float = 0.2
    fill_rate: float = 0.2
    other: float = 3600.0
    inhibitor_per_litre: Decimal = Decimal(0)
    downtime_per_hour: Decimal = Decimal(0)


@dataclass(frozen=True)
class Work:
    """The work on site [s]: ``setup`` before the first feed and ``repair`` on the open pipe."""

    setup: float = 1800.0
    repair: float = 2700.0


@dataclass(frozen=True)
class Event:
    """A moment of the job: its code, ``at`` [s] from arrival, and what to do."""

    code: str
    at: float
    earliest: float
    latest: float | None
    text: str


@dataclass(frozen=True)
class Line:
    """A line of the quote: ``quantity`` in ``unit`` at ``rate``, and the amount."""

    item: str
    quantity: Decimal
    unit: str
    rate: Decimal
    amount: Decimal


@dataclass(frozen=True)
class Quote:
    """Lines and their total; ``drain_down`` and its total where the alternative was given."""

    currency: str
    lines: tuple[Line, ...]
    total: Decimal
    drain_down: tuple[Line, ...]
    drain_down_total: Decimal | None


@dataclass(frozen=True)
class JobEstimate:
    """Answer of the whole job."""

    verdict: str
    reasons: tuple[Note, ...]
    timeline: tuple[Event, ...]
    plug: PlugTime
    hold: HoldTime
    co2: Co2Mass
    cylinders: CylinderCount
    air: Ventilation | None
    spacing: Spacing | None
    quote: Quote | None
    cautions: tuple[Note, ...]


@dataclass(frozen=True)
class Whole:
    """Everything a job is made of; ``feeding.hold`` is set from the repair.

    ``run`` what lies along the pipe, if told; ``rating`` of the pipe [Pa], None if it has none.
    """

    job: Freeze
    work: Work
    feeding: Feeding
    bottle: Bottle
    plan: Plan
    place: Room | None = None
    rates: Rates | None = None
    drain: DrainDown | None = None
    run: tuple[Place, ...] = ()
    rating: float | None = None


def job_estimate(whole: Whole) -> JobEstimate:
    """Estimate the whole job.

    Raises
    ------
    OutOfValidityError
        naming every input outside what the model covers
    """
    job = whole.job
    course.check(job)
    plug = plug_time.plug_time(job)
    hold = hold_time.hold_time(job, whole.feeding.hold)
    cylinders = cylinder_count.cylinder_count(job, whole.feeding, whole.bottle, whole.plan)
    need = cylinders.need
    air = _air(whole, need)
    apart = None
    if whole.run:
        apart = spacing.spacing(job, whole.feeding.hold, whole.run, whole.rating)
    notes = [*plug.reasons, *hold.reasons, *cylinders.reasons]
    notes += [*(air.reasons if air else ()), *(apart.reasons if apart else ())]
    if job.fluid_temperature > WARM:
        notes.append(
            Note("cool-first", "Let the line cool near room temperature, then estimate again with "
                 "that temperature.", "warn")
        )  # fmt: skip
    reasons = tuple(dict.fromkeys(notes))
    every = (*cautions.of_freeze(job), *cautions.of_cylinder(job), *cautions.WORK)
    return JobEstimate(
        plug_time.verdict(reasons), reasons, timeline(whole, plug, hold, cylinders), plug, hold,
        need, cylinders, air, apart, quote(whole, plug, hold, need, cylinders),
        tuple(dict.fromkeys((*every, *(air.cautions if air else ())))),
    )  # fmt: skip


def _air(whole: Whole, need: Co2Mass) -> Ventilation | None:
    """Estimate the room's air while all points are frozen and held; None without a room."""
    if whole.place is None or not need.draws:
        return None
    points, first = whole.feeding.points, need.draws[0]
    release = (
        Segment(points * first.freeze / first.ready, first.ready),
        Segment(points * first.rate, max(whole.feeding.hold, 1.0)),
    )
    return ventilation.ventilation(whole.place, release)


def timeline(
    whole: Whole, plug: PlugTime, hold: HoldTime, cylinders: CylinderCount
) -> tuple[Event, ...]:
    """Return the moments of the job in order, times from arrival [s]."""
    cool = cooling_time(whole.job)
    begun = max(whole.work.setup, cool or 0.0)
    found = [
        Event("arrive", 0.0, 0.0, 0.0, "Ventilate, close the valves, prove that the line is still, "
              "bare and clean the pipe, fit the jackets, secure the cylinders."),
        *_cool(cool),
        Event("feed", begun, begun, begun, "Open the cylinders; feed all freeze points."),
    ]  # fmt: skip
    if plug.ready is None or plug.closure is None:
        return tuple(found)

    def moment(code: str, span: Range | None, text: str) -> None:
        if span is not None:
            high = None if span.high is None else begun + span.high
            found.append(Event(code, begun + span.likely, begun + span.low, high, text))

    moment("frost-by", plug.frost_by, "Frost beside every jacket; if not, stop and look for the "
           "cause.")  # fmt: skip
    moment("closed", plug.closure, "The bore is frozen shut.")
    moment("ready", plug.ready, "Prove the plug by venting the section, then cut.")
    stop = _moved(plug.ready, whole.feeding.hold)
    for swap in cylinders.exchanges:
        found.append(
            Event("exchange", begun + swap.at, begun + swap.at, begun + swap.at,
                  f"Exchange cylinder {swap.number}. {swap.advice}")
        )  # fmt: skip
    moment("stop", stop, "Repair done and tested: close the cylinders.")
    if hold.survival is not None and stop is not None:
        moment("bond-lost", _added(stop, hold.survival), "The plug may let go from now on.")
    if hold.thaw is not None and stop is not None:
        moment("thawed", _added(stop, hold.thaw), "The bore is open; look for leaks.")
    return tuple(sorted(found, key=lambda e: e.at))


def cooling_time(job: Freeze) -> float | None:
    """Time [s] in which the still line cools to 25 C in the room; 0 where it is no warmer.

    Lumped: the heat of water and wall over the film to the room, exponential in time; None where
    the room is too warm for it.
    """
    if job.fluid_temperature <= WARM:
        return 0.0
    if job.ambient_temperature >= WARM - 0.5:
        return None
    area = 0.25 * math.pi * (job.outside_diameter**2 - (job.outside_diameter - 2 * job.wall) ** 2)
    heat = 4.18e6 * 0.25 * math.pi * job.bore**2
    heat += job.material.density * job.material.specific_heat * area
    middle = 0.5 * (job.fluid_temperature + WARM)
    conductance = film.h_ambient(
        job.outside_diameter, middle, job.ambient_temperature, job.material.emissivity,
        job.insulation_thickness, job.insulation_conductivity,
    )  # fmt: skip
    constant = heat / (conductance * math.pi * job.outside_diameter)
    over = (job.fluid_temperature - job.ambient_temperature) / (WARM - job.ambient_temperature)
    return constant * math.log(over)


def _cool(time: float | None) -> list[Event]:
    """Return the moment when a warm line is cool enough, by the room film's range."""
    if time == 0.0:
        return []
    if time is None:
        return [Event("cooled", 0.0, 0.0, None, "The room is too warm for the line to cool by "
                      "itself: cool it first.")]  # fmt: skip
    low, high = (time / factor for factor in reversed(course.FILM_BAND))
    text = f"The line has cooled to {WARM - 273.15:.0f} degC; measure it before feeding."
    return [Event("cooled", time, low, high, text)]


def _moved(span: Range, by: float) -> Range:
    return Range(span.low + by, span.likely + by, None if span.high is None else span.high + by)


def _added(a: Range, b: Range) -> Range:
    high = None if a.high is None or b.high is None else a.high + b.high
    return Range(a.low + b.low, a.likely + b.likely, high)


def money(value: Decimal) -> Decimal:
    """Return ``value`` to the cent [currency], halves away from zero."""
    return value.quantize(CENT, ROUND_HALF_UP)


def _line(item: str, quantity: float, unit: str, rate: Decimal) -> Line:
    amount = Decimal(str(round(quantity, 2)))
    return Line(item, amount, unit, rate, money(amount * rate))


def quote(
    whole: Whole, plug: PlugTime, hold: HoldTime, need: Co2Mass, cylinders: CylinderCount
) -> Quote | None:
    """Return the quote from the caller's rates; None without rates or without a plug.

    Labour runs from arrival until the plug may be left: to the thaw where it is known.
    """
    rates = whole.rates
    if rates is None or plug.ready is None or need.job is None:
        return None
    fed = plug.ready.likely + whole.feeding.hold
    thaw = 0.0 if hold.thaw is None else hold.thaw.likely
    begun = max(whole.work.setup, cooling_time(whole.job) or 0.0)
    hours = (begun + fed + thaw) / 3600.0
    groups = whole.feeding.points / whole.plan.jackets
    swaps = round(len(cylinders.exchanges) * max(groups, 1.0))
    lines = [
        _line("labour", hours, "h", rates.labour_per_hour),
        _line("co2", need.job.likely, "kg", rates.co2_per_kg),
        _line("exchanges", swaps, "1", rates.exchange),
        _line("call-out", 1.0, "1", rates.call_out),
    ]
    kept = tuple(line for line in lines if line.amount != 0)
    other: tuple[Line, ...] = ()
    if whole.drain is not None:
        d = whole.drain
        empty = d.litres / d.drain_rate + d.litres / d.fill_rate + d.other
        spent = (whole.work.setup + empty + whole.work.repair) / 3600.0
        other = (
            _line("labour", spent, "h", rates.labour_per_hour),
            _line("inhibitor", d.litres, "L", d.inhibitor_per_litre),
            _line("downtime", (empty + whole.work.repair) / 3600.0, "h", d.downtime_per_hour),
            _line("call-out", 1.0, "1", rates.call_out),
        )
        other = tuple(line for line in other if line.amount != 0)
    return Quote(
        rates.currency, kept, sum((x.amount for x in kept), Decimal(0)), other,
        sum((x.amount for x in other), Decimal(0)) if whole.drain else None,
    )  # fmt: skip
