"""What a job costs at the caller's own rates, what draining would, and which is cheaper."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from stillpipe.estimates.job import quote_costed, quote_lines
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.quote_bill import Bill, Line, Sums, Terms, bill
from stillpipe.estimates.job.quote_costed import Costed, Spent
from stillpipe.estimates.job.supply import Supply
from stillpipe.model.declare import Plain
from stillpipe.model.money import DrainDown, Rates, RoundingStep

LOST_USE = {"downtime": "lost use"}
"""What a customer calls an item whose name does not say it."""


class Cheaper(StrEnum):
    """Which of two ways is cheaper."""

    FREEZE = "freeze"
    DRAIN_DOWN = "drain-down"
    NEITHER = "neither"


@dataclass(frozen=True, kw_only=True)
class Ruling:
    """Which way is cheaper, and by how much."""

    cheaper: Annotated[Cheaper, Plain(says="The way that costs less; neither at a draw.")]
    by: Annotated[Decimal, Plain(says="How much less.")]


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Freezing against draining."""

    total: Annotated[Ruling, Plain(says="By the totals at 50 %, taxes and lost use included.")]
    total_at_90: Annotated[
        Ruling | None, Plain(says="By the totals at 90 %; none where it is not known.")
    ]
    payable: Annotated[Ruling, Plain(says="By what is to be paid at 50 %, without lost use.")]
    text: Annotated[str, Plain(says="All of it in words.")]


@dataclass(frozen=True, kw_only=True)
class Quote:
    """Lines and their total, and those of draining down where that was asked."""

    currency: Annotated[str, Plain(says="Of every amount (ISO 4217).")]
    lines: Annotated[tuple[Line, ...], Plain(says="Of the freeze, at 50 %.")]
    total: Annotated[Decimal, Plain(says="Of the freeze, at 50 %.")]
    sums: Annotated[Sums, Plain(says="Of the freeze, at 50 %.")]
    unpriced: Annotated[
        tuple[str, ...], Plain(says="Items of the freeze that have no line for want of a rate.")
    ]
    at_90: Annotated[
        Bill | None, Plain(says="Of the freeze, at 90 %; none where it does not go well so likely.")
    ]
    drain_down: Annotated[tuple[Line, ...], Plain(says="Of draining the line instead.")]
    drain_down_total: Annotated[Decimal | None, Plain(says="Of draining the line instead.")]
    drain_down_sums: Annotated[Sums | None, Plain(says="Of draining the line instead.")]
    drain_down_unpriced: Annotated[
        tuple[str, ...], Plain(says="Items of draining that have no line for want of a rate.")
    ]
    comparison: Annotated[
        Comparison | None, Plain(says="Freezing against draining, where that was asked.")
    ]
    notes: Annotated[tuple[str, ...], Plain(says="How the figures are made, in words.")]


def quote(rates: Rates, job: Costed, drained: DrainDown | None = None) -> Quote:
    """Return the quote of a ``job`` from the caller's ``rates``.

    Lost use is counted as in draining: from when the line is shut until it is open. Draining has
    no uncertainty: it is worked out from the figures stated.
    """
    terms = Terms(rates=rates, persons=job.crew)
    likely = _frozen(terms, job, job.likely, drained)
    seldom = None if job.seldom is None else _frozen(terms, job, job.seldom, drained)
    other = None if drained is None else _drained(terms, drained, job)
    return Quote(
        currency=rates.currency,
        lines=likely.lines,
        total=likely.sums.total,
        sums=likely.sums,
        unpriced=likely.unpriced,
        at_90=seldom,
        drain_down=() if other is None else other.lines,
        drain_down_total=None if other is None else other.sums.total,
        drain_down_sums=None if other is None else other.sums,
        drain_down_unpriced=() if other is None else other.unpriced,
        comparison=None if other is None else _comparison(terms, likely, seldom, other),
        notes=tuple(_notes(terms, job, drained)),
    )


def of_plan(plan: Plan, needed: Supply, promised: Mapping[float, float]) -> Quote | None:
    """Return the quote of a planned job; None without rates or where no plug is planned.

    ``promised`` is when the job is done [s] by the chance of it [-], where it is.
    """
    costed = quote_costed.costed(plan, needed, promised)
    if plan.request.rates is None or costed is None:
        return None
    return quote(plan.request.rates, costed, plan.request.drain_down)


