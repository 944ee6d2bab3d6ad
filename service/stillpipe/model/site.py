"""The site: what lies along the pipe, the room, what is let out into it."""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated

from stillpipe.model.declare import COMPUTED, Choice, Quantity, Text
from stillpipe.physics import co2
from stillpipe.physics.constants import ZERO_C

OUTDOOR = 420e-6
"""Mole fraction of CO2 outdoors [-]; global mean of 2023 about 420 ppm, from memory."""


class PlaceKind(StrEnum):
    """What lies along a pipe."""

    FREEZE_POINT = "freeze-point"
    CUT = "cut"
    HEAT_SOURCE = "heat-source"
    FITTING = "fitting"
    VALVE = "valve"
    SUPPORT = "support"
    VENT = "vent"


class Regime(StrEnum):
    """Who publishes the exposure limits."""

    OSHA = "OSHA"
    NIOSH = "NIOSH"
    EH40 = "EH40"


@dataclass(frozen=True, kw_only=True)
class Place:
    """Something on the run of pipe."""

    name: Annotated[str, Text(says="What it is called on site.")]
    kind: Annotated[PlaceKind, Choice(PlaceKind, says="What it is.", limit="place")]
    at: Annotated[
        float, Quantity("length", 0.0, 200.0, says="Where along the pipe.", limit="position")
    ]
    run: Annotated[
        str | None, Text(says="The run of pipe on which it lies; one that is not named else.")
    ] = None


@dataclass(frozen=True, kw_only=True)
class Room:
    """A room and its fresh air."""

    volume: Annotated[
        float, Quantity("volume", 1.0, 1.0e6, says="Of the room's air.", limit="room_volume")
    ]
    air_changes: Annotated[
        float, Quantity("air_changes", 0.0, 100.0 / 3600.0, says="Fresh air for each volume.")
    ] = 0.0
    temperature: Annotated[
        float,
        Quantity(
            "temperature", ZERO_C - 20.0, ZERO_C + 50.0, limit="ambient_temperature",
            says="Of the room's air; 20 degC by default, or that around the pipe.",
        ),
    ] = COMPUTED  # fmt: skip
    outdoor_carbon_dioxide: Annotated[
        float, Quantity("mole_fraction", 0.0, 5000e-6, says="Of the fresh air.")
    ] = OUTDOOR
    regime: Annotated[Regime, Choice(Regime, says="Whose limits apply.")] = Regime.OSHA

    @property
    def gas_density(self) -> float:
        """Density of CO2 gas at the room's temperature and 1 atm [kg/m3]."""
        return co2.gas_density(self.temperature)

    def completed(self, temperature: float = 293.15) -> "Room":
        """Return the room with its temperature, ``temperature`` [K] where it has none."""
        return self if self.temperature else replace(self, temperature=temperature)


@dataclass(frozen=True, kw_only=True)
class Release:
    """A stretch of constant release of CO2."""

    rate: Annotated[
        float, Quantity("mass_flow", 0.0, 1.0, says="CO2 let out.", limit="release_rate")
    ]
    duration: Annotated[
        float, Quantity("time", 1.0, 86400.0, says="How long.", limit="release_duration")
    ]
