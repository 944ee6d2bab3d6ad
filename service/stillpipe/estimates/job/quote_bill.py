"""What a quote is made of: lines, and the sum of them with minimum charge, taxes and rounding."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Annotated

from stillpipe.model.declare import Plain
from stillpipe.model.money import LabourBasis, Rates, RoundingStep
from stillpipe.tables import currencies

CENT = Decimal("0.01")
HOUR = 3600.0
ONE = Decimal(1)
NECESSARY = frozenset(("labour", "co2", "travel-distance", "refill-water", "downtime"))
"""Items that cost somebody something whether a rate is given or not."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """A line of the quote: ``quantity`` times ``rate`` is ``amount``."""

    item: Annotated[str, Plain(says="What is charged.")]
    quantity: Annotated[Decimal, Plain(says="How much of it.")]
    unit: Annotated[str, Plain(says="Of the quantity.")]
    rate: Annotated[Decimal, Plain(says="For each unit.")]
    amount: Annotated[
        Decimal, Plain(says="Quantity times rate, to the smallest amount of the currency.")
    ]
    text: Annotated[str, Plain(says="What it is, in words for the customer.")]


@dataclass(frozen=True, kw_only=True)
class Sums:
    """What lines come to: ``total`` is what is to be paid and the lost use."""

    net: Annotated[Decimal, Plain(says="Charged, before taxes.")]
    tax: Annotated[Decimal, Plain(says="All taxes.")]
    rounding: Annotated[Decimal, Plain(says="What rounding to a step adds or takes off.")]
    payable: Annotated[Decimal, Plain(says="To be paid: net, taxes and rounding.")]
    lost_use: Annotated[Decimal, Plain(says="The line's lost use: not to be paid, not taxed.")]
    total: Annotated[Decimal, Plain(says="To be paid, and the lost use.")]


@dataclass(frozen=True, kw_only=True)
class Bill:
    """Lines that add up to the total of their sums."""

    lines: Annotated[tuple[Line, ...], Plain(says="What is charged, taxes, rounding, lost use.")]
    sums: Annotated[Sums, Plain(says="What the lines come to.")]
    unpriced: Annotated[
        tuple[str, ...], Plain(says="Items that are needed, and have no line for want of a rate.")
    ]


def money(value: Decimal, smallest: Decimal = CENT) -> Decimal:
    """Return ``value`` to the ``smallest`` amount [currency], halves away from zero."""
    return value.quantize(smallest, ROUND_HALF_UP)


def quantity(value: float) -> Decimal:
    """Return ``value`` to two decimals [as it is], halves away from zero."""
    return Decimal(repr(float(value))).quantize(CENT, ROUND_HALF_UP)


def plain(value: Decimal | float) -> str:
    """Return a number in words, without noughts at its end."""
    return f"{Decimal(str(value)).normalize():f}"


def counted(many: int, word: str) -> str:
    """Return so ``many`` of what a ``word`` is for."""
    return f"{many} {word}" if many == 1 else f"{many} {word}s"


@dataclass(frozen=True, kw_only=True)
class Terms:
    """What a quote is written with: the caller's ``rates``, and how many ``persons`` there are."""

    rates: Rates
    persons: int

    @property
    def smallest(self) -> Decimal:
        """Smallest amount of the currency [currency]."""
        return currencies.smallest(self.rates.currency)

    def words(self, amount: Decimal) -> str:
        """Return an amount [currency] in words."""
        return f"{amount} {self.rates.currency}"

    def line(self, item: str, many: Decimal, unit: str, rate: Decimal, text: str) -> Line:
        """Return the line of so ``many`` of a ``unit`` at a ``rate`` [currency for each]."""
        amount = money(many * rate, self.smallest)
        return Line(item=item, quantity=many, unit=unit, rate=rate, amount=amount, text=text)

    def once(self, item: str, rate: Decimal, text: str) -> Line:
        """Return the line of what is charged once [currency]."""
        return self.line(item, ONE, "1", rate, text)

    def labour(self, item: str, time: float, rate: Decimal, text: str) -> Line:
        """Return the line of a ``time`` [s] of work of the crew, or of each of its persons."""
        hours = quantity(time / HOUR)
        if self.rates.labour_basis is LabourBasis.CREW:
            return self.line(item, hours, "h", rate, text)
        each = f"{counted(self.persons, 'person')}, {plain(hours)} h each"
        return self.line(item, hours * self.persons, "person-h", rate, f"{text}: {each}")


def bill(terms: Terms, found: Sequence[Line], lost: Sequence[Line]) -> Bill:
    """Return the bill of lines ``found`` and of what is ``lost``, those of nothing left out."""
    charged, uses = ([x for x in lines if x.amount != 0] for lines in (found, lost))
    charged += _minimum(terms, charged)
    net = total(terms, charged)
    taxes = list(_taxes(terms, net))
    tax = total(terms, taxes)
    rounding = _rounding(terms, net + tax)
    payable = net + tax + total(terms, rounding)
    lost_use = total(terms, uses)
    sums = Sums(
        net=net, tax=tax, rounding=total(terms, rounding), payable=payable, lost_use=lost_use,
        total=payable + lost_use,
    )  # fmt: skip
    missing = [x.item for x in (*found, *lost) if x.rate == 0 != x.quantity and x.item in NECESSARY]
    return Bill(
        lines=(*charged, *taxes, *rounding, *uses),
        sums=sums,
        unpriced=tuple(dict.fromkeys(missing)),
    )


def total(terms: Terms, lines: Iterable[Line]) -> Decimal:
    """Return what ``lines`` add up to [currency]."""
    return sum((x.amount for x in lines), money(Decimal(0), terms.smallest))


def _minimum(terms: Terms, charged: Iterable[Line]) -> list[Line]:
    """Return the line that makes what is ``charged`` the minimum charge, where it is less."""
    least = money(terms.rates.minimum_charge, terms.smallest)
    short = least - total(terms, charged)
    if short <= 0:
        return []
    text = f"Up to the minimum charge of {terms.words(least)}"
    return [terms.once("minimum-charge", short, text)]


def _taxes(terms: Terms, net: Decimal) -> Iterator[Line]:
    """Yield the line of each tax on what is charged, ``net`` [currency]."""
    for tax in terms.rates.taxes:
        text = f"{tax.name}, {plain(tax.percent)} % of {terms.words(net)}"
        line = terms.line("tax", net, terms.rates.currency, tax.percent / 100, text)
        if line.amount != 0:
            yield line


def _rounding(terms: Terms, due: Decimal) -> list[Line]:
    """Return the line that rounds what is ``due`` [currency] to the step, where it is not."""
    if terms.rates.rounding_step is RoundingStep.NONE:
        return []
    step = Decimal(terms.rates.rounding_step.value)
    whole = (due / step).quantize(ONE, ROUND_HALF_UP) * step
    by = money(whole - due, terms.smallest)
    text = f"Rounded to {terms.words(step)}"
    return [] if by == 0 else [terms.once("rounding", by, text)]
