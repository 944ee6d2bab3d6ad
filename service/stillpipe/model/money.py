"""The caller's own rates, and the alternative of draining the line."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

from stillpipe.model.declare import Currency, Money, Quantity


@dataclass(frozen=True, kw_only=True)
class Rates:
    """The caller's own rates."""

    currency: Annotated[str, Currency(says="Of every amount (ISO 4217).")]
    labour_per_hour: Annotated[Decimal, Money(says="Labour for each hour on site.")]
    co2_per_kg: Annotated[Decimal, Money(says="CO2 for each kilogram.")]
    exchange: Annotated[Decimal, Money(says="For each exchange of a cylinder.")] = Decimal(0)
    call_out: Annotated[Decimal, Money(says="For coming at all.")] = Decimal(0)


@dataclass(frozen=True, kw_only=True)
class DrainDown:
    """The alternative of draining the line."""

    volume: Annotated[
        float, Quantity("volume", 1e-4, 1000.0, says="To drain.", limit="drained_volume")
    ]
    drain_rate: Annotated[float, Quantity("volume_flow", 1e-6, 0.1, says="How fast it drains.")] = (
        2e-4
    )
    fill_rate: Annotated[
        float,
        Quantity("volume_flow", 1e-6, 0.1, says="How fast it is filled again.", limit="drain_rate"),
    ] = 2e-4
    venting: Annotated[
        float,
        Quantity("time", 0.0, 8.0 * 3600.0, says="For venting and balancing.", limit="setup"),
    ] = 3600.0
    inhibitor_per_litre: Annotated[Decimal, Money(says="For each litre filled.")] = Decimal(0)
    downtime_per_hour: Annotated[Decimal, Money(says="Lost use for each hour.")] = Decimal(0)
