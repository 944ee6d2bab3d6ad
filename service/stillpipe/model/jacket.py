"""The jacket that holds dry ice against the pipe."""

from dataclasses import dataclass, replace
from typing import Annotated

from stillpipe.model.declare import COMPUTED, Quantity

SPECIFIC_HEAT = 1000.0
"""Specific heat of the jacket [J/(kg K)]: an assumption."""


@dataclass(frozen=True, kw_only=True)
class Jacket:
    """The clamp-on chamber that holds dry ice against the pipe."""

    length: Annotated[
        float,
        Quantity(
            "length", 0.020, 0.500, says="Along the pipe; 25 mm + outside diameter by default.",
            limit="jacket_length",
        ),
    ] = COMPUTED  # fmt: skip
    conductance: Annotated[
        float,
        Quantity(
            "conductance", 50.0, 500.0,
            says="From dry ice to the pipe's surface: an assumption, no published value was found.",
            limit="jacket_conductance",
        ),
    ] = 165.0  # fmt: skip

    def completed(self, outside_diameter: float) -> "Jacket":
        """Return the jacket with its length [m], from the pipe's ``outside_diameter`` [m]."""
        return self if self.length else replace(self, length=0.025 + outside_diameter)


@dataclass(frozen=True, kw_only=True)
class JacketLoss:
    """What the jacket itself takes up."""

    mass: Annotated[
        float,
        Quantity(
            "mass", 0.01, 50.0, limit="jacket_mass",
            says="Of the jacket, cooled with the pipe; 0.1 kg + 5 kg for each metre of outside "
            "diameter by default: an assumption.",
        ),
    ] = COMPUTED  # fmt: skip
    leak: Annotated[
        float,
        Quantity(
            "leak", 0.0, 50.0, limit="jacket_leak",
            says="Heat from the room through the jacket's outside for each kelvin; by default "
            "that of a cylinder 100 mm wider than the pipe at 5 W/(m2.K): an assumption.",
        ),
    ] = COMPUTED  # fmt: skip