def _frozen(terms: Terms, job: Costed, spent: Spent, drained: DrainDown | None) -> Bill:
    """Return the bill of a freeze that takes what is ``spent``."""
    lost = quote_lines.lost_use(terms, drained, spent.shut)
    return bill(terms, quote_lines.freeze(terms, job, spent), lost)


def _drained(terms: Terms, drained: DrainDown, job: Costed) -> Bill:
    """Return the bill of draining the line."""
    lost = quote_lines.lost_use(terms, drained, quote_lines.emptied(drained, job))
    return bill(terms, quote_lines.drain_down(terms, drained, job), lost)


def _ruling(freeze: Decimal, drain: Decimal) -> Ruling:
    """Return which of two amounts [currency] is less, and by how much."""
    if freeze == drain:
        return Ruling(cheaper=Cheaper.NEITHER, by=freeze - drain)
    cheaper = Cheaper.FREEZE if freeze < drain else Cheaper.DRAIN_DOWN
    return Ruling(cheaper=cheaper, by=abs(freeze - drain))


def _comparison(terms: Terms, likely: Bill, seldom: Bill | None, other: Bill) -> Comparison:
    """Return freezing, as it is ``likely`` and ``seldom``, against the ``other`` way."""
    drain = other.sums
    by_total = _ruling(likely.sums.total, drain.total)
    at_90 = None if seldom is None else _ruling(seldom.sums.total, drain.total)
    by_payable = _ruling(likely.sums.payable, drain.payable)
    said = [_sentence(terms, "In all,", likely.sums.total, drain.total)]
    if seldom is None:
        said.append("At 90 % there is no total of freezing: the job goes well less often.")
    else:
        said.append(_sentence(terms, "At 90 %,", seldom.sums.total, drain.total))
    if likely.sums.lost_use or drain.lost_use:
        start = "By what is to be paid, without lost use,"
        said.append(_sentence(terms, start, likely.sums.payable, drain.payable))
    for way, found in (("freezing", likely), ("draining", other)):
        if found.unpriced:
            items = ", ".join(LOST_USE.get(x, x.replace("-", " ")) for x in found.unpriced)
            said.append(f"For want of a rate {way} has no line for: {items}.")
    return Comparison(
        total=by_total, total_at_90=at_90, payable=by_payable, text=" ".join(said)
    )  # fmt: skip


def _sentence(terms: Terms, start: str, freeze: Decimal, drain: Decimal) -> str:
    """Return in words which of two amounts [currency] is less."""
    found = _ruling(freeze, drain)
    end = {
        Cheaper.FREEZE: f"freezing is cheaper by {terms.words(found.by)}",
        Cheaper.DRAIN_DOWN: f"draining is cheaper by {terms.words(found.by)}",
        Cheaper.NEITHER: "neither is cheaper",
    }[found.cheaper]
    return f"{start} freezing costs {terms.words(freeze)}, draining {terms.words(drain)}: {end}."


def _notes(terms: Terms, job: Costed, drained: DrainDown | None) -> Iterator[str]:
    """Yield how the figures are made."""
    rates = terms.rates
    yield (
        f"Quantities are rounded to 0.01, each amount to {terms.words(terms.smallest)}, halves "
        "away from zero."
    )
    if rates.rounding_step is not RoundingStep.NONE:
        step = terms.words(Decimal(rates.rounding_step.value))
        yield f"What is to be paid is rounded to {step} in a line of its own."
    if rates.taxes:
        yield "Each tax is on all that is charged, minimum charge included, not on lost use."
    if not job.promised:
        yield "The job goes well in less than half of all cases: hours are those of the timeline."
    if job.seldom is None:
        yield "There is no total at 90 %: the job goes well less often."
    else:
        yield (
            "At 90 % hours and CO2 are each those not exceeded in nine of ten cases; the "
            "cylinders taken are the same."
        )
    if not job.enough:
        yield "The stock is too small: its cylinders are charged, and more are needed."
    if drained is not None:
        yield (
            "Draining is worked out from the figures stated, which have no range: its total is "
            "the same at 50 and at 90 %."
        )
