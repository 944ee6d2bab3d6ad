"""The lines of a freeze, and those of draining the line instead."""

import math
from collections.abc import Iterator
from decimal import Decimal

from stillpipe.estimates.job.quote_bill import HOUR, Line, Terms, counted, plain, quantity
from stillpipe.estimates.job.quote_costed import Costed, Spent
from stillpipe.model.money import Co2Basis, DrainDown, HireBasis, TravelBasis

EACH_POINT = 900.0
"""Labour to fit and take off the jacket of each freeze point beyond the first [s]: an
assumption."""
LITRES = 1000.0
"""Litres in a cubic metre."""
DAY = 24.0 * HOUR
METRES = {TravelBasis.KILOMETRE: 1000.0, TravelBasis.MILE: 1609.344}
"""Metres in what a rate of travel is for."""


def freeze(terms: Terms, job: Costed, spent: Spent) -> tuple[Line, ...]:
    """Return the lines of a freeze that takes what is ``spent``, lost use apart."""
    rates = terms.rates
    return (
        *_labour(terms, job, spent),
        *_co2(terms, job, spent),
        _hire(terms, job, spent),
        terms.line(
            "jackets", Decimal(job.jackets), "1", rates.jacket,
            f"Use of {counted(job.jackets, 'jacket')}",
        ),
        terms.line(
            "exchanges", Decimal(job.exchanges), "1", rates.exchange,
            "Exchange of empty cylinders for full ones",
        ),
        terms.line(
            "assisted-thaw", Decimal(job.points if spent.assisted else 0), "1",
            rates.assisted_thaw, "Helping the plugs thaw with warm water or warm air",
        ),
        *_coming(terms),
    )  # fmt: skip


def lost_use(terms: Terms, drained: DrainDown | None, time: float) -> tuple[Line, ...]:
    """Return the line of the use that is lost while the line is shut for a ``time`` [s]."""
    if drained is None:
        return ()
    text = "Use of the line lost while it is shut; not part of what is to be paid"
    return (terms.line("downtime", quantity(time / HOUR), "h", drained.downtime_per_hour, text),)


def _labour(terms: Terms, job: Costed, spent: Spent) -> Iterator[Line]:
    """Yield the lines of labour: from arrival until the pipe is open again."""
    rates = terms.rates
    waiting = spent.waiting if rates.waiting_per_hour else 0.0
    text = "Labour on site, from arrival until the pipe is open again"
    if waiting:
        text += ", without the wait for the thaw"
    yield terms.labour("labour", spent.labour - waiting, rates.labour_per_hour, text)
    text = "Waiting on site while the ice thaws by itself"
    yield terms.labour("waiting", waiting, rates.waiting_per_hour, text)
    further = job.points - 1
    text = f"Fitting and taking off the jacket of {counted(further, 'further freeze point')}"
    yield terms.labour("further-points", further * EACH_POINT, rates.labour_per_hour, text)


def _co2(terms: Terms, job: Costed, spent: Spent) -> Iterator[Line]:
    """Yield the lines of CO2: what is used, or all that is in the cylinders taken."""
    rate = terms.rates.co2_per_kg
    if terms.rates.co2_basis is Co2Basis.WEIGHT or not job.cylinders:
        yield terms.line("co2", quantity(spent.co2), "kg", rate, "CO2, by the weight used")
        return
    for kind in job.cylinders:
        each = quantity(kind.net_mass)
        text = f"CO2, {counted(kind.count, 'whole cylinder')} of {plain(each)} kg"
        yield terms.line("co2", each * kind.count, "kg", rate, text)


def _hire(terms: Terms, job: Costed, spent: Spent) -> Line:
    """Return the line of the cylinders' hire, by the job or by each day that is begun."""
    count = sum(kind.count for kind in job.cylinders)
    text, rate = f"Hire of {counted(count, 'cylinder')}", terms.rates.cylinder_hire
    if terms.rates.hire_basis is HireBasis.JOB:
        return terms.line("cylinder-hire", Decimal(count), "1", rate, text)
    days = max(math.ceil(spent.labour / DAY), 1)
    text += f" for {counted(days, 'day')}"
    return terms.line("cylinder-hire", Decimal(count * days), "cylinder-day", rate, text)


def _coming(terms: Terms) -> Iterator[Line]:
    """Yield the lines of coming to the site, whatever is done there."""
    rates, travel = terms.rates, terms.rates.travel
    yield terms.once("travel", travel.fixed, "Travel to the site and back")
    distance = quantity(travel.distance / METRES[travel.distance_basis])
    yield terms.line(
        "travel-distance", distance, travel.distance_basis.value, travel.per_distance,
        "Distance to the site and back",
    )  # fmt: skip
    text = "Time to travel to the site and back"
    yield terms.labour("travel-time", travel.time, rates.labour_per_hour, text)
    yield terms.once("call-out", rates.call_out, "Call-out")


def drain_down(terms: Terms, drained: DrainDown, job: Costed) -> tuple[Line, ...]:
    """Return the lines of draining the line and filling it again, lost use apart."""
    litres = quantity(drained.volume * LITRES)
    text = "Labour on site: setting up, draining, repair, filling and venting"
    time = job.setup + emptied(drained, job)
    return (
        terms.labour("labour", time, terms.rates.labour_per_hour, text),
        terms.line("refill-water", litres, "L", drained.water_per_litre, "Water to fill the line"),
        terms.line(
            "inhibitor", litres, "L", drained.inhibitor_per_litre,
            "Inhibitor or additive for the water filled in",
        ),
        terms.line(
            "disposal", litres, "L", drained.disposal_per_litre, "Disposal of what is drained"
        ),
        terms.once("venting", drained.venting_charge, "Venting and balancing"),
        *_coming(terms),
    )  # fmt: skip


def emptied(drained: DrainDown, job: Costed) -> float:
    """How long the line is shut while it is drained, repaired, filled and vented [s]."""
    flows = drained.volume / drained.drain_rate + drained.volume / drained.fill_rate
    return flows + drained.venting + job.repair
