"""What is seen or measured on site while a freeze point is fed: each kind with its uncertainty."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

from stillpipe.model.declare import Choice, Quantity
from stillpipe.physics.constants import DRY_ICE, ZERO_C

HOURS = 3600.0
MOST = 20
"""Most observations of one freeze point."""


class Seen(StrEnum):
    """Kinds of observation."""

    FROST = "frost"
    NO_FROST = "no-frost"
    SURFACE_TEMPERATURE = "surface-temperature"
    WEIGHT_DRAWN = "weight-drawn"
    FLOW_STOPPED = "flow-stopped"
    PRESSURE_HELD = "pressure-held"


@dataclass(frozen=True, kw_only=True)
class Observation:
    """What every observation has."""

    elapsed: Annotated[
        float,
        Quantity("time", 1.0, 8 * HOURS, limit="observed_elapsed", says="Since the first feed."),
    ]


_Looked = Annotated[
    float,
    Quantity(
        "time", 1.0, HOURS, limit="observed_time_uncertainty",
        says="Of the time, as a standard deviation; 20 s is an assumption.",
    ),
]  # fmt: skip
"""How well it is known when somebody looked for frost [s]."""


@dataclass(frozen=True, kw_only=True)
class Frost(Observation):
    """Frost first seen 10 mm beside the jacket."""

    kind: Annotated[
        Seen, Choice((Seen.FROST,), limit="observation", says="Frost was first seen then.")
    ]
    standard_uncertainty: _Looked = 20.0


@dataclass(frozen=True, kw_only=True)
class NoFrost(Observation):
    """No frost yet 10 mm beside the jacket."""

    kind: Annotated[
        Seen, Choice((Seen.NO_FROST,), limit="observation", says="There was no frost yet.")
    ]
    standard_uncertainty: _Looked = 20.0


@dataclass(frozen=True, kw_only=True)
class SurfaceTemperature(Observation):
    """The temperature of the pipe's outside beside the jacket."""

    kind: Annotated[
        Seen,
        Choice(
            (Seen.SURFACE_TEMPERATURE,), limit="observation", says="The pipe's outside was so cold."
        ),
    ]
    distance: Annotated[
        float,
        Quantity("length", 0.005, 0.300, limit="observed_distance", says="From the jacket's edge."),
    ] = 0.010
    value: Annotated[
        float,
        Quantity(
            "temperature", DRY_ICE, ZERO_C + 95.0, limit="observed_temperature",
            says="The temperature there.",
        ),
    ]  # fmt: skip
    standard_uncertainty: Annotated[
        float,
        Quantity(
            "temperature_difference", 0.1, 20.0, limit="observed_temperature_uncertainty",
            says="Of the temperature, as a standard deviation; 1.5 K is an assumption: a "
            "thermocouple of IEC 60584-1 class 2 taped to the pipe.",
        ),
    ] = 1.5  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class WeightDrawn(Observation):
    """CO2 drawn from the cylinder by a time, by its weight."""

    kind: Annotated[
        Seen,
        Choice((Seen.WEIGHT_DRAWN,), limit="observation", says="The cylinder was so much lighter."),
    ]
    value: Annotated[
        float,
        Quantity(
            "mass", 0.01, 500.0, limit="observed_mass",
            says="What one freeze point has drawn since the first feed.",
        ),
    ]  # fmt: skip
    standard_uncertainty: Annotated[
        float,
        Quantity(
            "mass", 0.01, 50.0, limit="observed_mass_uncertainty",
            says="Of the mass, as a standard deviation; 0.2 kg is an assumption.",
        ),
    ] = 0.2  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class FlowStopped(Observation):
    """Proven by then that nothing flows past the plug."""

    kind: Annotated[
        Seen,
        Choice(
            (Seen.FLOW_STOPPED,), limit="observation", says="Nothing flowed past the plug any more."
        ),
    ]
    standard_uncertainty: Annotated[
        float,
        Quantity(
            "time", 1.0, HOURS, limit="observed_time_uncertainty",
            says="Of the time, as a standard deviation; 10 s is an assumption.",
        ),
    ] = 10.0  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class PressureHeld(Observation):
    """The plug held a pressure then."""

    kind: Annotated[
        Seen, Choice((Seen.PRESSURE_HELD,), limit="observation", says="The plug held a pressure.")
    ]
    value: Annotated[
        float,
        Quantity(
            "pressure", 1e3, 4.0e6, limit="observed_pressure", says="Across the plug; it held."
        ),
    ]
    standard_uncertainty: Annotated[
        float,
        Quantity(
            "pressure", 1e3, 1e6, limit="observed_pressure_uncertainty",
            says="Of the pressure, as a standard deviation; 25 kPa is an assumption: a gauge to 16 "
            "bar of class 1.6 (EN 837-1).",
        ),
    ] = 25e3  # fmt: skip


AnyObservation = Frost | NoFrost | SurfaceTemperature | WeightDrawn | FlowStopped | PressureHeld
"""One observation of any kind."""
