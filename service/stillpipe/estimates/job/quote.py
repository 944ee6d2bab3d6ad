"""What a job costs at the caller's own rates, and what draining the line would."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Annotated

from stillpipe.estimates.co2_mass import Co2Figures
from stillpipe.estimates.cylinder_count import CylinderFigures
from stillpipe.estimates.job import timeline, waits
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Plain
from stillpipe.model.money import DrainDown, Rates
from stillpipe.model.requests import JobEstimateRequest

CENT = Decimal("0.01")
HOUR = 3600.0
EACH_POINT = 900.0
"""Labour to fit and take off the jacket of each freeze point beyond the first [s]: an
assumption."""
LITRES = 1000.0
"""Litres in a cubic metre."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """A line of the quote: ``quantity`` times ``rate`` is ``amount``."""

    item: Annotated[str, Plain(says="What is charged.")]
    quantity: Annotated[Decimal, Plain(says="How much of it.")]
    unit: Annotated[str, Plain(says="Of the quantity.")]
    rate: Annotated[Decimal, Plain(says="For each unit.")]
    amount: Annotated[Decimal, Plain(says="Quantity times rate, to the cent.")]


@dataclass(frozen=True, kw_only=True)
class Quote:
    """Lines and their total, and those of draining down where that was asked."""

    currency: Annotated[str, Plain(says="Of every amount (ISO 4217).")]
    lines: Annotated[tuple[Line, ...], Plain(says="Of the freeze.")]
    total: Annotated[Decimal, Plain(says="Of the freeze.")]
    drain_down: Annotated[tuple[Line, ...], Plain(says="Of draining the line instead.")]
    drain_down_total: Annotated[Decimal | None, Plain(says="Of draining the line instead.")]


@dataclass(frozen=True, kw_only=True)
class Hours:
    """Hours that are charged [h]: ``labour`` on site, of ``further_points``, of the line ``shut``.

    The line is shut while it cools and while it is frozen.
    """

    labour: float
    further_points: float
    shut: float


def money(value: Decimal) -> Decimal:
    """Return ``value`` to the cent [currency], halves away from zero."""
    return value.quantize(CENT, ROUND_HALF_UP)


def quote(
    request: JobEstimateRequest, solution: Solution, co2: Co2Figures, cylinders: CylinderFigures
) -> Quote | None:
    """Return the quote from the caller's rates; None without rates or without a plug.

    Work begins at the planned ready. Labour runs from arrival until the plug has thawed as planned,
    and a while for each further freeze point. Lost use is counted as in draining: from when the
    line is shut until it is open.
    """
    rates, drained = request.rates, request.drain_down
    ready = None if solution.hopeless else solution.planned_ready
    if rates is None or co2.job_total is None or ready is None:
        return None
    times = hours(request, solution, ready)
    groups = request.points / request.jackets_per_cylinder
    swaps = round(len(cylinders.exchanges) * max(groups, 1.0))
    downtime = Decimal(0) if drained is None else drained.downtime_per_hour
    lines = _charged(
        _line("labour", times.labour, "h", rates.labour_per_hour),
        _line("further-points", times.further_points, "h", rates.labour_per_hour),
        _line("co2", co2.job_total.likely, "kg", rates.co2_per_kg),
        _line("exchanges", swaps, "1", rates.exchange),
        _line("downtime", times.shut, "h", downtime),
        _line("call-out", 1.0, "1", rates.call_out),
    )
    other = () if drained is None else _drain_down(request, drained, rates)
    return Quote(
        currency=rates.currency,
        lines=lines,
        total=_sum(lines),
        drain_down=other,
        drain_down_total=None if drained is None else _sum(other),
    )


def hours(request: JobEstimateRequest, solution: Solution, ready: float) -> Hours:
    """Return the hours of a job that are charged, unrounded; ``ready`` [s] from the first feed."""
    cooled = waits.cooling(solution).likely
    thaw = waits.thaw(solution)
    frozen = ready + request.hold_duration + (0.0 if thaw is None else thaw.likely)
    return Hours(
        labour=(timeline.begin_feeding(request, solution) + frozen) / HOUR,
        further_points=(request.points - 1) * EACH_POINT / HOUR,
        shut=(cooled + frozen) / HOUR,
    )


def _drain_down(request: JobEstimateRequest, drained: DrainDown, rates: Rates) -> tuple[Line, ...]:
    """Return the lines of draining the line, doing the repair and filling it again."""
    empty = drained.volume / drained.drain_rate + drained.volume / drained.fill_rate
    empty += drained.venting
    spent = (request.setup + empty + request.repair) / HOUR
    litres = drained.volume * LITRES
    return _charged(
        _line("labour", spent, "h", rates.labour_per_hour),
        _line("inhibitor", litres, "L", drained.inhibitor_per_litre),
        _line("downtime", (empty + request.repair) / HOUR, "h", drained.downtime_per_hour),
        _line("call-out", 1.0, "1", rates.call_out),
    )


def _line(item: str, quantity: float, unit: str, rate: Decimal) -> Line:
    amount = Decimal(str(round(quantity, 2)))
    return Line(item=item, quantity=amount, unit=unit, rate=rate, amount=money(amount * rate))


def _charged(*lines: Line) -> tuple[Line, ...]:
    return tuple(line for line in lines if line.amount != 0)


def _sum(lines: tuple[Line, ...]) -> Decimal:
    return sum((line.amount for line in lines), Decimal(0))
