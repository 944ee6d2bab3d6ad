"""The caller's own rates, and the alternative of draining the line."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from stillpipe.model.declare import (
    Choice,
    Currency,
    Group,
    Many,
    Money,
    Percent,
    Quantity,
    Text,
)

NOTHING = Decimal(0)
"""A rate that is not given: it makes no line."""
HOUR = 3600.0
MOST_TAXES = 10
"""Most taxes of a quote."""
LONGEST_TRAVEL = 5.0e6
"""Farthest that is travelled [m]."""


class LabourBasis(StrEnum):
    """Whose hour the rate of labour is for."""

    CREW = "crew"
    PERSON = "person"


class Co2Basis(StrEnum):
    """Which CO2 is charged: what is used, or all that is in the cylinders taken."""

    WEIGHT = "weight"
    CYLINDER = "cylinder"


class HireBasis(StrEnum):
    """What a cylinder is hired for."""

    JOB = "job"
    DAY = "day"


class TravelBasis(StrEnum):
    """The distance that a rate of travel is for."""

    KILOMETRE = "km"
    MILE = "mi"


class RoundingStep(StrEnum):
    """What the sum to be paid is rounded to."""

    NONE = "none"
    FIVE_HUNDREDTHS = "0.05"
    TENTH = "0.10"
    WHOLE = "1"


@dataclass(frozen=True, kw_only=True)
class Tax:
    """A tax on all that is charged."""

    name: Annotated[str, Text(says="What it is called.")]
    percent: Annotated[Decimal, Percent(says="Of all that is charged.")]


@dataclass(frozen=True, kw_only=True)
class Travel:
    """Getting to the site and back, in all."""

    fixed: Annotated[Decimal, Money(says="For the travel as a whole.")] = NOTHING
    distance: Annotated[
        float,
        Quantity("distance", 0.0, LONGEST_TRAVEL, says="There and back.", limit="travel_distance"),
    ] = 0.0
    per_distance: Annotated[Decimal, Money(says="For each kilometre or mile.")] = NOTHING
    distance_basis: Annotated[
        TravelBasis, Choice(TravelBasis, says="What `per_distance` is for.")
    ] = TravelBasis.KILOMETRE
    time: Annotated[
        float,
        Quantity(
            "time", 0.0, 24.0 * HOUR, limit="travel_time",
            says="There and back, charged as labour.",
        ),
    ] = 0.0  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Rates:
    """The caller's own rates: one that is left out makes no line."""

    currency: Annotated[str, Currency(says="Of every amount (ISO 4217).")]
    labour_per_hour: Annotated[Decimal, Money(says="Labour for each hour on site.")] = NOTHING
    labour_basis: Annotated[
        LabourBasis,
        Choice(LabourBasis, says="Whether rates of labour are for the whole crew or each person."),
    ] = LabourBasis.CREW
    waiting_per_hour: Annotated[
        Decimal, Money(says="In place of labour while a plug is left to thaw by itself.")
    ] = NOTHING
    co2_per_kg: Annotated[Decimal, Money(says="CO2 for each kilogram.")] = NOTHING
    co2_basis: Annotated[
        Co2Basis, Choice(Co2Basis, says="CO2 by the weight used, or by whole cylinders taken.")
    ] = Co2Basis.WEIGHT
    cylinder_hire: Annotated[Decimal, Money(says="Hire of each cylinder taken.")] = NOTHING
    hire_basis: Annotated[HireBasis, Choice(HireBasis, says="What `cylinder_hire` is for.")] = (
        HireBasis.JOB
    )
    jacket: Annotated[Decimal, Money(says="For each jacket.")] = NOTHING
    exchange: Annotated[Decimal, Money(says="For each exchange of a cylinder.")] = NOTHING
    assisted_thaw: Annotated[
        Decimal, Money(says="For each freeze point that is helped to thaw, beside the labour.")
    ] = NOTHING
    travel: Annotated[Travel, Group(says="Getting to the site and back.")] = Travel()
    call_out: Annotated[Decimal, Money(says="For coming at all.")] = NOTHING
    minimum_charge: Annotated[Decimal, Money(says="Least that is charged, before taxes.")] = NOTHING
    taxes: Annotated[tuple[Tax, ...], Many(MOST_TAXES, says="Each on all that is charged.")] = ()
    rounding_step: Annotated[
        RoundingStep, Choice(RoundingStep, says="What the sum to be paid is rounded to.")
    ] = RoundingStep.NONE


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
    inhibitor_per_litre: Annotated[Decimal, Money(says="For each litre filled.")] = NOTHING
    water_per_litre: Annotated[Decimal, Money(says="Water for each litre filled.")] = NOTHING
    disposal_per_litre: Annotated[Decimal, Money(says="For each litre drained.")] = NOTHING
    venting_charge: Annotated[Decimal, Money(says="For venting, beside the labour.")] = NOTHING
    downtime_per_hour: Annotated[Decimal, Money(says="Lost use for each hour.")] = NOTHING
