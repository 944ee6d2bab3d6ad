"""What a job costs at the caller's own rates, and what draining the line would."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Annotated

from stillpipe.estimates.job import waits
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.supply import Supply
from stillpipe.model.declare import Plain
from stillpipe.model.job import JobEstimateRequest
from stillpipe.model.money import DrainDown, Rates

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


def quote(plan: Plan, needed: Supply) -> Quote | None:
    """Return the quote from the caller's rates; None without rates or without a plug.

    Work begins at the planned ready. Labour runs from arrival until the last plug has thawed as
    planned, and a while for each further freeze point. Lost use is counted as in draining: from
    when the line is shut until it is open.
    """
    request = plan.request
    rates, drained = request.rates, request.drain_down
    mass = needed.co2.job_total
    if rates is None or mass is None or not plan.closes:
        return None
    times = hours(plan)
    downtime = Decimal(0) if drained is None else drained.downtime_per_hour
    lines = _charged(
        _line("labour", times.labour, "h", rates.labour_per_hour),
        _line("further-points", times.further_points, "h", rates.labour_per_hour),
        _line("co2", mass.likely, "kg", rates.co2_per_kg),
        _line("exchanges", len(needed.figures.exchanges), "1", rates.exchange),
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


def hours(plan: Plan) -> Hours:
    """Return the hours of a job that are charged, unrounded."""
    cooled, done, shut = 0.0, 0.0, 0.0
    for kind in plan.kinds:
        group, thaw = plan.group_of(kind), waits.thaw(kind.solution)
        cool = waits.cooling(kind.request, kind.solution)
        cooled = max(cooled, 0.0 if cool is None else cool.likely)
        done = max(done, group.stop + (0.0 if thaw is None else thaw.likely))
    shut = done - plan.groups[0].feed + cooled
    return Hours(
        labour=done / HOUR,
        further_points=(len(plan.request.each) - 1) * EACH_POINT / HOUR,
        shut=shut / HOUR,
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
